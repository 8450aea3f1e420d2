/* quell identify: which shaper is the controller really running? */
#include "cli/identify_view.h"
#include "cli/sides.h"

#include <math.h>

/* An axis with less than this of the driven one's energy was not moved; what it shows is the driven one's, seen across. */
#define OTHER_MOVED 1e-3

quell_side *identify_sides(cli_run *run, const cli_recording *loaded, size_t count)
{
    quell_side *side = QUELL_NEW(run->arena, quell_side, count);
    if (side == NULL)
        quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu recordings", count);
    for (size_t i = 0; side != NULL && i < count; i++)
        side[i] = (quell_side){&loaded[i].recording, &loaded[i].mounting, &loaded[i].fitness};
    return side;
}

/* Loads every recording of a list, each once. */
static quell_status load_side(cli_run *run, identify_view *view, const cli_list *files, identify_side *out)
{
    out->files = files;
    out->loaded = QUELL_NEW(run->arena, cli_recording, files->count);
    if (out->loaded == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu recordings", files->count);
    for (size_t i = 0; i < files->count; i++) {
        quell_status status = cli_recording_load(run, files->item[i], view->axis, &out->loaded[i]);
        if (status != QUELL_OK)
            return status;
    }
    quell_status status = sides_drop_copies(run, out == &view->off ? "with the shaper off" : "with the shaper on", out->loaded,
                                            &out->files, &view->findings);
    if (status != QUELL_OK)
        return status;
    out->side = identify_sides(run, out->loaded, out->files->count);
    return out->side != NULL ? QUELL_OK : QUELL_E_MEMORY;
}

/* ---------------------------------------------------------------- options */

static quell_status read_machine(cli_run *run, identify_view *view)
{
    quell_file file;
    quell_source source;
    view->has_machine = run->given.machine != NULL;
    if (!view->has_machine)
        return QUELL_OK;
    quell_status status = quell_file_open(&file, run->given.machine, &source, &run->err);
    if (status != QUELL_OK)
        return status;
    status = quell_machine_read(&view->machine, &source, &run->err);
    quell_file_close(&file);
    return status;
}

static quell_status check_words(cli_run *run, identify_view *view)
{
    cli_options *given = &run->given;
    if (given->files.count == 0 || given->identify.on.count == 0)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "no recording with the shaper %s given, want one at least of each: quell identify OFF --on ON",
                          given->files.count == 0 ? "off" : "on");
    if (given->plot != NULL && quell_plot_check_name(given->plot, &run->err) != QUELL_OK)
        return run->err.status;
    if (given->segment_s <= 0)
        return quell_fail(&run->err, QUELL_E_USAGE, "option --segment: found %s s, want more than 0 s",
                          quell_number_short(given->segment_s, 4).text);
    quell_status status = cli_driven_axis(run, &view->axis);
    if (status == QUELL_OK)
        status = read_machine(run, view);
    view->has_expected = given->identify.expected != NULL;
    if (status == QUELL_OK && view->has_expected) {
        status =
            quell_expected_parse(&view->expected, given->identify.expected, view->has_machine ? &view->machine : NULL, &run->err);
        if (status != QUELL_OK)
            status = quell_fail(&run->err, status, "option --expected: %s", run->err.text);
    }
    if (status == QUELL_OK)
        status = cli_labels_split(run, &given->files);
    return status == QUELL_OK ? cli_labels_split(run, &given->identify.on) : status;
}

/* ---------------------------------------------------------------- the work */

static void show_progress(void *context, double share)
{
    cli_progress(context, "shapers", share, share >= 1);
}

