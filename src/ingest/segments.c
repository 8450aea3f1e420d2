/* Rest, slow strokes and motion, found in the level of motion over the digest's windows. */
#include "ingest/digest_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#define CONTRAST 3.0      /* a window this many times above the quietest ones moves */
#define MOTION_LEAST 0.05 /* m/s2: a window below this does not move, however quiet the rest is */
#define MERGE_MOST_S 2.0  /* pauses shorter than this belong to the motion around them ... */
#define MERGE_LEAST_S 0.3 /* ... but half the longest pause is enough, down to this */
#define REST_LEAST_S 0.5  /* a shorter pause is no rest */
#define LEVEL_OF_MOTION                                                                                      \
    0.5 /* m/s2: above this even the quietest windows move (a sweep through a mode has contrast, too) */
#define LULL 1.15      /* times the quietest rest: a louder pause in the motion is no rest */
#define SLOW_SHARE 0.3 /* of the energy below 10 Hz that makes strokes slow */

const char *quell_stretch_word(quell_stretch kind)
{
    static const char *const words[] = {[QUELL_REST] = "rest",
                                        [QUELL_STROKES] = "slow strokes",
                                        [QUELL_SWEEP] = "sweep",
                                        [QUELL_STOPS] = "stops",
                                        [QUELL_MOTION] = "motion"};
    return words[kind];
}

/* Levels of a recording by window. */
typedef struct levels {
    const struct ingest_digest *digest;
    size_t count;
    double *level; /* rms about the static mean, all axes */
    double *work;  /* as long */
    double mean_mps2[3];
} levels;

/* The static mean of an axis: median of the windows' means, which motion hardly moves. */
static double static_mean(levels *w, size_t axis)
{
    for (size_t j = 0; j < w->count; j++) {
        const digest_window *window = &w->digest->window[j];
        w->work[j] = window->all.sum[axis] / (double)window->count;
    }
    gsl_sort(w->work, 1, w->count);
    return w->digest->origin[axis] + w->work[w->count / 2];
}

static void measure_windows(levels *w)
{
    for (size_t k = 0; k < 3; k++)
        w->mean_mps2[k] = static_mean(w, k);
    for (size_t j = 0; j < w->count; j++) {
        const digest_window *window = &w->digest->window[j];
        w->level[j] =
            sqrt(fmax(digest_square_about(w->digest, &window->all, window->count, w->mean_mps2), 0));
    }
}

/* Level above which a window moves; infinite if the recording has no rest or no motion. *quiet: level of the quietest. */
static double motion_threshold(levels *w, double *quiet)
{
    memcpy(w->work, w->level, w->count * sizeof *w->level);
    gsl_sort(w->work, 1, w->count);
    double loudest = w->work[w->count - 1];
    *quiet = w->work[w->count / 20];
    double threshold = fmax(fmax(CONTRAST * *quiet, 0.01 * loudest), MOTION_LEAST);
    bool contrast = *quiet < LEVEL_OF_MOTION && loudest > 1.5 * threshold;
    return contrast ? threshold : HUGE_VAL;
}

/* Windows from..to (exclusive) that move, in a list. */
typedef struct block {
    size_t from, to;
} block;

static size_t longest_pause(const levels *w, double threshold)
{
    size_t longest = 0, run = 0;
    for (size_t j = 0; j < w->count; j++) {
        run = w->level[j] > threshold ? 0 : run + 1;
        longest = run > longest ? run : longest;
    }
    return longest;
}

/* Moving windows, joined over pauses shorter than `pause`; false if there are more than fit. */
static bool find_blocks(const levels *w, double threshold, size_t pause, block *out, size_t most,
                        size_t *count)
{
    *count = 0;
    for (size_t j = 0; j < w->count; j++) {
        if (!(w->level[j] > threshold))
            continue;
        if (*count > 0 && j - out[*count - 1].to < pause) {
            out[*count - 1].to = j + 1;
            continue;
        }
        if (*count == most)
            return false;
        out[(*count)++] = (block){j, j + 1};
    }
    return true;
}

