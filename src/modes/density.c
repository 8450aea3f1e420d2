/* The fitted density, bin by bin, for pictures and for residuals. */
#include "modes_private.h"

#include <math.h>

static void put(double *parameter, size_t k, const quell_mode *mode)
{
    parameter[FIT_PER_MODE * k + FIT_LN_F] = log(mode->frequency_hz);
    parameter[FIT_PER_MODE * k + FIT_LN_ZETA] = log(mode->damping_ratio);
    parameter[FIT_PER_MODE * k + FIT_C] = mode->participation;
}

quell_status quell_modes_density(const quell_modes *modes, const quell_spectrum *spectrum,
                                 const quell_shaper *shaper_on, double *density, quell_error *err)
{
    for (size_t k = 0; k < spectrum->bins; k++)
        density[k] = (double)NAN;
    size_t count = modes->count + modes->left_out;
    if (count == 0)
        return QUELL_OK;
    double parameter[FIT_PARAMETERS_MAX];
    for (size_t k = 0; k < count; k++)
        put(parameter, k, k < modes->count ? &modes->mode[k] : &modes->left_out_mode[k - modes->count]);
    parameter[FIT_PER_MODE * count + FIT_B0] = modes->fit.input_log_level;
    parameter[FIT_PER_MODE * count + FIT_B1] = modes->fit.input_slope;
    parameter[FIT_PER_MODE * count + FIT_NOISE] = modes->fit.noise_log_level;
    parameter[FIT_PER_MODE * count + FIT_DIRECT] = 1;
    size_t low = (size_t)(modes->band_hz[0] / spectrum->bin_hz + 0.5);
    size_t high = (size_t)(modes->band_hz[1] / spectrum->bin_hz + 0.5);
    quell_model model;
    quell_status status =
        quell_model_prepare(&model, spectrum, low, high, modes->fit.reference_hz, shaper_on, err);
    if (status == QUELL_OK) {
        quell_model_evaluate(&model, parameter, count, density + low, NULL);
        for (size_t k = low; k <= high; k++)
            density[k] = exp(density[k]);
    }
    quell_model_clear(&model);
    return status;
}
