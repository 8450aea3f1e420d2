/* How the fitted density follows the measured one, and what it leaves. */
#include "report/plot_modes.h"
#include "report/plot_trace.h"

#include <math.h>
#include <stdio.h>

#define DENSITY_LABEL "density (dB re 1 (m/s\xc2\xb2)\xc2\xb2/Hz)"

/* Standard errors shown at most; what lies beyond is drawn at the edge. */
#define RESIDUAL_MOST 8.0

/* Deviation of P / M from 1 in standard errors: its cube root is all but normal (E. B. Wilson, M. M. Hilferty, Proc.
   Natl. Acad. Sci. 17, 1931), so that 95 % lie within 2 whatever the degrees of freedom. */
static double standard_errors(double ratio, double dof)
{
    double variance = 2 / (9 * dof);
    return (cbrt(ratio) - (1 - variance)) / sqrt(variance);
}

/* The fitted density in dB and the residual on the trace's points; NaN outside the band of the fit. */
static quell_status fit_curves(const quell_spectrum *spectrum, size_t axis, const quell_modes *modes,
                               const quell_modes_options *options, const plot_trace *part, double *fitted_db,
                               double *residual, quell_error *err)
{
    double *model = quell_memory_get(spectrum->bins * sizeof *model);
    if (model == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the fitted curve");
    quell_status status = quell_modes_density(modes, spectrum, axis, options, model, err);
    for (size_t i = 0; i < part->count && status == QUELL_OK; i++) {
        size_t bin = (size_t)(part->x_hz[i] / spectrum->bin_hz + 0.5);
        double density = spectrum->asd_m2ps3[axis][bin];
        bool known = isfinite(model[bin]) && model[bin] > 0 && density > 0;
        fitted_db[i] = known ? plot_decibels(model[bin]) : (double)NAN;
        residual[i] = known ? standard_errors(density / model[bin], spectrum->dof) : (double)NAN;
    }
    quell_memory_free(model);
    return status;
}

static void add_band(quell_plot *plot, const plot_trace *part)
{
    quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_MAIN, 1, part->x_hz, part->low_db, part->high_db,
                     part->count, "", (double)NAN);
}

static void add_line(quell_plot *plot, const plot_trace *part, const char *label, double label_hz)
{
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 1, part->x_hz, part->level_db, NULL, part->count,
                     label, label_hz);
}

/* The fit as a broad line below the thin measured one: both are seen where they agree. */
static void density_panel(quell_plot *plot, const plot_trace *part, const double *fitted_db,
                          const quell_modes *modes, size_t axis, const double band_hz[2])
{
    bool fitted = modes->fit.parameters > 0;
    const double *fit_hz = modes->band_hz;
    quell_plot_panel(plot, "the 95 % band of the measured density is shaded", "frequency (Hz)",
                     DENSITY_LABEL);
    quell_plot_x_range(plot, band_hz[0], band_hz[1], true);
    quell_plot_height(plot, 1.7);
    add_band(plot, part);
    if (fitted)
        quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_FOURTH, 5, part->x_hz, fitted_db, NULL, part->count,
                         "fitted", fit_hz[0] * pow(fit_hz[1] / fit_hz[0], 0.15));
    add_line(plot, part, "measured", fitted ? sqrt(band_hz[0] * fit_hz[0]) : (double)NAN);
    plot_trace_mark(plot, part, modes, axis);
}

static bool seen_on(const quell_modes *modes, size_t axis)
{
    bool any = false;
    for (size_t k = 0; k < modes->count; k++)
        any = any || modes->mode[k].seen_on == axis;
    return any;
}

