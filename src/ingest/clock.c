/* The timeline of stamps that are all in memory. */
#include "ingest/ingest_private.h"

quell_status ingest_clock_fit(ingest_clock *out, const double *stamp, size_t n, size_t *index,
                              quell_error *err)
{
    ingest_timeline *timeline = NULL;
    size_t prefix = n < INGEST_PREFIX ? n : INGEST_PREFIX, placed;
    quell_status status = ingest_timeline_begin(&timeline, stamp, NULL, prefix, prefix == n, err);
    if (status != QUELL_OK)
        return status;
    status = ingest_timeline_place(timeline, stamp, NULL, n, true, index, &placed, err);
    if (status == QUELL_OK)
        status = ingest_timeline_finish(timeline, out, err);
    ingest_timeline_end(timeline);
    return status;
}
