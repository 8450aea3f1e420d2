/* Which shaper explains the ratio: all families, lists and none, each at its best, by BIC. */
#include "compare/identify_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FAMILIES_MOST = 64, LIST_MOST = 5, ROUNDS = 3, TOLERANCE_STEPS = 9 };

#define SCAN_SCATTER 0.2    /* of ln ratio: steps of the scan are coarse */
#define FIRST_SCATTER 0.05
#define SCAN_WITHIN 250.0   /* of the best deviance in the scan; the others are out */
#define REFINE_WITHIN 400.0 /* once they are refined */
#define PROFILE_WITHIN 40.0 /* of the best BIC */
#define FLAT_DB 1.0         /* a shaper that changes less than this over the whole band is not seen */
#define POOR_SCATTER 0.35   /* of ln ratio: what repeated motion never shows */

static const double usual_tolerances[] = {0.05, 0.02, 0.1};

/* A family with a V, and its fit. */
typedef struct trial {
    fit_family family;
    const char *id, *title;
    size_t parameters; /* 2, or 3 where V was fitted, too */
    bool dropped;      /* far behind in the scan: not followed */
    fit_point point;
} trial;

typedef struct identify_state {
    fit_work work;
    const quell_identify_options *options;
    quell_arena *arena;
    size_t trials;
    trial trial[FAMILIES_MOST];
    size_t lists;
    quell_shaper list[LIST_MOST + 1];
    double list_deviance[LIST_MOST + 1], list_gain_ln[LIST_MOST + 1];
    double none_deviance, none_gain_ln;
} identify_state;

/* ---------------------------------------------------------------- what is tried */

static void add_trial(identify_state *state, const quell_family *built_in, const quell_own_family *own, double tolerance)
{
    if (state->trials == FAMILIES_MOST)
        return;
    trial *to = &state->trial[state->trials++];
    *to = (trial){.family = {built_in, own, tolerance, built_in != NULL && (built_in->flags & QUELL_FAMILY_SMOOTH) != 0},
                  .id = own != NULL ? own->id : built_in->id,
                  .title = own != NULL ? own->id : built_in->title,
                  .parameters = 2};
}

static void add_with_tolerances(identify_state *state, const quell_family *family)
{
    const quell_identify_options *options = state->options;
    double stated = options->machine != NULL ? options->machine->controller.tolerance : (double)NAN;
    bool entered = options->expected != NULL && strcmp(options->expected->family_id, family->id) == 0;
    if ((family->flags & QUELL_FAMILY_TOLERANCE) == 0 || !isnan(stated)) {
        add_trial(state, family, NULL, isnan(stated) ? QUELL_TOLERANCE_DEFAULT : stated);
        return;
    }
    for (size_t i = 0; i < sizeof usual_tolerances / sizeof usual_tolerances[0]; i++) {
        add_trial(state, family, NULL, usual_tolerances[i]);
        entered = entered && options->expected->shaper.at.tolerance != usual_tolerances[i];
    }
    if (entered)
        add_trial(state, family, NULL, options->expected->shaper.at.tolerance);
}

static void list_trials(identify_state *state)
{
    size_t count;
    const quell_family *table = quell_families(&count);
    const quell_machine *machine = state->options->machine;
    for (size_t i = 0; machine != NULL && i < machine->own_count; i++)
        add_trial(state, NULL, &machine->own[i], QUELL_TOLERANCE_DEFAULT);
    for (size_t i = 0; i < count; i++)
        add_with_tolerances(state, &table[i]);
}

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
        const trial *of = &state->trial[i];
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
        trial *of = &state->trial[i];
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
    quell_shaper seed[FAMILIES_MOST];
    size_t seeds = 0;
    double least = HUGE_VAL;
    for (size_t i = 0; i < state->trials; i++)
        least = fmin(least, state->trial[i].point.found ? state->trial[i].point.deviance : HUGE_VAL);
    for (size_t i = 0; i < state->trials; i++) {
        const trial *of = &state->trial[i];
        if (of->point.found && !of->family.smooth && of->point.deviance < least + REFINE_WITHIN &&
            fit_design(&of->family, of->point.hz, of->point.zeta, &seed[seeds]))
            seeds++;
    }
    quell_shaper smaller;
    quell_shaper_identity(&smaller);
    for (size_t n = 2; n <= LIST_MOST; n++) {
        state->list[n] = smaller;
        state->list_deviance[n] = fit_list_best(&state->work, n, seed, seeds, &smaller, &state->list[n], &state->list_gain_ln[n]);
        if (!isfinite(state->list_deviance[n]))
            break;
        state->lists = n;
        smaller = state->list[n];
        progress(state, 0.6 + 0.1 * (double)(n - 1));
    }
    prune_lists(state);
}

