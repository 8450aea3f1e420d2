/* What a shaper would make the ratio. */
#include "compare/ratio_private.h"

static const double complex j = (double complex)I;

void ratio_power(const quell_ratio *ratio, const quell_shaper *shaper, double *power)
{
    double complex turn[QUELL_SHAPER_MAX], step[QUELL_SHAPER_MAX];
    for (size_t i = 0; i < shaper->count; i++) {
        turn[i] = shaper->amplitude[i] * cexp(-j * QUELL_TAU * ratio->grid_low_hz * shaper->time_s[i]);
        step[i] = cexp(-j * QUELL_TAU * ratio->grid_step_hz * shaper->time_s[i]);
    }
    for (size_t k = 0; k < ratio->grid; k++) {
        double re = 0, im = 0;
        for (size_t i = 0; i < shaper->count; i++) {
            double c = creal(turn[i]), s = cimag(turn[i]), a = creal(step[i]), b = cimag(step[i]);
            re += c;
            im += s;
            turn[i] = (c * a - s * b) + j * (c * b + s * a);
        }
        power[k] = re * re + im * im;
    }
}

void ratio_smear(const quell_ratio *ratio, const double *power, double *signal)
{
    for (size_t i = 0; i < ratio->bins; i++)
        signal[i] = quell_dot(ratio->weight + i * ratio->taps, power + ratio->first[i], ratio->taps);
}

quell_status quell_ratio_predict(const quell_ratio *ratio, const quell_shaper *shaper, double gain, double *predicted,
                                 quell_error *err)
{
    double *power = quell_memory_get(ratio->grid * sizeof *power);
    if (power == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a response");
    ratio_power(ratio, shaper, power);
    ratio_smear(ratio, power, predicted);
    for (size_t i = 0; i < ratio->bins; i++)
        predicted[i] = gain * predicted[i] + ratio->noise[i];
    quell_memory_free(power);
    return QUELL_OK;
}
