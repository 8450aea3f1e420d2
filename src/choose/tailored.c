/* The shaper made for this axis' modes, beside the families: the shortest without negative impulses that keeps the limit. */
#include "choose/choose_private.h"

#include <math.h>
#include <string.h>

#define FRONT_RANGE 4.0  /* of residual limits, either way */
#define BELOW_LIMIT 3e-6 /* of the limit: what the design allows itself for rounding */

/* The needs as bands. False if a design is not possible for them. */
static bool bands_of(const axis_needs *needs, quell_bands *out)
{
    *out = (quell_bands){.count = 0, .weighted = !needs->worst_mode};
    for (size_t k = 0; k < needs->modes && k < QUELL_TAILOR_BANDS_MAX; k++) {
        const needs_mode *mode = &needs->mode[k];
        quell_band *band = &out->band[out->count++];
        band->hz[0] = mode->hz[0];
        band->hz[1] = mode->hz[1];
        band->damping_ratio[0] = mode->zeta[0];
        band->damping_ratio[1] = mode->zeta[NEEDS_DAMPINGS - 1];
        band->weight = mode->weight;
    }
    return quell_bands_check(out, NULL) == QUELL_OK;
}

void quell_choose_front(const quell_need *need, const quell_machine *machine, quell_axis_choice *choice)
{
    quell_machine *unknown = quell_memory_get(sizeof *unknown);
    quell_tailored *made = quell_memory_get(sizeof *made);
    axis_needs *needs = quell_memory_get(sizeof *needs);
    quell_bands bands;
    choice->front_count = 0;
    if (unknown != NULL && made != NULL && needs != NULL) {
        quell_machine_unknown(unknown);
        needs_prepare(needs, need, machine != NULL ? machine : unknown);
        bool possible = needs->modes > 0 && bands_of(needs, &bands);
        for (size_t i = 0; i < QUELL_FRONT_MAX && possible; i++) {
            double share = pow(FRONT_RANGE, 2 * (double)i / (QUELL_FRONT_MAX - 1) - 1);
            const quell_tailor_limits limits = {.residual_limit = choice->residual_limit * share};
            if (quell_tailor(made, &bands, &limits, NULL) != QUELL_OK)
                continue;
            choice->front_spread_s[choice->front_count] = quell_shaper_measure(&made->shaper).spread_s;
            choice->front_residual[choice->front_count++] = made->residual_worst;
        }
    }
    quell_memory_free(unknown);
    quell_memory_free(made);
    quell_memory_free(needs);
}

/* The best product of two textbook shapers, of families, damping ratios and V as free as a list leaves them. */
static void add_product(choice_work *work, const quell_bands *bands)
{
    const quell_controller *controller = &work->machine->controller;
    const quell_textbook_limits limits = {.residual_limit = work->needs.residual_limit * (1 - BELOW_LIMIT), .parts = 2,
                                          .by_spread = true};
    char spec[2][128];
    if (bands->count < 2 || controller->impulses < 2)
        return;
    quell_status status = quell_textbook_best(&work->textbook, bands, &limits, NULL);
    work->out_of_memory = work->out_of_memory || status == QUELL_E_MEMORY;
    if (status != QUELL_OK || work->textbook.parts < 2)
        return;
    for (size_t p = 0; p < 2; p++) {
        quell_shaper part = work->textbook.part[p];
        part.at.frequency_hz = round(part.at.frequency_hz * 1e2) / 1e2;
        part.at.damping_ratio = round(part.at.damping_ratio * 1e3) / 1e3;
        part.at.tolerance = fmax(round(part.at.tolerance * 1e3), 1) / 1e3;
        quell_shaper_format(&part, spec[p], sizeof spec[p]);
    }
    work->product = choice_say(work, "%s*%s", spec[0], spec[1]);
    quell_shaper shaper = work->textbook.shaper;
    if (controller->tick_s > 0)
        search_round_to_ticks(&shaper, controller->tick_s);
    quell_candidate *row = candidate_new(work, "convolved", "product");
    row->accepted = shaper.count <= controller->impulses;
    candidate_judge(work, row, &shaper, 1);
}

void candidates_add_tailored(choice_work *work)
{
    const quell_controller *controller = &work->machine->controller;
    const axis_needs *needs = &work->needs;
    bool takes_list = controller->impulses > 1;
    const quell_tailor_limits limits = {.residual_limit = needs->residual_limit * (1 - BELOW_LIMIT),
                                        .tick_s = takes_list ? controller->tick_s : 0,
                                        .impulses = takes_list ? controller->impulses : 0};
    quell_bands bands;
    if (!bands_of(needs, &bands))
        return;
    quell_status status = quell_tailor(&work->tailored, &bands, &limits, NULL);
    work->out_of_memory = work->out_of_memory || status == QUELL_E_MEMORY;
    if (status != QUELL_OK)
        return;
    work->out->tailored = (int)work->out->count;
    quell_candidate *row = candidate_new(work, "tailored", "tailored");
    row->accepted = takes_list;
    candidate_judge(work, row, &work->tailored.shaper, 1);
    add_product(work, &bands);
}
