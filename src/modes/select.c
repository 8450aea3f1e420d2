/* How many modes: forward selection, first from the peaks, then from what the fit leaves and from modes that may be two. A mode
   more is taken in only if it stays where it started, is wider than a line, and the criterion wants it. */
#include "modes_private.h"

#include <gsl/gsl_sf_psi.h>
#include <math.h>
#include <string.h>

#define LEAST_PARTICIPATION 0.02
#define LEAST_SIGNIFICANCE 2.0 /* standard errors of a participation */
#define LEAST_CUT 0.2    /* share of the rms misfit, under a sweep */
#define LEAST_WIDTH 0.8  /* half-power width in bins: narrower is a line, or cannot be told from one */
#define LEAST_RESPONSE 0.4 /* ringing acceleration at resonance over what drives it */
#define CANCELLED 0.8       /* of the smaller participation left by both together */
#define RMS_FLOOR 0.05   /* of ln P: what a sweep's own ripple makes */
#define STAYS_WITHIN 0.1 /* how far the fit may move a mode from its peak, as a share of f */
#define FIT_LOW 0.55     /* the widest band of a fit, relative to the lowest mode */
#define FIT_HIGH 1.5     /* and to the highest */
#define EXPLAINED 1.5    /* mean square misfit over a peak, 1 is what chance makes of it */
#define ADEQUATE 1.25     /* rms misfit of ln P, as a multiple of chance */
#define LEAST_SCORE 0.5  /* of a mode's price: modes that were worth it have been seen to promise more than twice this */
#define LINE_EXCESS 1.84 /* 8 dB, as ln P */

#define CLOSE 0.25          /* of ln f: modes that may have been taken for one another */
#define WORTH_A_CHANGE 0.01 /* of the misfit */

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

/* Is what the fit leaves no more than chance makes? */
static bool adequate(const quell_fit_problem *problem, const quell_fit *fit)
{
    double chance = sqrt(gsl_sf_psi_1(problem->model.spectrum->dof / 2)); /* of ln P, exactly */
    return !problem->swept && fit->rms <= ADEQUATE * chance;
}

/* Fits modes from starts, on the widest band if they explain it, else on one that is found on the way; it is left in *first
   and *last, and in *whole, whether it is the widest. */
static quell_fit fit_and_grow(quell_mode_search *search, const quell_mode_start *start, size_t modes,
                              const quell_fit *from, size_t *first, size_t *last, bool *whole)
{
    quell_fit_problem *problem = &search->problem;
    double lowest = (double)INFINITY, highest = 0, bin_hz = search->spectrum->bin_hz;
    for (size_t k = 0; k < modes; k++) {
        lowest = fmin(lowest, start[k].frequency_hz);
        highest = fmax(highest, start[k].frequency_hz);
    }
    *first = (size_t)fmax(FIT_LOW * lowest / bin_hz, (double)search->low);
    *last = (size_t)fmin(FIT_HIGH * highest / bin_hz, (double)search->high);
    size_t low = *first, high = *last;
    quell_model_set_band(&problem->model, *first, *last);
    quell_fit fit = {.misfit = (double)INFINITY};
    if (!problem->swept)
        fit = quell_fit_from_starts(problem, start, modes, from);
    *whole = isfinite(fit.misfit) && stayed(&fit, start) && adequate(problem, &fit);
    if (*whole) {
        quell_fit_improve(problem, &fit, ALL_STEPS, FIT_FULLY);
        return fit;
    }
    quell_band_near(problem, start, modes, low, high, first, last);
    quell_model_set_band(&problem->model, *first, *last);
    fit = quell_fit_from_starts(problem, start, modes, from);
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

/* Is the mode well within what is searched, or else there to see? Without a peak it may be no more than the flank of what lies
   outside. */
static bool within(const quell_mode_search *search, double f_hz, double width_hz)
{
    double bin_hz = search->spectrum->bin_hz, margin_hz = fmax(width_hz / 2, bin_hz);
    for (size_t i = 0; i < search->peaks; i++)
        if (fabs(search->peak[i].frequency_hz - f_hz) <= width_hz)
            margin_hz = 0;
    return f_hz - margin_hz >= (double)search->low * bin_hz && f_hz + margin_hz <= (double)search->high * bin_hz;
}

/* Do two modes next to each other only cancel? Between them they make any narrow shape, and mean none. */
static bool cancelling(const quell_fit *fit)
{
    for (size_t j = 0; j < fit->modes; j++)
        for (size_t k = 0; k < j; k++) {
            const double *a = fit->parameter + FIT_PER_MODE * j, *b = fit->parameter + FIT_PER_MODE * k;
            double zeta = exp(fmax(a[FIT_LN_ZETA], b[FIT_LN_ZETA]));
            bool close = fabs(a[FIT_LN_F] - b[FIT_LN_F]) < zeta;
            double smaller = fmin(fabs(a[FIT_C]), fabs(b[FIT_C]));
            if (close && a[FIT_C] * b[FIT_C] < 0 && fabs(a[FIT_C] + b[FIT_C]) < CANCELLED * smaller)
                return true;
        }
    return false;
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
        if (!within(search, f_hz, width_hz))
            return false;
        double response = fabs(mode[FIT_C]) / (2 * exp(mode[FIT_LN_ZETA]));
        bool driven = search->problem.model.form != MODEL_AMBIENT;
        if (driven && (fabs(mode[FIT_C]) < LEAST_PARTICIPATION || response < LEAST_RESPONSE))
            return false;
        if (width_hz < LEAST_WIDTH * search->spectrum->bin_hz)
            return false;
    }
    bool cancels = problem->model.form != MODEL_AMBIENT && cancelling(fit);
    return !cancels && stayed(fit, start) && quell_fit_plausible(problem, fit);
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
    bool whole;         /* it explains the widest band there is for these modes */
    double gain;        /* by which the criterion falls; not above 0: not worth it */
} trial;

