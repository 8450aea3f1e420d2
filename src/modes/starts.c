/* Starts of the fit. A poor start converges cleanly to a wrong minimum, so every choice of signs of the
   participations is tried: all for a few steps, the best of them to the end. */
#include "modes_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

enum { FIRST_STEPS = 6, ALL_STEPS = 60, FINALISTS = 3, LEVEL_PASSES = 5 };
enum { GLANCE_STEPS = 3, GLANCED_MOST = 8, LOOK_STEPS = 15 }; /* of all choices of signs */

/* ln P of a bin over what was commanded there. */
static double log_response(const quell_fit_problem *problem, size_t bin)
{
    const double *command = problem->model.command;
    return problem->log_density[bin] - (command != NULL && !problem->masked[bin] ? log(command[bin]) : 0);
}

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
            value[count++] = log_response(problem, bin) - 2 * log(h);
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
    double largest = log_response(problem, bin);
    if (bin > model->first)
        largest = fmax(largest, log_response(problem, bin - 1));
    if (bin + 1 < model->first + model->bins)
        largest = fmax(largest, log_response(problem, bin + 1));
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

/* c of a mode that alone makes up the peak at its frequency. */
static double own_participation(const quell_fit_problem *problem, const quell_mode *mode, double input)
{
    double log_amplification = (log_peak(problem, mode->frequency_hz) - input) / 2;
    if (problem->model.form == MODEL_AMBIENT)
        return 2 * (log_amplification + log(2 * mode->damping_ratio));
    return fmin(fmax(2 * mode->damping_ratio * exp(log_amplification), 0.01), 3);
}

static void put_mode(const quell_fit_problem *problem, quell_fit *fit, size_t k, quell_mode mode, double input, int sign)
{
    double *parameter = fit->parameter + FIT_PER_MODE * k;
    mode.damping_ratio = fmin(fmax(mode.damping_ratio, 5e-4), 0.3);
    double c = own_participation(problem, &mode, input);
    parameter[FIT_LN_F] = log(mode.frequency_hz);
    parameter[FIT_LN_ZETA] = log(mode.damping_ratio);
    parameter[FIT_C] = problem->model.form == MODEL_AMBIENT ? c : sign * c;
}

/* Common parameters of a start. On an axis that is not driven, and without an input, they are known. */
static void put_common(const quell_fit_problem *problem, quell_fit *fit, double input)
{
    double *common = fit->parameter + FIT_PER_MODE * fit->modes;
    common[FIT_B0] = input;
    common[FIT_B1] = problem->held[FIT_B1] ? problem->held_slope : 0;
    common[FIT_NOISE] = problem->noise_start;
    common[FIT_DIRECT] = problem->model.form == MODEL_DRIVEN ? 1 : 0;
}

static quell_fit start_point(const quell_fit_problem *problem, const quell_mode_start *start, size_t modes,
                             const int *sign)
{
    quell_mode mode[QUELL_MODES_MAX];
    quell_fit fit = {.modes = modes};
    for (size_t k = 0; k < modes; k++)
        mode[k] =
            (quell_mode){.frequency_hz = start[k].frequency_hz, .damping_ratio = start[k].damping_ratio};
    bool known = problem->held[FIT_B0];
    double input = known ? problem->held_level : participations(problem, mode, modes, sign);
    for (size_t k = 0; k < modes; k++) {
        put_mode(problem, &fit, k, mode[k], input, sign[k]);
        if (!known) /* found together */
            fit.parameter[FIT_PER_MODE * k + FIT_C] = mode[k].participation;
    }
    put_common(problem, &fit, input);
    return fit;
}

/* The same where the strongest mode carries all of the axis, c = 1: then the input is far below the density next to the peaks.
   Motion that is half as strong with a density that rises looks much the same, and is a minimum of its own. */
static quell_fit start_of_whole(const quell_fit_problem *problem, const quell_mode_start *start, size_t modes,
                                const int *sign)
{
    quell_fit fit = {.modes = modes};
    double input = -(double)INFINITY; /* with which each alone would make its peak */
    for (size_t k = 0; k < modes; k++) {
        double zeta = fmin(fmax(start[k].damping_ratio, 5e-4), 0.3);
        input = fmax(input, log_peak(problem, start[k].frequency_hz) + 2 * log(2 * zeta));
    }
    for (size_t k = 0; k < modes; k++) {
        quell_mode mode = {.frequency_hz = start[k].frequency_hz, .damping_ratio = start[k].damping_ratio};
        put_mode(problem, &fit, k, mode, input, sign[k]);
    }
    put_common(problem, &fit, input);
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
    quell_mode mode = {.frequency_hz = start->frequency_hz, .damping_ratio = start->damping_ratio};
    put_mode(problem, &fit, from->modes, mode, from->parameter[old + FIT_B0], sign);
    return fit;
}

