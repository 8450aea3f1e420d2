/* What the files of the ingest stage share.

   The way of a recording, all in one pass (stream.c): bytes (inflate.c) -> a format's reader, which for text is lines
   (utf16.c, lines.c) -> dialect and layout of the sample at the start (dialect.c, layout.c, header.c, heads.c,
   columns.c; refuse.c says what is no recording) -> batches of rows
   in the file's own units (text.c, quick.c, row.c) -> the sample each row is (timeline.c) -> even samples, short gaps
   filled (grid.c) -> the digest (digest.c), from which everything is judged, and whoever wants the samples: a sink, or
   memory (keep.c). Units are settled at the end (units.c). */
#ifndef QUELL_INGEST_PRIVATE_H
#define QUELL_INGEST_PRIVATE_H

#include "quell/ingest.h"

#include <zlib.h>

/* Stated maxima: what is larger is refused, never cut. */
enum {
    INGEST_LINE_MAX = 1 << 20, /* bytes of one line */
    INGEST_READ = 128 << 10,   /* bytes asked of the source at a time */
    INGEST_PEEK = 64 << 10,    /* bytes looked at to find out the dialect */
    INGEST_COLUMNS_MAX = 256,  /* columns of a row */
    INGEST_SAMPLE_ROWS = 256,  /* rows looked at to find out the columns */
    INGEST_ROWS_MAX = 1 << 28, /* rows of a recording */
    INGEST_ROWS_MIN = 16,      /* fewer samples give no rate */
    INGEST_SLOTS = 5           /* time x y z, counter */
};

#define INGEST_COUNT(array) (sizeof(array) / sizeof(array)[0])

/* ---------------------------------------------------------------- bytes: plain, or unpacked from gzip (inflate.c) */

/* UTF-16 on its way to UTF-8 (utf16.c). */
typedef struct ingest_utf16 {
    bool looked, on, big; /* on: the text is UTF-16; big: the high byte of each unit comes first */
    uint32_t high;        /* first half of a pair; 0 if none waits */
    size_t held;          /* bytes in raw */
    size_t from, to;      /* of what is ready in text */
    unsigned char raw[8 << 10];
    char text[(12 << 10) + 4]; /* a unit of two bytes takes three at most, and one more for half a pair */
} ingest_utf16;

typedef struct ingest_bytes {
    const quell_source *source;
    z_stream unpack;
    bool packed, unpacking, source_ended, ended;
    bool cut_short; /* the gzip data ended before their end mark */
    bool trailing;  /* something that is not gzip follows the gzip data; it was left out */
    size_t from, to;
    ingest_utf16 utf16;
    unsigned char block[64 << 10];
} ingest_bytes;

quell_status ingest_bytes_open(ingest_bytes *bytes, const quell_source *source, quell_error *err);
/* Up to size bytes, as they were packed; *got = 0 only at the end. */
quell_status ingest_bytes_unpacked(ingest_bytes *bytes, char *into, size_t size, size_t *got, quell_error *err);
/* The same with UTF-16 text turned into UTF-8 (utf16.c). */
quell_status ingest_bytes_read(ingest_bytes *bytes, char *into, size_t size, size_t *got, quell_error *err);
void ingest_bytes_close(ingest_bytes *bytes);

/* ---------------------------------------------------------------- lines (lines.c) */

typedef struct ingest_line {
    const char *text; /* NULL at the end; valid until the next call */
    size_t length;    /* without the line's end */
    bool terminated;  /* false: the last line of a file that does not end in a line's end */
} ingest_line;

typedef struct ingest_lines {
    ingest_bytes *bytes;
    char *buffer;
    size_t from, to;
    bool ended;
    char terminator;
    size_t number; /* of the line handed out last, from 1 */
} ingest_lines;

quell_status ingest_lines_open(ingest_lines *lines, ingest_bytes *bytes, quell_error *err);
/* The bytes ahead: INGEST_PEEK of them or all there are, more if no line ends within them. */
quell_status ingest_lines_peek(ingest_lines *lines, const char **text, size_t *length, quell_error *err);
quell_status ingest_lines_next(ingest_lines *lines, ingest_line *out, quell_error *err);
/* Up to size bytes as they are, from behind the last line; *got = 0 only at the end. They are not counted as lines. */
quell_status ingest_lines_bytes(ingest_lines *lines, char *into, size_t size, size_t *got, quell_error *err);
void ingest_lines_close(ingest_lines *lines);

