/* What a shaper leaves of a mode, and what it does as a filter. */
#include "shaping/shaping_private.h"

#include <math.h>

static const double complex j = (double complex)I;

/* exp(-z w t_n) sum A_i exp((z w + j wd) t_i), written with the differences t_i - t_n so that nothing overflows. */
double complex quell_residual_phasor(const quell_shaper *shaper, double frequency_hz, double damping_ratio)
{
    const double w = QUELL_TAU * frequency_hz, decay = damping_ratio * w;
    const double wd = w * sqrt(1 - damping_ratio * damping_ratio);
    const double last_s = shaper->time_s[shaper->count - 1];
    double re = shaper->amplitude[0] * exp(-decay * last_s), im = 0;
    for (size_t i = 1; i < shaper->count; i++) {
        const double size = shaper->amplitude[i] * exp(decay * (shaper->time_s[i] - last_s));
        const double angle = wd * shaper->time_s[i];
        re += size * cos(angle);
        im += size * sin(angle);
    }
    return re + im * j;
}

double quell_residual(const quell_shaper *shaper, double frequency_hz, double damping_ratio)
{
    const double complex left = quell_residual_phasor(shaper, frequency_hz, damping_ratio);
    return sqrt(creal(left) * creal(left) + cimag(left) * cimag(left));
}

double complex quell_shaper_response(const quell_shaper *shaper, double frequency_hz)
{
    double re = 0, im = 0;
    for (size_t i = 0; i < shaper->count; i++) {
        const double angle = QUELL_TAU * frequency_hz * shaper->time_s[i];
        re += shaper->amplitude[i] * cos(angle);
        im -= shaper->amplitude[i] * sin(angle);
    }
    return re + im * j;
}
