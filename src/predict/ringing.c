/* Ringing that a move leaves, in closed form: every event is a step whose response is known, and a shaper repeats it. */
#include "quell/predict.h"

#include <math.h>

typedef struct pole {
    double complex s; /* -z w + j wd */
    double damped;    /* wd, rad/s */
} pole;

/* The cast keeps -Wdouble-promotion quiet: the library's I is a float. */
static const double complex j = (double complex)I;

static pole pole_of(const quell_mode *mode)
{
    double w = QUELL_TAU * mode->frequency_hz, z = mode->damping_ratio;
    double damped = w * sqrt((1 - z) * (1 + z));
    return (pole){-z * w + j * damped, damped};
}

/* sum_j A_j exp(-s t_j) with s (t_j - t_n) in place of s t_j: no exponent is positive. */
static double complex impulses_seen_from_the_last(const quell_shaper *shaper, double complex s)
{
    double complex sum = 0;
    double last = shaper->time_s[shaper->count - 1];
    for (size_t k = 0; k < shaper->count; k++)
        sum += shaper->amplitude[k] * cexp(s * (last - shaper->time_s[k]));
    return sum;
}

/* R exp(s time_s). Both sums are taken from their own last member, where the exponents are <= 0. */
static double complex ringing_at(const quell_mode *mode, const quell_motion *motion,
                                 const quell_shaper *shaper, double time_s)
{
    if (motion->count == 0)
        return 0;
    pole p = pole_of(mode);
    double last = motion->event[motion->count - 1].time_s;
    double complex sum = 0;
    for (size_t i = 0; i < motion->count; i++) {
        const quell_event *event = &motion->event[i];
        double complex step = event->velocity_mps + (event->acceleration_mps2 + event->jerk_mps3 / p.s) / p.s;
        sum += step * cexp(p.s * (last - event->time_s));
    }
    if (shaper != NULL) {
        sum *= impulses_seen_from_the_last(shaper, p.s);
        last += shaper->time_s[shaper->count - 1];
    }
    return j * mode->participation / p.damped * sum * cexp(p.s * (time_s - last));
}

double complex quell_ringing_phasor(const quell_mode *mode, const quell_motion *motion,
                                    const quell_shaper *shaper)
{
    return ringing_at(mode, motion, shaper, 0);
}

double quell_ringing_amplitude(const quell_mode *mode, const quell_motion *motion, const quell_shaper *shaper,
                               double time_s)
{
    return cabs(ringing_at(mode, motion, shaper, time_s));
}
