/* A density as it is drawn: in dB over the band shown, with its confidence and the modes seen in it. */
#include "report/plot_trace.h"

#include <math.h>
#include <stdio.h>

double plot_decibels(double density)
{
    return density > 0 ? 10 * log10(density) : (double)NAN;
}

quell_status plot_trace_get(plot_trace *out, const quell_spectrum *spectrum, size_t axis,
                            const double band_hz[2], quell_error *err)
{
    size_t first = (size_t)fmax(ceil(band_hz[0] / spectrum->bin_hz), 1);
    size_t last = (size_t)fmin(band_hz[1] / spectrum->bin_hz, (double)(spectrum->bins - 1));
    *out = (plot_trace){.count = last >= first ? last - first + 1 : 0};
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
        out->level_db[i] = plot_decibels(density);
        out->low_db[i] = plot_decibels(density * factor[0]);
        out->high_db[i] = plot_decibels(density * factor[1]);
    }
    return QUELL_OK;
}

/* Level of the trace at a frequency; NaN outside it. */
static double level_at(const plot_trace *in, double x_hz)
{
    for (size_t i = 0; i + 1 < in->count; i++)
        if (in->x_hz[i] <= x_hz && x_hz < in->x_hz[i + 1])
            return fmax(in->level_db[i], in->level_db[i + 1]);
    return (double)NAN;
}

void plot_trace_mark(quell_plot *plot, const plot_trace *in, const quell_modes *modes, size_t axis)
{
    for (size_t k = 0; k < modes->count; k++) {
        char text[160];
        const quell_mode *mode = &modes->mode[k];
        if (mode->seen_on != axis)
            continue;
        snprintf(text, sizeof text, "%s Hz, \xce\xb6 %s", quell_number_fixed(mode->frequency_hz, 1).text,
                 quell_number_fixed(mode->damping_ratio, 3).text);
        quell_plot_note(plot, mode->frequency_hz, level_at(in, mode->frequency_hz), text, true);
    }
}
