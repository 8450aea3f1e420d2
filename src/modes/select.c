/* How many modes: forward selection, first from the peaks, then from what the fit leaves and from modes that may be two. A mode
   more is taken in only if it stays where it started, is wider than a line, and the criterion wants it. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define LEAST_PARTICIPATION 0.02
#define LEAST_CUT 0.2    /* share of the rms misfit, under a sweep */
#define LEAST_WIDTH 0.8  /* half-power width in bins: narrower is a line, or cannot be told from one */
#define STAYS_WITHIN 0.1 /* how far the fit may move a mode from its peak, as a share of f */
#define FIT_LOW 0.55     /* the widest band of a fit, relative to the lowest mode */
#define FIT_HIGH 1.5     /* and to the highest */
#define EXPLAINED 1.5    /* mean square misfit over a peak, 1 is what chance makes of it */
#define LINE_EXCESS 1.84 /* 8 dB, as ln P */

#define SPLIT_LEAST 0.01 /* how far from a mode its halves start */
#define SPLIT_MOST 0.06

enum { TRIES = 4, ALL_STEPS = 60, BINS_PER_PARAMETER = 2 };

static void mask_line(quell_mode_search *search, size_t bin)
{
    const quell_spectrum *spectrum = search->spectrum;
    size_t first, last;
    quell_line_extent(spectrum, spectrum->asd_m2ps3[search->axis], bin, &first, &last);
    for (size_t k = first; k <= last; k++)
        search->problem.masked[k] = true;
}

/* Does every mode stay near its start? */
static bool stayed(const quell_fit *fit, const quell_mode_start *start)
{
    for (size_t k = 0; k < fit->modes; k++) {
        double moved = exp(fit->parameter[FIT_PER_MODE * k + FIT_LN_F]) / start[k].frequency_hz - 1;
        if (!(fabs(moved) <= STAYS_WITHIN))
            return false;
    }
    return true;
}

/* Fits modes from starts, on a band that is found on the way and left in *first and *last. */
static quell_fit fit_and_grow(quell_mode_search *search, const quell_mode_start *start, size_t modes,
                              const quell_fit *from, size_t *first, size_t *last)
{
    quell_fit_problem *problem = &search->problem;
    double lowest = (double)INFINITY, highest = 0, bin_hz = search->spectrum->bin_hz;
    for (size_t k = 0; k < modes; k++) {
        lowest = fmin(lowest, start[k].frequency_hz);
        highest = fmax(highest, start[k].frequency_hz);
    }
    size_t low = (size_t)fmax(FIT_LOW * lowest / bin_hz, (double)search->low);
    size_t high = (size_t)fmin(FIT_HIGH * highest / bin_hz, (double)search->high);
    quell_band_near(problem, start, modes, low, high, first, last);
    quell_model_set_band(&problem->model, *first, *last);
    quell_fit fit = quell_fit_from_starts(problem, start, modes, from);
    if (!isfinite(fit.misfit) || !stayed(&fit, start))
        return fit;
    quell_band_grow(problem, &fit, low, high);
    /* Near the modes alone the input's level is hard to tell: the band found may show another start to be
       better. */
    quell_fit again = quell_fit_from_starts(problem, start, modes, from);
    if (again.misfit < fit.misfit) {
        fit = again;
        quell_band_grow(problem, &fit, low, high);
    }
    quell_fit_improve(problem, &fit, ALL_STEPS, FIT_FULLY);
    *first = problem->model.first;
    *last = *first + problem->model.bins - 1;
    return fit;
}

