/* The sample index from a counter column, which settles losses exactly. The counter may start anywhere,
   count by a fixed stride, be missing in a row, and start anew at 8, 16 or 32 bits; the stamps, if there
   are any, tell how often it did, and bridge a counter that was set back. */
#include "ingest/timeline_private.h"

#include <math.h>

#define COUNT_MAX 9007199254740992.0 /* 2^53: larger counts are not exact */
#define JUMP_MAX 1e9                 /* samples between two rows */

static bool is_count(double value)
{
    return value >= -COUNT_MAX && value <= COUNT_MAX && value == floor(value);
}

static double common_divisor(double a, double b)
{
    while (b > 0) {
        double rest = fmod(a, b);
        a = b;
        b = rest;
    }
    return a;
}

/* It counts samples if nearly all rows have a whole number and most go on by one stride. Read twice: for
   the stride, and for how many keep to it. */
bool ingest_counter_begin(ingest_timeline *timeline, const double *counter, size_t n)
{
    double stride = 0;
    size_t whole = 0, steps = 0, even = 0;
    for (size_t i = 0; i < n; i++) {
        bool both = i > 0 && is_count(counter[i]) && is_count(counter[i - 1]);
        whole += is_count(counter[i]);
        if (both && counter[i] > counter[i - 1])
            stride = common_divisor(counter[i] - counter[i - 1], stride);
    }
    for (size_t i = 1; i < n; i++) {
        bool both = is_count(counter[i]) && is_count(counter[i - 1]);
        steps += both;
        even += both && stride > 0 && counter[i] - counter[i - 1] == stride;
    }
    timeline->count = (ingest_count){.stride = stride};
    return 2 * whole > n && steps > 0 && 2 * even > steps;
}

/* ---------------------------------------------------------------- from one count to the next */

/* Index by the stamps, from the line's own; NaN without stamps. The line goes through the mean of the
   block before: late stamps of single rows or batches do not move it much. */
static double by_stamps(const ingest_timeline *timeline, const double *stamp, size_t j)
{
    const ingest_course *line = &timeline->line;
    return stamp == NULL ? (double)NAN : floor((stamp[j] - line->time) / line->step + 0.5);
}

/* Stamps may be off by some batches, and their step by 2 % when many samples are lost. */
static double tolerance(const ingest_timeline *timeline, double expected)
{
    return 8 + 4 * (double)timeline->prefix.batch + 0.02 * fmax(expected, 0);
}

static bool is_likely(const ingest_timeline *timeline, double moved, double expected)
{
    if (!(moved >= 1 && moved <= JUMP_MAX) || moved != floor(moved))
        return false;
    return isnan(expected) || fabs(moved - expected) <= tolerance(timeline, expected);
}

/* Samples by which the counter moved on if it starts anew at `modulus`. */
static double around(const ingest_count *count, double value, double modulus, double expected)
{
    double moved = (value - count->last) / count->stride, turn = modulus / count->stride;
    if (moved < 1)
        moved += turn;
    if (!isnan(expected))
        moved += turn * fmax(0, floor((expected - moved) / turn + 0.5));
    return moved;
}

/* How a count was reached from the last one. */
typedef struct leap {
    double samples; /* at least 1 */
    double modulus; /* at which the counter starts anew, as far as known */
    bool reset;     /* it was set back: the stamps tell the samples */
} leap;

static leap leap_to(const ingest_timeline *timeline, double value, double expected)
{
    static const double moduli[] = {256, 65536, 4294967296};
    const ingest_count *count = &timeline->count;
    double moved = (value - count->last) / count->stride;
    if (is_likely(timeline, moved, expected))
        return (leap){moved, count->modulus, false};
    for (size_t m = 0; m < INGEST_COUNT(moduli); m++) {
        bool fits = count->modulus > 0 ? moduli[m] == count->modulus
                                       : count->largest < moduli[m] && value < moduli[m] && value >= 0;
        moved = around(count, value, moduli[m], expected);
        /* without stamps a turn that skips more than half of all counts is rather a counter set back */
        bool likely = is_likely(timeline, moved, expected) &&
                      (!isnan(expected) || moved * count->stride <= moduli[m] / 2);
        if (fits && likely)
            return (leap){moved, moduli[m], false};
    }
    return (leap){expected >= 1 ? fmin(expected, JUMP_MAX) : 1, count->modulus, true};
}

/* ---------------------------------------------------------------- rows */

/* A row has this count and this place (index from the line's own). */
static void keep(ingest_timeline *timeline, double value, double place, const leap *how)
{
    ingest_count *count = &timeline->count;
    count->modulus = how->modulus;
    count->resets += how->reset;
    count->largest = how->reset || !count->known ? value : fmax(count->largest, value);
    count->known = true;
    count->last = value;
    count->last_index = timeline->line.index + place;
}

/* Rows [from, to) of those before row `with`, which lack a count and lie between the places `before` and
   `after`: where there is room to choose, the stamps do. */
static void fill_in(const ingest_timeline *timeline, const double *stamp, size_t from, size_t to, size_t with,
                    double before, double after, double *at)
{
    for (size_t j = from; j < to; j++) {
        double place = before + 1, most = after - (double)(with - j);
        if (stamp != NULL && timeline->count.known)
            place = by_stamps(timeline, stamp, j);
        at[j] = fmax(before + 1, fmin(place, most));
        before = at[j];
    }
}

/* Places for the first `length` of n rows. */
static void decide(ingest_timeline *timeline, const double *stamp, const double *counter, size_t length,
                   size_t n, double *at)
{
    const ingest_count *count = &timeline->count;
    double before = timeline->next - timeline->line.index - 1;
    for (size_t j = 0, with = 0; j < length; j = with + 1) {
        for (with = j; with < n && !is_count(counter[with]);)
            with++;
        leap how = {1, count->modulus, false};
        double place = with < n ? before + (double)(with - j) + 1 : (double)INFINITY;
        if (with < n && count->known) {
            double last = count->last_index - timeline->line.index;
            how = leap_to(timeline, counter[with], by_stamps(timeline, stamp, with) - last);
            place = fmax(place, last + how.samples);
        }
        fill_in(timeline, stamp, j, with < length ? with : length, with, before, place, at);
        if (with >= length)
            return;
        at[with] = before = place;
        keep(timeline, counter[with], place, &how);
    }
}

quell_status ingest_counter_place(ingest_timeline *timeline, const double *stamp, const double *counter,
                                  size_t n, size_t *index, size_t *took, quell_error *err)
{
    ingest_course *line = &timeline->line;
    quell_status status = QUELL_OK;
    if (stamp != NULL)
        status = ingest_timeline_check(timeline, stamp, n, err);
    if (status != QUELL_OK)
        return status;
    size_t length = n < INGEST_BLOCK ? n : INGEST_BLOCK;
    double at[INGEST_BLOCK], time[INGEST_BLOCK];
    decide(timeline, stamp, counter, length, n, at);
    for (size_t j = 0; j < length; j++)
        time[j] = stamp != NULL ? stamp[j] : line->index + at[j];
    ingest_residuals sums;
    ingest_timeline_enter(timeline, time, at, length, INFINITY, index, &sums);
    *line =
        (ingest_course){time[length - 1], line->index + at[length - 1], ingest_slope_step(&timeline->slope)};
    *took = length;
    return QUELL_OK;
}