/* The best family, if it has a V of its own and a list of as many impulses does better: its V fitted, too. */
static void free_tolerance(identify_state *state)
{
    const trial *best = NULL;
    for (size_t i = 0; i < state->trials; i++)
        if (state->trial[i].point.found && !state->trial[i].dropped &&
            (best == NULL || state->trial[i].point.deviance < best->point.deviance))
            best = &state->trial[i];
    const quell_machine *machine = state->options->machine;
    if (best == NULL || best->family.own != NULL || (best->family.built_in->flags & QUELL_FAMILY_TOLERANCE) == 0 ||
        (machine != NULL && !isnan(machine->controller.tolerance)) || state->trials == FAMILIES_MOST)
        return;
    double list = HUGE_VAL;
    for (size_t n = 3; n <= state->lists; n++)
        list = fmin(list, state->list_deviance[n]);
    if (list > best->point.deviance - QUELL_BIC_TELLS)
        return;
    trial with = *best;
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
    if (with.point.deviance < best->point.deviance - QUELL_BIC_TELLS)
        state->trial[state->trials++] = with;
}

/* The deviances anew, at the scatter found. */
static void fit_again(identify_state *state)
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

static void search(identify_state *state)
{
    fit_set_scatter(&state->work, SCAN_SCATTER * SCAN_SCATTER);
    for (size_t i = 0; i < state->trials; i++) {
        state->trial[i].point = fit_family_scan(&state->work, &state->trial[i].family);
        progress(state, 0.4 * (double)(i + 1) / (double)state->trials);
    }
    drop_hopeless(state);
    fit_set_scatter(&state->work, FIRST_SCATTER * FIRST_SCATTER);
    fit_none(state);
    refine_families(state, 0.4, 0.6);
    find_scatter(state);
    fit_again(state);
    fit_lists(state);
    free_tolerance(state);
    for (int round = 0; round < ROUNDS; round++) {
        double before = state->work.scatter2;
        find_scatter(state);
        if (fabs(log(state->work.scatter2 / before)) < 0.02)
            break;
        fit_again(state);
    }
}

/* ---------------------------------------------------------------- candidates */

static void fill_common(identify_state *state, quell_identified *to, double deviance, double gain_ln)
{
    double gain = gain_ln, sum = 0;
    size_t counted = 0;
    fit_deviance(&state->work, &to->shaper, &gain);
    for (size_t i = 0; i < state->work.ratio->bins; i++) {
        double variance, residual = fit_residual(&state->work, i, exp(gain), &variance);
        if (state->work.signal[i] < 10 * QUELL_RATIO_FLOOR)
            continue;
        sum += residual * residual;
        counted++;
    }
    to->misfit_db = 10 / log(10) * sqrt(sum / (double)(counted > 0 ? counted : 1));
    to->gain = exp(gain);
    to->bic = deviance + (double)to->parameters * log(fit_count(&state->work));
}

static void add_none(identify_state *state, quell_identification *out)
{
    quell_identified *to = &out->candidate[out->count++];
    *to = (quell_identified){.family_id = "none", .title = "no shaper"};
    quell_shaper_identity(&to->shaper);
    fill_common(state, to, state->none_deviance, state->none_gain_ln);
}

static void add_lists(identify_state *state, quell_identification *out)
{
    static const char *const titles[] = {"", "", "2 impulses", "3 impulses", "4 impulses", "5 impulses"};
    for (size_t n = 2; n <= state->lists; n++) {
        quell_identified *to = &out->candidate[out->count++];
        *to = (quell_identified){
            .shaper = state->list[n], .family_id = "impulses", .title = titles[n], .parameters = 2 * (n - 1)};
        fill_common(state, to, state->list_deviance[n], state->list_gain_ln[n]);
    }
}

