/* The sink that keeps the samples: a recording as a whole in memory. */
#include "ingest/ingest_private.h"

#include <string.h>

static quell_status begin(void *context, size_t axes, double rate_hz, quell_error *err)
{
    (void)rate_hz;
    (void)err;
    ingest_keep *keep = context;
    keep->axes = axes;
    return QUELL_OK;
}

static quell_status take(void *context, const double *const *value, size_t n, quell_error *err)
{
    ingest_keep *keep = context;
    return quell_samples_add(&keep->samples, value, keep->axes, n, err);
}

static quell_status gap(void *context, size_t lost, quell_error *err)
{
    ingest_keep *keep = context;
    return quell_samples_gap(&keep->samples, lost, err);
}

quell_sink ingest_keep_sink(ingest_keep *keep)
{
    return (quell_sink){.context = keep, .begin = begin, .take = take, .gap = gap};
}

quell_status ingest_keep_lay(quell_recording *out, const ingest_keep *keep, quell_arena *arena,
                             quell_error *err)
{
    const quell_samples *samples = &keep->samples;
    size_t *break_at = QUELL_NEW(arena, size_t, samples->gaps);
    size_t *break_lost = QUELL_NEW(arena, size_t, samples->gaps);
    double *value[3] = {NULL};
    bool got = break_at != NULL && break_lost != NULL;
    for (size_t k = 0; k < keep->axes && got; k++)
        got = (value[k] = QUELL_NEW(arena, double, samples->count)) != NULL;
    if (!got)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu samples", samples->count);
    for (size_t k = 0; k < keep->axes; k++) {
        for (size_t i = 0; i < samples->count; i++)
            value[k][i] = samples->value[k][i] * out->scale_mps2[k];
        out->accel_mps2[k] = value[k];
    }
    if (samples->gaps > 0) {
        memcpy(break_at, samples->gap_at, samples->gaps * sizeof *break_at);
        memcpy(break_lost, samples->gap_lost, samples->gaps * sizeof *break_lost);
    }
    out->break_at = break_at;
    out->break_lost = break_lost;
    out->break_count = samples->gaps;
    return QUELL_OK;
}

void ingest_keep_free(ingest_keep *keep)
{
    quell_samples_free(&keep->samples);
}
