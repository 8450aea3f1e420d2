/* Simulated recordings with a shaper off and on, for the suite and the study of the identification. */
#ifndef QUELL_TESTS_IDENTIFY_TRUTH_H
#define QUELL_TESTS_IDENTIFY_TRUTH_H

#include "quell/quell.h"

/* A family of the machine file's own: a ZV and a ZVD in one, as in the design's example of a machine file. */
static inline quell_machine identify_own_machine(void)
{
    quell_machine out;
    quell_machine_unknown(&out);
    out.own_count = 1;
    out.own[0] = (quell_own_family){.id = "twin", .count = 3, .time_periods = {0, 0.4, 0.9}};
    out.own[0].coefficient[0][0] = 1;
    out.own[0].coefficient[1][1] = 1.6;
    out.own[0].coefficient[2][2] = 1.2;
    return out;
}

/* A machine and how it is shaken and recorded. */
static inline quell_simulation identify_setup(quell_excitation kind, double rate_hz)
{
    quell_simulation out = {.modes = 2,
                            .mode = {{47.3, 0.046, {1, 0.1, 0}}, {83.5, 0.028, {0.22, 0, 0}}},
                            .axis = 'x',
                            .excitation = kind,
                            .sweep = {12, 115, 2.5, 4},
                            .random_rms_mps2 = 3,
                            .seconds = 30,
                            .preamble = {3, 0, 0, 0, 0, 0},
                            .stroke_m = 0.06,
                            .speed_mps = 0.2,
                            .acceleration_mps2 = 4,
                            .dwell_s = 0.5,
                            .rate_hz = rate_hz,
                            .noise_mps2_per_rthz = 120e-6 * QUELL_STANDARD_GRAVITY_MPS2,
                            .step_mps2 = 0.004 * QUELL_STANDARD_GRAVITY_MPS2};
    return out;
}

/* A side of one recording, judged; false if it cannot be made. */
static inline bool identify_record(const quell_simulation *setup, quell_arena *arena, quell_side *out, quell_error *err)
{
    quell_simulated made;
    quell_recording *recording = QUELL_NEW(arena, quell_recording, 1);
    quell_mounting *mounting = QUELL_NEW(arena, quell_mounting, 1);
    quell_fitness *fitness = QUELL_NEW(arena, quell_fitness, 1);
    if (recording == NULL || mounting == NULL || fitness == NULL || quell_simulate(setup, arena, &made, err) != QUELL_OK)
        return false;
    *recording = (quell_recording){
        .file = "simulated", .axes = 3, .samples = made.count, .rate_hz = made.rate_hz, .scale_mps2 = {1, 1, 1}};
    for (size_t k = 0; k < 3; k++)
        recording->accel_mps2[k] = made.accel_mps2[k];
    if (quell_recording_judge(fitness, recording, setup->axis - 'x', arena, err) != QUELL_OK)
        return false;
    *out = (quell_side){recording, mounting, fitness};
    return true;
}

#endif
