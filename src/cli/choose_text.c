/* `quell choose` for people: what was found on each axis, the table, and the choice in words. */
#include "cli/choose_view.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Formatted text in the run's arena; "" if memory is out, which the words can do without. */
static const char *say(cli_run *run, const char *format, ...) QUELL_PRINTF(2, 3);
static const char *say(cli_run *run, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    const char *text = quell_arena_print_list(run->arena, format, arguments);
    va_end(arguments);
    return text != NULL ? text : "";
}

/* Words beside a head, in a column of their own. */
static void print_words(cli_run *run, const char *head, const char *text)
{
    quell_words_print(stdout, say(run, "%-14s", head), "              ", 79, text);
}

/* Where modes differ in their drift, each one's. */
static const char *own_drift(cli_run *run, const choose_axis_view *axis, size_t k)
{
    size_t most;
    choose_drift(axis, &most);
    if (strcmp(choose_drift_source(axis, most), "recordings") != 0 || axis->modes->count < 2)
        return "";
    return say(run, " (drift %s %%, %s)", quell_number_percent(choose_drift_of(axis, k)).text,
               choose_drift_words(run, axis, k));
}

/* How recordings scatter, for a mode; NULL for a single one. */
static const char *describe_spread(cli_run *run, const choose_axis_view *axis, size_t k)
{
    const quell_mode_spread *spread = &axis->spread[k];
    if (spread->recordings < 2)
        return NULL;
    const char *far =
        cli_condition(axis->recording[spread->farthest].file, axis->recording[spread->farthest].label);
    return say(run, "scatters by %s Hz over %zu recordings (error of one: %s Hz)%s",
               quell_number_fixed(spread->frequency_hz, 2).text, spread->recordings,
               quell_number_fixed(spread->within_frequency_hz, 2).text,
               spread->half_range_hz > 0 ? say(run, ", most in %s (%s Hz)", far,
                                               quell_number_fixed(spread->found_hz[spread->farthest], 1).text)
                                         : "");
}

/* The condition in which most is left by what was chosen. */
static void print_worst(cli_run *run, const choose_axis_view *axis)
{
    const modes_recording *worst = &axis->recording[axis->worst];
    if (axis->left == NULL)
        return;
    double hz = axis->spread[axis->choice->strongest].found_hz[axis->worst];
    print_words(run, "conditions",
                say(run, "worst condition: %s%s, %s %% left there at its estimates",
                    cli_condition(worst->file, worst->label),
                    isnan(hz) ? "" : say(run, " (%s Hz)", quell_number_fixed(hz, 1).text),
                    quell_number_percent(axis->left[axis->worst]).text));
}

static const char *describe_mode(cli_run *run, const choose_axis_view *axis, size_t k)
{
    const quell_axis_choice *choice = axis->choice;
    const quell_mode *mode = &axis->modes->mode[k];
    const double *hz = choice->uncertainty_hz[k], *zeta = choice->uncertainty_zeta[k];
    const char *ripple = isnan(choice->unshaped_ripple_m[k])
                             ? ""
                             : say(run, ", ripple %s um without a shaper",
                                   quell_number_fixed(choice->unshaped_ripple_m[k] * 1e6, 0).text);
    return say(
        run, "%s Hz, damping ratio %s, weight %s %%%s; judged from %s to %s Hz%s, damping ratio %s to %s",
        quell_number_fixed(mode->frequency_hz, 1).text, quell_number_fixed(mode->damping_ratio, 3).text,
        quell_number_percent(choice->weight[k]).text, ripple, quell_number_fixed(hz[0], 1).text,
        quell_number_fixed(hz[1], 1).text, own_drift(run, axis, k), quell_number_fixed(zeta[0], 3).text,
        quell_number_fixed(zeta[1], 3).text);
}

static void print_head(cli_run *run, const choose_axis_view *axis)
{
    const quell_axis_choice *choice = axis->choice;
    size_t most;
    double drift = choose_drift(axis, &most);
    quell_words_print(
        stdout, "", "  ", 79,
        say(run, "%c axis: residual limit %s %%, drift %s %%, %s", axis->name == 'x' ? 'X' : 'Y',
            isnan(choice->residual_limit) ? "-" : quell_number_percent(choice->residual_limit).text,
            quell_number_percent(drift).text, choose_drift_words(run, axis, most)));
    cli_print_cautions(&axis->findings, "  ");
    for (size_t k = 0; k < choice->modes; k++) {
        print_words(run, say(run, "mode %zu", k + 1), describe_mode(run, axis, k));
        const char *spread = describe_spread(run, axis, k);
        if (spread != NULL)
            print_words(run, "", spread);
        for (size_t i = 0; i < axis->modes->mode[k].doubts; i++)
            print_words(run, "  doubt", axis->modes->mode[k].doubt[i]);
    }
}

static void print_reasons(cli_run *run, const choose_axis_view *axis)
{
    const quell_axis_choice *choice = axis->choice;
    for (size_t i = 0; i < choice->count; i++) {
        const quell_candidate *row = &choice->candidate[i];
        const char *point =
            choose_has_design_point(row)
                ? say(run,
                      "%s Hz, damping ratio %s: ", quell_number_fixed(row->shaper.at.frequency_hz, 2).text,
                      quell_number_fixed(row->shaper.at.damping_ratio, 3).text)
                : "";
        print_words(run, say(run, "%c %s", choose_mark(choice, (int)i), choose_short_title(row)),
                    say(run, "%s%s", point, row->reason));
    }
}

