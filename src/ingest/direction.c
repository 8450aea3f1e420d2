/* The direction of the driven axis: where the slow motion of a recording is largest, and which way it starts. */
#include "ingest/digest_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#define SLOW_OVER_NOISE 10.0 /* slow motion must be this many times above the rest, in power */
#define DOMINANT_FROM_HZ 5.0
#define BAND_FROM_HZ 1.0
#define BAND_TOP 0.4   /* of the frequency that rings most ... */
#define BAND_LEAST 1.5 /* ... but so many times the lower edge at least */
#ifndef EDGE_SHARE
#define EDGE_SHARE 0.03 /* of the motion beneath the dominant frequency */
#endif

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

/* Which way along `direction` the slow strokes go first: they start towards +. */
static double first_way(const struct ingest_digest *digest, const ingest_activity *activity,
                        const double direction[3])
{
    for (size_t s = 0; s < activity->count; s++) {
        const ingest_stretch *stretch = &activity->stretch[s];
        if (stretch->kind != QUELL_STROKES)
            continue;
        ingest_travel travel = ingest_travel_find(digest, stretch->window[0], stretch->window[1]);
        return ingest_dot(travel.first, direction) < 0 ? -1 : 1;
    }
    return 1;
}

/* The bin of the largest density above DOMINANT_FROM_HZ: the mode that rings most. */
static size_t dominant_bin(const digest_matrix *motion)
{
    size_t most = 0;
    for (size_t b = 1; b < DIGEST_MATRIX_BINS; b++)
        if ((double)b * motion->bin_hz >= DOMINANT_FROM_HZ &&
            (most == 0 || digest_matrix_power(motion, b) > digest_matrix_power(motion, most)))
            most = b;
    return most;
}

/* The lower edge of the excitation: the first bin that holds a share of what bins below the dominant one hold. Their
   upper quartile: most of them may lie below the edge. */
static size_t lower_edge(const digest_matrix *motion, size_t most)
{
    double power[DIGEST_MATRIX_BINS];
    size_t edge = 1;
    for (size_t b = 1; b <= most; b++)
        power[b - 1] = digest_matrix_power(motion, b);
    gsl_sort(power, 1, most);
    double least = most > 0 ? EDGE_SHARE * power[3 * most / 4] : 0;
    while (edge < most &&
           ((double)edge * motion->bin_hz < BAND_FROM_HZ || digest_matrix_power(motion, edge) < least))
        edge++;
    return edge;
}

/* Below the modes the part moves as it is driven; there a mode of natural frequency f0 adds r^2 / (1 - r^2) of its
   participation, r = f / f0, in a direction of its own. So bins from the lower edge of the excitation up to 0.4 of the
   frequency that rings most, where the motion stands out of the noise, weighted as speed is (1 / f^2 in power). */
static bool gather_band(const digest_matrix *motion, const digest_matrix *rest, scatter *out)
{
    size_t most = dominant_bin(motion), edge = lower_edge(motion, most);
    double top = fmax(BAND_TOP * (double)most, BAND_LEAST * (double)edge);
    *out = (scatter){0};
    for (size_t b = edge; (double)b <= top; b++) {
        if (digest_matrix_power(motion, b) <= SLOW_OVER_NOISE * digest_matrix_power(rest, b))
            continue;
        double weight = 1 / ((double)b * (double)b);
        for (size_t k = 0; k < 3; k++)
            for (size_t m = 0; m < 3; m++) {
                size_t p = digest_pair(k, m);
                out->mean[3 * k + m] += weight * (motion->product[p][b] - rest->product[p][b]);
            }
        out->count++;
    }
    return out->count > 0 && power(out) > 0;
}

/* Without slow strokes: the motion below the modes. */
static quell_status look_below_modes(const struct ingest_digest *digest, const ingest_activity *activity,
                                     scatter *out, bool *found, quell_error *err)
{
    digest_matrix *both = quell_memory_get(2 * sizeof *both);
    if (both == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the mounting");
    quell_status status = digest_matrix_estimate(&both[0], digest, activity, true, err);
    if (status == QUELL_OK)
        status = digest_matrix_estimate(&both[1], digest, activity, false, err);
    *found = status == QUELL_OK && both[0].segments > 0 && gather_band(&both[0], &both[1], out);
    quell_memory_free(both);
    return status;
}

quell_status ingest_direction_find(ingest_sighting *out, const struct ingest_digest *digest,
                                   const ingest_activity *activity, quell_error *err)
{
    *out = (ingest_sighting){0};
    scatter strokes = gather(digest, activity, false, true, true);
    scatter rest = gather(digest, activity, true, false, true), used = strokes;
    quell_status status = QUELL_OK;
    out->strokes = power(&strokes) > SLOW_OVER_NOISE * power(&rest);
    out->slow = out->strokes;
    if (!out->strokes)
        status = look_below_modes(digest, activity, &used, &out->slow, err);
    if (!out->slow)
        used = gather(digest, activity, false, false, false);
    out->known = power(&used) > 0;
    if (status == QUELL_OK && out->known)
        status = principal(&used, out->direction, &out->second, err);
    if (status == QUELL_OK && out->strokes && first_way(digest, activity, out->direction) < 0)
        for (size_t k = 0; k < 3; k++)
            out->direction[k] = -out->direction[k];
    return status;
}
