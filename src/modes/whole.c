/* All peaks at once. A sweep tells modes so well that a few of many explain nothing: one mode after the other then finds its way
   into a wrong minimum, or stops. Where it does, the search begins again with a mode for every peak. */
#include "modes_private.h"

#include <math.h>

#define EXPLAINED_RMS 0.025 /* of ln P: most of what is right is below */
#define MARGIN 0.8         /* of the widest band of a fit (trial.c): as much of it must be explained */

#define WORTH_TURNING 0.95 /* of the misfit */

enum { PEAKS_LEAST = 2, TURNS_MOST = 8, TURN_STEPS = 12 };

/* The band that modes from low_hz to high_hz are fitted on at most. */
static void widest(const quell_mode_search *search, double low_hz, double high_hz, size_t *first, size_t *last)
{
    double bin_hz = search->spectrum->bin_hz;
    *first = (size_t)fmax(FIT_LOW * low_hz / bin_hz, (double)search->low);
    *last = (size_t)fmin(FIT_HIGH * high_hz / bin_hz, (double)search->high);
}

quell_mode_search *quell_whole_begin(quell_mode_search *search)
{
    quell_mode_start start[QUELL_MODES_MAX];
    size_t count = 0, of[QUELL_MODES_MAX];
    double low_hz = (double)INFINITY, high_hz = 0;
    for (size_t i = 0; i < search->peaks && count < QUELL_MODES_MAX && search->problem.swept; i++) {
        if (search->used[i])
            continue;
        start[count] = (quell_mode_start){search->peak[i].frequency_hz, search->peak[i].half_power_damping_ratio};
        of[count++] = i;
        low_hz = fmin(low_hz, search->peak[i].frequency_hz);
        high_hz = fmax(high_hz, search->peak[i].frequency_hz);
    }
    quell_mode_search *out = count >= PEAKS_LEAST ? quell_memory_get(sizeof *out) : NULL;
    if (out == NULL)
        return NULL;
    *out = *search;
    widest(search, low_hz, high_hz, &out->first, &out->last);
    quell_model_set_band(&out->problem.model, out->first, out->last);
    out->best = quell_fit_from_all_signs(&out->problem, start, count);
    if (!isfinite(out->best.misfit)) {
        quell_memory_free(out);
        return NULL;
    }
    quell_fit_improve(&out->problem, &out->best, FIT_ALL_STEPS, FIT_FULLY);
    for (size_t k = 0; k < count; k++) {
        out->from_peak[k] = of[k];
        out->used[of[k]] = true;
    }
    return out;
}

/* Do the modes mean something where they are? */
static bool worth_having(quell_mode_search *search)
{
    quell_mode_start start[QUELL_MODES_MAX];
    quell_model_set_band(&search->problem.model, search->first, search->last);
    for (size_t k = 0; k < search->best.modes; k++)
        start[k] = (quell_mode_start){exp(search->best.parameter[FIT_PER_MODE * k + FIT_LN_F]), 0};
    return quell_fit_worth_having(search, &search->best, start);
}

bool quell_whole_is_explained(quell_mode_search *search)
{
    const quell_fit *best = &search->best;
    double low_hz = (double)INFINITY, high_hz = 0;
    size_t first, last;
    if (best->modes == 0 || best->rms > EXPLAINED_RMS || !worth_having(search))
        return false;
    for (size_t k = 0; k < best->modes; k++) {
        low_hz = fmin(low_hz, exp(best->parameter[FIT_PER_MODE * k + FIT_LN_F]));
        high_hz = fmax(high_hz, exp(best->parameter[FIT_PER_MODE * k + FIT_LN_F]));
    }
    for (size_t i = 0; i < search->peaks; i++)
        if (!search->peak[i].line && search->peak[i].bin > search->low && search->peak[i].bin < search->high &&
            (search->peak[i].bin < search->first || search->peak[i].bin > search->last))
            return false;
    widest(search, low_hz, high_hz, &first, &last);
    return (double)(search->last - search->first) >= MARGIN * (double)(last - first);
}

/* A copy of the search's fit, gone on with on a band. */
static quell_fit on_band(quell_fit_problem *problem, const quell_fit *fit, size_t first, size_t last)
{
    quell_fit out = *fit;
    quell_model_set_band(&problem->model, first, last);
    quell_fit_improve(problem, &out, FIT_ALL_STEPS, FIT_FULLY);
    return out;
}

void quell_whole_take_if_better(quell_mode_search *search, quell_mode_search *other)
{
    quell_fit_problem *problem = &search->problem;
    if (!worth_having(other))
        return;
    if (search->best.modes > 0) {
        size_t first = search->first < other->first ? search->first : other->first;
        size_t last = search->last > other->last ? search->last : other->last;
        quell_fit a = on_band(problem, &search->best, first, last), b = on_band(problem, &other->best, first, last);
        if (!(quell_fit_criterion(problem, &b) < quell_fit_criterion(problem, &a)))
            return;
    }
    search->best = other->best;
    search->first = other->first;
    search->last = other->last;
    for (size_t k = 0; k < QUELL_MODES_MAX; k++)
        search->from_peak[k] = other->from_peak[k];
}