/* Is every mode's participation known to be there? Two modes that only cancel each other are none. The model's band is the
   fit's. */
static bool significant(quell_mode_search *search, const quell_fit *fit)
{
    double variance[FIT_PARAMETERS_MAX];
    if (search->problem.model.form == MODEL_AMBIENT || search->problem.swept)
        return true;
    quell_fit_variances(&search->problem, fit, variance);
    for (size_t k = 0; k < fit->modes; k++) {
        size_t c = FIT_PER_MODE * k + FIT_C;
        if (!(fabs(fit->parameter[c]) > LEAST_SIGNIFICANCE * sqrt(variance[c])))
            return false;
    }
    return true;
}

/* Fits `modes` starts and compares with one mode less on the same band. */
static trial try_starts(quell_mode_search *search, const quell_mode_start *start, size_t modes)
{
    quell_fit_problem *problem = &search->problem;
    const quell_fit *best = search->best.modes > 0 ? &search->best : NULL;
    trial made = {.gain = -1};
    made.fit = fit_and_grow(search, start, modes, best, &made.first, &made.last, &made.whole);
    if (!isfinite(made.fit.misfit) || !worth_having(search, &made.fit, start))
        return made;
    quell_fit without = best != NULL ? *best : quell_fit_from_starts(problem, NULL, 0, NULL);
    quell_fit_improve(problem, &without, ALL_STEPS, FIT_NEARLY);
    made.gain = quell_fit_criterion(problem, &without) - quell_fit_criterion(problem, &made.fit);
    bool counts = !problem->swept || fmax(made.fit.rms, RMS_FLOOR) <= (1 - LEAST_CUT) * without.rms;
    if (made.gain > 0 && !(counts && significant(search, &made.fit)))
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

static quell_mode_start start_from_peak(const quell_mode_search *search, size_t peak)
{
    return (quell_mode_start){search->peak[peak].frequency_hz, search->peak[peak].half_power_damping_ratio};
}

/* Takes a fit from other starts on the same band if it is better and its modes are as good. */
static void take_if_better(quell_mode_search *search, const quell_mode_start *start)
{
    quell_fit_problem *problem = &search->problem;
    quell_fit other = quell_fit_from_starts(problem, start, search->best.modes, NULL);
    if (!(other.misfit < search->best.misfit - WORTH_A_CHANGE))
        return;
    quell_fit_improve(problem, &other, ALL_STEPS, FIT_FULLY);
    if (worth_having(search, &other, start) && significant(search, &other))
        search->best = other;
}

/* A mode more may show that those before were taken wrong: all are fitted again from their peaks, and close ones from either
   side of their middle. */
static void look_again(quell_mode_search *search)
{
    size_t modes = search->best.modes;
    quell_mode_start start[QUELL_MODES_MAX];
    if (search->problem.model.form == MODEL_AMBIENT || modes < 2)
        return;
    quell_model_set_band(&search->problem.model, search->first, search->last);
    start_from_best(search, start);
    take_if_better(search, start);
    for (size_t k = 0; k < modes; k++)
        if (search->from_peak[k] != NO_PEAK)
            start[k] = start_from_peak(search, search->from_peak[k]);
    take_if_better(search, start);
    for (size_t j = 0; j < modes; j++)
        for (size_t k = 0; k < j; k++) {
            start_from_best(search, start);
            double middle_hz = sqrt(start[j].frequency_hz * start[k].frequency_hz);
            size_t low = start[j].frequency_hz < start[k].frequency_hz ? j : k, high = low == j ? k : j;
            if (log(start[high].frequency_hz / start[low].frequency_hz) > CLOSE)
                continue;
            double zeta = fmin(start[low].damping_ratio, start[high].damping_ratio);
            start[low] = (quell_mode_start){middle_hz * (1 - CLOSE / 5), zeta};
            start[high] = (quell_mode_start){middle_hz * (1 + CLOSE / 5), zeta};
            take_if_better(search, start);
        }
}

static void settle(quell_mode_search *search, const trial *made)
{
    search->best = made->fit;
    search->first = made->first;
    search->last = made->last;
    look_again(search);
}

static void take(quell_mode_search *search, const trial *made, size_t peak)
{
    search->from_peak[search->best.modes] = peak;
    if (peak != NO_PEAK)
        search->used[peak] = true;
    settle(search, made);
}

/* Is the one better than the other? */
static bool better(const trial *one, const trial *other)
{
    if (!(one->gain > 0))
        return false;
    return one->whole != other->whole ? one->whole : one->gain > other->gain;
}

/* How far from one mode the two start that it may be. */
static const double splits[] = {0.03, 0.06};
enum { SPLITS = sizeof splits / sizeof splits[0] };

/* The best trial with start k split in two, one more than `modes`. */
static trial try_splits(quell_mode_search *search, const quell_mode_start *start, size_t k, size_t modes)
{
    trial best = {.gain = 0};
    for (size_t i = 0; i < SPLITS; i++) {
        quell_mode_start split[QUELL_MODES_MAX];
        memcpy(split, start, modes * sizeof *split);
        double zeta = fmin(start[k].damping_ratio, splits[i]);
        split[k] = (quell_mode_start){start[k].frequency_hz * (1 - splits[i]), zeta};
        split[modes] = (quell_mode_start){start[k].frequency_hz * (1 + splits[i]), zeta};
        trial made = try_starts(search, split, modes + 1);
        best = better(&made, &best) ? made : best;
    }
    return best;
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
        start[modes] = start_from_peak(search, i);
        trial made = try_starts(search, start, modes + 1);
        tries++;
        if (!(made.gain > 0))
            continue;
        take(search, &made, i);
        return true;
    }
    return false;
}

