/* Densities with their confidence, modes marked; and how a fit follows them. */
#include "report/plot_spectrum.h"
#include "report/plot_private.h"

#include <math.h>
#include <stdio.h>

#define DENSITY_LABEL "acceleration density (dB re 1 (m/s\xc2\xb2)\xc2\xb2/Hz)"

/* One axis of a spectrum over the band shown, in dB: frequency, level, and the ends of the 95 % band. */
typedef struct trace {
    size_t count;
    double *x_hz, *level_db, *low_db, *high_db;
    double *block;
} trace;

static double decibels(double density)
{
    return density > 0 ? 10 * log10(density) : (double)NAN;
}

static quell_status trace_get(trace *out, const quell_spectrum *spectrum, size_t axis,
                              const double band_hz[2], quell_error *err)
{
    size_t first = (size_t)fmax(ceil(band_hz[0] / spectrum->bin_hz), 1);
    size_t last = (size_t)fmin(band_hz[1] / spectrum->bin_hz, (double)(spectrum->bins - 1));
    *out = (trace){.count = last >= first ? last - first + 1 : 0};
    out->block = quell_memory_get(4 * (out->count + 1) * sizeof(double));
    if (out->block == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a plot of %zu points", out->count);
    out->x_hz = out->block;
    out->level_db = out->block + out->count;
    out->low_db = out->block + 2 * out->count;
    out->high_db = out->block + 3 * out->count;
    for (size_t i = 0; i < out->count; i++) {
        double factor[2] = {spectrum->ci95_factor[0], spectrum->ci95_factor[1]};
        if (2 * (first + i) == spectrum->segment) /* half the degrees of freedom at half the rate */
            quell_chi2_factors(spectrum->dof / 2, factor);
        double density = spectrum->asd_m2ps3[axis][first + i];
        out->x_hz[i] = (double)(first + i) * spectrum->bin_hz;
        out->level_db[i] = decibels(density);
        out->low_db[i] = decibels(density * factor[0]);
        out->high_db[i] = decibels(density * factor[1]);
    }
    return QUELL_OK;
}

/* Level of the trace at a frequency; NaN outside it. */
static double level_at(const trace *in, double x_hz)
{
    for (size_t i = 0; i + 1 < in->count; i++)
        if (in->x_hz[i] <= x_hz && x_hz < in->x_hz[i + 1])
            return fmax(in->level_db[i], in->level_db[i + 1]);
    return (double)NAN;
}

static void mark_modes(quell_plot *plot, const trace *in, const quell_modes *modes)
{
    for (size_t k = 0; k < modes->count; k++) {
        char text[160];
        const quell_mode *mode = &modes->mode[k];
        snprintf(text, sizeof text, "%s Hz, \xce\xb6 %s", quell_number_fixed(mode->frequency_hz, 1).text,
                 quell_number_fixed(mode->damping_ratio, 3).text);
        quell_plot_note(plot, mode->frequency_hz, level_at(in, mode->frequency_hz), text, true);
    }
}

/* ---------------------------------------------------------------- spectra */

static quell_status add_spectrum(quell_plot *plot, const quell_spectrum *spectrum, size_t axis,
                                 const char *name, size_t place, const quell_modes *modes,
                                 const double band_hz[2], quell_error *err)
{
    static const quell_ink inks[QUELL_PLOT_SPECTRA_MAX] = {QUELL_INK_MAIN, QUELL_INK_SECOND, QUELL_INK_THIRD,
                                                           QUELL_INK_FOURTH, QUELL_INK_FIFTH};
    trace part;
    quell_status status = trace_get(&part, spectrum, axis, band_hz, err);
    if (status != QUELL_OK)
        return status;
    if (place == 0)
        quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_MAIN, 1, part.x_hz, part.low_db, part.high_db,
                         part.count, "", (double)NAN);
    quell_plot_curve(plot, place == 0 ? QUELL_MARK_LINE : QUELL_MARK_DASHED, inks[place], 1.5, part.x_hz,
                     part.level_db, NULL, part.count, name, (double)NAN);
    if (modes != NULL)
        mark_modes(plot, &part, modes);
    quell_memory_free(part.block);
    return QUELL_OK;
}

