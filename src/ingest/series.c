/* The raw series: rows as read, growing. */
#include "ingest/ingest_private.h"

#include <math.h>

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

static quell_status keep(ingest_series *out, const ingest_batch *batch, size_t *rows, quell_error *err)
{
    for (size_t i = 0; i < batch->rows; i++, ++*rows) {
        if (!out->has_time && isnan(batch->value[0][i]))
            continue;
        quell_status status = ingest_series_grow(out, err);
        if (status != QUELL_OK)
            return status;
        out->stamp[out->count] = out->has_time ? batch->stamp[i] : (double)*rows;
        for (size_t k = 0; k < out->axes; k++)
            out->value[k][out->count] = batch->value[k][i];
        out->whole += isnan(batch->value[0][i]) ? 0 : 1;
        out->count++;
    }
    return QUELL_OK;
}

quell_status ingest_series_drain(ingest_series *out, ingest_reader *reader, quell_error *err)
{
    const ingest_stated *stated = &reader->stated;
    ingest_batch *batch = quell_memory_get(sizeof *batch);
    if (batch == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    out->format = stated->format;
    out->axes = stated->axes;
    out->has_time = stated->has_time;
    out->time_unit = stated->time_unit;
    out->rate_hz = stated->rate_hz;
    out->level = stated->level;
    out->whole_numbers = stated->whole_numbers;
    for (size_t k = 0; k < stated->axes; k++) {
        out->unit[k] = stated->unit[k];
        out->axis_name[k] = stated->axis_name[k];
    }
    size_t rows = 0;
    quell_status status = QUELL_OK;
    do {
        status = reader->next(reader, batch, err);
        if (status == QUELL_OK)
            status = keep(out, batch, &rows, err);
    } while (status == QUELL_OK && batch->rows > 0);
    quell_memory_free(batch);
    return status;
}
