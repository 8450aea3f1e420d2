/* The samples that decays are fitted to, at a rate that suits the band.

   A low-pass does not bias a decay: whatever passes a filter of constant weights, an exponential exp(s t) leaves it as
   H(s) exp(s t), its pole unchanged, as long as all samples under the filter belong to the decay. The windows begin later
   after the stop than the filter reaches. */
#include "modes/decay_private.h"

#include <gsl/gsl_sf_bessel.h>
#include <math.h>

#define RATE_PER_BAND 6.4 /* working rate over the band's upper end, at least */
#define PASS 0.33         /* middle of the low-pass's slope, of the working rate */
#define KAISER 5.0        /* 54 dB: J. F. Kaiser, IEEE Symp. Circuits Syst., 1974 (from memory) */

enum { REACH = 4 /* working samples on either side */ };

/* Weights of the low-pass, 2 reach + 1 of them, of sum 1. */
static void low_pass(double *weight, size_t reach, size_t step)
{
    double sum = 0;
    for (size_t i = 0; i <= 2 * reach; i++) {
        double x = (double)i - (double)reach, edge = x / ((double)reach + 1),
               angle = QUELL_TAU * PASS * x / (double)step;
        weight[i] = (x == 0.0 ? 1 : sin(angle) / angle) * gsl_sf_bessel_I0(KAISER * sqrt(1 - edge * edge));
        sum += weight[i];
    }
    for (size_t i = 0; i <= 2 * reach; i++)
        weight[i] /= sum;
}

static quell_status filter(decay_data *out, quell_error *err)
{
    size_t taps = 2 * out->reach + 1;
    double *weight = quell_memory_get(taps * sizeof *weight);
    if (weight == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu samples", taps);
    low_pass(weight, out->reach, out->step);
    for (size_t k = 0; k < out->axes; k++) {
        const double *from = out->recording->accel_mps2[k] + out->first - out->reach;
        for (size_t i = 0; i < out->samples; i++)
            out->accel_mps2[k][i] = quell_dot(weight, from + i * out->step, taps);
    }
    out->lag_one = quell_dot(weight, weight + out->step, taps - out->step) / quell_dot(weight, weight, taps);
    quell_memory_free(weight);
    return QUELL_OK;
}

quell_status decay_data_prepare(decay_data *out, const quell_recording *recording, size_t driven,
                                size_t first, size_t end, const double band_hz[2], quell_error *err)
{
    size_t step = (size_t)fmax(1, floor(fmin(recording->rate_hz / (RATE_PER_BAND * band_hz[1]), 1e6)));
    size_t reach = step > 1 ? REACH * step : 0;
    *out = (decay_data){.recording = recording,
                        .axes = recording->axes,
                        .driven = driven,
                        .band_hz = {band_hz[0], band_hz[1]},
                        .first = first + reach,
                        .step = step,
                        .reach = reach,
                        .rate_hz = recording->rate_hz / (double)step};
    if (end - first > 2 * reach)
        out->samples = (end - first - 2 * reach - 1) / step + 1;
    for (size_t k = 0; k < out->axes; k++) {
        out->accel_mps2[k] = quell_memory_get(out->samples * sizeof(double));
        if (out->accel_mps2[k] == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu samples", out->samples);
    }
    if (step > 1)
        return filter(out, err);
    for (size_t k = 0; k < out->axes; k++)
        for (size_t i = 0; i < out->samples; i++)
            out->accel_mps2[k][i] = recording->accel_mps2[k][first + i];
    return QUELL_OK;
}

void decay_data_clear(decay_data *data)
{
    for (size_t k = 0; k < 3; k++)
        quell_memory_free(data->accel_mps2[k]);
    *data = (decay_data){0};
}
