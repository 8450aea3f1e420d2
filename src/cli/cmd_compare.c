/* quell compare: did a change help, and is the difference real? */
#include "cli/compare_view.h"

#include <math.h>
#include <string.h>

/* ---------------------------------------------------------------- recordings and spectra */

static quell_status load_side(cli_run *run, char axis, compare_side *side)
{
    side->loaded = QUELL_NEW(run->arena, cli_recording, side->files->count);
    if (side->loaded == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu recordings", side->files->count);
    for (size_t i = 0; i < side->files->count; i++) {
        quell_status status = cli_recording_load(run, side->files->item[i], axis, &side->loaded[i]);
        if (status != QUELL_OK)
            return status;
        const quell_recording *recording = &side->loaded[i].recording;
        side->duration_s += (double)recording->samples / recording->rate_hz;
    }
    return QUELL_OK;
}

/* The shortest recording decides how long a segment may be on both sides. In samples of the first recording. */
static double common_segment(const cli_run *run, const compare_view *view)
{
    const compare_side *const sides[] = {&view->before, &view->after};
    double rate_hz = view->before.loaded[0].recording.rate_hz, seconds = HUGE_VAL;
    if (!isnan(run->given.segment_s))
        return 2 * floor(run->given.segment_s * rate_hz / 2 + 0.5);
    for (size_t s = 0; s < 2; s++)
        for (size_t i = 0; i < sides[s]->files->count; i++) {
            const quell_recording *recording = &sides[s]->loaded[i].recording;
            double samples = (double)quell_welch_segment(recording->rate_hz, recording->samples, 0);
            seconds = fmin(seconds, samples / recording->rate_hz);
        }
    return 2 * floor(seconds * rate_hz / 2 + 1e-6);
}

/* Has the recording's spectrum made with as many samples a segment as all others, or, where its rate is another, as
   many seconds. */
static void set_segment(cli_run *run, double segment, double reference_hz, double rate_hz)
{
    bool same = fabs(rate_hz - reference_hz) <= 0.01 * reference_hz;
    run->given.segment_s = segment / (same ? rate_hz : reference_hz);
}

static quell_status make_side(cli_run *run, double segment, double reference_hz, compare_side *side)
{
    size_t count = side->files->count;
    quell_spectrum *each = QUELL_NEW(run->arena, quell_spectrum, count);
    if (each == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu spectra", count);
    for (size_t i = 0; i < count; i++) {
        const quell_recording *recording = &side->loaded[i].recording;
        set_segment(run, segment, reference_hz, recording->rate_hz);
        quell_status status = cli_spectrum_make(run, recording, 0, false, &each[i]);
        if (status != QUELL_OK)
            return status;
    }
    if (count > 1) {
        quell_status status = quell_spectra_pool(each, count, run->arena, &side->spectrum, &run->err);
        if (status != QUELL_OK)
            return quell_fail(&run->err, status, "the %s side: %s", side->name, run->err.text);
        cli_say(
            run,
            "The %zu recordings %s are averaged as one; how much they differ from each other is not in the "
            "intervals.",
            count, side->name);
    } else {
        side->spectrum = each[0];
    }
    return QUELL_OK;
}

/* Modes of the first recording before. That none can be sought is no reason to compare nothing. */
static quell_status find_modes(cli_run *run, double segment, compare_view *view)
{
    const cli_recording *loaded = &view->before.loaded[0];
    double rate_hz = loaded->recording.rate_hz;
    quell_spectrum spectrum;
    set_segment(run, segment, rate_hz, rate_hz);
    run->warned_of_shaper =
        true; /* modes only tell where to look here: the before side's level is what it is */
    quell_status status = cli_modes_make(run, loaded, view->index, &spectrum, &view->modes, NULL);
    if (status == QUELL_E_DATA) {
        view->no_modes = quell_arena_print(run->arena, "%s", run->err.text);
        view->modes.count = 0;
        run->err = (quell_error){0};
        status = view->no_modes != NULL ? QUELL_OK : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    } else if (status == QUELL_OK && view->modes.count == 0) {
        view->no_modes = "no peak stands out";
    }
    return status;
}

static quell_status name_axis(cli_run *run, compare_view *view)
{
    const cli_recording *loaded = &view->before.loaded[0];
    const quell_recording *recording = &loaded->recording;
    char shown[64];
    view->index = cli_axis_under_test(loaded);
    if (view->axis != 0)
        view->axis_words = view->axis == 'x' ? "axis x" : "axis y";
    else if (recording->axes == 3)
        view->axis_words = "the direction of most motion before (--axis not given)";
    else
        view->axis_words =
            quell_arena_print(run->arena, "the column of most motion before, %s",
                              quell_printable(shown, sizeof shown, recording->axis_name[view->index],
                                              strlen(recording->axis_name[view->index])));
    return view->axis_words != NULL ? QUELL_OK : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
}

static quell_status look_for_differences(cli_run *run, compare_view *view)
{
    quell_side side[2];
    const compare_side *const of[2] = {&view->before, &view->after};
    for (size_t s = 0; s < 2; s++)
        side[s] =
            (quell_side){&of[s]->loaded[0].recording, &of[s]->loaded[0].mounting, &of[s]->loaded[0].fitness};
    quell_status status = quell_sides_differ(&side[0], &side[1], run->arena, &view->findings, &run->err);
    if (status == QUELL_OK)
        cli_say_findings(run, "before and after", &view->findings);
    return status;
}

static quell_status gather(cli_run *run, compare_view *view)
{
    double band_hz[2];
    const cli_idle *idle; /* for the modes; that it cannot be read is no reason to go on without them */
    quell_status status = cli_driven_axis(run, &view->axis);
    if (status == QUELL_OK)
        status = cli_idle_find(run, &idle);
    if (status == QUELL_OK)
        status = cli_band(run, band_hz, &run->err);
    if (status == QUELL_OK)
        status = load_side(run, view->axis, &view->before);
    if (status == QUELL_OK)
        status = load_side(run, view->axis, &view->after);
    if (status == QUELL_OK)
        status = name_axis(run, view);
    if (status == QUELL_OK)
        status = look_for_differences(run, view);
    if (status != QUELL_OK)
        return status;
    double segment = common_segment(run, view), reference_hz = view->before.loaded[0].recording.rate_hz;
    status = make_side(run, segment, reference_hz, &view->before);
    if (status == QUELL_OK)
        status = make_side(run, segment, reference_hz, &view->after);
    if (status == QUELL_OK)
        status = find_modes(run, segment, view);
    if (status == QUELL_OK)
        status = quell_compare(&view->before.spectrum, &view->after.spectrum, view->index, &view->modes,
                               band_hz, run->arena, &view->result, &run->err);
    return status;
}

/* ---------------------------------------------------------------- results */

static void say_next(const cli_run *run, const compare_view *view)
{
    const char *before = cli_word(run, view->before.files->item[0]),
               *after = cli_word(run, view->after.files->item[0]);
    bool fell = false, rose = false;
    for (size_t i = 0; i < view->result.modes; i++) {
        fell = fell || (view->result.mode[i].counts && view->result.mode[i].change_db < 0);
        rose = rose || (view->result.mode[i].counts && view->result.mode[i].change_db > 0);
    }
    if (view->result.alike)
        cli_next(run, "record the after side with the same motion as %s, then compare again", before);
    else if (rose)
        cli_next(run, "quell modes %s to see what rings there now", after);
    else if (fell)
        cli_next(run, "repeat both recordings, then quell compare %s BEFORE-2 --after %s AFTER-2", before,
                 after);
    else
        cli_next(run, "quell modes %s to see which frequencies a setting must meet", before);
}

static quell_status run_compare(cli_run *run)
{
    compare_view *view = QUELL_NEW(run->arena, compare_view, 1);
    if (view == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    view->before = (compare_side){.name = "before", .files = &run->given.files};
    view->after = (compare_side){.name = "after", .files = &run->given.after};
    if (run->given.files.count == 0 || run->given.after.count == 0)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "no recording %s the change given, want one at least on each side: quell compare "
                          "BEFORE --after AFTER",
                          run->given.files.count == 0 ? "before" : "after");
    quell_status status = cli_labels_split(run, &run->given.files);
    if (status == QUELL_OK)
        status = cli_labels_split(run, &run->given.after);
    if (status == QUELL_OK)
        status = gather(run, view);
    if (status != QUELL_OK)
        return status;
    if (run->given.json) {
        quell_json json = compare_json(view);
        status = cli_print_json(run, &json);
        cli_say(run, "%s", view->result.verdict);
    } else {
        compare_print(run, view);
    }
    if (status == QUELL_OK && run->given.out != NULL) {
        quell_json json = compare_json(view);
        status = cli_keep_json(run, "compare", &json);
    }
    if (status == QUELL_OK && run->given.plot != NULL)
        status = compare_plot(run, view);
    if (status == QUELL_OK)
        say_next(run, view);
    return status;
}

static const cli_option compare_rows[] = {
    {"--after", "RECORDING...", CLI_FILES, offsetof(cli_options, after), "the recordings after the change"},
    {"--axis", "x|y", CLI_TEXT, offsetof(cli_options, axis),
     "the axis that was driven (default: the direction of most motion before)"},
    {0},
};
static const cli_group compare_group = {"What to compare", compare_rows};

static const cli_group *const groups[] = {&compare_group, &cli_reading_options, &cli_analysis_options,
                                          &cli_output_options, NULL};

const cli_command cli_compare = {
    .name = "compare",
    .operands = "BEFORE... --after AFTER...",
    .summary = "did it help, and is the difference real?",
    .about =
        "Compares recordings before and after a change: the level in 1/3-octave bands and at each mode of the"
        " first recording before, the change in dB (negative: less vibration after) with its 95 % interval,"
        " and whether it counts: significant at 5 % after Holm's correction over all bands and modes, and 3"
        " dB or more.\n"
        "Intervals hold the noise within the recordings. How much two runs differ is not in them, so a"
        " verdict covers this pair: repeat both sides. Several recordings a side are averaged as one. Make"
        " both sides alike: motion, length, rate, the sensor's place; differences are told.\n"
        "A level at a mode holds the commanded motion, too: under a sweep a perfect two-impulse shaper shows"
        " a fall of some 22 dB at a damping ratio of 0.05, not silence.\n"
        "--shaper-on is about the before side, where the modes are sought. Exit code 0 whether or not there"
        " is a change.",
    .example = "  quell compare before-x.csv.gz --after after-x.csv.gz --axis x\n"
               "  quell compare x1.csv x2.csv --after y1.csv y2.csv --plot change.png\n",
    .group = groups,
    .run = run_compare,
};
