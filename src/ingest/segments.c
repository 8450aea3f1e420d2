/* Rest, slow strokes and motion, found in the level of motion over windows of a tenth of a second. */
#include "ingest/ingest_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#define WINDOW_S 0.1
#define CONTRAST 3.0      /* a window this many times above the quietest ones moves */
#define MOTION_LEAST 0.05 /* m/s2: a window below this does not move, however quiet the rest is */
#define MERGE_MOST_S 2.0  /* pauses shorter than this belong to the motion around them ... */
#define MERGE_LEAST_S 0.3 /* ... but half the longest pause is enough, down to this */
#define REST_LEAST_S 0.5  /* a shorter pause is no rest */
#define LEVEL_OF_MOTION                                                                                      \
    0.5 /* m/s2: above this even the quietest windows move (a sweep through a mode has contrast, too) */
#define LULL 1.15      /* times the quietest rest: a louder pause in the motion is no rest */
#define SLOW_SHARE 0.3 /* of the energy below 10 Hz that makes strokes slow */

/* Levels of a recording by window. */
typedef struct windows {
    size_t count, samples; /* windows, samples of each; the last one takes what is left over */
    double *level;         /* rms about the static mean, all axes */
    double *work;          /* as long */
    double mean_mps2[3];
} windows;

static void window_bounds(const windows *w, const quell_recording *recording, size_t j, size_t *from,
                          size_t *to)
{
    *from = j * w->samples;
    *to = j + 1 == w->count ? recording->samples : *from + w->samples;
}

/* The static mean of an axis: median of the windows' means, which motion hardly moves. */
static double static_mean(windows *w, const quell_recording *recording, size_t axis)
{
    for (size_t j = 0; j < w->count; j++) {
        size_t from, to;
        window_bounds(w, recording, j, &from, &to);
        double sum = 0;
        for (size_t i = from; i < to; i++)
            sum += recording->accel_mps2[axis][i];
        w->work[j] = sum / (double)(to - from);
    }
    gsl_sort(w->work, 1, w->count);
    return w->work[w->count / 2];
}

static void measure_windows(windows *w, const quell_recording *recording)
{
    for (size_t k = 0; k < recording->axes; k++)
        w->mean_mps2[k] = static_mean(w, recording, k);
    for (size_t j = 0; j < w->count; j++) {
        size_t from, to;
        window_bounds(w, recording, j, &from, &to);
        double sum = 0;
        for (size_t k = 0; k < recording->axes; k++)
            for (size_t i = from; i < to; i++) {
                double off = recording->accel_mps2[k][i] - w->mean_mps2[k];
                sum += off * off;
            }
        w->level[j] = sqrt(sum / (double)(to - from));
    }
}

/* Level above which a window moves; infinite if the recording has no rest or no motion. *quiet: level of the quietest. */
static double motion_threshold(windows *w, double *quiet)
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

static size_t longest_pause(const windows *w, double threshold)
{
    size_t longest = 0, run = 0;
    for (size_t j = 0; j < w->count; j++) {
        run = w->level[j] > threshold ? 0 : run + 1;
        longest = run > longest ? run : longest;
    }
    return longest;
}

