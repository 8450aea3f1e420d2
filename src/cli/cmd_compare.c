/* quell compare: did a change help, and is the difference real? */
#include "cli/compare_view.h"

#include <math.h>
#include <string.h>

/* ---------------------------------------------------------------- recordings and spectra */

static quell_status load_side(cli_run *run, char axis, compare_side *side)
{
    size_t count = side->files->count;
    side->loaded = QUELL_NEW(run->arena, cli_recording, count);
    side->spectrum = QUELL_NEW(run->arena, quell_spectrum, count);
    side->modes = QUELL_NEW(run->arena, quell_modes, count);
    side->shaking = QUELL_NEW(run->arena, quell_shaking, count);
    side->mode_dof = QUELL_NEW(run->arena, double, count);
    if (side->loaded == NULL || side->spectrum == NULL || side->modes == NULL || side->shaking == NULL ||
        side->mode_dof == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu recordings", count);
    for (size_t i = 0; i < count; i++) {
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

static quell_status make_spectra(cli_run *run, double segment, double reference_hz, compare_side *side)
{
    for (size_t i = 0; i < side->files->count; i++) {
        const quell_recording *recording = &side->loaded[i].recording;
        set_segment(run, segment, reference_hz, recording->rate_hz);
        quell_status status = cli_spectrum_make(run, recording, 0, false, &side->spectrum[i]);
        if (status != QUELL_OK)
            return status;
    }
    return QUELL_OK;
}

/* The modes of one recording. Their standard errors follow from how its stops differ, where they do. */
static quell_status find_modes(cli_run *run, const compare_view *view, compare_side *side, size_t i)
{
    quell_spectrum spectrum;
    quell_measured how = {0};
    quell_status status =
        cli_modes_make(run, &side->loaded[i], view->index, &spectrum, &side->modes[i], &how);
    bool by_stops = side->modes[i].kind == QUELL_EXCITE_STOPS && how.decays.stops >= 3;
    side->mode_dof[i] = by_stops ? (double)how.decays.stops - 1 : (double)INFINITY;
    side->shaking[i] = how.shaking;
    return status;
}

/* The modes of every recording of a side, with the shaper that was active there divided out if it is stated. That none
   can be sought is no reason to compare nothing. */
static quell_status make_modes(cli_run *run, double segment_s, const compare_view *view, compare_side *side)
{
    const char *given = run->given.shaper_on;
    size_t found = 0;
    run->given.shaper_on = side->shaper;
    run->given.segment_s = segment_s;
    run->warned_of_shaper = true; /* the verdict says what comes of it */
    quell_status status = QUELL_OK;
    side->sought = true;
    for (size_t i = 0; i < side->files->count && status == QUELL_OK && side->sought; i++) {
        status = find_modes(run, view, side, i);
        if (status == QUELL_E_DATA) {
            side->sought = false;
            side->no_modes = quell_arena_print(run->arena, "%s", run->err.text);
            run->err = (quell_error){0};
            status =
                side->no_modes != NULL ? QUELL_OK : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
        }
        found += side->sought ? side->modes[i].count : 0;
    }
    if (side->sought && found == 0)
        side->no_modes = "no peak stands out";
    run->given.shaper_on = given;
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

/* What is not there yet, by its kind. */
static quell_status add_findings(cli_run *run, const quell_findings *more, quell_findings *to)
{
    for (size_t i = 0; i < more->count; i++) {
        const quell_finding *new = &more->item[i];
        bool known = false;
        for (size_t k = 0; k < to->count; k++)
            known = known || strcmp(to->item[k].kind, new->kind) == 0;
        if (!known && quell_findings_add(to, run->arena, new->kind, new->severity, new->value, new->limit,
                                         new->remedy, "%s", new->text) != QUELL_OK)
            return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for findings");
    }
    return QUELL_OK;
}

/* Where two recordings differ in what a fair comparison keeps the same. */
static quell_status look_at_pair(cli_run *run, const compare_side *first, size_t i,
                                 const compare_side *second, size_t j, quell_findings *out)
{
    const quell_side was = {&first->loaded[i].recording, &first->loaded[i].mounting,
                            &first->loaded[i].fitness};
    const quell_side is = {&second->loaded[j].recording, &second->loaded[j].mounting,
                           &second->loaded[j].fitness};
    quell_status status = quell_sides_differ(&was, &is, run->arena, out, &run->err);
    if (status == QUELL_OK && first->sought && second->sought)
        status = quell_shaking_differ(&first->shaking[i], &second->shaking[j], run->arena, out, &run->err);
    return status;
}

/* A file that is there twice tells nothing of how runs differ, and seems to say that they do not. */
static quell_status look_for_copies(cli_run *run, const compare_view *view, quell_findings *out)
{
    const cli_list *const files[2] = {view->before.files, view->after.files};
    for (size_t s = 0; s < 2; s++)
        for (size_t i = 1; i < files[s]->count; i++)
            for (size_t k = 0; k < i; k++)
                if (strcmp(files[s]->item[i], files[s]->item[k]) == 0)
                    return quell_findings_add(
                               out, run->arena, "copy", QUELL_WARN, NAN, NAN,
                               "give each recording once: only true repeats tell how much runs differ",
                               "one recording is given twice %s the change",
                               s == 0 ? "before" : "after") == QUELL_OK
                               ? QUELL_OK
                               : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for findings");
    return QUELL_OK;
}

/* The sides against each other; then every further recording against the first of its side. */
static quell_status look_for_differences(cli_run *run, compare_view *view)
{
    const compare_side *const side[2] = {&view->before, &view->after};
    quell_status status = look_at_pair(run, side[0], 0, side[1], 0, &view->findings);
    if (status == QUELL_OK)
        status = look_for_copies(run, view, &view->findings);
    if (status == QUELL_OK)
        cli_say_findings(run, "before and after", &view->findings);
    for (size_t s = 0; s < 2; s++)
        for (size_t i = 1; i < side[s]->files->count && status == QUELL_OK; i++) {
            quell_findings found = {0};
            status = look_at_pair(run, side[s], 0, side[s], i, &found);
            for (size_t k = 0; k < found.count; k++) { /* "before" and "after" are of two sides */
                quell_finding *item = &found.item[k];
                item->text = quell_arena_print(run->arena, "two recordings of the %s side differ: %s",
                                               side[s]->name, item->kind);
                if (item->text == NULL)
                    return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for findings");
            }
            if (status == QUELL_OK)
                cli_say_findings(run, side[s]->files->item[i], &found);
            if (status == QUELL_OK)
                status = add_findings(run, &found, &view->findings);
        }
    return status;
}

static quell_measured_side measured(const compare_side *side)
{
    return (quell_measured_side){.count = side->files->count,
                                 .spectrum = side->spectrum,
                                 .modes = side->sought ? side->modes : NULL,
                                 .mode_dof = side->mode_dof,
                                 .shaper_known = side->shaper != NULL};
}

/* A shaper that cannot be read is told before anything is. */
static quell_status check_shapers(cli_run *run)
{
    quell_shaper shaper;
    bool stated;
    quell_status status = cli_shaper_on(run, &shaper, &stated);
    if (status != QUELL_OK || run->given.applied == NULL)
        return status;
    status = quell_shaper_parse(&shaper, run->given.applied, &run->err);
    return status == QUELL_OK ? status : quell_fail(&run->err, status, "option --applied: %s", run->err.text);
}

static quell_status read_sides(cli_run *run, compare_view *view, double band_hz[2])
{
    const cli_idle *idle; /* for the modes; that it cannot be read is no reason to go on without them */
    quell_status status = cli_driven_axis(run, &view->axis);
    if (status == QUELL_OK)
        status = check_shapers(run);
    if (status == QUELL_OK)
        status = cli_idle_find(run, &idle);
    if (status == QUELL_OK)
        status = cli_band(run, band_hz, &run->err);
    if (status == QUELL_OK)
        status = load_side(run, view->axis, &view->before);
    if (status == QUELL_OK)
        status = load_side(run, view->axis, &view->after);
    return status == QUELL_OK ? name_axis(run, view) : status;
}

static quell_status gather(cli_run *run, compare_view *view)
{
    double band_hz[2], segment_s = run->given.segment_s;
    quell_status status = read_sides(run, view, band_hz);
    if (status != QUELL_OK)
        return status;
    double segment = common_segment(run, view), reference_hz = view->before.loaded[0].recording.rate_hz;
    status = make_spectra(run, segment, reference_hz, &view->before);
    if (status == QUELL_OK)
        status = make_spectra(run, segment, reference_hz, &view->after);
    if (status == QUELL_OK)
        status = make_modes(run, segment_s, view, &view->before);
    if (status == QUELL_OK)
        status = make_modes(run, segment_s, view, &view->after);
    if (status == QUELL_OK)
        status = look_for_differences(run, view);
    if (status != QUELL_OK)
        return status;
    const quell_measured_side before = measured(&view->before), after = measured(&view->after);
    return quell_compare(&before, &after, view->index, band_hz, run->arena, &view->result, &run->err);
}

/* ---------------------------------------------------------------- results */

static void say_next(const cli_run *run, const compare_view *view)
{
    const char *before = cli_word(run, view->before.files->item[0]),
               *after = cli_word(run, view->after.files->item[0]);
    bool fell = false, rose = false, moved = false;
    for (size_t i = 0; i < view->result.modes; i++) {
        const quell_level_change *level = &view->result.mode[i].level;
        fell = fell || (level->counts && level->change_db < 0);
        rose = rose || (level->counts && level->change_db > 0);
        moved = moved || view->result.mode[i].frequency.counts;
    }
    if (view->result.alike)
        cli_next(run, "record the after side with the same motion as %s, then compare again", before);
    else if (moved && (view->before.shaper == NULL || view->after.shaper == NULL))
        cli_next(run,
                 "say which shapers were active: quell compare %s --after %s --shaper-on none|SPEC --applied "
                 "none|SPEC",
                 before, after);
    else if (moved)
        cli_next(run, "quell modes %s to see where a setting must act now", after);
    else if (rose)
        cli_next(run, "quell modes %s to see what rings there now", after);
    else if (fell)
        cli_next(run,
                 "repeat both recordings twice, then quell compare %s BEFORE-2 BEFORE-3 --after %s AFTER-2 "
                 "AFTER-3",
                 before, after);
    else
        cli_next(run, "quell modes %s to see which frequencies a setting must meet", before);
}

static quell_status run_compare(cli_run *run)
{
    compare_view *view = QUELL_NEW(run->arena, compare_view, 1);
    if (view == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    view->before =
        (compare_side){.name = "before", .files = &run->given.files, .shaper = run->given.shaper_on};
    view->after = (compare_side){.name = "after", .files = &run->given.after, .shaper = run->given.applied};
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
    {"--applied", "none|SPEC", CLI_TEXT, offsetof(cli_options, applied),
     "the shaper that is active after the change: its modes are sought with it divided out"},
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
        "Compares recordings before and after a change. Modes are sought on both sides and matched: by how "
        "much"
        " the level at each changed in dB (negative: less vibration after), and how far its frequency and "
        "damping ratio"
        " moved. Then the level in 1/3-octave bands. Each with its 95 % interval, and whether it counts: "
        "significant at"
        " 5 % after Holm's correction over all that is tested, and 3 dB, 1 % of the frequency or 20 % of the "
        "damping"
        " ratio or more.\n"
        "With one recording a side the intervals hold the noise within the recordings, and the verdict "
        "covers this pair:"
        " repeat both sides, with the sensor fixed anew. With two a side or more, how much runs differ is in "
        "them; three"
        " make them far shorter than two. Make both sides alike: motion, length, rate, the sensor's place; "
        "differences"
        " are told.\n"
        "A level at a mode holds the commanded motion, too: under a sweep a perfect two-impulse shaper shows"
        " a fall of some 22 dB at a damping ratio of 0.05, not silence. A shaper hides the modes that it "
        "quiets:"
        " with --applied the modes after are found all the same.\n"
        "--shaper-on is about the before side, --applied about the after side. Exit code 0 whether or not "
        "there is a change.",
    .example = "  quell compare before-x.csv.gz --after after-x.csv.gz --axis x\n"
               "  quell compare before-x.csv.gz --after after-x.csv.gz --axis x --shaper-on none --applied "
               "ei:60.8:0.047:0.05\n"
               "  quell compare x1.csv x2.csv --after y1.csv y2.csv --plot change.png\n",
    .group = groups,
    .run = run_compare,
};
