/* A source over bytes in memory. */
#include "quell/ingest.h"

#include <string.h>

static quell_status read_memory(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    (void)err;
    quell_memory_source *state = context;
    size_t left = state->size - state->at;
    *got = size < left ? size : left;
    if (*got > 0)
        memcpy(into, (const char *)state->bytes + state->at, *got);
    state->at += *got;
    return QUELL_OK;
}

quell_source quell_source_memory(quell_memory_source *state, const char *name)
{
    return (quell_source){.name = name, .read = read_memory, .context = state};
}
