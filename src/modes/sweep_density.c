/* The density that a known sweep commands, as Welch's estimate shows it: the command sampled and estimated. */
#include "modes_private.h"

#include <math.h>

#define SAMPLES_MAX 1e8

enum { BLOCK = 4096, ARENA_BYTES = 1 << 27 };

double quell_sweep_samples(const quell_shaking *shaking, double rate_hz)
{
    const quell_sweep *sweep = &shaking->sweep;
    double own_s = (sweep->end_hz - sweep->start_hz) / sweep->rate_hz_per_s; /* the last cycle apart */
    double motion_s = fmax(shaking->duration_s, own_s);
    return floor(motion_s * rate_hz) + (double)shaking->margin[0] + (double)shaking->margin[1];
}

/* The gaps of a recording as the rising sweep would have them; *lost: samples from *at on are not there. */
static bool gap_of(const quell_shaking *shaking, size_t i, double samples, double *at, double *lost)
{
    if (i >= shaking->gap_count)
        return false;
    const quell_sweep_gap *gap = &shaking->gap[shaking->falls ? shaking->gap_count - 1 - i : i];
    *at = shaking->falls ? samples - gap->at - gap->lost : gap->at;
    *lost = gap->lost;
    return true;
}

/* A sample is the mean acceleration over its interval: what the velocity changes by, times the rate. */
static quell_status stream(const quell_motion *motion, const quell_shaking *shaking, double rate_hz, double samples,
                           quell_welch *welch, quell_error *err)
{
    double block[BLOCK], velocity_mps = 0, at = 0, lost = 0;
    const double *axes[1] = {block};
    quell_motion_cursor cursor = {.motion = motion};
    quell_status status = QUELL_OK;
    size_t gap = 0;
    bool more = gap_of(shaking, gap, samples, &at, &lost);
    for (double done = 0; done < samples && status == QUELL_OK;) {
        size_t n = 0;
        bool breaks = false;
        while (n < BLOCK && done < samples && !breaks) {
            bool there = !more || done < at;
            breaks = more && done >= at + lost - 1;
            done++;
            double next_mps = quell_motion_advance(&cursor, done / rate_hz).velocity_mps;
            if (there)
                block[n++] = (next_mps - velocity_mps) * rate_hz;
            velocity_mps = next_mps;
        }
        status = quell_welch_add(welch, axes, n, err);
        if (status == QUELL_OK && breaks) {
            status = quell_welch_break(welch, err);
            more = gap_of(shaking, ++gap, samples, &at, &lost);
        }
    }
    return status;
}

quell_status quell_command_density(const quell_motion_list *list, const quell_shaking *shaking, const quell_spectrum *like,
                                   double samples, double *density, quell_error *err)
{
    double segment = (double)like->segment;
    quell_welch_options options = {
        .window = like->window, .segment = like->segment, .overlap = (segment - (double)like->hop) / segment};
    quell_arena *arena = quell_arena_create(ARENA_BYTES);
    quell_welch *welch = NULL;
    quell_spectrum made;
    quell_status status =
        arena != NULL ? QUELL_OK : quell_fail(err, QUELL_E_MEMORY, "out of memory for a sweep");
    if (status == QUELL_OK)
        status = quell_welch_create(&welch, 1, &options, err);
    const quell_motion motion = quell_motion_view(list);
    if (status == QUELL_OK)
        status = stream(&motion, shaking, like->rate_hz, samples, welch, err);
    if (status == QUELL_OK)
        status = quell_welch_finish(welch, like->rate_hz, arena, &made, err);
    for (size_t k = 0; status == QUELL_OK && k < like->bins; k++)
        density[k] = made.asd_m2ps3[0][k];
    quell_welch_destroy(welch);
    quell_arena_destroy(arena);
    return status;
}

quell_status quell_sweep_density(const quell_shaking *shaking, const quell_spectrum *like, double *density,
                                 quell_error *err)
{
    if (!shaking->sweep_known)
        return quell_fail(err, QUELL_E_USAGE, "the sweep is not known, want sweep:F0:F1:RATE or a plan");
    quell_motion_list list = {0};
    quell_motion_add_rest(&list, (double)shaking->margin[0] / like->rate_hz);
    quell_status status = quell_motion_add_sweep(&list, &shaking->sweep, err);
    double samples = quell_sweep_samples(shaking, like->rate_hz);
    if (status == QUELL_OK && !(samples >= (double)like->segment && samples <= SAMPLES_MAX))
        status = quell_fail(err, QUELL_E_USAGE, "the sweep lasts %s s, want %s s, one segment, to %s s",
                            quell_number_short(samples / like->rate_hz, 4).text,
                            quell_number_short((double)like->segment / like->rate_hz, 4).text,
                            quell_number_short(SAMPLES_MAX / like->rate_hz, 4).text);
    if (status == QUELL_OK)
        status = quell_command_density(&list, shaking, like, samples, density, err);
    quell_motion_list_free(&list);
    return status;
}
