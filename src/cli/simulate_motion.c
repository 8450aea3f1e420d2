/* --motion of `quell simulate`: the moves of a plan drive the machine in the place of --excitation and --preamble. */
#include "cli/simulate_spec.h"

#include <math.h>

static quell_status refuse_beside(cli_run *run)
{
    const struct {
        const char *option;
        bool given;
    } others[] = {{"--excitation", run->given.simulate.excitation != NULL},
                  {"--preamble", run->given.simulate.preamble != NULL},
                  {"--axis", run->given.simulate.axis != NULL},
                  {"--seconds", !isnan(run->given.simulate.seconds)},
                  {"--oversample", !isnan(run->given.simulate.oversample)}};
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (others[i].given)
            return quell_fail(&run->err, QUELL_E_USAGE, "option %s does not go with --motion, whose plan says it",
                              others[i].option);
    return QUELL_OK;
}

quell_status simulate_motion(cli_run *run, quell_simulation *setup, quell_planned_motion *planned)
{
    quell_file file;
    quell_source source;
    quell_status status = refuse_beside(run);
    if (status == QUELL_OK)
        status = quell_file_open(&file, run->given.simulate.motion, &source, &run->err);
    if (status != QUELL_OK)
        return status;
    status = quell_planned_motion_read(planned, &source, &run->err);
    quell_file_close(&file);
    if (status != QUELL_OK)
        return status;
    setup->motion = planned;
    setup->excitation = planned->kind;
    setup->axis = planned->path->sign[0] != 0 ? 'x' : 'y';
    return QUELL_OK;
}
