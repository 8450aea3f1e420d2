/* How sure an estimate is: degrees of freedom, correlation of bins, chi-square factors, power of a band. */
#include "quell/spectrum.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

double quell_welch_dof(const double *window, size_t segment, size_t hop, size_t segments)
{
    double power = 0, sum = 0, count = (double)segments;
    for (size_t n = 0; n < segment; n++)
        power += window[n] * window[n];
    for (size_t m = 1; m * hop < segment && m < segments; m++) {
        double lagged = 0;
        for (size_t n = 0; n + m * hop < segment; n++)
            lagged += window[n] * window[n + m * hop];
        double correlation = lagged / power;
        sum += (1 - (double)m / count) * correlation * correlation;
    }
    return 2 * count / (1 + 2 * sum);
}

/* |sum over n of w[n] w[n + lag] exp(-2 pi j m n / N)|^2. The phasor c + j s is a recurrence, set anew every
   64 samples so that rounding does not build up. */
static double lagged_power(const double *window, size_t segment, size_t lag, size_t m)
{
    enum { ANEW = 64 };
    double step = -QUELL_TAU * (double)m / (double)segment, turn_c = cos(step), turn_s = sin(step);
    double c = 1, s = 0, sum_c = 0, sum_s = 0;
    for (size_t n = 0; n + lag < segment; n++) {
        if (n % ANEW == 0) {
            c = cos(step * (double)n);
            s = sin(step * (double)n);
        }
        double product = window[n] * window[n + lag];
        sum_c += product * c;
        sum_s += product * s;
        double next = c * turn_c - s * turn_s;
        s = c * turn_s + s * turn_c;
        c = next;
    }
    return sum_c * sum_c + sum_s * sum_s;
}

void quell_welch_bin_correlation(const double *window, size_t segment, size_t hop, size_t segments,
                                 double rho2[QUELL_SPECTRUM_LAGS + 1])
{
    for (size_t m = 0; m <= QUELL_SPECTRUM_LAGS; m++) {
        double sum = lagged_power(window, segment, 0, m);
        for (size_t k = 1; k * hop < segment && k < segments; k++)
            sum += 2 * (1 - (double)k / (double)segments) * lagged_power(window, segment, k * hop, m);
        rho2[m] = sum;
    }
    for (size_t m = QUELL_SPECTRUM_LAGS + 1; m-- > 0;)
        rho2[m] /= rho2[0];
}

void quell_chi2_factors(double dof, double factor[2])
{
    factor[0] = dof / gsl_cdf_chisq_Qinv(0.025, dof);
    factor[1] = dof / gsl_cdf_chisq_Pinv(0.025, dof);
}

bool quell_spectrum_band(const quell_spectrum *spectrum, size_t axis, double low_hz, double high_hz,
                         double *mean_square_mps2, double *dof)
{
    const double *density = spectrum->asd_m2ps3[axis];
    size_t first = 0, end = 0;
    while (first < spectrum->bins && (double)first * spectrum->bin_hz < low_hz)
        first++;
    for (end = first; end < spectrum->bins && (double)end * spectrum->bin_hz < high_hz;)
        end++;
    if (end == first)
        return false;
    double sum = 0, squares = 0;
    for (size_t i = first; i < end; i++) {
        /* 0 Hz and the Nyquist bin have half the degrees of freedom, so twice the variance */
        double share = i == 0 || 2 * i == spectrum->segment ? 2 : 1;
        sum += density[i];
        squares += share * density[i] * density[i];
        for (size_t m = 1; m <= QUELL_SPECTRUM_LAGS && i + m < end; m++)
            squares += 2 * spectrum->bin_correlation[m] * density[i] * density[i + m];
    }
    double nu = spectrum->dof;
    *mean_square_mps2 = sum * spectrum->bin_hz;
    *dof = squares > 0 ? nu * (1 + 2 / nu) * sum * (sum / squares) : nu;
    return true;
}