/* ---------------------------------------------------------------- fields of a line (fields.c) */

typedef struct ingest_dialect {
    char delimiter; /* ' ' stands for any run of blanks and tabs */
    char decimal;   /* '.' or ',' */
    bool quoted;    /* quotes were seen: rows are split with care for them */
    size_t columns;
} ingest_dialect;

typedef struct ingest_field {
    const char *text; /* without quotes and blanks around */
    size_t length;
    size_t at; /* offset in the line, from 0 */
} ingest_field;

typedef enum ingest_kind { INGEST_NUMBER, INGEST_MISSING, INGEST_TEXT } ingest_kind;

bool ingest_is_blank(char c);
/* Number of fields of the line; at most `most` are stored. */
size_t ingest_split(const ingest_dialect *dialect, const char *text, size_t length, ingest_field *out,
                    size_t most);
/* *value is NaN unless the field is a finite number. */
ingest_kind ingest_field_read(const ingest_field *field, char decimal, double *value);
/* Nothing on it, or a comment: # % ; or // first (; only if it is not the delimiter). */
bool ingest_is_idle(const char *text, size_t length, char delimiter);
/* Case-blind comparison of length bytes with a word. */
bool ingest_word_is(const char *text, size_t length, const char *word);

/* ---------------------------------------------------------------- date and time in words (stamps.c) */

/* How the numbers of a date are to be read: OPEN where day and month may be either. */
typedef enum ingest_order {
    INGEST_ORDER_OPEN,
    INGEST_DAY_FIRST,
    INGEST_MONTH_FIRST,
    INGEST_ORDER_KNOWN /* the year comes first, or the month has a name */
} ingest_order;

typedef struct ingest_stamp {
    bool has_date, has_clock;
    ingest_order order; /* what this date alone tells */
    long day;           /* from 1970-01-01; with OPEN by the order asked for, else day first */
    double second;      /* of the day, in UTC if there is a zone */
    double period_s;    /* after which the time of day begins again; 0: never */
} ingest_stamp;

/* All of length bytes as a date, a time of day or both; false if they are not. */
bool ingest_stamp_read(ingest_stamp *out, const char *text, size_t length, ingest_order asked);

/* How a file's rows tell the time in words. */
typedef struct ingest_stamp_plan {
    bool used;
    size_t clock;    /* the column of the time of day */
    size_t date;     /* a column of its own for the date, or INGEST_NONE */
    size_t fraction; /* digits after the decimal sign in a column of their own, or INGEST_NONE */
    ingest_order order;
    long first_day;  /* stamps count from its start: the digits of a double are wanted behind the point */
    double period_s; /* > 0: the date is not used, and stamps go on after midnight */
} ingest_stamp_plan;

/* Seconds of a row of count fields; false if it holds no stamp. */
bool ingest_stamp_seconds(const ingest_stamp_plan *plan, const ingest_field *field, size_t count,
                          double *seconds);
/* seconds, later by whole periods where they fell back by more than half of one. *rolled_s: 0 at first; last: the
   latest stamp so far. */
double ingest_stamp_unroll(const ingest_stamp_plan *plan, double *rolled_s, double last, double seconds);

/* ---------------------------------------------------------------- dialect and layout of the sample */

/* One line of the sample. */
typedef struct ingest_span {
    const char *text;
    size_t length;
} ingest_span;

/* The lines at the start of a file, as far as they were looked at. */
typedef struct ingest_sample {
    ingest_span *line;
    size_t count;
    bool whole; /* they are the whole file */
} ingest_sample;

/* Splits length bytes of text into lines; the last one only if `whole`. */
quell_status ingest_sample_make(ingest_sample *out, const char *text, size_t length, char terminator,
                                bool whole, quell_error *err);
void ingest_sample_free(ingest_sample *sample);

/* The delimiter and decimal sign under which most of the sample is numbers (dialect.c). False if none gives any. */
bool ingest_dialect_find(ingest_dialect *out, const ingest_sample *sample);

/* What a header says of the rate (rates.c). */
typedef struct ingest_rate_said {
    double hz;       /* 0: nothing */
    size_t line;     /* where, from 1 */
    double other_hz; /* something else said elsewhere; 0: no */
    size_t other_line;
    bool by_rows; /* two rows of numbers before the others give time and rate */
} ingest_rate_said;

