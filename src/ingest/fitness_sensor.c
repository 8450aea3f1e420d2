/* Is a recording fit? The sensor: dead and stuck axes, clipping, gravity, and whether it sits on what moves. */
#include "ingest/fitness_private.h"

#include <math.h>

#define STUCK_S 0.25     /* an axis that does not change for so long while the machine moves */
#define GRAVITY_OFF 0.05 /* of the static mean against standard gravity */

static const ingest_limits clipped_limit = {0, 0.01};

quell_status ingest_judge_clipping(const ingest_judging *j)
{
    quell_recording *recording = j->recording;
    quell_arena *arena = j->arena;
    for (size_t k = 0; k < recording->axes; k++) {
        double share = recording->clipped_fraction[k];
        if (share <= clipped_limit.warn)
            continue;
        quell_severity severity = ingest_above(share, clipped_limit);
        quell_status status = quell_findings_add(
            &recording->findings, arena, "clipping", severity, share,
            ingest_limit_passed(clipped_limit, severity), "set the sensor to a larger range, or shake less",
            "%.2g %% of the samples on %s are clipped", 100 * share, recording->axis_name[k]);
        if (status != QUELL_OK)
            return status;
    }
    return QUELL_OK;
}

quell_status ingest_judge_dead_axes(const ingest_judging *j)
{
    quell_recording *recording = j->recording;
    quell_arena *arena = j->arena;
    size_t dead = 0;
    for (size_t k = 0; k < recording->axes; k++)
        dead += !(recording->step_mps2[k] > 0);
    for (size_t k = 0; k < recording->axes; k++) {
        if (recording->step_mps2[k] > 0)
            continue;
        bool fatal = dead == recording->axes || (int)k == j->driven;
        quell_status status =
            quell_findings_add(&recording->findings, arena, "dead-axis", fatal ? QUELL_REFUSE : QUELL_WARN,
                               (double)k, NAN, "check the sensor, its wiring and the columns",
                               "%s never changes: the axis is dead", recording->axis_name[k]);
        if (status != QUELL_OK)
            return status;
    }
    return QUELL_OK;
}

/* The longest run of one value on an axis while the machine moves: its length, and where it ends. */
static size_t longest_run(const ingest_judging *j, size_t axis, const digest_window **at)
{
    size_t longest = 0;
    for (size_t s = 0; s < j->activity->count; s++) {
        const ingest_stretch *stretch = &j->activity->stretch[s];
        if (!ingest_is_excitation(stretch->kind))
            continue;
        for (size_t w = stretch->window[0]; w < stretch->window[1]; w++) {
            const digest_window *window = &j->recording->digest->window[w];
            size_t within =
                window->first + window->count - stretch->from; /* one from before is at rest there */
            size_t run = window->run[axis] < within ? window->run[axis] : within;
            if (run > longest) {
                longest = run;
                *at = window;
            }
        }
    }
    return longest;
}

/* Runs are told in whole steps: what sticks out at the ends is a step on average. */
quell_status ingest_judge_stuck_axes(const ingest_judging *j)
{
    quell_recording *recording = j->recording;
    const struct ingest_digest *digest = recording->digest;
    quell_status status = QUELL_OK;
    for (size_t k = 0; k < recording->axes && status == QUELL_OK; k++) {
        const digest_window *at = NULL;
        size_t longest = longest_run(j, k, &at);
        double stuck_s = (double)(longest > 0 ? longest + digest->step : 0) / digest->rate_hz;
        if (recording->step_mps2[k] > 0 && stuck_s > STUCK_S)
            status =
                quell_findings_add(&recording->findings, j->arena, "stuck-axis", QUELL_WARN, stuck_s, STUCK_S,
                                   "check the sensor and its wiring, or use --span",
                                   "%s is stuck for %.2g s near %.3g s", recording->axis_name[k], stuck_s,
                                   recording->offset_s + fmax(digest_end_s(digest, at) - stuck_s, 0));
    }
    return status;
}

quell_status ingest_judge_gravity(const ingest_judging *j)
{
    quell_recording *recording = j->recording;
    quell_arena *arena = j->arena;
    const double *mean = j->fitness->mean_mps2;
    double length = sqrt(ingest_dot(mean, mean)), off = length / QUELL_STANDARD_GRAVITY_MPS2 - 1;
    if (recording->axes < 3 || !j->activity->has_rest || length < INGEST_GRAVITY_LEAST_MPS2 ||
        fabs(off) <= GRAVITY_OFF)
        return QUELL_OK;
    return quell_findings_add(
        &recording->findings, arena, "gravity", QUELL_WARN, off, GRAVITY_OFF,
        "check the unit, or calibrate the sensor by turning it over",
        "at rest it reads %.2f m/s2, %+.0f %% from gravity: amplitudes may be as far off", length, 100 * off);
}

/* Whatever is driven moves with the slow strokes of a preamble; a part that only shakes is another one. */
quell_status ingest_judge_part(const ingest_judging *j)
{
    if (!j->activity->shakes)
        return QUELL_OK;
    return quell_findings_add(
        &j->recording->findings, j->arena, "wrong-part", QUELL_WARN, j->activity->shaken_share,
        INGEST_SHAKEN_SHARE,
        "fix the sensor to what the strokes move: on many machines the tool head for x, the table for y",
        "the strokes before the excitation shake the sensor but do not carry it: %.0f %% of their energy "
        "lies below "
        "10 Hz, want %.0f %% or more",
        100 * j->activity->shaken_share, 100 * INGEST_SHAKEN_SHARE);
}
