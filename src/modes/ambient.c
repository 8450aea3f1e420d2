/* Modes of a recording without a common input, as of a machine that only its surroundings shake. Each peak is looked at along the
   direction in which it dominates: the principal direction of the cross-spectral matrix there. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

static void trace(const quell_spectrum *spectrum, double *density)
{
    for (size_t k = 0; k < spectrum->bins; k++) {
        density[k] = 0;
        for (size_t i = 0; i < spectrum->axes; i++)
            density[k] += spectrum->asd_m2ps3[i][k];
    }
}

/* What the work on one projection needs. */
typedef struct projection {
    const quell_spectrum *spectrum; /* of the recording */
    quell_spectrum view;            /* the same with the density along a direction in place of its axis' */
    double *density;
    size_t axis;
    const quell_modes_options *options;
    quell_mode_search search;
} projection;

static bool known(const quell_modes *modes, double hz)
{
    for (size_t k = 0; k < modes->count; k++)
        if (quell_modes_alike(hz, modes->mode[k].frequency_hz, modes->mode[k].damping_ratio))
            return true;
    for (size_t k = 0; k < modes->left_out; k++)
        if (quell_modes_alike(hz, modes->left_out_mode[k].frequency_hz, modes->left_out_mode[k].damping_ratio))
            return true;
    return false;
}

/* Searches the present projection; takes the modes that are new, or, near_hz > 0, only that one. The fit reported is the
   first one's. */
static quell_status search_along(projection *in, double near_hz, const double along[3], quell_modes *modes,
                                 quell_error *err)
{
    double variance[FIT_PARAMETERS_MAX], band_hz[2];
    quell_mode_search *search = &in->search;
    *search = (quell_mode_search){.spectrum = &in->view, .axis = in->axis};
    quell_status status = quell_search_band(search, in->options, band_hz, err);
    if (status == QUELL_OK)
        status = quell_search_prepare(search, in->options, MODEL_AMBIENT, NULL, err);
    if (status == QUELL_OK)
        quell_modes_select(search);
    if (status == QUELL_OK && search->best.modes > 0) {
        quell_fit_variances(&search->problem, &search->best, variance);
        bool first = modes->fit.parameters == 0;
        if (first) {
            quell_search_report(search, modes);
            memcpy(modes->density[in->axis].along, along, sizeof modes->density[in->axis].along);
        }
        for (size_t k = 0; k < search->best.modes; k++) {
            quell_mode mode = quell_search_mode(search, k, variance, in->options);
            bool wanted = near_hz <= 0 || quell_modes_alike(near_hz, mode.frequency_hz, mode.damping_ratio);
            if (wanted && !known(modes, mode.frequency_hz))
                quell_modes_enter(modes, &mode, in->options);
        }
    }
    quell_fit_release(&search->problem);
    return status;
}

/* The direction that dominates at a peak. False if there is none to tell. */
static bool direction_at(const quell_spectrum *spectrum, const quell_peak *peak, double u[3])
{
    size_t reach = (size_t)fmax(peak->half_power_damping_ratio * (double)peak->bin, 1);
    size_t first = peak->bin > reach ? peak->bin - reach : 1;
    size_t last = peak->bin + reach < spectrum->bins ? peak->bin + reach : spectrum->bins - 1;
    quell_direction_find(spectrum, first, last, u);
    return isfinite(u[0]);
}

static quell_status search_peaks(projection *in, quell_modes *modes, quell_error *err)
{
    quell_peak peak[SEARCH_PEAKS_MAX];
    size_t peaks = 0;
    double band_hz[2] = {modes->band_hz[0], modes->band_hz[1]};
    trace(in->spectrum, in->density);
    quell_status status = quell_peaks_find(&in->view, in->axis, band_hz[0], band_hz[1], peak, SEARCH_PEAKS_MAX, &peaks, err);
    bool first = true;
    for (size_t i = 0; i < peaks && status == QUELL_OK; i++) {
        double u[3];
        if (peak[i].line || known(modes, peak[i].frequency_hz) || !direction_at(in->spectrum, &peak[i], u))
            continue;
        quell_spectrum_along(in->spectrum, u, in->density);
        status = search_along(in, first ? 0 : peak[i].frequency_hz, u, modes, err);
        first = false;
    }
    return status;
}

quell_status quell_modes_ambient(const quell_spectrum *spectrum, size_t axis, const quell_modes_options *options,
                                 quell_modes *modes, quell_error *err)
{
    projection *in = quell_memory_get(sizeof *in);
    double *density = quell_memory_get(spectrum->bins * sizeof(double));
    quell_status status = QUELL_OK;
    if (in == NULL || density == NULL) {
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for projections of %zu bins", spectrum->bins);
    } else {
        *in = (projection){.spectrum = spectrum, .view = *spectrum, .density = density, .axis = axis, .options = options};
        bool turns = spectrum->axes == 3 && spectrum->cross_m2ps3[0][1] != NULL;
        const double itself[3] = {0, 0, 0};
        if (turns) {
            in->view.asd_m2ps3[axis] = density;
            status = search_peaks(in, modes, err);
        } else {
            status = search_along(in, 0, itself, modes, err);
        }
    }
    quell_memory_free(in);
    quell_memory_free(density);
    return status;
}