quell_status quell_plot_spectra(const quell_spectrum *spectrum, const char *const *name, size_t count,
                                const quell_modes *modes, size_t modes_axis, const double band_hz[2],
                                const char *path, const char *keep_dir, quell_error *err)
{
    if (count > QUELL_PLOT_SPECTRA_MAX)
        return quell_fail(err, QUELL_E_USAGE, "found %zu recordings to plot together, want at most %d", count,
                          QUELL_PLOT_SPECTRA_MAX);
    char title[200];
    snprintf(title, sizeof title, "density of acceleration, the 95 %% band of %s shaded", name[0]);
    quell_plot *plot = quell_plot_create(title);
    if (plot == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a plot");
    quell_status status = QUELL_OK;
    for (size_t axis = 0; axis < spectrum[0].axes && status == QUELL_OK; axis++) {
        char panel[24];
        snprintf(panel, sizeof panel, "%c axis", "XYZ"[axis]);
        quell_plot_panel(plot, panel, axis + 1 == spectrum[0].axes ? "frequency (Hz)" : "",
                         "dB re 1 (m/s\xc2\xb2)\xc2\xb2/Hz");
        quell_plot_x_range(plot, band_hz[0], band_hz[1], true);
        for (size_t i = 0; i < count && status == QUELL_OK; i++)
            if (axis < spectrum[i].axes)
                status = add_spectrum(plot, &spectrum[i], axis, count > 1 ? name[i] : "", i,
                                      i == 0 && axis == modes_axis ? modes : NULL, band_hz, err);
    }
    if (status == QUELL_OK)
        status = quell_plot_draw(plot, path, keep_dir, err);
    quell_plot_destroy(plot);
    return status;
}

/* ---------------------------------------------------------------- modes */

/* The fitted density in dB, and (ln P - ln M) over its standard error sqrt(2 / nu), on the trace's points. */
static quell_status fit_curves(const quell_spectrum *spectrum, size_t axis, const quell_modes *modes,
                               const quell_shaper *shaper_on, const trace *part, double *fitted_db,
                               double *residual, quell_error *err)
{
    double *model = quell_memory_get(spectrum->bins * sizeof *model);
    if (model == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the fitted curve");
    quell_status status = quell_modes_density(modes, spectrum, shaper_on, model, err);
    for (size_t i = 0; i < part->count && status == QUELL_OK; i++) {
        size_t bin = (size_t)(part->x_hz[i] / spectrum->bin_hz + 0.5);
        double density = spectrum->asd_m2ps3[axis][bin];
        bool known = isfinite(model[bin]) && density > 0;
        fitted_db[i] = known ? decibels(model[bin]) : (double)NAN;
        /* the mean of ln P lies below ln M by 1 / nu, about */
        residual[i] =
            known ? (log(density / model[bin]) + 1 / spectrum->dof) / sqrt(2 / spectrum->dof) : (double)NAN;
    }
    quell_memory_free(model);
    return status;
}

static void density_panel(quell_plot *plot, const trace *part, const double *fitted_db,
                          const quell_modes *modes, const double band_hz[2])
{
    quell_plot_panel(plot, "measured (95 % band shaded) and fitted (dashed)", "", DENSITY_LABEL);
    quell_plot_x_range(plot, band_hz[0], band_hz[1], true);
    quell_plot_height(plot, 2);
    quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_MAIN, 1, part->x_hz, part->low_db, part->high_db,
                     part->count, "", (double)NAN);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 1.5, part->x_hz, part->level_db, NULL,
                     part->count, "", (double)NAN);
    if (modes->fit.parameters > 0)
        quell_plot_curve(plot, QUELL_MARK_DASHED, QUELL_INK_SECOND, 2, part->x_hz, fitted_db, NULL,
                         part->count, "", (double)NAN);
    mark_modes(plot, part, modes);
}

static void residual_panel(quell_plot *plot, const trace *part, const double *residual,
                           const double band_hz[2])
{
    double most = 3;
    for (size_t i = 0; i < part->count; i++)
        if (isfinite(residual[i]))
            most = fmax(most, fabs(residual[i]));
    quell_plot_panel(plot, "what the fit leaves", "frequency (Hz)", "residual (standard errors)");
    quell_plot_x_range(plot, band_hz[0], band_hz[1], true);
    quell_plot_y_range(plot, -1.1 * most, 1.1 * most);
    quell_plot_level(plot, 0, "");
    quell_plot_curve(plot, QUELL_MARK_POINTS, QUELL_INK_MAIN, 1, part->x_hz, residual, NULL, part->count, "",
                     (double)NAN);
}

quell_status quell_plot_modes(const quell_spectrum *spectrum, size_t axis, const quell_modes *modes,
                              const quell_shaper *shaper_on, const double band_hz[2], const char *name,
                              char axis_letter, const char *path, const char *keep_dir, quell_error *err)
{
    trace part;
    quell_status status = trace_get(&part, spectrum, axis, band_hz, err);
    if (status != QUELL_OK)
        return status;
    char title[200];
    snprintf(title, sizeof title, "%s: modes of the %s", name, plot_axis_words(axis_letter));
    double *curves = quell_memory_get(2 * (part.count + 1) * sizeof *curves);
    quell_plot *plot = quell_plot_create(title);
    if (curves == NULL || plot == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a plot of %zu points", part.count);
    if (status == QUELL_OK)
        status = fit_curves(spectrum, axis, modes, shaper_on, &part, curves, curves + part.count, err);
    if (status == QUELL_OK) {
        density_panel(plot, &part, curves, modes, band_hz);
        if (modes->fit.parameters > 0)
            residual_panel(plot, &part, curves + part.count, band_hz);
        status = quell_plot_draw(plot, path, keep_dir, err);
    }
    quell_plot_destroy(plot);
    quell_memory_free(curves);
    quell_memory_free(part.block);
    return status;
}
