/* The state of one reading, shared by the files of the pass. */
#ifndef QUELL_INGEST_STREAM_PRIVATE_H
#define QUELL_INGEST_STREAM_PRIVATE_H

#include "ingest/ingest_private.h"

/* One reading. */
typedef struct ingest_pass {
    quell_recording *out;
    ingest_reader *reader;
    const ingest_settings *settings;
    const quell_sink *sink;
    quell_arena *arena;
    ingest_batch *batch;
    ingest_ahead *ahead; /* NULL where one thread does it all */
    ingest_rows *rows;
    ingest_timeline *timeline; /* NULL where rows are consecutive */
    ingest_levels *levels;
    ingest_grid grid;
    bool uncounted;                   /* the counter does not count samples, and there are no stamps */
    bool ended;                       /* the reader has no more rows */
    bool any;                         /* a row with values has been placed */
    size_t base;                      /* index of the first row with values */
    size_t first;                     /* index of the first row laid, from base */
    size_t last;                      /* index of the last row with values, from base */
    size_t rows_seen, whole;          /* rows read; of these with values */
    size_t kept;                      /* rows laid or to be laid: inside the span */
    double zero;                      /* the first stamp */
    double sum[3], most[3], least[3]; /* over all rows with values, in the file's units */
} ingest_pass;

/* ---------------------------------------------------------------- the rate (stream_rate.c) */

/* The rate of a recording without stamps: as asked for, or as the file states it. QUELL_E_DATA if there is none. */
quell_status ingest_nominal_rate_take(ingest_pass *p, quell_error *err);
/* At the end, behind what the reader found, whether or not that was read ahead. */
quell_status ingest_nominal_rate_note(ingest_pass *p, quell_error *err);
/* What the stamps say in the end: rate, start, jitter, and findings about them. */
quell_status ingest_clock_take(ingest_pass *p, quell_error *err);
quell_status ingest_rate_check(double rate_hz, quell_error *err);

#endif