/* What a column holds, by its cells in the sample. */
typedef enum ingest_content {
    INGEST_OF_NUMBERS,
    INGEST_OF_WORDS,
    INGEST_OF_STAMPS,  /* date, time of day or both */
    INGEST_OF_OFFSETS, /* zones such as +0000, after a time and a blank */
    INGEST_OF_NOTHING
} ingest_content;

typedef struct ingest_column_seen {
    ingest_content content;
    bool has_date, has_clock; /* of stamps */
    ingest_order order;
    double period_s;
    size_t digits;  /* of every cell, where they are digits alone and of the same number; 0 if not */
    char words[24]; /* the first words or stamp */
} ingest_column_seen;

/* A line of the sample, split. */
typedef struct ingest_split_line {
    size_t fields;
    ingest_field field[INGEST_COLUMNS_MAX + 1];
} ingest_split_line;

/* Where the numbers begin, what the columns are headed, and the first rows as numbers (layout.c). */
typedef struct ingest_layout {
    ingest_dialect dialect;
    size_t first_line;                    /* index in the sample of the first row of numbers */
    size_t lines_left_out;                /* rows of numbers before the heads */
    const char *head[INGEST_COLUMNS_MAX]; /* "" if there is none; in the arena */
    bool has_head;
    size_t rows;
    double *cell; /* rows * columns, NaN where there is no number; a time of day in seconds */
    ingest_column_seen seen[INGEST_COLUMNS_MAX];
    ingest_rate_said rate;
    quell_arena *arena; /* of its texts */
    size_t heads_apart; /* heads that do not fit the columns, so many; 0: they do */
    size_t fraction;    /* column of digits that a decimal comma cut off the time before it; INGEST_NONE */
    double epoch_s;     /* time of the first row, where rows of a time and a rate stand before; NaN if not */
    size_t
        header_lines; /* hashes of the lines before the rows: where they come again, the logger was started again */
    uint64_t *header_hash; /* in the arena */
} ingest_layout;

void ingest_line_split(ingest_split_line *out, const ingest_dialect *dialect, ingest_span line);

/* The heads, and what else the header tells of the columns (header.c). head: the line of the heads; the count of lines
   if there is none. */
quell_status ingest_header_read(ingest_layout *layout, const ingest_sample *sample, size_t head,
                                ingest_split_line *work, quell_error *err);
/* Keeps hashes of the lines before the rows (header_again.c). */
quell_status ingest_header_keep(ingest_layout *layout, const ingest_sample *sample, quell_error *err);
/* The line holds words over the columns of numbers. */
bool ingest_is_head_line(const ingest_layout *layout, const ingest_split_line *line);

/* A rate in the words of the lines before the rows (rates.c). */
void ingest_rate_find(ingest_rate_said *out, const ingest_layout *layout, const ingest_sample *sample);

/* Columns of stamps (stamp_columns.c): the one of a cut-off fraction or INGEST_NONE; how to read those of a column;
   their seconds in the rows of the sample (NaN where missing), and how many there are. */
size_t ingest_fraction_column(const ingest_layout *layout);
void ingest_stamp_plan_make(ingest_stamp_plan *out, const ingest_layout *layout, size_t clock);
size_t ingest_stamp_times(const ingest_stamp_plan *plan, const ingest_layout *layout, double *out);

/* The line stands before the rows, too. */
bool ingest_layout_is_header(const ingest_layout *layout, const char *text, size_t length);

quell_status ingest_layout_find(ingest_layout *out, const ingest_sample *sample, quell_arena *arena,
                                quell_error *err);

/* ---------------------------------------------------------------- what a column's head says (heads.c) */

typedef enum ingest_role {
    INGEST_UNKNOWN,
    INGEST_TIME,
    INGEST_ACCELERATION,
    INGEST_COUNTER,
    INGEST_FREQUENCY,
    INGEST_OTHER /* force, gyro, temperature and the like */
} ingest_role;

/* A unit of time or acceleration as a file may write it. */
typedef struct ingest_unit {
    const char *name; /* as quell writes it */
    quell_dimension dimension;
    double si; /* 0: counts, whose size the file does not tell */
} ingest_unit;

typedef struct ingest_head {
    ingest_role role;
    char axis; /* 'x', 'y', 'z' or 0 */
    bool has_unit;
    ingest_unit unit;
    size_t name_length; /* of the head without its unit */
} ingest_head;

ingest_head ingest_head_read(const char *text);
/* A unit's name, with the spellings that files use; false if it is none of time or acceleration. */
bool ingest_unit_read(ingest_unit *out, quell_dimension dimension, const char *name, size_t length);