/* Is the fit one that means something? The model's band is the fit's. */
static bool worth_having(const quell_mode_search *search, const quell_fit *fit, const quell_mode_start *start)
{
    const quell_fit_problem *problem = &search->problem;
    size_t used = 0;
    for (size_t b = 0; b < problem->model.bins; b++)
        used += !problem->masked[problem->model.first + b];
    if (used < BINS_PER_PARAMETER * (FIT_PER_MODE * fit->modes + FIT_COMMON))
        return false;
    for (size_t k = 0; k < fit->modes; k++) {
        const double *mode = fit->parameter + FIT_PER_MODE * k;
        double f_hz = exp(mode[FIT_LN_F]), width_hz = 2 * exp(mode[FIT_LN_ZETA]) * f_hz;
        if (fabs(mode[FIT_C]) < LEAST_PARTICIPATION || width_hz < LEAST_WIDTH * search->spectrum->bin_hz)
            return false;
    }
    return stayed(fit, start) && quell_fit_plausible(problem, fit);
}

/* Does the fit so far explain a peak that lies in its band, up to chance? Then there is no use in a mode
   more. */
static bool explained(quell_mode_search *search, const quell_peak *peak)
{
    quell_fit_problem *problem = &search->problem;
    size_t reach = (size_t)fmin(2 * peak->half_power_damping_ratio * (double)peak->bin, 8) + 2;
    if (search->best.modes == 0 || peak->bin < search->first + reach || peak->bin + reach > search->last)
        return false;
    double sum = 0, count = (double)(2 * reach + 1);
    quell_model_set_band(&problem->model, peak->bin - reach, peak->bin + reach);
    quell_model_evaluate(&problem->model, search->best.parameter, search->best.modes, problem->log_model,
                         NULL);
    for (size_t b = 0; b <= 2 * reach; b++) {
        double e = problem->log_density[peak->bin - reach + b] - problem->log_model[b];
        sum += e * e;
    }
    return problem->weight * sum / count < EXPLAINED;
}

/* A fit with one mode more. */
typedef struct trial {
    quell_fit fit;
    size_t first, last; /* bins of its band */
    double gain;        /* by which the criterion falls; not above 0: not worth it */
} trial;

/* Fits `modes` starts and compares with one mode less on the same band. */
static trial try_starts(quell_mode_search *search, const quell_mode_start *start, size_t modes)
{
    quell_fit_problem *problem = &search->problem;
    const quell_fit *best = search->best.modes > 0 ? &search->best : NULL;
    trial made = {.gain = -1};
    made.fit = fit_and_grow(search, start, modes, best, &made.first, &made.last);
    if (!isfinite(made.fit.misfit) || !worth_having(search, &made.fit, start))
        return made;
    quell_fit without = best != NULL ? *best : quell_fit_from_starts(problem, NULL, 0, NULL);
    quell_fit_improve(problem, &without, ALL_STEPS, FIT_NEARLY);
    made.gain = quell_fit_criterion(problem, &without) - quell_fit_criterion(problem, &made.fit);
    if (problem->swept && made.fit.rms > (1 - LEAST_CUT) * without.rms)
        made.gain = -1;
    return made;
}

/* The modes so far as starts. */
static void start_from_best(const quell_mode_search *search, quell_mode_start *start)
{
    for (size_t k = 0; k < search->best.modes; k++) {
        const double *mode = search->best.parameter + FIT_PER_MODE * k;
        start[k] = (quell_mode_start){exp(mode[FIT_LN_F]), exp(mode[FIT_LN_ZETA])};
    }
}

static void take(quell_mode_search *search, const trial *made, size_t peak)
{
    search->from_peak[search->best.modes] = peak;
    if (peak != NO_PEAK)
        search->used[peak] = true;
    search->best = made->fit;
    search->first = made->first;
    search->last = made->last;
}

/* One mode more from the most prominent peak that will do; false if none does. */
static bool add_from_peaks(quell_mode_search *search)
{
    size_t modes = search->best.modes;
    quell_mode_start start[QUELL_MODES_MAX];
    start_from_best(search, start);
    for (size_t i = 0, tries = 0; i < search->peaks && tries < TRIES; i++) {
        if (search->used[i] || explained(search, &search->peak[i]))
            continue;
        start[modes] = (quell_mode_start){search->peak[i].frequency_hz, search->peak[i].half_power_damping_ratio};
        trial made = try_starts(search, start, modes + 1);
        tries++;
        if (!(made.gain > 0))
            continue;
        take(search, &made, i);
        return true;
    }
    return false;
}

