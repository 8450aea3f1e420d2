/* Densities with their confidence, modes marked. */
#include "report/plot_spectrum.h"
#include "report/plot_trace.h"

#include <math.h>
#include <stdio.h>

static quell_status add_spectrum(quell_plot *plot, const quell_spectrum *spectrum, size_t axis,
                                 const char *name, size_t place, const quell_modes *modes,
                                 const double band_hz[2], quell_error *err)
{
    static const quell_ink inks[QUELL_PLOT_SPECTRA_MAX] = {QUELL_INK_MAIN, QUELL_INK_SECOND, QUELL_INK_THIRD,
                                                           QUELL_INK_FOURTH, QUELL_INK_FIFTH};
    plot_trace part;
    quell_status status = plot_trace_get(&part, spectrum, axis, band_hz, err);
    if (status != QUELL_OK)
        return status;
    if (place == 0)
        quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_MAIN, 1, part.x_hz, part.low_db, part.high_db,
                         part.count, "", (double)NAN);
    quell_plot_curve(plot, place == 0 ? QUELL_MARK_LINE : QUELL_MARK_DASHED, inks[place], 1.5, part.x_hz,
                     part.level_db, NULL, part.count, name, (double)NAN);
    if (modes != NULL)
        plot_trace_mark(plot, &part, modes, axis);
    quell_memory_free(part.block);
    return QUELL_OK;
}

quell_status quell_plot_spectra(const quell_spectrum *spectrum, const char *const *name, size_t count,
                                const quell_modes *modes, const double band_hz[2], const char *path,
                                const char *keep_dir, quell_error *err)
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
                                      i == 0 ? modes : NULL, band_hz, err);
    }
    if (status == QUELL_OK)
        status = quell_plot_draw(plot, path, keep_dir, err);
    quell_plot_destroy(plot);
    return status;
}