/* The other axis, if it was recorded and has signal: that it has none is no failure. */
static quell_status measure_other(cli_run *run, identify_view *view, size_t axis, const double band_hz[2])
{
    quell_error why = {0};
    const quell_recording *recording = &view->off.loaded[0].recording;
    if (recording->axes < 2 || axis > 1)
        return QUELL_OK;
    quell_status status = quell_ratio_measure(view->off.side, view->off.files->count, view->on.side, view->on.files->count,
                                              1 - axis, run->given.segment_s, band_hz, run->arena, &view->other, &why);
    view->has_other = status == QUELL_OK && view->other.off_level > OTHER_MOVED * view->ratio.off_level;
    return status == QUELL_E_MEMORY ? quell_fail(&run->err, status, "%s", why.text) : QUELL_OK;
}

static quell_status gather(cli_run *run, identify_view *view)
{
    double band_hz[2];
    quell_status status = cli_band(run, band_hz, &run->err);
    if (status == QUELL_OK)
        status = load_side(run, view, &run->given.files, &view->off);
    if (status == QUELL_OK)
        status = load_side(run, view, &run->given.identify.on, &view->on);
    bool same_kind;
    if (status == QUELL_OK)
        status = identify_find_differences(run, view, &same_kind);
    if (status != QUELL_OK)
        return status;
    size_t axis = cli_axis_under_test(&view->off.loaded[0]);
    status = quell_ratio_measure(view->off.side, view->off.files->count, view->on.side, view->on.files->count, axis,
                                 run->given.segment_s, band_hz, run->arena, &view->ratio, &run->err);
    if (status == QUELL_OK)
        status = measure_other(run, view, axis, band_hz);
    if (status != QUELL_OK)
        return status;
    const quell_identify_options options = {.machine = view->has_machine ? &view->machine : NULL,
                                            .expected = view->has_expected ? &view->expected : NULL,
                                            .progress = show_progress,
                                            .context = run};
    status = quell_identify(&view->ratio, view->has_other ? &view->other : NULL, &options, run->arena, &view->result, &run->err);
    cli_progress(run, "shapers", 1, true);
    if (status == QUELL_OK && same_kind)
        status = identify_try_swapped(run, view, axis, band_hz);
    if (status == QUELL_OK)
        status = identify_lead_verdict(run, view, same_kind);
    return status == QUELL_OK ? identify_machine_lines(run, view, &view->machine_lines) : status;
}

/* ---------------------------------------------------------------- results */

static double six_digits(double value)
{
    double rounded;
    return quell_number_parse(quell_number_short(value, 6).text, &rounded, NULL) == QUELL_OK ? rounded : value;
}

/* As a person would enter it: no more digits than are known. */
static quell_shaper rounded(const quell_shaper *of)
{
    quell_shaper out = *of;
    out.at.frequency_hz = six_digits(of->at.frequency_hz);
    out.at.damping_ratio = six_digits(of->at.damping_ratio);
    double rest = 1; /* the sum stays 1, or the list is refused */
    for (size_t i = out.count; i-- > 0;) {
        out.amplitude[i] = floor((i > 0 ? of->amplitude[i] : rest) * 1e6 + 0.5) / 1e6;
        out.time_s[i] = six_digits(of->time_s[i]);
        rest -= out.amplitude[i];
    }
    return out;
}

static void say_next(const cli_run *run, const identify_view *view)
{
    const quell_identification *of = &view->result;
    const char *off = cli_word(run, view->off.files->item[0]);
    char spec[512];
    const quell_shaper best = rounded(&of->candidate[0].shaper);
    if (view->swapped)
        cli_next(run, "quell identify%s --on%s%s", sides_files_again(run, view->on.files, 0, ""),
                 sides_files_again(run, view->off.files, 0, ""), sides_options_again(run, true));
    else if (of->in_effect == QUELL_TELLS_NO)
        cli_next(run, "switch the shaper on in the controller, record the motion of %s again, and try anew", off);
    else if (of->in_effect == QUELL_TELLS_NOT)
        cli_next(run, "record both sides again with the same motion, one straight after the other");
    else if (view->machine_lines != NULL && run->given.out == NULL)
        cli_next(run, "put the lines above into the machine file, then quell choose --machine FILE");
    else
        cli_next(run, "quell shaper %s shows what it leaves of a mode",
                 cli_word(run, quell_shaper_format(&best, spec, sizeof spec)));
}

