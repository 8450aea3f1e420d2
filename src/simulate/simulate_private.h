/* The parts of a simulation: checks, what is commanded, the machine that answers, the sensor that looks on. */
#ifndef QUELL_SIMULATE_PRIVATE_H
#define QUELL_SIMULATE_PRIVATE_H

#include "quell/simulate.h"

#include <complex.h>

enum { SIMULATE_MODES_MAX = 8, SIMULATE_LINES_MAX = 4 };

/* Each kind of chance has its own generator, so that a change of one setting leaves the others' numbers alone. */
typedef enum simulate_stream {
    SIMULATE_EXCITATION, /* and one for each further mode of ambient excitation */
    SIMULATE_NOISE = SIMULATE_MODES_MAX,
    SIMULATE_JITTER,
    SIMULATE_LOSS,
    SIMULATE_PHASE
} simulate_stream;

/* NULL if memory is out. */
quell_random *simulate_random(uint64_t seed, unsigned stream);

/* QUELL_OK, or QUELL_E_USAGE naming the value out of range, found and wanted. */
quell_status simulate_check(const quell_simulation *setup, quell_error *err);

/* Interval between samples, true seconds. */
double simulate_interval(const quell_simulation *setup);

/* What shakes the machine: one commanded motion, or for ambient excitation one for each mode. */
typedef struct simulate_plan {
    size_t drives;
    quell_motion_list drive[SIMULATE_MODES_MAX];
    double start_s, end_s; /* of the excitation */
    double length_s;       /* of the recording */
} simulate_plan;

/* Free with simulate_plan_free, also after a failure. */
quell_status simulate_plan_make(const quell_simulation *setup, simulate_plan *out, quell_error *err);
void simulate_plan_free(simulate_plan *plan);

/* A motion through a shaper: its events times the impulses, in order of time, and the state they have led to. */
typedef struct simulate_drive {
    quell_motion motion;
    const quell_shaper *shaper;
    size_t next[QUELL_SHAPER_MAX]; /* each impulse's next event */
    double velocity_mps, acceleration_mps2, jerk_mps3;
    double axis[3]; /* share of its acceleration that is seen on each machine axis as it is */
} simulate_drive;

/* One mode about its static deflection: q = Re(phasor) + what acceleration and jerk hold, s the pole. */
typedef struct simulate_mode {
    size_t drive;
    double complex pole, phasor;
    double complex per_velocity; /* what a velocity step of 1 m/s adds to the phasor */
    double complex sample_turn;  /* exp(s dt) for one whole sample */
    double stiffness;            /* w^2 */
    double participation[3];
} simulate_mode;

typedef struct simulate_machine {
    size_t drives, modes;
    simulate_drive drive[SIMULATE_MODES_MAX];
    simulate_mode mode[SIMULATE_MODES_MAX];
    double time_s, interval_s;
    double velocity_mps[3]; /* of the sensor's place, machine axes, at time_s */
} simulate_machine;

void simulate_machine_start(simulate_machine *out, const quell_simulation *setup, const simulate_plan *plan);

/* Goes on to until_s; mean_mps2 is the mean absolute acceleration along the machine axes on the way, gravity apart. */
void simulate_machine_advance(simulate_machine *machine, double until_s, double mean_mps2[3]);

/* The sensor: place, noise, range and steps, and the logger behind it. */
typedef struct simulate_sensor {
    const quell_simulation *setup;
    double turn[3][3]; /* sensor = turn * machine */
    double phase_rad[SIMULATE_LINES_MAX];
    double noise_mps2; /* standard deviation of a sample */
    double interval_s;
    double last_stamp_s;
    quell_random *noise, *jitter, *loss;
} simulate_sensor;

/* QUELL_OK or QUELL_E_MEMORY. End with simulate_sensor_close, also after a failure. */
quell_status simulate_sensor_open(simulate_sensor *out, const quell_simulation *setup, quell_error *err);
void simulate_sensor_close(simulate_sensor *sensor);

/* Reads sample `index`: the stamp and three values in sensor axes. Returns false if the sample is lost. */
bool simulate_sensor_read(simulate_sensor *sensor, size_t index, const double machine_mps2[3],
                          double *stamp_s, double sensor_mps2[3]);

#endif
