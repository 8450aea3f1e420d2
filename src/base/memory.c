/* The project's malloc, realloc and free, with a switch that makes them fail for the tests. */
#include "quell/base.h"

#include <stdatomic.h>
#include <stdlib.h>

static atomic_size_t fail_at;  /* 0: never */
static atomic_size_t requests; /* since the switch was set */

void quell_memory_fail_at(size_t n)
{
    atomic_store(&requests, 0);
    atomic_store(&fail_at, n);
}

static bool must_fail(void)
{
    size_t limit = atomic_load(&fail_at);
    return limit != 0 && atomic_fetch_add(&requests, 1) + 1 >= limit;
}

void *quell_memory_get(size_t bytes)
{
    return must_fail() ? NULL : malloc(bytes > 0 ? bytes : 1);
}

void *quell_memory_get_cleared(size_t bytes)
{
    return must_fail() ? NULL : calloc(bytes > 0 ? bytes : 1, 1);
}

void *quell_memory_resize(void *old, size_t bytes)
{
    return must_fail() ? NULL : realloc(old, bytes > 0 ? bytes : 1);
}

void quell_memory_free(void *block)
{
    free(block);
}

quell_status quell_memory_grow(void **items, size_t *capacity, size_t want, size_t size, size_t limit,
                               quell_error *err)
{
    if (want <= *capacity)
        return QUELL_OK;
    if (want > limit || want > SIZE_MAX / size)
        return quell_fail(err, QUELL_E_MEMORY, "more than %zu entries, which is the most taken", limit);
    size_t target = *capacity + *capacity / 2;
    if (target < want)
        target = want < 16 ? 16 : want;
    if (target > limit)
        target = limit;
    void *grown = target > SIZE_MAX / size ? NULL : quell_memory_resize(*items, target * size);
    if (grown == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu entries", target);
    *items = grown;
    *capacity = target;
    return QUELL_OK;
}