/* One mode more where the fit falls short, or by splitting one: the best of all these. */
static bool add_from_residual(quell_mode_search *search)
{
    size_t modes = search->best.modes;
    quell_mode_start start[QUELL_MODES_MAX];
    quell_candidates candidates;
    trial best = {.gain = 0};
    quell_model_set_band(&search->problem.model, search->first, search->last);
    quell_candidates_find(&search->problem, &search->best, &candidates);
    for (size_t i = 0; i < candidates.count; i++) {
        start_from_best(search, start);
        start[modes] = candidates.start[i];
        trial made = try_starts(search, start, modes + 1);
        best = made.gain > best.gain ? made : best;
    }
    for (size_t k = 0; k < modes; k++) {
        start_from_best(search, start);
        double apart = fmin(fmax(start[k].damping_ratio, SPLIT_LEAST), SPLIT_MOST);
        start[modes] = (quell_mode_start){start[k].frequency_hz * (1 + apart), start[k].damping_ratio / 2};
        start[k] = (quell_mode_start){start[k].frequency_hz * (1 - apart), start[k].damping_ratio / 2};
        trial made = try_starts(search, start, modes + 1);
        best = made.gain > best.gain ? made : best;
    }
    if (!(best.gain > 0))
        return false;
    take(search, &best, NO_PEAK);
    return true;
}

/* Lines that hid in the noise or on a mode's flank show once the modes are fitted: they are masked, the fit
   redone. */
static void mask_what_sticks_out(quell_mode_search *search)
{
    quell_fit_problem *problem = &search->problem;
    const double *density = search->spectrum->asd_m2ps3[search->axis];
    bool found = false;
    quell_model_set_band(&problem->model, search->first, search->last);
    quell_model_evaluate(&problem->model, search->best.parameter, search->best.modes, problem->log_model,
                         NULL);
    for (size_t k = search->first + 1; k < search->last; k++) {
        double width;
        bool top = density[k] > density[k - 1] && density[k] >= density[k + 1];
        if (problem->masked[k] || !top ||
            problem->log_density[k] - problem->log_model[k - search->first] < LINE_EXCESS)
            continue;
        quell_half_power(density, search->spectrum->bins, k, NULL, &width);
        if (!quell_is_line(search->spectrum, density, k, width))
            continue;
        mask_line(search, k);
        found = true;
    }
    if (found)
        quell_fit_improve(problem, &search->best, ALL_STEPS, FIT_FULLY);
}

/* Only what is excited together with the most prominent peak can be fitted together with it. */
static void keep_within_excitation(quell_mode_search *search)
{
    size_t first = 0;
    while (first < search->peaks && search->used[first])
        first++;
    if (first == search->peaks)
        return;
    quell_excitation_ends(search->spectrum, search->axis, search->peak[first].bin, &search->low,
                          &search->high);
    for (size_t i = 0; i < search->peaks; i++)
        search->used[i] =
            search->used[i] || search->peak[i].bin < search->low || search->peak[i].bin > search->high;
}

void quell_modes_select(quell_mode_search *search)
{
    for (size_t i = 0; i < search->peaks; i++)
        if (search->peak[i].line) {
            mask_line(search, search->peak[i].bin);
            search->used[i] = true;
        }
    if (search->problem.swept)
        keep_within_excitation(search);
    while (search->best.modes < QUELL_MODES_MAX && add_from_peaks(search))
        ;
    if (search->best.modes == 0)
        return;
    mask_what_sticks_out(search);
    while (search->best.modes < QUELL_MODES_MAX && add_from_residual(search))
        mask_what_sticks_out(search);
}
