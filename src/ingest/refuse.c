/* What a file that is no recording seems to be, and what would have to be said to read it all the same. */
#include "ingest/ingest_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

static double cell(const ingest_layout *layout, size_t row, size_t column)
{
    return layout->cell[row * layout->dialect.columns + column];
}

/* ---------------------------------------------------------------- no rows */

/* Most fields that a line of the sample has between commas, semicolons or tabs. */
static size_t most_fields(const ingest_sample *sample)
{
    size_t most = 0;
    static const char delimiters[] = {',', ';', '\t'};
    for (size_t i = 0; i < sample->count; i++)
        for (size_t d = 0; d < sizeof delimiters; d++) {
            size_t fields = 1;
            const char *at = sample->line[i].text, *end = at + sample->line[i].length;
            while ((at = memchr(at, delimiters[d], (size_t)(end - at))) != NULL) {
                fields++;
                at++;
            }
            most = fields > most ? fields : most;
        }
    return most;
}

quell_status ingest_refuse_no_rows(const ingest_sample *sample, quell_error *err)
{
    if (sample->count == 0 && !sample->whole)
        return quell_fail(err, QUELL_E_DATA, "found no line end at the start, want lines of numbers");
    size_t fields = most_fields(sample);
    if (fields > INGEST_COLUMNS_MAX)
        return quell_fail(err, QUELL_E_DATA, "found a line of %zu columns, want %d at most", fields,
                          INGEST_COLUMNS_MAX);
    if (!sample->whole)
        return quell_fail(
            err, QUELL_E_DATA,
            "found no row of numbers in the first %zu lines (%d KiB are looked at), want rows of time and "
            "acceleration",
            sample->count, INGEST_PEEK >> 10);
    return quell_fail(err, QUELL_E_DATA,
                      "found %zu line%s and no row of numbers, want rows of time and acceleration",
                      sample->count, sample->count == 1 ? "" : "s");
}

/* ---------------------------------------------------------------- spectra */

/* A file with a column of frequency, or of something over it, is no recording. */
static bool is_spectrum(const ingest_layout *layout, const ingest_head *head, quell_error *err)
{
    for (size_t c = 0; c < layout->dialect.columns; c++)
        if (head[c].role == INGEST_FREQUENCY) {
            quell_fail(err, QUELL_E_DATA,
                       "column %zu is headed '%s': this is a spectrum, want a recording over time", c + 1,
                       layout->head[c]);
            return true;
        }
    return false;
}

/* ---------------------------------------------------------------- values in a list */

/* Mean change from each value to the next one on the line, from the last to the first of the next line, and from line
   to line in the same column. */
static bool reads_on(const ingest_layout *layout)
{
    size_t columns = layout->dialect.columns;
    double beside = 0, around = 0, below = 0;
    size_t lines = 0;
    for (size_t r = 1; r < layout->rows; r++) {
        double sum = 0, step = 0;
        for (size_t c = 0; c < columns; c++) {
            sum += fabs(cell(layout, r, c) - cell(layout, r - 1, c));
            step += c > 0 ? fabs(cell(layout, r, c) - cell(layout, r, c - 1)) : 0;
        }
        double turn = fabs(cell(layout, r, 0) - cell(layout, r - 1, columns - 1));
        if (isnan(sum) || isnan(step))
            continue;
        lines++;
        below += sum / (double)columns;
        beside += step / (double)(columns - 1);
        around += turn;
    }
    /* a smooth series changes less over one step than over a whole line of them; columns of their own do not */
    return lines >= INGEST_ROWS_MIN && beside < 0.6 * below && around < 0.6 * below;
}

static bool is_list(const ingest_layout *layout)
{
    if (layout->has_head || layout->dialect.columns < 3)
        return false;
    for (size_t c = 0; c < layout->dialect.columns; c++)
        if (layout->seen[c].content != INGEST_OF_NUMBERS)
            return false;
    return reads_on(layout);
}

quell_status ingest_refuse_list(const ingest_layout *layout, quell_error *err)
{
    if (!is_list(layout))
        return QUELL_OK;
    return quell_fail(
        err, QUELL_E_DATA,
        "the values read on from line to line: this is one series, %zu values a line, want one sample a "
        "line (or --columns x=1,... if they are columns)",
        layout->dialect.columns);
}

/* "0,125,0,250": every other field of nothing but digits, with a zero in front somewhere, and no point anywhere. */
static bool is_comma_twice(const ingest_layout *layout, const ingest_sample *sample)
{
    size_t columns = layout->dialect.columns, lines = 0;
    if (layout->dialect.delimiter != ',' || columns % 2 != 0)
        return false;
    bool zero_led = false;
    for (size_t i = layout->first_line; i < sample->count && lines < INGEST_SAMPLE_ROWS; i++) {
        ingest_split_line line;
        if (ingest_is_idle(sample->line[i].text, sample->line[i].length, ','))
            continue;
        ingest_line_split(&line, &layout->dialect, sample->line[i]);
        for (size_t c = 0; c < line.fields; c++) {
            const ingest_field *field = &line.field[c];
            for (size_t d = 0; d < field->length; d++)
                if ((field->text[d] < '0' || field->text[d] > '9') &&
                    !(c % 2 == 0 && d == 0 && field->text[d] == '-'))
                    return false;
            zero_led = zero_led || (c % 2 == 1 && field->length > 1 && field->text[0] == '0');
        }
        lines++;
    }
    return zero_led && lines > 2;
}

