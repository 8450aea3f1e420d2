/* The smallest step between values, the resolution behind it, and clipping. */
#include "ingest/ingest_private.h"

#include <math.h>

enum { CLIPPED_RUN = 3 };

static double smallest_change(const double *value, size_t n)
{
    double smallest = INFINITY;
    for (size_t i = 1; i < n; i++) {
        double change = fabs(value[i] - value[i - 1]);
        if (change > 0 && change < smallest)
            smallest = change;
    }
    return isfinite(smallest) ? smallest : 0;
}

/* The step on whose multiples the values lie. Values are printed to some digits, so the smallest change is only
   near it: the step is fitted on ever larger multiples. 0 unless 99 % of the values lie within 0.15 of a step. */
static double fit_resolution(const double *value, size_t n, double change)
{
    static const double reach[] = {64, 4096, 1e9};
    double step = change;
    for (size_t round = 0; round < INGEST_COUNT(reach); round++) {
        double both = 0, square = 0;
        for (size_t i = 1; i < n; i++) {
            double multiple = floor((value[i] - value[0]) / step + 0.5);
            if (fabs(multiple) > reach[round])
                continue;
            both += multiple * (value[i] - value[0]);
            square += multiple * multiple;
        }
        if (square > 0)
            step = both / square;
        if (!(step > 0.5 * change && step < 2 * change))
            return 0;
    }
    size_t fits = 0;
    for (size_t i = 0; i < n; i++) {
        double multiple = (value[i] - value[0]) / step;
        fits += fabs(multiple - floor(multiple + 0.5)) < 0.15;
    }
    return (double)fits >= 0.99 * (double)n ? step : 0;
}

/* Samples in runs of three or more at the extreme on one side, if there are two such runs; `sign` +1: the largest.
   The crests of a coarsely stepped tone make runs, too: at most 1/(sqrt(2) - 1) = 2.4 times as many values as one step
   inwards (arcsine law). So they count only where values pile up threefold. */
static size_t clipped_on_side(const double *value, size_t n, double sign, double step)
{
    double extreme = -HUGE_VAL;
    for (size_t i = 0; i < n; i++)
        extreme = fmax(extreme, sign * value[i]);
    size_t at_extreme = 0, in_runs = 0, runs = 0, below = 0, run = 0;
    for (size_t i = 0; i < n; i++) {
        double off = extreme - sign * value[i];
        run = off <= 0 ? run + 1 : 0;
        at_extreme += off <= 0;
        below += off > 0 && off < 1.5 * step;
        runs += run == CLIPPED_RUN;
        in_runs += run == CLIPPED_RUN ? CLIPPED_RUN : run > CLIPPED_RUN;
    }
    return runs >= 2 && at_extreme > 3 * below ? in_runs : 0;
}

/* From the rows as read: filled samples lie on no step. */
void ingest_levels_measure(quell_recording *recording, const ingest_series *series, size_t first, size_t last)
{
    size_t n = last - first;
    for (size_t k = 0; k < series->axes; k++) {
        const double *value = series->value[k] + first;
        double change = smallest_change(value, n);
        recording->step_mps2[k] = change;
        recording->resolution_mps2[k] = change > 0 ? fit_resolution(value, n, change) : 0;
        if (change > 0) {
            double step = recording->resolution_mps2[k] > 0 ? recording->resolution_mps2[k] : change;
            size_t clipped = clipped_on_side(value, n, 1, step) + clipped_on_side(value, n, -1, step);
            recording->clipped_fraction[k] = (double)clipped / (double)n;
        }
    }
}
