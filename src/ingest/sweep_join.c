/* A sweep of which a shaper, or the machine above its modes, leaves next to nothing for a while falls into parts. They are
   one where the frequency goes on as if there were no lull. */
#include "ingest/segments_private.h"

#include <gsl/gsl_fit.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <string.h>

#define LOW_HZ 10.0      /* frequencies far below that are told poorly ... */
#define NEAR 0.05        /* ... times frequency plus that: what lies this near the first line draws the second, ... */
#define OFF_MOST 0.08    /* ... and half of a part must lie this near it */
#define OFF_STEADY 0.5   /* half as far off as it lies off its own median, ... */
#define TREND 0.3        /* ... or with this rank correlation of frequency and time ... */
#define TREND_SURE 3.0   /* ... so many standard deviations off that of motion without a trend, ... */
#define CHANGE_LEAST 1.1 /* ... where the line changes by this factor */

enum { LINE_WINDOWS = 15, PART_WINDOWS = 3 };

/* Frequency against time of windows that move. */
typedef struct track {
    size_t count;
    double *frequency_hz, *time_s;
} track;

typedef struct straight {
    double at_hz, slope_hz_per_s, at_s;
} straight;

static double median_of(double *value, size_t n)
{
    gsl_sort(value, 1, n);
    return value[n / 2];
}

static double on_line(const straight *line, double time_s)
{
    return line->at_hz + line->slope_hz_per_s * (time_s - line->at_s);
}

/* Slope: the median over pairs half the points apart, which what a notch spoils bends little. */
static straight draw(const track *through, double *work)
{
    size_t n = through->count, half = n / 2;
    const double *f = through->frequency_hz, *t = through->time_s;
    straight out = {.at_s = t[half]};
    for (size_t i = 0; i + half < n; i++)
        work[i] = (f[i + half] - f[i]) / (t[i + half] - t[i]);
    out.slope_hz_per_s = median_of(work, n - half);
    for (size_t i = 0; i < n; i++)
        work[i] = f[i] - out.slope_hz_per_s * (t[i] - out.at_s);
    out.at_hz = median_of(work, n);
    return out;
}

/* The straight line of least squares through what lies near the one given. */
static straight draw_again(const track *through, const straight *first, double *work)
{
    size_t n = 0;
    double *f = work, *t = work + through->count, square;
    for (size_t i = 0; i < through->count; i++)
        if (fabs(through->frequency_hz[i] - on_line(first, through->time_s[i])) <
            NEAR * (on_line(first, through->time_s[i]) + LOW_HZ)) {
            f[n] = through->frequency_hz[i];
            t[n++] = through->time_s[i] - first->at_s;
        }
    if (n < LINE_WINDOWS)
        return *first;
    straight out = {.at_s = first->at_s};
    double unused[3];
    gsl_fit_linear(t, 1, f, 1, n, &out.at_hz, &out.slope_hz_per_s, &unused[0], &unused[1], &unused[2], &square);
    return out;
}

/* How far half of a part lies off a line, of the line and LOW_HZ. */
static double off_line(const track *part, const straight *along, double *work)
{
    for (size_t i = 0; i < part->count; i++) {
        double want_hz = on_line(along, part->time_s[i]);
        work[i] = fabs(part->frequency_hz[i] - want_hz) / (want_hz + LOW_HZ);
    }
    return median_of(work, part->count);
}

/* Does the frequency of a part change with the line? */
static bool changes(const track *part, const straight *along, double off, double *work)
{
    size_t n = part->count;
    memcpy(work, part->frequency_hz, n * sizeof *work);
    straight steady = {.at_hz = median_of(work, n)};
    if (off < OFF_STEADY * off_line(part, &steady, work))
        return true;
    double trend = gsl_stats_spearman(part->frequency_hz, 1, part->time_s, 1, n, work);
    return (along->slope_hz_per_s > 0 ? trend : -trend) > fmax(TREND, TREND_SURE / sqrt((double)n));
}

/* Does a part lie along the line, and change with it where it is long enough to tell? */
static bool follows(const track *part, const straight *along, double *work)
{
    size_t n = part->count;
    if (n < PART_WINDOWS)
        return false;
    double from_hz = on_line(along, part->time_s[0]), to_hz = on_line(along, part->time_s[n - 1]);
    if (!(from_hz > 0 && to_hz > 0))
        return false;
    double off = off_line(part, along, work);
    return off < OFF_MOST &&
           (fmax(from_hz / to_hz, to_hz / from_hz) < CHANGE_LEAST || changes(part, along, off, work));
}

/* Do two parts with a lull between them make one sweep? Then *trend is that of both. */
static bool is_one_sweep(const ingest_window_levels *levels, const ingest_block *a, const ingest_block *b,
                         double *trend)
{
    double a_s = digest_seconds(levels->digest, a->from, a->to), b_s = digest_seconds(levels->digest, b->from, b->to);
    if (digest_seconds(levels->digest, a->to, b->from) > fmax(a_s, b_s))
        return false;
    track all = {.frequency_hz = levels->work, .time_s = levels->work + levels->count};
    size_t first = ingest_block_frequencies(levels, a, all.frequency_hz, all.time_s);
    all.count = first + ingest_block_frequencies(levels, b, all.frequency_hz + first, all.time_s + first);
    if (all.count < LINE_WINDOWS)
        return false;
    straight along = draw(&all, levels->ranks);
    along = draw_again(&all, &along, levels->ranks);
    track part[2] = {{first, all.frequency_hz, all.time_s},
                     {all.count - first, all.frequency_hz + first, all.time_s + first}};
    if (!follows(&part[0], &along, levels->ranks) || !follows(&part[1], &along, levels->ranks))
        return false;
    *trend = gsl_stats_spearman(all.frequency_hz, 1, all.time_s, 1, all.count, levels->ranks);
    return true;
}

size_t ingest_blocks_join_sweeps(const ingest_window_levels *levels, ingest_block *block, size_t count)
{
    size_t kept = 0;
    for (size_t b = 1; b < count; b++) {
        ingest_block *a = &block[kept];
        bool sweeps = (a->kind == QUELL_SWEEP || block[b].kind == QUELL_SWEEP) &&
                      (a->kind == QUELL_SWEEP || a->kind == QUELL_MOTION) &&
                      (block[b].kind == QUELL_SWEEP || block[b].kind == QUELL_MOTION);
        double trend;
        if (sweeps && is_one_sweep(levels, a, &block[b], &trend))
            *a = (ingest_block){a->from, block[b].to, QUELL_SWEEP, trend};
        else
            block[++kept] = block[b];
    }
    return count > 0 ? kept + 1 : 0;
}
