/* What a sweep ran over, read off the recording: the strongest frequency of short windows, a straight line through them, and
   that line at both ends of the motion. And what its strokes' harmonics come to: where the sweep passed at a third of a
   frequency and where it passed there itself, the machine answers alike, so the powers' ratio is the strokes' alone. */
#include "modes_private.h"

#include <gsl/gsl_fit.h>
#include <gsl/gsl_sort.h>
#include <math.h>

#define WINDOW_S 0.5
#define STEP_S 0.25
#define LOWEST_HZ 3.0
#define NEAR 0.04        /* of the frequency, and a bin: such windows are the sweep's ... */
#define NEAR_MOST 0.6    /* ... and there must be as many of them, of all */
#define CHANGE_LEAST 1.5 /* of frequency, from end to end */
#define HALF_BINS 2.0    /* half of a tone's main lobe */
#define EDGE_S 0.5       /* within which the motion begins and ends */
#define SINE_MOST 0.1    /* harmonics below are none */

enum { ARENA_BYTES = 1 << 27, WINDOWS_LEAST = 12, WINDOWS_MOST = 20000, THIRD = 3, PAIRS_LEAST = 5 };

typedef struct track {
    quell_spectrogram slices;
    double *slice_s;           /* from the motion's start to the middle of each window */
    double *f_hz, *t_s, *work; /* of windows that are whole; work: two such */
    size_t count;
    double at_hz, rate_hz_per_s; /* the line: at t = 0, the motion's start */
} track;

/* The frequency of most velocity, which has less of harmonics than acceleration; 0 if the window is none. */
static double strongest(const quell_spectrogram *of, size_t slice)
{
    const double *density = of->asd_m2ps3 + slice * of->bins;
    size_t best = 0;
    double most = 0;
    for (size_t k = (size_t)fmax(ceil(LOWEST_HZ / of->bin_hz), 2); k + 1 < of->bins; k++) {
        double velocity = density[k] / ((double)k * (double)k);
        if (velocity > most) {
            most = velocity;
            best = k;
        }
    }
    if (best == 0)
        return 0;
    double a = log(fmax(density[best - 1], 1e-300)), b = log(density[best]), c = log(fmax(density[best + 1], 1e-300));
    double bend = 2 * b - a - c, off = bend > 0 ? (c - a) / (2 * bend) : 0;
    return ((double)best + fmax(fmin(off, 0.5), -0.5)) * of->bin_hz;
}

static double median_of(double *value, size_t n)
{
    gsl_sort(value, 1, n);
    return value[n / 2];
}

static double on_line(const track *of, double t_s)
{
    return of->at_hz + of->rate_hz_per_s * t_s;
}

/* A line by medians, then by least squares through what is near it; false if too little is. */
static bool draw(track *of)
{
    size_t n = of->count, half = n / 2, near = 0;
    if (n < WINDOWS_LEAST)
        return false;
    for (size_t i = 0; i + half < n; i++)
        of->work[i] = (of->f_hz[i + half] - of->f_hz[i]) / (of->t_s[i + half] - of->t_s[i]);
    of->rate_hz_per_s = median_of(of->work, n - half);
    for (size_t i = 0; i < n; i++)
        of->work[i] = of->f_hz[i] - of->rate_hz_per_s * of->t_s[i];
    of->at_hz = median_of(of->work, n);
    double *f = of->work, *t = of->work + n, unused[4];
    for (size_t i = 0; i < n; i++) {
        double want_hz = on_line(of, of->t_s[i]);
        if (fabs(of->f_hz[i] - want_hz) > NEAR * want_hz + of->slices.bin_hz)
            continue;
        f[near] = of->f_hz[i];
        t[near++] = of->t_s[i];
    }
    if (near < WINDOWS_LEAST || (double)near < NEAR_MOST * (double)n)
        return false;
    gsl_fit_linear(t, 1, f, 1, near, &of->at_hz, &of->rate_hz_per_s, &unused[0], &unused[1], &unused[2], &unused[3]);
    return true;
}

/* The window at a time of the motion; of->slices.slices if there is none. */
static size_t slice_at(const track *of, double t_s)
{
    size_t low = 0, high = of->slices.slices;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (of->slice_s[middle] < t_s - of->slices.step_s / 2)
            low = middle + 1;
        else
            high = middle;
    }
    return low < of->slices.slices && of->slice_s[low] <= t_s + of->slices.step_s / 2 ? low : of->slices.slices;
}

