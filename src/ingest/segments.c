/* Rest and motion: which stretches of a recording move, and what is measured in its rests. */
#include "ingest/segments_private.h"

#include <math.h>
#include <string.h>

#define MERGE_MOST_S 2.0  /* pauses shorter than this belong to the motion around them ... */
#define MERGE_LEAST_S 0.3 /* ... but half the longest pause is enough, down to this */
#define PART_S 0.8        /* after a longer pause another kind of motion may come */
#define BURST_MOST_S 3.0  /* a longer motion is not one of several bursts */
#define DWELL_MOST_S 5.0  /* between the bursts of one series */
#define REST_LEAST_S 0.5  /* a shorter pause is no rest */
#define LULL_MOST_S 2.0   /* a longer pause is a rest ... */
#define LULL 1.3          /* ... and so is one that is not so many times louder than the quietest rest */

enum { BLOCKS_MAX = INGEST_SEGMENTS_MAX / 2 - 1, SERIES = 4 /* bursts */ };

const char *quell_stretch_word(quell_stretch kind)
{
    static const char *const words[] = {[QUELL_REST] = "rest",
                                        [QUELL_STROKES] = "slow strokes",
                                        [QUELL_SWEEP] = "sweep",
                                        [QUELL_STOPS] = "stops",
                                        [QUELL_MOTION] = "motion"};
    return words[kind];
}

bool ingest_is_excitation(quell_stretch kind)
{
    return kind != QUELL_REST && kind != QUELL_STROKES;
}

static bool moves(const ingest_window_levels *levels, size_t j)
{
    return levels->square[j] > levels->threshold * levels->threshold ||
           levels->slow[j] > levels->slow_threshold * levels->slow_threshold;
}

/* ---------------------------------------------------------------- blocks of windows that move */

static size_t longest_pause(const ingest_window_levels *levels)
{
    size_t longest = 0, run = 0;
    for (size_t j = 0; j < levels->count; j++) {
        run = moves(levels, j) ? 0 : run + 1;
        longest = run > longest ? run : longest;
    }
    return longest;
}

/* Moving windows, joined over pauses shorter than `pause`; false if there are more than fit. */
static bool find_blocks(const ingest_window_levels *levels, size_t pause, ingest_block out[BLOCKS_MAX],
                        size_t *count)
{
    *count = 0;
    for (size_t j = 0; j < levels->count; j++) {
        if (!moves(levels, j))
            continue;
        if (*count > 0 && j - out[*count - 1].to < pause) {
            out[*count - 1].to = j + 1;
            continue;
        }
        if (*count == BLOCKS_MAX)
            return false;
        out[(*count)++] = (ingest_block){j, j + 1, QUELL_MOTION, 0};
    }
    return true;
}

/* Bursts within a pause of each other belong together if they are of one kind; two sweeps are two. A short burst alone
   has no kind of its own. */
static bool belong_together(const ingest_window_levels *levels, const ingest_block *a, const ingest_block *b)
{
    if (a->kind == b->kind)
        return a->kind != QUELL_SWEEP;
    const ingest_block *burst = a->kind == QUELL_MOTION ? a : b, *other = burst == a ? b : a;
    return burst->kind == QUELL_MOTION && other->kind == QUELL_STOPS &&
           digest_seconds(levels->digest, burst->from, burst->to) < BURST_MOST_S;
}

static size_t join_blocks(const ingest_window_levels *levels, ingest_block block[BLOCKS_MAX], size_t count,
                          size_t pause)
{
    size_t kept = 0;
    for (size_t b = 1; b < count; b++) {
        bool near = block[b].from - block[kept].to < pause;
        if (near && belong_together(levels, &block[kept], &block[b])) {
            block[kept].to = block[b].to;
            block[kept].kind = block[kept].kind == QUELL_MOTION ? block[b].kind : block[kept].kind;
        } else
            block[++kept] = block[b];
    }
    count = kept + 1;
    ingest_blocks_name(levels, block, count);
    return count;
}

