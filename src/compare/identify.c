/* Which shaper explains the ratio: all families, lists and none, each at its best, by BIC. */
#include "compare/identify_private.h"

#include <math.h>
#include <string.h>

#define FLAT_DB 1.0       /* a shaper that changes less than this over the whole band is not seen */
#define POOR_SCATTER 0.35 /* of ln ratio: what repeated motion never shows */

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
    identify_rank(state, out);
    /* what a list explained away may be scatter of the plainer explanation that is believed */
    double gain_ln = log(out->candidate[0].gain);
    fit_deviance(&state->work, &out->candidate[0].shaper, &gain_ln);
    double scatter2 = fit_scatter2(&state->work, gain_ln, out->candidate[0].parameters + 1);
    if (scatter2 > 1.1 * state->work.scatter2) {
        fit_set_scatter(&state->work, scatter2);
        identify_search_again(state);
        identify_rank(state, out);
    }
    identify_add_intervals(state, out);
    out->scatter_db = 10 / log(10) * sqrt(state->work.scatter2);
    out->motion_db = 10 * log10(out->candidate[0].gain / state->work.ratio->motion);
    out->in_effect = in_effect(state, out);
    if (state->options->expected != NULL)
        identify_judge_expected(&state->work, family_entered(state, out), state->options->machine, state->options->expected, out);
    return out->in_effect == QUELL_TELLS_YES ? identify_note_tolerances(state, out, err) : QUELL_OK;
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
    identify_list_trials(state);
    identify_search(state);
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
