/* The band of a fit. An unknown input ends somewhere: outside a sweep's range the density falls by 10 dB or
   more at once, which the model cannot follow and must not explain by modes. So the band starts close round
   the modes and grows outwards as long as the model foretells what comes next. */
#include "modes_private.h"

#include <math.h>

#define NEAR_LOW 0.8   /* where the band starts, relative to the lowest mode */
#define NEAR_HIGH 1.15 /* and to the highest */
#define GROWTH 1.1     /* a step outwards */

/* Misfit of ln P: 4 dB, much less than the end of a sweep makes, much more than a model's small errors do. */
#define FORETOLD 0.9
#define CHANCE 3.0 /* or this many standard deviations of ln P */

enum { REFIT_STEPS = 10, LEAST_BINS = 6, LEAK_BINS = 2, AHEAD_BINS = 3 };

/* Middle one of three. */
static double middle(double a, double b, double c)
{
    return fmax(fmin(a, b), fmin(fmax(a, b), c));
}

/* By how many bins the band may move its end outwards over the bins first..last: as far as the median of
   three misfits in a row stays small, and short of the bins that the point where it does not leaks into;
   which may lie within the band, so that it shrinks. */
static long foretold(quell_fit_problem *problem, const quell_fit *fit, size_t first, size_t last, bool down)
{
    quell_model *model = &problem->model;
    size_t kept_first = model->first, kept_last = model->first + model->bins - 1;
    long count = (long)(last - first) + 1;
    quell_model_set_band(model, first, last);
    quell_model_evaluate(model, fit->parameter, fit->modes, problem->log_model, NULL);
    quell_model_set_band(model, kept_first, kept_last);
    double before[2] = {0, 0}, most = fmax(FORETOLD, CHANCE * sqrt(2 / model->spectrum->dof));
    for (long i = 0; i < count; i++) {
        size_t b = (size_t)(down ? count - 1 - i : i);
        if (problem->masked[first + b])
            continue;
        double e = problem->log_density[first + b] - problem->log_model[b];
        if (fabs(middle(before[0], before[1], e)) > most)
            return i - LEAK_BINS - 1; /* the first bin that was off is the one before this */
        before[0] = before[1];
        before[1] = e;
    }
    return count;
}

/* One step outwards to `to`, as far as the fit foretells it; false if it does not all the way. A few bins
   beyond are looked at, too, within low..high. */
static bool grow(quell_fit_problem *problem, quell_fit *fit, size_t to, size_t low, size_t high)
{
    quell_model *model = &problem->model;
    size_t first = model->first, last = model->first + model->bins - 1;
    bool down = to < first;
    long wanted = (long)(down ? first - to : to - last), got;
    if (down)
        got = foretold(problem, fit, to > low + AHEAD_BINS ? to - AHEAD_BINS : low, first - 1, true);
    else
        got = foretold(problem, fit, last + 1, to + AHEAD_BINS < high ? to + AHEAD_BINS : high, false);
    got = got < wanted ? got : wanted;
    if (got != 0) {
        quell_model_set_band(model, down ? (size_t)((long)first - got) : first,
                             down ? last : (size_t)((long)last + got));
        quell_fit_improve(problem, fit, REFIT_STEPS, FIT_NEARLY);
    }
    return got == wanted;
}

void quell_band_grow(quell_fit_problem *problem, quell_fit *fit, size_t low, size_t high)
{
    quell_model *model = &problem->model;
    size_t least = model->prepared_first, most = model->prepared_last;
    bool down = true, up = true;
    while (down || up) {
        size_t first = model->first, last = model->first + model->bins - 1;
        if (down) {
            size_t to = (size_t)((double)first / GROWTH);
            to = first - to < LEAST_BINS ? (first > LEAST_BINS ? first - LEAST_BINS : 0) : to;
            to = to < low ? low : to;
            down = to < first && grow(problem, fit, to, least, most);
        }
        if (up) {
            size_t to = (size_t)((double)last * GROWTH);
            to = to - last < LEAST_BINS ? last + LEAST_BINS : to;
            to = to > high ? high : to;
            up = to > last && grow(problem, fit, to, least, most);
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
