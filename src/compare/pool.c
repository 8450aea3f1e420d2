/* Several recordings of one side as one spectrum. */
#include "quell/compare.h"

#include <math.h>

static quell_status same_kind(const quell_spectrum *first, const quell_spectrum *other, size_t number,
                              quell_error *err)
{
    if (other->axes != first->axes)
        return quell_fail(err, QUELL_E_DATA,
                          "recording %zu of a side has %zu axes, want %zu as the first has", number,
                          other->axes, first->axes);
    if (other->window != first->window || other->segment != first->segment || other->bins != first->bins)
        return quell_fail(
            err, QUELL_E_DATA,
            "recording %zu of a side was analysed in segments of %zu samples, want %zu and the same "
            "window as for the first",
            number, other->segment, first->segment);
    if (fabs(other->rate_hz - first->rate_hz) > 0.01 * first->rate_hz)
        return quell_fail(err, QUELL_E_DATA,
                          "recording %zu of a side runs at %.1f Hz, want %.1f Hz within 1 %%", number,
                          other->rate_hz, first->rate_hz);
    return QUELL_OK;
}

/* Mean density of one axis, each recording with its segments as weight. */
static void average(const quell_spectrum *each, size_t count, size_t axis, double segments, double *out)
{
    for (size_t r = 0; r < count; r++) {
        double weight = (double)each[r].segments / segments;
        for (size_t i = 0; i < each[0].bins; i++)
            out[i] += weight * each[r].asd_m2ps3[axis][i];
    }
}

quell_status quell_spectra_pool(const quell_spectrum *each, size_t count, quell_arena *arena,
                                quell_spectrum *out, quell_error *err)
{
    if (count == 0)
        return quell_fail(err, QUELL_E_USAGE, "no recording on one side, want one at least");
    quell_spectrum pooled = {
        .axes = each[0].axes,
        .bins = each[0].bins,
        .window = each[0].window,
        .segment = each[0].segment,
        .hop = each[0].hop,
    };
    for (size_t r = 0; r < count; r++) {
        quell_status status = same_kind(&each[0], &each[r], r + 1, err);
        if (status != QUELL_OK)
            return status;
        pooled.segments += each[r].segments;
        pooled.dof += each[r].dof;
    }
    for (size_t r = 0; r < count; r++) {
        double weight = (double)each[r].segments / (double)pooled.segments;
        pooled.rate_hz += weight * each[r].rate_hz;
        pooled.enbw_hz += weight * each[r].enbw_hz;
        for (size_t m = 0; m <= QUELL_SPECTRUM_LAGS; m++)
            pooled.bin_correlation[m] += weight * each[r].bin_correlation[m];
    }
    pooled.bin_hz = pooled.rate_hz / (double)pooled.segment;
    quell_chi2_factors(pooled.dof, pooled.ci95_factor);
    for (size_t axis = 0; axis < pooled.axes; axis++) {
        pooled.asd_m2ps3[axis] = QUELL_NEW(arena, double, pooled.bins);
        if (pooled.asd_m2ps3[axis] == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory for a spectrum of %zu bins", pooled.bins);
        average(each, count, axis, (double)pooled.segments, pooled.asd_m2ps3[axis]);
    }
    *out = pooled;
    return QUELL_OK;
}