/* Share of the energy of windows [from, to) that lies below 10 Hz. */
static double slow_share(const struct ingest_digest *digest, const double mean_mps2[3], size_t from,
                         size_t to)
{
    digest_sums slow = {0}, all = {0};
    size_t steps = 0, count = 0;
    for (size_t j = from; j < to; j++) {
        const digest_window *window = &digest->window[j];
        digest_sums_join(&slow, &window->slow);
        digest_sums_join(&all, &window->all);
        steps += window->slow_count;
        count += window->count;
    }
    double power = digest_square_about(digest, &all, count, mean_mps2);
    return power > 0 ? digest_square_about(digest, &slow, steps, mean_mps2) / power : 0;
}

static void add_stretch(ingest_activity *out, quell_stretch kind, size_t from, size_t to)
{
    ingest_stretch *last = out->count > 0 ? &out->stretch[out->count - 1] : NULL;
    if (last != NULL && last->kind == kind)
        last->window[1] = to;
    else if (out->count < INGEST_SEGMENTS_MAX)
        out->stretch[out->count++] = (ingest_stretch){.kind = kind, .window = {from, to}};
}

static double seconds_between(const struct ingest_digest *digest, size_t from, size_t to)
{
    return from < to ? digest_end_s(digest, &digest->window[to - 1]) -
                           digest_start_s(digest, &digest->window[from]) + 1 / digest->rate_hz
                     : 0;
}

/* Blocks and the rests between them; one window more on either side of a block. */
static void make_stretches(ingest_activity *out, const levels *w, const block *blocks, size_t count)
{
    size_t quiet_from = 0;
    bool preamble = true; /* slow strokes come before all other motion */
    for (size_t b = 0; b <= count; b++) {
        size_t from = b == count ? w->count : blocks[b].from > 0 ? blocks[b].from - 1 : 0;
        size_t to = b < count && blocks[b].to + 1 < w->count ? blocks[b].to + 1 : w->count;
        from = from > quiet_from ? from : quiet_from;
        if (seconds_between(w->digest, quiet_from, from) >= REST_LEAST_S)
            add_stretch(out, QUELL_REST, quiet_from, from);
        if (b == count)
            return;
        preamble = preamble && b + 1 < count && slow_share(w->digest, out->mean_mps2, from, to) > SLOW_SHARE;
        add_stretch(out, preamble ? QUELL_STROKES : QUELL_MOTION, from, to);
        quiet_from = to;
    }
}

/* Sums over the windows of a stretch, with the number of samples. */
static digest_sums stretch_sums(const struct ingest_digest *digest, const ingest_stretch *stretch,
                                size_t *count)
{
    digest_sums out = {0};
    *count = 0;
    for (size_t j = stretch->window[0]; j < stretch->window[1]; j++) {
        digest_sums_join(&out, &digest->window[j].all);
        *count += digest->window[j].count;
    }
    return out;
}

/* Mean square of a stretch about the static mean, all axes together. */
static double stretch_square(const ingest_activity *activity, const struct ingest_digest *digest,
                             const ingest_stretch *stretch)
{
    size_t count;
    digest_sums sums = stretch_sums(digest, stretch, &count);
    return fmax(digest_square_about(digest, &sums, count, activity->mean_mps2), 0);
}

