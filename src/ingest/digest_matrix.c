/* Cross densities of the three axes together, for the direction of motion: from the raw blocks of the digest. */
#include "ingest/digest_private.h"

#include <gsl/gsl_fft_real.h>
#include <math.h>
#include <string.h>

/* One block's spectra under a Hann window, in the half-complex order of GSL. */
static void transform(const digest_block *block, double out[3][DIGEST_BLOCK])
{
    for (size_t k = 0; k < 3; k++) {
        double mean = 0;
        for (size_t i = 0; i < DIGEST_BLOCK; i++)
            mean += (double)block->value[k][i] / DIGEST_BLOCK;
        for (size_t i = 0; i < DIGEST_BLOCK; i++)
            out[k][i] = ((double)block->value[k][i] - mean) * (1 - cos(QUELL_TAU * (double)i / DIGEST_BLOCK));
        gsl_fft_real_radix2_transform(out[k], 1, DIGEST_BLOCK);
    }
}

static void add_block(digest_matrix *out, const digest_block *block, double work[3][DIGEST_BLOCK])
{
    transform(block, work);
    for (size_t b = 1; b < DIGEST_BLOCK / 2; b++)
        for (size_t k = 0; k < 3; k++)
            for (size_t m = k; m < 3; m++)
                out->product[digest_pair(k, m)][b] +=
                    work[k][b] * work[m][b] + work[k][DIGEST_BLOCK - b] * work[m][DIGEST_BLOCK - b];
    out->segments++;
}

static bool is_within(const ingest_activity *activity, const digest_block *block, bool excitation)
{
    if (block->value == NULL || block->count < DIGEST_BLOCK)
        return false;
    for (size_t s = 0; s < activity->count; s++) {
        const ingest_stretch *stretch = &activity->stretch[s];
        bool wanted = excitation ? ingest_is_excitation(stretch->kind) : stretch->kind == QUELL_REST;
        if (wanted && block->first >= stretch->from && block->first + block->count <= stretch->to)
            return true;
    }
    return false;
}

quell_status digest_matrix_estimate(digest_matrix *out, const struct ingest_digest *digest,
                                    const ingest_activity *activity, bool excitation, quell_error *err)
{
    double(*work)[DIGEST_BLOCK] = quell_memory_get(3 * sizeof *work);
    if (work == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the mounting");
    memset(out, 0, sizeof *out);
    out->bin_hz = digest->rate_hz / DIGEST_BLOCK;
    for (size_t g = 0; g < digest->gallery->count; g++) {
        const digest_block *const block[2] = {&digest->gallery->group[g].quiet,
                                              &digest->gallery->group[g].loud};
        for (size_t i = 0; i < 2; i++)
            if (is_within(activity, block[i], excitation))
                add_block(out, block[i], work);
    }
    for (size_t p = 0; p < DIGEST_PRODUCTS && out->segments > 0; p++)
        for (size_t b = 0; b < DIGEST_MATRIX_BINS; b++)
            out->product[p][b] /= (double)out->segments;
    quell_memory_free(work);
    return QUELL_OK;
}

double digest_matrix_power(const digest_matrix *cross, size_t bin)
{
    return cross->product[digest_pair(0, 0)][bin] + cross->product[digest_pair(1, 1)][bin] +
           cross->product[digest_pair(2, 2)][bin];
}
