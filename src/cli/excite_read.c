/* The options of `quell excite`. What moves a machine has no default: whatever is missing is asked for, with the reason. */
#include "cli/excite_view.h"

#include <math.h>
#include <string.h>

#define LEAST_RANGE 1.5 /* of frequencies, where --band does not ask for less */
#define SECONDS 60.0 /* of excitation, unless told */

static quell_status refuse(cli_run *run, const char *option, const char *text, const char *wanted)
{
    char shown[64];
    return quell_fail(&run->err, QUELL_E_USAGE, "option %s: found '%s', want %s", option,
                      quell_printable(shown, sizeof shown, text, strlen(text)), wanted);
}

static quell_status read_words(cli_run *run, quell_test_motion *out)
{
    const char *kind = run->given.excite.kind, *axis = run->given.axis, *dwell = run->given.excite.dwell;
    if (kind != NULL && (!quell_excitation_find(&out->kind, kind) || out->kind == QUELL_EXCITE_AMBIENT))
        return refuse(run, "--kind", kind, "stops, sweep or random");
    if (axis == NULL)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "no axis given, want --axis x or y, or on a machine with coupled belts x+y or x-y, each of which turns "
                          "one motor");
    out->path = quell_path_find(axis);
    if (out->path == NULL)
        return refuse(run, "--axis", axis, "x, y, x+y or x-y");
    if (dwell == NULL)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "no dwell word given, want --dwell \"P ms\" or \"P s\": what P of G4 counts in this controller, which "
                          "waits a thousand times too long or not at all if it is the other");
    if (strcmp(dwell, "P ms") != 0 && strcmp(dwell, "P s") != 0)
        return refuse(run, "--dwell", dwell, "\"P ms\" or \"P s\"");
    out->dwell_in_seconds = strcmp(dwell, "P s") == 0;
    return QUELL_OK;
}

/* --travel once for one axis, for a diagonal twice: X, then Y. */
static quell_status read_travel(cli_run *run, quell_test_motion *out)
{
    const cli_list *given = &run->given.excite.travel;
    size_t wanted = out->path->sign[0] != 0 && out->path->sign[1] != 0 ? 2 : 1, taken = 0;
    if (given->count == 0)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "no travel given, want --travel 0..180mm%s: the positions that the program must stay within",
                          wanted == 2 ? " for X and again for Y" : "");
    if (given->count != wanted)
        return quell_fail(&run->err, QUELL_E_USAGE, "--travel is given %zu time%s, want it %s", given->count,
                          given->count == 1 ? "" : "s", wanted == 2 ? "twice on a diagonal: for X, then for Y" : "once");
    for (int k = 0; k < 2; k++)
        if (out->path->sign[k] != 0) {
            quell_status status = quell_quantity_parse_range(given->item[taken++], QUELL_LENGTH, &out->travel_m[k][0],
                                                             &out->travel_m[k][1], &run->err);
            if (status != QUELL_OK)
                return quell_fail(&run->err, status, "option --travel: %s", run->err.text);
        }
    return QUELL_OK;
}

/* ---------------------------------------------------------------- limits, from options or the machine file */

/* On a diagonal both axes take part: the lower speed and acceleration count, and their motor steps must agree. */
static quell_status take_limits(cli_run *run, const quell_machine *machine, quell_test_motion *out)
{
    for (int k = 0; k < 2; k++) {
        const quell_axis_limits *axis = &machine->axis[k];
        if (out->path->sign[k] == 0)
            continue;
        if (k == 1 && out->path->sign[0] != 0 && fabs(axis->step_m - out->step_m) > 1e-9 * out->step_m)
            return quell_fail(&run->err, QUELL_E_USAGE, "[x] and [y] of %s state different steps, want one on coupled belts",
                              run->given.machine);
        out->speed_mps = fmin(out->speed_mps, axis->speed_mps); /* NaN, not stated, gives way */
        out->acceleration_mps2 = fmin(out->acceleration_mps2, axis->acceleration_mps2);
        out->step_m = axis->step_m;
    }
    return QUELL_OK;
}

static quell_status read_machine(cli_run *run, quell_test_motion *out)
{
    quell_machine *machine = QUELL_NEW(run->arena, quell_machine, 1);
    out->speed_mps = out->acceleration_mps2 = out->step_m = (double)NAN;
    if (run->given.machine == NULL)
        return QUELL_OK;
    if (machine == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a machine");
    quell_status status = cli_machine_read(run, run->given.machine, machine);
    if (status != QUELL_OK)
        return status;
    bool diagonal = out->path->sign[0] != 0 && out->path->sign[1] != 0;
    if (diagonal && strcmp(machine->kinematics, "cartesian") == 0)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "option --axis: found '%s', want x or y: %s states kinematics = cartesian, and a diagonal moves both axes",
                          out->path->id, run->given.machine);
    return take_limits(run, machine, out);
}

