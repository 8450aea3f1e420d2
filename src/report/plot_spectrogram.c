/* The picture of a sweep: frequency over time, dark where there is much vibration. */
#include "report/plot_spectrum.h"
#include "report/plot_private.h"

#include <math.h>
#include <stdio.h>

#define RANGE_DB 60.0

enum { ROWS_MAX = 256 };

/* Rows of the picture: neighbouring bins are put together, the largest of them shown, so that a line is not
   lost. */
typedef struct rows {
    size_t first, count, each;
} rows;

static rows choose_rows(const quell_spectrogram *in, const double band_hz[2])
{
    size_t first = (size_t)fmax(ceil(band_hz[0] / in->bin_hz), 0);
    size_t last = (size_t)fmin(band_hz[1] / in->bin_hz, (double)(in->bins - 1));
    size_t bins = last >= first ? last - first + 1 : 0, each = bins / ROWS_MAX + 1;
    return (rows){.first = first, .count = bins / each, .each = each};
}

static double largest_in(const quell_spectrogram *in, size_t slice, const rows *shown, size_t row)
{
    const double *density = in->asd_m2ps3 + slice * in->bins + shown->first + row * shown->each;
    double largest = 0;
    for (size_t k = 0; k < shown->each; k++)
        largest = fmax(largest, density[k]); /* a missing slice stays white */
    return largest;
}

/* x, y and shade of every cell, one after the other. */
static void fill_cells(const quell_spectrogram *in, const rows *shown, double *x, double *y, double *shade)
{
    double most = 0;
    size_t n = 0;
    for (size_t s = 0; s < in->slices; s++)
        for (size_t r = 0; r < shown->count; r++, n++) {
            double middle = (double)shown->first + ((double)r + 0.5) * (double)shown->each - 0.5;
            x[n] = in->start_s + (double)s * in->step_s;
            y[n] = middle * in->bin_hz;
            shade[n] = largest_in(in, s, shown, r);
            most = fmax(most, shade[n]);
        }
    for (size_t i = 0; i < n; i++) {
        double below_db = shade[i] > 0 ? 10 * log10(most / shade[i]) : RANGE_DB;
        shade[i] = fmax(1 - below_db / RANGE_DB, 0);
    }
}

/* Each mode as a dashed line across the picture, named in the margin. */
static void draw_modes(quell_plot *plot, const quell_modes *modes, const double ends_s[2],
                       const double band_hz[2])
{
    for (size_t k = 0; modes != NULL && k < modes->count; k++) {
        double hz = modes->mode[k].frequency_hz;
        const double y[2] = {hz, hz};
        char text[80];
        if (hz < band_hz[0] || hz > band_hz[1])
            continue;
        snprintf(text, sizeof text, "%s Hz", quell_number_fixed(hz, 1).text);
        quell_plot_curve(plot, QUELL_MARK_DASHED, QUELL_INK_SECOND, 1.2, ends_s, y, NULL, 2, text,
                         (double)NAN);
    }
}

quell_status quell_plot_spectrogram(const quell_spectrogram *spectrogram, char axis_letter,
                                    const double band_hz[2], const quell_modes *modes, const char *name,
                                    const char *path, const char *keep_dir, quell_error *err)
{
    rows shown = choose_rows(spectrogram, band_hz);
    size_t n = spectrogram->slices * shown.count;
    double *cells = quell_memory_get((3 * n + 1) * sizeof *cells);
    char title[200];
    snprintf(title, sizeof title, "%s: %s, frequency over time", name, plot_axis_words(axis_letter));
    quell_plot *plot = quell_plot_create(title);
    quell_status status = QUELL_OK;
    if (cells == NULL || plot == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a picture of %zu cells", n);
    if (status == QUELL_OK) {
        fill_cells(spectrogram, &shown, cells, cells + n, cells + 2 * n);
        const double step_s = spectrogram->step_s, first_s = spectrogram->start_s - step_s / 2;
        const double ends_s[2] = {first_s, first_s + (double)spectrogram->slices * step_s};
        quell_plot_panel(
            plot,
            modes != NULL && modes->count > 0
                ? "60 dB of grey; modes dashed: the harmonics at 3 f, 5 f (1/27, 1/125 of the power) "
                  "excite them, too"
                : "black to white: 60 dB. Fainter sweeps at 3 f and 5 f: odd harmonics, 1/27 and "
                  "1/125 of the power",
            "time (s)", "frequency (Hz)");
        quell_plot_x_range(plot, ends_s[0], ends_s[1], false);
        quell_plot_y_range(plot, band_hz[0], band_hz[1]);
        quell_plot_height(plot, 1.8);
        quell_plot_curve(plot, QUELL_MARK_SHADE, QUELL_INK_MAIN, 1, cells, cells + n, cells + 2 * n, n, "",
                         (double)NAN);
        draw_modes(plot, modes, ends_s, band_hz);
        status = quell_plot_draw(plot, path, keep_dir, err);
    }
    quell_plot_destroy(plot);
    quell_memory_free(cells);
    return status;
}
