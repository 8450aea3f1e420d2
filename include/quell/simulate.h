/** \file simulate.h — a synthetic recording of a machine with known modes: for demonstration, tests and studies. */
#ifndef QUELL_SIMULATE_H
#define QUELL_SIMULATE_H

#include "quell/base.h"
#include "quell/motion.h"
#include "quell/shaping.h"

typedef struct quell_simulated_mode {
    double frequency_hz, damping_ratio;
    double participation[3]; /**< ringing acceleration on each machine axis per driven acceleration */
} quell_simulated_mode;

typedef enum quell_excitation {
    QUELL_EXCITE_SWEEP,  /**< linear sweep of strokes, after the preamble */
    QUELL_EXCITE_RANDOM, /**< band-limited white acceleration commanded, after the preamble */
    QUELL_EXCITE_STOPS,  /**< strokes at speed with dwells, after the preamble */
    QUELL_EXCITE_AMBIENT /**< no motion commanded: white force on every mode */
} quell_excitation;

/** A tone that a fan or motor leaves in the recording. */
typedef struct quell_line {
    double frequency_hz, amplitude_mps2;
    double direction[3];
} quell_line;

typedef struct quell_simulation {
    size_t modes;
    quell_simulated_mode mode[8];
    char axis; /**< driven: 'x' or 'y' */
    quell_excitation excitation;
    quell_sweep sweep;
    double random_rms_mps2; /**< random and ambient: level of the white acceleration, rms in 0..rate/2 */
    double seconds;         /**< of random, stops or ambient excitation (a sweep has its own length) */
    quell_preamble preamble;
    double stroke_m, speed_mps, acceleration_mps2, dwell_s; /**< of stops */
    double rotation_rad[3]; /**< sensor = Rz(r2) Ry(r1) Rx(r0) applied to machine axes */
    double rate_hz;
    double clock_error;         /**< relative: true rate = rate * (1 + clock_error) */
    double jitter;              /**< standard deviation of the stamps in sample intervals */
    double lost;                /**< probability of losing a sample */
    double noise_mps2_per_rthz; /**< white sensor noise, sqrt of one-sided density */
    double step_mps2;           /**< quantisation; 0: none */
    double clip_mps2;           /**< sensor range; 0: none */
    size_t lines;
    quell_line line[4];
    const quell_shaper *shaper; /**< in effect on the driven axis; NULL: none */
    size_t oversample;          /**< 0: first-order hold of the exact commanded path; else samples per sample */
    uint64_t seed;
} quell_simulation;

/** A made recording: count rows of stamp and three sensor axes; lost rows are absent. Lives in the arena. */
typedef struct quell_simulated {
    size_t count;
    double *time_s;
    double *accel_mps2[3];
    double start_s; /**< start of the excitation, after the preamble */
    double rate_hz; /**< true rate */
} quell_simulated;

/** Runs the simulation. QUELL_OK; QUELL_E_USAGE naming the value out of range; QUELL_E_MEMORY (more than 1e8
    samples). out untouched on failure. The same seed gives the same numbers. */
quell_status quell_simulate(const quell_simulation *setup, quell_arena *arena, quell_simulated *out, quell_error *err);

#endif