/* Is it one burst, or several with pauses? */
static bool is_burst(const ingest_window_levels *levels, const ingest_block *block)
{
    return block->kind == QUELL_STOPS ||
           (block->kind == QUELL_MOTION &&
            digest_seconds(levels->digest, block->from, block->to) < BURST_MOST_S);
}

/* Strokes with dwells so long that each became a block of its own. */
static size_t join_series(const ingest_window_levels *levels, ingest_block block[BLOCKS_MAX], size_t count)
{
    size_t kept = 0;
    for (size_t b = 0; b < count; kept++) {
        size_t last = b, bursts = block[b].kind == QUELL_STOPS ? SERIES : 1;
        while (last + 1 < count && is_burst(levels, &block[b]) && is_burst(levels, &block[last + 1]) &&
               digest_seconds(levels->digest, block[last].to, block[last + 1].from) < DWELL_MOST_S) {
            last++;
            bursts += block[last].kind == QUELL_STOPS ? SERIES : 1;
        }
        bool series = bursts >= SERIES;
        block[kept] = block[b];
        if (series) {
            block[kept].to = block[last].to;
            block[kept].kind = QUELL_STOPS;
        }
        b = series ? last + 1 : b + 1;
    }
    return kept;
}

static size_t gather_blocks(const ingest_window_levels *levels, ingest_block out[BLOCKS_MAX])
{
    size_t count, longest = longest_pause(levels);
    double window_s = digest_seconds(levels->digest, 0, levels->count) / (double)levels->count;
    double pause_s = fmin(fmax((double)(longest / 2) * window_s, MERGE_LEAST_S), MERGE_MOST_S);
    size_t pause = (size_t)(pause_s / window_s) + 1, shorter = (size_t)(PART_S / window_s) + 1;
    shorter = shorter < pause ? shorter : pause;
    while (!find_blocks(levels, shorter, out, &count))
        shorter *= 2;
    ingest_blocks_name(levels, out, count);
    count = join_blocks(levels, out, count, pause);
    return join_series(levels, out, ingest_blocks_join_sweeps(levels, out, count));
}

/* ---------------------------------------------------------------- stretches */

static void add_stretch(ingest_activity *out, quell_stretch kind, double trend, size_t from, size_t to)
{
    ingest_stretch *last = out->count > 0 ? &out->stretch[out->count - 1] : NULL;
    if (last != NULL && last->kind == kind)
        last->window[1] = to;
    else if (out->count < INGEST_SEGMENTS_MAX)
        out->stretch[out->count++] = (ingest_stretch){.kind = kind, .window = {from, to}, .trend = trend};
}

/* Blocks and the rests between them; one window more on either side of a block. */
static void make_stretches(ingest_activity *out, const ingest_window_levels *levels,
                           const ingest_block *block, size_t count)
{
    size_t quiet_from = 0, windows = levels->count;
    for (size_t b = 0; b <= count; b++) {
        size_t from = b == count ? windows : block[b].from > 0 ? block[b].from - 1 : 0;
        size_t to = b < count && block[b].to + 1 < windows ? block[b].to + 1 : windows;
        from = from > quiet_from ? from : quiet_from;
        if (digest_seconds(levels->digest, quiet_from, from) >= REST_LEAST_S)
            add_stretch(out, QUELL_REST, 0, quiet_from, from);
        if (b == count)
            return;
        add_stretch(out, block[b].kind, block[b].trend, from, to);
        quiet_from = to;
    }
}

/* Mean square level of a stretch, all axes together. */
static double stretch_square(const ingest_window_levels *levels, const ingest_stretch *stretch)
{
    double sum = 0, count = 0;
    for (size_t j = stretch->window[0]; j < stretch->window[1]; j++) {
        double n = (double)levels->digest->window[j].count;
        sum += n * levels->square[j];
        count += n;
    }
    return count > 0 ? sum / count : 0;
}

/* A lull in the motion is no rest: short pauses within one kind of motion that are louder than the quietest rest belong
   to it. */
