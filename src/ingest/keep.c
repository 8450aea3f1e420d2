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

static quell_status grow(void **items, size_t *capacity, size_t want, size_t size, quell_error *err)
{
    return want <= *capacity
               ? QUELL_OK
               : quell_memory_grow(items, capacity, want < 4096 ? 4096 : want, size, INGEST_ROWS_MAX, err);
}

static quell_status take(void *context, const double *const *value, size_t n, quell_error *err)
{
    ingest_keep *keep = context;
    for (size_t k = 0; k < keep->axes; k++) {
        void *items = keep->value[k];
        quell_status status = grow(&items, &keep->capacity[k], keep->samples + n, sizeof(double), err);
        keep->value[k] = items;
        if (status != QUELL_OK)
            return status;
        memcpy(keep->value[k] + keep->samples, value[k], n * sizeof(double));
    }
    keep->samples += n;
    return QUELL_OK;
}

static quell_status gap(void *context, size_t lost, quell_error *err)
{
    ingest_keep *keep = context;
    void *items = keep->gap;
    quell_status status = grow(&items, &keep->gap_capacity, keep->gaps + 1, sizeof *keep->gap, err);
    keep->gap = items;
    if (status == QUELL_OK)
        keep->gap[keep->gaps++] = (ingest_kept_gap){keep->samples, lost};
    return status;
}

quell_sink ingest_keep_sink(ingest_keep *keep)
{
    return (quell_sink){.context = keep, .begin = begin, .take = take, .gap = gap};
}

quell_status ingest_keep_lay(quell_recording *out, const ingest_keep *keep, quell_arena *arena,
                             quell_error *err)
{
    size_t *break_at = QUELL_NEW(arena, size_t, keep->gaps);
    size_t *break_lost = QUELL_NEW(arena, size_t, keep->gaps);
    double *value[3] = {NULL};
    bool got = break_at != NULL && break_lost != NULL;
    for (size_t k = 0; k < keep->axes && got; k++)
        got = (value[k] = QUELL_NEW(arena, double, keep->samples)) != NULL;
    if (!got)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu samples", keep->samples);
    for (size_t k = 0; k < keep->axes; k++) {
        for (size_t i = 0; i < keep->samples; i++)
            value[k][i] = keep->value[k][i] * out->scale_mps2[k];
        out->accel_mps2[k] = value[k];
    }
    for (size_t i = 0; i < keep->gaps; i++) {
        break_at[i] = keep->gap[i].at;
        break_lost[i] = keep->gap[i].lost;
    }
    out->break_at = break_at;
    out->break_lost = break_lost;
    out->break_count = keep->gaps;
    return QUELL_OK;
}

void ingest_keep_free(ingest_keep *keep)
{
    for (size_t k = 0; k < 3; k++)
        quell_memory_free(keep->value[k]);
    quell_memory_free(keep->gap);
}
