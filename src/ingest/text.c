/* Delimited text: the rows of a file into a series. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

/* The state of an open file. */
typedef struct pass {
    ingest_lines *lines;
    ingest_reader *reader;
    ingest_layout layout;
    ingest_columns columns;
    ingest_row_plan plan;
    size_t rows;                     /* rows seen, whole or not */
    size_t whole;                    /* rows with all values */
    size_t lacking;                  /* rows without a value in a column that is needed */
    size_t lacking_line;             /* the first of them */
    size_t lacking_in[INGEST_SLOTS]; /* by column */
    size_t cut_line;                 /* the last line, if it was cut short; 0 if not */
    bool begun;                      /* a row has been handed on */
    bool ended;                      /* the findings have been added */
    double newest;                   /* latest stamp so far */
    double rolled_s;                 /* whole days added to times of day */
    size_t repeated, repeated_line; /* lines of the header that came again among the rows, the last of them */
} pass;

static void make_plan(pass *text)
{
    ingest_row_plan *plan = &text->plan;
    plan->dialect = text->layout.dialect;
    plan->stamps = text->columns.stamps;
    plan->dialect.quoted = plan->dialect.quoted || plan->stamps.used;
    for (size_t s = 0; s < INGEST_SLOTS; s++) {
        size_t column = text->columns.slot[s];
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

static quell_status refuse_text(const pass *text, ingest_line line, const ingest_trouble *trouble,
                                quell_error *err)
{
    size_t column = text->columns.slot[trouble->slot];
    const char *head = text->layout.head[column];
    char shown[48];
    quell_printable(shown, sizeof shown, trouble->field.text, trouble->field.length);
    if (memchr(line.text, '\0', line.length) != NULL)
        return quell_fail_at(err, QUELL_E_DATA, text->lines->number, trouble->field.at + 1,
                             "found a NUL byte in a row, want text: the file is damaged here");
    return quell_fail_at(err, QUELL_E_DATA, text->lines->number, trouble->field.at + 1,
                         "found '%s' in column %zu%s%s%s, want %s", shown, column + 1,
                         head[0] != '\0' ? " (" : "", head, head[0] != '\0' ? ")" : "",
                         trouble->slot == 0 && text->plan.stamps.used ? "a date and time" : "a number");
}

/* Gaps longer than this many steps are no gaps. */
#define LEAP_STEPS 1e9

/* Stamps may come equal or a little out of order, but never go back by more than a step. */
static quell_status check_stamp(pass *text, double stamp, quell_error *err)
{
    double step = text->columns.step;
    if (fabs(stamp) > 1e19)
        return quell_fail_at(err, QUELL_E_DATA, text->lines->number, 0,
                             "found the time %g, want one below 1e19", stamp);
    if (text->begun && stamp < text->newest - step && text->repeated > 0)
        return quell_fail_at(
            err, QUELL_E_DATA, text->lines->number, 0,
            "time starts again: found %.12g after %.12g, and the header comes again on line %zu: "
            "want one run of the logger in a file",
            stamp, text->newest, text->repeated_line);
    if (text->begun && stamp < text->newest - step)
        return quell_fail_at(err, QUELL_E_DATA, text->lines->number, 0,
                             "time runs backwards: found %.12g after %.12g, want stamps that rise", stamp,
                             text->newest);
    if (text->begun && stamp - text->newest > LEAP_STEPS * step)
        return quell_fail_at(err, QUELL_E_DATA, text->lines->number, 0,
                             "time jumps: found %.12g after %.12g, want gaps below 1e9 samples", stamp,
                             text->newest);
    if (!text->begun || stamp > text->newest)
        text->newest = stamp;
    return QUELL_OK;
}

static quell_status keep_row(pass *text, double value[INGEST_SLOTS], ingest_batch *out, quell_error *err)
{
    if (text->plan.stamps.used)
        value[0] = ingest_stamp_unroll(&text->plan.stamps, &text->rolled_s, text->newest, value[0]);
    quell_status status = QUELL_OK;
    if (text->reader->stated.has_time)
        status = check_stamp(text, value[0], err);
    if (status != QUELL_OK)
        return status;
    size_t row = out->rows++;
    out->stamp[row] = value[0];
    out->counter[row] = value[4];
    for (size_t k = 0; k < 3; k++)
        out->value[k][row] = value[k + 1];
    text->begun = true;
    text->whole += isnan(value[1]) ? 0 : 1;
    return QUELL_OK;
}

/* A row without one of its values is a lost sample. It is handed on with no values: its stamp, if it has one, still
   tells the time, and without stamps its place counts. */
static quell_status keep_lacking(pass *text, ingest_row row, const ingest_trouble *trouble,
                                 double value[INGEST_SLOTS], ingest_batch *out, quell_error *err)
{
    size_t axes = text->reader->stated.axes, missing = 0;
    for (size_t k = 1; k <= axes; k++)
        missing += isnan(value[k]) ? 1 : 0;
    if (text->reader->stated.has_time && isnan(value[0]))
        missing = axes;
    if (missing == 0) /* only the counter is missing */
        return keep_row(text, value, out, err);
    if (text->lacking++ == 0)
        text->lacking_line = text->lines->number;
    if (row == INGEST_ROW_LACKING)
        text->lacking_in[trouble->slot]++;
    for (size_t k = 1; k <= 3; k++)
        value[k] = NAN;
    return text->reader->stated.has_time && isnan(value[0]) ? QUELL_OK : keep_row(text, value, out, err);
}

/* One line, with care. */
static quell_status read_line(pass *text, ingest_line line, ingest_batch *out, quell_error *err)
{
    double value[INGEST_SLOTS] = {0};
    ingest_trouble trouble = {0};
    if (ingest_is_idle(line.text, line.length, text->plan.dialect.delimiter))
        return QUELL_OK;
    ingest_row row = ingest_row_read(&text->plan, line.text, line.length, value, &trouble);
    bool last_cut = !line.terminated && (text->lines->bytes->cut_short || row == INGEST_ROW_TEXT ||
                                         row == INGEST_ROW_SHORT || row == INGEST_ROW_LACKING);
    if (last_cut) {
        text->cut_line = text->lines->number;
        return QUELL_OK;
    }
    if (row != INGEST_ROW_WHOLE && ingest_layout_is_header(&text->layout, line.text, line.length)) {
        text->repeated++;
        text->repeated_line = text->lines->number;
        return QUELL_OK;
    }
    text->rows++;
    if (row == INGEST_ROW_TEXT)
        return refuse_text(text, line, &trouble, err);
    return row == INGEST_ROW_WHOLE ? keep_row(text, value, out, err)
                                   : keep_lacking(text, row, &trouble, value, out, err);
}

/* As many rows as are plain. */
static void read_quickly(pass *text, ingest_batch *out)
{
    ingest_lines *lines = text->lines;
    const bool timed = text->reader->stated.has_time;
    if (lines->terminator != '\n' || (timed && !text->begun))
        return;
    size_t before = out->rows;
    const char *from = lines->buffer + lines->from;
    const char *stopped = ingest_rows_quick(&text->plan, from, lines->buffer + lines->to, &text->newest,
                                            timed ? LEAP_STEPS * text->columns.step : HUGE_VAL, out);
    size_t rows = out->rows - before;
    lines->from += (size_t)(stopped - from);
    lines->number += rows;
    text->rows += rows;
    text->whole += rows;
    text->begun = text->begun || rows > 0;
}

/* ---------------------------------------------------------------- findings of the pass */

static quell_status add_findings(pass *text, quell_error *err)
{
    quell_findings *findings = text->reader->findings;
    const ingest_bytes *bytes = text->lines->bytes;
    quell_status status = QUELL_OK;
    if (text->lacking > 0)
        status = quell_findings_add(
            findings, text->reader->arena, "missing", QUELL_NOTE, (double)text->lacking, NAN, "",
            "%zu of %zu rows lack a value, the first on line %zu; they count as lost samples", text->lacking,
            text->rows, text->lacking_line);
    if (status == QUELL_OK && text->cut_line > 0)
        status =
            quell_findings_add(findings, text->reader->arena, "cut-short", QUELL_NOTE, (double)text->cut_line,
                               NAN, "", "the last line (%zu) is cut short and was left out", text->cut_line);
    if (status == QUELL_OK && bytes->cut_short)
        status = quell_findings_add(findings, text->reader->arena, "gzip", QUELL_WARN, (double)text->rows,
                                    NAN, "copy the file again if there is more of it",
                                    "the gzip data end before their end mark, after %zu rows", text->rows);
    if (status == QUELL_OK && bytes->trailing)
        status = quell_findings_add(findings, text->reader->arena, "gzip", QUELL_WARN, NAN, NAN, "",
                                    "something that is not gzip follows the gzip data and was left out");
    if (status == QUELL_OK && text->columns.empty != INGEST_NONE)
        status = quell_findings_add(findings, text->reader->arena, "columns", QUELL_WARN,
                                    (double)text->columns.empty + 1, NAN, "check the sensor and the logger",
                                    "column %zu (%s) has no numbers in its first rows and was left out",
                                    text->columns.empty + 1, text->layout.head[text->columns.empty]);
    if (status == QUELL_OK && text->repeated > 0)
        status = quell_findings_add(
            findings, text->reader->arena, "header", QUELL_WARN, (double)text->repeated, NAN,
            "look whether the logger was started again",
            "lines of the header come again %zu time%s among the rows, last on line %zu, and "
            "were left out",
            text->repeated, text->repeated == 1 ? "" : "s", text->repeated_line);
    if (status == QUELL_OK && text->layout.lines_left_out > 0)
        status = quell_findings_add(findings, text->reader->arena, "header", QUELL_WARN,
                                    (double)text->layout.lines_left_out, NAN, "look at the start of the file",
                                    "%zu lines of numbers before the column heads were left out",
                                    text->layout.lines_left_out);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

static quell_status check_rows(const pass *text, quell_error *err)
{
    if (text->whole >= INGEST_ROWS_MIN)
        return QUELL_OK;
    for (size_t s = 0; s <= text->reader->stated.axes; s++) {
        if (text->rows < INGEST_ROWS_MIN || text->lacking_in[s] <= text->rows / 2)
            continue;
        const char *head = text->layout.head[text->columns.slot[s]];
        return quell_fail(err, QUELL_E_DATA, "column %zu%s%s%s has a number in %zu of %zu rows only, want %d",
                          text->columns.slot[s] + 1, head[0] != '\0' ? " (" : "", head,
                          head[0] != '\0' ? ")" : "", text->rows - text->lacking_in[s], text->rows,
                          INGEST_ROWS_MIN);
    }
    return quell_fail(err, QUELL_E_DATA, "found %zu samples%s, want %d at least", text->whole,
                      text->lines->bytes->cut_short ? " (the gzip data are cut short)" : "", INGEST_ROWS_MIN);
}

/* ---------------------------------------------------------------- start */

static quell_status look_ahead(pass *text, const quell_read_options *options, quell_error *err)
{
    const char *ahead;
    size_t length;
    quell_status status = ingest_lines_peek(text->lines, &ahead, &length, err);
    if (status != QUELL_OK)
        return status;
    if (length > INGEST_LINE_MAX && memchr(ahead, text->lines->terminator, length) == NULL) {
        ingest_line line; /* refused there, with its number */
        return ingest_lines_next(text->lines, &line, err);
    }
    ingest_sample sample;
    bool whole = text->lines->ended;
    status = ingest_sample_make(&sample, ahead, length, text->lines->terminator, whole, err);
    if (status != QUELL_OK)
        return status;
    status = ingest_layout_find(&text->layout, &sample, text->reader->arena, err);
    ingest_sample_free(&sample);
    if (status == QUELL_OK)
        status = ingest_columns_find(&text->columns, &text->layout, options, err);
    for (size_t i = 0; status == QUELL_OK && i < text->layout.first_line; i++) {
        ingest_line skipped;
        status = ingest_lines_next(text->lines, &skipped, err);
    }
    return status;
}

static quell_status add_notes(const ingest_reader *reader, const quell_findings *notes, quell_error *err)
{
    for (size_t i = 0; i < notes->count; i++) {
        const quell_finding *note = &notes->item[i];
        quell_status status = quell_findings_add(reader->findings, reader->arena, note->kind, note->severity,
                                                 note->value, note->limit, note->remedy, "%s", note->text);
        if (status != QUELL_OK)
            return quell_fail(err, status, "out of memory for findings");
    }
    return QUELL_OK;
}

static quell_status state(pass *text, quell_error *err)
{
    ingest_stated *out = &text->reader->stated;
    const ingest_columns *columns = &text->columns;
    static const char *const formats[2][2] = {{"delimited text", "delimited text, gzip"},
                                              {"delimited text, UTF-16", "delimited text, UTF-16, gzip"}};
    out->format = formats[text->lines->bytes->utf16.on][text->lines->bytes->packed];
    out->axes = columns->axes;
    out->has_time = columns->slot[0] != INGEST_NONE;
    out->has_counter = columns->slot[4] != INGEST_NONE;
    if (out->has_time && columns->head[0].has_unit)
        out->time_unit = columns->head[0].unit;
    if (out->has_time && columns->step <= 0)
        return quell_fail(err, QUELL_E_DATA,
                          "time in column %zu does not rise, want stamps that do, or --rate HZ",
                          columns->slot[0] + 1);
    for (size_t k = 0; k < out->axes; k++) {
        size_t column = columns->slot[k + 1];
        const char *head = text->layout.head[column];
        out->axis_name[k] =
            head[0] != '\0' ? head : quell_arena_print(text->reader->arena, "column %zu", column + 1);
        if (out->axis_name[k] == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory for names");
        if (columns->head[k + 1].has_unit && columns->head[k + 1].unit.dimension == QUELL_ACCELERATION)
            out->unit[k] = columns->head[k + 1].unit;
    }
    out->rate_hz = text->layout.rate.hz;
    out->level = columns->level;
    out->whole_numbers = columns->whole_numbers;
    if (isfinite(text->layout.epoch_s))
        out->start = text->layout.epoch_s;
    make_plan(text);
    return add_notes(text->reader, &columns->notes, err);
}

/* ---------------------------------------------------------------- the reader */

static quell_status next(ingest_reader *reader, ingest_batch *out, quell_error *err)
{
    pass *text = reader->state;
    out->rows = 0;
    while (out->rows < INGEST_BATCH && !text->ended) {
        read_quickly(text, out);
        if (out->rows == INGEST_BATCH)
            break;
        ingest_line line;
        quell_status status = ingest_lines_next(text->lines, &line, err);
        if (status == QUELL_OK && line.text != NULL) {
            status = read_line(text, line, out, err);
        } else if (status == QUELL_OK) {
            text->ended = true;
            status = check_rows(text, err);
            if (status == QUELL_OK)
                status = add_findings(text, err);
        }
        if (status != QUELL_OK)
            return status;
    }
    return QUELL_OK;
}

static void close_text(ingest_reader *reader)
{
    quell_memory_free(reader->state);
    reader->state = NULL;
}

quell_status ingest_text_open(ingest_reader *out, ingest_lines *lines, const quell_read_options *options,
                              quell_arena *arena, quell_findings *findings, quell_error *err)
{
    *out = (ingest_reader){.arena = arena, .findings = findings, .next = next, .close = close_text};
    pass *text = quell_memory_get(sizeof *text);
    if (text == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    memset(text, 0, sizeof *text);
    text->lines = lines;
    text->reader = out;
    out->state = text;
    quell_status status = look_ahead(text, options, err);
    return status == QUELL_OK ? state(text, err) : status;
}
