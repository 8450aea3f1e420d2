/* The inside of the digest: what the files digest*.c share and what those that judge read from it.

   Samples pass in blocks of 1024. Each block is cut into cells (about 2 ms) and steps (about 8 ms); a window (about
   0.1 s) is made of steps. When the windows are used up, neighbours merge, so their number stays bounded whatever the
   length. Beside them some raw blocks are kept, for densities. All sums are about the first sample of the recording,
   in the file's own units until ingest_digest_settle. */
#ifndef QUELL_INGEST_DIGEST_PRIVATE_H
#define QUELL_INGEST_DIGEST_PRIVATE_H

#include "ingest/ingest_private.h"

enum {
    DIGEST_BLOCK = 1024,   /* samples of a block */
    DIGEST_SHORT = 256,    /* samples of a block cut short by a gap, at least: a quarter of a block */
    DIGEST_WINDOWS = 8192, /* windows at most: 13 minutes of 0.1 s before the first merge */
    DIGEST_GROUPS = 128,   /* groups of blocks; the quietest and the loudest block of each are kept */
    DIGEST_TAPS = 32,      /* steps remembered for the slow motion */
    DIGEST_PRODUCTS = 6    /* xx xy xz yy yz zz */
};

/* Sums over some samples, about the digest's origin. */
typedef struct digest_sums {
    double sum[3], product[DIGEST_PRODUCTS];
} digest_sums;

typedef struct digest_window {
    size_t first, count; /* its samples */
    size_t lost_before,
        lost_inside; /* missing samples before its first one, and between its first and last */
    digest_sums all; /* of the samples */
    size_t cells;
    double cell_square[3];       /* of the means over cells; after settling about the window's mean and summed over the
                                    axes, in [0] */
    double low_sum[3], low_square[3]; /* of the same, low-passed: see digest->smooth; the square likewise */
    size_t steps, slow_count; /* steps of the window; of these, how many the slow motion has come to */
    digest_sums slow;         /* of the slow motion, once a step */
    size_t run[3];            /* the longest run of one value that reaches into it, in samples */
} digest_window;

/* A block of raw samples kept for densities. */
typedef struct digest_block {
    size_t first, count;
    double level;                 /* variance, all axes together */
    float (*value)[DIGEST_BLOCK]; /* [3], about the digest's origin */
} digest_block;

/* The quietest and the loudest of `stride` successive blocks; only the former where there is but one. */
typedef struct digest_group {
    size_t blocks; /* seen */
    digest_block quiet, loud;
} digest_group;

typedef struct digest_gallery {
    size_t count, stride;
    digest_group group[DIGEST_GROUPS];
    float (*free_room[2 * DIGEST_GROUPS])[DIGEST_BLOCK];
    size_t free_count;
} digest_gallery;

/* Motion below about 10 Hz: see digest_slow.c. */
typedef struct digest_slow {
    size_t taps, delay; /* the filter's length, and how many steps its output lags behind */
    double weight[DIGEST_TAPS];
    double
        mean[3]
            [2 *
             DIGEST_TAPS]; /* of the last steps, in a ring that is there twice: any stretch of it is whole */
    size_t next;           /* where the next step goes in the ring */
    size_t steps;          /* taken in since the start or the last long gap; 0: nothing is remembered */
    size_t window;         /* to which the next output belongs, unless that is full */
} digest_slow;

struct ingest_digest {
    size_t axes;
    double rate_hz;
    bool started, settled;
    double origin[3];              /* the first sample */
    size_t cell, step;             /* samples of each: powers of two, cell <= step <= DIGEST_BLOCK */
    size_t window_steps;           /* steps of a full window */
    size_t samples, lost;          /* taken in so far, with the samples waiting in value left out of both */
    double value[3][DIGEST_BLOCK]; /* a block in the making, as read */
    size_t filled;
    digest_sums block;   /* of the block being taken in */
    double smooth;       /* low-passed means over cells: each goes this share of the way to the mean */
    double low[3];       /* the last; valid if has_low */
    bool has_low;
    double run_value[3]; /* the value of the running run of equal samples, about the origin */
    size_t run[3];
    digest_window *window;
    size_t windows;
    bool open; /* the last window takes more */
    digest_slow slow;
    digest_gallery *gallery;
    size_t breaks, longest_lost;      /* gaps told of, and samples lost in the longest */
    size_t stretch, stretches_usable; /* samples since the last gap, and in the stretches before it that are of use */
};

