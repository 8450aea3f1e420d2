/* Ripple of a mode with its interval: amplitudes over all that the mode may be. */
#include "quell/predict.h"

#include <math.h>

enum { DIRECTIONS = 150, RADII = 8 };

#define NORMAL_95 1.959963984540054 /* the quantile 0.975 of the normal distribution */
#define TWO_95 2.447746830680816    /* radius that holds 95 % of two independent normal errors: sqrt(-2 ln 0.05) */
#define GOLDEN 2.399963229728653    /* pi (3 - sqrt 5): points on a sphere that are even (A. Gonzalez, Math. Geosci. 42, 2010; from memory) */

/* Standard errors; 0 where the interval is not known. */
typedef struct errors {
    double log_f, log_zeta, c;
} errors;

static double half_log(const double interval[2])
{
    return interval[0] > 0 && isfinite(interval[1]) ? log(interval[1] / interval[0]) / (2 * NORMAL_95) : 0;
}

static errors errors_of(const quell_mode *mode)
{
    const double *c = mode->participation_ci95;
    return (errors){half_log(mode->frequency_ci95_hz), half_log(mode->damping_ratio_ci95),
                    isfinite(c[0]) && isfinite(c[1]) ? (c[1] - c[0]) / (2 * NORMAL_95) : 0};
}

static double amplitude(const quell_mode *mode, const quell_motion *motion, const quell_shaper *shaper)
{
    if (motion->count == 0)
        return 0;
    double last_s = motion->event[motion->count - 1].time_s + (shaper != NULL ? shaper->time_s[shaper->count - 1] : 0);
    return quell_ringing_amplitude(mode, motion, shaper, last_s);
}

/* The mode moved by so many standard errors. */
static quell_mode moved(const quell_mode *mode, const errors *by, double f, double zeta, double c)
{
    quell_mode out = *mode;
    out.frequency_hz *= exp(f * by->log_f);
    out.damping_ratio = fmin(out.damping_ratio * exp(zeta * by->log_zeta), 0.99);
    out.participation += c * by->c;
    return out;
}

quell_ripple quell_ripple_predict(const quell_mode *mode, const quell_motion *motion, const quell_shaper *shaper, double wall_mps)
{
    double zeta = mode->damping_ratio, damped_hz = mode->frequency_hz * sqrt((1 - zeta) * (1 + zeta));
    quell_ripple out = {amplitude(mode, motion, shaper), {(double)NAN, (double)NAN}, wall_mps / damped_hz};
    const errors by = errors_of(mode);
    if (by.log_f == 0 && by.log_zeta == 0 && by.c == 0)
        return out;
    /* what a shaper leaves grows with frequency and damping ratio being off together, not with one direction alone */
    const double most = shaper != NULL && shaper->count > 1 ? TWO_95 : NORMAL_95;
    double low = out.amplitude_m, high = out.amplitude_m;
    for (size_t i = 0; i < DIRECTIONS; i++) {
        double up = 1 - 2 * (double)i / (DIRECTIONS - 1), flat = sqrt(fmax(0, 1 - up * up)), turn = GOLDEN * (double)i;
        for (size_t k = 1; k <= RADII; k++) {
            double radius = most * (double)k / RADII;
            quell_mode other = moved(mode, &by, radius * up, radius * flat * cos(turn), radius * flat * sin(turn));
            double there = amplitude(&other, motion, shaper);
            if (!isfinite(there)) /* so little is known of the mode that numbers end */
                return out;
            low = fmin(low, there);
            high = fmax(high, there);
        }
    }
    out.amplitude_ci95_m[0] = low;
    out.amplitude_ci95_m[1] = high;
    return out;
}