/* ---------------------------------------------------------------- which column is what (columns.c) */

enum { INGEST_NONE = INGEST_COLUMNS_MAX };

typedef struct ingest_columns {
    size_t slot[INGEST_SLOTS]; /* column of time, x, y, z, counter from 0; INGEST_NONE */
    size_t axes;               /* slots 1..axes are used */
    ingest_head head[INGEST_SLOTS];
    size_t empty; /* a column headed as acceleration that holds no numbers and was left out; INGEST_NONE */
    double step;  /* median step of the time column in the sample, its own unit; 0 without time */
    ingest_stamp_plan stamps;
    double level;         /* length of the acceleration in the first rows, if it is steady; NaN if not */
    bool whole_numbers;   /* the accelerations of the sample are whole numbers */
    quell_findings notes; /* what was concluded from content; texts in the layout's arena */
} ingest_columns;

quell_status ingest_columns_find(ingest_columns *out, const ingest_layout *layout,
                                 const quell_read_options *options, quell_error *err);

/* Part of ingest_columns_find: --columns (columns_option.c). */
quell_status ingest_columns_option(ingest_columns *out, const ingest_layout *layout, const char *text,
                                   quell_error *err);
/* Part of ingest_columns_find (axes.c): the columns of acceleration; the level of gravity and whether all are whole
   numbers. */
quell_status ingest_axes_find(ingest_columns *out, const ingest_layout *layout, const ingest_head *head,
                              quell_error *err);
void ingest_axes_weigh(ingest_columns *out, const ingest_layout *layout);
bool ingest_column_has_numbers(const ingest_layout *layout, size_t column);
bool ingest_column_is_taken(const ingest_columns *columns, size_t column);

/* ---------------------------------------------------------------- what is no recording, and what it seems to be (refuse.c) */

quell_status ingest_refuse_no_rows(const ingest_sample *sample, quell_error *err);
quell_status ingest_refuse_no_time(const ingest_layout *layout, const ingest_head *head, size_t counter,
                                   quell_error *err);
quell_status ingest_refuse_no_acceleration(const ingest_layout *layout, const ingest_head *head,
                                           const ingest_columns *columns, quell_error *err);
quell_status ingest_refuse_heads_apart(const ingest_layout *layout, quell_error *err);
/* Several values of one series on each line. QUELL_OK if they are columns. */
quell_status ingest_refuse_list(const ingest_layout *layout, quell_error *err);
/* Decimal commas between commas. QUELL_OK if there are none. */
quell_status ingest_refuse_comma_twice(const ingest_layout *layout, const ingest_sample *sample,
                                       quell_error *err);
/* Rows that are a second or more apart. QUELL_OK if they are not. times_s: of the rows of the sample, count of them;
   NULL: by the rate that the header states. */
quell_status ingest_refuse_summary(const ingest_layout *layout, const ingest_columns *columns,
                                   const double *times_s, size_t count, quell_error *err);

/* ---------------------------------------------------------------- rows, batch by batch: what a format's reader gives */

enum {
    INGEST_BATCH = 4096, /* rows handed on at a time */
    INGEST_PREFIX =
        8192, /* rows looked at before the first sample is placed: the clock's kind, its step, the unit of
                             time */
    INGEST_HELD = 512 /* rows the clock may hold back until it has seen what follows */
};

/* Rows as read, in the file's own units, in the order of the file. */
typedef struct ingest_batch {
    size_t rows;
    double stamp[INGEST_BATCH]; /* finite; not filled without time */
    double counter
        [INGEST_BATCH]; /* the sample's number; not filled without a counter; NaN where it is missing */
    double value[3][INGEST_BATCH]; /* finite, or NaN on all axes in a row that is a lost sample */
} ingest_batch;

/* What a file says of itself before its rows. Texts live in the arena. */
typedef struct ingest_stated {
    const char *format;
    size_t axes; /* 1 to 3 */
    const char *axis_name[3];
    bool has_time, has_counter;
    ingest_unit time_unit; /* name NULL: not stated */
    ingest_unit unit[3];   /* name NULL: not stated */
    double rate_hz;        /* stated by the file; 0 if not */
    bool rate_exact; /* it is part of the format (a universal file's increment), not a remark in a header */
    double start;    /* time of the first row in seconds where there are no stamps */
    double
        level; /* length of the acceleration in a still moment of the first rows, as written; NaN if none */
    bool whole_numbers; /* the accelerations of the first rows are whole numbers */
} ingest_stated;

