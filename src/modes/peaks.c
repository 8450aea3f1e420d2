/* Peaks that stand out of the local floor by more than chance, and lines told from modes. */
#include "modes_private.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#define LEAST_OVER_FLOOR 1.4125375446227544 /* 1.5 dB */

/* P at the peak over the higher of the lowest points that separate it from higher ground on either side,
   looked for within a factor `reach` of frequency. */
static double prominence(const double *density, size_t bins, size_t peak, double reach)
{
    double left = density[peak], right = density[peak];
    size_t low = (size_t)((double)peak / reach), high = (size_t)fmin((double)peak * reach, (double)bins) + 1;
    for (size_t k = peak; k-- > 1 && k >= low && density[k] <= density[peak];)
        left = fmin(left, density[k]);
    for (size_t k = peak + 1; k < bins && k <= high && density[k] <= density[peak]; k++)
        right = fmin(right, density[k]);
    double saddle = fmax(left, right);
    return saddle > 1e-30 * density[peak] ? density[peak] / saddle : 1e30;
}

static quell_peak describe(const quell_spectrum *spectrum, const double *density, size_t bin, double ratio,
                           double prominent)
{
    double at, width;
    double zeta = quell_half_power(density, spectrum->bins, bin, &at, &width);
    return (quell_peak){.bin = bin,
                        .frequency_hz = at * spectrum->bin_hz,
                        .floor_ratio = ratio,
                        .prominence_db = 10 * log10(prominent),
                        .half_power_damping_ratio = zeta,
                        .line = quell_is_line(spectrum, density, bin, width)};
}

/* Keeps the strongest `max`, strongest first. */
static void enter(quell_peak *peaks, size_t max, size_t *count, const quell_peak *peak)
{
    size_t at = *count < max ? (*count)++ : max;
    while (at > 0 && peaks[at - 1].prominence_db < peak->prominence_db) {
        if (at < max)
            peaks[at] = peaks[at - 1];
        at--;
    }
    if (at < max)
        peaks[at] = *peak;
}

/* What a peak must reach. */
typedef struct limits {
    double over_floor; /* ratios */
    double prominence;
} limits;

static limits limits_for(const quell_spectrum *spectrum, double low_hz, double high_hz)
{
    double nu = spectrum->dof, independent = fmax((high_hz - low_hz) / spectrum->bin_hz / 1.5, 1);
    return (limits){.over_floor = fmax(gsl_cdf_chisq_Qinv(0.01 / independent, nu) / nu, LEAST_OVER_FLOOR),
                    .prominence = pow(10, 0.35 * 4.343 * sqrt(2 / nu))};
}

quell_status quell_peaks_find(const quell_spectrum *spectrum, size_t axis, double low_hz, double high_hz,
                              quell_peak *peaks, size_t max, size_t *count, quell_error *err)
{
    const double *density = spectrum->asd_m2ps3[axis];
    double *floor = quell_memory_get(spectrum->bins * sizeof(double));
    if (floor == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for peaks in %zu bins", spectrum->bins);
    quell_status status = quell_noise_floor(spectrum, axis, floor, err);
    limits want = limits_for(spectrum, low_hz, high_hz);
    size_t found = 0;
    for (size_t k = 1; k + 1 < spectrum->bins && status == QUELL_OK; k++) {
        double x_hz = (double)k * spectrum->bin_hz;
        bool inside = x_hz >= low_hz && x_hz <= high_hz;
        bool top = density[k] > density[k - 1] && density[k] >= density[k + 1];
        if (!inside || !top || !(floor[k] > 0) || density[k] < want.over_floor * floor[k])
            continue;
        /* within 0.6 octave: where an excitation begins or ends, the density falls off on one side only */
        if (prominence(density, spectrum->bins, k, exp2(0.6)) < want.prominence)
            continue;
        double prominent = prominence(density, spectrum->bins, k, 1e6);
        quell_peak peak = describe(spectrum, density, k, density[k] / floor[k], prominent);
        enter(peaks, max, &found, &peak);
    }
    if (status == QUELL_OK)
        *count = found;
    quell_memory_free(floor);
    return status;
}
