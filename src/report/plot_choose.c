/* Residual vibration against frequency, and residual against spread, for the candidates of a choice. */
#include "report/plot_choose.h"
#include "quell/report.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { CURVES_MAX = 5, CURVE_POINTS = 500 };

/* The rows drawn as curves: the chosen, the runner-up, the old setting, then the rest in order. */
static size_t leading_rows(const quell_axis_choice *choice, size_t *row)
{
    size_t count = 0;
    const int first[] = {choice->chosen, choice->runner_up, choice->old};
    for (size_t i = 0; i < sizeof first / sizeof first[0]; i++) {
        bool drawn = first[i] < 0 || first[i] == choice->none;
        for (size_t j = 0; j < count; j++)
            drawn = drawn || row[j] == (size_t)first[i];
        if (!drawn)
            row[count++] = (size_t)first[i];
    }
    for (size_t i = 0; i < choice->count && count < CURVES_MAX; i++) {
        bool skip = choice->candidate[i].is_none || choice->candidate[i].is_old ||
                    choice->candidate[i].shaper.count == 0;
        for (size_t j = 0; j < count; j++)
            skip = skip || row[j] == i;
        if (!skip)
            row[count++] = i;
    }
    return count;
}

/* What a point or curve is called: the family, and what part it plays. */
static void label_of(const quell_axis_choice *choice, size_t i, char *out, size_t size)
{
    snprintf(out, size, "%s%s", choice->candidate[i].title, (int)i == choice->chosen ? ", chosen" : "");
}

/* ---------------------------------------------------------------- residual against frequency */

static void add_curve(quell_plot *plot, const quell_axis_choice *choice, size_t i, size_t place,
                      double damping_ratio, const double range_hz[2])
{
    static const quell_ink inks[CURVES_MAX] = {QUELL_INK_MAIN, QUELL_INK_SECOND, QUELL_INK_THIRD,
                                               QUELL_INK_FOURTH, QUELL_INK_FIFTH};
    static const quell_mark marks[CURVES_MAX] = {QUELL_MARK_LINE, QUELL_MARK_DASHED, QUELL_MARK_DOTTED,
                                                 QUELL_MARK_DASHED, QUELL_MARK_DOTTED};
    double hz[CURVE_POINTS], residual[CURVE_POINTS];
    char label[96];
    for (size_t j = 0; j < CURVE_POINTS; j++) {
        hz[j] = range_hz[0] + (range_hz[1] - range_hz[0]) * (double)j / (CURVE_POINTS - 1);
        residual[j] = 100 * quell_residual(&choice->candidate[i].shaper, hz[j], damping_ratio);
    }
    label_of(choice, i, label, sizeof label);
    quell_plot_curve(plot, marks[place], inks[place], place == 0 ? 2.5 : 1.5, hz, residual, NULL,
                     CURVE_POINTS, label, (double)NAN);
}

static void frequency_panel(quell_plot *plot, const quell_axis_choice *choice, const quell_modes *modes)
{
    size_t row[CURVES_MAX], curves = leading_rows(choice, row);
    double range_hz[2] = {HUGE_VAL, 0}, damping_ratio = modes->mode[choice->strongest].damping_ratio;
    char title[128], label[128];
    snprintf(title, sizeof title, "%c axis: residual vibration of a mode of damping ratio %s",
             choice->axis - 'a' + 'A', quell_number_fixed(damping_ratio, 3).text);
    quell_plot_panel(plot, title, "natural frequency (Hz)", "residual vibration V (%)");
    for (size_t k = 0; k < choice->modes; k++) {
        range_hz[0] = fmin(range_hz[0], 0.6 * choice->uncertainty_hz[k][0]);
        range_hz[1] = fmax(range_hz[1], 1.5 * choice->uncertainty_hz[k][1]);
        snprintf(label, sizeof label, "mode %zu, weight %s %%", k + 1,
                 quell_number_percent(choice->weight[k]).text);
        quell_plot_stretch(plot, choice->uncertainty_hz[k][0], choice->uncertainty_hz[k][1], label);
    }
    quell_plot_x_range(plot, range_hz[0], range_hz[1], false);
    for (size_t place = curves; place-- > 0;) /* the chosen one last, on top */
        add_curve(plot, choice, row[place], place, damping_ratio, range_hz);
    snprintf(label, sizeof label, "limit%s, %s %%", choice->modes > 1 ? " of the weighted sum" : "",
             quell_number_percent(choice->residual_limit).text);
    quell_plot_level(plot, 100 * choice->residual_limit, label);
    quell_plot_height(plot, 1.2);
}

/* ---------------------------------------------------------------- residual against spread */

/* Shades what misses the limit: a line would cross the labels of the many points that lie just on it. */
static void shade_misses(quell_plot *plot, double limit_percent, double most_ms, double most_percent)
{
    const double x[] = {0, most_ms}, low[] = {limit_percent, limit_percent},
                 high[] = {most_percent, most_percent};
    quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_GREY, 1, x, low, high, 2, "", (double)NAN);
}

static void spread_panel(quell_plot *plot, const quell_axis_choice *choice)
{
    char title[160];
    double most_ms = 0, most_percent = 100 * choice->residual_limit;
    for (size_t i = 0; i < choice->count; i++) {
        const quell_candidate *row = &choice->candidate[i];
        if (row->is_none || row->shaper.count == 0)
            continue;
        most_ms = fmax(most_ms, 1.2e3 * row->spread_s);
        most_percent = fmax(most_percent, 100 * row->residual_worst);
    }
    most_percent *= 1.2;
    snprintf(title, sizeof title,
             "%c axis: what each candidate leaves and costs; shaded: over the limit of %s %%",
             choice->axis - 'a' + 'A', quell_number_percent(choice->residual_limit).text);
    quell_plot_panel(plot, title, "spread (ms)", "worst residual R (%)");
    shade_misses(plot, 100 * choice->residual_limit, most_ms, most_percent);
    for (size_t i = 0; i < choice->count; i++) {
        const quell_candidate *row = &choice->candidate[i];
        if (row->is_none || row->shaper.count == 0)
            continue;
        quell_plot_note(plot, row->spread_s * 1e3, 100 * row->residual_worst, row->title, true);
        if ((int)i == choice->chosen)
            quell_plot_stretch(plot, row->spread_s * 1e3, row->spread_s * 1e3, "chosen");
    }
    quell_plot_x_range(plot, 0, most_ms, false);
    quell_plot_y_range(plot, 0, most_percent);
}

quell_status quell_plot_choice(const quell_axis_choice *const *choice, const quell_modes *const *modes,
                               size_t axes, const char *path, const char *keep_dir, quell_error *err)
{
    quell_plot *plot = quell_plot_create("Candidates for each axis");
    if (plot == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the plot");
    size_t drawn = 0;
    for (size_t i = 0; i < axes; i++) {
        if (choice[i]->modes == 0)
            continue;
        frequency_panel(plot, choice[i], modes[i]);
        spread_panel(plot, choice[i]);
        drawn++;
    }
    quell_status status =
        drawn > 0 ? quell_plot_draw(plot, path, keep_dir, err)
                  : quell_fail(err, QUELL_E_NOT_MET, "no mode was found, so there is nothing to draw");
    quell_plot_destroy(plot);
    return status;
}
