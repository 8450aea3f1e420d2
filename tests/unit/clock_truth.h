/* Stamps made from a known truth: which sample each belongs to. For tests and studies of the clock repair;
   the repair itself has no part in it. */
#ifndef QUELL_TESTS_CLOCK_TRUTH_H
#define QUELL_TESTS_CLOCK_TRUTH_H

#include "quell/base.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A recording's clock as it truly was. */
typedef struct clock_truth {
    size_t rows;
    double step;           /* seconds between samples */
    double jitter;         /* standard deviation of the stamps, in steps */
    bool uniform;          /* the jitter is uniform, else normal */
    double lost;           /* share of the samples that is lost */
    size_t burst;          /* they are lost 2 to so many at once; 0: one at a time */
    double drift;          /* relative change of the step from start to end */
    double wander;         /* of the step, relative: amplitude of a sine ... */
    double wander_samples; /* ... of this period */
    double resolution;     /* stamps are cut down to multiples of this; 0: not */
    size_t batch;          /* so many rows are stamped when the last of them is there; 0: each by itself */
    bool ragged;           /* batches of half to one and a half times that size */
    double latency;        /* mean delay of a batch, in steps (exponential) */
    double tick;           /* between the stamps of a batch, seconds */
    size_t gap_at, gap;    /* after this many rows so many samples are missing */
    size_t skip;           /* rows left out at the start */
    double start;          /* stamp of sample 0 */
    uint64_t seed;
} clock_truth;

typedef struct clock_stamps {
    double *stamp;
    size_t *index, *found;
    size_t rows, lost;
    double mean_step; /* least-squares slope of the true times on the indices */
} clock_stamps;

/* True time of sample k, in steps. */
static inline double clock_truth_time(const clock_truth *t, double k)
{
    double out = k + 0.5 * t->drift * k * k / (double)t->rows;
    if (t->wander != 0) {
        double turn = QUELL_TAU / t->wander_samples;
        out += t->wander / turn * (1 - cos(turn * k));
    }
    return out;
}

static inline double clock_truth_jitter(const clock_truth *t, quell_random *random)
{
    if (t->jitter == 0)
        return 0;
    return t->jitter *
           (t->uniform ? sqrt(12) * (quell_random_uniform(random) - 0.5) : quell_random_normal(random));
}

static inline size_t clock_truth_losses(const clock_truth *t, quell_random *random)
{
    double most = (double)t->burst, mean = t->burst > 1 ? 0.5 * (2 + most) : 1;
    size_t lost = 0;
    /* of the samples that come, so many are followed by a loss that a share `lost` of all is lost */
    double places = t->lost / (1 - t->lost) / mean;
    if (t->burst > 1)
        return quell_random_uniform(random) < places ? 2 + (size_t)(quell_random_uniform(random) * (most - 1))
                                                     : 0;
    while (quell_random_uniform(random) < t->lost)
        lost++;
    return lost;
}

/* Restamps rows batch by batch: when the last is there, and a delay later; a batch never comes before the
   one ahead of it. */
static inline void clock_truth_batches(const clock_truth *t, clock_stamps *out, quell_random *random)
{
    double before = -INFINITY;
    for (size_t from = 0; from < out->rows;) {
        double size = (double)t->batch * (t->ragged ? 0.5 + quell_random_uniform(random) : 1);
        size_t to = from + (size_t)fmax(size, 1) < out->rows ? from + (size_t)fmax(size, 1) : out->rows;
        double late = -log(1 - quell_random_uniform(random)) * t->latency * t->step;
        double time = fmax(out->stamp[to - 1] + late, before);
        for (size_t i = from; i < to; i++)
            out->stamp[i] = time + (double)(i - from) * t->tick;
        before = out->stamp[to - 1];
        from = to;
    }
}

static inline double clock_truth_mean_step(const clock_truth *t, const clock_stamps *s, size_t first)
{
    double k0 = 0.5 * (double)(s->index[s->rows - 1]), n = (double)s->rows, mean = 0, both = 0, square = 0;
    for (size_t i = 0; i < s->rows; i++)
        mean += (clock_truth_time(t, (double)(s->index[i] + first)) - (double)s->index[i]) / n;
    for (size_t i = 0; i < s->rows; i++) {
        double k = (double)s->index[i];
        both += (k - k0) * (clock_truth_time(t, k + (double)first) - k - mean);
        square += (k - k0) * (k - k0);
    }
    return t->step * (1 + both / square);
}

static inline clock_stamps clock_truth_make(const clock_truth *t)
{
    size_t made = t->rows + t->skip;
    clock_stamps out = {.stamp = malloc(made * sizeof(double)),
                        .index = malloc(made * sizeof(size_t)),
                        .found = malloc(made * sizeof(size_t)),
                        .rows = made};
    quell_random *random = quell_random_create(t->seed);
    if (out.stamp == NULL || out.index == NULL || out.found == NULL || random == NULL)
        abort();
    size_t index = 0;
    for (size_t i = 0; i < made; i++, index++) {
        if (i > 0)
            index += clock_truth_losses(t, random) + (i == t->gap_at ? t->gap : 0);
        out.index[i] = index;
        out.stamp[i] = t->step * (clock_truth_time(t, (double)index) + clock_truth_jitter(t, random));
    }
    if (t->batch > 0)
        clock_truth_batches(t, &out, random);
    quell_random_destroy(random);
    out.rows = t->rows;
    size_t first = out.index[t->skip];
    for (size_t i = 0; i < t->rows; i++) {
        double stamp = t->start + out.stamp[i + t->skip];
        out.stamp[i] = t->resolution > 0 ? floor(stamp / t->resolution) * t->resolution : stamp;
        out.index[i] = out.index[i + t->skip] - first;
    }
    out.lost = out.index[t->rows - 1] + 1 - t->rows;
    out.mean_step = clock_truth_mean_step(t, &out, first);
    return out;
}

static inline void clock_stamps_free(clock_stamps *s)
{
    free(s->stamp);
    free(s->index);
    free(s->found);
}

/* Rows whose index is not the true one. */
static inline size_t clock_stamps_misplaced(const clock_stamps *s)
{
    size_t count = 0;
    for (size_t i = 0; i < s->rows; i++)
        count += s->found[i] != s->index[i];
    return count;
}

/* Is the index of the last row right, but for what its own stamp's error may do? Rows at the very end have
   none after them to tell; so the last 64 must hold one that is right. */
static inline bool clock_stamps_counted(const clock_stamps *s)
{
    for (size_t i = s->rows > 64 ? s->rows - 64 : 0; i < s->rows; i++)
        if (s->found[i] == s->index[i])
            return true;
    return false;
}

#endif