/* digest_sums.c: adds n samples an axis, less the origin, to `out`. n: any. */
void digest_sums_add(digest_sums *out, double *const value[3], const double origin[3], size_t n);
void digest_sums_join(digest_sums *into, const digest_sums *from);
/* The place of axis pair (k, m) in product[]. */
size_t digest_pair(size_t k, size_t m);
/* The moment matrix of n samples about `mean` (not about the origin). */
void digest_sums_about(const digest_sums *sums, size_t n, const double origin[3], const double mean[3],
                       double out[3][3]);

/* digest_window.c */
void digest_windows_take(struct ingest_digest *digest, size_t from,
                         size_t n);                                   /* one step or what is left of one */
void digest_windows_break(struct ingest_digest *digest, size_t lost); /* lost samples */
void digest_windows_close(struct ingest_digest *digest);              /* before a long gap and at the end */

/* digest_slow.c */
void digest_slow_plan(digest_slow *slow, double step_s);
void digest_slow_take(struct ingest_digest *digest, const double mean[3]);
void digest_slow_flush(struct ingest_digest *digest);

/* digest_gallery.c */
digest_gallery *digest_gallery_create(quell_arena *arena);
/* The block in digest->value, `count` samples from sample `first` on. */
void digest_gallery_take(struct ingest_digest *digest, size_t first, size_t count);

/* digest_turn.c: scales and turns everything: out = map * diag(scale) * in. */
void digest_scale(struct ingest_digest *digest, const double scale[3]);
void digest_turn(struct ingest_digest *digest, const double map[3][3]);

/* digest_read.c: seconds from the first sample to the first and the last one of a window. */
double digest_start_s(const struct ingest_digest *digest, const digest_window *window);
double digest_end_s(const struct ingest_digest *digest, const digest_window *window);
/* Seconds that windows [from, to) last. */
double digest_seconds(const struct ingest_digest *digest, size_t from, size_t to);

/* How fast the sensor travels in windows [from, to), which begin and end at rest. */
typedef struct ingest_travel {
    double most_mps, rms_mps;
    double plateau_s; /* of all plateaus together */
    size_t plateaus; /* stretches above half of the highest speed, each one way */
    double first[3]; /* unit vector, sensor axes, of the first of them; zeros if nothing moves */
} ingest_travel;
ingest_travel ingest_travel_find(const struct ingest_digest *digest, size_t from, size_t to);
/* Mean square of a window's samples about their own mean, all axes together. */
double digest_square_within(const struct ingest_digest *digest, const digest_window *window);
/* Mean of everything. */
void digest_mean(const struct ingest_digest *digest, double out[3]);
/* Mean square about `mean` of n samples, all axes together. */
double digest_square_about(const struct ingest_digest *digest, const digest_sums *sums, size_t n,
                           const double mean[3]);

/* digest_matrix.c: real parts of the mean cross periodograms of the three axes (no scale of their own), over the blocks kept
   within the excitation, or within the rests. */
enum { DIGEST_MATRIX_BINS = DIGEST_BLOCK / 2 };

typedef struct digest_matrix {
    size_t segments; /* 0: no block lies there */
    double bin_hz;
    double product[DIGEST_PRODUCTS][DIGEST_MATRIX_BINS];
} digest_matrix;

quell_status digest_matrix_estimate(digest_matrix *out, const struct ingest_digest *digest,
                                    const ingest_activity *activity, bool excitation, quell_error *err);
/* Of all axes together. */
double digest_matrix_power(const digest_matrix *cross, size_t bin);

#endif
