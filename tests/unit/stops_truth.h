/* Recordings of strokes with stops with known modes, and what truly rings where each commanded motion ends, for the test and the
   study of ringing after stops. The truth comes from the closed form of the events (quell_ringing_amplitude), which does not
   pass through samples. */
#ifndef QUELL_TESTS_STOPS_TRUTH_H
#define QUELL_TESTS_STOPS_TRUTH_H

#include "quell/compare.h"
#include "quell/predict.h"
#include "quell/simulate.h"

#include <math.h>
#include <stdlib.h>

typedef struct stops_truth {
    size_t stops;
    double mean_power_m2; /* mean over the stops of the squared amplitudes of all modes */
    double mode_power_m2[QUELL_MODES_MAX];
} stops_truth;

/* A recording as read, mounted and judged; all in the arena. */
typedef struct stops_record {
    quell_recording recording;
    quell_mounting mounting;
    quell_fitness fitness;
    stops_truth truth;
} stops_record;

static inline quell_simulation stops_setup(uint64_t seed)
{
    return (quell_simulation){.modes = 1,
                              .mode = {{47.3, 0.046, {1, 0.05, 0}}, {83.5, 0.028, {0.22, 0, 0.03}}},
                              .axis = 'x',
                              .excitation = QUELL_EXCITE_STOPS,
                              .preamble = {.rest_s = 2, .speed_mps = 0.1, .acceleration_mps2 = 1},
                              .seconds = 10,
                              .stroke_m = 0.06,
                              .speed_mps = 0.15,
                              .acceleration_mps2 = 6,
                              .dwell_s = 0.6,
                              .rate_hz = 2000,
                              .noise_mps2_per_rthz = 120e-6 * QUELL_STANDARD_GRAVITY_MPS2,
                              .step_mps2 = 0.004 * QUELL_STANDARD_GRAVITY_MPS2,
                              .seed = seed};
}

static inline stops_truth stops_find_truth(const quell_simulation *setup)
{
    stops_truth out = {0};
    quell_motion_list list = {0};
    double shaper_s = setup->shaper != NULL ? setup->shaper->time_s[setup->shaper->count - 1] : 0,
           length = setup->stroke_m;
    quell_motion_add_preamble(&list, &setup->preamble, NULL);
    double start_s = list.end_s;
    for (bool back = false; back || list.end_s - start_s < setup->seconds; back = !back) {
        quell_motion_add_stroke(&list, length, setup->speed_mps, setup->acceleration_mps2, NULL);
        quell_motion motion = quell_motion_view(&list);
        for (size_t k = 0; k < setup->modes; k++) {
            quell_mode mode = {.frequency_hz = setup->mode[k].frequency_hz,
                               .damping_ratio = setup->mode[k].damping_ratio,
                               .participation = setup->mode[k].participation[0]};
            double a = quell_ringing_amplitude(&mode, &motion, setup->shaper, list.end_s + shaper_s);
            out.mode_power_m2[k] += a * a;
        }
        out.stops++;
        quell_motion_add_rest(&list, setup->dwell_s);
        length = -length;
    }
    quell_motion_list_free(&list);
    for (size_t k = 0; k < setup->modes; k++) {
        out.mode_power_m2[k] /= (double)out.stops;
        out.mean_power_m2 += out.mode_power_m2[k];
    }
    return out;
}

/* Makes the recording; ambient_mps2: rms of the white acceleration that shakes the modes' bases besides (0: none). Aborts where
   it cannot. */
static inline void stops_record_make(stops_record *out, const quell_simulation *setup, double ambient_mps2,
                                     quell_arena *arena)
{
    quell_simulated made, beside;
    if (quell_simulate(setup, arena, &made, NULL) != QUELL_OK)
        abort();
    if (ambient_mps2 > 0) {
        quell_simulation ambient = *setup;
        ambient.excitation = QUELL_EXCITE_AMBIENT;
        ambient.seconds = ((double)made.count + 2) / made.rate_hz;
        ambient.noise_mps2_per_rthz = ambient.step_mps2 = 0;
        ambient.lines = 0;
        ambient.oversample = 4;
        ambient.random_rms_mps2 = ambient_mps2;
        ambient.shaper = NULL;
        ambient.seed += 1000000;
        if (quell_simulate(&ambient, arena, &beside, NULL) != QUELL_OK)
            abort();
    }
    *out = (stops_record){.recording = {.file = "made",
                                        .format = "made",
                                        .unit = "m/s2",
                                        .axes = 3,
                                        .samples = made.count,
                                        .rate_hz = made.rate_hz,
                                        .rate_ci95_hz = {made.rate_hz, made.rate_hz},
                                        .has_time = true}};
    for (size_t k = 0; k < 3; k++) {
        out->recording.accel_mps2[k] = made.accel_mps2[k];
        out->recording.scale_mps2[k] = 1;
        out->recording.axis_name[k] = "a";
        out->recording.step_mps2[k] = out->recording.resolution_mps2[k] = setup->step_mps2;
        for (size_t i = 0; ambient_mps2 > 0 && i < made.count; i++)
            made.accel_mps2[k][i] += beside.accel_mps2[k][i] - (k == 2 ? QUELL_STANDARD_GRAVITY_MPS2 : 0);
    }
    if (quell_recording_judge(&out->fitness, &out->recording, 0, arena, NULL) != QUELL_OK)
        abort();
    out->truth = stops_find_truth(setup);
}

static inline quell_side stops_side_of(const stops_record *record)
{
    return (quell_side){&record->recording, &record->mounting, &record->fitness};
}

#endif