static void join_lulls(ingest_activity *out, const ingest_window_levels *levels)
{
    double level[INGEST_SEGMENTS_MAX] = {0}, quietest = HUGE_VAL;
    for (size_t s = 0; s < out->count; s++) {
        level[s] = sqrt(stretch_square(levels, &out->stretch[s]));
        if (out->stretch[s].kind == QUELL_REST)
            quietest = fmin(quietest, level[s]);
    }
    ingest_activity kept = *out;
    kept.count = 0;
    for (size_t s = 0; s < out->count; s++) {
        const ingest_stretch *stretch = &out->stretch[s];
        bool within = s > 0 && s + 1 < out->count && ingest_is_excitation(stretch[-1].kind) &&
                      stretch[-1].kind == stretch[1].kind;
        bool lull = stretch->kind == QUELL_REST && within && level[s] > LULL * quietest &&
                    digest_seconds(levels->digest, stretch->window[0], stretch->window[1]) < LULL_MOST_S;
        add_stretch(&kept, lull ? stretch[-1].kind : stretch->kind, stretch->trend, stretch->window[0],
                    stretch->window[1]);
    }
    *out = kept;
}

/* ---------------------------------------------------------------- the rests */

/* The static mean and the level over the rests, or over everything if there is none. */
static void measure_rest(ingest_activity *out, const ingest_window_levels *levels)
{
    const struct ingest_digest *digest = levels->digest;
    digest_sums sums = {0};
    double square = 0;
    size_t count = 0;
    for (size_t s = 0; s < out->count; s++)
        out->has_rest = out->has_rest || out->stretch[s].kind == QUELL_REST;
    for (size_t s = 0; s < out->count; s++) {
        const ingest_stretch *stretch = &out->stretch[s];
        if (out->has_rest && stretch->kind != QUELL_REST)
            continue;
        for (size_t j = stretch->window[0]; j < stretch->window[1]; j++) {
            digest_sums_join(&sums, &digest->window[j].all);
            square += levels->square[j] * (double)digest->window[j].count;
            count += digest->window[j].count;
        }
    }
    out->rest_rms_mps2 = count > 0 ? sqrt(square / (double)count) : 0;
    for (size_t k = 0; k < 3; k++)
        out->mean_mps2[k] = digest->origin[k] + (count > 0 ? sums.sum[k] / (double)count : 0);
}

static void find_activity(ingest_activity *out, const ingest_window_levels *levels)
{
    if (!isfinite(levels->threshold) && levels->quiet < INGEST_MOTION_MPS2) {
        add_stretch(out, QUELL_REST, 0, 0, levels->count);
    } else {
        ingest_block block[BLOCKS_MAX] = {{0, levels->count, QUELL_MOTION, 0}};
        size_t count = 1;
        if (isfinite(levels->threshold))
            count = gather_blocks(levels, block);
        else
            ingest_blocks_name(levels, block, count);
        out->shakes = ingest_blocks_shake(levels, block, count, &out->shaken_share);
        make_stretches(out, levels, block, count);
        join_lulls(out, levels);
    }
    measure_rest(out, levels);
    for (size_t s = 0; s < out->count; s++) {
        ingest_stretch *stretch = &out->stretch[s];
        const digest_window *last = &levels->digest->window[stretch->window[1] - 1];
        stretch->from = levels->digest->window[stretch->window[0]].first;
        stretch->to = last->first + last->count;
    }
}

quell_status ingest_activity_find(ingest_activity *out, quell_recording *recording, quell_arena *arena,
                                  quell_error *err)
{
    ingest_window_levels levels = {0};
    quell_status status = ingest_digest_make(recording, arena, err);
    if (status == QUELL_OK)
        status = ingest_window_levels_measure(&levels, recording->digest, err);
    if (status != QUELL_OK)
        return status;
    *out = (ingest_activity){0};
    find_activity(out, &levels);
    ingest_window_levels_free(&levels);
    return QUELL_OK;
}
