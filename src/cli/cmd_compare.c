/* quell compare: did a change help, and is the difference real? */
#include "cli/compare_view.h"
#include "cli/sides.h"

/* Another shaper acts than is said, or none: identify tells what. */
static void say_identify(const cli_run *run, const compare_view *view)
{
    cli_next(run, "quell identify%s --on%s%s --expected %s", sides_files_again(run, view->before.files, 0, ""),
             sides_files_again(run, view->after.files, 0, ""), sides_options_again(run, false), cli_word(run, view->after.shaper));
}

static void say_repeat(const cli_run *run, const compare_view *view)
{
    enum { WANT = 3 }; /* what makes intervals short: see the help */
    bool pair = view->before.files->count == 1 && view->after.files->count == 1;
    cli_next(run, "repeat %s, then quell compare%s --after%s%s", pair ? "both recordings twice" : "what is lacking", sides_files_again(run, view->before.files, WANT, "BEFORE"),
             sides_files_again(run, view->after.files, WANT, "AFTER"), sides_options_again(run, true));
}

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
    if (!view->shaken_alike)
        cli_next(run, "record both sides with the same motion, then compare again");
    else if (!compare_applied_as_stated(&view->applied))
        say_identify(run, view);
    else if (view->result.alike)
        cli_next(run, "record the after side with the same motion as %s, then compare again", before);
    else if (moved && (view->before.shaper == NULL || view->after.shaper == NULL))
        cli_next(run,
                 "say which shapers were active: quell compare%s --after%s%s --shaper-on none|SPEC --applied "
                 "none|SPEC",
                 sides_files_again(run, view->before.files, 0, ""), sides_files_again(run, view->after.files, 0, ""),
                 sides_options_again(run, false));
    else if (moved)
        cli_next(run, "quell modes %s to see where a setting must act now", after);
    else if (rose)
        cli_next(run, "quell modes %s to see what rings there now", after);
    else if (fell && !view->result.run_to_run)
        say_repeat(run, view);
    else if (fell)
        cli_next(run, "quell modes %s to see what rings there still", after);
    else
        cli_next(run, "quell modes %s to see which frequencies a setting must meet", before);
}

static quell_status run_compare(cli_run *run)
{
    compare_view *view = QUELL_NEW(run->arena, compare_view, 1);
    if (view == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    view->before =
        (compare_side){.name = "before", .files = &run->given.files, .shaper = run->given.shaper_on, .divided = run->given.shaper_on};
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
        status = compare_gather(run, view);
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
     "the shaper that is active after the change: does it do what it should? If so modes are sought with it divided out"},
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
