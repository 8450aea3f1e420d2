/* Is a recording fit? The clock: jitter, samples lost where it is seen and where it is not, motion too fast for the
   rate. */
#include "ingest/fitness_private.h"

#include <math.h>

static const ingest_limits jitter_limit = {0.10, 0.25};
static const ingest_limits lost_limit = {0.01, 0.10};
static const ingest_limits shift_limit = {0.02, 0.10};    /* of a damping ratio */
static const ingest_limits sampling_limit = {0.20, 0.40}; /* frequency by rate */

quell_status ingest_judge_jitter(const ingest_judging *j)
{
    quell_recording *recording = j->recording;
    quell_arena *arena = j->arena;
    double jitter = recording->jitter_fraction;
    quell_severity severity = ingest_above(jitter, jitter_limit);
    if (severity == QUELL_REFUSE && recording->has_counter)
        severity = QUELL_WARN;                              /* the counter settles each sample's place */
    if (severity == QUELL_NOTE || recording->coarse_stamps) /* coarse stamps have a finding of their own */
        return QUELL_OK;
    return quell_findings_add(
        &recording->findings, arena, "jitter", severity, jitter, ingest_limit_passed(jitter_limit, severity),
        "let the sensor's own data-ready signal time the samples, or log from its buffer",
        "the stamps jitter by %.0f %% of a sample", 100 * jitter);
}

/* What the lost samples would do to the largest motion had they been closed up: why it matters that their places are
   known. "" where nothing moves. NULL: out of memory. */
static const char *effect_of_closing_up(const ingest_judging *j, double share)
{
    const quell_recording *recording = j->recording;
    double hz = j->fitness->dominant_hz, run = (double)recording->lost_samples / (double)recording->gaps;
    if (!isfinite(hz))
        return "";
    quell_clock_shift shift = quell_clock_shift_predict(share, run, hz, recording->rate_hz);
    if (!isfinite(shift.damping_ratio)) /* more were lost than the law holds for */
        return "";
    return quell_arena_print(
        j->arena,
        "; closed up, they would move motion at %.0f Hz by %+.2g %% and its damping ratio "
        "by %+.5f",
        hz, 100 * shift.frequency_nominal, shift.damping_ratio);
}

quell_status ingest_judge_losses(const ingest_judging *j)
{
    quell_recording *recording = j->recording;
    quell_arena *arena = j->arena;
    if (recording->lost_samples == 0)
        return QUELL_OK;
    double lost = (double)recording->lost_samples,
           read = (double)(recording->samples - recording->filled_samples);
    double share = lost / (lost + read);
    quell_severity severity = ingest_above(share, lost_limit);
    const char *effect = effect_of_closing_up(j, share);
    if (effect == NULL)
        return QUELL_E_MEMORY;
    quell_status status = quell_findings_add(
        &recording->findings, arena, "gaps", severity, share, ingest_limit_passed(lost_limit, severity),
        severity == QUELL_NOTE ? "" : "log at a lower rate, to faster storage, or over a shorter cable",
        "%zu samples are lost (%.2g %%) in %zu place%s; %zu filled%s", recording->lost_samples, 100 * share,
        recording->gaps, recording->gaps == 1 ? "" : "s", recording->filled_samples, effect);
    ingest_breaks breaks = ingest_digest_breaks(recording->digest);
    if (status != QUELL_OK || breaks.count == 0)
        return status;
    return quell_findings_add(&recording->findings, arena, "breaks", QUELL_NOTE, (double)breaks.count, NAN,
                              "",
                              "%zu gap%s too long to fill, the longest %.4g s: nothing is computed across",
                              breaks.count, breaks.count == 1 ? " is" : "s are", breaks.longest_s);
}

/* Rows fewer than the stated rate would have, where stamps are too coarse to show single losses: closed up, they would
   blur the motion. */
quell_status ingest_judge_unlocated(const ingest_judging *j)
{
    quell_recording *recording = j->recording;
    double hz = j->fitness->dominant_hz, lost = 1 - recording->rate_hz / recording->nominal_rate_hz;
    bool seen = !recording->coarse_stamps || recording->has_counter;
    if (seen || !(recording->nominal_rate_hz > 0 && lost > 0) || !isfinite(hz))
        return QUELL_OK;
    double shift = quell_clock_shift_predict(lost, 0, hz, recording->nominal_rate_hz).damping_ratio;
    double share = shift / INGEST_USUAL_DAMPING;
    quell_severity severity = ingest_above(share, shift_limit);
    if (!(share > shift_limit.warn))
        return QUELL_OK;
    return quell_findings_add(&recording->findings, j->arena, "unlocated", severity, share,
                              ingest_limit_passed(shift_limit, severity),
                              "let the logger write time in microseconds or count its samples",
                              "the stamps do not show where samples are lost, and there are %.2g %% fewer "
                              "than the stated rate gives: lost "
                              "ones would raise a damping ratio of %.2g at %.0f Hz by %.3f",
                              100 * lost, INGEST_USUAL_DAMPING, hz, shift);
}

/* The motion that is largest against the rate. */
quell_status ingest_judge_sampling(const ingest_judging *j)
{
    quell_recording *recording = j->recording;
    double hz = j->fitness->dominant_hz, ratio = hz / recording->rate_hz;
    quell_severity severity = ingest_above(ratio, sampling_limit);
    if (!isfinite(hz) || severity == QUELL_NOTE)
        return QUELL_OK;
    const char *remedy = quell_arena_print(j->arena, "record at %.0f samples a second or more", 5 * hz);
    if (remedy == NULL)
        return QUELL_E_MEMORY;
    return quell_findings_add(
        &recording->findings, j->arena, "sampling", severity, ratio,
        ingest_limit_passed(sampling_limit, severity), remedy,
        "most motion is near %.0f Hz, which %.0f samples a second show with %.1f samples a cycle, "
        "want %.2g or more",
        hz, recording->rate_hz, 1 / ratio, 1 / ingest_limit_passed(sampling_limit, severity));
}
