/* A plain mean periodogram for judging a recording: its noise floor, its lines, its energy near the Nyquist
   frequency. (The estimates that results rest on are the spectrum stage's.) */
#include "ingest/ingest_private.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_fft_real.h>
#include <gsl/gsl_sort.h>
#include <math.h>

enum { LONG = 1024, SHORT = 256 };

/* Adds the one-sided periodogram of n samples under a periodic Hann window (sum of squares 3n/8). */
static void add_segment(ingest_density *out, const double *value, size_t n, double rate_hz, double *work)
{
    double mean = 0;
    for (size_t i = 0; i < n; i++)
        mean += value[i];
    mean /= (double)n;
    for (size_t i = 0; i < n; i++)
        work[i] = (value[i] - mean) * 0.5 * (1 - cos(QUELL_TAU * (double)i / (double)n));
    gsl_fft_real_radix2_transform(work, 1, n);
    double scale = 2 / (rate_hz * 0.375 * (double)n);
    for (size_t b = 0; b <= n / 2; b++) {
        bool edge = b == 0 || b == n / 2;
        double power = edge ? 0.5 * work[b] * work[b] : work[b] * work[b] + work[n - b] * work[n - b];
        out->asd_m2ps3[b] += scale * power;
        out->square[b] += scale * power * scale * power;
    }
    out->segments++;
}

/* Is there a long gap inside [from, to)? */
static bool is_broken(const quell_recording *recording, size_t from, size_t to)
{
    for (size_t b = 0; b < recording->break_count && recording->break_at[b] < to; b++)
        if (recording->break_at[b] > from)
            return true;
    return false;
}

static void accumulate(ingest_density *out, const quell_recording *recording, size_t axis,
                       const ingest_stretch *stretch, size_t count, size_t n, double *work)
{
    *out = (ingest_density){.bins = n / 2 + 1, .bin_hz = recording->rate_hz / (double)n};
    for (size_t s = 0; s < count; s++)
        for (size_t at = stretch[s].from; at + n <= stretch[s].to; at += n) {
            if (is_broken(recording, at, at + n))
                continue;
            add_segment(out, recording->accel_mps2[axis] + at, n, recording->rate_hz, work);
        }
    for (size_t b = 0; b < out->bins && out->segments > 0; b++) {
        out->asd_m2ps3[b] /= (double)out->segments;
        out->square[b] /= (double)out->segments;
    }
}

quell_status ingest_density_estimate(ingest_density *out, const quell_recording *recording, size_t axis,
                                     const ingest_stretch *stretch, size_t count, quell_error *err)
{
    double *work = quell_memory_get(LONG * sizeof *work);
    if (work == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for judging");
    accumulate(out, recording, axis, stretch, count, LONG, work);
    if (out->segments == 0)
        accumulate(out, recording, axis, stretch, count, SHORT, work);
    quell_memory_free(work);
    return QUELL_OK;
}

double ingest_density_floor(const ingest_density *density, double low_hz, double high_hz)
{
    double sorted[INGEST_DENSITY_BINS];
    size_t count = 0;
    for (size_t b = 1; b + 1 < density->bins; b++) {
        double at_hz = (double)b * density->bin_hz;
        if (at_hz >= low_hz && at_hz < high_hz)
            sorted[count++] = density->asd_m2ps3[b];
    }
    if (count == 0 || density->segments == 0)
        return NAN;
    gsl_sort(sorted, 1, count);
    /* a mean of K periodograms is distributed as chi-square with 2K degrees of freedom over 2K */
    double dof = 2 * (double)density->segments;
    return sorted[count / 2] / (gsl_cdf_chisq_Pinv(0.5, dof) / dof);
}
