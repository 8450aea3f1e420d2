/* quell predict: what a person reads. */
#include "cli/predict_view.h"

#include <math.h>

static void print_move(const predict_view *view)
{
    const quell_corner_move *move = &view->move;
    printf("move        ");
    if (move->from_mps > 0)
        printf("from %s mm/s", quell_number_short(1e3 * move->from_mps, 4).text);
    else
        printf("a corner at %s mm/s", quell_number_short(1e3 * move->corner_mps, 4).text);
    if (move->from_mps > 0 && move->corner_mps > 0)
        printf(" to a corner at %s mm/s", quell_number_short(1e3 * move->corner_mps, 4).text);
    else if (move->from_mps > 0)
        printf(" to rest");
    if (move->acceleration_mps2 > 0)
        printf(", braking at %s mm/s2", quell_number_short(1e3 * move->acceleration_mps2, 5).text);
    if (move->jerk_mps3 > 0)
        printf(", jerk %s m/s3", quell_number_short(move->jerk_mps3, 4).text);
    printf("\nwall        drawn at %s mm/s%s%s\n", quell_number_short(1e3 * move->wall_mps, 4).text,
           view->axis != 0 ? ", by the axis at right angles to " : "",
           view->axis == 'x' ? "X" : view->axis == 'y' ? "Y" : "");
    if (view->wall_assumed)
        printf("            that is the corner's speed: --speed states the wall's own\n");
    if (view->has_shaper)
        printf("shaper      %s\n", view->shaper_name);
    putchar('\n');
}

/* Lengths: enough digits for the interval; nothing where participation is not known. */
static void amplitude_cells(quell_table *table, const predict_view *view, size_t k, const quell_ripple *ripple)
{
    bool known = isfinite(view->modes->mode[k].participation);
    double um = known ? 1e6 * ripple->amplitude_m : (double)NAN;
    quell_table_number(table, um, um < 10 ? 2 : 1);
    if (known && isfinite(ripple->amplitude_ci95_m[0])) {
        int decimals = 1e6 * ripple->amplitude_ci95_m[1] < 10 ? 2 : 1;
        quell_table_cell(table, "%s to %s", quell_number_fixed(1e6 * ripple->amplitude_ci95_m[0], decimals).text,
                         quell_number_fixed(1e6 * ripple->amplitude_ci95_m[1], decimals).text);
    } else {
        quell_table_cell(table, "-");
    }
}

static void print_modes(cli_run *run, const predict_view *view)
{
    static const quell_column columns[] = {{"mode", "Hz", false},   {"damping", "ratio", false}, {"spacing", "mm", false},
                                           {"ripple", "um", false}, {"95 %", "um", false},       {"shaped", "um", false},
                                           {"95 %", "um", false},   {"left", "%", false}};
    size_t count = view->has_shaper ? 8 : 5;
    quell_table *table = quell_table_create(run->arena, columns, count);
    for (size_t k = 0; k < view->modes->count; k++) {
        const quell_mode *mode = &view->modes->mode[k];
        quell_table_number(table, mode->frequency_hz, 2);
        quell_table_number(table, mode->damping_ratio, 4);
        quell_table_number(table, 1e3 * view->unshaped.ripple[k].spacing_m, 2);
        amplitude_cells(table, view, k, &view->unshaped.ripple[k]);
        if (!view->has_shaper)
            continue;
        amplitude_cells(table, view, k, &view->shaped.ripple[k]);
        quell_table_number(table, 100 * quell_residual(&view->shaper, mode->frequency_hz, mode->damping_ratio), 1);
    }
    quell_table_print(table, stdout, 0);
}

/* "80", "4.2", "less than 0.01" */
static quell_number_text short_um(double metres)
{
    quell_number_text text = quell_number_short(1e6 * metres, 3);
    if (1e6 * metres < 0.01)
        snprintf(text.text, sizeof text.text, "less than 0.01");
    return text;
}

static void print_together(const predict_view *view)
{
    if (!view->has_amplitude)
        return;
    printf("\ntogether    the largest deflection after the move is %s um",
           short_um(view->unshaped.largest_m).text);
    if (view->has_shaper)
        printf(", with the shaper %s um", short_um(view->shaped.largest_m).text);
    putchar('\n');
}

static void print_rounding(const predict_view *view)
{
    if (!view->has_shaper)
        return;
    if (isnan(view->rounding_m))
        printf("rounding    not known without an acceleration\n");
    else
        printf("rounding    the path leaves a right-angled corner by up to %s um, measured from the\n"
               "            nearer wall (the tip is missed by 1.4 times that); both axes shaped so\n",
               quell_number_short(1e6 * view->rounding_m, 3).text);
    if (isnan(view->rounding_limit_m))
        return;
    printf("limit       ");
    if (isnan(view->acceleration_limit_mps2))
        printf("the corner speed alone rounds it by more than %s mm\n", quell_number_short(1e3 * view->rounding_limit_m, 4).text);
    else if (isinf(view->acceleration_limit_mps2))
        printf("%s mm are kept at any acceleration\n", quell_number_short(1e3 * view->rounding_limit_m, 4).text);
    else
        printf("%s mm are kept up to %s mm/s2\n", quell_number_short(1e3 * view->rounding_limit_m, 4).text,
               quell_number_fixed(floor(1e3 * view->acceleration_limit_mps2), 0).text);
}

static void print_what_to_look_for(const predict_view *view)
{
    putchar('\n');
    for (size_t k = 0; k < view->modes->count; k++)
        printf("%s%s mm ripples at %s mm/s: %s Hz\n", k == 0 ? "look for    " : "            ",
               quell_number_short(1e3 * view->unshaped.ripple[k].spacing_m, 3).text,
               quell_number_short(1e3 * view->move.wall_mps, 4).text,
               quell_number_short(view->modes->mode[k].frequency_hz, 4).text);
    if (view->move.acceleration_mps2 > 0 && view->move.wall_mps > view->move.corner_mps)
        printf("            closer together near the corner, while it still speeds up\n");
}

void predict_print(cli_run *run, const predict_view *view)
{
    print_move(view);
    print_modes(run, view);
    print_together(view);
    print_rounding(view);
    print_what_to_look_for(view);
}
