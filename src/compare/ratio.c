/* The ratio of the energy spectra with a shaper on and off, and what a shaper would make it: compare.h has the model. */
#include "compare/ratio_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    FINER = 8,       /* the off side is seen this much more finely: what |H|^2 weighs within a bin */
    FOLD = 2,        /* |H|^2 is wanted at every second of its bins, straight between */
    KERNEL_BINS = 6, /* of the Hann window's own bins to each side: beyond it is 67 dB down */
    LEAST_BINS = 12,
    MOST_BINS = 320,   /* the lowest with signal: where shapers act */
    SEGMENT_LEAST = 64 /* samples */
};

#define SEGMENT_S 1.0
#define SIGNAL_OVER_NOISE 20.0 /* 13 dB */
#define SIGNAL_OF_LARGEST 1e-5 /* 50 dB */
#define MOTION_PLAIN 1.3
#define LOW_BINS 4.0     /* what a window spreads out from 0 Hz */
#define HIGH_OF_RATE 0.2 /* beyond, what a sensor folds back is not the command's any more */

/* ---------------------------------------------------------------- what a bin sees */

static double sinc(double x)
{
    return fabs(x) < 1e-9 ? 1 : sin(QUELL_PI * x) / (QUELL_PI * x);
}

/* |W|^2 of a Hann window, x in its bins, 1 at 0. */
static double kernel(double x)
{
    double w = sinc(x) + (sinc(x - 1) + sinc(x + 1)) / 2;
    return w * w;
}

/* Weights of a bin over `taps` points of the grid from `first` on, from the off side's energy less its noise. Returns the off
   side's energy through the window. */
static double weigh_bin(const ratio_side *fine, double hz, double kernel_s, size_t first, size_t taps, double *weight)
{
    double sum = 0, norm = 0;
    for (size_t t = 0; t <= FOLD * (taps - 1); t++) {
        size_t bin = FOLD * first + t;
        double k = kernel(((double)bin * fine->bin_hz - hz) * kernel_s), w = k * (fine->energy[bin] - fine->noise);
        double beyond = (double)(t % FOLD) / FOLD;
        weight[t / FOLD] += (1 - beyond) * w;
        if (beyond > 0)
            weight[t / FOLD + 1] += beyond * w;
        sum += w;
        norm += k;
    }
    for (size_t t = 0; t < taps && sum > 0; t++)
        weight[t] /= sum;
    return sum / norm;
}

