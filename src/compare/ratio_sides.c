/* A side of a ratio: the energy spectra of its recordings on one grid of frequencies, and the sensor's noise. */
#include "compare/ratio_private.h"

#include <math.h>

#define LINE_OVER_NOISE 8.0 /* a density at rest that much over the white level is a line */

static size_t segment_samples(double segment_s, double rate_hz)
{
    return 8 * (size_t)(segment_s * rate_hz / 8 + 0.5);
}

/* Between bins: rates that differ by a trifle must not put a bin's power into its neighbour. Linear or, where it is steep, as beside
   a mode, geometric. */
static double energy_at(const ratio_spectrum *of, double hz, bool geometric)
{
    double at = hz / of->spectrum.bin_hz;
    size_t bin = (size_t)at;
    if (bin + 1 >= of->spectrum.bins)
        return 0;
    double share = at - (double)bin;
    const double *density = of->spectrum.asd_m2ps3[0] + bin;
    if (!geometric)
        return of->energy_s * ((1 - share) * density[0] + share * density[1]);
    return density[0] > 0 && density[1] > 0 ? of->energy_s * exp((1 - share) * log(density[0]) + share * log(density[1])) : 0;
}

static double rate_error(const quell_recording *recording)
{
    double width_hz = recording->rate_ci95_hz[1] - recording->rate_ci95_hz[0];
    return width_hz > 0 ? width_hz / 2 / recording->rate_hz : 0;
}

static void add_recording(ratio_side *out, const quell_side *side, const ratio_spectrum *made, bool fine)
{
    out->dof += made->spectrum.dof;
    out->seconds += made->seconds;
    out->rate_error = fmax(out->rate_error, rate_error(side->recording));
    for (size_t i = 0; i < out->bins; i++)
        out->energy[i] += energy_at(made, (double)i * out->bin_hz, !fine);
}

quell_status ratio_side_measure(const quell_side *side, size_t count, size_t axis, double segment_s, size_t finer,
                                quell_arena *arena, ratio_side *out, quell_error *err)
{
    *out = (ratio_side){0};
    for (size_t r = 0; r < count; r++) {
        const quell_recording *recording = side[r].recording;
        if (axis >= recording->axes || recording->accel_mps2[axis] == NULL)
            return quell_fail(err, QUELL_E_USAGE, "axis %zu is missing: a recording has %zu axes", axis + 1, recording->axes);
        if (fabs(recording->rate_hz - side[0].recording->rate_hz) > 0.01 * side[0].recording->rate_hz)
            return quell_fail(err, QUELL_E_DATA, "recordings of one side run at %.1f and %.1f Hz, want the same within 1 %%",
                              side[0].recording->rate_hz, recording->rate_hz);
        size_t segment = segment_samples(segment_s, recording->rate_hz);
        ratio_spectrum made;
        quell_status status = ratio_energy(recording, axis, finer * segment, segment, arena, &made, err);
        if (status != QUELL_OK)
            return status;
        if (r == 0) {
            out->bins = made.spectrum.bins;
            out->bin_hz = made.spectrum.bin_hz;
            out->energy = QUELL_NEW(arena, double, out->bins);
            if (out->energy == NULL)
                return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu bins", out->bins);
            out->rho2 = 1;
            for (size_t m = 1; m <= QUELL_SPECTRUM_LAGS; m++)
                out->rho2 += 2 * made.spectrum.bin_correlation[m];
        }
        add_recording(out, &side[r], &made, finer > 1);
    }
    return QUELL_OK;
}

/* The sensor's white noise, (m/s2)^2/Hz: the least of all recordings. A shaper's notch in a sweep passes for a rest, in which
   there is more than noise. */
double ratio_least_noise(const quell_side *side, size_t count, size_t axis, double least)
{
    for (size_t r = 0; r < count; r++) {
        double noise = side[r].fitness->noise_mps2_per_rthz[axis];
        if (isfinite(noise))
            least = fmin(least, noise * noise);
    }
    return least;
}

/* Energy of lines at rest on the on side's bins, from the rests of the off side: added to `noise`. */
quell_status ratio_add_lines(const quell_side *off, size_t count, size_t axis, double segment_s, double white,
                             const ratio_side *on, quell_arena *arena, double *noise, quell_error *err)
{
    for (size_t r = 0; r < count; r++) {
        quell_spectrum rest;
        bool found;
        size_t segment = segment_samples(segment_s, off[r].recording->rate_hz);
        quell_status status = ratio_rest(&off[r], axis, segment, arena, &rest, &found, err);
        if (status != QUELL_OK)
            return status;
        if (!found)
            continue;
        double seconds = on->seconds / (double)count;
        ratio_spectrum at_rest = {.spectrum = rest, .energy_s = seconds};
        for (size_t i = 0; i < on->bins; i++) {
            double line = energy_at(&at_rest, (double)i * on->bin_hz, false);
            if (line > LINE_OVER_NOISE * white * seconds)
                noise[i] += line;
        }
    }
    return QUELL_OK;
}
