/* quell excite: a program of test motion in plain ISO 6983 words, and its plan. */
#include "cli/excite_view.h"

#include <string.h>

/* To a file, written beside its place and renamed. */
static quell_status write_file(cli_run *run, const excite_view *view, const char *path)
{
    quell_output output;
    quell_status status = quell_output_open(&output, path, &run->err);
    if (status != QUELL_OK)
        return status;
    excite_write(view, output.stream);
    return quell_output_commit(&output, &run->err);
}

static quell_status write_plan(cli_run *run, const excite_view *view, const char *path)
{
    quell_output output;
    quell_json json = excite_json(view);
    quell_status status = quell_output_open(&output, path, &run->err);
    if (status != QUELL_OK) {
        quell_json_discard(&json);
        return status;
    }
    status = quell_json_print(&json, output.stream, &run->err);
    if (status == QUELL_OK)
        return quell_output_commit(&output, &run->err);
    quell_output_abandon(&output);
    return status;
}

/* --out: the plan and the program, each under the command's name. */
static quell_status keep(cli_run *run, const excite_view *view)
{
    quell_json json = excite_json(view);
    quell_status status = cli_keep_json(run, "excite", &json);
    if (status != QUELL_OK)
        return status;
    const char *path = quell_arena_print(run->arena, "%s/excite.nc", run->given.out);
    return path != NULL ? write_file(run, view, path) : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a file name");
}

static quell_status show(cli_run *run, const excite_view *view, const char *file)
{
    quell_status status = QUELL_OK;
    if (file != NULL)
        status = write_file(run, view, file);
    else if (!run->given.json)
        excite_write(view, stdout);
    if (status == QUELL_OK && run->given.json) {
        quell_json json = excite_json(view);
        status = cli_print_json(run, &json);
    }
    if (status == QUELL_OK && run->given.excite.plan != NULL)
        status = write_plan(run, view, run->given.excite.plan);
    if (status == QUELL_OK && run->given.out != NULL)
        status = keep(run, view);
    if (status == QUELL_OK && run->given.plot != NULL)
        status = excite_plot(run, view);
    return status;
}

static void say_next(const cli_run *run)
{
    const char *plan = run->given.excite.plan;
    if (plan == NULL && run->given.out != NULL)
        plan = quell_arena_print(run->arena, "%s/excite.json", run->given.out);
    if (plan != NULL)
        cli_next(run, "record while it runs, then quell modes RECORDING --excitation %s --shaper-on none", cli_word(run, plan));
    else
        cli_next(run, "--plan FILE keeps the plan, which quell modes RECORDING --excitation FILE takes");
}

static quell_status run_excite(cli_run *run)
{
    const char *file = run->given.files.count > 0 ? run->given.files.item[0] : NULL;
    if (run->given.files.count > 1)
        return quell_fail(&run->err, QUELL_E_USAGE, "%zu files named, want at most one to write", run->given.files.count);
    if (file != NULL && strcmp(file, "-") == 0)
        file = NULL;
    if (run->given.json && file == NULL && run->given.out == NULL)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "--json prints the plan on standard output, want a FILE or --out for the program");
    if (run->given.excite.plan != NULL && strcmp(run->given.excite.plan, "-") == 0)
        return quell_fail(&run->err, QUELL_E_USAGE, "option --plan: found '-', want a file; --json prints the plan on standard output");
    quell_status status = excite_check_places(run, file);
    if (status != QUELL_OK)
        return status;
    excite_view *view = QUELL_NEW(run->arena, excite_view, 1);
    if (view == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a program");
    status = excite_read(run, view);
    if (status == QUELL_OK)
        status = quell_program_make(&view->program, &view->asked, run->arena, &run->err);
    if (status == QUELL_OK)
        status = show(run, view, file);
    if (status != QUELL_OK)
        return status;
    excite_say(run, view);
    say_next(run);
    return QUELL_OK;
}