quell_status ingest_refuse_comma_twice(const ingest_layout *layout, const ingest_sample *sample,
                                       quell_error *err)
{
    if (!is_comma_twice(layout, sample))
        return QUELL_OK;
    return quell_fail_at(
        err, QUELL_E_DATA, layout->first_line + 1, 0,
        "the comma seems to be both the decimal sign and what stands between columns: want a "
        "semicolon, tab or blank between columns, or a decimal point");
}

/* ---------------------------------------------------------------- summaries, counts of activity or steps */

static double median_gap(const double *times_s, size_t count)
{
    double gap[INGEST_SAMPLE_ROWS];
    size_t gaps = 0;
    double last = NAN;
    for (size_t r = 0; r < count; r++) {
        if (isnan(times_s[r]))
            continue;
        if (!isnan(last))
            gap[gaps++] = times_s[r] - last;
        last = times_s[r];
    }
    if (gaps == 0)
        return 0;
    gsl_sort(gap, 1, gaps);
    return gap[gaps / 2];
}

/* All that was taken for acceleration is whole numbers, none below zero, and not the same throughout. */
static bool are_counts(const ingest_layout *layout, const ingest_columns *columns)
{
    bool varied = false;
    for (size_t s = 1; s <= 3 && columns->slot[s] != INGEST_NONE; s++)
        for (size_t r = 0; r < layout->rows; r++) {
            double value = cell(layout, r, columns->slot[s]);
            if (value < 0 || (isfinite(value) && value != floor(value)))
                return false;
            varied = varied || value > 0;
        }
    return varied;
}

static quell_status refuse_slow(const ingest_layout *layout, const ingest_columns *columns, double gap_s,
                                quell_error *err)
{
    const char *what = are_counts(layout, columns) ? "counts of activity or steps" : "a summary";
    return quell_fail(
        err, QUELL_E_DATA,
        "one row every %.4g s: this seems to be %s, want acceleration 20 times a second or more", gap_s,
        what);
}

quell_status ingest_refuse_summary(const ingest_layout *layout, const ingest_columns *columns,
                                   const double *times_s, size_t count, quell_error *err)
{
    if (times_s == NULL)
        return layout->rate.hz > 0 && layout->rate.hz <= 1
                   ? refuse_slow(layout, columns, 1 / layout->rate.hz, err)
                   : QUELL_OK;
    double gap_s = median_gap(times_s, count);
    return gap_s >= 1 ? refuse_slow(layout, columns, gap_s, err) : QUELL_OK;
}

/* ---------------------------------------------------------------- no time, no acceleration */

quell_status ingest_refuse_no_time(const ingest_layout *layout, const ingest_head *head, size_t counter,
                                   quell_error *err)
{
    if (is_spectrum(layout, head, err))
        return QUELL_E_DATA;
    if (layout->rate.other_hz > 0)
        return quell_fail(
            err, QUELL_E_DATA,
            "found no time, and the header states two rates, %.6g Hz (line %zu) and %.6g Hz (line %zu), "
            "want --rate with the right one",
            layout->rate.hz, layout->rate.line, layout->rate.other_hz, layout->rate.other_line);
    if (counter != INGEST_NONE)
        return quell_fail(
            err, QUELL_E_DATA,
            "column %zu counts rows; found no time and no rate, want --rate HZ, or --columns t=%zu,x=... and "
            "--time-unit if it is time",
            counter + 1, counter + 1);
    for (size_t c = 0; c < layout->dialect.columns; c++)
        if (layout->seen[c].content == INGEST_OF_WORDS)
            return quell_fail(
                err, QUELL_E_DATA,
                "found no column of time (column %zu holds words such as '%s') and no rate, want --rate HZ",
                c + 1, layout->seen[c].words);
    if (layout->dialect.columns == 1)
        return quell_fail(err, QUELL_E_DATA,
                          "found one column of numbers, no time and no rate, want a column of time "
                          "or --rate HZ");
    return quell_fail(err, QUELL_E_DATA,
                      "found no column of time and no rate, want a column that rises, or --rate HZ");
}

quell_status ingest_refuse_no_acceleration(const ingest_layout *layout, const ingest_head *head,
                                           const ingest_columns *columns, quell_error *err)
{
    if (is_spectrum(layout, head, err))
        return QUELL_E_DATA;
    if (columns->empty != INGEST_NONE)
        return quell_fail(err, QUELL_E_DATA,
                          "column %zu (%s) has no number in the first %zu rows, want accelerations",
                          columns->empty + 1, layout->head[columns->empty], layout->rows);
    if (layout->dialect.columns == 1 && columns->slot[0] != INGEST_NONE)
        return quell_fail(err, QUELL_E_DATA, "found one column, which is time, want accelerations beside it");
    return quell_fail(
        err, QUELL_E_DATA,
        "found no column of acceleration among %zu, want heads such as ax, or --columns x=2,y=3,z=4",
        layout->dialect.columns);
}

quell_status ingest_refuse_heads_apart(const ingest_layout *layout, quell_error *err)
{
    return quell_fail(err, QUELL_E_DATA,
                      "found %zu heads over %zu columns, want as many, or --columns t=1,x=2,y=3,z=4",
                      layout->heads_apart, layout->dialect.columns);
}
