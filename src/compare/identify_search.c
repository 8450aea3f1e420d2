/* The search for the shaper: a scan of every family, its refinement, lists of impulses, and the scatter that is left. */
#include "compare/identify_private.h"

#include <math.h>
#include <string.h>

enum {
    IN_VAIN_MOST = 2, /* sizes of lists in a row that explain no more */
    ROUNDS = 3,
    TOLERANCE_STEPS = 9
};

#define TOLERANCE_MATTERS FIT_95 /* a V out of the usual ones must explain that much more */
#define SCAN_BELOW 0.5           /* of the lowest frequency with signal */
#define SCAN_ABOVE 3.0           /* of the highest */
#define SCAN_NEAR 0.1
#define SCAN_SCATTER 0.2 /* of ln ratio: steps of the scan are coarse */
#define FIRST_SCATTER 0.05
#define SCAN_WITHIN 150.0   /* of the best deviance in the scan; the others are out */
#define REFINE_WITHIN 400.0 /* once they are refined */

/* ---------------------------------------------------------------- the search */

static void progress(const identify_state *state, double share)
{
    if (state->options->progress != NULL)
        state->options->progress(state->options->context, share);
}

static void fit_none(identify_state *state)
{
    quell_shaper none;
    quell_shaper_identity(&none);
    state->none_deviance = fit_deviance(&state->work, &none, &state->none_gain_ln);
}

/* The least deviance of all that was tried; its parameters. */
static double best_so_far(const identify_state *state, quell_shaper *shaper, double *gain_ln, size_t *parameters)
{
    double least = state->none_deviance, count = log(fit_count(&state->work)), score = least;
    quell_shaper_identity(shaper);
    *gain_ln = state->none_gain_ln;
    *parameters = 1;
    for (size_t i = 0; i < state->trials; i++) {
        const identify_trial *of = &state->trial[i];
        double with = of->point.deviance + (double)of->parameters * count;
        if (of->point.found && with < score && fit_design(&of->family, of->point.hz, of->point.zeta, shaper)) {
            least = of->point.deviance;
            score = with;
            *gain_ln = of->point.gain_ln;
            *parameters = of->parameters + 1;
        }
    }
    for (size_t n = 2; n <= state->lists; n++)
        if (state->list_deviance[n] + (double)(2 * (n - 1)) * count < score) {
            least = state->list_deviance[n];
            score = least + (double)(2 * (n - 1)) * count;
            *shaper = state->list[n];
            *gain_ln = state->list_gain_ln[n];
            *parameters = 2 * n - 1;
        }
    return least;
}

static void find_scatter(identify_state *state)
{
    quell_shaper best;
    double gain_ln;
    size_t parameters;
    best_so_far(state, &best, &gain_ln, &parameters);
    fit_deviance(&state->work, &best, &gain_ln);
    fit_set_scatter(&state->work, fit_scatter2(&state->work, gain_ln, parameters));
}

static void refine_families(identify_state *state, double share_from, double share_to)
{
    double least = HUGE_VAL;
    for (size_t i = 0; i < state->trials; i++)
        if (state->trial[i].point.found && !state->trial[i].dropped)
            least = fmin(least, state->trial[i].point.deviance);
    for (size_t i = 0; i < state->trials; i++) {
        identify_trial *of = &state->trial[i];
        quell_shaper shaper;
        if (of->point.found && !of->dropped && of->point.deviance < least + REFINE_WITHIN)
            of->point = fit_family_refine(&state->work, &of->family, of->point);
        else if (of->point.found && fit_design(&of->family, of->point.hz, of->point.zeta, &shaper))
            of->point.deviance = fit_deviance(&state->work, &shaper, &of->point.gain_ln);
        progress(state, share_from + (share_to - share_from) * (double)(i + 1) / (double)state->trials);
    }
}

/* What the best list of n impulses is without one of them is a start for n - 1. */
static void prune_lists(identify_state *state)
{
    for (size_t n = state->lists; n > 2; n--)
        for (size_t without = 0; without < n; without++) {
            quell_shaper fewer;
            double gain_ln = state->list_gain_ln[n];
            if (!fit_list_without(&state->list[n], without, &fewer))
                continue;
            double deviance = fit_list_improve(&state->work, &fewer, &gain_ln);
            if (deviance < state->list_deviance[n - 1]) {
                state->list_deviance[n - 1] = deviance;
                state->list_gain_ln[n - 1] = gain_ln;
                state->list[n - 1] = fewer;
            }
        }
}

