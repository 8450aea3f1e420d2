/* The direction of the driven axis: where the slow motion of a recording is largest, and which way it starts. */
#include "ingest/digest_private.h"

#include <math.h>
#include <string.h>

#define SLOW_OVER_NOISE 10.0 /* slow motion must be this many times above the rest, in power */

/* Mean products of the motion over stretches of some kinds, about the static mean. */
typedef struct scatter {
    double mean[9];
    size_t count;
} scatter;

static scatter gather(const struct ingest_digest *digest, const ingest_activity *activity, bool rest,
                      bool strokes, bool slow)
{
    digest_sums sums = {0};
    scatter out = {0};
    for (size_t s = 0; s < activity->count; s++) {
        const ingest_stretch *stretch = &activity->stretch[s];
        if ((stretch->kind == QUELL_REST) != rest || (stretch->kind == QUELL_STROKES) != strokes)
            continue;
        for (size_t j = stretch->window[0]; j < stretch->window[1]; j++) {
            const digest_window *window = &digest->window[j];
            digest_sums_join(&sums, slow ? &window->slow : &window->all);
            out.count += slow ? window->slow_count : window->count;
        }
    }
    double about[3][3];
    digest_sums_about(&sums, out.count, digest->origin, activity->mean_mps2, about);
    for (size_t i = 0; i < 9 && out.count > 0; i++)
        out.mean[i] = about[i / 3][i % 3] / (double)out.count;
    return out;
}

static double power(const scatter *s)
{
    return s->mean[0] + s->mean[4] + s->mean[8];
}

/* The direction of the largest motion; *second: power across it relative to power along it. */
static quell_status principal(const scatter *from, double out[3], double *second, quell_error *err)
{
    double power[3], vector[3][3];
    if (!quell_symmetric_eigen(from->mean, power, vector))
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the mounting");
    memcpy(out, vector[0], sizeof vector[0]);
    *second = power[0] > 0 ? power[1] / power[0] : 1;
    return QUELL_OK;
}

/* Slow motion along `direction`, mean over a window. */
static double slow_along(const struct ingest_digest *digest, const digest_window *window,
                         const double mean[3], const double direction[3])
{
    double off[3];
    if (window->slow_count == 0)
        return 0;
    for (size_t k = 0; k < 3; k++)
        off[k] = digest->origin[k] + window->slow.sum[k] / (double)window->slow_count - mean[k];
    return ingest_dot(off, direction);
}

/* The sign of the first large lobe of slow motion along `direction` in the slow strokes: they start towards +. */
static double first_lobe(const struct ingest_digest *digest, const ingest_activity *activity,
                         const double direction[3])
{
    for (size_t s = 0; s < activity->count; s++) {
        const ingest_stretch *stretch = &activity->stretch[s];
        if (stretch->kind != QUELL_STROKES)
            continue;
        double largest = 0;
        for (int pass = 0; pass < 2; pass++)
            for (size_t j = stretch->window[0]; j < stretch->window[1]; j++) {
                double along = slow_along(digest, &digest->window[j], activity->mean_mps2, direction);
                if (pass == 0)
                    largest = fmax(largest, fabs(along));
                else if (fabs(along) > 0.5 * largest)
                    return along > 0 ? 1 : -1;
            }
    }
    return 1;
}

quell_status ingest_direction_find(ingest_sighting *out, const struct ingest_digest *digest,
                                   const ingest_activity *activity, quell_error *err)
{
    *out = (ingest_sighting){0};
    scatter strokes = gather(digest, activity, false, true, true);
    scatter motion = gather(digest, activity, false, false, true);
    scatter rest = gather(digest, activity, true, false, true);
    out->strokes = power(&strokes) > SLOW_OVER_NOISE * power(&rest);
    out->slow = out->strokes || (rest.count > 0 && power(&motion) > SLOW_OVER_NOISE * power(&rest));
    scatter used = out->strokes ? strokes : motion;
    if (!out->slow)
        used = gather(digest, activity, false, false, false);
    out->known = power(&used) > 0;
    quell_status status = out->known ? principal(&used, out->direction, &out->second, err) : QUELL_OK;
    if (status == QUELL_OK && out->strokes && first_lobe(digest, activity, out->direction) < 0)
        for (size_t k = 0; k < 3; k++)
            out->direction[k] = -out->direction[k];
    return status;
}
