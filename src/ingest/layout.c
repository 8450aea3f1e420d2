/* Where the rows of numbers begin, and the first rows as numbers.

   A header block may hold lines that look like rows ("Samples,1000,1000"): rows begin where a run of ten of them
   begins, or at the first of them if no line with column heads stands in between, so that a damaged row near the
   start is an error and not taken for a header. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

enum { RUN = 10 };

static bool is_idle(const ingest_layout *layout, ingest_span line)
{
    return ingest_is_idle(line.text, line.length, layout->dialect.delimiter);
}

void ingest_line_split(ingest_split_line *out, const ingest_dialect *dialect, ingest_span line)
{
    out->fields = ingest_split(dialect, line.text, line.length, out->field, INGEST_COLUMNS_MAX);
    if (out->fields > INGEST_COLUMNS_MAX)
        out->fields = INGEST_COLUMNS_MAX;
}

/* ---------------------------------------------------------------- what the columns hold */

/* The cells of one column. */
typedef struct cells {
    size_t numbers, words, stamps, clocks, dates;
    size_t fixed;   /* cells of nothing but digits, all of the same number of them */
    size_t offsets; /* cells such as +0000 */
    size_t digits;  /* of the first */
    bool day_first, month_first, open, endless, minutes;
} cells;

static void see_stamp(cells *seen, const ingest_stamp *stamp)
{
    seen->stamps++;
    seen->clocks += stamp->has_clock;
    seen->dates += stamp->has_date;
    seen->day_first = seen->day_first || stamp->order == INGEST_DAY_FIRST;
    seen->month_first = seen->month_first || stamp->order == INGEST_MONTH_FIRST;
    seen->open = seen->open || stamp->order == INGEST_ORDER_OPEN;
    seen->endless = seen->endless || (stamp->has_clock && stamp->period_s == 0);
    seen->minutes = seen->minutes || stamp->period_s == 3600;
}

static size_t count_digits(const ingest_field *field, size_t from)
{
    size_t at = from;
    while (at < field->length && field->text[at] >= '0' && field->text[at] <= '9')
        at++;
    return at - from;
}

static void see_cell(cells *seen, ingest_column_seen *column, const ingest_field *field, char decimal)
{
    double value;
    ingest_stamp stamp;
    ingest_kind kind = ingest_field_read(field, decimal, &value);
    size_t digits = count_digits(field, 0);
    if (seen->numbers + seen->words + seen->stamps == 0)
        seen->digits = digits;
    seen->fixed += digits > 0 && digits == field->length && digits == seen->digits;
    seen->offsets +=
        kind == INGEST_NUMBER && field->length == 5 && digits == 0 && count_digits(field, 1) == 4;
    if (kind == INGEST_NUMBER)
        seen->numbers++;
    if (kind != INGEST_TEXT)
        return;
    if (seen->words + seen->stamps == 0)
        quell_printable(column->words, sizeof column->words, field->text, field->length);
    if (ingest_stamp_read(&stamp, field->text, field->length, INGEST_ORDER_OPEN))
        see_stamp(seen, &stamp);
    else
        seen->words++;
}

static void conclude(ingest_column_seen *out, const cells *seen, size_t lines)
{
    size_t filled = seen->numbers + seen->words + seen->stamps;
    out->content = 10 * filled <= lines                           ? INGEST_OF_NOTHING
                   : seen->stamps > seen->numbers + seen->words   ? INGEST_OF_STAMPS
                   : seen->words > seen->numbers + seen->stamps   ? INGEST_OF_WORDS
                   : seen->offsets > 0 && seen->offsets == filled ? INGEST_OF_OFFSETS
                                                                  : INGEST_OF_NUMBERS;
    out->digits = seen->fixed == filled ? seen->digits : 0;
    out->has_clock = 2 * seen->clocks > seen->stamps;
    out->has_date = 2 * seen->dates > seen->stamps;
    out->order = seen->day_first != seen->month_first
                     ? (seen->day_first ? INGEST_DAY_FIRST : INGEST_MONTH_FIRST)
                 : seen->open || seen->day_first ? INGEST_ORDER_OPEN
                                                 : INGEST_ORDER_KNOWN;
    out->period_s = seen->endless ? 0 : seen->minutes ? 3600 : 86400;
}

