/* The digest of a recording: fed with its samples as they pass, it keeps all that mounting, segments, noise and verdict
   are judged by, in memory that does not grow with the recording. */
#include "ingest/digest_private.h"

#include <math.h>
#include <string.h>

#define CELL_S 0.002
#define STEP_S 0.008
#define LOW_HZ 20.0   /* corner of the low-pass that tells frequencies ... */
#define SMOOTH_MOST 0.5 /* ... lower at rates that leave no room above it */
#define WINDOW_S 0.1
#define STRETCH_LEAST_S 0.5 /* a shorter stretch between gaps holds no segment */

enum { WINDOW_LEAST = 8 };

/* The power of two nearest to that many samples, in ratio. */
static size_t power_of_two(double samples, size_t most)
{
    size_t out = 1;
    while (out < most && samples > (double)out * sqrt(2))
        out *= 2;
    return out;
}

static void plan(ingest_digest *out, double rate_hz)
{
    out->rate_hz = rate_hz;
    out->step = power_of_two(STEP_S * rate_hz, DIGEST_BLOCK);
    out->cell = power_of_two(CELL_S * rate_hz, out->step);
    out->smooth = fmin(1 - exp(-QUELL_TAU * LOW_HZ * (double)out->cell / rate_hz), SMOOTH_MOST);
    double window = fmax(WINDOW_S * rate_hz, WINDOW_LEAST) / (double)out->step;
    out->window_steps = (size_t)fmin(fmax(window + 0.5, 1), 1e9);
    digest_slow_plan(&out->slow, (double)out->step / rate_hz);
}

quell_status ingest_digest_create(ingest_digest **out, size_t axes, double rate_hz, quell_arena *arena,
                                  quell_error *err)
{
    ingest_digest *made = QUELL_NEW(arena, ingest_digest, 1);
    digest_window *window = QUELL_NEW(arena, digest_window, DIGEST_WINDOWS);
    digest_gallery *gallery = digest_gallery_create(arena);
    if (made == NULL || window == NULL || gallery == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the digest");
    made->axes = axes;
    made->window = window;
    made->gallery = gallery;
    plan(made, rate_hz);
    *out = made;
    return QUELL_OK;
}

/* Takes the samples waiting in the block in, step by step; the last may be shorter. */
static void take_block(ingest_digest *digest)
{
    size_t first = digest->samples, at = 0;
    while (at < digest->filled) {
        size_t left = digest->filled - at, n = left < digest->step ? left : digest->step;
        digest_windows_take(digest, at, n);
        at += n;
    }
    if (at > 0)
        digest_gallery_take(digest, first, at);
    digest->filled = 0;
}

void ingest_digest_add(ingest_digest *digest, const double *const *value, size_t n)
{
    digest->stretch += n;
    if (!digest->started && n > 0) {
        for (size_t k = 0; k < digest->axes; k++)
            digest->origin[k] = value[k][0];
        digest->started = true;
    }
    for (size_t at = 0; at < n;) {
        size_t left = n - at, room = DIGEST_BLOCK - digest->filled, part = left < room ? left : room;
        for (size_t k = 0; k < digest->axes; k++)
            memcpy(digest->value[k] + digest->filled, value[k] + at, part * sizeof(double));
        digest->filled += part;
        at += part;
        if (digest->filled == DIGEST_BLOCK)
            take_block(digest);
    }
}

static size_t usable(const ingest_digest *digest)
{
    return (double)digest->stretch >= STRETCH_LEAST_S * digest->rate_hz ? digest->stretch : 0;
}

/* A gap shorter than a window does not end it. */
void ingest_digest_gap(ingest_digest *digest, size_t lost)
{
    if (!digest->started || lost == 0)
        return;
    digest->breaks++;
    digest->longest_lost = lost > digest->longest_lost ? lost : digest->longest_lost;
    digest->stretches_usable += usable(digest);
    digest->stretch = 0;
    take_block(digest);
    if (lost >= digest->window_steps * digest->step)
        digest_windows_close(digest);
    digest_windows_break(digest, lost);
}

void ingest_digest_settle(ingest_digest *digest, double rate_hz, const double scale[3])
{
    take_block(digest);
    digest_windows_close(digest);
    digest->rate_hz = rate_hz;
    digest_scale(digest, scale);
    digest->settled = true;
}

ingest_breaks ingest_digest_breaks(const ingest_digest *digest)
{
    size_t last = digest->breaks == 0 ? digest->stretch : usable(digest);
    return (ingest_breaks){.count = digest->breaks,
                           .longest_s = (double)digest->longest_lost / digest->rate_hz,
                           .usable_s = (double)(digest->stretches_usable + last) / digest->rate_hz};
}

quell_status ingest_digest_make(quell_recording *recording, quell_arena *arena, quell_error *err)
{
    if (recording->digest != NULL)
        return QUELL_OK;
    quell_status status =
        ingest_digest_create(&recording->digest, recording->axes, recording->rate_hz, arena, err);
    if (status != QUELL_OK)
        return status;
    size_t from = 0;
    for (size_t b = 0; b <= recording->break_count; b++) {
        size_t to = b < recording->break_count ? recording->break_at[b] : recording->samples;
        const double *value[3] = {NULL, NULL, NULL};
        for (size_t k = 0; k < recording->axes; k++)
            value[k] = recording->accel_mps2[k] + from;
        ingest_digest_add(recording->digest, value, to - from);
        if (b < recording->break_count)
            ingest_digest_gap(recording->digest, recording->break_lost[b]);
        from = to;
    }
    ingest_digest_settle(recording->digest, recording->rate_hz, (const double[]){1, 1, 1});
    return QUELL_OK;
}
