/* Damping ratio from the half-power width of a peak in the density. */
#include "modes_private.h"

#include <math.h>

/* Vertex of the parabola through ln P at three bins: its offset from the middle one, and ln P there. */
static double vertex(double left, double middle, double right, double *height)
{
    double bend = left - 2 * middle + right, slope = (right - left) / 2;
    double offset = bend < 0 ? -slope / bend : 0;
    offset = fmin(fmax(offset, -0.5), 0.5);
    *height = middle + slope * offset + bend * offset * offset / 2;
    return offset;
}

/* Distance in bins from `at` to where the density has fallen to level, going by `direction`; NaN if it never
   does. */
static double fall(const double *density, size_t bins, size_t at, int direction, double level)
{
    for (size_t walked = 1;; walked++) {
        if (direction < 0 ? walked > at : at + walked >= bins)
            return (double)NAN;
        size_t here = direction < 0 ? at - walked : at + walked;
        if (density[here] > level)
            continue;
        double before = density[direction < 0 ? here + 1 : here - 1];
        double part = before > density[here] ? (before - level) / (before - density[here]) : 0;
        return (double)(walked - 1) + part;
    }
}

double quell_half_power(const double *density, size_t bins, size_t peak, double *peak_bin, double *width_bins)
{
    double at = (double)peak, height = log(density[peak]);
    if (peak > 0 && peak + 1 < bins && density[peak - 1] > 0 && density[peak + 1] > 0)
        at += vertex(log(density[peak - 1]), log(density[peak]), log(density[peak + 1]), &height);
    double half = exp(height) / 2;
    double width = fall(density, bins, peak, -1, half) + fall(density, bins, peak, 1, half);
    if (peak_bin != NULL)
        *peak_bin = at;
    if (width_bins != NULL)
        *width_bins = width;
    return width / (2 * at);
}
