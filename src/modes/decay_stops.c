/* Where strokes end, roughly: the velocity of the driven axis, smoothed over the periods of its ringing, comes to rest.
   A stroke's velocity is far above that of its ringing, and rest is told from cruising by it, which acceleration alone
   cannot. Integration drifts; each rest resets it. */
#include "modes/decay_private.h"

#include <math.h>

#define BLOCK_S 2e-3  /* velocity is looked at this often */
#define SMOOTH_S 0.08 /* width of the Hann weights: ringing from 25 Hz on is gone */
#define JUMP_S 0.15   /* within this a stroke gets up to speed or stops */
#define RESET_S 0.25  /* time constant with which a rest takes off drift */
#define STILL 0.15    /* of the greatest change of velocity: at rest below */
#define MOVING 0.4    /* moving above */
#define LEAVING 0.25  /* a rest ends above */
#define REST_LEAST_S 0.06
#define BEFORE_S                                                                                             \
    0.08 /* how long before the velocity is seen at rest a stop may lie, and a start before it is seen to
                           move */

/* Velocity at the end of each block, the mean acceleration taken off, smoothed. */
static void smoothed_velocity(const decay_data *data, size_t block, size_t blocks, double *raw, double *out)
{
    const double *a = data->accel_mps2[data->driven];
    double mean = 0, velocity = 0;
    for (size_t i = 0; i < data->samples; i++)
        mean += a[i] / (double)data->samples;
    for (size_t b = 0; b < blocks; b++) {
        for (size_t i = 0; i < block; i++)
            velocity += (a[b * block + i] - mean) / data->rate_hz;
        raw[b] = velocity;
    }
    size_t half = (size_t)(SMOOTH_S / 2 * data->rate_hz / (double)block);
    for (size_t b = 0; b < blocks; b++) {
        double sum = 0, weights = 0;
        size_t last = b + half < blocks ? b + half : blocks - 1;
        for (size_t i = b > half ? b - half : 0; i <= last; i++) {
            double x = ((double)i - (double)b) / ((double)half + 1), weight = 1 + cos(QUELL_PI * x);
            sum += weight * raw[i];
            weights += weight;
        }
        out[b] = sum / weights;
    }
}

/* Walks through the velocity, telling rests from motion. */
typedef struct walk {
    const decay_data *data;
    size_t block;
    double scale, block_s; /* greatest change of velocity */
    double drift;
    bool resting, moved;
    size_t since; /* block at which the rest began */
    int direction;
} walk;

/* started: by motion; else by the end of the samples. */
static void rest_ends(walk *at, size_t b, bool started, decay_stops *out)
{
    bool long_enough = (double)(b - at->since) * at->block_s >= REST_LEAST_S;
    if (at->moved && long_enough && out->count < DECAY_STOPS_MAX) {
        size_t before = (size_t)(BEFORE_S * at->data->rate_hz), rest = at->since * at->block;
        decay_stop stop = {.earliest = rest > before ? rest - before : 0,
                           .rest = rest,
                           .limit =
                               started && b * at->block > before ? b * at->block - before : b * at->block,
                           .latest = b * at->block,
                           .direction = at->direction};
        decay_stop_clear_of_breaks(at->data, &stop);
        out->stop[out->count++] = stop;
    }
    at->moved = at->moved && !long_enough;
    at->resting = false;
}

static void advance(walk *at, size_t b, double velocity, decay_stops *out)
{
    double u = velocity - at->drift;
    if (at->resting && fabs(u) > LEAVING * at->scale)
        rest_ends(at, b, true, out);
    if (fabs(u) > MOVING * at->scale) {
        at->moved = true;
        at->direction = u > 0 ? 1 : -1;
    }
    if (!at->resting && fabs(u) < STILL * at->scale) {
        at->resting = true;
        at->since = b;
    }
    if (at->resting)
        at->drift += u * fmin(at->block_s / RESET_S, 1);
}

quell_status decay_stops_by_velocity(const decay_data *data, decay_stops *out, quell_error *err)
{
    out->count = 0;
    size_t block = (size_t)fmax(1, round(BLOCK_S * data->rate_hz)), blocks = data->samples / block;
    size_t jump = (size_t)(JUMP_S * data->rate_hz / (double)block) + 1;
    if (blocks <= 2 * jump)
        return QUELL_OK;
    double *raw = quell_memory_get(2 * blocks * sizeof *raw);
    if (raw == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu velocities", 2 * blocks);
    double *velocity = raw + blocks;
    smoothed_velocity(data, block, blocks, raw, velocity);
    walk at = {.data = data, .block = block, .block_s = (double)block / data->rate_hz, .drift = velocity[0]};
    for (size_t b = 0; b + jump < blocks; b++)
        at.scale = fmax(at.scale, fabs(velocity[b + jump] - velocity[b]));
    if (at.scale > 0) {
        for (size_t b = 0; b < blocks; b++)
            advance(&at, b, velocity[b], out);
        if (at.resting)
            rest_ends(&at, blocks, false, out);
    }
    quell_memory_free(raw);
    return QUELL_OK;
}

void decay_stop_clear_of_breaks(const decay_data *data, decay_stop *stop)
{
    for (size_t i = 0; i < data->recording->break_count; i++) {
        size_t at = data->recording->break_at[i], low = data->first - data->reach;
        if (at <= low)
            continue;
        /* working samples up to `before` end ahead of the break, those from `after` on begin behind it */
        double place = ((double)at - (double)data->first) / (double)data->step;
        double span = (double)data->reach / (double)data->step + 1;
        size_t before = (size_t)fmax(0, floor(place - span)), after = (size_t)fmax(0, ceil(place + span));
        if (after <= stop->rest)
            stop->earliest = after > stop->earliest ? after : stop->earliest;
        else if (before < stop->latest) {
            stop->latest = before > stop->rest ? before : stop->rest;
            stop->limit = stop->limit < stop->latest ? stop->limit : stop->latest;
        }
    }
}
