/* Moments of a shaper's impulses as a distribution in time. */
#include "shaping/shaping_private.h"

#include <math.h>

quell_shaper_moments quell_shaper_measure(const quell_shaper *shaper)
{
    quell_shaper_moments out = {.duration_s = shaper->time_s[shaper->count - 1]};
    for (size_t i = 0; i < shaper->count; i++)
        out.mean_s += shaper->amplitude[i] * shaper->time_s[i];
    double square = 0;
    for (size_t i = 0; i < shaper->count; i++) {
        const double from_mean = shaper->time_s[i] - out.mean_s;
        square += shaper->amplitude[i] * from_mean * from_mean;
        out.mean_abs_deviation_s += shaper->amplitude[i] * fabs(from_mean);
    }
    out.spread_s = sqrt(fmax(square, 0));
    return out;
}
