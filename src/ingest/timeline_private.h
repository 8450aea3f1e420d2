/* What the files of the clock repair share: timeline.c asks prefix.c what kind of stamps there are and
   hands the rows on to fine.c, late.c or counter.c, which give each row its index; slope.c fits the line
   to what they decided. */
#ifndef QUELL_INGEST_TIMELINE_PRIVATE_H
#define QUELL_INGEST_TIMELINE_PRIVATE_H

#include "ingest/ingest_private.h"

/* ---------------------------------------------------------------- the first rows (prefix.c) */

typedef struct ingest_prefix {
    double step;       /* between samples, in the stamps' unit */
    double half_width; /* of the range around it that holds the true step, relative */
    double grid;       /* resolution of the stamps; 0 if there is none to see */
    size_t batch;      /* most rows that came at once: equal stamps, or nearly */
    bool coarse;       /* the resolution is of the size of a step */
    bool bursty;       /* rows come in batches that are stamped when they arrive */
} ingest_prefix;

/* QUELL_E_DATA if the stamps do not rise; QUELL_E_MEMORY. */
quell_status ingest_prefix_look(ingest_prefix *out, const double *stamp, size_t n, quell_error *err);

/* ---------------------------------------------------------------- regression while rows pass (slope.c) */

enum { INGEST_BLOCK = 64, INGEST_CELLS = 4096 };

/* Rows in sums about their own means, so that nothing cancels over 1e9 rows. `late`: how far a stamp is
   behind the reference line, in its steps. */
typedef struct ingest_cell {
    double rows, index, late; /* count and means */
    double index2, both;      /* sums of squares and products about the means */
} ingest_cell;

typedef struct ingest_slope {
    double from, step; /* the reference line: sample `index` is due at from + index * step */
    ingest_cell all;
    double late2, index2, both; /* within blocks */
    size_t blocks;
    size_t cells, in_last, per_cell; /* cells used; blocks in the last one; blocks that fill one */
    ingest_cell cell[INGEST_CELLS];
} ingest_slope;

void ingest_slope_begin(ingest_slope *slope, double from, double step);
/* A block of rows; late2: its sum of squares of `late` about the mean. */
void ingest_slope_add(ingest_slope *slope, const ingest_cell *block, double late2);
/* The step so far; the reference step before there are rows enough. */
double ingest_slope_step(const ingest_slope *slope);
/* Origin, step, its standard error and the jitter. False if there is no rising line. */
bool ingest_slope_fit(const ingest_slope *slope, ingest_clock *out);

/* ---------------------------------------------------------------- the timeline */

/* Sample `index` is due at `time`, and one more every `step`. */
typedef struct ingest_course {
    double time, index, step;
} ingest_course;

/* Losses seen of late, by which more are expected. */
typedef struct ingest_losses {
    double rows, places, samples;
} ingest_losses;

/* Fine stamps (fine.c). */
typedef struct ingest_fine {
    double first_step; /* the line's step stays within 10 % of it */
    double variance;   /* of the stamps about the line, in steps squared */
    double steady;     /* running mean coherence of blocks */
    double slipped;    /* rows more than the clock has steps */
    ingest_losses losses;
} ingest_fine;

/* Rows of a block: at, their index from the line's own; off, their distance from the line in its steps. */
typedef struct ingest_residuals {
    double rows, at, off;   /* count and means */
    double at2, both, off2; /* sums of squares and products about the means */
} ingest_residuals;

/* Coarse and bursty stamps (late.c). */
typedef struct ingest_late {
    double level, spread; /* running means of the least lateness of the rows in sight, and of its changes */
    double floor;         /* the least lateness that can mean a loss: what the stamps' resolution hides */
    size_t window;        /* rows after which the line is corrected */
    size_t in_window;
    double least, least_stamp, least_index; /* the least late row of the window */
    double risen;                           /* the highest stamp so far */
    size_t run;                             /* rows since then */
} ingest_late;

