/* Is a recording fit to analyse? The verdict, with its reason and its remedy. */
#include "ingest/fitness_private.h"

#include <math.h>
#include <string.h>

quell_severity ingest_above(double value, ingest_limits limit)
{
    return value > limit.refuse ? QUELL_REFUSE : value > limit.warn ? QUELL_WARN : QUELL_NOTE;
}

double ingest_limit_passed(ingest_limits limit, quell_severity severity)
{
    return severity == QUELL_REFUSE ? limit.refuse : limit.warn;
}

static void copy_segments(quell_fitness *out, const quell_recording *recording,
                          const ingest_activity *activity)
{
    const struct ingest_digest *digest = recording->digest;
    for (size_t s = 0; s < activity->count; s++) {
        const ingest_stretch *stretch = &activity->stretch[s];
        out->segment[out->segments++] = (quell_segment){
            stretch->kind, recording->offset_s + digest_start_s(digest, &digest->window[stretch->window[0]]),
            recording->offset_s + digest_end_s(digest, &digest->window[stretch->window[1] - 1]),
            stretch->trend};
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
    static ingest_judge *const judges[] = {
        ingest_judge_dead_axes, ingest_judge_losses,   ingest_judge_unlocated,  ingest_judge_jitter,
        ingest_judge_sampling,  ingest_judge_clipping, ingest_judge_stuck_axes, ingest_judge_gravity,
        ingest_judge_part,      ingest_judge_length,
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
    ingest_precision_tell(&found, recording, &activity);
    ingest_judging all = {&found, recording, &activity, driven, arena};
    for (size_t i = 0; i < INGEST_COUNT(judges) && status == QUELL_OK; i++)
        status = judges[i](&all);
    if (status != QUELL_OK)
        return quell_fail(err, status, "out of memory for judging");
    copy_segments(&found, recording, &activity);
    conclude(&found, &recording->findings);
    *out = found;
    return QUELL_OK;
}
