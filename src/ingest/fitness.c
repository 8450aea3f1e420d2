/* Is a recording fit to analyse? The thresholds, and the verdict with its reason and its remedy. */
#include "ingest/digest_private.h"

#include <math.h>
#include <string.h>

/* A value against its two limits; a finding when it passes the first. */
typedef struct limits {
    double warn, refuse;
} limits;

/* What is judged. */
typedef struct judging {
    quell_fitness *fitness;
    quell_recording *recording;
    const ingest_activity *activity;
    int driven;
    quell_arena *arena;
} judging;

static const limits jitter_limit = {0.10, 0.25};
static const limits lost_limit = {0.01, 0.10};
static const limits clipped_limit = {0, 0.01};
static const limits length_limit_s = {10, 2};

#define STUCK_S 0.25     /* an axis that does not change for so long while the machine moves */
#define GRAVITY_OFF 0.05 /* of the static mean against standard gravity */

static quell_severity above(double value, limits limit)
{
    return value > limit.refuse ? QUELL_REFUSE : value > limit.warn ? QUELL_WARN : QUELL_NOTE;
}

static double chosen(limits limit, quell_severity severity)
{
    return severity == QUELL_REFUSE ? limit.refuse : limit.warn;
}

static quell_status judge_jitter(const judging *j)
{
    quell_recording *recording = j->recording;
    quell_arena *arena = j->arena;
    double jitter = recording->jitter_fraction;
    quell_severity severity = above(jitter, jitter_limit);
    if (severity == QUELL_NOTE || recording->coarse_stamps) /* coarse stamps have a finding of their own */
        return QUELL_OK;
    return quell_findings_add(
        &recording->findings, arena, "jitter", severity, jitter, chosen(jitter_limit, severity),
        "let the sensor's own data-ready signal time the samples, or log from its buffer",
        "the stamps jitter by %.0f %% of a sample", 100 * jitter);
}

static quell_status judge_losses(const judging *j)
{
    quell_recording *recording = j->recording;
    quell_arena *arena = j->arena;
    if (recording->lost_samples == 0)
        return QUELL_OK;
    double lost = (double)recording->lost_samples,
           read = (double)(recording->samples - recording->filled_samples);
    double share = lost / (lost + read);
    quell_severity severity = above(share, lost_limit);
    quell_status status = quell_findings_add(
        &recording->findings, arena, "gaps", severity, share, chosen(lost_limit, severity),
        severity == QUELL_NOTE ? "" : "log at a lower rate, to faster storage, or over a shorter cable",
        "%zu samples are lost (%.2g %%) in %zu place%s; %zu filled", recording->lost_samples, 100 * share,
        recording->gaps, recording->gaps == 1 ? "" : "s", recording->filled_samples);
    ingest_breaks breaks = ingest_digest_breaks(recording->digest);
    if (status != QUELL_OK || breaks.count == 0)
        return status;
    return quell_findings_add(&recording->findings, arena, "breaks", QUELL_NOTE, (double)breaks.count, NAN,
                              "",
                              "%zu gap%s too long to fill, the longest %.4g s: nothing is computed across",
                              breaks.count, breaks.count == 1 ? " is" : "s are", breaks.longest_s);
}

static quell_status judge_clipping(const judging *j)
{
    quell_recording *recording = j->recording;
    quell_arena *arena = j->arena;
    for (size_t k = 0; k < recording->axes; k++) {
        double share = recording->clipped_fraction[k];
        if (share <= clipped_limit.warn)
            continue;
        quell_severity severity = above(share, clipped_limit);
        quell_status status = quell_findings_add(
            &recording->findings, arena, "clipping", severity, share, chosen(clipped_limit, severity),
            "set the sensor to a larger range, or shake less", "%.2g %% of the samples on %s are clipped",
            100 * share, recording->axis_name[k]);
        if (status != QUELL_OK)
            return status;
    }
    return QUELL_OK;
}

/* One standard error of a damping ratio is about zeta / sqrt(2 pi zeta f T) (Crandall and Mark's bandwidth
   argument; the design's rule): the length for which 1.96 of them are 5 %. */
static double length_wanted_s(double hz)
{
    const double zeta = 0.05, share = 0.05;
    return (1.96 / share) * (1.96 / share) / (QUELL_TAU * zeta * hz);
}

