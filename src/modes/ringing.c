/* The ringing of one mode as a rotating vector, sampled no faster than its band needs: turned back by the mode's
   frequency, averaged to about eight samples a period, then low-passed by a Gaussian. */
#include "modes_private.h"

#include <math.h>

#define PER_PERIOD 8.0  /* samples a period of the averaged signal */
#define PER_SPREAD 16.0 /* rate of the result over the filter's standard deviation */
#define REACH 3.5       /* standard deviations of the filter in time */

typedef struct averaged {
    size_t count, step;    /* samples of the recording in one */
    double complex *value; /* NaN where samples are missing */
} averaged;

/* Each the mean of `step` samples turned back by `turn_rad` a sample. */
static void turn_back(averaged *out, const double *sample, double mean, double turn_rad)
{
    const double complex j = I, by = cexp(-j * turn_rad);
    for (size_t k = 0; k < out->count; k++) {
        const double *from = sample + k * out->step;
        double complex at = cexp(-j * (turn_rad * (double)(k * out->step))), sum = 0;
        for (size_t i = 0; i < out->step; i++) {
            sum += (from[i] - mean) * at;
            at *= by;
        }
        out->value[k] = sum / (double)out->step;
    }
}

static double mean_of(const double *sample, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += sample[i];
    return sum / (double)n;
}

static void low_pass(quell_ringing *out, const averaged *in, const double *weight, size_t reach, size_t step)
{
    for (size_t k = 0; k < out->count; k++) {
        const double complex *middle = in->value + reach + k * step;
        double complex sum = weight[0] * middle[0];
        for (size_t i = 1; i <= reach; i++)
            sum += weight[i] * (middle[i] + *(middle - i));
        out->z[k] = 2 * sum; /* a real cosine of amplitude A turns back to A / 2 */
    }
}

/* Half a Gaussian of spread_hz at rate_hz, of sum 1 over both sides. */
static void gaussian(double *weight, size_t reach, double spread_hz, double rate_hz)
{
    double sum = 0;
    for (size_t i = 0; i <= reach; i++) {
        double at = QUELL_TAU * spread_hz * (double)i / rate_hz;
        weight[i] = exp(-at * at / 2);
        sum += i == 0 ? weight[i] : 2 * weight[i];
    }
    for (size_t i = 0; i <= reach; i++)
        weight[i] /= sum;
}

/* What a gap lies in is not a number, and so is all that the filter makes of it. */
static void spoil(averaged *in, const quell_recording *recording, size_t first, size_t end)
{
    for (size_t b = 0; b < recording->break_count; b++)
        if (recording->break_at[b] > first && (recording->break_at[b] - first) / in->step < in->count &&
            recording->break_at[b] < end)
            in->value[(recording->break_at[b] - first) / in->step] = (double)NAN;
}

quell_status quell_ringing_get(quell_ringing *out, const quell_recording *recording, size_t axis,
                               size_t first, size_t end, double frequency_hz, double spread_hz)
{
    *out = (quell_ringing){.spread_hz = spread_hz};
    const double *sample = recording->accel_mps2[axis] + first;
    size_t step = (size_t)fmax(recording->rate_hz / (PER_PERIOD * frequency_hz), 1);
    averaged mid = {.count = (end - first) / step, .step = step};
    double rate_hz = recording->rate_hz / (double)step;
    size_t reach = (size_t)(REACH * rate_hz / (QUELL_TAU * spread_hz)) + 1;
    size_t skip = (size_t)fmax(rate_hz / (PER_SPREAD * spread_hz), 1);
    if (mid.count < 2 * reach + 1)
        return QUELL_OK;
    out->count = (mid.count - 2 * reach - 1) / skip + 1;
    out->rate_hz = rate_hz / (double)skip;
    out->start_s = ((double)reach + 0.5) / rate_hz;
    double *weight = quell_memory_get((reach + 1) * sizeof *weight);
    mid.value = quell_memory_get(mid.count * sizeof *mid.value);
    out->z = quell_memory_get(out->count * sizeof *out->z);
    bool made = weight != NULL && mid.value != NULL && out->z != NULL;
    if (made) {
        turn_back(&mid, sample, mean_of(sample, end - first), QUELL_TAU * frequency_hz / recording->rate_hz);
        spoil(&mid, recording, first, end);
        gaussian(weight, reach, spread_hz, rate_hz);
        low_pass(out, &mid, weight, reach, skip);
    } else {
        quell_memory_free(out->z);
        *out = (quell_ringing){0};
    }
    quell_memory_free(mid.value);
    quell_memory_free(weight);
    return made ? QUELL_OK : QUELL_E_MEMORY;
}