/* A beginning with two modes: two peaks by two modes, or one peak by two; `of` gets their peaks. */
static trial begin_with_two(quell_mode_search *search, size_t of[2])
{
    size_t tried[TRIES], count = 0;
    trial best = {.gain = 0};
    for (size_t i = 0; i < search->peaks && count < TRIES; i++)
        if (!search->used[i])
            tried[count++] = i;
    for (size_t i = 0; i < count; i++)
        for (size_t j = 0; j <= i; j++) {
            quell_mode_start start[QUELL_MODES_MAX] = {start_from_peak(search, tried[j]), start_from_peak(search, tried[i])};
            trial made = i == j ? try_splits(search, start, 0, 1) : try_starts(search, start, 2);
            if (!better(&made, &best))
                continue;
            best = made;
            of[0] = tried[j];
            of[1] = i == j ? NO_PEAK : tried[i];
        }
    return best;
}

/* The first mode, from the most prominent peak that one will do for; or the first two, where one does not explain all that
   it should and two do, or one does not do at all. */
static void begin(quell_mode_search *search)
{
    trial one = {.gain = 0};
    size_t of[2] = {NO_PEAK, NO_PEAK}, of_one = NO_PEAK;
    for (size_t i = 0, tries = 0; i < search->peaks && tries < TRIES && !(one.gain > 0); i++) {
        if (search->used[i])
            continue;
        quell_mode_start start = start_from_peak(search, i);
        one = try_starts(search, &start, 1);
        of_one = i;
        tries++;
    }
    if (one.gain > 0 && (one.whole || search->problem.swept)) {
        take(search, &one, of_one);
        return;
    }
    trial two = begin_with_two(search, of);
    if (one.gain > 0 && !(two.gain > 0 && two.whole)) {
        take(search, &one, of_one);
    } else if (two.gain > 0) {
        for (size_t i = 0; i < 2; i++) {
            search->from_peak[i] = of[i];
            if (of[i] != NO_PEAK)
                search->used[of[i]] = true;
        }
        settle(search, &two);
    }
}