static quell_status keep_lines(cli_run *run, const identify_view *view)
{
    if (view->machine_lines == NULL)
        return QUELL_OK;
    const char *path = quell_arena_print(run->arena, "%s/identified.ini", run->given.out);
    quell_output out;
    if (path == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    quell_status status = quell_output_open(&out, path, &run->err);
    if (status != QUELL_OK)
        return status;
    fputs(view->machine_lines, out.stream);
    return quell_output_commit(&out, &run->err);
}

static quell_status show(cli_run *run, const identify_view *view)
{
    quell_status status = QUELL_OK;
    if (run->given.json) {
        quell_json json = identify_json(view);
        status = cli_print_json(run, &json);
        cli_say(run, "%s", view->result.verdict);
    } else {
        identify_print(run, view);
    }
    if (status == QUELL_OK && run->given.out != NULL) {
        quell_json json = identify_json(view);
        status = cli_keep_json(run, "identify", &json);
        if (status == QUELL_OK)
            status = keep_lines(run, view);
    }
    if (status == QUELL_OK && run->given.plot != NULL)
        status = identify_plot(run, view);
    return status;
}

static quell_status run_identify(cli_run *run)
{
    identify_view *view = QUELL_NEW(run->arena, identify_view, 1);
    if (view == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    quell_status status = check_words(run, view);
    if (status == QUELL_OK)
        status = gather(run, view);
    if (status == QUELL_OK)
        status = show(run, view);
    if (status == QUELL_OK)
        say_next(run, view);
    return status;
}

static const cli_option identify_rows[] = {
    {"--on", "RECORDING...", CLI_FILES, offsetof(cli_options, identify.on), "the same motion with the shaper on"},
    {"--axis", "x|y", CLI_TEXT, offsetof(cli_options, axis), "the axis that was driven (default: the direction of most motion)"},
    {"--expected", "SPEC", CLI_TEXT, offsetof(cli_options, identify.expected),
     "what was entered into the controller; with --machine in its own units and reading"},
    {"--machine", "FILE", CLI_TEXT, offsetof(cli_options, machine), "families of its own, the V of its EI shapers, its tick"},
    {"--band", "LO:HI", CLI_TEXT, offsetof(cli_options, band), "look only at these frequencies, Hz (default: those with signal)"},
    {"--segment", "SECONDS", CLI_SECONDS, offsetof(cli_options, segment_s), "length of a segment (default: 1 s)"},
    {0},
};
static const cli_group identify_group = {"What to identify", identify_rows};

static const cli_group *const groups[] = {&identify_group, &cli_reading_options, &cli_output_options, NULL};

const cli_command cli_identify = {
    .name = "identify",
    .operands = "OFF... --on ON...",
    .summary = "which shaper is the controller really running?",
    .about =
        "Compares recordings of the same motion with the controller's shaper off and on. Whatever the machine is, the ratio of "
        "the two spectra is the shaper's own response; every family quell knows, those of the machine file and lists of up to "
        "five impulses are fitted to it. Told: the family and its numbers with 95 % intervals, whether the frequency entered is "
        "read as natural or damped, whether the damping ratio entered is used, whether anything is in effect at all, on the "
        "other axis, and what the recordings cannot tell.\n"
        "A program of test motion that is run twice tells most; a sweep is best. Do not touch the machine in between. Random "
        "motion that is not repeated tells less.\n"
        "misfit is how far the measured ratio is from the fitted one, rms; BIC counts from the best: a difference below 6 tells "
        "nothing. The numbers of a shaper without an interval are rough: it is far behind.",
    .example = "  quell identify before-x.csv.gz --on after-x.csv.gz --axis x --expected ei:60.8:0.047:0.05\n"
               "  quell identify off.csv --on on.csv --machine machine.ini --plot ratio.png\n",
    .group = groups,
    .run = run_identify,
};
