/** \file report.h — tables, JSON, plots and files: what a person or a program gets to see.

    With cli, the only stage that touches files and processes. */
#ifndef QUELL_REPORT_H
#define QUELL_REPORT_H

#include "quell/base.h"
#include "quell/ingest.h"

#include <jansson.h>
#include <stdio.h>

/* ---------------------------------------------------------------- files */

/** Opens a file (plain or gzip: unpacking is the ingest stage's job) or "-" for standard input as a source.
    The source refers to out, which must stay where it is until quell_file_close.
    QUELL_OK; QUELL_E_IO, naming the file, for a folder or a file that cannot be opened: then there is nothing to close.
    Reading through the source: QUELL_OK or QUELL_E_IO. */
typedef struct quell_file {
    FILE *stream;
    bool is_stdin;
    char name[256];
} quell_file;
quell_status quell_file_open(quell_file *out, const char *path, quell_source *source, quell_error *err);

/** Standard input stays open. */
void quell_file_close(quell_file *file);

/** A file written beside its place and renamed into it when complete, so that no half-written file is ever left. Write
    to stream without checking each call; then commit or abandon, which close it. A device is written in place.
    QUELL_OK; QUELL_E_IO naming the path; QUELL_E_USAGE if the path is too long. */
typedef struct quell_output {
    FILE *stream;
    char path[4096], temporary[4112];
} quell_output;
quell_status quell_output_open(quell_output *out, const char *path, quell_error *err);

/** Flushes, checks every write, renames. QUELL_OK; QUELL_E_IO naming the path: the temporary file is gone then, and what
    was at the path is as it was. */
quell_status quell_output_commit(quell_output *out, quell_error *err);

/** Removes what was written. */
void quell_output_abandon(quell_output *out);

/** Makes a folder if it is missing (its parents must exist). QUELL_OK, also if it is there; QUELL_E_IO naming the path. */
quell_status quell_folder_make(const char *path, quell_error *err);

/* ---------------------------------------------------------------- tables */

/** A text table: cells are UTF-8; numbers are right-aligned by the column. Built row by row in an arena. */
typedef struct quell_table quell_table;
typedef struct quell_column {
    const char *head, *unit; /**< unit "" if none: printed below the head as (unit) */
    bool left;               /**< left-aligned text */
} quell_column;

/** A table of count (1 to 24) columns, which are not copied; NULL if memory is out, which all other calls accept. */
quell_table *quell_table_create(quell_arena *arena, const quell_column *columns, size_t count);

/** Next cell of the current row, formatted; a row ends by itself after the last column. QUELL_OK; QUELL_E_MEMORY, which
    may be ignored: quell_table_print says so in the table's place. */
quell_status quell_table_cell(quell_table *table, const char *format, ...) QUELL_PRINTF(2, 3);

/** A number with that many decimals; NaN prints "-". Returns as quell_table_cell. */
quell_status quell_table_number(quell_table *table, double value, int decimals);

/** A value with the decimals that leave two significant digits of half its 95 % interval; `decimals` where there is no
    interval (not finite, or empty). Returns as quell_table_cell. */
quell_status quell_table_value(quell_table *table, double value, const double ci95[2], int decimals);

/** The interval to stand below or beside it: "± 0.05"; where its sides differ by over a tenth, as those of one that was
    formed in logarithms do when it is wide, "46.8..48.1"; "" where there is none. Returns as quell_table_cell. */
quell_status quell_table_interval(quell_table *table, double value, const double ci95[2], int decimals);

/** Prints with two blanks between columns, a rule under the head, `indent` blanks before each line. */
void quell_table_print(const quell_table *table, FILE *stream, int indent);

/** Prints text wrapped at width columns (UTF-8 counted as characters), continuation lines indented. */
void quell_words_print(FILE *stream, const char *first_indent, const char *indent, size_t width,
                       const char *text);

/* ---------------------------------------------------------------- JSON */

/** One JSON object under construction. `in` and `array` are parts of it (root, or what the calls below returned; NULL
    after a failure, which all accept). Texts are copied. The first failure is kept and makes quell_json_print fail: a key is never
    dropped silently. Numbers that are not finite become null with "<key>_why" beside them. */
typedef struct quell_json {
    json_t *root;
    bool failed;
} quell_json;

quell_json quell_json_begin(const char *schema); /**< {"schema": schema} */
void quell_json_number(quell_json *json, json_t *in, const char *key, double value, const char *why_null);
void quell_json_integer(quell_json *json, json_t *in, const char *key, long long value);
void quell_json_text(quell_json *json, json_t *in, const char *key,
                     const char *text); /**< NULL: null; bad UTF-8 is replaced */
