/* `quell choose` for people: one table an axis, and the choice in words. */
#include "cli/choose_view.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

const quell_candidate *choose_row(const quell_axis_choice *choice, int index)
{
    return index >= 0 ? &choice->candidate[index] : NULL;
}

void choose_judge_pair(choose_view *view)
{
    const quell_candidate *row[2] = {NULL, NULL};
    for (size_t i = 0; i < view->axes; i++)
        row[i] = choose_row(view->axis[i].choice, view->axis[i].choice->chosen);
    view->has_pair = row[0] != NULL && row[1] != NULL;
    if (view->has_pair)
        view->pair = quell_pair_judge(&view->machine, &row[0]->shaper, &row[1]->shaper);
}

double choose_ripple_sum_um(const quell_axis_choice *choice, const quell_candidate *row, double ci95_um[2])
{
    double sum = 0;
    ci95_um[0] = ci95_um[1] = 0;
    for (size_t k = 0; k < choice->modes; k++) {
        sum += row->ripple_m[k] * 1e6;
        for (size_t side = 0; side < 2; side++)
            ci95_um[side] += row->ripple_ci95_m[k][side] * 1e6;
    }
    return sum;
}

/* Formatted text in the run's arena; "" if memory is out, which the words can do without. */
static const char *say(cli_run *run, const char *format, ...) QUELL_PRINTF(2, 3);
static const char *say(cli_run *run, const char *format, ...)
{
    char text[1024];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    const char *copy = quell_arena_copy(run->arena, text, strlen(text));
    return copy != NULL ? copy : "";
}

/* A number for a line of words; lives to the end of the full expression it is made in. */
typedef struct number {
    char text[40];
} number;

static number fixed(double value, int decimals)
{
    number made;
    quell_number_print_fixed(made.text, sizeof made.text, value, decimals);
    return made;
}

static number percent(double share)
{
    double value = 100 * share;
    return fixed(value, value >= 99.5 || fabs(value - round(value)) < 5e-3 ? 0 : 1);
}

/* ---------------------------------------------------------------- table */

static bool has_design_point(const quell_candidate *row)
{
    return !row->is_none && strcmp(row->family_id, "impulses") != 0 && row->shaper.count > 0;
}

/* The title without "old setting: ", which the mark tells. Long names of families are shortened so that the table
   keeps to 80 columns. */
static const char *short_title(const quell_candidate *row)
{
    static const char *const brief[][2] = {{"two-hump EI", "2-hump EI"}, {"three-hump EI", "3-hump EI"}};
    const char *colon = row->is_old ? strstr(row->title, ": ") : NULL;
    const char *title = colon != NULL ? colon + 2 : row->title;
    for (size_t i = 0; i < sizeof brief / sizeof brief[0]; i++)
        if (strcmp(title, brief[i][0]) == 0)
            return brief[i][1];
    return title;
}

static char mark_of(const quell_axis_choice *choice, int index)
{
    return index == choice->chosen      ? '*'
           : index == choice->runner_up ? '+'
           : index == choice->old       ? 'o'
                                        : ' ';
}

static void cell_name(quell_table *table, const quell_axis_choice *choice, size_t i)
{
    const quell_candidate *row = &choice->candidate[i];
    bool both = (int)i == choice->old && mark_of(choice, (int)i) != 'o';
    quell_table_cell(table, "%c%s %s%s%s", mark_of(choice, (int)i), both ? "o" : "", short_title(row),
                     has_design_point(row) ? " " : "",
                     has_design_point(row) ? fixed(row->shaper.at.frequency_hz, 1).text : "");
}

/* The stretch that holds the strongest mode's estimate; "no" if that is not covered. */
static void cell_covers(quell_table *table, const quell_axis_choice *choice, const quell_candidate *row,
                        const quell_modes *modes)
{
    size_t strongest = 0;
    for (size_t k = 1; k < choice->modes; k++)
        if (choice->weight[k] > choice->weight[strongest])
            strongest = k;
    double hz = modes->mode[strongest].frequency_hz;
    for (size_t i = 0; i < row->covers_count; i++)
        if (row->covers_hz[i][0] <= hz && row->covers_hz[i][1] >= hz) {
            quell_table_cell(table, "%s-%s", fixed(row->covers_hz[i][0], 0).text,
                             fixed(row->covers_hz[i][1], 0).text);
            return;
        }
    quell_table_cell(table, "%s", row->shaper.count > 0 ? "no" : "-");
}

static void cell_ripple(quell_table *table, const quell_axis_choice *choice, const quell_candidate *row)
{
    double ci95_um[2], um = choose_ripple_sum_um(choice, row, ci95_um);
    if (isnan(um))
        quell_table_cell(table, "-");
    else
        quell_table_cell(table, "%s (%s-%s)", fixed(um, 0).text, fixed(ci95_um[0], 0).text,
                         fixed(ci95_um[1], 0).text);
}

