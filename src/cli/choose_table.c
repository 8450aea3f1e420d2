/* `quell choose`: the table of one axis, and how rows and numbers are written. */
#include "cli/choose_view.h"

#include <math.h>
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

bool choose_has_design_point(const quell_candidate *row)
{
    bool list = strcmp(row->family_id, "impulses") == 0 || strcmp(row->family_id, "tailored") == 0 ||
                strcmp(row->family_id, "convolved") == 0;
    return !row->is_none && !list && row->shaper.count > 0;
}

/* The title without "old setting: ", which the mark tells. Long names of families are shortened so that the table
   keeps to 80 columns. */
const char *choose_short_title(const quell_candidate *row)
{
    static const char *const brief[][2] = {
        {"two-hump EI", "2-hump EI"}, {"three-hump EI", "3-hump EI"}, {"raised cosine", "raised cos"}};
    const char *colon = row->is_old ? strstr(row->title, ": ") : NULL;
    const char *title = colon != NULL ? colon + 2 : row->title;
    for (size_t i = 0; i < sizeof brief / sizeof brief[0]; i++)
        if (strcmp(title, brief[i][0]) == 0)
            return brief[i][1];
    return title;
}

char choose_mark(const quell_axis_choice *choice, int index)
{
    return index == choice->chosen      ? '*'
           : index == choice->runner_up ? '+'
           : index == choice->old       ? 'o'
                                        : ' ';
}

/* A share in percent, to a tenth while that says something. */
static void cell_share(quell_table *table, double share)
{
    quell_table_number(table, 100 * share, share >= 0.995 ? 0 : 1);
}

static void cell_name(quell_table *table, const quell_axis_choice *choice, size_t i)
{
    const quell_candidate *row = &choice->candidate[i];
    bool both = (int)i == choice->old && choose_mark(choice, (int)i) != 'o';
    quell_table_cell(table, "%c%s %s%s%s", choose_mark(choice, (int)i), both ? "o" : "",
                     choose_short_title(row), choose_has_design_point(row) ? " " : "",
                     choose_has_design_point(row) ? quell_number_fixed(row->shaper.at.frequency_hz, 1).text
                                                  : "");
}

/* The stretch that holds the strongest mode's estimate; "no" if that is not covered. */
static void cell_covers(quell_table *table, const quell_axis_choice *choice, const quell_candidate *row,
                        const quell_modes *modes)
{
    double hz = modes->mode[choice->strongest].frequency_hz;
    for (size_t i = 0; i < row->covers_count; i++)
        if (row->covers_hz[i][0] <= hz && row->covers_hz[i][1] >= hz) {
            quell_table_cell(table, "%s-%s", quell_number_fixed(row->covers_hz[i][0], 0).text,
                             quell_number_fixed(row->covers_hz[i][1], 0).text);
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
        quell_table_cell(table, "%s (%s-%s)", quell_number_fixed(um, 0).text,
                         quell_number_fixed(ci95_um[0], 0).text, quell_number_fixed(ci95_um[1], 0).text);
}

static void cell_limit(quell_table *table, const quell_candidate *row)
{
    double limit = row->acceleration_limit_mps2;
    if (isinf(limit))
        quell_table_cell(table, "any");
    else
        quell_table_number(table, floor(limit * 1e3), 0);
}

void choose_print_table(cli_run *run, const choose_axis_view *axis)
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
        cell_share(table, row->residual_nominal);
        cell_share(table, row->residual_worst);
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
