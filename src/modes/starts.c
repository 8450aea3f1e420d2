/* Starts of the fit. A poor start converges cleanly to a wrong minimum, so every choice of signs of the
   participations is tried: all for a few steps, the best of them to the end. */
#include "modes_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

enum { FIRST_STEPS = 6, ALL_STEPS = 60, FINALISTS = 3, LEVEL_PASSES = 5 };

/* Median of log_density - ln |H|^2 over the unmasked bins from..last: the level of the input if H is right.
   */
static double level(const quell_fit_problem *problem, const quell_mode *mode, size_t modes, size_t first,
                    size_t last)
{
    const quell_model *model = &problem->model;
    size_t count = 0;
    double *value = problem->trial;
    for (size_t bin = first; bin <= last; bin++) {
        double h = cabs(quell_response(mode, modes, (double)bin * model->spectrum->bin_hz));
        if (!problem->masked[bin] && h > 0)
            value[count++] = problem->log_density[bin] - 2 * log(h);
    }
    if (count == 0)
        return 0;
    gsl_sort(value, 1, count);
    return value[count / 2];
}

/* ln P at a frequency: the largest of the three bins next to it. */
static double log_peak(const quell_fit_problem *problem, double frequency_hz)
{
    const quell_model *model = &problem->model;
    double at = frequency_hz / model->spectrum->bin_hz + 0.5, end = (double)(model->first + model->bins - 1);
    size_t bin = (size_t)fmin(fmax(at, (double)model->first), end);
    double largest = problem->log_density[bin];
    if (bin > model->first)
        largest = fmax(largest, problem->log_density[bin - 1]);
    if (bin + 1 < model->first + model->bins)
        largest = fmax(largest, problem->log_density[bin + 1]);
    return largest;
}

/* Participations c = sign 2 zeta sqrt(P(f) / s_in); s_in from the lowest fifteenth of the band at first,
   where H is near 1, then from the whole band with the response so far taken off. */
static double participations(const quell_fit_problem *problem, quell_mode *mode, size_t modes,
                             const int *sign)
{
    const quell_model *model = &problem->model;
    size_t last = model->first + model->bins - 1;
    double input = level(problem, mode, 0, model->first, model->first + model->bins / 15);
    for (size_t pass = 0; pass < LEVEL_PASSES; pass++) {
        for (size_t k = 0; k < modes; k++) {
            double amplification = exp((log_peak(problem, mode[k].frequency_hz) - input) / 2);
            double c = 2 * mode[k].damping_ratio * amplification;
            mode[k].participation = sign[k] * fmin(fmax(c, 0.01), 3);
        }
        input = level(problem, mode, modes, model->first, last);
    }
    return input;
}

static quell_fit start_point(const quell_fit_problem *problem, const quell_mode_start *start, size_t modes,
                             const int *sign)
{
    quell_mode mode[QUELL_MODES_MAX];
    quell_fit fit = {.modes = modes};
    for (size_t k = 0; k < modes; k++)
        mode[k] =
            (quell_mode){.frequency_hz = start[k].frequency_hz, .damping_ratio = start[k].damping_ratio};
    double input = participations(problem, mode, modes, sign);
    for (size_t k = 0; k < modes; k++) {
        fit.parameter[FIT_PER_MODE * k + FIT_LN_F] = log(mode[k].frequency_hz);
        fit.parameter[FIT_PER_MODE * k + FIT_LN_ZETA] = log(fmin(fmax(mode[k].damping_ratio, 5e-4), 0.3));
        fit.parameter[FIT_PER_MODE * k + FIT_C] = mode[k].participation;
    }
    double *common = fit.parameter + FIT_PER_MODE * modes;
    common[FIT_B0] = input;
    common[FIT_NOISE] = problem->noise_start;
    return fit;
}

/* `from` with one mode more: its participation takes the sign given. */
static quell_fit extended(const quell_fit_problem *problem, const quell_fit *from,
                          const quell_mode_start *start, int sign)
{
    quell_fit fit = {.modes = from->modes + 1};
    size_t old = FIT_PER_MODE * from->modes;
    memcpy(fit.parameter, from->parameter, old * sizeof(double));
    memcpy(fit.parameter + old + FIT_PER_MODE, from->parameter + old, FIT_COMMON * sizeof(double));
    double input = from->parameter[old + FIT_B0];
    double amplification = exp((log_peak(problem, start->frequency_hz) - input) / 2);
    fit.parameter[old + FIT_LN_F] = log(start->frequency_hz);
    fit.parameter[old + FIT_LN_ZETA] = log(fmin(fmax(start->damping_ratio, 5e-4), 0.3));
    fit.parameter[old + FIT_C] = sign * fmin(fmax(2 * start->damping_ratio * amplification, 0.01), 3);
    return fit;
}

/* Keeps the best few fits, best first. */
static void enter(quell_fit *best, size_t *count, const quell_fit *fit)
{
    size_t at = *count;
    while (at > 0 && fit->misfit < best[at - 1].misfit)
        at--;
    if (at == FINALISTS)
        return;
    if (*count < FINALISTS)
        (*count)++;
    memmove(best + at + 1, best + at, (*count - at - 1) * sizeof *best);
    best[at] = *fit;
}

static void try(quell_fit_problem *problem, quell_fit fit, quell_fit *best, size_t *count)
{
    quell_fit_improve(problem, &fit, FIRST_STEPS, FIT_NEARLY);
    if (isfinite(fit.misfit))
        enter(best, count, &fit);
}

quell_fit quell_fit_from_starts(quell_fit_problem *problem, const quell_mode_start *start, size_t modes,
                                const quell_fit *from)
{
    quell_fit best[FINALISTS];
    size_t count = 0;
    for (int sign = -1; sign <= 1 && from != NULL; sign += 2)
        try(problem, extended(problem, from, &start[modes - 1], sign), best, &count);
    size_t choices = modes <= 4 ? (size_t)1 << modes : modes + 1;
    for (size_t choice = 0; choice < choices; choice++) {
        int sign[QUELL_MODES_MAX];
        for (size_t k = 0; k < modes; k++) {
            bool negative = modes <= 4 ? (choice >> k & 1) != 0 : choice == k + 1;
            sign[k] = negative ? -1 : 1;
        }
        try(problem, start_point(problem, start, modes, sign), best, &count);
    }
    quell_fit winner = {.modes = modes, .misfit = (double)INFINITY, .rms = (double)INFINITY};
    for (size_t i = 0; i < count; i++) {
        quell_fit_improve(problem, &best[i], ALL_STEPS - FIRST_STEPS, FIT_NEARLY);
        if (best[i].misfit < winner.misfit && quell_fit_plausible(problem, &best[i]))
            winner = best[i];
    }
    return winner;
}
