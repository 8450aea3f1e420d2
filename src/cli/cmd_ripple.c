/* quell ripple: is the ripple on a part ringing, the machine's own pitch, or extrusion? */
#include "cli/ripple_view.h"

#include <math.h>

/* Modes of the recording, to hold the part against. */
static quell_status find_modes(cli_run *run, ripple_view *view)
{
    const cli_list *files = &run->given.files;
    if (files->count == 0)
        return QUELL_OK;
    char axis = 0;
    quell_status status = cli_modes_given(run, &view->modes, &axis);
    if (status != QUELL_OK)
        return status;
    view->file = files->item[0];
    view->matched = view->part.readings > 0 && quell_part_compare(&view->found, &view->modes, &view->match);
    return QUELL_OK;
}

static void say_next(const cli_run *run, const ripple_view *view)
{
    if (view->found.cause == QUELL_PART_PITCH || view->found.cause == QUELL_PART_EXTRUSION)
        cli_next(run, "mend the cause, print again, and measure again: quell ripple --at ...");
    else if (view->found.cause == QUELL_PART_UNCLEAR)
        cli_next(run, "print the corner at two speeds that differ by a factor of two: quell ripple --at 50mm/s:... --at 100mm/s:...");
    else if (view->file == NULL)
        cli_next(run, "quell ripple --at ... RECORDING to see whether a recording shows this mode too");
    else if (view->matched && view->match.agrees)
        cli_next(run, "quell choose --x RECORDING --y RECORDING for a shaper that takes it out");
    else
        cli_next(run, "record the other axis, or with more motion at this frequency: no mode that was given makes these ripples");
}

static quell_status show(cli_run *run, const ripple_view *view)
{
    quell_status status = QUELL_OK;
    if (run->given.json) {
        quell_json json = ripple_json(view);
        status = cli_print_json(run, &json);
    } else {
        ripple_print(run, view);
    }
    if (status == QUELL_OK && run->given.out != NULL) {
        quell_json json = ripple_json(view);
        status = cli_keep_json(run, "ripple", &json);
    }
    return status;
}

static quell_status run_ripple(cli_run *run)
{
    ripple_view *view = QUELL_NEW(run->arena, ripple_view, 1);
    if (view == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    *view = (ripple_view){0};
    quell_status status = ripple_read(run, view);
    if (status == QUELL_OK)
        status = quell_part_judge(&view->part, &view->found, &run->err);
    if (status == QUELL_OK)
        status = find_modes(run, view);
    if (status == QUELL_OK)
        status = show(run, view);
    if (status != QUELL_OK)
        return status;
    ripple_say(run, view);
    say_next(run, view);
    return QUELL_OK;
}

static const cli_option ripple_rows[] = {
    {"--at", "SPEED:LENGTH", CLI_REPEAT, offsetof(cli_options, ripple.at),
     "spacing of the ripples along a wall printed at this speed; two speeds or more"},
    {"--count", "N", CLI_COUNT, offsetof(cli_options, ripple.count), "each LENGTH spans so many ripples (default 1)"},
    {"--calliper", "0.1mm", CLI_TEXT, offsetof(cli_options, ripple.calliper),
     "what a LENGTH is good to (default: 0.1 mm is assumed, and said)"},
    {"--heights", "12,8,5um", CLI_TEXT, offsetof(cli_options, ripple.heights),
     "heights of successive ripples from the corner on, for the damping ratio"},
    {"--one-sided", NULL, CLI_FLAG, offsetof(cli_options, ripple.one_sided), "there is a bulge on one side of the corners"},
    {0},
};
static const cli_option drive_rows[] = {
    {"--belt-pitch", "2mm", CLI_TEXT, offsetof(cli_options, ripple.belt_pitch), "of the belt's teeth"},
    {"--pulley-teeth", "N", CLI_COUNT, offsetof(cli_options, ripple.pulley_teeth), "of the motor's pulley"},
    {"--steps-per-turn", "N", CLI_COUNT, offsetof(cli_options, ripple.steps_per_turn), "full steps of the motor"},
    {0},
};
static const cli_option axis_rows[] = {
    {"--axis", "x|y", CLI_TEXT, offsetof(cli_options, axis), "the axis of the recording that was shaken"},
    {0},
};
static const cli_group ripple_group = {"On the part", ripple_rows}, drive_group = {"Of the drive", drive_rows},
                       axis_group = {"Recording", axis_rows};
static const cli_group *const groups[] = {&ripple_group, &drive_group, &axis_group, &cli_reading_options,
                                          &cli_analysis_options, &cli_undrawn_options, NULL};

const cli_command cli_ripple = {
    .name = "ripple",
    .operands = "--at SPEED:LENGTH... [RECORDING...|MODES.json]",
    .summary = "is it ringing? frequency from ripple spacing on a part",
    .about = "Tells ringing from the machine's own pitch by the ripples measured on a part: ringing leaves them farther apart in "
             "proportion to the speed (speed over frequency), whatever repeats with the travel, such as a belt's teeth, leaves "
             "them alike, and no shaper removes it. With the 95 % interval of the frequency, from what the lengths are good to; "
             "with --heights the damping ratio. Where one speed is given, or the lengths cannot tell, the cause is unclear. A "
             "RECORDING is held against it: which of its modes agrees. This is common practice, and rough; a recording "
             "measures better.",
    .example = "  quell ripple --at 50mm/s:1.06mm --at 100mm/s:2.11mm --heights 12,8,5um\n"
               "  quell ripple --at 60mm/s:19.9mm --at 120mm/s:20.1mm --count 10 --belt-pitch 2mm\n"
               "  quell ripple --at 50mm/s:5.3mm --at 100mm/s:10.6mm --count 5 before-x.csv.gz --axis x --shaper-on none\n",
    .group = groups,
    .run = run_ripple,
};
