/* Candidates by BIC, the plain before the involved, with their intervals. */
#include "compare/identify_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PROFILE_WITHIN 40.0 /* of the best BIC */
#define BELIEVED 0.7        /* of the misfit of a plainer explanation: our own judgement */
#define PLAINER 0.5         /* of BIC: more than rounding, less than tells */

static void fill_common(identify_state *state, quell_identified *to, double deviance, double gain_ln)
{
    double gain = gain_ln;
    fit_deviance(&state->work, &to->shaper, &gain);
    to->misfit_db = fit_misfit_db(&state->work, gain);
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

/* Either way round explains as much; shapers for damped modes begin with the larger one. */
static void turn_larger_first(quell_shaper *list)
{
    size_t last = list->count - 1;
    const quell_shaper was = *list;
    if (fabs(was.amplitude[0]) >= fabs(was.amplitude[last]))
        return;
    for (size_t i = 0; i <= last; i++) {
        list->amplitude[i] = was.amplitude[last - i];
        list->time_s[i] = was.time_s[last] - was.time_s[last - i];
    }
}

static void add_lists(identify_state *state, quell_identification *out)
{
    static const char *const titles[] = {"", "", "2 impulses", "3 impulses", "4 impulses", "5 impulses"};
    for (size_t n = 2; n <= state->lists; n++) {
        quell_identified *to = &out->candidate[out->count++];
        *to =
            (quell_identified){.shaper = state->list[n], .family_id = "impulses", .title = titles[n], .parameters = 2 * (n - 1)};
        turn_larger_first(&to->shaper);
        fill_common(state, to, state->list_deviance[n], state->list_gain_ln[n]);
    }
}

/* The best V of each family. */
static void add_families(identify_state *state, quell_identification *out)
{
    for (size_t i = 0; i < state->trials; i++) {
        const identify_trial *of = &state->trial[i];
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

static int by_bic(const void *a, const void *b)
{
    const quell_identified *first = a, *second = b;
    return (first->bic > second->bic) - (first->bic < second->bic);
}

/* Impulses explain a little of anything, such as a mode that has moved: more of them are believed only where they explain much that
   less cannot. Two impulses are a ZV, and called so. */
static void prefer_plain(quell_identification *out)
{
    for (size_t i = 0; i < out->count; i++) {
        quell_identified *list = &out->candidate[i];
        if (strcmp(list->family_id, "impulses") != 0)
            continue;
        double bic = list->bic;
        for (size_t k = 0; k < out->count; k++) {
            const quell_identified *plain = &out->candidate[k];
            bool plainer = plain->parameters < list->parameters ||
                           (plain->parameters == list->parameters && strcmp(plain->family_id, "impulses") != 0);
            if (plainer && list->misfit_db > BELIEVED * plain->misfit_db)
                bic = fmax(bic, plain->bic + PLAINER);
        }
        list->bic = bic;
    }
    qsort(out->candidate, out->count, sizeof out->candidate[0], by_bic);
}

static void count_alike(quell_identification *out)
{
    out->alike = 1;
    while (out->alike < out->count && out->candidate[out->alike].bic < out->candidate[0].bic + QUELL_BIC_TELLS)
        out->alike++;
}

void identify_rank(identify_state *state, quell_identification *out)
{
    out->count = 0;
    add_none(state, out);
    add_families(state, out);
    add_lists(state, out);
    prefer_plain(out);
    count_alike(out);
}

void identify_add_intervals(identify_state *state, quell_identification *out)
{
    const quell_ratio *ratio = state->work.ratio;
    for (size_t i = 0; i < out->count && out->candidate[i].bic < out->candidate[0].bic + PROFILE_WITHIN; i++) {
        quell_identified *to = &out->candidate[i];
        const identify_trial *of = NULL;
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

/* V that are not told from the best one's. */
quell_status identify_note_tolerances(const identify_state *state, quell_identification *out, quell_error *err)
{
    const quell_identified *best = &out->candidate[0];
    char text[96] = "";
    size_t used = 0;
    for (size_t i = 0; i < state->trials; i++) {
        const identify_trial *of = &state->trial[i];
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
