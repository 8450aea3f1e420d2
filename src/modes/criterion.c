/* How many modes: what an information criterion says of a fit. Random and ambient motion: G. Schwarz, Ann. Statist. 6, 1978, with
   the likelihood of bins that share data (a bin counts one over sum rho^2) and ln(T B) for the number of values. A sweep's bins
   scatter far less than chi-square, by how much is not known: the same with the scatter estimated, as in least squares. */
#include "modes_private.h"

#include <math.h>

#define SWEPT_FLOOR 0.05 /* rms of ln P: a sweep is no flatter than 0.2 dB, so nothing below tells of a mode */

double quell_bins_shared(const quell_spectrum *spectrum)
{
    double sum = 1;
    for (size_t m = 1; m <= QUELL_SPECTRUM_LAGS; m++)
        sum += 2 * spectrum->bin_correlation[m];
    return sum;
}

/* What the logarithm of every parameter's price is taken of: independent bins of a sweep, else the number of values. */
static double independent(const quell_fit_problem *problem)
{
    const quell_spectrum *spectrum = problem->model.spectrum;
    double bins = (double)quell_fit_bins(problem);
    if (problem->swept)
        return fmax(bins / quell_bins_shared(spectrum), 2);
    size_t length = spectrum->segment + (spectrum->segments - 1) * spectrum->hop;
    return fmax((double)length / spectrum->rate_hz * bins * spectrum->bin_hz, 2);
}

double quell_fit_criterion(const quell_fit_problem *problem, const quell_fit *fit)
{
    double bins = (double)quell_fit_bins(problem), share = quell_bins_shared(problem->model.spectrum);
    double price = (double)(FIT_PER_MODE * fit->modes) * log(independent(problem));
    if (problem->swept) {
        double deviance = 2 * fit->misfit / (problem->weight * fmax(bins, 1));
        return bins / share * log(fmax(deviance, SWEPT_FLOOR * SWEPT_FLOOR)) + price;
    }
    return 2 * fit->misfit / share + price;
}

double quell_fit_price(const quell_fit_problem *problem, const quell_fit *fit)
{
    double n = independent(problem), price = FIT_PER_MODE * log(n);
    return problem->swept ? fit->misfit * (1 - exp(-price / n)) : price * quell_bins_shared(problem->model.spectrum) / 2;
}
