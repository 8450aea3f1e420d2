/* The direction of the driven axis: where the slow motion of a recording is largest, and which way it starts. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

#define SLOW_OVER_NOISE 10.0 /* slow motion must be this many times above the rest, in power */

/* Sums of products of the motion over stretches of one kind, about the static mean. */
typedef struct scatter {
    double sum[3][3];
    size_t count;
} scatter;

static scatter gather(double *const value[3], const double mean[3], const ingest_activity *activity,
                      const char *kind)
{
    scatter out = {0};
    for (size_t s = 0; s < activity->count; s++) {
        if (strcmp(activity->stretch[s].kind, kind) != 0)
            continue;
        for (size_t i = activity->stretch[s].from; i < activity->stretch[s].to; i++)
            for (size_t k = 0; k < 3; k++)
                for (size_t m = 0; m <= k; m++)
                    out.sum[k][m] += (value[k][i] - mean[k]) * (value[m][i] - mean[m]);
        out.count += activity->stretch[s].to - activity->stretch[s].from;
    }
    for (size_t k = 0; k < 3; k++)
        for (size_t m = 0; m < k; m++)
            out.sum[m][k] = out.sum[k][m];
    return out;
}

static double power(const scatter *s)
{
    return s->count > 0 ? (s->sum[0][0] + s->sum[1][1] + s->sum[2][2]) / (double)s->count : 0;
}

/* The direction of the largest motion; *second: power across it relative to power along it. */
static quell_status principal(const scatter *from, double out[3], double *second, quell_error *err)
{
    double matrix[9], power[3], vector[3][3];
    for (size_t i = 0; i < 9; i++)
        matrix[i] = from->sum[i / 3][i % 3];
    if (!quell_symmetric_eigen(matrix, power, vector))
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the mounting");
    memcpy(out, vector[0], sizeof vector[0]);
    *second = power[0] > 0 ? power[1] / power[0] : 1;
    return QUELL_OK;
}

/* The sign of the first large lobe of slow motion along `direction` in the slow strokes: they start towards +. */
static double first_lobe(double *const slow[3], const double mean[3], const ingest_activity *activity,
                         const double direction[3])
{
    for (size_t s = 0; s < activity->count; s++) {
        const ingest_stretch *stretch = &activity->stretch[s];
        if (strcmp(stretch->kind, "slow strokes") != 0)
            continue;
        double largest = 0;
        for (int pass = 0; pass < 2; pass++)
            for (size_t i = stretch->from; i < stretch->to; i++) {
                double off[3] = {slow[0][i] - mean[0], slow[1][i] - mean[1], slow[2][i] - mean[2]};
                double along = ingest_dot(off, direction);
                if (pass == 0)
                    largest = fmax(largest, fabs(along));
                else if (fabs(along) > 0.5 * largest)
                    return along > 0 ? 1 : -1;
            }
    }
    return 1;
}

static quell_status look(ingest_sighting *out, const quell_recording *recording,
                         const ingest_activity *activity, double *const slow[3], quell_error *err)
{
    *out = (ingest_sighting){0};
    scatter strokes = gather(slow, activity->mean_mps2, activity, "slow strokes");
    scatter motion = gather(slow, activity->mean_mps2, activity, "motion");
    scatter rest = gather(slow, activity->mean_mps2, activity, "rest");
    out->strokes = power(&strokes) > SLOW_OVER_NOISE * power(&rest);
    out->slow = out->strokes || (rest.count > 0 && power(&motion) > SLOW_OVER_NOISE * power(&rest));
    scatter used = out->strokes ? strokes : motion;
    if (!out->slow)
        used = gather(recording->accel_mps2, activity->mean_mps2, activity, "motion");
    out->known = power(&used) > 0;
    return out->known ? principal(&used, out->direction, &out->second, err) : QUELL_OK;
}

static quell_status sight(ingest_sighting *out, const quell_recording *recording,
                          const ingest_activity *activity, double *const slow[3], quell_error *err)
{
    quell_status status = look(out, recording, activity, slow, err);
    if (status == QUELL_OK && out->strokes &&
        first_lobe(slow, activity->mean_mps2, activity, out->direction) < 0)
        for (size_t k = 0; k < 3; k++)
            out->direction[k] = -out->direction[k];
    return status;
}

quell_status ingest_direction_find(ingest_sighting *out, const quell_recording *recording,
                                   const ingest_activity *activity, quell_error *err)
{
    size_t n = recording->samples;
    double *slow[3] = {NULL, NULL, NULL}, *work = quell_memory_get(n * sizeof *work);
    bool all = work != NULL;
    for (size_t k = 0; k < 3; k++) {
        slow[k] = quell_memory_get(n * sizeof *slow[k]);
        all = all && slow[k] != NULL;
    }
    quell_status status = QUELL_OK;
    if (all) {
        for (size_t k = 0; k < 3; k++)
            ingest_slow_motion(recording->accel_mps2[k], slow[k], work, n, recording->rate_hz);
        status = sight(out, recording, activity, slow, err);
    } else {
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for the mounting");
    }
    quell_memory_free(work);
    for (size_t k = 0; k < 3; k++)
        quell_memory_free(slow[k]);
    return status;
}