void quell_json_bool(quell_json *json, json_t *in, const char *key, bool value);
void quell_json_null(quell_json *json, json_t *in, const char *key, const char *why);
void quell_json_numbers(quell_json *json, json_t *in, const char *key, const double *values, size_t count);
/** [low, high] under key; null with the why "not known" unless both are finite. */
void quell_json_interval(quell_json *json, json_t *in, const char *key, const double interval[2]);
json_t *quell_json_object(quell_json *json, json_t *in,
                          const char *key); /**< new object under key; NULL-safe */
json_t *quell_json_array(quell_json *json, json_t *in, const char *key);
json_t *quell_json_item(quell_json *json, json_t *array); /**< new object appended */
void quell_json_append_number(quell_json *json, json_t *array, double value);
void quell_json_append_text(quell_json *json, json_t *array, const char *text);

/** One line on stream; frees the object in any case. QUELL_OK; QUELL_E_MEMORY if anything failed on the way; QUELL_E_IO. */
quell_status quell_json_print(quell_json *json, FILE *stream, quell_error *err);

/** Frees an object that is not to be printed. */
void quell_json_discard(quell_json *json);

/* ---------------------------------------------------------------- plots */

/** A plot under construction: panels of curves, drawn by gnuplot in a private folder. Labels may be hostile text:
    they are quoted, control characters removed, enhanced text off, and more than 117 bytes end in "...". All strings and
    points are copied. Room: 8 panels; in each 24 curves, 64 notes, 24 stretches, 4 levels. Building calls return
    nothing: a panel or curve for which there is no room or no memory makes quell_plot_draw fail with QUELL_E_MEMORY; a
    note, stretch or level too many, or at a place that is not finite, is left out. */
typedef struct quell_plot quell_plot;

typedef enum quell_mark {
    QUELL_MARK_LINE,
    QUELL_MARK_DASHED,
    QUELL_MARK_DOTTED,
    QUELL_MARK_POINTS,
    QUELL_MARK_STEMS,
    QUELL_MARK_BAND, /**< filled between y and y2 */
    QUELL_MARK_SHADE /**< grey cells centred on the points of an even grid: y2 from 0, white, to 1, black */
} quell_mark;

/** Shades apart in colour, to the colour-blind, and in grey print (lightness differs too). */
typedef enum quell_ink {
    QUELL_INK_MAIN,
    QUELL_INK_SECOND,
    QUELL_INK_THIRD,
    QUELL_INK_FOURTH,
    QUELL_INK_FIFTH,
    QUELL_INK_GREY
} quell_ink;

quell_plot *quell_plot_create(const char *title); /**< NULL if memory is out */

/** NULL is allowed. */
void quell_plot_destroy(quell_plot *plot);

/** Starts a panel below the last; what follows belongs to it. */
void quell_plot_panel(quell_plot *plot, const char *title, const char *x_label, const char *y_label);

/** Ranges of the current panel. Both 0 leaves them to the data, as do ends that are not finite, and an end at or below 0
    on a logarithmic axis. */
void quell_plot_x_range(quell_plot *plot, double low, double high, bool log);
void quell_plot_y_range(quell_plot *plot, double low, double high);

/** Relative height of the current panel (default 1). */
void quell_plot_height(quell_plot *plot, double share);

/** A curve of n points; n = 0 adds nothing. width in points. label "" for none, else written beside the curve's end, or at label_x if that is not NaN.
    y2: for bands and shades only. Points that are not finite break the line. */
void quell_plot_curve(quell_plot *plot, quell_mark mark, quell_ink ink, double width, const double *x,
                      const double *y, const double *y2, size_t n, const char *label, double label_x);

/** Text at a place, with an optional small marker there. */
void quell_plot_note(quell_plot *plot, double x, double y, const char *text, bool marker);

/** A vertical line, or a shaded stretch of x when high > low; label at its top. */
void quell_plot_stretch(quell_plot *plot, double low, double high, const char *label);

/** A horizontal line with a label at the left. */
void quell_plot_level(quell_plot *plot, double y, const char *label);

/** QUELL_E_USAGE if path has no ending that a plot can have: to be asked before the work, which takes longer. */
quell_status quell_plot_check_name(const char *path, quell_error *err);

/** Draws to path (.png .svg .pdf by its ending). keep_dir: also leave script and data there, under the plot's base
    name; NULL: no. QUELL_OK; QUELL_E_USAGE for another ending; QUELL_E_IO if gnuplot is missing or fails (the text
    says what was kept); QUELL_E_MEMORY. The file at path is replaced only by a complete one. */
quell_status quell_plot_draw(quell_plot *plot, const char *path, const char *keep_dir, quell_error *err);

#endif
