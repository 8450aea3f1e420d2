/* Is a recording fit? Its length, and what that gives. */
#include "ingest/fitness_private.h"

#include <math.h>

#define WANTED_SHARE 0.05 /* half the 95 % interval of a damping ratio, of it */

static const ingest_limits length_limit_s = {10, 2};

/* One standard error of a damping ratio is about zeta / sqrt(2 pi zeta f T) (Crandall and Mark's bandwidth argument);
   1.96 of them, relative to it. */
static double damping_share(double hz, double seconds)
{
    return 1.96 / sqrt(QUELL_TAU * INGEST_USUAL_DAMPING * hz * seconds);
}

void ingest_precision_tell(quell_fitness *out, const quell_recording *recording,
                           const ingest_activity *activity)
{
    out->motion_s = 0;
    for (size_t s = 0; s < activity->count; s++)
        if (ingest_is_excitation(activity->stretch[s].kind))
            out->motion_s += digest_seconds(recording->digest, activity->stretch[s].window[0],
                                            activity->stretch[s].window[1]);
    bool known = isfinite(out->dominant_hz) && out->motion_s > 0;
    double one_second = damping_share(out->dominant_hz, 1);
    out->damping_ci95_share = known ? damping_share(out->dominant_hz, out->motion_s) : (double)NAN;
    out->wanted_s = known ? one_second * one_second / (WANTED_SHARE * WANTED_SHARE) : (double)NAN;
}

quell_status ingest_judge_length(const ingest_judging *j)
{
    quell_recording *recording = j->recording;
    const quell_fitness *fitness = j->fitness;
    double usable_s = ingest_digest_breaks(recording->digest).usable_s;
    if (usable_s >= 0.99 * length_limit_s.warn) /* ten seconds less one sample will do */
        return QUELL_OK;
    quell_severity severity = usable_s < length_limit_s.refuse ? QUELL_REFUSE : QUELL_WARN;
    const char *remedy = "record 30 s at least";
    if (isfinite(fitness->wanted_s))
        remedy = quell_arena_print(
            j->arena,
            "record at least %.0f s like this for a 95 %% interval of +-%.0f %% on a damping ratio of "
            "%.2g at %.0f Hz (optimistic by up to a third)",
            fitness->wanted_s, 100 * WANTED_SHARE, INGEST_USUAL_DAMPING, fitness->dominant_hz);
    if (remedy == NULL)
        return QUELL_E_MEMORY;
    bool broken = usable_s < 0.9 * fitness->duration_s;
    double limit = ingest_limit_passed(length_limit_s, severity);
    return quell_findings_add(&recording->findings, j->arena, "short", severity, usable_s, limit, remedy,
                              "%.3g s%s is too short, want %.0f s or more", usable_s,
                              broken ? " in stretches without gaps" : "", limit);
}