/* A counter column (counter.c). */
typedef struct ingest_count {
    double stride, modulus; /* counts a sample; where it starts anew, 0 if that was not seen yet */
    double last, largest;
    double last_index;
    bool known; /* `last` is set */
    size_t resets;
} ingest_count;

typedef quell_status ingest_way(ingest_timeline *timeline, const double *stamp, const double *counter,
                                size_t n, size_t *index, size_t *took, quell_error *err);

struct ingest_timeline {
    ingest_way *place; /* a block from the start of the n rows in sight, INGEST_HELD or all there are */
    ingest_prefix prefix;
    ingest_course line;
    double next;       /* index of the next row if nothing is lost before it */
    double last_stamp; /* of the last row placed */
    size_t rows;       /* placed */
    size_t checked;    /* rows that passed ingest_timeline_check */
    size_t gaps, lost, longest, late_rows;
    ingest_fine fine;
    ingest_late late;
    ingest_count count;
    bool has_stamps, by_counter;
    ingest_slope slope;  /* all rows */
    ingest_slope lowest; /* the least late of each window: bursty stamps */
};

/* What every kind of stamp must pass: no jump ahead of more than 1e9 steps, none back of more than a step;
   NaN fails. */
quell_status ingest_timeline_check(ingest_timeline *timeline, const double *stamp, size_t n,
                                   quell_error *err);
/* Enters n rows (INGEST_BLOCK at most) that were given their places into index, the counts and the
   regression; rows later than `latest` steps not into the latter. at: index from the line's own. out->rows
   may be 0. */
void ingest_timeline_enter(ingest_timeline *timeline, const double *stamp, const double *at, size_t n,
                           double latest, size_t *index, ingest_residuals *out);
/* A block into a regression. */
void ingest_timeline_regress(ingest_slope *slope, const ingest_course *line, const ingest_residuals *block);

ingest_way ingest_fine_place, ingest_late_place, ingest_counter_place;
/* The line's first step and scatter (fine.c). */
void ingest_fine_begin(ingest_timeline *timeline, const double *stamp, size_t n);
void ingest_late_begin(ingest_timeline *timeline, const double *stamp, size_t n);
/* The fewest samples whose loss between two rows would be seen (late.c). */
size_t ingest_late_least_loss(const ingest_timeline *timeline);
/* False if the counter does not count samples. */
bool ingest_counter_begin(ingest_timeline *timeline, const double *counter, size_t n);

/* ---------------------------------------------------------------- means on the circle (circle.c) */

/* A mean on the circle, in steps, -0.5 to 0.5, and how well the rows agree on it, 0 to 1. */
typedef struct ingest_circle {
    double mean, coherence;
} ingest_circle;

ingest_circle ingest_circle_mean(const double *place, size_t n);
/* The step, within `width` (relative) of the one given, on whose grid the stamps fall best; *height: their
   coherence. */
double ingest_coherent_step(const double *stamp, size_t n, double step, double width, double *height);

/* ---------------------------------------------------------------- the most likely indices (viterbi.c) */

/* Costs in units of log likelihood. */
typedef struct ingest_costs {
    double weight; /* of a squared distance: 1 / (2 variance) */
    double gap;    /* of a place where samples are lost */
    double more;   /* of each lost sample but the first */
} ingest_costs;

/* Row j lies at `place[j]` on the line, in steps. Its index is j + offset[j]; offsets never fall, and
   low[j] <= offset[j] <= low[j] + 6, low never falling either. `before`: the offset of the row before, or
   NULL. The first `decide` of n rows (n <= INGEST_HELD, decide <= INGEST_BLOCK) get the offsets of the
   likeliest path through all of them, or through as many, `least` at least, as it takes for all paths
   worth following to agree on them. */
void ingest_viterbi(const double *place, const int *low, size_t n, size_t least, size_t decide,
                    const int *before, const ingest_costs *costs, int *offset);

#endif
