/* A small machine with a sensor on it, for the tests of mounting and judging: made here from first principles, so
   that it shares no code with the project's own simulation. */
#ifndef QUELL_TESTS_INGEST_MACHINE_H
#define QUELL_TESTS_INGEST_MACHINE_H

#include "ingest_help.h"

typedef struct test_machine {
    char driven; /* 'x' or 'y' */
    bool
        preamble; /* rest 3 s, two slow strokes towards + with returns, rest 3 s; else motion from the start */
    double motion_s; /* swept strokes of 4 m/s2 from 12 Hz on */
    double end_rest_s;
    double gravity_mps2;
    double noise_mps2_per_rthz, step_mps2;
    double fan_hz, fan_mps2; /* along the machine's z */
    bool turned;             /* by a random rotation; else the sensor's axes are the machine's */
    uint64_t seed;
} test_machine;

/* What was made, beside the recording. */
typedef struct test_truth {
    double turn[3][3];   /* sensor = turn * machine */
    double strokes_s[2]; /* of the slow strokes */
    double motion_s[2];
} test_truth;

/* The recording lives in the arena, at 2000 Hz. */
void test_machine_record(const test_machine *machine, quell_arena *arena, quell_recording *out,
                         test_truth *truth);

/* Angle of the rotation between two maps, degrees. */
double test_angle_deg(double a[3][3], double b[3][3]);

#endif
