/* quell modes: natural frequencies and damping ratios of one axis. */
#include "cli/modes_view.h"

#include <string.h>

static const cli_option axis_rows[] = {
    {"--axis", "x|y", CLI_TEXT, offsetof(cli_options, axis),
     "the axis that was shaken; without it, the axis that moves most"},
    {0},
};
static const cli_group axis_group = {"Recording", axis_rows};
static const cli_group *const groups[] = {&axis_group, &cli_reading_options, &cli_analysis_options,
                                          &cli_output_options, NULL};

/* --out: the JSON object as a file named after the first recording. */
static quell_status keep_json(cli_run *run, const modes_view *view)
{
    const char *short_name = cli_short_name(run, view->recording[0].file);
    const char *name = short_name != NULL ? quell_arena_print(run->arena, "%s-modes", short_name) : NULL;
    if (name == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    quell_json json = modes_json(view);
    return cli_keep_json(run, name, &json);
}

/* No mode is an answer, but not the one asked for. */
static quell_status conclude(cli_run *run, const modes_view *view)
{
    if (view->modes.count > 0) {
        char letter = modes_axis_letter(view);
        cli_next(run, "quell choose --%c %s%s --machine machine.ini --shaper-on %s%s",
                 letter == 'y' ? 'y' : 'x', cli_labelled_words(run, view->files), cli_reading_again(run),
                 run->given.shaper_on != NULL ? cli_word(run, run->given.shaper_on) : "none|SPEC",
                 letter != 0 ? "" : "   (or --y, if that was shaken)");
        return QUELL_OK;
    }
    char low[40], high[40];
    double band_hz[2];
    quell_status status = cli_band(run, band_hz, &run->err);
    if (status != QUELL_OK)
        return status;
    if (band_hz[1] == 0)
        quell_modes_default_band(view->recording[0].spectrum.rate_hz, band_hz);
    cli_next(run, "quell spectrum %s%s --plot spectrum.png   (is there a peak at all?)",
             cli_word(run, view->recording[0].file), cli_reading_again(run));
    quell_error_set_file(&run->err, view->recording[0].file);
    return quell_fail(
        &run->err, QUELL_E_NOT_MET,
        "no mode found from %s to %s Hz%s, want a peak that stands out and that a mode explains",
        quell_number_print(low, sizeof low, band_hz[0], 5),
        quell_number_print(high, sizeof high, band_hz[1], 5),
        view->modes.left_out > 0 ? " but what is ignored" : "");
}

static quell_status run_modes(cli_run *run)
{
    if (run->given.files.count == 0)
        return quell_fail(&run->err, QUELL_E_USAGE, "no recording given, want quell modes RECORDING...");
    modes_view *view = QUELL_NEW(run->arena, modes_view, 1);
    if (view == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    quell_status status = modes_gather(run, view);
    if (status == QUELL_OK)
        status = modes_find_findings(run, view);
    if (status != QUELL_OK)
        return status;
    if (run->given.json) {
        quell_json json = modes_json(view);
        status = cli_print_json(run, &json);
    } else {
        modes_print(run, view);
    }
    if (status == QUELL_OK && run->given.out != NULL)
        status = keep_json(run, view);
    if (status == QUELL_OK && run->given.plot != NULL)
        status = modes_draw(run, view);
    if (status != QUELL_OK)
        return status;
    cli_say_findings(run, view->recordings == 1 ? view->recording[0].file : "modes", &view->findings);
    return conclude(run, view);
}

const cli_command cli_modes = {
    "modes",
    "RECORDING...",
    "natural frequencies and damping ratios of one axis",
    "Finds the modes of the axis that was shaken: peaks that stand out of the noise, then natural frequency, "
    "damping ratio and participation (ringing acceleration per driven acceleration, signed) by a fit of the "
    "response model to the density, as long as a mode more pays. Below each value stands its 95 % interval. "
    "The damping ratio by half-power width, and that of free decays where there are any, are checks. Each "
    "mode comes with its direction and with what speaks against it. Several recordings of one axis are "
    "fitted each and pooled; FILE@z=180,spool=full says what a recording's condition was. Recordings with "
    "the same label, or none, are repeats and shrink the error; intervals over conditions hold every one of "
    "them. Without any mode the exit code is 5.\n"
    "--plot FILE draws the density, the fit and what the fit leaves; of stops, the free decays instead. What "
    "else there is goes into files beside it, which are named when they are drawn: FILE-time, a sweep's "
    "frequency over time with the modes; FILE-decay, free decays that check a fit; FILE-density, of stops.\n"
    "Say whether a shaper was active during the recording: --shaper-on none, or its SPEC.",
    "  quell modes data/heron/before-x.csv.gz --axis x --shaper-on none --plot modes.png\n"
    "  quell modes run.csv --shaper-on zvd:43.5:0.07 --ignore 9Hz=\"bench rocks\" --json\n",
    groups,
    run_modes,
};
