/* How many modes: forward selection, first from the peaks, then from what the fit leaves and from modes that may be two. A mode
   more is taken in only if it stays where it started, is wider than a line, and the criterion wants it. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define EXPLAINED 1.5       /* mean square misfit over a peak, 1 is what chance makes of it */
#define LINE_EXCESS 1.84    /* 8 dB, as ln P */
#define CLOSE 0.25          /* of ln f: modes that may have been taken for one another */
#define WORTH_A_CHANGE 0.01 /* of the misfit */

enum { TRIES = 4 };

static void mask_line(quell_mode_search *search, size_t bin)
{
    const quell_spectrum *spectrum = search->spectrum;
    size_t first, last;
    quell_line_extent(spectrum, spectrum->asd_m2ps3[search->axis], bin, &first, &last);
    for (size_t k = first; k <= last; k++)
        search->problem.masked[k] = true;
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
    quell_fit_improve(problem, &other, FIT_ALL_STEPS, FIT_FULLY);
    if (quell_fit_worth_having(search, &other, start) && quell_fit_significant(search, &other))
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

static void settle(quell_mode_search *search, const quell_trial *made)
{
    search->best = made->fit;
    search->first = made->first;
    search->last = made->last;
    look_again(search);
}

static void take(quell_mode_search *search, const quell_trial *made, size_t peak)
{
    search->from_peak[search->best.modes] = peak;
    if (peak != NO_PEAK)
        search->used[peak] = true;
    settle(search, made);
}

/* Is the one better than the other? */
static bool better(const quell_trial *one, const quell_trial *other)
{
    if (!(one->gain > 0))
        return false;
    return one->whole != other->whole ? one->whole : one->gain > other->gain;
}

/* How far from one mode the two start that it may be. */
static const double splits[] = {0.03, 0.06};
enum { SPLITS = sizeof splits / sizeof splits[0] };

/* The best trial with start k split in two, one more than `modes`. */
static quell_trial try_splits(quell_mode_search *search, const quell_mode_start *start, size_t k, size_t modes)
{
    quell_trial best = {.gain = 0};
    for (size_t i = 0; i < SPLITS; i++) {
        quell_mode_start split[QUELL_MODES_MAX];
        memcpy(split, start, modes * sizeof *split);
        double zeta = fmin(start[k].damping_ratio, splits[i]);
        split[k] = (quell_mode_start){start[k].frequency_hz * (1 - splits[i]), zeta};
        split[modes] = (quell_mode_start){start[k].frequency_hz * (1 + splits[i]), zeta};
        quell_trial made = quell_try_starts(search, split, modes + 1);
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
        quell_trial made = quell_try_starts(search, start, modes + 1);
        tries++;
        if (!(made.gain > 0))
            continue;
        take(search, &made, i);
        return true;
    }
    return false;
}

/* A beginning with two modes: two peaks by two modes, or one peak by two; `of` gets their peaks. */
static quell_trial begin_with_two(quell_mode_search *search, size_t of[2])
{
    size_t tried[TRIES], count = 0;
    quell_trial best = {.gain = 0};
    for (size_t i = 0; i < search->peaks && count < TRIES; i++)
        if (!search->used[i])
            tried[count++] = i;
    for (size_t i = 0; i < count; i++)
        for (size_t j = 0; j <= i; j++) {
            quell_mode_start start[QUELL_MODES_MAX] = {start_from_peak(search, tried[j]), start_from_peak(search, tried[i])};
            quell_trial made = i == j ? try_splits(search, start, 0, 1) : quell_try_starts(search, start, 2);
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
    quell_trial one = {.gain = 0};
    size_t of[2] = {NO_PEAK, NO_PEAK}, of_one = NO_PEAK;
    for (size_t i = 0, tries = 0; i < search->peaks && tries < TRIES && !(one.gain > 0); i++) {
        if (search->used[i])
            continue;
        quell_mode_start start = start_from_peak(search, i);
        one = quell_try_starts(search, &start, 1);
        of_one = i;
        tries++;
    }
    if (one.gain > 0 && (one.whole || search->problem.swept)) {
        take(search, &one, of_one);
        return;
    }
    quell_trial two = begin_with_two(search, of);
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

/* Keeps the better of two, and what it says of modes that may be two. */
static void take_note(quell_mode_search *search, const quell_trial *made, quell_trial *best)
{
    quell_note_split(search, made);
    *best = made->gain > best->gain ? *made : *best;
}

/* One mode more where the fit falls short, or by splitting one, where it is or where its peak is: the best of all these. */
static bool add_from_residual(quell_mode_search *search)
{
    size_t modes = search->best.modes;
    quell_mode_start start[QUELL_MODES_MAX];
    quell_candidates candidates;
    quell_trial best = {.gain = 0};
    search->split_ratio = search->split_hz = 0;
    quell_model_set_band(&search->problem.model, search->first, search->last);
    if (!quell_mode_may_pay(search))
        return false;
    quell_candidates_find(&search->problem, &search->best, &candidates);
    start_from_best(search, start);
    for (size_t i = 0; i < candidates.count; i++) {
        start[modes] = candidates.start[i];
        quell_trial made = quell_try_starts(search, start, modes + 1);
        take_note(search, &made, &best);
    }
    for (size_t k = 0; k < modes; k++) {
        start_from_best(search, start);
        quell_trial made = try_splits(search, start, k, modes);
        take_note(search, &made, &best);
        if (search->from_peak[k] == NO_PEAK)
            continue;
        start[k].frequency_hz = search->peak[search->from_peak[k]].frequency_hz;
        if (fabs(log(start[k].frequency_hz / exp(search->best.parameter[FIT_PER_MODE * k + FIT_LN_F]))) < splits[0])
            continue;
        made = try_splits(search, start, k, modes);
        take_note(search, &made, &best);
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
        quell_fit_improve(problem, &search->best, FIT_ALL_STEPS, FIT_FULLY);
}

/* From the peaks or what is left of them, and then from what the fit leaves, until nothing pays. */
static void add_all(quell_mode_search *search)
{
    while (search->best.modes < search->modes_most && add_from_peaks(search))
        ;
    mask_what_sticks_out(search);
    while (search->best.modes < search->modes_most && add_from_residual(search))
        mask_what_sticks_out(search);
}

void quell_modes_select(quell_mode_search *search)
{
    for (size_t i = 0; i < search->peaks; i++)
        if (search->peak[i].line) {
            mask_line(search, search->peak[i].bin);
            search->used[i] = true;
        }
    if (search->problem.swept)
        quell_search_keep_within_excitation(search);
    quell_mode_search *whole = quell_whole_begin(search);
    if (whole != NULL) {
        quell_whole_turn_signs(whole);
        add_all(whole);
        quell_whole_turn_signs(whole);
        quell_whole_drop_idle(whole);
    }
    if (whole == NULL || !quell_whole_is_explained(whole))
        begin(search);
    if (search->best.modes > 0)
        add_all(search);
    if (whole != NULL)
        quell_whole_take_if_better(search, whole);
    quell_memory_free(whole);
    if (search->best.modes > 0)
        quell_model_set_band(&search->problem.model, search->first, search->last);
}
