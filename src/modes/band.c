/* The band of a fit. An unknown input ends somewhere: outside a sweep's range the density falls by 10 dB or more at
   once, which the model cannot follow and must not explain by modes. So the band starts close round the modes and
   grows outwards as long as the model foretells what comes next. */
#include "modes_private.h"

#include <math.h>

#define NEAR_LOW 0.8   /* where the band starts, relative to the lowest mode */
#define NEAR_HIGH 1.15 /* and to the highest */
#define GROWTH 1.1     /* a step outwards */
#define FORETOLD                                                                                             \
    0.9 /* of ln P: 4 dB, much less than the end of a sweep, much more than a model's small errors */

enum { REFIT_STEPS = 10, LEAST_BINS = 6, LEAK_BINS = 2 };

/* Middle one of three. */
static double middle(double a, double b, double c)
{
    return fmax(fmin(a, b), fmin(fmax(a, b), c));
}

/* How many of the bins first..last, from the one next to the band outwards, come as the fit foretells: up to where
   the median of three misfits in a row is too large, and short of the bins that this point leaks into. */
static size_t foretold(quell_fit_problem *problem, const quell_fit *fit, size_t first, size_t last, bool down)
{
    quell_model *model = &problem->model;
    size_t kept_first = model->first, kept_last = model->first + model->bins - 1, count = last - first + 1;
    quell_model_set_band(model, first, last);
    quell_model_evaluate(model, fit->parameter, fit->modes, problem->log_model, NULL);
    quell_model_set_band(model, kept_first, kept_last);
    double before[2] = {0, 0};
    for (size_t i = 0; i < count; i++) {
        size_t b = down ? count - 1 - i : i;
        if (problem->masked[first + b])
            continue;
        double e = problem->log_density[first + b] - problem->log_model[b];
        if (fabs(middle(before[0], before[1], e)) > FORETOLD)
            return i > LEAK_BINS + 1 ? i - LEAK_BINS - 1 : 0;
        before[0] = before[1];
        before[1] = e;
    }
    return count;
}

/* One step outwards to `to`, as far as the fit foretells it; false if it does not all the way. */
static bool grow(quell_fit_problem *problem, quell_fit *fit, size_t to)
{
    quell_model *model = &problem->model;
    size_t first = model->first, last = model->first + model->bins - 1;
    bool down = to < first;
    size_t wanted = down ? first - to : to - last;
    size_t got =
        down ? foretold(problem, fit, to, first - 1, true) : foretold(problem, fit, last + 1, to, false);
    if (got > 0) {
        quell_model_set_band(model, down ? first - got : first, down ? last : last + got);
        quell_fit_improve(problem, fit, REFIT_STEPS, FIT_NEARLY);
    }
    return got == wanted;
}

void quell_band_grow(quell_fit_problem *problem, quell_fit *fit, size_t low, size_t high)
{
    quell_model *model = &problem->model;
    bool down = true, up = true;
    while (down || up) {
        size_t first = model->first, last = model->first + model->bins - 1;
        if (down) {
            size_t to = (size_t)((double)first / GROWTH);
            to = first - to < LEAST_BINS ? (first > LEAST_BINS ? first - LEAST_BINS : 0) : to;
            to = to < low ? low : to;
            down = to < first && grow(problem, fit, to);
        }
        if (up) {
            size_t to = (size_t)((double)last * GROWTH);
            to = to - last < LEAST_BINS ? last + LEAST_BINS : to;
            to = to > high ? high : to;
            up = to > last && grow(problem, fit, to);
        }
    }
}

void quell_band_near(const quell_fit_problem *problem, const quell_mode_start *start, size_t modes,
                     size_t low, size_t high, size_t *first, size_t *last)
{
    double bin_hz = problem->model.spectrum->bin_hz, lowest = start[0].frequency_hz, highest = lowest;
    for (size_t k = 1; k < modes; k++) {
        lowest = fmin(lowest, start[k].frequency_hz);
        highest = fmax(highest, start[k].frequency_hz);
    }
    double from = NEAR_LOW * lowest / bin_hz, to = NEAR_HIGH * highest / bin_hz;
    *first = from > (double)low ? (size_t)from : low;
    *last = to < (double)high ? (size_t)to : high;
}
