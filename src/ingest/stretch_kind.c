/* What moves in a stretch: slow strokes, a sweep, strokes with stops, or anything else. */
#include "ingest/segments_private.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>

#define SLOW_SHARE 0.5 /* of the energy below 10 Hz that makes strokes slow ... */
#define GENTLE 0.5     /* ... if they are this much gentler than what they precede */
#define TREND 0.6      /* rank correlation of frequency and time in a sweep ... */
#define TREND_LONG 0.4 /* ... and in a long one, which the ringing of modes at odd harmonics bends ... */
#define TREND_SURE 6.0 /* ... this many standard deviations off that of motion without a trend */
#define DECAY -0.95    /* of level and time in a decay ... */
#define HALF_S 2.0     /* ... in which a mode rings down to half: one of 5 Hz with a damping ratio of 0.01 */
#define RANGE 1.2      /* of its frequencies: the tenth of them above the range over that below it */
#define HIGH 0.5       /* a burst, of the level that a tenth of the windows exceeds ... */
#define LOW 0.15       /* ... and a pause */
#define NOISE 1.5      /* times the quietest windows: no pause is quieter */
#define PAUSES 0.1     /* share of the windows of strokes with stops that are pauses */

#define PREAMBLE_LEAST_S 1.5 /* length of such strokes */
#define PREAMBLE_MOST_S 30.0

enum { SWEEP_WINDOWS = 15, BURSTS = 4 };

static double mean_square(const ingest_window_levels *levels, const double *square, size_t from, size_t to)
{
    double sum = 0, count = 0;
    for (size_t j = from; j < to; j++) {
        double n = (double)levels->digest->window[j].count;
        sum += n * square[j];
        count += n;
    }
    return count > 0 ? sum / count : 0;
}

/* Share of a block's energy that lies below 10 Hz, noise taken off. */
static double slow_share(const ingest_window_levels *levels, const ingest_block *block)
{
    double all = mean_square(levels, levels->square, block->from, block->to) - levels->quiet * levels->quiet;
    double slow = mean_square(levels, levels->slow, block->from, block->to) - levels->quiet_slow_square;
    return all > 0 ? slow / all : 0;
}

/* The level that a tenth of the windows exceeds. */
static double high_level(const ingest_window_levels *levels, const ingest_block *block)
{
    size_t n = block->to - block->from;
    for (size_t i = 0; i < n; i++)
        levels->work[i] = levels->square[block->from + i];
    gsl_sort(levels->work, 1, n);
    return sqrt(levels->work[n - 1 - n / 10]);
}

/* The frequency of a window's motion, from what a low-pass leaves of it: y_i = y_i-1 + q (c_i - y_i-1) of a tone w has
   q^2 / (1 - 2 (1 - q) cos(w T) + (1 - q)^2) of its energy. A square wave's harmonics count for little in that, even
   where a shaper takes the tone itself out. */
static double frequency_hz(const struct ingest_digest *digest, const digest_window *window)
{
    double q = digest->smooth, left = 1 - q;
    double ratio = window->low_square[0] > 0 ? window->cell_square[0] / window->low_square[0] : 1;
    double turn = acos(fmin(fmax((1 + left * left - q * q * ratio) / (2 * left), -1), 1));
    return turn / QUELL_TAU * digest->rate_hz / (double)digest->cell;
}

/* The windows of a block that move: their frequencies or their levels, and which they are. Returns how many. */
static size_t gather(const ingest_window_levels *levels, const ingest_block *block, bool frequencies,
                     double *value, double *order)
{
    double least = isfinite(levels->threshold) ? levels->threshold : 0; /* without a rest everything moves */
    size_t n = 0;
    for (size_t j = block->from; j < block->to; j++) {
        if (!(levels->square[j] > least * least))
            continue;
        value[n] = frequencies ? frequency_hz(levels->digest, &levels->digest->window[j]) : levels->square[j];
        order[n] = (double)j;
        n++;
    }
    return n;
}

size_t ingest_block_frequencies(const ingest_window_levels *levels, const ingest_block *block, double *frequency,
                                double *time_s)
{
    size_t n = gather(levels, block, true, frequency, time_s);
    for (size_t i = 0; i < n; i++)
        time_s[i] = digest_start_s(levels->digest, &levels->digest->window[(size_t)time_s[i]]);
    return n;
}

/* Does it begin with its loudest window, and grow quieter ever after, soon half as loud? So does a sweep on a machine
   that hardly moves above its modes, but slowly. */
static bool decays(const double *square, const double *order, size_t n, double window_s, double *work)
{
    size_t loudest = 0;
    for (size_t i = 1; i < n; i++)
        loudest = square[i] > square[loudest] ? i : loudest;
    size_t half = loudest;
    while (half < n && 4 * square[half] > square[loudest])
        half++;
    return loudest <= n / 20 + 1 && (double)(half - loudest) * window_s < HALF_S &&
           gsl_stats_spearman(square, 1, order, 1, n, work) < DECAY;
}

