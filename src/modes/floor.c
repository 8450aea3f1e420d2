/* The local noise floor: what the density would be without its peaks. */
#include "modes_private.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

/* Values of a stretch of bins in order, so that its median is at hand while both ends move on. */
typedef struct stretch {
    const double *density;
    double *sorted;
    size_t first, end; /* bins first..end - 1 are in */
} stretch;

static size_t place(const stretch *in, double value)
{
    size_t low = 0, high = in->end - in->first;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (in->sorted[middle] < value)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static void take_in(stretch *in)
{
    size_t count = in->end - in->first, at = place(in, in->density[in->end]);
    memmove(in->sorted + at + 1, in->sorted + at, (count - at) * sizeof *in->sorted);
    in->sorted[at] = in->density[in->end++];
}

static void let_go(stretch *in)
{
    size_t count = in->end - in->first, at = place(in, in->density[in->first]);
    memmove(in->sorted + at, in->sorted + at + 1, (count - at - 1) * sizeof *in->sorted);
    in->first++;
}

/* Moves to bins first..last; both only ever grow. */
static double median_over(stretch *in, size_t first, size_t last)
{
    while (in->end <= last)
        take_in(in);
    while (in->first < first)
        let_go(in);
    size_t count = in->end - in->first;
    return count % 2 == 1 ? in->sorted[count / 2] : (in->sorted[count / 2 - 1] + in->sorted[count / 2]) / 2;
}

quell_status quell_noise_floor(const quell_spectrum *spectrum, size_t axis, double *floor, quell_error *err)
{
    const double *density = spectrum->asd_m2ps3[axis];
    size_t bins = spectrum->bins;
    double *sorted = quell_memory_get(2 * bins * sizeof(double));
    if (sorted == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a noise floor of %zu bins", bins);
    stretch left = {.density = density, .sorted = sorted},
            right = {.density = density, .sorted = sorted + bins};
    double octaves = exp2(0.6), mean_over_median = spectrum->dof / gsl_cdf_chisq_Pinv(0.5, spectrum->dof);
    enum { LEAST = 4 }; /* bins on a side, where the spectrum has them */
    for (size_t k = 0; k < bins; k++) {
        size_t low = (size_t)((double)k / octaves), high = (size_t)((double)k * octaves);
        low = k - low < LEAST ? (k < LEAST ? 0 : k - LEAST) : low;
        high = high < k + LEAST ? k + LEAST : high;
        high = high > bins - 1 ? bins - 1 : high;
        double below = median_over(&left, low, k), above = median_over(&right, k, high);
        floor[k] = sqrt(below) * sqrt(above) * mean_over_median;
    }
    quell_memory_free(sorted);
    return QUELL_OK;
}