static quell_status read_limits(cli_run *run, quell_test_motion *out)
{
    quell_status status = read_machine(run, out);
    if (status != QUELL_OK)
        return status;
    const struct {
        double *value, given;
        const char *wanted;
    } limits[] = {
        {&out->speed_mps, run->given.excite.speed_mps, "speed given, want --speed 200mm/s: the fastest that this axis may move"},
        {&out->acceleration_mps2, run->given.excite.acceleration_mps2,
         "acceleration given, want --acceleration 4000mm/s2: what the controller is set to, which a program cannot set in plain "
         "words; start low"},
        {&out->step_m, run->given.excite.step_m,
         "motor step given, want --step 0.0125mm: travel for one motor step (microstep), which strokes are rounded to"},
    };
    for (size_t i = 0; i < sizeof limits / sizeof limits[0]; i++) {
        if (!isnan(limits[i].given))
            *limits[i].value = limits[i].given;
        if (isnan(*limits[i].value))
            return quell_fail(&run->err, QUELL_E_USAGE, "no %s%s", limits[i].wanted,
                              run->given.machine != NULL ? "; the machine file does not state it" : "");
    }
    return QUELL_OK;
}

/* ---------------------------------------------------------------- what differs by kind */

static quell_status read_lowest(cli_run *run, quell_test_motion *out)
{
    const char *text = run->given.excite.lowest;
    quell_parts parts;
    if (text == NULL)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "no mode given, want --lowest HZ:ZETA such as 30:0.03: the lowest natural frequency and damping ratio that "
                          "you expect, whose ringing each stop waits for");
    if (!quell_split(&parts, text, ':') || parts.count != 2 ||
        quell_quantity_parse(parts.part[0], QUELL_FREQUENCY, "Hz", &out->lowest_hz, NULL) != QUELL_OK ||
        quell_quantity_parse(parts.part[1], QUELL_RATIO, "", &out->lowest_damping_ratio, NULL) != QUELL_OK)
        return refuse(run, "--lowest", text, "HZ:ZETA such as 30:0.03");
    return QUELL_OK;
}

static quell_status read_range(cli_run *run, excite_view *view)
{
    quell_test_motion *out = &view->asked;
    quell_status status = cli_band(run, out->range_hz, &run->err);
    if (status != QUELL_OK)
        return status;
    view->range_is_default = run->given.band == NULL;
    if (view->range_is_default)
        quell_program_range(out, out->range_hz);
    if (view->range_is_default && out->range_hz[1] > 0 && !(out->range_hz[1] >= LEAST_RANGE * out->range_hz[0]))
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "strokes could run from %s Hz, by the speed and the travel, to %s Hz, by the motor step, which is hardly a "
                          "range; a higher speed lowers the first, a higher acceleration raises both",
                          quell_number_short(out->range_hz[0], 3).text, quell_number_short(out->range_hz[1], 3).text);
    out->rate_hz_per_s = (out->range_hz[1] - out->range_hz[0]) / out->seconds;
    return QUELL_OK;
}

static quell_status refuse_unused(cli_run *run, const char *option, const char *kind)
{
    return quell_fail(&run->err, QUELL_E_USAGE, "option %s does not go with --kind %s", option, kind);
}

quell_status excite_read(cli_run *run, excite_view *view)
{
    quell_test_motion *out = &view->asked;
    *out = (quell_test_motion){.kind = QUELL_EXCITE_STOPS};
    quell_status status = read_words(run, out);
    if (status == QUELL_OK)
        status = read_travel(run, out);
    if (status == QUELL_OK)
        status = read_limits(run, out);
    if (status != QUELL_OK)
        return status;
    bool stops = out->kind == QUELL_EXCITE_STOPS;
    const char *kind = quell_excitation_word(out->kind);
    if (!stops && run->given.excite.lowest != NULL)
        return refuse_unused(run, "--lowest", kind);
    if (stops && run->given.band != NULL)
        return refuse_unused(run, "--band", kind);
    if (out->kind != QUELL_EXCITE_RANDOM && !isnan(run->given.excite.seed))
        return refuse_unused(run, "--seed", kind);
    out->seconds = isnan(run->given.excite.seconds) ? SECONDS : run->given.excite.seconds;
    out->seed = isnan(run->given.excite.seed) ? 1 : (uint64_t)run->given.excite.seed;
    if (!(out->seconds > 0))
        return quell_fail(&run->err, QUELL_E_USAGE, "option --seconds: found %g s, want more than 0", out->seconds);
    return stops ? read_lowest(run, out) : read_range(run, view);
}
