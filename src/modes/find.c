/* From a spectrum to the modes of one axis: checks, peaks, the fit, and what is said about each mode. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define PROVISIONAL_FREQUENCY 0.01 /* half-widths of the intervals, relative, until they are estimated */
#define PROVISIONAL_DAMPING 0.2
#define PROVISIONAL_PARTICIPATION 0.2
#define IGNORED_WITHIN 0.05 /* how far off the frequency of an ignored mode may be given */

enum { BINS_LEAST = 12 };

void quell_modes_default_band(double rate_hz, double band_hz[2])
{
    band_hz[0] = 5;
    band_hz[1] = fmin(250, 0.4 * rate_hz);
}

/* The bins searched. */
static quell_status choose_band(quell_mode_search *search, const quell_modes_options *options,
                                double band_hz[2], quell_error *err)
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
    search->low = (size_t)fmax(ceil(band_hz[0] / spectrum->bin_hz), 1);
    search->high = (size_t)fmin(band_hz[1] / spectrum->bin_hz, (double)(spectrum->bins - 2));
    if (search->high < search->low + BINS_LEAST - 1) {
        char bin[32];
        return quell_fail(
            err, QUELL_E_DATA, "band %s to %s Hz holds fewer than %d bins of %s Hz, want a longer segment",
            low_text, high_text, BINS_LEAST, quell_number_print(bin, sizeof bin, spectrum->bin_hz, 4));
    }
    return QUELL_OK;
}

/* Peaks are sought in the density with a shaper's |H|^2 divided out, so that its notches do not make peaks
   between them; where it is nearly 0 the quotient says nothing and the notch is bridged. */
