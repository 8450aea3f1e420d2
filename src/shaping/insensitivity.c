/* The band of frequencies that a shaper holds below a tolerance: walked outward from the design frequency in steps far
   shorter than the residual's ripples, every rise between steps looked into, edges by bisection. */
#include "shaping/shaping_private.h"

#include <math.h>

static const double hump_leeway = 1e-9;

/* The residual against frequency for one damping ratio. */
typedef struct curve {
    const quell_shaper *shaper;
    double damping_ratio;
} curve;

static double at(const curve *c, double frequency_hz)
{
    return quell_residual(c->shaper, frequency_hz, c->damping_ratio);
}

/* The highest point of the curve between low and high, which hold one hump: golden section. */
static double find_top(const curve *c, double low, double high)
{
    const double golden = 0.61803398874989485;
    double left = high - golden * (high - low), right = low + golden * (high - low);
    double at_left = at(c, left), at_right = at(c, right);
    for (int i = 0; i < 50; i++) {
        if (at_left > at_right) {
            high = right;
            right = left;
            at_right = at_left;
            left = high - golden * (high - low);
            at_left = at(c, left);
        } else {
            low = left;
            left = right;
            at_left = at_right;
            right = low + golden * (high - low);
            at_right = at(c, right);
        }
    }
    return (low + high) / 2;
}

/* Where the curve leaves the limit between a place inside and one outside. */
static double find_edge(const curve *c, double inside, double outside, double limit)
{
    while (fabs(outside - inside) > 1e-13 * fabs(inside) + 1e-300) {
        const double middle = (inside + outside) / 2;
        if (middle == inside || middle == outside)
            break;
        if (at(c, middle) <= limit)
            inside = middle;
        else
            outside = middle;
    }
    return inside;
}

/* Walks from `from` to `end` (either way) to the first place above the tolerance; `end` if there is none. */
static double walk(const curve *c, double from, double end, double step, double tolerance)
{
    const double limit = tolerance + hump_leeway;
    double before = from, here = from, v_before = at(c, from), v_here = v_before;
    for (size_t i = 1; here != end; i++) {
        double next = from + (end > from ? step : -step) * (double)i;
        if (end > from ? next >= end : next <= end)
            next = end;
        const double v_next = at(c, next);
        bool leaves = v_next > limit;
        double outside = next;
        if (v_here >= v_before && v_here >= v_next && v_here > 0.9 * tolerance && before != here) {
            const double top = find_top(c, before, next);
            if (at(c, top) > limit) {
                leaves = true;
                outside = top;
                here = before;
                v_here = v_before;
            }
        }
        if (leaves)
            return find_edge(c, here, outside, v_here <= tolerance ? tolerance : limit);
        before = here;
        v_before = v_here;
        here = next;
        v_here = v_next;
    }
    return end;
}

/* The fastest ripple of V^2 against frequency has the period 1 / duration. */
static double step_for(const quell_shaper *shaper, double frequency_hz)
{
    const double duration_s = shaper->time_s[shaper->count - 1];
    return fmax(1 / (32 * fmax(duration_s, 1 / frequency_hz)), 2e-5 * frequency_hz);
}

quell_insensitivity quell_shaper_insensitivity(const quell_shaper *shaper, double frequency_hz,
                                               double damping_ratio, double tolerance)
{
    const curve c = {shaper, damping_ratio};
    quell_insensitivity out = {.tolerance = tolerance, .low_hz = frequency_hz, .high_hz = frequency_hz};
    if (at(&c, frequency_hz) <= tolerance + hump_leeway) {
        const double step = step_for(shaper, frequency_hz);
        out.low_hz = walk(&c, frequency_hz, 0, step, tolerance);
        out.high_hz = walk(&c, frequency_hz, 10 * frequency_hz, step, tolerance);
    }
    out.width = (out.high_hz - out.low_hz) / frequency_hz;
    return out;
}

double quell_shaper_tolerance(const quell_shaper *shaper)
{
    if (shaper->family == NULL)
        return QUELL_TOLERANCE_DEFAULT;
    if ((shaper->family->flags & QUELL_FAMILY_TOLERANCE) == 0)
        return shaper->at.tolerance;
    /* Uphill from the design frequency; one step down again on either side holds the top between them. A small
       tolerance draws the zeros together: undamped, n of them share a band of (4 / pi) asin(1 / cosh(acosh(1/V) / n))
       times the frequency (Dolph 1946), and a step must be well within the gap of two. */
    const curve c = {shaper, shaper->at.damping_ratio};
    const bool negative = (shaper->family->flags & QUELL_FAMILY_NEGATIVE) != 0; /* two impulses to a zero */
    const double zeros = (double)(negative ? (shaper->count - 1) / 2 : shaper->count - 1),
                 band_hz = 4 / QUELL_PI * asin(1 / cosh(acosh(1 / shaper->at.tolerance) / zeros)) *
                           shaper->at.frequency_hz;
    const double step = fmin(step_for(shaper, shaper->at.frequency_hz) / 2, band_hz / (16 * zeros));
    double here = shaper->at.frequency_hz;
    const double direction = at(&c, here + step) > at(&c, here - step) ? 1 : -1;
    for (int i = 0; i < 64 && at(&c, here + direction * step) > at(&c, here); i++)
        here += direction * step;
    return fmax(shaper->at.tolerance, at(&c, find_top(&c, here - step, here + step)));
}