/* An open file of one format. */
typedef struct ingest_reader {
    ingest_stated stated;
    void *state; /* the format's own */
    quell_arena *arena;
    quell_findings *findings; /* what the reader notices, at the end at the latest */
    /* Up to INGEST_BATCH rows; 0 only at the end. */
    quell_status (*next)(struct ingest_reader *reader, ingest_batch *out, quell_error *err);
    void (*close)(struct ingest_reader *reader); /* also after a failed open; state may be NULL */
} ingest_reader;

/* ---------------------------------------------------------------- formats (foreign.c) */

/* What a file is by its first bytes. A further format is a file with an open function and a row in the table. */
typedef struct ingest_format {
    const char *title;                                  /* "a sound file" */
    bool (*recognise)(const char *text, size_t length); /* by the bytes at the start */
    /* QUELL_E_DATA if there is nothing to read; the caller closes the reader (if it has a state) in any case. lines,
       which stand at the start of the file, must outlive it. */
    quell_status (*open)(ingest_reader *out, ingest_lines *lines, const quell_read_options *options,
                         quell_arena *arena, quell_findings *findings, quell_error *err);
    bool full_scale; /* --unit g:FULLSCALE has a meaning */
} ingest_format;

/* Opens a file as what it is. QUELL_E_DATA for an empty file and for what is no recording, with what it seems to be. */
quell_status ingest_format_open(ingest_reader *out, ingest_lines *lines, const quell_read_options *options,
                                quell_arena *arena, quell_findings *findings, quell_error *err);

/* Universal files, datasets 58 and 58b (uff58.c). */
quell_status ingest_uff58_open(ingest_reader *out, ingest_lines *lines, const quell_read_options *options,
                               quell_arena *arena, quell_findings *findings, quell_error *err);
bool ingest_uff58_recognise(const char *text, size_t length);

/* Sound files, as far as libsndfile reads them without losses (sound.c). */
quell_status ingest_sound_open(ingest_reader *out, ingest_lines *lines, const quell_read_options *options,
                               quell_arena *arena, quell_findings *findings, quell_error *err);
bool ingest_sound_recognise(const char *text, size_t length);

/* Findings on gzip data that end too early or are followed by something else; rows were read. */
quell_status ingest_bytes_note(const ingest_bytes *bytes, size_t rows, quell_arena *arena,
                               quell_findings *findings);

/* --columns "x=2,y=3" for formats whose channels have numbers and no heads: out[k] is the number of axis k, 0 if it is
   not given (channels.c). what: "dataset", "channel". QUELL_E_USAGE. */
quell_status ingest_channels_option(size_t out[3], const quell_read_options *options, const char *what,
                                    quell_error *err);

/* ---------------------------------------------------------------- rows read ahead by a thread (ahead.c) */

typedef struct ingest_ahead ingest_ahead;

/* Takes the reader over. NULL if memory is out: nothing has changed then. */
ingest_ahead *ingest_ahead_start(ingest_reader *reader);
/* As reader->next; the batch is the caller's until it is released. */
quell_status ingest_ahead_next(ingest_ahead *ahead, const ingest_batch **out, quell_error *err);
void ingest_ahead_release(ingest_ahead *ahead);
/* Gives the reader back, with what it noticed. NULL is allowed. */
quell_status ingest_ahead_end(ingest_ahead *ahead, quell_error *err);

/* ---------------------------------------------------------------- samples' places in time (timeline.c) */

/* The clock of a recording is fitted while its rows pass. */
typedef struct ingest_timeline ingest_timeline;

/* What it turned out to be. */
typedef struct ingest_clock {
    double origin, step; /* stamp = origin + index * step */
    double step_error;   /* standard error of step */
    double jitter;       /* standard deviation of the stamps, in steps */
    bool
        coarse; /* the stamps' own resolution, or the batches they come in, are of the size of a step or more:
                            lost samples are seen from least_loss on only */
    bool bursty;     /* the rows come in batches that are stamped when they arrive (also coarse) */
    bool by_counter; /* a counter column told the indices */
    size_t rows;
    size_t gaps, lost, longest; /* places where samples are missing, samples in all, at the worst place */
    size_t least_loss;          /* fewest samples whose loss at one place would be seen: 1 unless coarse */
    size_t slipped;             /* rows more than the clock had steps for: samples that came twice, as a rule */
    size_t late;                /* rows of fine stamps that were stamped over a step late that caught up; not in the fit */
    size_t resets;              /* places where the counter was set back: the stamps bridge them */
} ingest_clock;