static quell_status across_panel(quell_plot *plot, const quell_spectrum *spectrum, size_t axis,
                                 const quell_modes *modes, const quell_modes_options *options,
                                 const double band_hz[2], quell_error *err)
{
    plot_trace part;
    char title[80];
    quell_status status = plot_trace_get(&part, spectrum, axis, band_hz, err);
    if (status != QUELL_OK)
        return status;
    double *curves = quell_memory_get(2 * (part.count + 1) * sizeof *curves);
    if (curves == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a plot of %zu points", part.count);
    if (status == QUELL_OK)
        status = fit_curves(spectrum, axis, modes, options, &part, curves, curves + part.count, err);
    if (status == QUELL_OK) {
        snprintf(title, sizeof title, "across it, on %c: measured, its 95 %% band shaded, and fitted", "XYZ"[axis]);
        quell_plot_panel(plot, title, "frequency (Hz)", DENSITY_LABEL);
        quell_plot_x_range(plot, band_hz[0], band_hz[1], true);
        add_band(plot, &part);
        quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_FOURTH, 5, part.x_hz, curves, NULL, part.count, "",
                         (double)NAN);
        add_line(plot, &part, "", (double)NAN);
        plot_trace_mark(plot, &part, modes, axis);
    }
    quell_memory_free(curves);
    quell_memory_free(part.block);
    return status;
}

/* Axes other than the driven one on which a mode was seen. */
static quell_status across_panels(quell_plot *plot, const quell_spectrum *spectrum, size_t axis,
                                  const quell_modes *modes, const quell_modes_options *options,
                                  const double band_hz[2], quell_error *err)
{
    quell_status status = QUELL_OK;
    for (size_t other = 0; other < spectrum->axes && status == QUELL_OK; other++)
        if (other != axis && seen_on(modes, other))
            status = across_panel(plot, spectrum, other, modes, options, band_hz, err);
    return status;
}

/* Draws what lies beyond at the edge; returns how far the panel reaches. */
static double clip(double *residual, size_t count, bool *clipped)
{
    double most = 3;
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(residual[i]))
            continue;
        *clipped = *clipped || fabs(residual[i]) > RESIDUAL_MOST;
        residual[i] = fmin(fmax(residual[i], -RESIDUAL_MOST), RESIDUAL_MOST);
        most = fmax(most, fabs(residual[i]));
    }
    return 1.1 * most;
}

static void residual_panel(quell_plot *plot, const plot_trace *part, double *residual,
                           const double band_hz[2])
{
    bool clipped = false;
    double most = clip(residual, part->count, &clipped);
    quell_plot_panel(plot,
                     clipped
                         ? "what the fit leaves: cube root of measured / fitted; 95 % belong within 2; at "
                           "the edge: 8 or more"
                         : "what the fit leaves: cube root of measured / fitted; 95 % belong within 2",
                     "frequency (Hz)", "standard errors");
    quell_plot_x_range(plot, band_hz[0], band_hz[1], true);
    quell_plot_y_range(plot, -most, most);
    quell_plot_height(plot, 0.8);
    for (int side = -2; side <= 2; side += 2)
        quell_plot_level(plot, side, "");
    quell_plot_curve(plot, QUELL_MARK_POINTS, QUELL_INK_MAIN, 1, part->x_hz, residual, NULL, part->count, "",
                     (double)NAN);
}

quell_status quell_plot_modes(const quell_spectrum *spectrum, size_t axis, const quell_modes *modes,
                              const quell_modes_options *options, const double band_hz[2], const char *name,
                              char axis_letter, const char *path, const char *keep_dir, quell_error *err)
{
    plot_trace part;
    quell_status status = plot_trace_get(&part, spectrum, axis, band_hz, err);
    if (status != QUELL_OK)
        return status;
    char title[200];
    snprintf(title, sizeof title, "%s: modes of the %s", name, plot_axis_words(axis_letter));
    double *curves = quell_memory_get(2 * (part.count + 1) * sizeof *curves);
    quell_plot *plot = quell_plot_create(title);
    if (curves == NULL || plot == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a plot of %zu points", part.count);
    bool fitted = modes->fit.parameters > 0;
    if (status == QUELL_OK && fitted)
        status = fit_curves(spectrum, axis, modes, options, &part, curves, curves + part.count, err);
    if (status == QUELL_OK) {
        density_panel(plot, &part, curves, modes, axis, band_hz);
        status = across_panels(plot, spectrum, axis, modes, options, band_hz, err);
    }
    if (status == QUELL_OK && fitted)
        residual_panel(plot, &part, curves + part.count, band_hz);
    if (status == QUELL_OK)
        status = quell_plot_draw(plot, path, keep_dir, err);
    quell_plot_destroy(plot);
    quell_memory_free(curves);
    quell_memory_free(part.block);
    return status;
}
