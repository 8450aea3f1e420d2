/* How many modes: what an information criterion says of a fit. Random and ambient motion: G. Schwarz, Ann. Statist. 6, 1978, with
   the likelihood of bins that share data (a bin counts one over sum rho^2) and ln(T B) for the number of values. A sweep's bins
   scatter far less than chi-square, by how much is not known: the same with the scatter estimated, as in least squares. */
#include "modes_private.h"

#include <math.h>

#define SWEPT_FLOOR 0.05 /* rms of ln P: a sweep is no flatter than 0.2 dB, so nothing below tells of a mode */

static double shared(const quell_spectrum *spectrum)
{
    double sum = 1;
    for (size_t m = 1; m <= QUELL_SPECTRUM_LAGS; m++)
        sum += 2 * spectrum->bin_correlation[m];
    return sum;
}

double quell_fit_criterion(const quell_fit_problem *problem, const quell_fit *fit)
{
    const quell_spectrum *spectrum = problem->model.spectrum;
    double bins = (double)quell_fit_bins(problem), share = shared(spectrum);
    double parameters = (double)(FIT_PER_MODE * fit->modes);
    if (problem->swept) {
        double deviance = 2 * fit->misfit / (problem->weight * fmax(bins, 1));
        return bins / share * log(fmax(deviance, SWEPT_FLOOR * SWEPT_FLOOR)) + parameters * log(fmax(bins / share, 2));
    }
    size_t length = spectrum->segment + (spectrum->segments - 1) * spectrum->hop;
    double values = (double)length / spectrum->rate_hz * bins * spectrum->bin_hz;
    return 2 * fit->misfit / share + parameters * log(fmax(values, 2));
}