/* Power of the window at the time, about a frequency; NaN without such a window. */
static double power_at(const track *of, double t_s, double f_hz, double reach_hz)
{
    const quell_spectrogram *in = &of->slices;
    size_t slice = slice_at(of, t_s);
    double sum = 0;
    if (slice == in->slices)
        return (double)NAN;
    size_t last = (size_t)fmin((f_hz + reach_hz) / in->bin_hz + 0.5, (double)in->bins - 1);
    for (size_t k = (size_t)fmax((f_hz - reach_hz) / in->bin_hz + 0.5, 1); k <= last; k++)
        sum += in->asd_m2ps3[slice * in->bins + k];
    return sum;
}

/* The third harmonic's power by that of strokes of constant acceleration, a ninth of the fundamental's (a square wave's Fourier
   series). What cannot be told is taken for such strokes. */
static double harmonics(track *of, double motion_s)
{
    size_t count = 0;
    double rate = fabs(of->rate_hz_per_s), reach_hz = HALF_BINS * of->slices.bin_hz + THIRD * rate * WINDOW_S / 2;
    for (size_t i = 0; i < of->count; i++) {
        double f_hz = on_line(of, of->t_s[i]), then_s = (THIRD * f_hz - of->at_hz) / of->rate_hz_per_s;
        if (!(then_s > 0 && then_s < motion_s && 2 * reach_hz < (THIRD - 1) * f_hz))
            continue;
        double harmonic = power_at(of, of->t_s[i], THIRD * f_hz, reach_hz);
        double share = THIRD * THIRD * harmonic / power_at(of, then_s, THIRD * f_hz, reach_hz);
        if (isfinite(share))
            of->work[count++] = share;
    }
    double share = count >= PAIRS_LEAST ? fmin(median_of(of->work, count), 1) : 1;
    return share < SINE_MOST ? 0 : share;
}

static bool get_room(track *of, quell_arena *arena)
{
    of->slice_s = QUELL_NEW(arena, double, of->slices.slices);
    of->f_hz = QUELL_NEW(arena, double, of->slices.slices);
    of->t_s = QUELL_NEW(arena, double, of->slices.slices);
    of->work = QUELL_NEW(arena, double, 2 * of->slices.slices);
    return of->slice_s != NULL && of->f_hz != NULL && of->t_s != NULL && of->work != NULL;
}

