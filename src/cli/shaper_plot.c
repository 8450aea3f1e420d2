/* The plot of `quell shaper`: residual vibration against frequency, and the impulses in time below it. */
#include "cli/shaper_view.h"

#include <math.h>

enum { CURVE_POINTS = 1200, LABELS_MAX = 20 };

/* Frequencies from 0.3 to 3 times the design's, and as far as the modes asked about lie. */
static void frequency_range(const shaper_view *view, double *low, double *high)
{
    *low = 0.3 * view->frequency_hz;
    *high = 3 * view->frequency_hz;
    for (size_t i = 0; i < view->points; i++) {
        *low = fmin(*low, 0.9 * view->point[i].frequency_hz);
        *high = fmax(*high, 1.1 * view->point[i].frequency_hz);
    }
}

/* Frequencies and residuals in %; NULL if memory is out. */
static double *residual_curve(quell_arena *arena, const shaper_view *view, double low, double high)
{
    double *x = QUELL_NEW(arena, double, 2 * CURVE_POINTS);
    for (size_t i = 0; x != NULL && i < CURVE_POINTS; i++) {
        x[i] = low + (high - low) * (double)i / (CURVE_POINTS - 1);
        x[CURVE_POINTS + i] = 100 * quell_residual(&view->shaper, x[i], view->damping_ratio);
    }
    return x;
}

static quell_status residual_panel(cli_run *run, const shaper_view *view, quell_plot *plot)
{
    double low, high, most = 100;
    frequency_range(view, &low, &high);
    double *curve = residual_curve(run->arena, view, low, high);
    if (curve == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the residual curve");
    for (size_t i = 0; i < CURVE_POINTS; i++)
        most = fmax(most, curve[CURVE_POINTS + i]);
    for (size_t i = 0; i < view->points; i++)
        most = fmax(most, 100 * view->point[i].residual);
    char title[80], text[80], number[32], second[32];
    snprintf(title, sizeof title, "What is left of a mode with damping ratio %s",
             quell_number_print(number, sizeof number, view->damping_ratio, 4));
    quell_plot_panel(plot, title, "natural frequency of the mode (Hz)", "residual vibration (%)");
    quell_plot_x_range(plot, low, high, false);
    quell_plot_y_range(plot, 0, 1.06 * most);
    if (view->has_mode && view->insensitivity.width > 0) {
        snprintf(text, sizeof text, "%s to %s Hz",
                 quell_number_print(number, sizeof number, view->insensitivity.low_hz, 4),
                 quell_number_print(second, sizeof second, view->insensitivity.high_hz, 4));
        quell_plot_stretch(plot, view->insensitivity.low_hz, view->insensitivity.high_hz, text);
        snprintf(text, sizeof text, "%s %%",
                 quell_number_print(number, sizeof number, 100 * view->insensitivity.tolerance, 3));
        quell_plot_level(plot, 100 * view->insensitivity.tolerance, text);
    }
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 2, curve, curve + CURVE_POINTS, NULL,
                     CURVE_POINTS, "", (double)NAN);
    for (size_t i = 0; i < view->points; i++) {
        snprintf(text, sizeof text, "%s Hz: %s %%",
                 quell_number_print(number, sizeof number, view->point[i].frequency_hz, 4),
                 quell_number_print_fixed(second, sizeof second, 100 * view->point[i].residual, 1));
        if (i < LABELS_MAX)
            quell_plot_stretch(plot, view->point[i].frequency_hz, view->point[i].frequency_hz, text);
        quell_plot_note(plot, view->point[i].frequency_hz, 100 * view->point[i].residual, "", true);
    }
    if (view->points > LABELS_MAX)
        cli_say(run, "The plot labels the first %d modes only.", LABELS_MAX);
    return QUELL_OK;
}

static quell_status impulse_panel(cli_run *run, const shaper_view *view, quell_plot *plot)
{
    const quell_shaper *shaper = &view->shaper;
    double *time_ms = QUELL_NEW(run->arena, double, shaper->count);
    if (time_ms == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the impulses");
    double least = 0, most = 0;
    for (size_t i = 0; i < shaper->count; i++) {
        time_ms[i] = 1e3 * shaper->time_s[i];
        least = fmin(least, shaper->amplitude[i]);
        most = fmax(most, shaper->amplitude[i]);
    }
    const double length = shaper->count > 1 ? time_ms[shaper->count - 1] : 1;
    quell_plot_panel(plot, "The impulses", "time (ms)", "amplitude");
    quell_plot_height(plot, 0.6);
    quell_plot_x_range(plot, -0.05 * length, 1.05 * length, false);
    quell_plot_y_range(plot, least < 0 ? 1.2 * least : 0, 1.2 * most);
    quell_plot_curve(plot, QUELL_MARK_STEMS, QUELL_INK_MAIN, 2.5, time_ms, shaper->amplitude, NULL,
                     shaper->count, "", (double)NAN);
    return QUELL_OK;
}

quell_status cli_shaper_plot(cli_run *run, const shaper_view *view)
{
    quell_plot *plot = quell_plot_create(view->name);
    if (plot == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the plot");
    quell_status status = residual_panel(run, view, plot);
    if (status == QUELL_OK)
        status = impulse_panel(run, view, plot);
    if (status == QUELL_OK)
        status = quell_plot_draw(plot, run->given.plot, run->given.out, &run->err);
    quell_plot_destroy(plot);
    return status;
}