/* Times of strokes without a shaper, with the old setting and with the one chosen. */
static void print_strokes(cli_run *run, const choose_view *view, const choose_axis_view *axis)
{
    static const double length_m[] = {0.010, 0.050, 0.200};
    const quell_axis_limits *limits = &view->machine.axis[axis->name == 'y' ? 1 : 0];
    const quell_axis_choice *choice = axis->choice;
    const struct {
        int index;
        const char *words;
    } with[] = {{choice->none, "no shaper"}, {choice->old, "old setting"}, {choice->chosen, "chosen"}};
    if (isnan(limits->speed_mps) || isnan(limits->acceleration_mps2))
        return;
    const char *text = "10, 50 and 200 mm take";
    for (size_t w = 0; w < sizeof with / sizeof with[0]; w++) {
        const quell_candidate *row = choose_row(choice, with[w].index);
        if (row == NULL || (w > 0 && row->is_none))
            continue;
        quell_number_text seconds[3];
        for (size_t i = 0; i < 3; i++)
            seconds[i] = quell_number_fixed(
                quell_stroke_time(length_m[i], limits->speed_mps, limits->acceleration_mps2, &row->shaper),
                3);
        text = say(run, "%s%s %s, %s, %s s (%s)", text, w > 0 ? ";" : "", seconds[0].text, seconds[1].text,
                   seconds[2].text, with[w].words);
    }
    print_words(run, "strokes of", text);
}

static void print_list(cli_run *run, const char *head, const char *const *text, size_t count)
{
    for (size_t i = 0; i < count; i++)
        print_words(run, i == 0 ? head : "", text[i]);
}

/* Notes that the first axis printed already are not repeated for the second. */
static void print_notes(cli_run *run, const choose_view *view, const choose_axis_view *axis)
{
    const quell_axis_choice *first = view->axis[0].choice, *choice = axis->choice;
    bool headed = false;
    for (size_t i = 0; i < choice->notes_count; i++) {
        bool known = false;
        for (size_t j = 0; choice != first && j < first->notes_count; j++)
            known = known || strcmp(choice->note[i], first->note[j]) == 0;
        if (known)
            continue;
        print_words(run, headed ? "" : "notes", choice->note[i]);
        headed = true;
    }
}

static void print_choice(cli_run *run, const choose_view *view, const choose_axis_view *axis)
{
    const quell_axis_choice *choice = axis->choice;
    print_words(run, choice->chosen >= 0 ? "chosen" : "not chosen", choice->why);
    if (choice->setting != NULL)
        print_words(run, "setting", choice->setting);
    print_worst(run, axis);
    print_list(run, "two ways out", choice->way_out, choice->ways_out_count);
    if (choice->chosen >= 0)
        print_strokes(run, view, axis);
    print_list(run, "would change", choice->would_change, choice->would_change_count);
    print_notes(run, view, axis);
}

/* ---------------------------------------------------------------- both axes */

static void print_pair(cli_run *run, const choose_view *view)
{
    const quell_pair *pair = &view->pair;
    bool can_delay = view->machine.controller.axis_delay;
    size_t early = pair->axis_delay_s[0] > 0 ? 0 : 1;
    double delay_ms = pair->axis_delay_s[early] * 1e3;
    const char *corner = "", *delay = "both axes are equally late", *effect = "";
    if (!isnan(pair->rounding_m))
        corner = say(run, "with both settings a right-angled corner is rounded by %s um at %s mm/s2; ",
                     quell_number_fixed(pair->rounding_m * 1e6, 0).text,
                     quell_number_fixed(pair->acceleration_mps2 * 1e3, 0).text);
    if (delay_ms >= 0.005)
        delay = say(run, "%c is %s ms earlier than %c%s", "xy"[early], quell_number_fixed(delay_ms, 2).text,
                    "yx"[early], can_delay ? say(run, ": delay %c by that", "xy"[early]) : "");
    if (delay_ms >= 0.005 && !isnan(pair->corner_error_m))
        effect = say(run, can_delay ? ", which takes %s um off" : ", which adds %s um of that",
                     quell_number_fixed(pair->corner_error_m * 1e6, 0).text);
    print_words(run, "both axes", say(run, "%s%s%s", corner, delay, effect));
}

quell_status choose_print(cli_run *run, const choose_view *view)
{
    for (size_t i = 0; i < view->axes; i++) {
        const choose_axis_view *axis = &view->axis[i];
        if (i > 0)
            putchar('\n');
        print_head(run, axis);
        putchar('\n');
        if (axis->choice->count > 0) {
            choose_print_table(run, axis);
            putchar('\n');
            print_reasons(run, axis);
            putchar('\n');
        }
        print_choice(run, view, axis);
    }
    putchar('\n');
    if (view->has_pair)
        print_pair(run, view);
    print_words(run, "rule",
                "of the settings that the controller takes and that keep R within the limit at the worst, "
                "the least spread; "
                "within 3 % of that, the one that covers more");
    return QUELL_OK;
}
