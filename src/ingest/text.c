/* Delimited text: the rows of a file into a series. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

/* One pass over the rows. */
typedef struct pass {
    ingest_lines *lines;
    ingest_series *out;
    quell_arena *arena;
    ingest_layout layout;
    ingest_columns columns;
    ingest_row_plan plan;
    size_t rows;                     /* rows seen, whole or not */
    size_t lacking;                  /* rows without a value in a column that is needed */
    size_t lacking_line;             /* the first of them */
    size_t lacking_in[INGEST_SLOTS]; /* by column */
    size_t cut_line;                 /* the last line, if it was cut short; 0 if not */
    double newest;                   /* latest stamp so far */
} pass;

static void make_plan(pass *reader)
{
    ingest_row_plan *plan = &reader->plan;
    plan->dialect = reader->layout.dialect;
    for (size_t s = 0; s <= reader->columns.axes; s++) {
        size_t column = reader->columns.slot[s];
        if (column == INGEST_NONE)
            continue;
        size_t at = plan->slots++;
        for (; at > 0 && plan->column[at - 1] > column; at--) {
            plan->column[at] = plan->column[at - 1];
            plan->slot[at] = plan->slot[at - 1];
        }
        plan->column[at] = column;
        plan->slot[at] = s;
    }
}

static quell_status refuse_text(const pass *reader, ingest_line line, const ingest_trouble *trouble,
                                quell_error *err)
{
    size_t column = reader->columns.slot[trouble->slot];
    const char *head = reader->layout.head[column];
    char shown[48];
    quell_printable(shown, sizeof shown, trouble->field.text, trouble->field.length);
    if (memchr(line.text, '\0', line.length) != NULL)
        return quell_fail_at(err, QUELL_E_DATA, reader->lines->number, trouble->field.at + 1,
                             "found a NUL byte in a row, want text: the file is damaged here");
    return quell_fail_at(err, QUELL_E_DATA, reader->lines->number, trouble->field.at + 1,
                         "found '%s' in column %zu%s%s%s, want a number", shown, column + 1,
                         head[0] != '\0' ? " (" : "", head, head[0] != '\0' ? ")" : "");
}

/* Stamps may come equal or a little out of order, but never go back by more than a step. */
static quell_status check_stamp(pass *reader, double stamp, quell_error *err)
{
    double step = reader->columns.step;
    if (fabs(stamp) > 1e19)
        return quell_fail_at(err, QUELL_E_DATA, reader->lines->number, 0,
                             "found the time %g, want one below 1e19", stamp);
    if (reader->out->count > 0 && stamp < reader->newest - step)
        return quell_fail_at(err, QUELL_E_DATA, reader->lines->number, 0,
                             "time runs backwards: found %.12g after %.12g, want stamps that rise", stamp,
                             reader->newest);
    if (reader->out->count > 0 && stamp - reader->newest > 1e9 * step)
        return quell_fail_at(err, QUELL_E_DATA, reader->lines->number, 0,
                             "time jumps: found %.12g after %.12g, want gaps below 1e9 samples", stamp,
                             reader->newest);
    if (reader->out->count == 0 || stamp > reader->newest)
        reader->newest = stamp;
    return QUELL_OK;
}

static quell_status keep_row(pass *reader, const double value[INGEST_SLOTS], quell_error *err)
{
    ingest_series *out = reader->out;
    quell_status status = QUELL_OK;
    if (out->has_time)
        status = check_stamp(reader, value[0], err);
    if (status == QUELL_OK && out->count == out->capacity)
        status = ingest_series_grow(out, err);
    if (status != QUELL_OK)
        return status;
    out->stamp[out->count] = out->has_time ? value[0] : (double)(reader->rows - 1);
    for (size_t k = 0; k < out->axes; k++)
        out->value[k][out->count] = value[k + 1];
    out->count++;
    out->whole += isnan(value[1]) ? 0 : 1;
    return QUELL_OK;
}

/* A row without one of its values is a lost sample. Its stamp, if it has one, still tells the time: it is kept with
   no values. */