/* Is it worth while to look for a mode more on the band of the best fit? Not where all that is left is too little to pay, as
   the score has it, by far. A band that had to stay narrow may widen with another mode. */
static bool may_pay(quell_mode_search *search)
{
    quell_fit_problem *problem = &search->problem;
    const quell_fit *best = &search->best;
    double lowest = (double)INFINITY, highest = 0, bin_hz = search->spectrum->bin_hz;
    for (size_t k = 0; k < best->modes; k++) {
        lowest = fmin(lowest, exp(best->parameter[FIT_PER_MODE * k + FIT_LN_F]));
        highest = fmax(highest, exp(best->parameter[FIT_PER_MODE * k + FIT_LN_F]));
    }
    bool from = (double)search->first <= fmax(FIT_LOW * (1 + STAYS_WITHIN) * lowest / bin_hz, (double)search->low);
    bool to = (double)search->last >= fmin(FIT_HIGH * (1 - STAYS_WITHIN) * highest / bin_hz, (double)search->high) - 1;
    if (!from || !to)
        return true;
    if (problem->swept && RMS_FLOOR > (1 - LEAST_CUT) * best->rms)
        return false;
    return quell_fit_score(problem, best) > LEAST_SCORE * quell_fit_price(problem, best);
}

/* One mode more where the fit falls short, or by splitting one, where it is or where its peak is: the best of all these. */
static bool add_from_residual(quell_mode_search *search)
{
    size_t modes = search->best.modes;
    quell_mode_start start[QUELL_MODES_MAX];
    quell_candidates candidates;
    trial best = {.gain = 0};
    quell_model_set_band(&search->problem.model, search->first, search->last);
    if (!may_pay(search))
        return false;
    quell_candidates_find(&search->problem, &search->best, &candidates);
    start_from_best(search, start);
    for (size_t i = 0; i < candidates.count; i++) {
        start[modes] = candidates.start[i];
        trial made = try_starts(search, start, modes + 1);
        best = made.gain > best.gain ? made : best;
    }
    for (size_t k = 0; k < modes; k++) {
        start_from_best(search, start);
        trial made = try_splits(search, start, k, modes);
        best = made.gain > best.gain ? made : best;
        if (search->from_peak[k] == NO_PEAK)
            continue;
        start[k].frequency_hz = search->peak[search->from_peak[k]].frequency_hz;
        if (fabs(log(start[k].frequency_hz / exp(search->best.parameter[FIT_PER_MODE * k + FIT_LN_F]))) < splits[0])
            continue;
        made = try_splits(search, start, k, modes);
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
    begin(search);
    if (search->best.modes == 0)
        return;
    while (search->best.modes < QUELL_MODES_MAX && add_from_peaks(search))
        ;
    mask_what_sticks_out(search);
    while (search->best.modes < QUELL_MODES_MAX && add_from_residual(search))
        mask_what_sticks_out(search);
    quell_model_set_band(&search->problem.model, search->first, search->last);
}