/* Moving windows, joined over pauses shorter than `pause`; false if there are more than fit. */
static bool find_blocks(const windows *w, double threshold, size_t pause, block *out, size_t most,
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

/* Share of the energy of [from, to) that lies below 10 Hz. */
static double slow_share(const quell_recording *recording, const double mean_mps2[3], size_t from, size_t to,
                         double *work)
{
    double slow = 0, all = 0;
    size_t n = to - from;
    for (size_t k = 0; k < recording->axes; k++) {
        const double *value = recording->accel_mps2[k] + from;
        ingest_slow_motion(value, work, work + n, n, recording->rate_hz);
        for (size_t i = 0; i < n; i++) {
            slow += (work[i] - mean_mps2[k]) * (work[i] - mean_mps2[k]);
            all += (value[i] - mean_mps2[k]) * (value[i] - mean_mps2[k]);
        }
    }
    return all > 0 ? slow / all : 0;
}

static void add_stretch(ingest_activity *out, const char *kind, size_t from, size_t to)
{
    ingest_stretch *last = out->count > 0 ? &out->stretch[out->count - 1] : NULL;
    if (last != NULL && strcmp(last->kind, kind) == 0)
        last->to = to;
    else if (out->count < INGEST_SEGMENTS_MAX)
        out->stretch[out->count++] = (ingest_stretch){kind, from, to};
}

/* Blocks and the rests between them, in samples; one window more on either side of a block. */
static void make_stretches(ingest_activity *out, const windows *w, const quell_recording *recording,
                           const block *blocks, size_t count, double *work)
{
    size_t rest_least = (size_t)(REST_LEAST_S * recording->rate_hz), quiet_from = 0;
    bool preamble = true; /* slow strokes come before all other motion */
    for (size_t b = 0; b <= count; b++) {
        size_t from =
            b < count ? (blocks[b].from > 0 ? blocks[b].from - 1 : 0) * w->samples : recording->samples;
        size_t to = b < count ? (blocks[b].to + 1) * w->samples : recording->samples;
        to = to > recording->samples || (b < count && blocks[b].to + 1 >= w->count) ? recording->samples : to;
        from = from > quiet_from ? from : quiet_from;
        if (from - quiet_from >= rest_least)
            add_stretch(out, "rest", quiet_from, from);
        if (b == count)
            return;
        preamble =
            preamble && b + 1 < count && slow_share(recording, out->mean_mps2, from, to, work) > SLOW_SHARE;
        add_stretch(out, preamble ? "slow strokes" : "motion", from, to);
        quiet_from = to;
    }
}

/* rms of a stretch about the static mean, all axes together. */
static double stretch_level(const ingest_activity *activity, const quell_recording *recording,
                            const ingest_stretch *stretch)
{
    double sum = 0;
    for (size_t k = 0; k < recording->axes; k++)
        for (size_t i = stretch->from; i < stretch->to; i++) {
            double off = recording->accel_mps2[k][i] - activity->mean_mps2[k];
            sum += off * off;
        }
    return sqrt(sum / (double)(stretch->to - stretch->from));
}

/* A lull in the motion is no rest: rests beside motion that are louder than the quietest rest become motion. */
static void demote_lulls(ingest_activity *out, const quell_recording *recording)
{
    double level[INGEST_SEGMENTS_MAX] = {0}, quietest = HUGE_VAL;
    for (size_t s = 0; s < out->count; s++) {
        level[s] = stretch_level(out, recording, &out->stretch[s]);
        if (out->stretch[s].kind[0] == 'r')
            quietest = fmin(quietest, level[s]);
    }
    ingest_activity kept = *out;
    kept.count = 0;
    for (size_t s = 0; s < out->count; s++) {
        const ingest_stretch *stretch = &out->stretch[s];
        bool beside_motion = (s > 0 && out->stretch[s - 1].kind[0] == 'm') ||
                             (s + 1 < out->count && out->stretch[s + 1].kind[0] == 'm');
        bool lull = stretch->kind[0] == 'r' && s > 0 && beside_motion && level[s] > LULL * quietest;
        add_stretch(&kept, lull ? "motion" : stretch->kind, stretch->from, stretch->to);
    }
    *out = kept;
}

/* The static mean and the level over the rests, or over everything if there is none. */
static void measure_rest(ingest_activity *out, const quell_recording *recording)
{
    double sum[3] = {0}, squares = 0;
    size_t count = 0;
    for (size_t s = 0; s < out->count; s++)
        out->has_rest = out->has_rest || out->stretch[s].kind[0] == 'r';
    for (size_t s = 0; s < out->count; s++) {
        const ingest_stretch *stretch = &out->stretch[s];
        if (out->has_rest && stretch->kind[0] != 'r')
            continue;
        double level = stretch_level(out, recording, stretch);
        squares += level * level * (double)(stretch->to - stretch->from);
        count += stretch->to - stretch->from;
        for (size_t k = 0; k < recording->axes; k++)
            for (size_t i = stretch->from; i < stretch->to; i++)
                sum[k] += recording->accel_mps2[k][i] - out->mean_mps2[k];
    }
    if (count == 0)
        return;
    for (size_t k = 0; k < recording->axes; k++)
        out->mean_mps2[k] += sum[k] / (double)count;
    out->rest_rms_mps2 = sqrt(squares / (double)count);
}

static void find_activity(ingest_activity *out, windows *w, const quell_recording *recording, double *work)
{
    measure_windows(w, recording);
    memcpy(out->mean_mps2, w->mean_mps2, sizeof out->mean_mps2);
    double quiet, threshold = motion_threshold(w, &quiet);
    if (!isfinite(threshold)) {
        add_stretch(out, quiet < LEVEL_OF_MOTION ? "rest" : "motion", 0, recording->samples);
    } else {
        block blocks[INGEST_SEGMENTS_MAX / 2 - 1];
        size_t count, pause = longest_pause(w, threshold) / 2;
        double window_s = (double)w->samples / recording->rate_hz;
        double pause_s = fmin(fmax((double)pause * window_s, MERGE_LEAST_S), MERGE_MOST_S);
        pause = (size_t)(pause_s / window_s) + 1;
        while (!find_blocks(w, threshold, pause, blocks, INGEST_COUNT(blocks), &count))
            pause *= 2;
        make_stretches(out, w, recording, blocks, count, work);
        demote_lulls(out, recording);
    }
    measure_rest(out, recording);
}

quell_status ingest_activity_find(ingest_activity *out, const quell_recording *recording, quell_error *err)
{
    size_t samples = (size_t)(WINDOW_S * recording->rate_hz);
    samples = samples < 8 ? 8 : samples;
    samples = samples > recording->samples ? recording->samples : samples;
    windows w = {.samples = samples, .count = recording->samples / samples};
    w.level = quell_memory_get(w.count * sizeof *w.level);
    w.work = quell_memory_get(w.count * sizeof *w.work);
    double *work = quell_memory_get(2 * recording->samples * sizeof *work);
    quell_status status = QUELL_OK;
    if (w.level == NULL || w.work == NULL || work == NULL) {
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for finding rest and motion");
    } else {
        *out = (ingest_activity){0};
        find_activity(out, &w, recording, work);
    }
    quell_memory_free(w.level);
    quell_memory_free(w.work);
    quell_memory_free(work);
    return status;
}