static quell_status judge_length(const judging *j)
{
    quell_recording *recording = j->recording;
    quell_arena *arena = j->arena;
    double usable_s = ingest_digest_breaks(recording->digest).usable_s;
    if (usable_s >= 0.99 * length_limit_s.warn) /* ten seconds less one sample will do */
        return QUELL_OK;
    quell_severity severity = usable_s < length_limit_s.refuse ? QUELL_REFUSE : QUELL_WARN;
    const char *remedy = "record 30 s at least";
    if (isfinite(j->fitness->dominant_hz))
        remedy = quell_arena_print(
            arena,
            "record at least %.0f s like this for a 95 %% interval of +-5 %% on a damping ratio of "
            "0.05 at %.0f Hz (optimistic by up to a third)",
            length_wanted_s(j->fitness->dominant_hz), j->fitness->dominant_hz);
    if (remedy == NULL)
        return QUELL_E_MEMORY;
    bool broken = usable_s < 0.9 * j->fitness->duration_s;
    return quell_findings_add(&recording->findings, arena, "short", severity, usable_s,
                              chosen(length_limit_s, severity), remedy,
                              "%.3g s%s is too short, want %.0f s or more", usable_s,
                              broken ? " in stretches without gaps" : "", chosen(length_limit_s, severity));
}

static quell_status judge_dead_axes(const judging *j)
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
static size_t longest_run(const judging *j, size_t axis, const digest_window **at)
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
static quell_status judge_stuck_axes(const judging *j)
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

static quell_status judge_gravity(const judging *j)
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
static quell_status judge_part(const judging *j)
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

static void copy_segments(quell_fitness *out, const quell_recording *recording,
                          const ingest_activity *activity)
{
    const struct ingest_digest *digest = recording->digest;
    for (size_t s = 0; s < activity->count; s++) {
        const ingest_stretch *stretch = &activity->stretch[s];
        out->segment[out->segments++] = (quell_segment){
            stretch->kind, recording->offset_s + digest_start_s(digest, &digest->window[stretch->window[0]]),
            recording->offset_s + digest_end_s(digest, &digest->window[stretch->window[1] - 1])};
    }
}

/* The verdict is the worst finding's; its reason the first of these, what is wrong with the data before what is not
   known about the mounting. */
static void conclude(quell_fitness *out, const quell_findings *findings)
{
    static const char *const verdicts[] = {
        [QUELL_NOTE] = "fit", [QUELL_WARN] = "care", [QUELL_REFUSE] = "unfit"};
    const quell_finding *reason = NULL;
    quell_severity worst = QUELL_NOTE;
    for (size_t i = 0; i < findings->count; i++) {
        const quell_finding *item = &findings->item[i];
        bool instead = reason != NULL && item->severity == worst && strcmp(reason->kind, "mounting") == 0 &&
                       strcmp(item->kind, "mounting") != 0;
        if (item->severity > worst || instead) {
            worst = item->severity;
            reason = item;
        }
    }
    out->verdict = verdicts[worst];
    out->reason = reason != NULL ? reason->text : "";
    out->remedy = reason != NULL ? reason->remedy : "";
}

quell_status quell_recording_judge(quell_fitness *out, quell_recording *recording, int driven,
                                   quell_arena *arena, quell_error *err)
{
    static quell_status (*const judges[])(const judging *) = {
        judge_dead_axes,  judge_losses,  judge_jitter, judge_clipping,
        judge_stuck_axes, judge_gravity, judge_part,   judge_length,
    };
    ingest_activity activity;
    ingest_quality quality;
    quell_fitness found = {
        .duration_s = (double)(recording->samples + recording->lost_samples - recording->filled_samples) /
                      recording->rate_hz};
    quell_status status = ingest_activity_find(&activity, recording, arena, err);
    if (status == QUELL_OK)
        status = ingest_quality_judge(&quality, recording, &activity, arena, err);
    if (status != QUELL_OK)
        return status;
    memcpy(found.mean_mps2, activity.mean_mps2, sizeof found.mean_mps2);
    memcpy(found.noise_mps2_per_rthz, quality.noise_mps2_per_rthz, sizeof found.noise_mps2_per_rthz);
    found.dominant_hz = quality.dominant_hz;
    judging all = {&found, recording, &activity, driven, arena};
    for (size_t i = 0; i < INGEST_COUNT(judges) && status == QUELL_OK; i++)
        status = judges[i](&all);
    if (status != QUELL_OK)
        return quell_fail(err, status, "out of memory for judging");
    copy_segments(&found, recording, &activity);
    conclude(&found, &recording->findings);
    *out = found;
    return QUELL_OK;
}
