/* Residual vibration against frequency, and residual against spread, for the candidates of a choice. */
#include "report/plot_choose.h"
#include "quell/predict.h"
#include "quell/report.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { CURVES_MAX = 5, CURVE_POINTS = 500 };

/* The rows drawn as curves: the chosen, the runner-up, the old setting, the tailored one, then the rest in order. */
static size_t leading_rows(const quell_axis_choice *choice, size_t *row)
{
    size_t count = 0;
    const int first[] = {choice->chosen, choice->runner_up, choice->old, choice->tailored};
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
    double strongest_hz = modes->mode[choice->strongest].frequency_hz;
    double range_hz[2] = {0.3 * strongest_hz, 3 * strongest_hz}, damping_ratio = modes->mode[choice->strongest].damping_ratio;
    char title[128], label[128];
    snprintf(title, sizeof title, "%c axis: residual vibration of a mode of damping ratio %s",
             choice->axis - 'a' + 'A', quell_number_fixed(damping_ratio, 3).text);
    quell_plot_panel(plot, title, "natural frequency (Hz)", "residual vibration V (%)");
    for (size_t k = 0; k < choice->modes; k++) {
        range_hz[0] = fmin(range_hz[0], 0.9 * choice->uncertainty_hz[k][0]);
        range_hz[1] = fmax(range_hz[1], 1.1 * choice->uncertainty_hz[k][1]);
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

/* What shapers without negative impulses reach, made for these modes at one limit after the other. */
static void add_front(quell_plot *plot, const quell_axis_choice *choice)
{
    double spread_ms[QUELL_FRONT_MAX], percent[QUELL_FRONT_MAX];
    for (size_t i = 0; i < choice->front_count; i++) {
        spread_ms[i] = 1e3 * choice->front_spread_s[i];
        percent[i] = 100 * choice->front_residual[i];
    }
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_GREY, 1.5, spread_ms, percent, NULL, choice->front_count, "", (double)NAN);
    if (choice->front_count > 0)
        quell_plot_note(plot, spread_ms[0], percent[0], " tailored, other limits", false);
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
    add_front(plot, choice);
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

/* ---------------------------------------------------------------- rounding against acceleration, impulses */

enum { ROUNDING_POINTS = 60 };

static void add_rounding(quell_plot *plot, const quell_corner *corner, const quell_shaper *shaper, bool main, const char *label)
{
    double acceleration[ROUNDING_POINTS], rounding_um[ROUNDING_POINTS];
    for (size_t i = 0; i < ROUNDING_POINTS; i++) {
        quell_corner at = *corner;
        at.acceleration_mps2 = corner->acceleration_mps2 * 2.5 * (double)(i + 1) / ROUNDING_POINTS;
        acceleration[i] = 1e3 * at.acceleration_mps2;
        rounding_um[i] = 1e6 * quell_rounding(&at, shaper, shaper);
    }
    quell_plot_curve(plot, main ? QUELL_MARK_LINE : QUELL_MARK_DASHED, main ? QUELL_INK_MAIN : QUELL_INK_SECOND, main ? 2.5 : 1.5,
                     acceleration, rounding_um, NULL, ROUNDING_POINTS, label, (double)NAN);
}

static void rounding_panel(quell_plot *plot, const quell_axis_choice *choice, const quell_machine *machine)
{
    const quell_axis_limits *limits = &machine->axis[choice->axis == 'y' ? 1 : 0];
    const quell_candidate *chosen = &choice->candidate[choice->chosen];
    if (isnan(limits->acceleration_mps2) || chosen->is_none)
        return;
    const quell_corner corner = {.speed_mps = isnan(machine->corner_speed_mps) ? 0 : machine->corner_speed_mps,
                                 .acceleration_mps2 = limits->acceleration_mps2,
                                 .cruise_mps = isnan(limits->speed_mps) ? 0 : limits->speed_mps,
                                 .angle_rad = QUELL_PI / 2};
    char title[96], label[96];
    snprintf(title, sizeof title, "%c axis: how far a right-angled corner is cut", choice->axis - 'a' + 'A');
    quell_plot_panel(plot, title, "acceleration (mm/s2)", "rounding (um)");
    quell_plot_height(plot, 0.8);
    if (choice->runner_up >= 0)
        add_rounding(plot, &corner, &choice->candidate[choice->runner_up].shaper, false,
                     choice->candidate[choice->runner_up].title);
    label_of(choice, (size_t)choice->chosen, label, sizeof label);
    add_rounding(plot, &corner, &chosen->shaper, true, label);
    quell_plot_stretch(plot, 1e3 * limits->acceleration_mps2, 1e3 * limits->acceleration_mps2, "in use");
    if (!isnan(machine->rounding_limit_m))
        quell_plot_level(plot, 1e6 * machine->rounding_limit_m, "limit");
}

static void impulse_panel(quell_plot *plot, const quell_axis_choice *choice)
{
    const quell_candidate *row = &choice->candidate[choice->chosen];
    const quell_shaper *shaper = &row->shaper;
    double time_ms[QUELL_SHAPER_MAX], least = 0, most = 0;
    char title[160];
    if (row->is_none)
        return;
    for (size_t i = 0; i < shaper->count; i++) {
        time_ms[i] = 1e3 * shaper->time_s[i];
        least = fmin(least, shaper->amplitude[i]);
        most = fmax(most, shaper->amplitude[i]);
    }
    double length_ms = time_ms[shaper->count - 1];
    snprintf(title, sizeof title, "%c axis: the impulses of the one chosen, %s", choice->axis - 'a' + 'A', row->title);
    quell_plot_panel(plot, title, "time (ms)", "amplitude");
    quell_plot_height(plot, 0.5);
    quell_plot_x_range(plot, -0.05 * length_ms, 1.05 * length_ms, false);
    quell_plot_y_range(plot, 1.2 * least, 1.2 * most);
    quell_plot_curve(plot, QUELL_MARK_STEMS, QUELL_INK_MAIN, 2.5, time_ms, shaper->amplitude, NULL, shaper->count, "",
                     (double)NAN);
}

quell_status quell_plot_choice(const quell_axis_choice *const *choice, const quell_modes *const *modes,
                               size_t axes, const quell_machine *machine, const char *path, const char *keep_dir, quell_error *err)
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
        if (choice[i]->chosen >= 0) {
            rounding_panel(plot, choice[i], machine);
            impulse_panel(plot, choice[i]);
        }
        drawn++;
    }
    quell_status status =
        drawn > 0 ? quell_plot_draw(plot, path, keep_dir, err)
                  : quell_fail(err, QUELL_E_NOT_MET, "no mode was found, so there is nothing to draw");
    quell_plot_destroy(plot);
    return status;
}