/* By the cells of the later half of the sample, where no header stands. */
static quell_status see_columns(ingest_layout *layout, const ingest_sample *sample, ingest_split_line *work,
                                quell_error *err)
{
    size_t columns = layout->dialect.columns, lines = 0,
           first = sample->count > 2 * RUN ? sample->count / 2 : 0;
    cells *seen = quell_memory_get(columns * sizeof *seen);
    if (seen == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the first lines");
    memset(seen, 0, columns * sizeof *seen);
    for (size_t i = first; i < sample->count; i++) {
        ingest_line_split(work, &layout->dialect, sample->line[i]);
        if (is_idle(layout, sample->line[i]) || work->fields != columns)
            continue;
        lines++;
        for (size_t c = 0; c < columns; c++)
            see_cell(&seen[c], &layout->seen[c], &work->field[c], layout->dialect.decimal);
    }
    for (size_t c = 0; c < columns; c++)
        conclude(&layout->seen[c], &seen[c], lines);
    quell_memory_free(seen);
    return QUELL_OK;
}

/* ---------------------------------------------------------------- rows and heads */

static bool is_wanted(const ingest_layout *layout, size_t c)
{
    return layout->seen[c].content == INGEST_OF_NUMBERS || layout->seen[c].content == INGEST_OF_STAMPS;
}

/* A row: the right number of fields, at least half of the columns of numbers and stamps filled, and no words there. */
static bool is_row(const ingest_layout *layout, const ingest_split_line *line)
{
    if (line->fields != layout->dialect.columns)
        return false;
    size_t filled = 0, wanted = 0;
    for (size_t c = 0; c < line->fields; c++) {
        double value;
        ingest_stamp stamp;
        const ingest_field *field = &line->field[c];
        if (!is_wanted(layout, c))
            continue;
        ingest_kind kind = ingest_field_read(field, layout->dialect.decimal, &value);
        bool stamps = layout->seen[c].content == INGEST_OF_STAMPS;
        if (kind == INGEST_TEXT &&
            !(stamps && ingest_stamp_read(&stamp, field->text, field->length, INGEST_ORDER_OPEN)))
            return false;
        filled += kind != INGEST_MISSING;
        wanted++;
    }
    return filled > 0 && 2 * filled >= wanted;
}

/* What the lines of the sample are. */
typedef struct finding_rows {
    size_t first_row; /* first line that looks like a row */
    size_t run;       /* first line of the first long run of rows; count of lines if there is none */
    size_t head;      /* last line of heads before the run; count of lines if there is none */
    size_t rows_before_head;
} finding_rows;

static finding_rows find_rows(const ingest_layout *layout, const ingest_sample *sample,
                              ingest_split_line *work)
{
    size_t none = sample->count;
    finding_rows out = {none, none, none, 0};
    size_t in_a_row = 0, rows = 0, run_from = 0;
    for (size_t i = 0; i < sample->count && in_a_row < RUN; i++) {
        if (is_idle(layout, sample->line[i]))
            continue;
        ingest_line_split(work, &layout->dialect, sample->line[i]);
        if (is_row(layout, work)) {
            if (out.first_row == none)
                out.first_row = i;
            if (in_a_row++ == 0)
                run_from = i;
            rows++;
            continue;
        }
        if (ingest_is_head_line(layout, work)) {
            out.head = i;
            out.rows_before_head = rows;
        }
        in_a_row = 0;
    }
    if (in_a_row > 0)
        out.run = run_from;
    return out;
}

/* ---------------------------------------------------------------- cells */

static double cell_value(const ingest_layout *layout, size_t c, const ingest_field *field)
{
    double value;
    ingest_stamp stamp;
    ingest_field_read(field, layout->dialect.decimal, &value);
    const ingest_column_seen *seen = &layout->seen[c];
    if (seen->content == INGEST_OF_STAMPS &&
        ingest_stamp_read(&stamp, field->text, field->length, seen->order))
        value = (stamp.has_date ? 86400.0 * (double)stamp.day : 0) + (stamp.has_clock ? stamp.second : 0);
    return value;
}

static quell_status read_rows(ingest_layout *layout, const ingest_sample *sample, ingest_split_line *work,
                              quell_arena *arena, quell_error *err)
{
    size_t columns = layout->dialect.columns;
    layout->cell = QUELL_NEW(arena, double, columns *INGEST_SAMPLE_ROWS);
    if (layout->cell == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the first rows");
    for (size_t i = layout->first_line; i < sample->count && layout->rows < INGEST_SAMPLE_ROWS; i++) {
        if (is_idle(layout, sample->line[i]))
            continue;
        ingest_line_split(work, &layout->dialect, sample->line[i]);
        for (size_t c = 0; c < columns; c++) {
            double *cell = &layout->cell[layout->rows * columns + c];
            *cell = NAN;
            if (c < work->fields)
                *cell = cell_value(layout, c, &work->field[c]);
        }
        layout->rows++;
    }
    return QUELL_OK;
}

/* All numbers of a row are the same, and lie between low and high: *value is theirs. */
static bool is_one_number(const ingest_layout *layout, size_t row, double low, double high, double *value)
{
    size_t columns = layout->dialect.columns;
    *value = layout->cell[row * columns];
    for (size_t c = 0; c < columns; c++)
        if (!(layout->cell[row * columns + c] == *value))
            return false;
    return *value >= low && *value <= high;
}

/* Two rows before the others may hold the time of the first one, in seconds since 1970, and the rate, once for each
   column. */
static void take_epoch_and_rate(ingest_layout *layout, const ingest_sample *sample)
{
    double epoch_s, rate_hz, other;
    layout->epoch_s = NAN;
    bool found = layout->rows > 2 && is_one_number(layout, 0, 1e9, 4e9, &epoch_s) &&
                 is_one_number(layout, 1, 1, 1e5, &rate_hz) && !is_one_number(layout, 2, 1e9, 4e9, &other);
    if (!found || layout->dialect.columns > 3)
        return;
    for (size_t rows = 0; rows < 2; layout->first_line++)
        rows += !is_idle(layout, sample->line[layout->first_line]);
    layout->epoch_s = epoch_s;
    layout->rate = (ingest_rate_said){.hz = rate_hz, .line = layout->first_line, .by_rows = true};
    layout->rows -= 2;
    memmove(layout->cell, layout->cell + 2 * layout->dialect.columns,
            layout->rows * layout->dialect.columns * sizeof *layout->cell);
}

/* ---------------------------------------------------------------- all together */

static quell_status find_layout(ingest_layout *out, const ingest_sample *sample, ingest_split_line *work,
                                quell_arena *arena, quell_error *err)
{
    for (size_t c = 0; c < INGEST_COLUMNS_MAX; c++)
        out->head[c] = "";
    if (!ingest_dialect_find(&out->dialect, sample))
        return ingest_refuse_no_rows(sample, err);
    quell_status status = see_columns(out, sample, work, err);
    if (status != QUELL_OK)
        return status;
    finding_rows found = find_rows(out, sample, work);
    if (found.first_row == sample->count)
        return ingest_refuse_no_rows(sample, err);
    bool use_head = found.head < sample->count && (found.head < found.first_row || found.run < sample->count);
    out->first_line = found.first_row;
    if (use_head && found.head > found.first_row) {
        /* what looks like rows before the heads belongs to the header block */
        out->lines_left_out = found.rows_before_head;
        out->first_line = found.head + 1;
    }
    status = read_rows(out, sample, work, arena, err);
    if (status == QUELL_OK)
        status = ingest_refuse_comma_twice(out, sample, err);
    if (status != QUELL_OK)
        return status;
    out->fraction = ingest_fraction_column(out);
    take_epoch_and_rate(out, sample);
    status = ingest_header_read(out, sample, use_head ? found.head : sample->count, work, err);
    if (status == QUELL_OK && out->rate.hz <= 0)
        ingest_rate_find(&out->rate, out, sample);
    return status;
}

quell_status ingest_layout_find(ingest_layout *out, const ingest_sample *sample, quell_arena *arena,
                                quell_error *err)
{
    ingest_split_line *work = quell_memory_get(sizeof *work);
    if (work == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the first lines");
    memset(out, 0, sizeof *out);
    out->arena = arena;
    quell_status status = find_layout(out, sample, work, arena, err);
    quell_memory_free(work);
    return status;
}