#define AT(field) offsetof(cli_options, excite.field)

static const cli_option motion_rows[] = {
    {"--axis", "x|y|x+y|x-y", CLI_TEXT, offsetof(cli_options, axis),
     "what moves; the diagonals are for coupled belts, where each turns one motor"},
    {"--kind", "KIND", CLI_TEXT, AT(kind),
     "stops (default): strokes at speed with rests, in which the ringing is seen; sweep: strokes whose frequency rises; random: "
     "strokes of random length, from which a minute tells damping ratios to 10 % or so (95 %)"},
    {"--seconds", "SECONDS", CLI_SECONDS, AT(seconds), "length of the excitation (default 60 s)"},
    {"--lowest", "HZ:ZETA", CLI_TEXT, AT(lowest),
     "of stops: the lowest natural frequency and damping ratio expected; each rest lasts 5 / (zeta omega)"},
    {"--band", "LO:HI", CLI_TEXT, offsetof(cli_options, band),
     "of sweep and random strokes: frequencies, Hz (default: all of 5 to 150 Hz that the limits allow)"},
    {"--seed", "N", CLI_COUNT, AT(seed), "of random strokes (default 1)"},
    {0},
};
static const cli_group motion_group = {"Test motion", motion_rows};

static const cli_option limit_rows[] = {
    {"--travel", "LO..HI", CLI_REPEAT, AT(travel),
     "positions that the axis may take, such as 0..180mm; on a diagonal twice, X and Y"},
    {"--speed", "SPEED", CLI_MPS, AT(speed_mps), "not to be exceeded, along the path, such as 200mm/s"},
    {"--acceleration", "ACCELERATION", CLI_MPS2, AT(acceleration_mps2),
     "what the controller is set to, along the path, such as 4000mm/s2"},
    {"--step", "LENGTH", CLI_METRES, AT(step_m), "travel for one motor step (microstep), such as 0.0125mm"},
    {"--dwell", "\"P ms\"|\"P s\"", CLI_TEXT, AT(dwell), "what P of G4 counts in this controller"},
    {"--machine", "FILE", CLI_TEXT, offsetof(cli_options, machine),
     "a machine file, for the speed, acceleration and step that are not given here"},
    {0},
};
static const cli_group limit_group = {"Limits, all of which must be known", limit_rows};

static const cli_option plan_rows[] = {
    {"--plan", "FILE", CLI_TEXT, AT(plan), "write the plan, one JSON object, for modes --excitation and simulate --motion"},
    {0},
};
static const cli_group plan_group = {"Plan", plan_rows};

static const cli_group *const groups[] = {&motion_group, &limit_group, &plan_group, &cli_output_options, NULL};

const cli_command cli_excite = {
    "excite",
    "[FILE]",
    "a test-motion program in plain ISO 6983 words",
    "Writes a motion program to shake one axis while an accelerometer records: G1, G4, G21, G90, F, X, Y and comments, nothing "
    "else, to FILE or standard output. It begins with a rest and two slow strokes, from which `quell check` sees how the sensor "
    "sits, ends where it began, and stays within the travel given. Positions are whole motor steps; strokes shorter than 10 "
    "of them are refused. The acceleration itself and shaping off are yours to set in the controller.\n"
    "Cautions: a shaken machine can crush, pinch and throw things. Clear the bed, keep hands, hair and cables out, stay at the "
    "emergency stop, start at a low acceleration.",
    "  quell excite --axis x --travel 0..180mm --speed 200mm/s --acceleration 4000mm/s2 \\\n"
    "    --step 0.0125mm --dwell \"P ms\" --lowest 30:0.03 --plan x-plan.json x.nc\n"
    "  quell excite --axis y --kind sweep --machine heron.ini --travel 0..170mm \\\n"
    "    --dwell \"P s\" --band 8:44 --plan y-plan.json y.nc\n",
    groups,
    run_excite,
};
