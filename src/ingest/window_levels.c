/* How much a recording moves, window by window: about the static mean around each window, since a sensor that is moved
   to another part in the middle of a long log sits at another angle to gravity from there on. */
#include "ingest/segments_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#define CONTRAST 3.0           /* a window this many times above the quietest ones moves */
#define SLOW_CONTRAST 6.0      /* the same for slow motion, of which there is little at rest */
#define LOUDEST_SHARE 0.002    /* ... if it is this share of the loudest */
#define MOTION_LEAST_MPS2 0.05 /* a window below this does not move, however quiet the rest is */
#define AROUND_S 4.0           /* to either side: the static mean is the median of the means there */
#define ENDS_S 2.0             /* from either end: a rest that is short beside a long motion lies here ... */
#define REST_S 0.5             /* ... and lasts this long */

enum { QUIETEST = 20 }; /* one window in so many is called quiet */

static double median_of(double *values, size_t n)
{
    gsl_sort(values, 1, n);
    return values[n / 2];
}

/* The static mean around window j: the median of the windows' means, which motion hardly moves. */
static void mean_around(const ingest_window_levels *levels, size_t j, size_t reach, double out[3])
{
    const struct ingest_digest *digest = levels->digest;
    size_t from = j > reach ? j - reach : 0, to = j + reach < levels->count ? j + reach + 1 : levels->count;
    for (size_t k = 0; k < 3; k++) {
        for (size_t i = from; i < to; i++)
            levels->work[i - from] = digest->window[i].all.sum[k] / (double)digest->window[i].count;
        out[k] = digest->origin[k] + median_of(levels->work, to - from);
    }
}

static void measure(ingest_window_levels *levels)
{
    const struct ingest_digest *digest = levels->digest;
    double window_s = (double)(digest->window_steps * digest->step) / digest->rate_hz, mean[3];
    size_t reach = (size_t)fmin(fmax(AROUND_S / window_s, 4), (double)levels->count), stride = reach / 4 + 1;
    for (size_t j = 0; j < levels->count; j++) {
        const digest_window *window = &digest->window[j];
        if (j % stride == 0)
            mean_around(levels, j + stride / 2, reach, mean);
        double all = fmax(digest_square_about(digest, &window->all, window->count, mean), 0);
        double within = fmax(digest_square_within(digest, window), 0);
        double low = window->cells > 0 ? fmax(window->cell_square[0], 0) / (double)window->cells : 0;
        levels->square[j] =
            all - within + low; /* about the mean around it, what is within the window from its cells */
        levels->ranks[j] = all;
        levels->slow[j] = fmax(digest_square_about(digest, &window->slow, window->slow_count, mean), 0);
    }
}

static double ranked(ingest_window_levels *levels, const double *values, size_t rank)
{
    memcpy(levels->work, values, levels->count * sizeof *values);
    gsl_sort(levels->work, 1, levels->count);
    return levels->work[rank];
}

/* Motion above the band of the cells counts, too, scaled so that noise alone would come to the same. */
static void heed_fast_motion(ingest_window_levels *levels)
{
    size_t rank = levels->count / QUIETEST;
    double low = ranked(levels, levels->square, rank), all = ranked(levels, levels->ranks, rank);
    for (size_t j = 0; j < levels->count && all > 0; j++)
        levels->square[j] = fmax(levels->square[j], levels->ranks[j] * low / all);
}

/* The quietest `run` windows on end among windows [from, to): the loudest of them. */
static double quietest_run(const double *square, size_t from, size_t to, size_t run)
{
    double quietest = HUGE_VAL;
    for (size_t j = from; j + run <= to; j++) {
        double loudest = 0;
        for (size_t i = j; i < j + run; i++)
            loudest = fmax(loudest, square[i]);
        quietest = fmin(quietest, loudest);
    }
    return quietest;
}

/* The level of rest. Where less than a twentieth is rest, the quietest twentieth moves: then a rest at the beginning or
   the end tells, if it is far below that. */
static double quiet_square(ingest_window_levels *levels, const double *square, double contrast)
{
    const struct ingest_digest *digest = levels->digest;
    double window_s = (double)(digest->window_steps * digest->step) / digest->rate_hz;
    double quiet = ranked(levels, square, levels->count / QUIETEST);
    size_t run = (size_t)ceil(REST_S / window_s), ends = (size_t)(ENDS_S / window_s);
    if (2 * ends > levels->count)
        return quiet;
    double rest = fmin(quietest_run(square, 0, ends, run),
                       quietest_run(square, levels->count - ends, levels->count, run));
    return contrast * contrast * rest < quiet ? rest : quiet;
}

static void set_threshold(ingest_window_levels *levels)
{
    double loudest = sqrt(ranked(levels, levels->square, levels->count - 1));
    levels->quiet = sqrt(quiet_square(levels, levels->square, CONTRAST));
    levels->quiet_slow_square = quiet_square(levels, levels->slow, SLOW_CONTRAST);
    levels->slow_threshold = fmax(SLOW_CONTRAST * sqrt(levels->quiet_slow_square), MOTION_LEAST_MPS2);
    double threshold = fmax(fmax(CONTRAST * levels->quiet, LOUDEST_SHARE * loudest), MOTION_LEAST_MPS2);
    bool contrast = levels->quiet < INGEST_MOTION_MPS2 && loudest > 1.5 * threshold;
    levels->threshold = contrast ? threshold : HUGE_VAL;
}

quell_status ingest_window_levels_measure(ingest_window_levels *out, const struct ingest_digest *digest,
                                          quell_error *err)
{
    size_t n = digest->windows;
    double *room = quell_memory_get(6 * n * sizeof *room);
    if (room == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for finding rest and motion");
    *out = (ingest_window_levels){.digest = digest,
                                  .count = n,
                                  .square = room,
                                  .slow = room + n,
                                  .work = room + 2 * n,
                                  .ranks = room + 4 * n};
    measure(out);
    heed_fast_motion(out);
    set_threshold(out);
    return QUELL_OK;
}

void ingest_window_levels_free(ingest_window_levels *levels)
{
    quell_memory_free(levels->square);
}
