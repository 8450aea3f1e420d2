/* The plot of `quell tailor`: what is left against frequency, beside the best textbook shaper; and the impulses. */
#include "cli/tailor_view.h"

#include <math.h>

enum { CURVE_POINTS = 1200 };

static void add_curve(quell_plot *plot, const quell_shaper *shaper, const double range_hz[2], double damping_ratio, bool main,
                      const char *label)
{
    double hz[CURVE_POINTS], residual[CURVE_POINTS];
    for (size_t i = 0; i < CURVE_POINTS; i++) {
        hz[i] = range_hz[0] + (range_hz[1] - range_hz[0]) * (double)i / (CURVE_POINTS - 1);
        residual[i] = 100 * quell_residual(shaper, hz[i], damping_ratio);
    }
    quell_plot_curve(plot, main ? QUELL_MARK_LINE : QUELL_MARK_DASHED, main ? QUELL_INK_MAIN : QUELL_INK_SECOND,
                     main ? 2.5 : 1.5, hz, residual, NULL, CURVE_POINTS, label, (double)NAN);
}

static void frequency_panel(quell_plot *plot, const tailor_view *view)
{
    double range_hz[2] = {HUGE_VAL, 0}, low = 1, high = 0;
    char title[128], label[192];
    for (size_t k = 0; k < view->bands.count; k++) {
        const quell_band *band = &view->bands.band[k];
        range_hz[0] = fmin(range_hz[0], 0.3 * band->hz[0]);
        range_hz[1] = fmax(range_hz[1], 1.6 * band->hz[1]);
        low = fmin(low, band->damping_ratio[0]);
        high = fmax(high, band->damping_ratio[1]);
    }
    double damping_ratio = (low + high) / 2;
    snprintf(title, sizeof title, "What is left of a mode of damping ratio %s", quell_number_short(damping_ratio, 3).text);
    quell_plot_panel(plot, title, "natural frequency (Hz)", "residual vibration (%)");
    quell_plot_x_range(plot, range_hz[0], range_hz[1], false);
    quell_plot_y_range(plot, 0, 106);
    for (size_t k = 0; k < view->bands.count; k++) {
        const double *hz = view->bands.band[k].hz;
        snprintf(label, sizeof label, "%s to %s Hz", quell_number_short(hz[0], 4).text, quell_number_short(hz[1], 4).text);
        quell_plot_stretch(plot, hz[0], hz[1], label);
    }
    if (view->has_textbook)
        add_curve(plot, &view->textbook.shaper, range_hz, damping_ratio, false, "best textbook");
    add_curve(plot, &view->made.shaper, range_hz, damping_ratio, true, "tailored");
    snprintf(label, sizeof label, "limit, %s %%", quell_number_percent(view->limits.residual_limit).text);
    quell_plot_level(plot, 100 * view->limits.residual_limit, label);
}

static void stems(quell_plot *plot, const quell_shaper *shaper, bool main, const char *label, double most)
{
    double time_ms[QUELL_SHAPER_MAX], amplitude[QUELL_SHAPER_MAX];
    for (size_t i = 0; i < shaper->count; i++) {
        time_ms[i] = 1e3 * shaper->time_s[i];
        amplitude[i] = shaper->amplitude[i];
    }
    quell_plot_curve(plot, QUELL_MARK_STEMS, main ? QUELL_INK_MAIN : QUELL_INK_SECOND, main ? 2.5 : 1.5, time_ms, amplitude,
                     NULL, shaper->count, "", (double)NAN);
    quell_plot_note(plot, time_ms[shaper->count - 1], amplitude[shaper->count - 1] + 0.04 * most, label, false);
}

static void impulse_panel(quell_plot *plot, const tailor_view *view, const quell_shaper *shaper, bool main, const char *title,
                          const char *label)
{
    double most = 0, length_ms = 1e3 * view->moments.duration_s;
    if (view->has_textbook)
        length_ms = fmax(length_ms, 1e3 * view->textbook_moments.duration_s);
    for (size_t i = 0; i < shaper->count; i++)
        most = fmax(most, shaper->amplitude[i]);
    quell_plot_panel(plot, title, "time (ms)", "amplitude");
    quell_plot_height(plot, 0.45);
    quell_plot_x_range(plot, -0.04 * length_ms, 1.12 * length_ms, false);
    quell_plot_y_range(plot, 0, 1.25 * most);
    stems(plot, shaper, main, label, most);
}

quell_status tailor_plot(cli_run *run, const tailor_view *view)
{
    quell_plot *plot = quell_plot_create("A shaper made for these bands");
    char label[80];
    if (plot == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the plot");
    frequency_panel(plot, view);
    snprintf(label, sizeof label, "%s ms", quell_number_fixed(1e3 * view->moments.duration_s, 2).text);
    impulse_panel(plot, view, &view->made.shaper, true, "Impulses of the tailored shaper", label);
    if (view->has_textbook) {
        snprintf(label, sizeof label, "%s ms", quell_number_fixed(1e3 * view->textbook_moments.duration_s, 2).text);
        impulse_panel(plot, view, &view->textbook.shaper, false, "Impulses of the best textbook shaper", label);
    }
    quell_status status = quell_plot_draw(plot, run->given.plot, run->given.out, &run->err);
    quell_plot_destroy(plot);
    return status;
}
