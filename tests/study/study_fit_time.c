/* How long one fit takes: the only place where the study looks into the estimator. */
#include "study.h"

#include "modes/modes_private.h"

#include <math.h>

double study_fit_time(const quell_spectrum *spectrum, const quell_simulation *truth)
{
    quell_fit_problem problem = {0};
    quell_mode_start start[STUDY_MODES_MAX];
    double low_hz = HUGE_VAL, high_hz = 0, begin = study_processor_s();
    if (truth->modes == 0)
        return (double)NAN;
    for (size_t k = 0; k < truth->modes; k++) {
        const quell_simulated_mode *mode = &truth->mode[k];
        start[k] = (quell_mode_start){1.01 * mode->frequency_hz, 1.3 * mode->damping_ratio};
        low_hz = fmin(low_hz, 0.55 * mode->frequency_hz);
        high_hz = fmax(high_hz, 1.5 * mode->frequency_hz);
    }
    size_t low = (size_t)(low_hz / spectrum->bin_hz) + 1, high = (size_t)(high_hz / spectrum->bin_hz);
    bool swept = truth->excitation == QUELL_EXCITE_SWEEP;
    quell_status status =
        quell_fit_prepare(&problem, spectrum, 0, low, high, sqrt(low_hz * high_hz), NULL, swept, NULL);
    if (status == QUELL_OK) {
        quell_model_set_band(&problem.model, low, high);
        quell_fit fit = quell_fit_from_starts(&problem, start, truth->modes, NULL);
        quell_fit_improve(&problem, &fit, 60, FIT_FULLY);
    }
    quell_fit_release(&problem);
    return status == QUELL_OK ? study_processor_s() - begin : (double)NAN;
}
