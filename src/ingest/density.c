/* A plain mean periodogram for judging a recording: its noise floor, its lines, its energy near the Nyquist
   frequency. (The estimates that results rest on are the spectrum stage's.) */
#include "ingest/digest_private.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_fft_real.h>
#include <gsl/gsl_sort.h>
#include <math.h>

/* Adds the one-sided periodogram of n samples under a periodic Hann window (sum of squares 3n/8). */
static void add_segment(ingest_density *out, const float *value, size_t n, double rate_hz, double *work)
{
    double mean = 0;
    for (size_t i = 0; i < n; i++)
        mean += (double)value[i];
    mean /= (double)n;
    for (size_t i = 0; i < n; i++)
        work[i] = ((double)value[i] - mean) * 0.5 * (1 - cos(QUELL_TAU * (double)i / (double)n));
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

/* Where segments are to be taken from. */
typedef struct choice {
    const struct ingest_digest *digest;
    const ingest_stretch *stretch;
    size_t count, axis, n;
    double *work;
} choice;

static bool is_within(const choice *from, size_t first, size_t last)
{
    for (size_t s = 0; s < from->count; s++)
        if (first >= from->stretch[s].from && last <= from->stretch[s].to)
            return true;
    return false;
}

static void add_block(ingest_density *out, const choice *from, const digest_block *block)
{
    if (block->value == NULL)
        return;
    for (size_t at = 0; at + from->n <= block->count; at += from->n)
        if (is_within(from, block->first + at, block->first + at + from->n))
            add_segment(out, block->value[from->axis] + at, from->n, from->digest->rate_hz, from->work);
}

static void accumulate(ingest_density *out, const choice *from)
{
    const digest_gallery *gallery = from->digest->gallery;
    *out = (ingest_density){.bins = from->n / 2 + 1, .bin_hz = from->digest->rate_hz / (double)from->n};
    for (size_t i = 0; i < gallery->count; i++) {
        add_block(out, from, &gallery->group[i].quiet);
        add_block(out, from, &gallery->group[i].loud);
    }
    for (size_t b = 0; b < out->bins && out->segments > 0; b++) {
        out->asd_m2ps3[b] /= (double)out->segments;
        out->square[b] /= (double)out->segments;
    }
}

quell_status ingest_density_estimate(ingest_density *out, const struct ingest_digest *digest, size_t axis,
                                     const ingest_stretch *stretch, size_t count, quell_error *err)
{
    choice from = {digest, stretch, count, axis, DIGEST_BLOCK, NULL};
    from.work = quell_memory_get(DIGEST_BLOCK * sizeof *from.work);
    if (from.work == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for judging");
    accumulate(out, &from);
    from.n = DIGEST_SHORT;
    if (out->segments == 0)
        accumulate(out, &from);
    quell_memory_free(from.work);
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