static void cell_limit(quell_table *table, const quell_candidate *row)
{
    double limit = row->acceleration_limit_mps2;
    if (isinf(limit))
        quell_table_cell(table, "any");
    else
        quell_table_number(table, floor(limit * 1e3), 0);
}

static void print_table(cli_run *run, const choose_axis_view *axis)
{
    static const quell_column columns[] = {
        {"shaper", "at Hz", true}, {"R", "%", false},         {"max", "%", false},
        {"covers", "Hz", false},   {"ripple", "um", false},   {"spread", "ms", false},
        {"rounds", "um", false},   {"limit", "mm/s2", false}, {"delay", "ms", false}};
    const quell_axis_choice *choice = axis->choice;
    quell_table *table = quell_table_create(run->arena, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < choice->count; i++) {
        const quell_candidate *row = &choice->candidate[i];
        cell_name(table, choice, i);
        quell_table_cell(table, "%s",
                         isnan(row->residual_nominal) ? "-" : percent(row->residual_nominal).text);
        quell_table_cell(table, "%s", isnan(row->residual_worst) ? "-" : percent(row->residual_worst).text);
        cell_covers(table, choice, row, axis->modes);
        cell_ripple(table, choice, row);
        quell_table_number(table, row->spread_s * 1e3, 2);
        quell_table_number(table, row->rounding_m * 1e6, 0);
        cell_limit(table, row);
        quell_table_number(table, row->delay_s * 1e3, 1);
    }
    quell_table_print(table, stdout, 0);
    puts("*: chosen; +: runner-up; o: old setting; R: left at the estimates; max: at worst");
}

/* ---------------------------------------------------------------- words */

/* Words beside a head, in a column of their own. */
static void print_words(cli_run *run, const char *head, const char *text)
{
    quell_words_print(stdout, say(run, "%-14s", head), "              ", 79, text);
}

static const char *describe_mode(cli_run *run, const choose_axis_view *axis, size_t k)
{
    const quell_axis_choice *choice = axis->choice;
    const quell_mode *mode = &axis->modes->mode[k];
    const double *hz = choice->uncertainty_hz[k], *zeta = choice->uncertainty_zeta[k];
    const char *ripple =
        isnan(choice->unshaped_ripple_m[k])
            ? ""
            : say(run, ", ripple %s um without a shaper", fixed(choice->unshaped_ripple_m[k] * 1e6, 0).text);
    return say(run,
               "%s Hz, damping ratio %s, weight %s %%%s; judged from %s to %s Hz, damping ratio %s to %s",
               fixed(mode->frequency_hz, 1).text, fixed(mode->damping_ratio, 3).text,
               percent(choice->weight[k]).text, ripple, fixed(hz[0], 1).text, fixed(hz[1], 1).text,
               fixed(zeta[0], 3).text, fixed(zeta[1], 3).text);
}

static void print_head(cli_run *run, const choose_axis_view *axis)
{
    const quell_axis_choice *choice = axis->choice;
    printf("%c axis: residual limit %s %%, drift %s %%\n", axis->name == 'x' ? 'X' : 'Y',
           isnan(choice->residual_limit) ? "-" : percent(choice->residual_limit).text,
           percent(axis->drift).text);
    for (size_t k = 0; k < choice->modes; k++) {
        print_words(run, say(run, "mode %zu", k + 1), describe_mode(run, axis, k));
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
            has_design_point(row)
                ? say(run, "%s Hz, damping ratio %s: ", fixed(row->shaper.at.frequency_hz, 2).text,
                      fixed(row->shaper.at.damping_ratio, 3).text)
                : "";
        print_words(run, say(run, "%c %s", mark_of(choice, (int)i), short_title(row)),
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
        number seconds[3];
        for (size_t i = 0; i < 3; i++)
            seconds[i] = fixed(
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
                     fixed(pair->rounding_m * 1e6, 0).text, fixed(pair->acceleration_mps2 * 1e3, 0).text);
    if (delay_ms >= 0.005)
        delay = say(run, "%c is %s ms earlier than %c%s", "xy"[early], fixed(delay_ms, 2).text, "yx"[early],
                    can_delay ? say(run, ": delay %c by that", "xy"[early]) : "");
    if (delay_ms >= 0.005 && !isnan(pair->corner_error_m))
        effect = say(run, can_delay ? ", which takes %s um off" : ", which adds %s um of that",
                     fixed(pair->corner_error_m * 1e6, 0).text);
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
            print_table(run, axis);
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