static quell_status find_peaks(quell_mode_search *search, const quell_modes_options *options,
                               const double band_hz[2], quell_error *err)
{
    const quell_spectrum *spectrum = search->spectrum;
    if (options->shaper_on == NULL)
        return quell_peaks_find(spectrum, search->axis, band_hz[0], band_hz[1], search->peak,
                                SEARCH_PEAKS_MAX, &search->peaks, err);
    double *divided = quell_memory_get(spectrum->bins * sizeof(double));
    if (divided == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for peaks in %zu bins", spectrum->bins);
    double before = 0;
    for (size_t k = 0; k < spectrum->bins; k++) {
        double h = cabs(quell_shaper_response(options->shaper_on, (double)k * spectrum->bin_hz)),
               gain = h * h;
        bool bridged = search->problem.masked[k] && gain < 0.5;
        divided[k] = bridged ? before : spectrum->asd_m2ps3[search->axis][k] / gain;
        before = divided[k];
    }
    quell_spectrum view = *spectrum;
    view.asd_m2ps3[search->axis] = divided;
    quell_status status = quell_peaks_find(&view, search->axis, band_hz[0], band_hz[1], search->peak,
                                           SEARCH_PEAKS_MAX, &search->peaks, err);
    quell_memory_free(divided);
    return status;
}

static void interval(double value, double half_width, double out[2])
{
    out[0] = value - half_width * fabs(value);
    out[1] = value + half_width * fabs(value);
}

static quell_mode describe(const quell_mode_search *search, size_t k, const quell_modes_options *options)
{
    const double *fitted = search->best.parameter + FIT_PER_MODE * k;
    const quell_peak *peak = &search->peak[search->from_peak[k]];
    quell_mode mode = {.frequency_hz = exp(fitted[FIT_LN_F]),
                       .damping_ratio = exp(fitted[FIT_LN_ZETA]),
                       .participation = fitted[FIT_C],
                       .half_power_damping_ratio = peak->half_power_damping_ratio,
                       .decay_damping_ratio = (double)NAN,
                       .prominence_db = peak->prominence_db,
                       .interval_is_provisional = true,
                       .seen_on = search->axis};
    interval(mode.frequency_hz, hypot(PROVISIONAL_FREQUENCY, options->rate_relative_error),
             mode.frequency_ci95_hz);
    interval(mode.damping_ratio, PROVISIONAL_DAMPING, mode.damping_ratio_ci95);
    interval(mode.participation, PROVISIONAL_PARTICIPATION, mode.participation_ci95);
    double at = mode.frequency_hz / search->spectrum->bin_hz, reach = fmax(mode.damping_ratio * at, 1);
    double last = fmin(at + reach, (double)(search->spectrum->bins - 1));
    quell_direction_find(search->spectrum, (size_t)fmax(at - reach + 0.5, 1), (size_t)(last + 0.5),
                         mode.direction);
    return mode;
}

/* The reason to ignore a mode; NULL if there is none. */
static const char *ignored(const quell_modes_options *options, const quell_mode *mode)
{
    double within = fmax(IGNORED_WITHIN, mode->damping_ratio);
    for (size_t i = 0; i < options->ignored_count; i++)
        if (fabs(options->ignored[i].frequency_hz / mode->frequency_hz - 1) <= within)
            return options->ignored[i].reason;
    return NULL;
}

/* Puts a mode into its place by frequency. */
static size_t insert(quell_mode *modes, size_t count, const quell_mode *mode)
{
    size_t at = count;
    for (; at > 0 && modes[at - 1].frequency_hz > mode->frequency_hz; at--)
        modes[at] = modes[at - 1];
    modes[at] = *mode;
    return at;
}

static void report(const quell_mode_search *search, const quell_modes_options *options, quell_modes *out)
{
    const quell_spectrum *spectrum = search->spectrum;
    const quell_fit *best = &search->best;
    for (size_t k = 0; k < best->modes; k++) {
        quell_mode mode = describe(search, k, options);
        const char *reason = ignored(options, &mode);
        if (reason == NULL) {
            insert(out->mode, out->count++, &mode);
            continue;
        }
        size_t at = insert(out->left_out_mode, out->left_out, &mode);
        memmove(out->left_out_reason + at + 1, out->left_out_reason + at,
                (out->left_out - at) * sizeof reason);
        out->left_out_reason[at] = reason;
        out->left_out++;
    }
    const double *common = best->parameter + FIT_PER_MODE * best->modes;
    if (best->modes == 0)
        return;
    out->band_hz[0] = (double)search->first * spectrum->bin_hz;
    out->band_hz[1] = (double)search->last * spectrum->bin_hz;
    out->fit.parameters = FIT_PER_MODE * best->modes + FIT_COMMON;
    out->fit.iterations = best->iterations;
    out->fit.rms_log_misfit = best->rms;
    out->fit.input_log_level = common[FIT_B0];
    out->fit.input_slope = common[FIT_B1];
    out->fit.noise_log_level = common[FIT_NOISE];
    out->fit.reference_hz = search->problem.model.reference_hz;
}

quell_status quell_modes_find(const quell_spectrum *spectrum, size_t axis, const quell_modes_options *options,
                              quell_arena *arena, quell_modes *out, quell_error *err)
{
    if (axis >= spectrum->axes)
        return quell_fail(err, QUELL_E_USAGE, "axis %zu of a spectrum of %zu, want less", axis,
                          spectrum->axes);
    quell_mode_search *search = quell_memory_get(sizeof *search);
    if (search == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a search");
    *search = (quell_mode_search){.spectrum = spectrum, .axis = axis};
    quell_modes made = {.excitation = "one input, its spectrum not known"};
    made.fit.objective = "least squares of ln density";
    made.fit.dof_per_bin = spectrum->dof;
    made.fit.bin_hz = spectrum->bin_hz;
    quell_status status = choose_band(search, options, made.band_hz, err);
    double band_hz[2] = {made.band_hz[0], made.band_hz[1]};
    if (status == QUELL_OK)
        status =
            quell_fit_prepare(&search->problem, spectrum, axis, search->low, search->high,
                              sqrt(fmax(band_hz[0], spectrum->bin_hz) * band_hz[1]), options->shaper_on, err);
    if (status == QUELL_OK)
        status = find_peaks(search, options, band_hz, err);
    if (status == QUELL_OK) {
        quell_known_lines_mask(search, options);
        quell_modes_select(search);
        made.excited_hz[0] = (double)search->low * spectrum->bin_hz;
        made.excited_hz[1] = (double)search->high * spectrum->bin_hz;
        report(search, options, &made);
        status = quell_doubts_add(&made, spectrum, axis, band_hz, arena, err);
    }
    if (status == QUELL_OK)
        *out = made;
    quell_fit_release(&search->problem);
    quell_memory_free(search);
    return status;
}
