/* Recordings of stops with known modes and known ends of motion, for the test and the study of free decays. */
#ifndef QUELL_TESTS_DECAY_TRUTH_H
#define QUELL_TESTS_DECAY_TRUTH_H

#include "quell/modes.h"
#include "quell/simulate.h"

#include <math.h>
#include <stdlib.h>

enum { TRUE_STOPS_MAX = 64 };

typedef struct decay_row {
    const char *name;
    size_t modes;
    double line_mps2;    /* of a fan at 112 Hz */
    double ambient_mps2; /* greatest density of ambient ringing, m/s2 per rtHz */
    double rate_hz[2], frequency_hz[2], stroke_m[2], speed_mps[2], acceleration_mps2[2], dwell_s[2];
} decay_row;

#define G QUELL_STANDARD_GRAVITY_MPS2
#define USUAL                                                                                                \
    {800, 3200}, {30, 80}, {0.06, 0.06}, {0.2, 0.2}, {5, 5},                                                 \
    {                                                                                                        \
        0.5, 0.5                                                                                             \
    }
#define ANY                                                                                                  \
    {400, 3200}, {30, 80}, {0.02, 0.2}, {0.05, 0.3}, {2, 10},                                                \
    {                                                                                                        \
        0.2, 1                                                                                               \
    }

static inline double decay_between(quell_random *random, const double range[2])
{
    return range[0] + (range[1] - range[0]) * quell_random_uniform(random);
}

static inline quell_simulation decay_draw(const decay_row *of, uint64_t seed)
{
    static const double zetas[] = {0.02, 0.1}, shares[] = {0.2, 0.5}, ratios[] = {1.4, 2.2},
                        across[] = {-0.1, 0.1};
    quell_random *random = quell_random_create(seed);
    quell_simulation out = {.modes = of->modes,
                            .axis = 'x',
                            .excitation = QUELL_EXCITE_STOPS,
                            .preamble = {.rest_s = 0.3, .speed_mps = 0.1, .acceleration_mps2 = 1},
                            .stroke_m = decay_between(random, of->stroke_m),
                            .speed_mps = decay_between(random, of->speed_mps),
                            .acceleration_mps2 = decay_between(random, of->acceleration_mps2),
                            .dwell_s = decay_between(random, of->dwell_s),
                            .rate_hz = decay_between(random, of->rate_hz),
                            .noise_mps2_per_rthz = 120e-6 * G,
                            .step_mps2 = 0.004 * G,
                            .lines = of->line_mps2 > 0 ? 1 : 0,
                            .line = {{112, of->line_mps2, {0.3, 0.2, 0.9}}},
                            .seed = seed};
    double f = decay_between(random, of->frequency_hz), c2 = decay_between(random, shares),
           second = f * decay_between(random, ratios);
    out.mode[0] = (quell_simulated_mode){f, decay_between(random, zetas), {of->modes > 1 ? 1 - c2 : 1, 0, 0}};
    out.mode[1] = (quell_simulated_mode){second, decay_between(random, zetas), {c2, 0, 0}};
    for (size_t m = 0; m < 2; m++)
        for (size_t k = 1; k < 3; k++)
            out.mode[m].participation[k] = decay_between(random, across);
    double l = out.stroke_m, v = out.speed_mps, a = out.acceleration_mps2;
    double stroke_s = l * a > v * v ? l / v + v / a : 2 * sqrt(l / a);
    out.seconds = 8 * (stroke_s + out.dwell_s) - 1e-6;
    quell_random_destroy(random);
    return out;
}

/* True ends of motion, in seconds. */
static inline size_t decay_true_stops(const quell_simulation *setup, double *at_s)
{
    quell_motion_list list = {0};
    size_t count = 0;
    quell_motion_add_preamble(&list, &setup->preamble, NULL);
    double start = list.end_s, length = setup->stroke_m;
    for (bool back = false; (back || list.end_s - start < setup->seconds) && count < TRUE_STOPS_MAX;
         back = !back) {
        quell_motion_add_stroke(&list, length, setup->speed_mps, setup->acceleration_mps2, NULL);
        at_s[count++] = list.end_s;
        quell_motion_add_rest(&list, setup->dwell_s);
        length = -length;
    }
    quell_motion_list_free(&list);
    return count;
}

/* Ambient ringing of the same modes on top. */
static inline void decay_add_ambient(const decay_row *of, const quell_simulation *setup,
                                     quell_simulated *made, quell_arena *arena)
{
    quell_simulation ambient = *setup;
    ambient.excitation = QUELL_EXCITE_AMBIENT;
    ambient.seconds = ((double)made->count + 2) / made->rate_hz;
    ambient.noise_mps2_per_rthz = ambient.step_mps2 = 0;
    ambient.lines = 0;
    ambient.oversample = 4;
    ambient.random_rms_mps2 = of->ambient_mps2 * 2 * setup->mode[0].damping_ratio * sqrt(setup->rate_hz / 2);
    quell_simulated more;
    if (quell_simulate(&ambient, arena, &more, NULL) != QUELL_OK)
        abort();
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < made->count; i++)
            made->accel_mps2[k][i] += more.accel_mps2[k][i] - (k == 2 ? G : 0);
}

#endif
