/* Along the design frequency at one damping ratio. R is far from monotone, so a dense scan finds where it meets the
   limit or is least, looks into every minimum between its points, and bisection or golden section refine. */
#include "choose/search_private.h"

#include <math.h>
#include <string.h>

#define SCAN_STEP 0.005  /* of the logarithm of frequency */
#define SCAN_MARGIN 0.01 /* a minimum between two points of the scan can be this much lower than they are */
#define EDGE_TOLERANCE 1e-5

static double residual_at(const search_scan *scan, double hz, double give_up_above)
{
    double worst = 0;
    quell_shaper shaper;
    for (size_t i = 0; i < scan->made->count && worst <= give_up_above; i++) {
        search_place(&shaper, scan->made->unit[i], hz * scan->made->factor[i],
                     scan->search->machine->controller.tick_s);
        worst = fmax(worst, needs_residual_worst(scan->needs, &shaper, give_up_above));
    }
    return worst;
}

/* The least R between two frequencies on both sides of a minimum, by golden section. */
static double refine_minimum(const search_scan *scan, double low_hz, double high_hz, double *least)
{
    const double golden = 0.61803398874989485;
    double a = low_hz, b = high_hz, c = b - golden * (b - a), d = a + golden * (b - a);
    double at_c = residual_at(scan, c, HUGE_VAL), at_d = residual_at(scan, d, HUGE_VAL);
    while (b - a > 1e-4 * b) {
        if (at_c < at_d) {
            b = d;
            d = c;
            at_d = at_c;
            c = b - golden * (b - a);
            at_c = residual_at(scan, c, HUGE_VAL);
        } else {
            a = c;
            c = d;
            at_c = at_d;
            d = a + golden * (b - a);
            at_d = residual_at(scan, d, HUGE_VAL);
        }
    }
    *least = fmin(at_c, at_d);
    return at_c < at_d ? c : d;
}

/* The edge between a frequency that meets the limit and a higher one that does not; the one returned meets it. */
static double refine_edge(const search_scan *scan, double meets_hz, double misses_hz)
{
    double limit = scan->needs->residual_limit;
    while (misses_hz - meets_hz > EDGE_TOLERANCE * meets_hz) {
        double middle = (meets_hz + misses_hz) / 2;
        if (residual_at(scan, middle, limit) <= limit)
            meets_hz = middle;
        else
            misses_hz = middle;
    }
    return meets_hz;
}

static int count_steps(const search_scan *scan)
{
    return (int)fmax(1, ceil(log(scan->high_hz / scan->low_hz) / SCAN_STEP));
}

double search_highest_that_meets(const search_scan *scan)
{
    if (!(scan->high_hz >= scan->low_hz))
        return (double)NAN;
    double limit = scan->needs->residual_limit, bound = limit + SCAN_MARGIN;
    int steps = count_steps(scan);
    double ratio = pow(scan->low_hz / scan->high_hz, 1.0 / steps);
    double hz[3] = {scan->high_hz / ratio}, residual[3] = {HUGE_VAL, HUGE_VAL, HUGE_VAL}; /* newest first */
    for (int i = 0; i <= steps; i++) {
        memmove(hz + 1, hz, 2 * sizeof *hz);
        memmove(residual + 1, residual, 2 * sizeof *residual);
        hz[0] = hz[1] * ratio;
        residual[0] = residual_at(scan, hz[0], bound);
        bool minimum = i >= 2 && residual[1] <= residual[0] && residual[1] <= residual[2];
        if (minimum && residual[1] > limit && residual[1] <= bound) {
            double least, bottom_hz = refine_minimum(scan, hz[0], hz[2], &least);
            if (least <= limit)
                return refine_edge(scan, bottom_hz, hz[2]);
        }
        if (residual[0] <= limit)
            return i == 0 ? hz[0] : refine_edge(scan, hz[0], hz[1]);
    }
    return (double)NAN;
}

double search_frequency_of_least(const search_scan *scan, double bound, double *least)
{
    int steps = count_steps(scan);
    double ratio = pow(scan->low_hz / scan->high_hz, 1.0 / steps), hz = scan->high_hz;
    double best = bound + SCAN_MARGIN, best_hz = (double)NAN;
    for (int i = 0; i <= steps; i++, hz *= ratio) {
        double residual = residual_at(scan, hz, best);
        if (residual < best) {
            best = residual;
            best_hz = hz;
        }
    }
    if (isnan(best_hz))
        return best_hz;
    double low_hz = fmax(best_hz * ratio, scan->low_hz), high_hz = fmin(best_hz / ratio, scan->high_hz);
    double refined, refined_hz = refine_minimum(scan, low_hz, high_hz, &refined);
    *least = fmin(best, refined);
    return *least >= bound ? (double)NAN : refined < best ? refined_hz : best_hz;
}