/* Looks at the first n rows (INGEST_PREFIX, or all there are: then whole) without placing them. counter: NULL if
   there is none. stamp: NULL if there are none; then the counter alone tells the indices, and the step is 1.
   QUELL_E_DATA if the stamps do not advance; QUELL_E_MEMORY. */
quell_status ingest_timeline_begin(ingest_timeline **out, const double *stamp, const double *counter,
                                   size_t n, bool whole, quell_error *err);
/* The step between samples as known so far, in the stamps' unit. */
double ingest_timeline_step(const ingest_timeline *timeline);
/* The sample index of the first *placed of n rows, from where the last call left off: increasing, 0 for the very first
   row. Rows not placed (fewer than INGEST_HELD) are given again at the beginning of the next call; with `last` all are
   placed. The result does not depend on how the rows are split into calls. QUELL_E_DATA if the stamps go astray. */
quell_status ingest_timeline_place(ingest_timeline *timeline, const double *stamp, const double *counter,
                                   size_t n, bool last, size_t *index, size_t *placed, quell_error *err);
/* The clock by the rows placed so far. QUELL_E_DATA if they give no rising line; out untouched then. */
quell_status ingest_timeline_finish(const ingest_timeline *timeline, ingest_clock *out, quell_error *err);
void ingest_timeline_end(ingest_timeline *timeline);

/* ---------------------------------------------------------------- the digest: all that is judged, in bounded memory (digest.c) */

/* Fed with evenly spaced samples while they pass; judged when they have. Lives in the arena. */
typedef struct ingest_digest ingest_digest;

quell_status ingest_digest_create(ingest_digest **out, size_t axes, double rate_hz, quell_arena *arena,
                                  quell_error *err);
/* n samples an axis, in any unit, finite. */
void ingest_digest_add(ingest_digest *digest, const double *const *value, size_t n);
/* `lost` samples are missing here and were not filled. */
void ingest_digest_gap(ingest_digest *digest, size_t lost);
/* At the end: the rate as it turned out, and what turns each axis into m/s2. */
void ingest_digest_settle(ingest_digest *digest, double rate_hz, const double scale[3]);

/* The gaps it was told of. */
typedef struct ingest_breaks {
    size_t count;
    double longest_s;
    double usable_s; /* in the stretches between them that are long enough for a segment; without gaps: in all */
} ingest_breaks;
ingest_breaks ingest_digest_breaks(const struct ingest_digest *digest);

/* Makes recording->digest from the samples held, unless it has one. */
quell_status ingest_digest_make(quell_recording *recording, quell_arena *arena, quell_error *err);

/* ---------------------------------------------------------------- delimited text (text.c, row.c, quick.c) */

/* Delimited text (text.c). lines must outlive the reader. */
quell_status ingest_text_open(ingest_reader *out, ingest_lines *lines, const quell_read_options *options,
                              quell_arena *arena, quell_findings *findings, quell_error *err);

/* One row's numbers (row.c). */
typedef struct ingest_row_plan {
    ingest_dialect dialect;
    size_t slots;
    size_t column[INGEST_SLOTS]; /* increasing */
    size_t slot[INGEST_SLOTS];   /* of each of these columns: 0 time, 1 to 3 the axes, 4 the counter */
    ingest_stamp_plan stamps;    /* where used, dialect.quoted is set: every row is split into fields */
} ingest_row_plan;

typedef enum ingest_row {
    INGEST_ROW_WHOLE,
    INGEST_ROW_LACKING,
    INGEST_ROW_SHORT, /* too few fields: the values that may have been cut are NaN */
    INGEST_ROW_TEXT
} ingest_row;

/* Where and what the trouble with a row is. */
typedef struct ingest_trouble {
    size_t slot;
    ingest_field field;
} ingest_trouble;

ingest_row ingest_row_read(const ingest_row_plan *plan, const char *text, size_t length,
                           double value[INGEST_SLOTS], ingest_trouble *trouble);

/* Rows of plain numbers in the bytes [at, end), as many as there are up to `most`, into the batch behind those it has;
   stops before the first that is not plain or not whole, which is then read with care. Stamps must not fall below
   *newest, nor pass it by more than `leap`. Returns where it stopped. */
const char *ingest_rows_quick(const ingest_row_plan *plan, const char *at, const char *end, double *newest,
                              double leap, ingest_batch *out);