/* The fit with the participations of the modes from from_hz to to_hz turned round, gone on with from a flat input. */
static quell_fit turned(quell_mode_search *search, double from_hz, double to_hz)
{
    quell_fit_problem *problem = &search->problem;
    quell_fit out = search->best;
    bool held = problem->held[FIT_B1];
    for (size_t k = 0; k < out.modes; k++) {
        double f_hz = exp(out.parameter[FIT_PER_MODE * k + FIT_LN_F]);
        if (f_hz >= from_hz && f_hz <= to_hz)
            out.parameter[FIT_PER_MODE * k + FIT_C] *= -1;
    }
    problem->model.precision = MODEL_ROUGH;
    problem->held[FIT_B1] = true;
    out.parameter[FIT_PER_MODE * out.modes + FIT_B1] = 0;
    quell_fit_improve(problem, &out, TURN_STEPS, FIT_NEARLY);
    problem->held[FIT_B1] = held;
    quell_fit_improve(problem, &out, TURN_STEPS, FIT_NEARLY);
    problem->model.precision = MODEL_EXACT;
    return out;
}

/* Takes the best of the fits with the signs of none, of one mode, or of all modes from one on turned; false if none is better. */
static bool turn_once(quell_mode_search *search)
{
    quell_fit best = search->best, flat = turned(search, 1, 0);
    if (flat.misfit < WORTH_TURNING * best.misfit && quell_fit_plausible(&search->problem, &flat))
        best = flat;
    for (size_t k = 0; k < search->best.modes; k++) {
        double f_hz = exp(search->best.parameter[FIT_PER_MODE * k + FIT_LN_F]);
        for (int on = 0; on < 2; on++) {
            quell_fit made = turned(search, f_hz, on ? (double)INFINITY : f_hz);
            if (made.misfit < WORTH_TURNING * best.misfit && quell_fit_plausible(&search->problem, &made))
                best = made;
        }
    }
    if (!(best.misfit < search->best.misfit))
        return false;
    search->best = best;
    return true;
}

/* All signs again, from where the modes are by now. */
static void sign_again(quell_mode_search *search)
{
    quell_mode_start start[QUELL_MODES_MAX];
    for (size_t k = 0; k < search->best.modes; k++) {
        const double *mode = search->best.parameter + FIT_PER_MODE * k;
        start[k] = (quell_mode_start){exp(mode[FIT_LN_F]), exp(mode[FIT_LN_ZETA])};
    }
    quell_fit made = quell_fit_from_all_signs(&search->problem, start, search->best.modes);
    if (made.misfit < WORTH_TURNING * search->best.misfit)
        search->best = made;
}

void quell_whole_turn_signs(quell_mode_search *search)
{
    quell_fit before = search->best;
    if (!search->problem.swept || search->best.modes < PEAKS_LEAST || search->best.rms <= EXPLAINED_RMS)
        return;
    quell_model_set_band(&search->problem.model, search->first, search->last);
    sign_again(search);
    for (size_t i = 0; i < TURNS_MOST && search->best.rms > EXPLAINED_RMS && turn_once(search); i++)
        ;
    quell_fit_improve(&search->problem, &search->best, FIT_ALL_STEPS, FIT_FULLY);
    if (search->best.misfit < before.misfit && !worth_having(search))
        search->best = before;
}

/* The fit without a mode, gone on with. */
static quell_fit without(quell_mode_search *search, size_t k)
{
    quell_fit out = search->best;
    size_t after = FIT_PER_MODE * (out.modes - k - 1) + FIT_COMMON;
    double *at = out.parameter + FIT_PER_MODE * k;
    for (size_t i = 0; i < after; i++)
        at[i] = at[i + FIT_PER_MODE];
    out.modes--;
    quell_fit_improve(&search->problem, &out, FIT_ALL_STEPS, FIT_NEARLY);
    return out;
}

void quell_whole_drop_idle(quell_mode_search *search)
{
    quell_fit_problem *problem = &search->problem;
    quell_model_set_band(&problem->model, search->first, search->last);
    for (size_t k = 0; k < search->best.modes && search->best.modes > 1;) {
        quell_fit less = without(search, k);
        if (!quell_fit_plausible(problem, &less) ||
            quell_fit_criterion(problem, &less) > quell_fit_criterion(problem, &search->best)) {
            k++;
            continue;
        }
        search->best = less;
        for (size_t i = k; i < less.modes; i++)
            search->from_peak[i] = search->from_peak[i + 1];
        k = 0;
    }
    quell_fit_improve(problem, &search->best, FIT_ALL_STEPS, FIT_FULLY);
}
