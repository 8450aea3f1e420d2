/* Samples that grow while a recording passes. */
#include "base/base_private.h"

#include <string.h>

enum { FIRST = 4096, MOST = 1 << 28 };

static quell_status grow(void **items, size_t *capacity, size_t want, size_t size, quell_error *err)
{
    return want <= *capacity
               ? QUELL_OK
               : quell_memory_grow(items, capacity, want < FIRST ? FIRST : want, size, MOST, err);
}

quell_status quell_samples_add(quell_samples *samples, const double *const *value, size_t axes, size_t n,
                               quell_error *err)
{
    for (size_t k = 0; k < axes; k++) {
        void *items = samples->value[k];
        quell_status status = grow(&items, &samples->capacity[k], samples->count + n, sizeof(double), err);
        samples->value[k] = items;
        if (status != QUELL_OK)
            return status;
        memcpy(samples->value[k] + samples->count, value[k], n * sizeof(double));
    }
    samples->count += n;
    return QUELL_OK;
}

quell_status quell_samples_gap(quell_samples *samples, size_t lost, quell_error *err)
{
    size_t **list[2] = {&samples->gap_at, &samples->gap_lost};
    for (size_t i = 0; i < 2; i++) {
        void *items = *list[i];
        quell_status status = grow(&items, &samples->gap_capacity[i], samples->gaps + 1, sizeof(size_t), err);
        *list[i] = items;
        if (status != QUELL_OK)
            return status;
    }
    samples->gap_at[samples->gaps] = samples->count;
    samples->gap_lost[samples->gaps++] = lost;
    return QUELL_OK;
}

void quell_samples_free(quell_samples *samples)
{
    for (size_t k = 0; k < 3; k++)
        quell_memory_free(samples->value[k]);
    quell_memory_free(samples->gap_at);
    quell_memory_free(samples->gap_lost);
    *samples = (quell_samples){0};
}