/* ---------------------------------------------------------------- options (settings.c) */

typedef struct ingest_settings {
    double rate_hz, tolerance; /* --rate; 0 if not given */
    bool has_tolerance;
    double span_s[2]; /* --span; 0 to infinity if not given */
    const char *span;
    size_t threads;
    ingest_unit time_unit, unit; /* --time-unit, --unit; name NULL if not given */
} ingest_settings;

quell_status ingest_settings_read(ingest_settings *out, const quell_read_options *options, quell_error *err);

/* --mount "up=+z,right=-y" into the map. */
quell_status ingest_mount_parse(quell_mounting *out, const char *text, quell_error *err);

/* ---------------------------------------------------------------- units (units.c) */

/* --unit and --time-unit; name stays NULL without them. */
quell_status ingest_unit_option(ingest_unit *out, const quell_read_options *options, quell_error *err);
quell_status ingest_time_unit_option(ingest_unit *out, const quell_read_options *options, quell_error *err);

/* "g:16": the unit, and what the full scale of integer samples means in it; false if text is not written like that. */
bool ingest_full_scale_read(ingest_unit *unit, double *full_scale, const char *text);

/* Settles each axis' unit from --unit, the file or the level of gravity: stated->unit. mean, extreme: of all values, in
   the file's units. */
quell_status ingest_units_settle(ingest_stated *stated, const double mean[3], const double extreme[3],
                                 const ingest_settings *settings, quell_findings *findings,
                                 quell_arena *arena, quell_error *err);

/* The unit that stamps of this step will turn out to have, as far as that can be told before the length of the recording
   is known; false if no length can make it out. */
bool ingest_time_unit_expect(ingest_unit *out, const ingest_stated *stated, double step,
                             const ingest_settings *settings);
/* The unit of stamps whose step and length are known: the one asked for, the stated one, or by magnitude (a
   finding). */
quell_status ingest_time_unit_settle(ingest_stated *stated, double step, double length,
                                     const ingest_settings *settings, quell_findings *findings,
                                     quell_arena *arena, quell_error *err);

/* ---------------------------------------------------------------- even samples from placed rows (grid.c) */

/* A gap's lost samples are filled if they last less than 1/(8 f), f = INGEST_FILL_HZ, or if only one is lost. */
#define INGEST_FILL_HZ 100.0

/* Rows held: those that the clock has not placed yet behind those that it has. */
enum { INGEST_ROWS_HELD = INGEST_PREFIX + INGEST_BATCH + INGEST_HELD + 4 };
typedef struct ingest_rows {
    size_t count;  /* rows held */
    size_t placed; /* of these, with an index */
    size_t laid;   /* of these, laid on the grid */
    double stamp[INGEST_ROWS_HELD], counter[INGEST_ROWS_HELD], value[3][INGEST_ROWS_HELD];
    size_t index[INGEST_ROWS_HELD];
} ingest_rows;

typedef struct ingest_grid {
    size_t axes;
    double rate_hz; /* as known when the first row is laid */
    ingest_digest *digest;
    const quell_sink *sink;             /* NULL: nobody but the digest wants the samples */
    size_t samples, lost, gaps, filled; /* so far */
} ingest_grid;

/* Lays rows [from, to) of `count` placed ones, all of them with values. Those before `from` have been laid; two of them,
   and one after `to`, serve to fill gaps. */
quell_status ingest_grid_lay(ingest_grid *grid, const ingest_rows *rows, size_t from, size_t to, size_t count,
                             quell_error *err);

/* ---------------------------------------------------------------- one pass (stream.c), samples kept (keep.c) */

/* Everything of out but file, and the samples themselves. */
quell_status ingest_stream(quell_recording *out, ingest_reader *reader, const ingest_settings *settings,
                           const quell_sink *sink, quell_arena *arena, quell_error *err);

typedef struct ingest_keep {
    size_t axes;
    quell_samples samples;
} ingest_keep;

quell_sink ingest_keep_sink(ingest_keep *keep);
/* Copies what was kept into the arena, scaled by out->scale_mps2. */
quell_status ingest_keep_lay(quell_recording *out, const ingest_keep *keep, quell_arena *arena,
                             quell_error *err);
void ingest_keep_free(ingest_keep *keep);

/* ---------------------------------------------------------------- steps, resolution, clipping (levels.c) */

