/* The shaper made for this axis' modes, beside the families: the shortest without negative impulses that keeps the limit. */
#include "choose/choose_private.h"

#include <math.h>
#include <string.h>

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
}
