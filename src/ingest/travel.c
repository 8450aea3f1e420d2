/* Travel: does motion carry the sensor along, or only shake it? A stroke whose ramps are short has most of its acceleration, and all
   of the ringing after it, above 10 Hz; but between its ramps it travels at one speed. Accelerations summed over windows give it:
   ringing of f Hz leaves less than its acceleration over 2 pi f. What is summed is about its mean, so it ends as it began: at rest. */
#include "ingest/segments_private.h"

#include <math.h>

#define PLATEAU 0.5   /* of the highest speed: it travels */
#define SLOW_HZ 10.0  /* motion slower than this carries */
#define CARRIES 0.2   /* times the speed that the same acceleration would leave at 10 Hz, most of it being ringing ... */
#define PLATEAU_S 0.3 /* ... if it lasts, as ringing does not */
#define SLOWER 0.6    /* than what follows, if it is no gentler */
#define LEAST_S 1.5   /* length of a preamble's strokes */
#define MOST_S 30.0

enum { PLATEAUS_LEAST = 2, PLATEAUS_MOST = 12 };

static void mean_of(const struct ingest_digest *digest, size_t from, size_t to, double mean[3])
{
    double count = 0;
    for (size_t j = from; j < to; j++)
        count += (double)digest->window[j].count;
    for (size_t k = 0; k < 3; k++) {
        mean[k] = 0;
        for (size_t j = from; j < to && count > 0; j++)
            mean[k] += digest->window[j].all.sum[k] / count;
    }
}

static void go_on(const struct ingest_digest *digest, size_t j, const double mean[3], double velocity[3])
{
    const digest_window *window = &digest->window[j];
    for (size_t k = 0; k < 3; k++)
        velocity[k] += (window->all.sum[k] - (double)window->count * mean[k]) / digest->rate_hz;
}

ingest_travel ingest_travel_find(const struct ingest_digest *digest, size_t from, size_t to)
{
    ingest_travel out = {0};
    double mean[3], velocity[3] = {0}, square = 0;
    mean_of(digest, from, to, mean);
    for (size_t j = from; j < to; j++) {
        go_on(digest, j, mean, velocity);
        double speed = sqrt(ingest_dot(velocity, velocity));
        square += speed * speed;
        if (speed > out.most_mps)
            for (size_t k = 0; k < 3; k++)
                out.first[k] = velocity[k] / speed;
        out.most_mps = fmax(out.most_mps, speed);
    }
    out.rms_mps = to > from ? sqrt(square / (double)(to - from)) : 0;
    double along[3] = {out.first[0], out.first[1], out.first[2]}, was = 0, first = 0;
    velocity[0] = velocity[1] = velocity[2] = 0;
    for (size_t j = from; j < to; j++) {
        go_on(digest, j, mean, velocity);
        double speed = ingest_dot(velocity, along), now = fabs(speed) > PLATEAU * out.most_mps ? (speed > 0 ? 1 : -1) : 0;
        out.plateaus += now != 0 && now != was;
        out.plateau_s += now != 0 ? (double)digest->window[j].count / digest->rate_hz : 0;
        first = first == 0 ? now : first;
        was = now;
    }
    for (size_t k = 0; k < 3; k++)
        out.first[k] = first * along[k];
    return out;
}

static ingest_travel travel_of(const ingest_window_levels *levels, const ingest_block *block)
{
    size_t from = block->from > 0 ? block->from - 1 : 0, to = block->to < levels->count ? block->to + 1 : levels->count;
    return ingest_travel_find(levels->digest, from, to);
}

bool ingest_block_carries(const ingest_window_levels *levels, const ingest_block *block, double rms_mps2)
{
    double seconds = digest_seconds(levels->digest, block->from, block->to);
    ingest_travel travel = travel_of(levels, block);
    return seconds > LEAST_S && seconds < MOST_S && travel.plateaus >= PLATEAUS_LEAST && travel.plateaus <= PLATEAUS_MOST &&
           travel.plateau_s > PLATEAU_S * (double)travel.plateaus &&
           travel.rms_mps > CARRIES * rms_mps2 / (QUELL_TAU * SLOW_HZ);
}

bool ingest_block_slower(const ingest_window_levels *levels, const ingest_block *block, const ingest_block *next)
{
    return travel_of(levels, block).most_mps < SLOWER * travel_of(levels, next).most_mps;
}
