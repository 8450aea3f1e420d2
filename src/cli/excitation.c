/* --excitation: what shook the machine, in words or as the plan that it ran. */
#include "cli/cli.h"

#include <math.h>
#include <string.h>

/* Is it one of the words, right or wrong in what follows, rather than the name of a file? */
static bool is_words(const char *text)
{
    quell_parts parts;
    quell_excitation kind;
    return quell_split(&parts, text, ':') && quell_excitation_find(&kind, parts.part[0]);
}

static quell_status read_plan(cli_run *run, const char *path, quell_shaking *out)
{
    quell_file file;
    quell_source source;
    quell_status status = quell_file_open(&file, path, &source, &run->err);
    if (status != QUELL_OK)
        return quell_fail(
            &run->err, status,
            "%s; option --excitation wants sweep, sweep:F0:F1:RATE[:ACCEL], random, stops, ambient "
            "or a plan's file",
            run->err.text);
    status = quell_shaking_read(out, &source, &run->err);
    quell_file_close(&file);
    /* Slow strokes turn the axes so that one lies along the diagonal; --mount keeps the machine's own. */
    if (status == QUELL_OK && out->diagonal && out->acceleration_known && run->given.read.mount != NULL)
        out->sweep.acceleration_mps2 *= sqrt(0.5);
    return status;
}

quell_status cli_excitation(cli_run *run, bool *given, quell_shaking *out)
{
    const char *text = run->given.excitation;
    *given = text != NULL;
    if (text == NULL)
        return QUELL_OK;
    if (run->excitation == NULL) {
        quell_shaking *made = QUELL_NEW(run->arena, quell_shaking, 1);
        quell_status status =
            made != NULL ? QUELL_OK : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for --excitation");
        if (status == QUELL_OK && is_words(text)) {
            status = quell_shaking_parse(made, text, &run->err);
            if (status != QUELL_OK)
                quell_fail(&run->err, status, "option --excitation: %s", run->err.text);
        } else if (status == QUELL_OK)
            status = read_plan(run, text, made);
        if (status != QUELL_OK)
            return status;
        run->excitation = made;
    }
    *out = *run->excitation;
    return QUELL_OK;
}

quell_status cli_plan_agrees(cli_run *run, const char *said, char axis)
{
    bool given;
    quell_shaking plan = {.axis = 0};
    quell_status status = cli_excitation(run, &given, &plan);
    if (status != QUELL_OK || !given || plan.axis == 0 || plan.axis == axis)
        return status;
    return quell_fail(&run->err, QUELL_E_USAGE,
                      "%s %c, but the plan of --excitation, %s, moves %c; want one that agrees, or the sweep in words: "
                      "sweep:F0:F1:RATE[:ACCEL]",
                      said, axis, run->given.excitation, plan.axis);
}