/* The best V of each family. */
static void add_families(identify_state *state, quell_identification *out)
{
    for (size_t i = 0; i < state->trials; i++) {
        const trial *of = &state->trial[i];
        bool best = of->point.found;
        for (size_t k = 0; k < state->trials && best; k++)
            if (k != i && strcmp(state->trial[k].id, of->id) == 0 && state->trial[k].point.found)
                best = of->point.deviance < state->trial[k].point.deviance ||
                       (of->point.deviance == state->trial[k].point.deviance && i < k);
        if (!best || out->count == QUELL_IDENTIFIED_MAX)
            continue;
        quell_identified *to = &out->candidate[out->count];
        *to = (quell_identified){.title = of->title, .parameters = of->parameters};
        if (!fit_design(&of->family, of->point.hz, of->point.zeta, &to->shaper))
            continue;
        memcpy(to->family_id, of->id, strlen(of->id) + 1);
        fill_common(state, to, of->point.deviance, of->point.gain_ln);
        out->count++;
    }
}

/* Families before lists where they come to the same: two impulses are a ZV. */
static int by_bic(const void *a, const void *b)
{
    const quell_identified *first = a, *second = b;
    return (first->bic > second->bic) - (first->bic < second->bic);
}

static void prefer_families(quell_identification *out)
{
    for (size_t i = 0; i < out->count; i++)
        if (strcmp(out->candidate[i].family_id, "impulses") == 0)
            out->candidate[i].bic += 0.5; /* more than rounding, less than tells */
    qsort(out->candidate, out->count, sizeof out->candidate[0], by_bic);
}

static void add_intervals(identify_state *state, quell_identification *out)
{
    const quell_ratio *ratio = state->work.ratio;
    for (size_t i = 0; i < out->count && out->candidate[i].bic < out->candidate[0].bic + PROFILE_WITHIN; i++) {
        quell_identified *to = &out->candidate[i];
        const trial *of = NULL;
        for (size_t k = 0; k < state->trials && of == NULL; k++)
            if (strcmp(state->trial[k].id, to->family_id) == 0 && to->shaper.at.tolerance == state->trial[k].family.tolerance)
                of = &state->trial[k];
        if (of == NULL)
            continue;
        fit_profile profile;
        double curvature;
        fit_point best = fit_family_at(&state->work, &of->family, of->point.zeta, of->point.hz, &curvature);
        fit_family_profile(&state->work, &of->family, best, &profile);
        fit_intervals(&profile, best, curvature, to->frequency_ci95_hz, to->damped_ci95_hz, to->damping_ratio_ci95);
        double wider = identify_frequency_error(ratio, state->options->machine, &to->shaper);
        for (int side = 0; side < 2; side++) {
            double factor = side == 0 ? 1 - wider : 1 + wider;
            to->frequency_ci95_hz[side] *= factor;
            to->damped_ci95_hz[side] *= factor;
        }
        to->has_point = true;
    }
}

static void count_alike(quell_identification *out)
{
    out->alike = 1;
    while (out->alike < out->count && out->candidate[out->alike].bic < out->candidate[0].bic + QUELL_BIC_TELLS)
        out->alike++;
}

/* ---------------------------------------------------------------- is it in effect? */

/* How much a shaper changes over the band, largest to smallest, dB. */
static double span_db(identify_state *state, const quell_shaper *shaper)
{
    double low = HUGE_VAL, high = 0;
    ratio_power(state->work.ratio, shaper, state->work.power);
    ratio_smear(state->work.ratio, state->work.power, state->work.signal);
    for (size_t i = 0; i < state->work.ratio->bins; i++) {
        low = fmin(low, state->work.signal[i]);
        high = fmax(high, state->work.signal[i]);
    }
    return 10 * log10(high / fmax(low, 1e-12));
}

static quell_tells in_effect(identify_state *state, const quell_identification *of)
{
    const quell_ratio *ratio = state->work.ratio;
    double chance2 = 2 / ratio->dof_on + 2 / ratio->dof_off;
    if (strcmp(of->candidate[0].family_id, "none") == 0 || span_db(state, &of->candidate[0].shaper) < FLAT_DB)
        return state->work.scatter2 < fmax(POOR_SCATTER * POOR_SCATTER, 3 * chance2) ? QUELL_TELLS_NO : QUELL_TELLS_NOT;
    if (state->work.scatter2 > fmax(POOR_SCATTER * POOR_SCATTER, 3 * chance2))
        return QUELL_TELLS_NOT;
    for (size_t i = 1; i < of->alike; i++)
        if (strcmp(of->candidate[i].family_id, "none") == 0)
            return QUELL_TELLS_NOT;
    return QUELL_TELLS_YES;
}

