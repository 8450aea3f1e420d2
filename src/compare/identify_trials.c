/* What is tried: every family of the table and of the machine file, each with the V it may have. */
#include "compare/identify_private.h"

#include <math.h>
#include <string.h>

static const double usual_tolerances[] = {0.05, 0.02, 0.1};

static void add_trial(identify_state *state, const quell_family *built_in, const quell_own_family *own, double tolerance)
{
    if (state->trials == IDENTIFY_FAMILIES_MOST)
        return;
    identify_trial *to = &state->trial[state->trials++];
    *to = (identify_trial){.family = {built_in, own, tolerance, built_in != NULL && (built_in->flags & QUELL_FAMILY_SMOOTH) != 0},
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

void identify_list_trials(identify_state *state)
{
    size_t count;
    const quell_family *table = quell_families(&count);
    const quell_machine *machine = state->options->machine;
    for (size_t i = 0; machine != NULL && i < machine->own_count; i++)
        add_trial(state, NULL, &machine->own[i], QUELL_TOLERANCE_DEFAULT);
    for (size_t i = 0; i < count; i++)
        add_with_tolerances(state, &table[i]);
}