static void fit_lists(identify_state *state)
{
    quell_shaper seed[IDENTIFY_FAMILIES_MOST];
    size_t seeds = 0;
    double least = HUGE_VAL;
    for (size_t i = 0; i < state->trials; i++)
        least = fmin(least, state->trial[i].point.found ? state->trial[i].point.deviance : HUGE_VAL);
    for (size_t i = 0; i < state->trials; i++) {
        const identify_trial *of = &state->trial[i];
        if (of->point.found && !of->family.smooth && of->point.deviance < least + REFINE_WITHIN &&
            fit_design(&of->family, of->point.hz, of->point.zeta, &seed[seeds]))
            seeds++;
    }
    quell_shaper smaller, best;
    double gain_ln, each = log(fit_count(&state->work));
    size_t parameters, in_vain = 0;
    double bic = best_so_far(state, &best, &gain_ln, &parameters) + (double)(parameters - 1) * each;
    quell_shaper_identity(&smaller);
    for (size_t n = 2; n <= FIT_LIST_MOST && in_vain < IN_VAIN_MOST; n++) {
        state->list[n] = smaller;
        state->list_deviance[n] = fit_list_best(&state->work, n, seed, seeds, &smaller, &state->list[n], &state->list_gain_ln[n]);
        if (!isfinite(state->list_deviance[n]))
            break;
        state->lists = n;
        smaller = state->list[n];
        double with = state->list_deviance[n] + (double)(2 * (n - 1)) * each;
        in_vain = with < bic - QUELL_BIC_TELLS ? 0 : in_vain + 1;
        bic = fmin(bic, with);
        progress(state, 0.6 + 0.1 * (double)(n - 1));
    }
    prune_lists(state);
}

/* The best family, if it has a V that nobody states: its V fitted, too. */
static void free_tolerance(identify_state *state)
{
    const identify_trial *best = NULL;
    for (size_t i = 0; i < state->trials; i++)
        if (state->trial[i].point.found && !state->trial[i].dropped &&
            (best == NULL || state->trial[i].point.deviance < best->point.deviance))
            best = &state->trial[i];
    const quell_machine *machine = state->options->machine;
    if (best == NULL || best->family.own != NULL || (best->family.built_in->flags & QUELL_FAMILY_TOLERANCE) == 0 ||
        (machine != NULL && !isnan(machine->controller.tolerance)) || state->trials == IDENTIFY_FAMILIES_MOST)
        return;
    identify_trial with = *best;
    with.parameters = 3;
    double low = log(fmax(best->family.tolerance / 3, 0.004)), high = log(fmin(best->family.tolerance * 3, QUELL_TOLERANCE_MAX));
    for (int step = 0; step < TOLERANCE_STEPS; step++) {
        fit_point at[2];
        const double x[2] = {low + 0.382 * (high - low), high - 0.382 * (high - low)};
        for (int i = 0; i < 2; i++) {
            fit_family tried = best->family;
            tried.tolerance = exp(x[i]);
            at[i] = fit_family_refine(&state->work, &tried, with.point);
            if (at[i].found && at[i].deviance < with.point.deviance) {
                with.point = at[i];
                with.family = tried;
            }
        }
        if (at[0].deviance < at[1].deviance)
            high = x[1];
        else
            low = x[0];
    }
    if (with.point.deviance < best->point.deviance - TOLERANCE_MATTERS)
        state->trial[state->trials++] = with;
}

/* The deviances anew, at the scatter found. */
void identify_search_again(identify_state *state)
{
    fit_none(state);
    refine_families(state, 1, 1);
    for (size_t n = 2; n <= state->lists; n++)
        state->list_deviance[n] = fit_list_improve(&state->work, &state->list[n], &state->list_gain_ln[n]);
}

/* Families that the scan puts far behind are not followed. */
static void drop_hopeless(identify_state *state)
{
    double least = HUGE_VAL;
    for (size_t i = 0; i < state->trials; i++)
        least = fmin(least, state->trial[i].point.found ? state->trial[i].point.deviance : HUGE_VAL);
    for (size_t i = 0; i < state->trials; i++) {
        state->trial[i].dropped = !(state->trial[i].point.deviance < least + SCAN_WITHIN);
        state->trial[i].point.deviance = 0; /* at another scatter it means nothing */
    }
}

/* All frequencies for the first V of a family; for its others those near what that has found. */
static void scan_families(identify_state *state)
{
    const quell_ratio *ratio = state->work.ratio;
    for (size_t i = 0; i < state->trials; i++) {
        identify_trial *of = &state->trial[i];
        const identify_trial *before = i > 0 && strcmp(of->id, state->trial[i - 1].id) == 0 ? &state->trial[i - 1] : NULL;
        double low_hz = SCAN_BELOW * ratio->frequency_hz[0], high_hz = SCAN_ABOVE * ratio->frequency_hz[ratio->bins - 1];
        if (before != NULL && before->point.found) {
            low_hz = before->point.hz * (1 - SCAN_NEAR);
            high_hz = before->point.hz * (1 + SCAN_NEAR);
        }
        of->point = fit_family_scan(&state->work, &of->family, low_hz, high_hz);
        progress(state, 0.4 * (double)(i + 1) / (double)state->trials);
    }
}

void identify_search(identify_state *state)
{
    fit_set_scatter(&state->work, SCAN_SCATTER * SCAN_SCATTER);
    scan_families(state);
    drop_hopeless(state);
    fit_set_scatter(&state->work, FIRST_SCATTER * FIRST_SCATTER);
    fit_none(state);
    refine_families(state, 0.4, 0.6);
    find_scatter(state);
    identify_search_again(state);
    fit_lists(state);
    free_tolerance(state);
    for (int round = 0; round < ROUNDS; round++) {
        double before = state->work.scatter2;
        find_scatter(state);
        if (fabs(log(state->work.scatter2 / before)) < 0.02)
            break;
        identify_search_again(state);
    }
}