/* V that are not told from the best one's. */
static quell_status note_tolerances(const identify_state *state, quell_identification *out, quell_error *err)
{
    const quell_identified *best = &out->candidate[0];
    char text[96] = "";
    size_t used = 0;
    for (size_t i = 0; i < state->trials; i++) {
        const trial *of = &state->trial[i];
        double bic = of->point.deviance + (double)of->parameters * log(fit_count(&state->work));
        if (strcmp(of->id, best->family_id) == 0 && of->point.found && of->family.tolerance != best->shaper.at.tolerance &&
            bic < best->bic + QUELL_BIC_TELLS && used + 16 < sizeof text)
            used += (size_t)snprintf(text + used, sizeof text - used, "%s%s", used > 0 ? " or " : "",
                                     quell_number_short(of->family.tolerance, 3).text);
    }
    if (used == 0)
        return QUELL_OK;
    const char *phrase = quell_arena_print(state->arena, "V: it may as well be %s", text);
    if (phrase == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for words");
    out->cannot_tell[out->cannot_tell_count++] = phrase;
    return QUELL_OK;
}

/* The family entered, at the V that fits best. */
static const fit_family *family_entered(const identify_state *state, const quell_identification *of)
{
    for (size_t c = 0; c < of->alike; c++)
        for (size_t i = 0; i < state->trials; i++)
            if (strcmp(of->candidate[c].family_id, state->options->expected->family_id) == 0 &&
                strcmp(state->trial[i].id, of->candidate[c].family_id) == 0 &&
                state->trial[i].family.tolerance == of->candidate[c].shaper.at.tolerance)
                return &state->trial[i].family;
    return NULL;
}

static quell_status gather(identify_state *state, quell_identification *out, quell_error *err)
{
    *out = (quell_identification){.axis = state->work.ratio->axis,
                                  .reading = QUELL_READING_UNKNOWN,
                                  .agrees = QUELL_TELLS_NOT,
                                  .uses_damping = QUELL_TELLS_NOT};
    add_none(state, out);
    add_families(state, out);
    add_lists(state, out);
    prefer_families(out);
    count_alike(out);
    add_intervals(state, out);
    out->scatter_db = 10 / log(10) * sqrt(state->work.scatter2);
    out->motion_db = 10 * log10(out->candidate[0].gain / state->work.ratio->motion);
    out->in_effect = in_effect(state, out);
    if (state->options->expected != NULL)
        identify_judge_expected(&state->work, family_entered(state, out), state->options->machine, state->options->expected, out);
    return out->in_effect == QUELL_TELLS_YES ? note_tolerances(state, out, err) : QUELL_OK;
}

static quell_status identify_axis(const quell_ratio *ratio, const quell_identify_options *options, quell_arena *arena,
                                  quell_identification *out, quell_error *err)
{
    identify_state *state = QUELL_NEW(arena, identify_state, 1);
    if (state == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the candidates");
    state->options = options;
    state->arena = arena;
    quell_status status = fit_work_make(&state->work, ratio, arena, err);
    if (status != QUELL_OK)
        return status;
    list_trials(state);
    search(state);
    return gather(state, out, err);
}

quell_status quell_identify(const quell_ratio *driven, const quell_ratio *other, const quell_identify_options *options,
                            quell_arena *arena, quell_identification *out, quell_error *err)
{
    static const quell_identify_options nothing = {0};
    options = options != NULL ? options : &nothing;
    quell_identification *made = QUELL_NEW(arena, quell_identification, 2);
    if (made == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the candidates");
    const quell_identification *found = &made[0];
    quell_status status = identify_axis(driven, options, arena, &made[0], err);
    if (status == QUELL_OK && made[0].in_effect == QUELL_TELLS_NO && other != NULL) {
        status = identify_axis(other, options, arena, &made[1], err);
        if (status == QUELL_OK && made[1].in_effect == QUELL_TELLS_YES)
            found = &made[1];
    }
    if (status == QUELL_OK)
        status = identify_words(driven, other, options, arena, &made[found == &made[1]], err);
    if (status == QUELL_OK)
        *out = *found;
    return status;
}
