/* What finding and naming the stretches of a recording share: levels by window. */
#ifndef QUELL_INGEST_SEGMENTS_PRIVATE_H
#define QUELL_INGEST_SEGMENTS_PRIVATE_H

#include "ingest/digest_private.h"

typedef struct ingest_window_levels {
    const struct ingest_digest *digest;
    size_t count;
    double *square; /* mean square of each window about the static mean around it, all axes together */
    double *slow;   /* the same of the slow motion */
    double *work;   /* twice as long */
    double *ranks;  /* twice as long */
    double quiet;   /* rms of the quietest windows */
    double quiet_slow_square;
    double slow_threshold; /* rms of the slow motion above which a window moves, too: strokes under a loud fan */
    double threshold; /* rms above which a window moves; infinite if the recording has no rest or no motion */
} ingest_window_levels;

quell_status ingest_window_levels_measure(ingest_window_levels *out, const struct ingest_digest *digest,
                                          quell_error *err);
void ingest_window_levels_free(ingest_window_levels *levels);

/* Windows [from, to) that move. */
typedef struct ingest_block {
    size_t from, to;
    quell_stretch kind;
    double trend; /* of a sweep's frequency, as in quell_segment */
} ingest_block;

/* Names blocks by what moves in them. */
void ingest_blocks_name(const ingest_window_levels *levels, ingest_block *block, size_t count);

/* Frequency and time of the windows of a block that move; returns how many. */
size_t ingest_block_frequencies(const ingest_window_levels *levels, const ingest_block *block, double *frequency_hz,
                                double *time_s);

/* Joins the parts of sweeps that fade for a while (sweep_join.c); returns how many blocks there are then. */
size_t ingest_blocks_join_sweeps(const ingest_window_levels *levels, ingest_block *block, size_t count);

/* Bursts like strokes before the excitation that hold next to no motion below 10 Hz: the sensor sits on a part that only
   shakes while another one is moved. *share: what lies there. */
bool ingest_blocks_shake(const ingest_window_levels *levels, const ingest_block *block, size_t count, double *share);

/* Does a block of that rms acceleration hold a few strokes that carry the sensor along (travel.c)? */
bool ingest_block_carries(const ingest_window_levels *levels, const ingest_block *block, double rms_mps2);

/* Does it travel much more slowly than the next one? */
bool ingest_block_slower(const ingest_window_levels *levels, const ingest_block *block, const ingest_block *next);

#endif
