/* Which column is time and which are accelerations: as asked for, by their heads, or else by their content. */
#include "ingest/ingest_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

static double cell(const ingest_layout *layout, size_t row, size_t column)
{
    return layout->cell[row * layout->dialect.columns + column];
}

/* ---------------------------------------------------------------- time */

static quell_status note(ingest_columns *out, const ingest_layout *layout, const char *kind,
                         quell_severity severity, double value, const char *remedy, const char *text,
                         quell_error *err)
{
    quell_status status =
        quell_findings_add(&out->notes, layout->arena, kind, severity, value, NAN, remedy, "%s", text);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

/* Time by content: it mostly rises, and hardly ever falls (where it does the reader will say so). Counting by ones
   from row to row is no proof of time. */
static bool looks_like_time(const ingest_layout *layout, size_t column, bool *counts)
{
    double last = NAN;
    size_t rises = 0, falls = 0, steps = 0, ones = 0;
    for (size_t r = 0; r < layout->rows; r++) {
        double now = cell(layout, r, column);
        if (isnan(now))
            continue;
        if (!isnan(last)) {
            steps++;
            rises += now > last;
            falls += now < last;
            ones += now - last == 1;
        }
        last = now;
    }
    *counts = steps > 0 && ones == steps;
    return steps >= 2 && 2 * rises > steps && falls <= (steps < 10 ? 0 : 1 + steps / 50);
}

static bool is_free_number(const ingest_layout *layout, const ingest_columns *columns, size_t c)
{
    ingest_content content = layout->seen[c].content;
    return (content == INGEST_OF_NUMBERS || content == INGEST_OF_NOTHING) &&
           !ingest_column_is_taken(columns, c);
}

/* The column of times of day, one that is headed as time rather than another. */
static size_t clock_column(const ingest_layout *layout, const ingest_head *head)
{
    size_t found = INGEST_NONE;
    for (size_t c = layout->dialect.columns; c-- > 0;) {
        bool is_clock = layout->seen[c].content == INGEST_OF_STAMPS && layout->seen[c].has_clock;
        if (is_clock &&
            (found == INGEST_NONE || head[c].role == INGEST_TIME || head[found].role != INGEST_TIME))
            found = c;
    }
    return found;
}

/* Time is a column headed so, or one of times in words, or one of unknown meaning whose numbers rise. */
static void find_time(ingest_columns *out, const ingest_layout *layout, const ingest_head *head)
{
    size_t columns = layout->dialect.columns;
    bool counts;
    for (size_t c = 0; c < columns; c++)
        if (head[c].role == INGEST_TIME && is_free_number(layout, out, c) &&
            ingest_column_has_numbers(layout, c)) {
            out->slot[0] = c;
            return;
        }
    out->slot[0] = clock_column(layout, head);
    for (size_t c = 0; c < columns && out->slot[0] == INGEST_NONE; c++) {
        bool open = head[c].role == INGEST_UNKNOWN && is_free_number(layout, out, c);
        if (open && looks_like_time(layout, c, &counts) && !counts)
            out->slot[0] = c;
    }
}

/* A column that counts rows: headed so, or by its numbers. */
static void find_counter(ingest_columns *out, const ingest_layout *layout, const ingest_head *head)
{
    bool counts;
    for (size_t c = 0; c < layout->dialect.columns; c++) {
        bool open = is_free_number(layout, out, c) &&
                    (head[c].role == INGEST_UNKNOWN || head[c].role == INGEST_COUNTER);
        if (!open || !looks_like_time(layout, c, &counts))
            continue;
        if (counts || head[c].role == INGEST_COUNTER) {
            out->slot[4] = c;
            return;
        }
    }
}

/* Rows without a time are placed by the rate that the header states. */
static quell_status note_rate(ingest_columns *out, const ingest_layout *layout, quell_error *err)
{
    const ingest_rate_said *said = &layout->rate;
    quell_status status = quell_findings_add(
        &out->notes, layout->arena, "rate", QUELL_NOTE, said->hz, NAN,
        "say --rate HZ:TOL% if you know better", "there is no column of time; %s states %.6g Hz (line %zu)",
        said->by_rows ? "the second row" : "the header", said->hz, said->line);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

/* Times of the rows in the sample, in the stamps' unit. */
static void read_times(const ingest_columns *columns, const ingest_layout *layout,
                       double times[INGEST_SAMPLE_ROWS])
{
    if (columns->stamps.used)
        ingest_stamp_times(&columns->stamps, layout, times);
    for (size_t r = 0; r < layout->rows && !columns->stamps.used; r++)
        times[r] = cell(layout, r, columns->slot[0]);
}

/* Median of the rising steps of the sample's times; 0 if there is none. */
static double median_step(const double *times, size_t rows)
{
    double step[INGEST_SAMPLE_ROWS], last = NAN;
    size_t count = 0;
    for (size_t r = 0; r < rows; r++) {
        if (isnan(times[r]))
            continue;
        if (times[r] > last)
            step[count++] = times[r] - last;
        last = times[r];
    }
    if (count == 0)
        return 0;
    gsl_sort(step, 1, count);
    return step[count / 2];
}

/* ---------------------------------------------------------------- the unit of time, where something else tells it */

static const char *const unit_names[] = {"s", "ms", "us", "ns"};

/* Numbers as large as the seconds since 1970 of this century, or thousandths of them and so on. */
static quell_status unit_by_epoch(ingest_columns *out, const ingest_layout *layout, const double *times,
                                  quell_error *err)
{
    double first = NAN;
    for (size_t r = 0; r < layout->rows && isnan(first); r++)
        first = times[r];
    for (size_t i = 0; i < INGEST_COUNT(unit_names); i++) {
        ingest_unit unit = {0};
        ingest_unit_read(&unit, QUELL_TIME, unit_names[i], strlen(unit_names[i]));
        if (!(first * unit.si >= 978307200 && first * unit.si < 4102444800)) /* the years 2001 to 2099 */
            continue;
        out->head[0].unit = unit;
        out->head[0].has_unit = true;
        char text[96];
        quell_error words = {0};
        quell_fail(&words, QUELL_OK, "the stamps are as large as the time since 1970 in %s", unit.name);
        quell_printable(text, sizeof text, words.text, strlen(words.text));
        return note(out, layout, "time-unit", QUELL_NOTE, first, "say --time-unit if that is wrong", text,
                    err);
    }
    return QUELL_OK;
}

/* A column of numbers without a unit, beside one of times in words: they last as long. */
static quell_status unit_by_stamps(ingest_columns *out, const ingest_layout *layout, const ingest_head *head,
                                   const double *times, quell_error *err)
{
    size_t clock = clock_column(layout, head);
    double words[INGEST_SAMPLE_ROWS];
    ingest_stamp_plan plan;
    if (clock == INGEST_NONE || layout->rows < 2)
        return QUELL_OK;
    ingest_stamp_plan_make(&plan, layout, clock);
    ingest_stamp_times(&plan, layout, words);
    size_t last = layout->rows - 1;
    double span = times[last] - times[0], span_s = words[last] - words[0];
    for (size_t i = 0; i < INGEST_COUNT(unit_names); i++) {
        ingest_unit unit = {0};
        ingest_unit_read(&unit, QUELL_TIME, unit_names[i], strlen(unit_names[i]));
        if (!(span_s >= 3 && fabs(span * unit.si - span_s) <= 1.5))
            continue;
        out->head[0].unit = unit;
        out->head[0].has_unit = true;
        char text[96];
        quell_error said = {0};
        quell_fail(&said, QUELL_OK, "the unit of time is taken as %s, by which it agrees with column %zu",
                   unit.name, clock + 1);
        quell_printable(text, sizeof text, said.text, strlen(said.text));
        return note(out, layout, "time-unit", QUELL_NOTE, span * unit.si / span_s,
                    "say --time-unit if that is wrong", text, err);
    }
    return QUELL_OK;
}

/* ---------------------------------------------------------------- all together */

/* Moves the used acceleration slots together: a file may have y and z only. */
static void close_up(ingest_columns *out)
{
    for (size_t s = 1; s <= 3; s++)
        if (out->slot[s] != INGEST_NONE) {
            size_t column = out->slot[s];
            out->slot[s] = INGEST_NONE;
            out->slot[++out->axes] = column;
        }
}

static void plan_stamps(ingest_columns *out, const ingest_layout *layout)
{
    out->stamps = (ingest_stamp_plan){.date = INGEST_NONE, .fraction = INGEST_NONE};
    if (out->slot[0] != INGEST_NONE && layout->seen[out->slot[0]].content == INGEST_OF_STAMPS)
        ingest_stamp_plan_make(&out->stamps, layout, out->slot[0]);
}

static quell_status settle_time(ingest_columns *out, const ingest_layout *layout, const ingest_head *head,
                                const quell_read_options *options, quell_error *err)
{
    double times[INGEST_SAMPLE_ROWS];
    if (out->slot[0] == INGEST_NONE && options->rate != NULL)
        return QUELL_OK;
    if (out->slot[0] == INGEST_NONE) {
        quell_status slow = ingest_refuse_summary(layout, out, NULL, 0, err);
        return slow == QUELL_OK ? note_rate(out, layout, err) : slow;
    }
    read_times(out, layout, times);
    out->step = median_step(times, layout->rows);
    quell_status status = QUELL_OK;
    if (out->stamps.used) {
        ingest_unit_read(&out->head[0].unit, QUELL_TIME, "s", 1);
        out->head[0].has_unit = true;
    } else if (!out->head[0].has_unit && options->time_unit == NULL) {
        status = unit_by_stamps(out, layout, head, times, err);
        if (status == QUELL_OK && !out->head[0].has_unit)
            status = unit_by_epoch(out, layout, times, err);
    }
    if (status != QUELL_OK || !out->head[0].has_unit || options->time_unit != NULL)
        return status;
    for (size_t r = 0; r < layout->rows; r++)
        times[r] *= out->head[0].unit.si;
    return ingest_refuse_summary(layout, out, times, layout->rows, err);
}

/* The rate that the header states is used where there is no time. */
static bool has_rate(const ingest_layout *layout, const quell_read_options *options)
{
    return options->rate != NULL || (layout->rate.hz > 0 && layout->rate.other_hz <= 0);
}

static quell_status find(ingest_columns *out, const ingest_layout *layout, const ingest_head *head,
                         const quell_read_options *options, quell_error *err)
{
    quell_status status = options->columns != NULL ? ingest_columns_option(out, layout, options->columns, err)
                          : layout->heads_apart > 0 ? ingest_refuse_heads_apart(layout, err)
                                                    : ingest_refuse_list(layout, err);
    if (status != QUELL_OK)
        return status;
    /* --columns without t, beside --rate, says that the stamps are not to be used */
    bool ignore_time = options->columns != NULL && options->rate != NULL;
    if (out->slot[0] == INGEST_NONE && !ignore_time)
        find_time(out, layout, head);
    plan_stamps(out, layout);
    find_counter(out, layout, head);
    if (out->slot[0] == INGEST_NONE && !has_rate(layout, options))
        return ingest_refuse_no_time(layout, head, out->slot[4], err);
    if (options->columns == NULL)
        status = ingest_axes_find(out, layout, head, err);
    if (status != QUELL_OK)
        return status;
    close_up(out);
    for (size_t s = 0; s < INGEST_SLOTS; s++)
        if (out->slot[s] != INGEST_NONE)
            out->head[s] = head[out->slot[s]];
    status = settle_time(out, layout, head, options, err);
    if (status != QUELL_OK)
        return status;
    if (out->axes == 0)
        return ingest_refuse_no_acceleration(layout, head, out, err);
    ingest_axes_weigh(out, layout);
    return QUELL_OK;
}

quell_status ingest_columns_find(ingest_columns *out, const ingest_layout *layout,
                                 const quell_read_options *options, quell_error *err)
{
    ingest_head head[INGEST_COLUMNS_MAX];
    for (size_t c = 0; c < layout->dialect.columns; c++)
        head[c] = ingest_head_read(layout->head[c]);
    *out = (ingest_columns){.empty = INGEST_NONE, .stamps = {.date = INGEST_NONE, .fraction = INGEST_NONE}};
    for (size_t s = 0; s < INGEST_SLOTS; s++)
        out->slot[s] = INGEST_NONE;
    return find(out, layout, head, options, err);
}
