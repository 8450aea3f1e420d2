/* What is asked of a digest by those that judge. */
#include "ingest/digest_private.h"

#include <assert.h>

double digest_start_s(const struct ingest_digest *digest, const digest_window *window)
{
    return (double)(window->first + window->lost_before) / digest->rate_hz;
}

double digest_end_s(const struct ingest_digest *digest, const digest_window *window)
{
    size_t last = window->first + window->count - 1 + window->lost_before + window->lost_inside;
    return (double)last / digest->rate_hz;
}

double digest_seconds(const struct ingest_digest *digest, size_t from, size_t to)
{
    return from < to ? digest_end_s(digest, &digest->window[to - 1]) -
                           digest_start_s(digest, &digest->window[from]) + 1 / digest->rate_hz
                     : 0;
}

double digest_square_about(const struct ingest_digest *digest, const digest_sums *sums, size_t n,
                           const double mean[3])
{
    double about[3][3];
    if (n == 0)
        return 0;
    digest_sums_about(sums, n, digest->origin, mean, about);
    return (about[0][0] + about[1][1] + about[2][2]) / (double)n;
}

double digest_square_within(const struct ingest_digest *digest, const digest_window *window)
{
    double mean[3];
    for (size_t k = 0; k < 3; k++)
        mean[k] = digest->origin[k] + window->all.sum[k] / (double)window->count;
    return digest_square_about(digest, &window->all, window->count, mean);
}

/* Everything together; the number of samples. */
static size_t sum_all(const struct ingest_digest *digest, digest_sums *out)
{
    size_t count = 0;
    *out = (digest_sums){0};
    for (size_t j = 0; j < digest->windows; j++) {
        digest_sums_join(out, &digest->window[j].all);
        count += digest->window[j].count;
    }
    return count;
}

void digest_mean(const struct ingest_digest *digest, double out[3])
{
    digest_sums sums;
    size_t count = sum_all(digest, &sums);
    for (size_t k = 0; k < 3; k++)
        out[k] = digest->origin[k] + (count > 0 ? sums.sum[k] / (double)count : 0);
}

void quell_recording_scatter(const quell_recording *recording, double out[3][3])
{
    assert(recording->digest != NULL);
    digest_sums sums;
    double mean[3], about[3][3];
    size_t count = sum_all(recording->digest, &sums);
    digest_mean(recording->digest, mean);
    digest_sums_about(&sums, count, recording->digest->origin, mean, about);
    for (size_t k = 0; k < 3; k++)
        for (size_t m = 0; m < 3; m++)
            out[k][m] = count > 0 ? about[k][m] / (double)count : 0;
}
