/* The raw series: rows as read, growing. */
#include "ingest/ingest_private.h"

quell_status ingest_series_grow(ingest_series *series, quell_error *err)
{
    size_t want = series->count + 1;
    if (want <= series->capacity)
        return QUELL_OK;
    size_t reached = 0;
    for (size_t i = 0; i <= series->axes; i++) {
        void *items = i == 0 ? series->stamp : series->value[i - 1];
        size_t capacity = series->capacity;
        quell_status status = quell_memory_grow(&items, &capacity, want < 4096 ? 4096 : want, sizeof(double),
                                                INGEST_ROWS_MAX, err);
        if (i == 0)
            series->stamp = items;
        else
            series->value[i - 1] = items;
        if (status != QUELL_OK)
            return status;
        reached = capacity;
    }
    series->capacity = reached;
    return QUELL_OK;
}

void ingest_series_free(ingest_series *series)
{
    quell_memory_free(series->stamp);
    for (size_t k = 0; k < 3; k++)
        quell_memory_free(series->value[k]);
    *series = (ingest_series){0};
}
