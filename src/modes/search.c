/* A search for modes on one density: what is searched, the peaks in it, and the fit as modes. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define SWEEP_INNER_LOW 1.1 /* of a known sweep's range, where its input is flat */
#define SWEEP_INNER_HIGH 0.9
#define RIPPLE_WIDTHS 2.5 /* or of the root of its rate from its end */
#define LEAST_SHARE 0.2 /* of a sweep's density: outside its range, or in a gap, that is next to nothing */

enum { BINS_LEAST = 12 };

/* Keeps the band within a known sweep's range. */
static void keep_within_sweep(const quell_modes_options *options, double band_hz[2])
{
    const quell_shaking *shaking = options->shaking;
    if (shaking == NULL || shaking->kind != QUELL_EXCITE_SWEEP || !shaking->sweep_known)
        return;
    band_hz[0] = fmax(band_hz[0], SWEEP_INNER_LOW * shaking->sweep.start_hz);
    double ripple_hz = RIPPLE_WIDTHS * sqrt(shaking->sweep.rate_hz_per_s);
    band_hz[1] = fmin(band_hz[1], fmax(SWEEP_INNER_HIGH * shaking->sweep.end_hz, shaking->sweep.end_hz - ripple_hz));
}

quell_status quell_search_band(quell_mode_search *search, const quell_modes_options *options, double band_hz[2],
                               quell_error *err)
{
    const quell_spectrum *spectrum = search->spectrum;
    char low_text[32], high_text[32];
    memcpy(band_hz, options->band_hz, 2 * sizeof *band_hz);
    if (band_hz[0] == 0 && band_hz[1] == 0)
        quell_modes_default_band(spectrum->rate_hz, band_hz);
    quell_number_print(low_text, sizeof low_text, band_hz[0], 6);
    quell_number_print(high_text, sizeof high_text, band_hz[1], 6);
    if (!(band_hz[0] >= 0 && band_hz[1] > band_hz[0] && band_hz[1] <= spectrum->rate_hz / 2)) {
        char nyquist[32];
        return quell_fail(err, QUELL_E_USAGE, "band is %s to %s Hz, want a range within 0 to %s Hz", low_text,
                          high_text, quell_number_print(nyquist, sizeof nyquist, spectrum->rate_hz / 2, 6));
    }
    keep_within_sweep(options, band_hz);
    search->low = (size_t)fmax(ceil(band_hz[0] / spectrum->bin_hz), 1);
    search->high = (size_t)fmax(fmin(band_hz[1] / spectrum->bin_hz, (double)(spectrum->bins - 2)), 0);
    if (search->high < search->low + BINS_LEAST - 1) {
        char bin[32];
        return quell_fail(
            err, QUELL_E_DATA, "band %s to %s Hz holds fewer than %d bins of %s Hz%s, want a longer segment",
            low_text, high_text, BINS_LEAST, quell_number_print(bin, sizeof bin, spectrum->bin_hz, 4),
            options->shaking != NULL && options->shaking->sweep_known ? " within the sweep's range" : "");
    }
    return QUELL_OK;
}

/* What of its largest density the command has at a bin. */
static double command_share(const quell_mode_search *search, double most, size_t bin)
{
    const double *command = search->problem.model.command;
    return command != NULL ? command[bin] / most : 1;
}

/* The density with a shaper's |H|^2 and a sweep's own density divided out. Where they are nearly 0 the quotient says nothing: it is
   bridged, but beyond the sweep's ends, where the density falls by itself. */
static void divide(const quell_mode_search *search, const quell_shaper *shaper, double *divided)
{
    const quell_spectrum *spectrum = search->spectrum;
    const double *command = search->problem.model.command, *density = spectrum->asd_m2ps3[search->axis];
    double most = 0, before = 0;
    size_t first = 0, last = spectrum->bins - 1;
    for (size_t k = 0; k < spectrum->bins && command != NULL; k++)
        most = fmax(most, command[k]);
    while (first < last && command_share(search, most, first) < LEAST_SHARE)
        first++;
    while (last > first && command_share(search, most, last) < LEAST_SHARE)
        last--;
    for (size_t k = 0; k < spectrum->bins; k++) {
        double h = shaper != NULL ? cabs(quell_shaper_response(shaper, (double)k * spectrum->bin_hz)) : 1, gain = h * h;
        double share = command_share(search, most, k);
        bool gap = share < LEAST_SHARE && k > first && k < last, notch = search->problem.masked[k] && gain < 0.5;
        divided[k] = gap || notch ? before : density[k] / (gain * fmax(share, LEAST_SHARE));
        before = divided[k];
    }
}

/* Peaks are sought in the density with what is known of the input divided out, so that neither a shaper's notches nor the ripple at a
   sweep's ends make peaks. */