static quell_status weigh_all(const ratio_side *fine, const ratio_side *on, double segment_s, quell_arena *arena,
                              quell_ratio *out, double **off, quell_error *err)
{
    const double kernel_s = segment_s / sqrt(1 - 1.0 / (FINER * FINER)); /* what the finer window has not smeared yet */
    const double step_hz = FOLD * fine->bin_hz;
    size_t bins = out->bins, reach = (size_t)ceil(KERNEL_BINS / (kernel_s * step_hz));
    out->taps = 2 * reach + 1;
    size_t *first = QUELL_NEW(arena, size_t, bins);
    double *weight = QUELL_NEW(arena, double, bins * out->taps);
    *off = QUELL_NEW(arena, double, bins);
    if (first == NULL || weight == NULL || *off == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the ratio of %zu bins", bins);
    for (size_t i = 0; i < bins; i++) {
        double hz = (double)i * on->bin_hz;
        size_t middle = (size_t)(hz / step_hz + 0.5);
        if (middle < reach || FOLD * (middle + reach) >= fine->bins)
            continue; /* off stays 0: no signal */
        first[i] = middle - reach;
        (*off)[i] = weigh_bin(fine, hz, kernel_s, first[i], out->taps, weight + i * out->taps);
    }
    out->first = first;
    out->weight = weight;
    return QUELL_OK;
}

/* ---------------------------------------------------------------- bins with signal */

typedef struct bin_arrays {
    double *hz, *ratio, *noise, *noise_off, *slope, *weight;
    size_t *first;
} bin_arrays;

/* How steep the off side is at a bin, per ln f: of the steeper side, as a peak is flat at its top alone. */
static double slope_at(const double *off, size_t bin)
{
    double below = bin > 0 && off[bin - 1] > 0 ? fabs(log(off[bin] / off[bin - 1])) : 0;
    double above = off[bin + 1] > 0 ? fabs(log(off[bin + 1] / off[bin])) : 0;
    return (double)bin * fmax(below, above);
}

/* Keeps the bins with signal, moved to the front of the arrays. */
static void keep_bins(quell_ratio *out, bin_arrays *to, const ratio_side *fine, const ratio_side *on, const double *off,
                      const double *noise, const double range_hz[2])
{
    double largest = 0, level = 0;
    for (size_t i = 0; i < out->bins; i++)
        if ((double)i * on->bin_hz >= range_hz[0] && (double)i * on->bin_hz <= range_hz[1])
            largest = fmax(largest, off[i]);
    size_t kept = 0, bins = out->bins;
    for (size_t i = 0; i < bins && kept < MOST_BINS; i++) {
        double hz = (double)i * on->bin_hz;
        if (hz < range_hz[0] || hz > range_hz[1] || !(off[i] > SIGNAL_OVER_NOISE * fmax(noise[i], fine->noise)) ||
            !(off[i] > SIGNAL_OF_LARGEST * largest) || !(on->energy[i] > 0))
            continue;
        to->hz[kept] = hz;
        to->ratio[kept] = on->energy[i] / off[i];
        to->noise[kept] = noise[i] / off[i];
        to->noise_off[kept] = fine->noise / off[i];
        to->slope[kept] = i + 1 < bins ? slope_at(off, i) : 0;
        to->first[kept] = to->first[i];
        memmove(to->weight + kept * out->taps, to->weight + i * out->taps, out->taps * sizeof *to->weight);
        level += off[i];
        kept++;
    }
    out->bins = kept;
    out->off_level = kept > 0 ? level / (double)kept : 0;
}

/* The grid needs to reach only as far as the bins that are kept. */
static void cut_grid(quell_ratio *out, bin_arrays *to, const ratio_side *fine)
{
    size_t begin = to->first[0], end = to->first[out->bins - 1] + out->taps;
    for (size_t i = 0; i < out->bins; i++)
        to->first[i] -= begin;
    out->grid_step_hz = FOLD * fine->bin_hz;
    out->grid_low_hz = (double)begin * out->grid_step_hz;
    out->grid = end - begin;
}

static quell_status select_bins(quell_ratio *out, const ratio_side *fine, const ratio_side *on, const double *off,
                                const double *noise, const double range_hz[2], quell_arena *arena, quell_error *err)
{
    bin_arrays to = {QUELL_NEW(arena, double, out->bins), QUELL_NEW(arena, double, out->bins),
                     QUELL_NEW(arena, double, out->bins), QUELL_NEW(arena, double, out->bins),
                     QUELL_NEW(arena, double, out->bins), QUELL_NEW(arena, double, out->bins * out->taps),
                     QUELL_NEW(arena, size_t, out->bins)};
    if (to.hz == NULL || to.ratio == NULL || to.noise == NULL || to.noise_off == NULL || to.slope == NULL || to.weight == NULL ||
        to.first == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the ratio of %zu bins", out->bins);
    memcpy(to.first, out->first, out->bins * sizeof *to.first);
    memcpy(to.weight, out->weight, out->bins * out->taps * sizeof *to.weight);
    keep_bins(out, &to, fine, on, off, noise, range_hz);
    if (out->bins < LEAST_BINS)
        return quell_fail(
            err, QUELL_E_DATA,
            "axis %c: found %zu bins of %s Hz from %.0f to %.0f Hz whose signal is 13 dB above the noise, want %d or "
            "more: more motion, or a quieter sensor",
            "xyz"[out->axis], out -> bins, quell_number_short(on->bin_hz, 3).text, range_hz[0], range_hz[1], LEAST_BINS);
    cut_grid(out, &to, fine);
    out->frequency_hz = to.hz;
    out->ratio = to.ratio;
    out->noise = to.noise;
    out->noise_off = to.noise_off;
    out->slope = to.slope;
    out->first = to.first;
    out->weight = to.weight;
    return QUELL_OK;
}

/* How much longer the on side was recorded, where that is plain. What was found to be motion in it is no measure: under a shaper a
   sweep passes for a rest in places. */
static double motion_ratio(const ratio_side *off, const ratio_side *on)
{
    double ratio = on->seconds / off->seconds;
    return fabs(log(ratio)) > log(MOTION_PLAIN) ? ratio : 1;
}

static quell_status check(const quell_side *off, size_t off_count, const quell_side *on, size_t on_count, double segment_s,
                          quell_error *err)
{
    if (off_count == 0 || on_count == 0)
        return quell_fail(err, QUELL_E_USAGE, "no recording with the shaper %s, want one at least on each side",
                          off_count == 0 ? "off" : "on");
    double off_hz = off[0].recording->rate_hz, on_hz = on[0].recording->rate_hz;
    if (!(segment_s * fmin(off_hz, on_hz) >= SEGMENT_LEAST && segment_s <= 60))
        return quell_fail(err, QUELL_E_USAGE, "segments are %s s, want %d samples at least and 60 s at most",
                          quell_number_short(segment_s, 4).text, SEGMENT_LEAST);
    if (fabs(on_hz - off_hz) > 0.01 * off_hz)
        return quell_fail(err, QUELL_E_DATA,
                          "the recordings run at %.1f Hz with the shaper off and %.1f Hz with it on, want the same within 1 %%",
                          off_hz, on_hz);
    return QUELL_OK;
}

quell_status quell_ratio_measure(const quell_side *off, size_t off_count, const quell_side *on, size_t on_count, size_t axis,
                                 double segment_s, const double band_hz[2], quell_arena *arena, quell_ratio *out,
                                 quell_error *err)
{
    segment_s = segment_s > 0 ? segment_s : SEGMENT_S;
    quell_status status = check(off, off_count, on, on_count, segment_s, err);
    if (status != QUELL_OK)
        return status;
    ratio_side fine, coarse;
    double *at_off;
    status = ratio_side_measure(off, off_count, axis, segment_s, FINER, arena, &fine, err);
    if (status == QUELL_OK)
        status = ratio_side_measure(on, on_count, axis, segment_s, 1, arena, &coarse, err);
    if (status != QUELL_OK)
        return status;
    double white = ratio_least_noise(off, off_count, axis, ratio_least_noise(on, on_count, axis, HUGE_VAL));
    white = isfinite(white) ? white : 0;
    fine.noise = white * fine.seconds;
    coarse.noise = white * coarse.seconds;
    quell_ratio made = {.axis = axis,
                        .bins = coarse.bins,
                        .bin_hz = coarse.bin_hz,
                        .correlation = coarse.rho2,
                        .dof_on = coarse.dof,
                        .dof_off = FINER * fine.dof,
                        .motion = motion_ratio(&fine, &coarse),
                        .rate_relative_error = hypot(fine.rate_error, coarse.rate_error)};
    status = weigh_all(&fine, &coarse, segment_s, arena, &made, &at_off, err);
    double *noise = QUELL_NEW(arena, double, coarse.bins);
    if (status == QUELL_OK && noise == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for the noise");
    for (size_t i = 0; status == QUELL_OK && i < coarse.bins; i++)
        noise[i] = coarse.noise;
    if (status == QUELL_OK)
        status = ratio_add_lines(off, off_count, axis, segment_s, white, &coarse, arena, noise, err);
    bool asked = band_hz != NULL && (band_hz[0] != 0 || band_hz[1] != 0);
    const double range_hz[2] = {fmax(asked ? band_hz[0] : 0, LOW_BINS * coarse.bin_hz),
                                fmin(asked ? band_hz[1] : HUGE_VAL, HIGH_OF_RATE * off[0].recording->rate_hz)};
    if (status == QUELL_OK && range_hz[1] <= range_hz[0])
        return quell_fail(err, QUELL_E_DATA, "the band asked for has nothing in it: found %.0f to %.0f Hz, want part of %.0f to %.0f Hz",
                          band_hz[0], band_hz[1], LOW_BINS * coarse.bin_hz, HIGH_OF_RATE * off[0].recording->rate_hz);
    if (status == QUELL_OK)
        status = select_bins(&made, &fine, &coarse, at_off, noise, range_hz, arena, err);
    if (status == QUELL_OK)
        *out = made;
    return status;
}
