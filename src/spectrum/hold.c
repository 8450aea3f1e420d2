/* The first samples of a recording, held until its length has decided how long a segment is. */
#include "spectrum/spectrum_private.h"

#include <string.h>

enum { HELD_MAX = 1 << 30 };

static quell_status grow(void **items, size_t *capacity, size_t want, size_t size, quell_error *err)
{
    return want <= *capacity
               ? QUELL_OK
               : quell_memory_grow(items, capacity, want < 1024 ? 1024 : want, size, HELD_MAX, err);
}

quell_status welch_hold_add(welch_hold *hold, const double *const *value, size_t axes, size_t n,
                            quell_error *err)
{
    for (size_t i = 0; i < axes; i++) {
        void *items = hold->sample[i];
        quell_status status = grow(&items, &hold->capacity[i], hold->count + n, sizeof(double), err);
        hold->sample[i] = items;
        if (status != QUELL_OK)
            return status;
        memcpy(hold->sample[i] + hold->count, value[i], n * sizeof(double));
    }
    hold->count += n;
    return QUELL_OK;
}

quell_status welch_hold_break(welch_hold *hold, quell_error *err)
{
    void *items = hold->break_at;
    quell_status status = grow(&items, &hold->break_capacity, hold->breaks + 1, sizeof(size_t), err);
    hold->break_at = items;
    if (status == QUELL_OK)
        hold->break_at[hold->breaks++] = hold->count;
    return status;
}

void welch_hold_free(welch_hold *hold)
{
    for (size_t i = 0; i < 3; i++)
        quell_memory_free(hold->sample[i]);
    quell_memory_free(hold->break_at);
    *hold = (welch_hold){0};
}
