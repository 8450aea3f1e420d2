/* How far off the mounting is: the distribution over random rotations of the sensor and random modes, for each way in
   which a recording can tell it. Prints a table; with a number as argument, so many rotations instead of 100. */
#include "quell/ingest.h"
#include "quell/simulate.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DEG_PER_RAD (180 / QUELL_PI)

typedef struct way {
    const char *name;
    quell_excitation excitation;
    size_t strokes;
    double start_hz;
    bool both; /* two runs, along x and along y, joined */
} way;

static const way ways[] = {
    {"slow strokes, then a sweep from 12 Hz", QUELL_EXCITE_SWEEP, 2, 12, false},
    {"slow strokes, then stops", QUELL_EXCITE_STOPS, 2, 12, false},
    {"slow strokes, then random motion", QUELL_EXCITE_RANDOM, 2, 12, false},
    {"a sweep from 3 Hz alone", QUELL_EXCITE_SWEEP, 0, 3, false},
    {"a sweep from 12 Hz alone", QUELL_EXCITE_SWEEP, 0, 12, false},
    {"stops alone", QUELL_EXCITE_STOPS, 0, 12, false},
    {"random motion alone", QUELL_EXCITE_RANDOM, 0, 12, false},
    {"slow strokes and sweeps along x and y, joined", QUELL_EXCITE_SWEEP, 2, 12, true},
    {"sweeps from 12 Hz along x and y, joined", QUELL_EXCITE_SWEEP, 0, 12, true},
};

static double between(quell_random *random, double low, double high)
{
    return low + (high - low) * quell_random_uniform(random);
}

/* Two modes along the driven axis that shake the others, too, by up to a tenth. */
static quell_simulation plan(const way *of, char axis, const double rotation_rad[3], quell_random *random,
                             uint64_t seed)
{
    quell_simulation out = {.modes = 2,
                            .axis = axis,
                            .excitation = of->excitation,
                            .sweep = {of->start_hz, 90, 4, 5},
                            .random_rms_mps2 = 2,
                            .seconds = 15,
                            .preamble = {3, of->strokes, 0.06, 0.12, 0.4, 0.5},
                            .stroke_m = 0.06,
                            .speed_mps = 0.2,
                            .acceleration_mps2 = 6,
                            .dwell_s = 0.5,
                            .rate_hz = 2000,
                            .noise_mps2_per_rthz = 120e-6 * QUELL_STANDARD_GRAVITY_MPS2,
                            .step_mps2 = 0.004 * QUELL_STANDARD_GRAVITY_MPS2,
                            .lines = 1,
                            .line = {{112, 0.1, {0.1, 0.2, 0.97}}},
                            .seed = seed};
    memcpy(out.rotation_rad, rotation_rad, sizeof out.rotation_rad);
    for (size_t m = 0; m < 2; m++) {
        quell_simulated_mode *mode = &out.mode[m];
        mode->frequency_hz = m == 0 ? between(random, 25, 60) : between(random, 70, 95);
        mode->damping_ratio = between(random, 0.02, 0.08);
        for (size_t k = 0; k < 3; k++)
            mode->participation[k] = between(random, -0.1, 0.1);
        mode->participation[axis == 'x' ? 0 : 1] = m == 0 ? 1 : 0.2;
    }
    return out;
}

static quell_recording record(const quell_simulation *setup, quell_arena *arena)
{
    quell_simulated made;
    quell_error err = {0};
    if (quell_simulate(setup, arena, &made, &err) != QUELL_OK) {
        fprintf(stderr, "mounting_study: %s\n", err.text);
        exit(1);
    }
    quell_recording out = {
        .file = "made", .axes = 3, .samples = made.count, .rate_hz = setup->rate_hz, .has_time = true};
    for (size_t k = 0; k < 3; k++) {
        out.accel_mps2[k] = made.accel_mps2[k];
        out.axis_name[k] = "a";
        out.step_mps2[k] = out.resolution_mps2[k] = setup->step_mps2;
    }
    return out;
}

static void find(quell_mounting *out, quell_recording *recording, char axis, quell_arena *arena)
{
    quell_error err = {0};
    if (quell_mounting_find(out, recording, axis, &(quell_read_options){0}, arena, &err) != QUELL_OK) {
        fprintf(stderr, "mounting_study: %s\n", err.text);
        exit(1);
    }
}

/* Degrees between the map found and the right one; where the sign is not known, the nearer of the two that are left. */
static double off_deg(const quell_mounting *found, const double rotation_rad[3])
{
    double turn[3][3], least = HUGE_VAL;
    quell_simulated_rotation(rotation_rad, turn);
    for (int sign = found->sign_known ? 1 : -1; sign <= 1; sign += 2) {
        double trace = 0;
        for (size_t k = 0; k < 3; k++)
            for (size_t m = 0; m < 3; m++)
                trace += (k < 2 ? sign : 1) * found->map[k][m] * turn[m][k];
        least = fmin(least, acos(fmin(fmax(0.5 * (trace - 1), -1), 1)) * DEG_PER_RAD);
    }
    return least;
}

static double try_once(const way *of, quell_random *random, uint64_t seed)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    double rotation_rad[3];
    for (size_t k = 0; k < 3; k++)
        rotation_rad[k] = between(random, -QUELL_PI, QUELL_PI);
    quell_simulation x = plan(of, 'x', rotation_rad, random, seed);
    quell_recording run = record(&x, arena);
    quell_mounting mounting;
    find(&mounting, &run, 'x', arena);
    if (of->both) {
        quell_simulation y = plan(of, 'y', rotation_rad, random, seed + 1000000);
        quell_recording other = record(&y, arena);
        quell_mounting second;
        find(&second, &other, 'y', arena);
        quell_mounting_join(&mounting, &second, NULL);
    }
    double out = off_deg(&mounting, rotation_rad);
    quell_arena_destroy(arena);
    return out;
}

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

int main(int count, char **argument)
{
    size_t rotations = count > 1 ? (size_t)strtoul(argument[1], NULL, 10) : 100;
    rotations = rotations < 1 ? 1 : rotations > 10000 ? 10000 : rotations;
    double *off = calloc(rotations, sizeof *off);
    quell_random *random = quell_random_create(20);
    if (off == NULL || random == NULL)
        return 1;
    printf("%-46s  median  95 %%    worst  (degrees, %zu rotations)\n", "told by", rotations);
    for (size_t w = 0; w < sizeof ways / sizeof ways[0]; w++) {
        for (size_t i = 0; i < rotations; i++)
            off[i] = try_once(&ways[w], random, 1 + i);
        qsort(off, rotations, sizeof *off, compare);
        printf("%-46s  %6.2f  %6.2f  %6.2f\n", ways[w].name, off[rotations / 2],
               off[(rotations - 1) * 95 / 100], off[rotations - 1]);
    }
    quell_random_destroy(random);
    free(off);
    return 0;
}