static quell_status slice(track *of, const quell_recording *recording, size_t axis, const quell_shaking *shaking,
                          quell_arena *arena, quell_error *err)
{
    size_t n = shaking->end - shaking->first, breaks = 0;
    quell_welch_options options = {.segment = 2 * (size_t)(WINDOW_S / 2 * recording->rate_hz)};
    size_t *break_at = QUELL_NEW(arena, size_t, recording->break_count);
    if (break_at == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu gaps", recording->break_count);
    for (size_t i = 0; i < recording->break_count; i++)
        if (recording->break_at[i] > shaking->first && recording->break_at[i] < shaking->end)
            break_at[breaks++] = recording->break_at[i] - shaking->first;
    size_t wanted = (size_t)fmin((double)n / (STEP_S * recording->rate_hz) + 1, WINDOWS_MOST);
    return quell_spectrogram_estimate(recording->accel_mps2[axis] + shaking->first, n, recording->rate_hz, break_at, breaks,
                                      &options, wanted, arena, &of->slices, err);
}

/* Sample, from shaking->first on, at which the motion begins, or behind its end: the stretches' own are good to a window of theirs. What
   reaches half the level of the second next to it moves. */
static size_t edge(const double *sample, size_t n, size_t about, double rate_hz, bool begins)
{
    size_t reach = (size_t)(EDGE_S * rate_hz), level_n = (size_t)rate_hz;
    size_t low = about > reach ? about - reach : 0, high = about + reach < n ? about + reach : n;
    size_t from = begins ? high : low > level_n ? low - level_n : 0, to = begins ? (high + level_n < n ? high + level_n : n) : low;
    double sum = 0, square = 0, count = (double)(to - from);
    if (to < from + level_n / 2)
        return about;
    for (size_t i = from; i < to; i++)
        sum += sample[i] / count;
    for (size_t i = from; i < to; i++)
        square += (sample[i] - sum) * (sample[i] - sum) / count;
    double least = sqrt(square) / 2;
    for (size_t i = low; i < high; i++) {
        size_t at = begins ? i : low + high - 1 - i;
        if (fabs(sample[at] - sum) > least)
            return begins ? at : at + 1;
    }
    return about;
}

/* Samples lost before sample i of those from shaking->first on. */
static double lost_before(const quell_shaking *shaking, double i)
{
    double lost = 0;
    for (size_t g = 0; g < shaking->gap_count && shaking->gap[g].at <= i + lost; g++)
        lost += shaking->gap[g].lost;
    return lost;
}

static void mark_gaps(const quell_shaking *shaking, quell_sweep_gap *gap, const track *of, double start_s, double rate_hz)
{
    for (size_t g = 0; g < shaking->gap_count; g++) {
        double a_hz = on_line(of, gap[g].at / rate_hz - start_s), b_hz = on_line(of, (gap[g].at + gap[g].lost) / rate_hz - start_s);
        gap[g].low_hz = fmin(a_hz, b_hz);
        gap[g].high_hz = fmax(a_hz, b_hz);
    }
}

static quell_status find(quell_shaking *shaking, quell_sweep_gap *gap, const quell_recording *recording, size_t axis,
                         quell_arena *arena, quell_error *err)
{
    track made = {0};
    quell_status status = slice(&made, recording, axis, shaking, arena, err);
    if (status == QUELL_OK && !get_room(&made, arena))
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu windows of a sweep", made.slices.slices);
    if (status != QUELL_OK)
        return status;
    const double *sample = recording->accel_mps2[axis] + shaking->first;
    size_t n = shaking->end - shaking->first;
    double rate_hz = recording->rate_hz;
    size_t begin = edge(sample, n, shaking->margin[0], rate_hz, true), end = edge(sample, n, n - shaking->margin[1], rate_hz, false);
    double start_s = ((double)begin + lost_before(shaking, (double)begin)) / rate_hz;
    double motion_s = ((double)end + lost_before(shaking, (double)end)) / rate_hz - start_s;
    for (size_t s = 0; s < made.slices.slices; s++) {
        double at_s = made.slices.start_s + (double)s * made.slices.step_s, f_hz = strongest(&made.slices, s);
        double t_s = at_s + lost_before(shaking, at_s * rate_hz) / rate_hz - start_s;
        made.slice_s[s] = t_s;
        if (t_s < WINDOW_S / 2 || t_s > motion_s - WINDOW_S / 2 || f_hz == 0)
            continue;
        made.f_hz[made.count] = f_hz;
        made.t_s[made.count++] = t_s;
    }
    if (!draw(&made))
        return QUELL_OK;
    double from_hz = on_line(&made, 0), to_hz = on_line(&made, motion_s);
    double low_hz = fmin(from_hz, to_hz), high_hz = fmax(from_hz, to_hz);
    if (!(low_hz > 0 && high_hz > CHANGE_LEAST * low_hz))
        return QUELL_OK;
    shaking->seen = (quell_sweep){low_hz, high_hz, fabs(made.rate_hz_per_s), 1};
    shaking->falls = from_hz > to_hz;
    shaking->seen_margin[shaking->falls ? 1 : 0] = begin;
    shaking->seen_margin[shaking->falls ? 0 : 1] = n - end;
    shaking->harmonics = harmonics(&made, motion_s);
    mark_gaps(shaking, gap, &made, start_s, rate_hz);
    return QUELL_OK;
}

static quell_status get_gaps(quell_shaking *shaking, quell_sweep_gap **gap, const quell_recording *recording, quell_arena *arena,
                             quell_error *err)
{
    double lost = 0;
    *gap = QUELL_NEW(arena, quell_sweep_gap, recording->break_count + 1);
    if (*gap == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu gaps", recording->break_count);
    for (size_t b = 0; b < recording->break_count; b++) {
        size_t at = recording->break_at[b];
        if (at <= shaking->first || at >= shaking->end)
            continue;
        double missing = (double)recording->break_lost[b];
        (*gap)[shaking->gap_count++] = (quell_sweep_gap){(double)(at - shaking->first) + lost, missing, (double)NAN, (double)NAN};
        lost += missing;
    }
    shaking->gap = *gap;
    return QUELL_OK;
}

quell_status quell_sweep_track(quell_shaking *shaking, const quell_recording *recording, size_t axis, quell_arena *arena,
                               quell_error *err)
{
    double rests = (double)(shaking->margin[0] + shaking->margin[1]);
    quell_sweep_gap *gap;
    shaking->seen = (quell_sweep){0};
    shaking->gap_count = 0;
    if (shaking->kind != QUELL_EXCITE_SWEEP)
        return QUELL_OK;
    quell_status status = get_gaps(shaking, &gap, recording, arena, err);
    if (status != QUELL_OK ||
        !((double)(shaking->end - shaking->first) - rests > WINDOWS_LEAST * STEP_S * recording->rate_hz) ||
        WINDOW_S * recording->rate_hz < 2 * WINDOWS_LEAST)
        return status;
    quell_arena *scratch = quell_arena_create(ARENA_BYTES);
    if (scratch == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for following a sweep");
    status = find(shaking, gap, recording, axis, scratch, err);
    quell_arena_destroy(scratch);
    return status;
}
