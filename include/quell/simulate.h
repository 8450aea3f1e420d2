/** \file simulate.h — a synthetic recording of a machine with known modes: for demonstration, tests and studies.

    Each mode obeys q'' + 2 z w q' + w^2 q = -a(t), a the commanded acceleration (through the shaper in effect); the
    sensor sees a(t) on the driven axis plus participation * q'' on each axis, so that one mode of participation 1 has
    the response H = 1 + r^2 / (1 - r^2 + 2 j z r) of modes.h. Nothing is integrated by steps: the command is a list
    of events with constant jerk between them, and the response to each is known in closed form. A sample is the mean
    acceleration over its interval, as behind an averaging anti-alias filter; its true time is the interval's middle. */
#ifndef QUELL_SIMULATE_H
#define QUELL_SIMULATE_H

#include "quell/base.h"
#include "quell/ingest.h"
#include "quell/motion.h"
#include "quell/shaping.h"

typedef struct quell_simulated_mode {
    double frequency_hz, damping_ratio; /**< above 0 to 1e6; 0 to 0.99 */
    double participation
        [3]; /**< -1000 to 1000: ringing acceleration on each machine axis per driven acceleration */
} quell_simulated_mode;

/** A tone that a fan or motor leaves in the recording. */
typedef struct quell_line {
    double frequency_hz, amplitude_mps2;
    double direction[3];
} quell_line;

/** The motion of a test, from its plan. */
typedef struct quell_planned_motion {
    quell_excitation kind;
    const quell_path *path;
    double start_s, end_s; /**< of the excitation */
    quell_motion_list list; /**< as a planner of constant acceleration runs the moves; free with quell_motion_list_free */
} quell_planned_motion;

/** Reads the moves of a plan that `quell excite` wrote, the JSON object quell.excite/1: hostile like any file. QUELL_OK;
    QUELL_E_DATA naming the file, the key, what was found and wanted: over 1 MiB, no JSON, a key missing, of a wrong type or out of
    range, lists of different lengths or of more than QUELL_MOVES_MAX moves; QUELL_E_IO; QUELL_E_MEMORY. out untouched on
    failure. */
quell_status quell_planned_motion_read(quell_planned_motion *out, const quell_source *source, quell_error *err);

typedef struct quell_simulation {
    size_t modes;
    quell_simulated_mode mode[8];
    char axis; /**< driven: 'x' or 'y' */
    quell_excitation excitation; /**< after the preamble; random: white acceleration commanded. Ambient has no preamble:
                              every mode's base is shaken by white acceleration of its own, and the sensor sees
                              participation * (base + q''): the incoherent model */
    quell_sweep sweep;
    double
        random_rms_mps2; /**< random and ambient: level of the white acceleration, rms in 0..rate/2: its one-sided
                                 density is random_rms^2 / (rate / 2) at frequencies far below rate / 2 */
    double seconds; /**< of random, stops or ambient excitation (a sweep has its own length; stops go on until
                                 this is used up and the axis is back) */
    quell_preamble preamble;
    double stroke_m, speed_mps, acceleration_mps2, dwell_s; /**< of stops */
    double rotation_rad[3]; /**< -100 to 100 each: sensor = Rz(r2) Ry(r1) Rx(r0) applied to machine axes */
    double rate_hz;         /**< nominal, 1 to 1e7 */
    double clock_error;     /**< relative, -0.5 to 0.5: true rate = rate * (1 + clock_error) */
    double jitter;          /**< 0 to 0.5: standard deviation of the stamps in sample intervals */
    double lost;            /**< 0 to 0.9: probability of losing a sample */
    double noise_mps2_per_rthz; /**< white sensor noise, sqrt of one-sided density */
    double step_mps2;           /**< quantisation; 0: none */
    double clip_mps2;           /**< sensor range; 0: none */
    size_t lines;
    quell_line line[4];
    const struct quell_planned_motion *motion; /**< what is commanded, instead of the preamble and the excitation; NULL: none.
                                                    axis is then the one that its path is seen on */
    const quell_shaper *shaper; /**< in effect on the driven axis; NULL: none */
    size_t
        oversample; /**< 0 to 64, of random and ambient: random values per sample, 0 meaning 1; acceleration runs
                                     straight from each to the next (first-order hold). Above 1, what lies
                                     beyond half the rate folds back as the sensor's mean lets it: by f / (rate - f)
                                     in amplitude. Other motion is exact */
    uint64_t seed; /**< noise, jitter, losses and excitation each have a generator of their own */
} quell_simulation;

/** A made recording: count rows of stamp and three sensor axes; lost rows are absent. Lives in the arena. */
typedef struct quell_simulated {
    size_t count;   /**< rows kept */
    size_t lost;    /**< rows lost */
    double *time_s; /**< true seconds plus jitter; never falling */
    double *accel_mps2[3];
    double start_s; /**< start of the excitation, after the preamble, in true seconds */
    double end_s;   /**< its end as commanded; a second of rest is recorded after commanded motion */
    double rate_hz; /**< true rate */
} quell_simulated;

/** The matrix of a rotation: sensor = out * machine, out = Rz(r2) Ry(r1) Rx(r0), right-handed. */
void quell_simulated_rotation(const double rotation_rad[3], double out[3][3]);

/** Runs the simulation. QUELL_OK; QUELL_E_USAGE naming the value out of range; QUELL_E_MEMORY (more than 1e8
    samples). out untouched on failure. The same seed gives the same numbers. */
quell_status quell_simulate(const quell_simulation *setup, quell_arena *arena, quell_simulated *out,
                            quell_error *err);

#endif
