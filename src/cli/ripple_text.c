/* quell ripple: table and words. */
#include "cli/ripple_view.h"

#include <math.h>
#include <stdio.h>

enum { WIDTH = 79 };

double ripple_natural_hz(const ripple_view *view)
{
    double zeta = view->found.damping_ratio;
    if (view->matched && view->match.agrees)
        zeta = view->modes.mode[view->match.mode].damping_ratio;
    return view->found.frequency_hz / sqrt(1 - zeta * zeta);
}

static void print_readings(cli_run *run, const ripple_view *view)
{
    static const quell_column columns[] = {{"speed", "mm/s", false},
                                           {"spacing", "mm", false},
                                           {"if ringing", "mm", false},
                                           {"if constant", "mm", false}};
    quell_table *table = quell_table_create(run->arena, columns, 4);
    for (size_t i = 0; i < view->part.readings; i++) {
        const quell_part_reading *at = &view->part.reading[i];
        quell_table_number(table, 1e3 * at->speed_mps, 1);
        quell_table_number(table, 1e3 * at->length_m / view->part.ripples, 3);
        quell_table_number(table, 1e3 * at->speed_mps / view->found.frequency_hz, 3);
        quell_table_number(table, 1e3 * view->found.spacing_m, 3);
    }
    quell_table_print(table, stdout, 0);
    putchar('\n');
}

static void print_pitches(cli_run *run, const ripple_view *view)
{
    static const quell_column columns[] = {{"of the drive", "", true}, {"pitch", "mm", false}, {"agrees", "", true}};
    quell_table *table = quell_table_create(run->arena, columns, 3);
    for (size_t i = 0; i < view->found.pitches; i++) {
        const quell_part_pitch *pitch = &view->found.pitch[i];
        quell_table_cell(table, "%s", pitch->name);
        quell_table_number(table, 1e3 * pitch->length_m, 3);
        quell_table_cell(table, "%s", pitch->agrees ? "yes" : "no");
    }
    putchar('\n');
    quell_table_print(table, stdout, 0);
}

static void print_quantity(const char *name, double value, const double ci95[2], double factor, int decimals, const char *unit)
{
    printf("%-17s %s%s", name, quell_number_fixed(factor * value, decimals).text, unit);
    if (isfinite(ci95[0]) && isfinite(ci95[1]))
        printf(" (%s to %s)", quell_number_fixed(factor * ci95[0], decimals).text, quell_number_fixed(factor * ci95[1], decimals).text);
    putchar('\n');
}

static void print_numbers(const ripple_view *view)
{
    const quell_part_finding *found = &view->found;
    bool pitch = found->cause == QUELL_PART_PITCH;
    char first[64];
    snprintf(first, sizeof first, "%-17s %s: ", "cause", quell_part_cause_word(found->cause));
    quell_words_print(stdout, first, "                  ", WIDTH, found->why);
    if (view->part.readings > 0 && pitch)
        print_quantity("spacing", found->spacing_m, found->spacing_ci95_m, 1e3, 3, " mm");
    if (view->part.readings > 0 && !pitch) {
        print_quantity(found->cause == QUELL_PART_RINGING ? "damped frequency" : "if it is ringing", found->frequency_hz,
                       found->frequency_ci95_hz, 1, 1, " Hz");
        if (isfinite(ripple_natural_hz(view)))
            printf("%-17s %s Hz\n", "natural frequency", quell_number_fixed(ripple_natural_hz(view), 1).text);
    }
    if (isfinite(found->damping_ratio))
        print_quantity("damping ratio", found->damping_ratio, found->damping_ratio_ci95, 1, 3, "");
}

/* In words how the part goes with the modes of the recording. */
static const char *agreement(const cli_run *run, const ripple_view *view)
{
    const quell_mode *mode = &view->modes.mode[view->match.mode];
    const char *text;
    if (!view->matched)
        return view->part.readings == 0 ? "Without a spacing nothing can be held against the recording's modes."
                                        : "The recording shows no mode.";
    if (view->match.agrees)
        text = quell_arena_print(run->arena, "It agrees with the recording's mode at %s Hz (damped %s Hz), within both intervals.",
                                 quell_number_fixed(mode->frequency_hz, 1).text, quell_number_fixed(view->match.damped_hz, 1).text);
    else
        text = quell_arena_print(run->arena,
                                 "It agrees with no mode of the recording: the nearest, at %s Hz (damped %s Hz), is %s %% %s.",
                                 quell_number_fixed(mode->frequency_hz, 1).text, quell_number_fixed(view->match.damped_hz, 1).text,
                                 quell_number_percent(fabs(1 / (1 + view->match.off) - 1)).text, view->match.off > 0 ? "lower" : "higher");
    return text != NULL ? text : "";
}