/* Spearman's rank correlation of frequency with time over the windows that move is near 1 where it rises steadily. A
   decay, whose higher modes die first, has a trend, too. */
static bool is_sweep(const ingest_window_levels *levels, ingest_block *block)
{
    double *value = levels->work, *order = levels->work + (block->to - block->from);
    size_t n = gather(levels, block, false, value, order);
    double window_s = digest_seconds(levels->digest, block->from, block->to) / (double)(block->to - block->from);
    if (n < SWEEP_WINDOWS || decays(value, order, n, window_s, levels->ranks))
        return false;
    gather(levels, block, true, value, order);
    block->trend = gsl_stats_spearman(value, 1, order, 1, n, levels->ranks);
    gsl_sort(value, 1, n);
    double wanted = fmin(fmax(TREND_SURE / sqrt((double)n), TREND_LONG), TREND);
    return fabs(block->trend) > wanted && value[n - 1 - n / 10] > RANGE * value[n / 10];
}

/* Counts bursts, between which it pauses. */
static size_t count_bursts(const ingest_window_levels *levels, const ingest_block *block,
                           size_t *pause_windows)
{
    double high = high_level(levels, block), noise = isfinite(levels->threshold) ? levels->quiet : 0;
    double low = fmax(LOW * high, NOISE * noise);
    size_t bursts = 0, pauses = 0;
    bool paused = true;
    for (size_t j = block->from; j < block->to; j++) {
        double level = sqrt(levels->square[j]);
        pauses += level < low;
        bursts += paused && level > HIGH * high;
        paused = level < low || (paused && !(level > HIGH * high));
    }
    *pause_windows = pauses;
    return bursts;
}

static bool has_stops(const ingest_window_levels *levels, const ingest_block *block)
{
    size_t pauses, bursts = count_bursts(levels, block, &pauses);
    return bursts >= BURSTS && (double)pauses > PAUSES * (double)(block->to - block->from);
}

/* Strokes with short ramps, of a controller that knows but one acceleration: nothing but a few, a rest before them. */
static bool is_hard_preamble(const ingest_window_levels *levels, const ingest_block *block, size_t count)
{
    double all = mean_square(levels, levels->square, block->from, block->to) - levels->quiet * levels->quiet;
    if (count < 2 || block->from == 0 || !isfinite(levels->threshold) ||
        !ingest_block_carries(levels, block, sqrt(fmax(all, 0))))
        return false;
    return high_level(levels, &block[0]) < GENTLE * high_level(levels, &block[1]) ||
           ingest_block_slower(levels, &block[0], &block[1]);
}

/* Are they strokes of a preamble: slow, and gentler than what comes next, other slow ones apart? */
static bool is_preamble(const ingest_window_levels *levels, const ingest_block *block, size_t b, size_t count)
{
    if (b == 0 && is_hard_preamble(levels, block, count))
        return true;
    if (slow_share(levels, &block[b]) <= SLOW_SHARE)
        return false;
    for (size_t next = b + 1; next < count; next++) {
        if (high_level(levels, &block[b]) < GENTLE * high_level(levels, &block[next]))
            return true;
        if (slow_share(levels, &block[next]) <= SLOW_SHARE)
            return false;
    }
    return false;
}

void ingest_blocks_name(const ingest_window_levels *levels, ingest_block *block, size_t count)
{
    for (size_t b = 0; b < count; b++) {
        block[b].kind = is_preamble(levels, block, b, count) ? QUELL_STROKES
                        : is_sweep(levels, &block[b])        ? QUELL_SWEEP
                        : has_stops(levels, &block[b])       ? QUELL_STOPS
                                                             : QUELL_MOTION;
        block[b].trend = block[b].kind == QUELL_SWEEP ? block[b].trend : 0;
    }
}

/* One or two knocks are no strokes, and what has a trend of its own is no preamble. */
bool ingest_blocks_shake(const ingest_window_levels *levels, const ingest_block *block, size_t count,
                         double *share)
{
    if (count < 2 || block[0].kind == QUELL_STROKES || block[0].kind == QUELL_SWEEP)
        return false;
    double seconds = digest_seconds(levels->digest, block[0].from, block[0].to);
    size_t pauses, bursts = count_bursts(levels, &block[0], &pauses);
    *share = fmax(slow_share(levels, &block[0]), 0);
    return bursts >= BURSTS && seconds > PREAMBLE_LEAST_S && seconds < PREAMBLE_MOST_S &&
           *share < INGEST_SHAKEN_SHARE &&
           high_level(levels, &block[0]) < GENTLE * high_level(levels, &block[1]);
}
