/* Which columns tell the time in words, and how: with the date, or by the time of day from midnight to midnight. */
#include "ingest/ingest_private.h"

#include <math.h>

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static double cell(const ingest_layout *layout, size_t row, size_t column)
{
    return layout->cell[row * layout->dialect.columns + column];
}

/* "2019-12-23 21:04:06,690" in a file with commas between columns: the thousandths stand in a column of their own,
   always as many digits, and rise while the second stays the same. */
size_t ingest_fraction_column(const ingest_layout *layout)
{
    for (size_t c = 1; c < layout->dialect.columns && layout->dialect.delimiter == ','; c++) {
        const ingest_column_seen *clock = &layout->seen[c - 1];
        bool digits = layout->seen[c].digits == 3 || layout->seen[c].digits == 6;
        if (clock->content != INGEST_OF_STAMPS || !clock->has_clock || !digits)
            continue;
        size_t shared = 0, falls = 0;
        for (size_t r = 0; r < layout->rows; r++) {
            double second = cell(layout, r, c - 1);
            if (second != floor(second))
                return INGEST_NONE;
            bool same = r > 0 && second == cell(layout, r - 1, c - 1);
            shared += same;
            falls += same && cell(layout, r, c) < cell(layout, r - 1, c);
        }
        return shared > 0 && falls == 0 ? c : INGEST_NONE;
    }
    return INGEST_NONE;
}

/* A column of dates alone that can be read in one way, beside a column of times of day. */
static size_t date_column(const ingest_layout *layout)
{
    for (size_t c = 0; c < layout->dialect.columns; c++) {
        const ingest_column_seen *seen = &layout->seen[c];
        if (seen->content == INGEST_OF_STAMPS && seen->has_date && !seen->has_clock &&
            seen->order != INGEST_ORDER_OPEN)
            return c;
    }
    return INGEST_NONE;
}

void ingest_stamp_plan_make(ingest_stamp_plan *out, const ingest_layout *layout, size_t clock)
{
    const ingest_column_seen *seen = &layout->seen[clock];
    *out = (ingest_stamp_plan){.used = true, .clock = clock, .date = INGEST_NONE, .order = seen->order};
    out->fraction = layout->fraction == clock + 1 ? layout->fraction : INGEST_NONE;
    if (!seen->has_date)
        out->date = date_column(layout);
    if (out->date != INGEST_NONE)
        out->order = layout->seen[out->date].order;
    bool dated = out->date != INGEST_NONE || (seen->has_date && seen->order != INGEST_ORDER_OPEN);
    out->period_s = dated ? 0 : seen->period_s;
    size_t column = out->date != INGEST_NONE ? out->date : clock;
    for (size_t r = 0; dated && r < layout->rows; r++)
        if (!isnan(cell(layout, r, column))) {
            out->first_day = (long)floor(cell(layout, r, column) / 86400);
            break;
        }
}

size_t ingest_stamp_times(const ingest_stamp_plan *plan, const ingest_layout *layout, double *out)
{
    double rolled_s = 0, last = 0, scale = 1;
    for (size_t d = 0; plan->fraction != INGEST_NONE && d < layout->seen[plan->fraction].digits; d++)
        scale *= 10;
    size_t known = 0;
    for (size_t r = 0; r < layout->rows; r++) {
        double seconds = cell(layout, r, plan->clock);
        if (plan->date != INGEST_NONE)
            seconds += cell(layout, r, plan->date);
        seconds -= 86400.0 * (double)plan->first_day;
        if (plan->period_s > 0)
            seconds = fmod(seconds, 86400);
        if (plan->fraction != INGEST_NONE)
            seconds += cell(layout, r, plan->fraction) / scale;
        if (isnan(seconds)) {
            out[r] = NAN;
            continue;
        }
        out[r] = last = ingest_stamp_unroll(plan, &rolled_s, last, seconds);
        known++;
    }
    return known;
}

/* ---------------------------------------------------------------- the stamps of a file's rows */

/* Seconds from the start of the plan's first day. */
bool ingest_stamp_seconds(const ingest_stamp_plan *plan, const ingest_field *field, size_t count,
                          double *seconds)
{
    ingest_stamp clock, date;
    if (plan->clock >= count)
        return false;
    const ingest_field *at = &field[plan->clock];
    if (!ingest_stamp_read(&clock, at->text, at->length, plan->order) || !clock.has_clock)
        return false;
    *seconds = clock.second;
    if (plan->date != INGEST_NONE) {
        at = &field[plan->date];
        if (plan->date >= count || !ingest_stamp_read(&date, at->text, at->length, plan->order) ||
            !date.has_date)
            return false;
        *seconds += 86400.0 * (double)(date.day - plan->first_day);
    } else if (plan->period_s == 0 && clock.has_date) {
        *seconds += 86400.0 * (double)(clock.day - plan->first_day);
    }
    if (plan->fraction == INGEST_NONE)
        return true;
    if (plan->fraction >= count)
        return false;
    at = &field[plan->fraction];
    double value = 0, scale = 1;
    for (size_t i = 0; i < at->length; i++, scale *= 10) {
        if (!is_digit(at->text[i]) || i >= 9)
            return false;
        value = 10 * value + (at->text[i] - '0');
    }
    *seconds += value / scale;
    return at->length > 0;
}

double ingest_stamp_unroll(const ingest_stamp_plan *plan, double *rolled_s, double last, double seconds)
{
    seconds += *rolled_s;
    if (plan->period_s > 0 && seconds < last - plan->period_s / 2) {
        *rolled_s += plan->period_s;
        seconds += plan->period_s;
    }
    return seconds;
}