/* A lull in the motion is no rest: rests beside motion that are louder than the quietest rest become motion. */
static void demote_lulls(ingest_activity *out, const struct ingest_digest *digest)
{
    double level[INGEST_SEGMENTS_MAX] = {0}, quietest = HUGE_VAL;
    for (size_t s = 0; s < out->count; s++) {
        level[s] = sqrt(stretch_square(out, digest, &out->stretch[s]));
        if (out->stretch[s].kind == QUELL_REST)
            quietest = fmin(quietest, level[s]);
    }
    ingest_activity kept = *out;
    kept.count = 0;
    for (size_t s = 0; s < out->count; s++) {
        const ingest_stretch *stretch = &out->stretch[s];
        bool beside_motion = (s > 0 && out->stretch[s - 1].kind == QUELL_MOTION) ||
                             (s + 1 < out->count && out->stretch[s + 1].kind == QUELL_MOTION);
        bool lull = stretch->kind == QUELL_REST && s > 0 && beside_motion && level[s] > LULL * quietest;
        add_stretch(&kept, lull ? QUELL_MOTION : stretch->kind, stretch->window[0], stretch->window[1]);
    }
    *out = kept;
}

/* The static mean and the level over the rests, or over everything if there is none. */
static void measure_rest(ingest_activity *out, const struct ingest_digest *digest)
{
    digest_sums sums = {0};
    size_t count = 0;
    for (size_t s = 0; s < out->count; s++)
        out->has_rest = out->has_rest || out->stretch[s].kind == QUELL_REST;
    for (size_t s = 0; s < out->count; s++) {
        const ingest_stretch *stretch = &out->stretch[s];
        if (out->has_rest && stretch->kind != QUELL_REST)
            continue;
        size_t more;
        digest_sums part = stretch_sums(digest, stretch, &more);
        digest_sums_join(&sums, &part);
        count += more;
    }
    if (count == 0)
        return;
    out->rest_rms_mps2 = sqrt(fmax(digest_square_about(digest, &sums, count, out->mean_mps2), 0));
    for (size_t k = 0; k < 3; k++)
        out->mean_mps2[k] = digest->origin[k] + sums.sum[k] / (double)count;
}

static void find_activity(ingest_activity *out, levels *w)
{
    measure_windows(w);
    memcpy(out->mean_mps2, w->mean_mps2, sizeof out->mean_mps2);
    double quiet, threshold = motion_threshold(w, &quiet);
    if (!isfinite(threshold)) {
        add_stretch(out, quiet < LEVEL_OF_MOTION ? QUELL_REST : QUELL_MOTION, 0, w->count);
    } else {
        block blocks[INGEST_SEGMENTS_MAX / 2 - 1];
        size_t count, pause = longest_pause(w, threshold) / 2;
        double window_s = seconds_between(w->digest, 0, w->count) / (double)w->count;
        double pause_s = fmin(fmax((double)pause * window_s, MERGE_LEAST_S), MERGE_MOST_S);
        pause = (size_t)(pause_s / window_s) + 1;
        while (!find_blocks(w, threshold, pause, blocks, INGEST_COUNT(blocks), &count))
            pause *= 2;
        make_stretches(out, w, blocks, count);
        demote_lulls(out, w->digest);
    }
    measure_rest(out, w->digest);
    for (size_t s = 0; s < out->count; s++) {
        ingest_stretch *stretch = &out->stretch[s];
        const digest_window *last = &w->digest->window[stretch->window[1] - 1];
        stretch->from = w->digest->window[stretch->window[0]].first;
        stretch->to = last->first + last->count;
    }
}

quell_status ingest_activity_find(ingest_activity *out, quell_recording *recording, quell_arena *arena,
                                  quell_error *err)
{
    quell_status status = ingest_digest_make(recording, arena, err);
    if (status != QUELL_OK)
        return status;
    levels w = {.digest = recording->digest, .count = recording->digest->windows};
    w.level = quell_memory_get(w.count * sizeof *w.level);
    w.work = quell_memory_get(w.count * sizeof *w.work);
    if (w.level == NULL || w.work == NULL) {
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for finding rest and motion");
    } else {
        *out = (ingest_activity){0};
        find_activity(out, &w);
    }
    quell_memory_free(w.level);
    quell_memory_free(w.work);
    return status;
}
