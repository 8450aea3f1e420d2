/* What the judges of a recording share: each looks at one thing and adds a finding when a limit is passed. */
#ifndef QUELL_INGEST_FITNESS_PRIVATE_H
#define QUELL_INGEST_FITNESS_PRIVATE_H

#include "ingest/digest_private.h"

/* A value against its two limits; a finding when it passes the first. */
typedef struct ingest_limits {
    double warn, refuse;
} ingest_limits;

/* What is judged. */
typedef struct ingest_judging {
    quell_fitness *fitness; /* as far as it is known: what was measured, not yet the verdict */
    quell_recording *recording;
    const ingest_activity *activity;
    int driven;
    quell_arena *arena;
} ingest_judging;

typedef quell_status ingest_judge(const ingest_judging *j);

/* fitness.c */
quell_severity ingest_above(double value, ingest_limits limit);
double ingest_limit_passed(ingest_limits limit, quell_severity severity);

/* fitness_clock.c, fitness_sensor.c, fitness_length.c */
ingest_judge ingest_judge_jitter, ingest_judge_losses, ingest_judge_unlocated, ingest_judge_sampling;
ingest_judge ingest_judge_dead_axes, ingest_judge_clipping, ingest_judge_stuck_axes, ingest_judge_gravity,
    ingest_judge_part;
ingest_judge ingest_judge_length;

/* What the motion recorded gives: fills in motion_s, damping_ci95_share and wanted_s. */
void ingest_precision_tell(quell_fitness *out, const quell_recording *recording,
                           const ingest_activity *activity);

/* A damping ratio for which lengths and shifts are told before any is known. */
#define INGEST_USUAL_DAMPING 0.05

#endif