/* Keeps the best few fits, best first. */
static void enter(quell_fit *best, size_t *count, size_t most, const quell_fit *fit)
{
    size_t at = *count;
    while (at > 0 && fit->misfit < best[at - 1].misfit)
        at--;
    if (at == most)
        return;
    if (*count < most)
        (*count)++;
    memmove(best + at + 1, best + at, (*count - at - 1) * sizeof *best);
    best[at] = *fit;
}

static void try(quell_fit_problem *problem, quell_fit fit, quell_fit *best, size_t *count)
{
    problem->model.precision = MODEL_ROUGH;
    quell_fit_improve(problem, &fit, FIRST_STEPS, FIT_NEARLY);
    problem->model.precision = MODEL_EXACT;
    if (isfinite(fit.misfit))
        enter(best, count, FINALISTS, &fit);
}

/* The best of some fits, gone on with to the end. */
static quell_fit finish(quell_fit_problem *problem, size_t modes, quell_fit *best, size_t count)
{
    quell_fit winner = {.modes = modes, .misfit = (double)INFINITY, .rms = (double)INFINITY};
    for (size_t i = 0; i < count; i++) {
        quell_fit_improve(problem, &best[i], ALL_STEPS - FIRST_STEPS, FIT_NEARLY);
        if (best[i].misfit < winner.misfit && quell_fit_plausible(problem, &best[i]))
            winner = best[i];
    }
    return winner;
}

quell_fit quell_fit_from_starts(quell_fit_problem *problem, const quell_mode_start *start, size_t modes,
                                const quell_fit *from)
{
    static const int all_positive[QUELL_MODES_MAX] = {1, 1, 1, 1, 1, 1, 1, 1};
    quell_fit best[FINALISTS];
    size_t count = 0;
    for (int sign = -1; sign <= 1 && from != NULL; sign += 2)
        try(problem, extended(problem, from, &start[modes - 1], sign), best, &count);
    if (problem->model.form == MODEL_AMBIENT) { /* no signs */
        try(problem, start_point(problem, start, modes, all_positive), best, &count);
        return finish(problem, modes, best, count);
    }
    size_t choices = modes <= 4 ? (size_t)1 << modes : modes + 1;
    for (size_t choice = 0; choice < choices; choice++) {
        int sign[QUELL_MODES_MAX] = {0};
        for (size_t k = 0; k < modes; k++) {
            bool negative = modes <= 4 ? (choice >> k & 1) != 0 : choice == k + 1;
            sign[k] = negative ? -1 : 1;
        }
        try(problem, start_point(problem, start, modes, sign), best, &count);
        if (modes > 0 && !problem->held[FIT_B0] && !problem->held[FIT_B1])
            try(problem, start_of_whole(problem, start, modes, sign), best, &count);
    }
    return finish(problem, modes, best, count);
}

/* The rough fit, gone on with. */
static void look(quell_fit_problem *problem, quell_fit *fit, size_t steps)
{
    problem->model.precision = MODEL_ROUGH;
    quell_fit_improve(problem, fit, steps, FIT_NEARLY);
    problem->model.precision = MODEL_EXACT;
}

quell_fit quell_fit_from_all_signs(quell_fit_problem *problem, const quell_mode_start *start, size_t modes)
{
    quell_fit glanced[GLANCED_MOST];
    size_t count = 0;
    bool held = problem->held[FIT_B1];
    problem->held[FIT_B1] = true; /* a sweep is flat, up to little that can be told once the modes are */
    for (size_t choice = 0; choice < (size_t)1 << modes; choice++) {
        int sign[QUELL_MODES_MAX];
        for (size_t k = 0; k < modes; k++)
            sign[k] = (choice >> k & 1) != 0 ? -1 : 1;
        quell_fit fit = start_point(problem, start, modes, sign);
        look(problem, &fit, GLANCE_STEPS);
        if (isfinite(fit.misfit))
            enter(glanced, &count, GLANCED_MOST, &fit);
    }
    for (size_t i = 0; i < count; i++)
        look(problem, &glanced[i], LOOK_STEPS);
    problem->held[FIT_B1] = held;
    return finish(problem, modes, glanced, count);
}
