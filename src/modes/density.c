/* The fitted density, bin by bin, for pictures and for residuals. */
#include "modes_private.h"

#include <math.h>

static void put(double *parameter, const quell_density_fit *fit)
{
    for (size_t k = 0; k < fit->modes; k++) {
        double *mode = parameter + FIT_PER_MODE * k;
        mode[FIT_LN_F] = log(fit->frequency_hz[k]);
        mode[FIT_LN_ZETA] = log(fit->damping_ratio[k]);
        mode[FIT_C] = fit->participation[k];
    }
    double *common = parameter + FIT_PER_MODE * fit->modes;
    common[FIT_B0] = fit->input_log_level;
    common[FIT_B1] = fit->input_slope;
    common[FIT_NOISE] = fit->noise_log_level;
    common[FIT_DIRECT] = fit->direct;
}

static quell_status evaluate(const quell_density_fit *fit, const quell_spectrum *spectrum,
                             const quell_modes_options *options, const double *command, double *density,
                             quell_error *err)
{
    double parameter[FIT_PARAMETERS_MAX], last = (double)(spectrum->bins - 1);
    size_t low = (size_t)fmin(fmax(fit->band_hz[0] / spectrum->bin_hz + 0.5, 1), last);
    size_t high = (size_t)fmin(fmax(fit->band_hz[1] / spectrum->bin_hz + 0.5, (double)low), last);
    quell_model model;
    put(parameter, fit);
    quell_status status =
        quell_model_prepare(&model, spectrum, low, high, fit->reference_hz, options->shaper_on, err);
    if (status == QUELL_OK) {
        model.form = fit->ambient ? MODEL_AMBIENT : MODEL_DRIVEN;
        model.command = command;
        quell_model_evaluate(&model, parameter, fit->modes, density + low, NULL);
        for (size_t k = low; k <= high; k++)
            density[k] = exp(density[k]);
    }
    quell_model_clear(&model);
    return status;
}

quell_status quell_modes_density(const quell_modes *modes, const quell_spectrum *spectrum, size_t axis,
                                 const quell_modes_options *options, double *density, quell_error *err)
{
    if (axis >= spectrum->axes)
        return quell_fail(err, QUELL_E_USAGE, "axis %zu of a spectrum of %zu, want less", axis, spectrum->axes);
    const quell_density_fit *fit = &modes->density[axis];
    for (size_t k = 0; k < spectrum->bins; k++)
        density[k] = (double)NAN;
    if (fit->modes == 0)
        return QUELL_OK;
    double *command = NULL;
    quell_status status = quell_options_command(spectrum, options, &command, err);
    if (status == QUELL_OK)
        status = evaluate(fit, spectrum, options, command, density, err);
    quell_memory_free(command);
    return status;
}