static quell_status keep_lacking(pass *reader, ingest_row row, const ingest_trouble *trouble,
                                 double value[INGEST_SLOTS], quell_error *err)
{
    if (reader->lacking++ == 0)
        reader->lacking_line = reader->lines->number;
    if (row == INGEST_ROW_LACKING)
        reader->lacking_in[trouble->slot]++;
    if (row != INGEST_ROW_LACKING || !reader->out->has_time || !isfinite(value[0]))
        return QUELL_OK;
    for (size_t k = 0; k < reader->out->axes; k++)
        value[k + 1] = NAN;
    return keep_row(reader, value, err);
}

static quell_status read_rows(pass *reader, quell_error *err)
{
    double value[INGEST_SLOTS];
    ingest_trouble trouble = {0};
    for (;;) {
        ingest_line line;
        quell_status status = ingest_lines_next(reader->lines, &line, err);
        if (status != QUELL_OK || line.text == NULL)
            return status;
        /* a row begins with a digit, a sign or a blank: only what does not can be idle */
        char first = line.length > 0 ? line.text[0] : '\0';
        bool plain = (first >= '0' && first <= '9') || first == '-';
        if (!plain && ingest_is_idle(line.text, line.length, reader->plan.dialect.delimiter))
            continue;
        ingest_row row = ingest_row_read(&reader->plan, line.text, line.length, value, &trouble);
        bool last_cut = !line.terminated && (reader->lines->bytes->cut_short || row == INGEST_ROW_TEXT ||
                                             row == INGEST_ROW_SHORT || row == INGEST_ROW_LACKING);
        if (last_cut) {
            reader->cut_line = reader->lines->number;
            continue;
        }
        reader->rows++;
        if (row == INGEST_ROW_TEXT)
            return refuse_text(reader, line, &trouble, err);
        status = row == INGEST_ROW_WHOLE ? keep_row(reader, value, err)
                                         : keep_lacking(reader, row, &trouble, value, err);
        if (status != QUELL_OK)
            return status;
    }
}

/* ---------------------------------------------------------------- findings of the pass */