/* Measured while rows pass, as they are read: filled samples lie on no step. Lives in the arena. */
typedef struct ingest_levels ingest_levels;

quell_status ingest_levels_create(ingest_levels **out, size_t axes, quell_arena *arena, quell_error *err);
/* n values an axis, in the file's own units, finite. */
void ingest_levels_add(ingest_levels *levels, const double *const *value, size_t n);
/* At the end: step, resolution and clipped fraction of each axis into the recording, in m/s2. */
void ingest_levels_finish(ingest_levels *levels, const double scale[3], quell_recording *recording);

/* ---------------------------------------------------------------- motion and rest (segments.c) */

enum { INGEST_SEGMENTS_MAX = QUELL_SEGMENTS_MAX };

/* Above this even the quietest windows move: a sweep through a mode has contrast, too. */
#define INGEST_MOTION_MPS2 0.5

/* Neither rest nor slow strokes. */
bool ingest_is_excitation(quell_stretch kind);

/* A stretch of samples [from, to), and the windows of the digest that they fill. */
typedef struct ingest_stretch {
    quell_stretch kind;
    size_t from, to, window[2];
    double trend; /* as in quell_segment */
} ingest_stretch;

/* Strokes with less of their energy below 10 Hz shake the sensor, but do not carry it. */
#define INGEST_SHAKEN_SHARE 0.2

typedef struct ingest_activity {
    size_t count;
    ingest_stretch stretch[INGEST_SEGMENTS_MAX];
    double mean_mps2[3];  /* of the rest, or of everything if there is none */
    double rest_rms_mps2; /* about that mean, all axes together, in the rests */
    bool has_rest;
    bool shakes; /* strokes before the excitation do not carry the sensor along ... */
    double shaken_share; /* ... and this is the share of their energy below 10 Hz */
} ingest_activity;

/* From the recording's digest, which is made if there is none. */
quell_status ingest_activity_find(ingest_activity *out, quell_recording *recording, quell_arena *arena,
                                  quell_error *err);

/* ---------------------------------------------------------------- directions (mount_map.c, direction.c) */

/* A static mean below this is no gravity. */
#define INGEST_GRAVITY_LEAST_MPS2 3.0

double ingest_dot(const double a[3], const double b[3]);
void ingest_cross(double out[3], const double a[3], const double b[3]);
/* The index of the axis that lies most along v. */
size_t ingest_most_along(const double v[3]);

/* What was seen of the direction of motion. */
typedef struct ingest_sighting {
    double direction[3]; /* unit vector in sensor axes, towards + if strokes were seen */
    double second;       /* power across it relative to the power along it */
    bool known;          /* there was motion */
    bool slow;           /* below 10 Hz: the path of the carriage, not its ringing */
    bool strokes;        /* slow strokes: the sign is known */
} ingest_sighting;

quell_status ingest_direction_find(ingest_sighting *out, const struct ingest_digest *digest,
                                   const ingest_activity *activity, quell_error *err);

/* ---------------------------------------------------------------- densities for judging (density.c) */

enum { INGEST_DENSITY_BINS = 513 };

/* Mean periodogram (Hann, 1024 samples, none shared) of one axis over the raw blocks that the digest kept within the
   given stretches; a coarser one of 256 samples if there is no room. */
typedef struct ingest_density {
    size_t bins, segments; /* segments 0: no stretch was long enough */
    double bin_hz;
    double asd_m2ps3[INGEST_DENSITY_BINS];
    double square
        [INGEST_DENSITY_BINS]; /* mean square of the segments' periodograms: steady tones have little more
                                           than the square of their mean, noise twice as much */
} ingest_density;

quell_status ingest_density_estimate(ingest_density *out, const struct ingest_digest *digest, size_t axis,
                                     const ingest_stretch *stretch, size_t count, quell_error *err);
/* Median over [low, high) Hz, turned into the mean that white noise of that median has; NaN if no bin lies there. */
double ingest_density_floor(const ingest_density *density, double low_hz, double high_hz);

/* ---------------------------------------------------------------- noise, lines, Nyquist (noise.c) */

typedef struct ingest_quality {
    double noise_mps2_per_rthz[3]; /* NaN where nothing is long enough to tell */
    double dominant_hz;            /* where the motion has its largest density; NaN without motion */
} ingest_quality;

/* Adds findings to the recording's. */
quell_status ingest_quality_judge(ingest_quality *out, quell_recording *recording,
                                  const ingest_activity *activity, quell_arena *arena, quell_error *err);

#endif