static const char *damping_agreement(const cli_run *run, const ripple_view *view)
{
    const quell_part_finding *found = &view->found;
    const quell_mode *mode = &view->modes.mode[view->match.mode];
    if (!view->matched || !view->match.agrees || !isfinite(found->damping_ratio_ci95[0]))
        return "";
    bool apart = found->damping_ratio_ci95[1] < mode->damping_ratio_ci95[0] || found->damping_ratio_ci95[0] > mode->damping_ratio_ci95[1];
    const char *text = quell_arena_print(run->arena, " Its damping ratio there is %s: the heights %s.",
                                         quell_number_short(mode->damping_ratio, 2).text,
                                         apart ? "do not agree, which a bead's shape may do; believe the recording" : "agree");
    return text != NULL ? text : "";
}

void ripple_print(cli_run *run, const ripple_view *view)
{
    if (view->part.readings > 0)
        print_readings(run, view);
    print_numbers(view);
    if (view->found.pitches > 0 && view->part.readings > 0 && view->found.cause != QUELL_PART_RINGING)
        print_pitches(run, view);
    if (view->file != NULL && view->found.cause != QUELL_PART_PITCH && view->found.cause != QUELL_PART_EXTRUSION) {
        const char *text = quell_arena_print(run->arena, "%s%s", agreement(run, view), damping_agreement(run, view));
        putchar('\n');
        quell_words_print(stdout, "", "", WIDTH, text != NULL ? text : "");
    }
}

/* ---------------------------------------------------------------- words */

static void say_pitch(const cli_run *run, const ripple_view *view)
{
    bool any = false;
    for (size_t i = 0; i < view->found.pitches; i++)
        if (view->found.pitch[i].agrees) {
            cli_say(run, "The spacing is that of one %s: no shaper removes this. Look at the drive: belt, pulley, motor current, "
                         "bearings.",
                    view->found.pitch[i].name);
            any = true;
        }
    if (!any && view->found.pitches > 0)
        cli_say(run, "It is no pitch of the drive as given: an idler, a bearing, an extruder's gear or the slicer's own pattern? No "
                     "shaper removes this.");
    if (view->found.pitches == 0)
        cli_say(run, "Something of the machine repeats with its travel: no shaper removes this. With --belt-pitch, --pulley-teeth "
                     "and --steps-per-turn it is named. On a diagonal wall the pitch shows stretched.");
}

void ripple_say(const cli_run *run, const ripple_view *view)
{
    const quell_part_finding *found = &view->found;
    cli_say(run, "Judged by common practice: ringing leaves ripples in proportion to the speed, dying after corners; the drive "
                 "leaves them alike at every speed; extrusion leaves a bulge on one side of a corner.");
    if (view->calliper_assumed && view->part.readings > 0)
        cli_say(run, "Lengths are taken to be good to %s mm, as read by eye with a calliper; --calliper says otherwise. Over more "
                     "ripples (--count) this matters less. For shrinkage and speed another %s %% is allowed.",
                quell_number_short(1e3 * RIPPLE_CALLIPER_M, 3).text, quell_number_percent(QUELL_PART_RELATIVE_ERROR).text);
    if (found->cause == QUELL_PART_PITCH)
        say_pitch(run, view);
    if (found->cause == QUELL_PART_RINGING)
        cli_say(run, "The frequency is the damped one. It holds where the speed was reached: measure beyond the way that the "
                     "acceleration takes after the corner, v^2 / (2 a).");
    if (found->cause == QUELL_PART_EXTRUSION)
        cli_say(run, "No shaper removes it: look at pressure, retraction and flow at the corners.");
    if (view->part.one_sided && view->part.readings > 0)
        cli_say(run, "A bulge on one side of the corners is extrusion, besides the ripple that is measured here.");
    if (view->part.heights > 0)
        cli_say(run, isfinite(found->damping_ratio)
                         ? "The damping ratio is rough: bead and layer distort the heights. A recording tells it better."
                         : "Damping: %s.",
                found->damping_why);
}