static quell_status add_findings(pass *reader, quell_error *err)
{
    quell_findings *findings = &reader->out->findings;
    const ingest_bytes *bytes = reader->lines->bytes;
    quell_status status = QUELL_OK;
    if (reader->lacking > 0)
        status = quell_findings_add(
            findings, reader->arena, "missing", QUELL_NOTE, (double)reader->lacking, NAN, "",
            "%zu of %zu rows lack a value, the first on line %zu; they count as lost samples",
            reader->lacking, reader->rows, reader->lacking_line);
    if (status == QUELL_OK && reader->cut_line > 0)
        status = quell_findings_add(findings, reader->arena, "cut-short", QUELL_NOTE,
                                    (double)reader->cut_line, NAN, "",
                                    "the last line (%zu) is cut short and was left out", reader->cut_line);
    if (status == QUELL_OK && bytes->cut_short)
        status = quell_findings_add(findings, reader->arena, "gzip", QUELL_WARN, (double)reader->rows, NAN,
                                    "copy the file again if there is more of it",
                                    "the gzip data end before their end mark, after %zu rows", reader->rows);
    if (status == QUELL_OK && bytes->trailing)
        status = quell_findings_add(findings, reader->arena, "gzip", QUELL_WARN, NAN, NAN, "",
                                    "something that is not gzip follows the gzip data and was left out");
    if (status == QUELL_OK && reader->columns.empty != INGEST_NONE)
        status = quell_findings_add(findings, reader->arena, "columns", QUELL_WARN,
                                    (double)reader->columns.empty + 1, NAN, "check the sensor and the logger",
                                    "column %zu (%s) has no numbers in its first rows and was left out",
                                    reader->columns.empty + 1, reader->layout.head[reader->columns.empty]);
    if (status == QUELL_OK && reader->layout.lines_left_out > 0)
        status = quell_findings_add(
            findings, reader->arena, "header", QUELL_WARN, (double)reader->layout.lines_left_out, NAN,
            "look at the start of the file", "%zu lines of numbers before the column heads were left out",
            reader->layout.lines_left_out);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

static quell_status check_rows(const pass *reader, quell_error *err)
{
    if (reader->out->whole >= INGEST_ROWS_MIN)
        return QUELL_OK;
    for (size_t s = 0; s <= reader->out->axes; s++) {
        if (reader->rows < INGEST_ROWS_MIN || reader->lacking_in[s] <= reader->rows / 2)
            continue;
        const char *head = reader->layout.head[reader->columns.slot[s]];
        return quell_fail(err, QUELL_E_DATA, "column %zu%s%s%s has a number in %zu of %zu rows only, want %d",
                          reader->columns.slot[s] + 1, head[0] != '\0' ? " (" : "", head,
                          head[0] != '\0' ? ")" : "", reader->rows - reader->lacking_in[s], reader->rows,
                          INGEST_ROWS_MIN);
    }
    return quell_fail(err, QUELL_E_DATA, "found %zu samples%s, want %d at least", reader->out->whole,
                      reader->lines->bytes->cut_short ? " (the gzip data are cut short)" : "",
                      INGEST_ROWS_MIN);
}

/* ---------------------------------------------------------------- start */

static quell_status look_ahead(pass *reader, const quell_read_options *options, quell_error *err)
{
    const char *text;
    size_t length;
    quell_status status = ingest_lines_peek(reader->lines, &text, &length, err);
    if (status != QUELL_OK)
        return status;
    if (length > INGEST_LINE_MAX && memchr(text, reader->lines->terminator, length) == NULL) {
        ingest_line line; /* refused there, with its number */
        return ingest_lines_next(reader->lines, &line, err);
    }
    ingest_sample sample;
    bool whole = reader->lines->ended;
    status = ingest_sample_make(&sample, text, length, reader->lines->terminator, whole, err);
    if (status != QUELL_OK)
        return status;
    status = ingest_layout_find(&reader->layout, &sample, reader->arena, err);
    ingest_sample_free(&sample);
    if (status == QUELL_OK)
        status = ingest_columns_find(&reader->columns, &reader->layout, options, err);
    for (size_t i = 0; status == QUELL_OK && i < reader->layout.first_line; i++) {
        ingest_line skipped;
        status = ingest_lines_next(reader->lines, &skipped, err);
    }
    return status;
}

static quell_status begin_series(pass *reader, quell_error *err)
{
    ingest_series *out = reader->out;
    const ingest_columns *columns = &reader->columns;
    out->format = reader->lines->bytes->packed ? "delimited text, gzip" : "delimited text";
    out->axes = columns->axes;
    out->has_time = columns->slot[0] != INGEST_NONE;
    if (out->has_time && columns->head[0].has_unit)
        out->time_unit = columns->head[0].unit;
    if (out->has_time && columns->step <= 0)
        return quell_fail(err, QUELL_E_DATA,
                          "time in column %zu does not rise, want stamps that do, or --rate HZ",
                          columns->slot[0] + 1);
    for (size_t k = 0; k < out->axes; k++) {
        size_t column = columns->slot[k + 1];
        const char *head = reader->layout.head[column];
        out->axis_name[k] =
            head[0] != '\0' ? head : quell_arena_print(reader->arena, "column %zu", column + 1);
        if (out->axis_name[k] == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory for names");
        if (columns->head[k + 1].has_unit && columns->head[k + 1].unit.dimension == QUELL_ACCELERATION)
            out->unit[k] = columns->head[k + 1].unit;
    }
    make_plan(reader);
    return QUELL_OK;
}

quell_status ingest_text_read(ingest_series *out, ingest_lines *lines, const quell_read_options *options,
                              quell_arena *arena, quell_error *err)
{
    pass *reader = quell_memory_get(sizeof *reader);
    if (reader == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    memset(reader, 0, sizeof *reader);
    reader->lines = lines;
    reader->out = out;
    reader->arena = arena;
    quell_status status = look_ahead(reader, options, err);
    if (status == QUELL_OK)
        status = begin_series(reader, err);
    if (status == QUELL_OK)
        status = read_rows(reader, err);
    if (status == QUELL_OK)
        status = check_rows(reader, err);
    if (status == QUELL_OK)
        status = add_findings(reader, err);
    quell_memory_free(reader);
    return status;
}
