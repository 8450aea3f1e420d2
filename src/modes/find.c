/* From a spectrum to the modes of one axis, by the kind of excitation. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

void quell_modes_default_band(double rate_hz, double band_hz[2])
{
    band_hz[0] = 5;
    band_hz[1] = fmin(250, 0.4 * rate_hz);
}

quell_excitation quell_options_kind(const quell_modes_options *options)
{
    return options->shaking != NULL ? options->shaking->kind : QUELL_EXCITE_SWEEP;
}

static const char *excitation_words(const quell_modes_options *options)
{
    switch (quell_options_kind(options)) {
    case QUELL_EXCITE_SWEEP:
        return options->shaking != NULL && options->shaking->sweep_known ? "a sweep, its command known"
                                                                         : "a sweep, its command not known";
    case QUELL_EXCITE_RANDOM:
        return options->shaking->random_known ? "random strokes, their range known" : "random motion, one input";
    case QUELL_EXCITE_STOPS:
        return options->shaking != NULL && options->shaking->blow ? "a blow, and the free decay after it"
                                                                  : "stops, and the free decays after them";
    default:
        return "ambient vibration, no common input";
    }
}

quell_status quell_options_command(const quell_spectrum *spectrum, const quell_modes_options *options,
                                   double **command, quell_error *err)
{
    *command = NULL;
    const quell_shaking *shaking = options->shaking;
    bool sweeps = shaking != NULL && shaking->kind == QUELL_EXCITE_SWEEP && (shaking->sweep_known || shaking->seen.end_hz > 0);
    bool random = shaking != NULL && shaking->kind == QUELL_EXCITE_RANDOM && shaking->random_known;
    if (!sweeps && !random)
        return QUELL_OK;
    *command = quell_memory_get(spectrum->bins * sizeof(double));
    if (*command == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a command's density of %zu bins", spectrum->bins);
    if (random)
        return quell_random_density(shaking, spectrum, *command, err);
    if (shaking->sweep_known) {
        quell_shaking as = *shaking;
        if (shaking->seen.end_hz > 0) /* segments want to begin where they do */
            memcpy(as.margin, shaking->seen_margin, sizeof as.margin);
        return quell_sweep_density(&as, spectrum, *command, err);
    }
    return quell_sweep_shape(shaking, spectrum, *command, err);
}

/* Modes that one input along the axis shakes. */
static quell_status find_driven(const quell_spectrum *spectrum, size_t axis, const quell_modes_options *options,
                                quell_modes *made, quell_error *err)
{
    quell_mode_search *search = quell_memory_get(sizeof *search);
    double *command = NULL, variance[FIT_PARAMETERS_MAX];
    if (search == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a search");
    *search = (quell_mode_search){.spectrum = spectrum, .axis = axis};
    quell_status status = quell_search_band(search, options, made->band_hz, err);
    if (status == QUELL_OK)
        status = quell_options_command(spectrum, options, &command, err);
    if (status == QUELL_OK)
        status = quell_search_prepare(search, options, MODEL_DRIVEN, command, err);
    if (status == QUELL_OK) {
        quell_modes_select(search);
        made->excited_hz[0] = (double)search->low * spectrum->bin_hz;
        made->excited_hz[1] = (double)search->high * spectrum->bin_hz;
        quell_search_report(search, made);
        if (search->best.modes > 0)
            quell_fit_variances(&search->problem, &search->best, variance);
        for (size_t k = 0; k < search->best.modes; k++) {
            quell_mode mode = quell_search_mode(search, k, variance, options);
            quell_modes_enter(made, &mode, options);
        }
        status = quell_modes_across(search, options, command, made, err);
    }
    quell_fit_release(&search->problem);
    quell_memory_free(search);
    quell_memory_free(command);
    return status;
}

quell_status quell_modes_find(const quell_spectrum *spectrum, size_t axis, const quell_modes_options *options,
                              quell_arena *arena, quell_modes *out, quell_error *err)
{
    if (axis >= spectrum->axes)
        return quell_fail(err, QUELL_E_USAGE, "axis %zu of a spectrum of %zu, want less", axis,
                          spectrum->axes);
    quell_excitation kind = quell_options_kind(options);
    quell_modes made = {.excitation = excitation_words(options),
                        .kind = kind,
                        .sweep_known = options->shaking != NULL && options->shaking->sweep_known,
                        .sweep_followed = options->shaking != NULL && (options->shaking->sweep_known ||
                                                                       options->shaking->seen.end_hz > 0),
                        .participation_known = kind != QUELL_EXCITE_AMBIENT};
    made.fit.objective = "Whittle likelihood of the Welch density";
    made.fit.dof_per_bin = spectrum->dof;
    made.fit.bin_hz = spectrum->bin_hz;
    quell_mode_search band = {.spectrum = spectrum, .axis = axis};
    double band_hz[2];
    quell_status status = quell_search_band(&band, options, band_hz, err);
    made.band_hz[0] = made.excited_hz[0] = band_hz[0];
    made.band_hz[1] = made.excited_hz[1] = band_hz[1];
    if (status == QUELL_OK && kind != QUELL_EXCITE_STOPS) /* those are quell_decays_find's */
        status = kind == QUELL_EXCITE_AMBIENT ? quell_modes_ambient(spectrum, axis, options, &made, err)
                                              : find_driven(spectrum, axis, options, &made, err);
    if (status == QUELL_OK)
        status = quell_doubts_add(&made, spectrum, axis, band_hz, arena, err);
    if (status == QUELL_OK)
        *out = made;
    return status;
}