static quell_status find_peaks(quell_mode_search *search, const quell_modes_options *options, quell_error *err)
{
    const quell_spectrum *spectrum = search->spectrum;
    double low_hz = (double)search->low * spectrum->bin_hz, high_hz = (double)search->high * spectrum->bin_hz;
    if (options->shaper_on == NULL && search->problem.model.command == NULL)
        return quell_peaks_find(spectrum, search->axis, low_hz, high_hz, search->peak, SEARCH_PEAKS_MAX,
                                &search->peaks, err);
    double *divided = quell_memory_get(spectrum->bins * sizeof(double));
    if (divided == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for peaks in %zu bins", spectrum->bins);
    divide(search, options->shaper_on, divided);
    quell_spectrum view = *spectrum;
    view.asd_m2ps3[search->axis] = divided;
    quell_status status = quell_peaks_find(&view, search->axis, low_hz, high_hz, search->peak, SEARCH_PEAKS_MAX,
                                           &search->peaks, err);
    quell_memory_free(divided);
    return status;
}

quell_status quell_search_prepare(quell_mode_search *search, const quell_modes_options *options, quell_model_form form,
                                  const double *command, quell_error *err)
{
    const quell_spectrum *spectrum = search->spectrum;
    quell_fit_problem *problem = &search->problem;
    double low_hz = (double)search->low * spectrum->bin_hz, high_hz = (double)search->high * spectrum->bin_hz;
    quell_status status = quell_fit_prepare(problem, spectrum, search->axis, search->low, search->high,
                                            sqrt(low_hz * high_hz), options->shaper_on,
                                            quell_options_kind(options) == QUELL_EXCITE_SWEEP, err);
    if (status != QUELL_OK)
        return status;
    if (search->modes_most == 0)
        search->modes_most = QUELL_MODES_MAX;
    problem->model.form = form;
    if (options->shaking != NULL && problem->swept)
        search->seen = options->shaking->seen;
    problem->model.command = command;
    problem->held[FIT_B1] = options->shaking != NULL && (options->shaking->sweep_known || options->shaking->random_known);
    double most = 0;
    for (size_t k = 0; k < spectrum->bins && command != NULL; k++)
        most = fmax(most, command[k]);
    for (size_t k = 0; k < spectrum->bins && command != NULL; k++)
        problem->masked[k] = problem->masked[k] || !(command[k] > LEAST_SHARE * most);
    if (form == MODEL_AMBIENT)
        problem->held[FIT_B0] = problem->held[FIT_B1] = true;
    if (form == MODEL_ACROSS) {
        problem->held[FIT_B0] = problem->held[FIT_B1] = true;
        problem->held[FIT_DIRECT] = false;
    }
    status = find_peaks(search, options, err);
    if (status == QUELL_OK)
        quell_known_lines_mask(search, options);
    return status;
}

/* What was fitted, for pictures. */
static void keep_density(const quell_mode_search *search, quell_density_fit *out)
{
    const quell_fit *best = &search->best;
    const quell_model *model = &search->problem.model;
    const double *common = best->parameter + FIT_PER_MODE * best->modes;
    *out = (quell_density_fit){.modes = best->modes,
                               .ambient = model->form == MODEL_AMBIENT,
                               .input_log_level = common[FIT_B0],
                               .input_slope = common[FIT_B1],
                               .noise_log_level = common[FIT_NOISE],
                               .direct = common[FIT_DIRECT],
                               .reference_hz = model->reference_hz,
                               .band_hz = {(double)search->first * search->spectrum->bin_hz,
                                           (double)search->last * search->spectrum->bin_hz}};
    for (size_t k = 0; k < best->modes; k++) {
        const double *mode = best->parameter + FIT_PER_MODE * k;
        out->frequency_hz[k] = exp(mode[FIT_LN_F]);
        out->damping_ratio[k] = exp(mode[FIT_LN_ZETA]);
        out->participation[k] = mode[FIT_C];
    }
}

void quell_search_report(const quell_mode_search *search, quell_modes *modes)
{
    const quell_fit *best = &search->best;
    quell_density_fit *density = &modes->density[search->axis];
    if (best->modes == 0)
        return;
    keep_density(search, density);
    if (modes->fit.parameters > 0) /* of the driven axis, which comes first */
        return;
    memcpy(modes->band_hz, density->band_hz, sizeof modes->band_hz);
    modes->fit.parameters = FIT_PER_MODE * best->modes;
    for (size_t i = 0; i < FIT_COMMON; i++)
        modes->fit.parameters += !search->problem.held[i];
    modes->fit.iterations = best->iterations;
    modes->fit.rms_log_misfit = best->rms;
    modes->fit.split_ratio = search->split_ratio;
    modes->fit.split_hz = search->split_hz;
    modes->fit.input_log_level = density->input_log_level;
    modes->fit.input_slope = density->input_slope;
}
