/* modes: whole recordings, simulated with known modes, from samples to natural frequencies and damping
   ratios. */
#include "suites.h"

#include "shortened.h"

#include "quell/modes.h"
#include "quell/simulate.h"

#include <math.h>
#include <stdlib.h>

static const double noise_mps2_per_rthz = 120e-6 * 9.80665; /* the demonstration's sensor */

static quell_arena *arena;

static void setup(void)
{
    arena = quell_arena_create((size_t)1 << 30);
    ck_assert_ptr_nonnull(arena);
}

static void teardown(void)
{
    quell_arena_destroy(arena);
}

typedef struct truth {
    double f_hz, zeta, c;
} truth;

static const truth x_modes[] = {{47.3, .046, 1}, {83.5, .028, .22}}, y_modes[] = {{31.8, .062, 1}};

/* Axis x, evenly sampled at 2000 Hz, 4 mg steps, a fan at 112 Hz. */
static quell_simulation machine(const truth *mode, size_t count, quell_excitation excitation, uint64_t seed)
{
    quell_simulation setup = {.modes = count,
                              .axis = 'x',
                              .excitation = excitation,
                              .sweep = {12, 115, 2.5, 4},
                              .random_rms_mps2 = 2,
                              .seconds = 60,
                              .preamble = {3, 2, 0.06, 0.12, 0.4, 0.5},
                              .rate_hz = 2000,
                              .noise_mps2_per_rthz = noise_mps2_per_rthz,
                              .step_mps2 = 0.004 * 9.80665,
                              .lines = 1,
                              .line = {{112, 0.1, {0.3, 0.2, 0.9}}},
                              .seed = seed};
    for (size_t k = 0; k < count; k++)
        setup.mode[k] = (quell_simulated_mode){mode[k].f_hz, mode[k].zeta, {mode[k].c, 0, 0}};
    return setup;
}

static quell_modes analyse(const quell_simulation *setup, size_t segment)
{
    quell_simulated made;
    quell_error err = {0};
    ck_assert_msg(quell_simulate(setup, arena, &made, &err) == QUELL_OK, "%s", err.text);
    const double *axes[] = {made.accel_mps2[0], made.accel_mps2[1], made.accel_mps2[2]};
    quell_welch_options welch = {.overlap = -1, .cross = true, .segment = segment};
    quell_spectrum spectrum;
    ck_assert_int_eq(
        quell_spectrum_estimate(axes, 3, made.count, made.rate_hz, NULL, 0, &welch, arena, &spectrum, &err),
        QUELL_OK);
    quell_modes modes;
    const quell_shaking shaking = {.kind = setup->excitation};
    quell_modes_options options = {.shaking = &shaking};
    ck_assert_int_eq(quell_modes_find(&spectrum, 0, &options, arena, &modes, &err), QUELL_OK);
    return modes;
}

static void check(const quell_modes *modes, const truth *want, size_t count, double f, double zeta, double c,
                  const char *what, int run)
{
    ck_assert_msg(modes->count == count, "%s %d: %zu modes, want %zu", what, run, modes->count, count);
    for (size_t k = 0; k < count; k++) {
        const quell_mode *got = &modes->mode[k];
        ck_assert_msg(fabs(got->frequency_hz / want[k].f_hz - 1) < f, "%s %d: %.3f Hz, want %.3f", what, run,
                      got->frequency_hz, want[k].f_hz);
        ck_assert_msg(fabs(got->damping_ratio / want[k].zeta - 1) < zeta, "%s %d: zeta %.4f, want %.4f", what,
                      run, got->damping_ratio, want[k].zeta);
        ck_assert_msg(fabs(got->participation - want[k].c) < c, "%s %d: c %.3f, want %.3f", what, run,
                      got->participation, want[k].c);
        ck_assert_double_gt(fabs(got->direction[0]), 0.99);
    }
}

/* Goals of this first version: frequency within 0.3 %, damping within 10 %. A sweep does much better (found
   over 60 seeds: 0.03 % and 1 %), so it is held to 0.1 % and 3 %. */
START_TEST(sweeps)
{
    for (int run = 0; run < 4; run++) {
        quell_simulation setup = machine(x_modes, 2, QUELL_EXCITE_SWEEP, 10 + (uint64_t)run);
        quell_modes modes = analyse(&setup, run % 2 == 0 ? 0 : 2000);
        check(&modes, x_modes, 2, 1e-3, 0.03, 0.05, "x", run);
        ck_assert_double_lt(modes.band_hz[1], 115); /* the end of the sweep is not fitted */
        setup = machine(y_modes, 1, QUELL_EXCITE_SWEEP, 20 + (uint64_t)run);
        modes = analyse(&setup, run % 2 == 0 ? 0 : 2000);
        check(&modes, y_modes, 1, 1e-3, 0.03, 0.05, "y", run);
    }
}
END_TEST

/* Two modes 11 % apart. */
START_TEST(close_modes_in_a_sweep)
{
    const truth close[] = {{52, .03, .6}, {58, .03, .4}};
    quell_simulation setup = machine(close, 2, QUELL_EXCITE_SWEEP, 5);
    quell_modes modes = analyse(&setup, 0);
    check(&modes, close, 2, 2.5e-3, 0.08, 0.06, "close", 0);
}
END_TEST

/* Random motion for a minute. Found over 120 seeds: standard errors of 0.2 % and 0.3 % in the frequencies of
   x and y, of 4 % and 5 % in damping; the bounds are four of them. */
START_TEST(random_motion)
{
    for (int run = 0; run < 6; run++) {
        quell_simulation setup = machine(x_modes, 2, QUELL_EXCITE_RANDOM, 100 + (uint64_t)run);
        quell_modes modes = analyse(&setup, 0);
        check(&modes, x_modes, 2, 8e-3, 0.18, 0.35, "x", run);
        setup = machine(y_modes, 1, QUELL_EXCITE_RANDOM, 200 + (uint64_t)run);
        modes = analyse(&setup, 0);
        check(&modes, y_modes, 1, 12e-3, 0.22, 0.35, "y", run);
    }
}
END_TEST

/* Ten seconds tell little of the level of the input, so that participations could run away; they are held by
   what is known beforehand. */
START_TEST(ten_seconds_keep_participations_sensible)
{
    for (uint64_t seed = 600; seed < 612; seed++) {
        quell_simulation setup = machine(x_modes, 2, QUELL_EXCITE_RANDOM, seed);
        setup.seconds = 10;
        setup.preamble = (quell_preamble){0.1, 0, 0.06, 0.12, 0.4, 0.5};
        quell_modes modes = analyse(&setup, 0);
        ck_assert_uint_ge(modes.count, 1);
        for (size_t k = 0; k < modes.count; k++)
            ck_assert_msg(fabs(modes.mode[k].participation) < 2, "seed %d: c %.2f", (int)seed,
                          modes.mode[k].participation);
    }
}
END_TEST

/* Two broad modes that random motion hardly tells apart: one or both are found, and never with
   participations in the thousands that cancel each other, nor none at all. */
START_TEST(merging_modes_in_random_motion)
{
    const truth merging[] = {{45, .06, .6}, {52, .06, .4}};
    size_t both = 0;
    for (uint64_t seed = 700; seed < 724; seed++) {
        quell_simulation setup = machine(merging, 2, QUELL_EXCITE_RANDOM, seed);
        quell_modes modes = analyse(&setup, 0);
        ck_assert_msg(modes.count == 1 || modes.count == 2, "seed %d: %zu modes", (int)seed, modes.count);
        both += modes.count == 2;
        for (size_t k = 0; k < modes.count; k++)
            ck_assert_msg(fabs(modes.mode[k].participation) < 4, "seed %d: c %.2f", (int)seed,
                          modes.mode[k].participation);
    }
    ck_assert_uint_ge(both, 15);
}
END_TEST

/* The median over seeds meets the goal itself. */
static int order(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

START_TEST(random_motion_on_the_whole)
{
    enum { RUNS = 41 };
    double f[RUNS], zeta[RUNS];
    for (size_t run = 0; run < RUNS; run++) {
        quell_simulation setup = machine(y_modes, 1, QUELL_EXCITE_RANDOM, 300 + run);
        quell_modes modes = analyse(&setup, 0);
        ck_assert_uint_eq(modes.count, 1);
        f[run] = fabs(modes.mode[0].frequency_hz / 31.8 - 1);
        zeta[run] = fabs(modes.mode[0].damping_ratio / .062 - 1);
    }
    qsort(f, RUNS, sizeof *f, order);
    qsort(zeta, RUNS, sizeof *zeta, order);
    ck_assert_msg(f[RUNS / 2] < 3e-3, "median error of f: %.4f", f[RUNS / 2]);
    ck_assert_msg(zeta[RUNS / 2] < 0.1, "median error of zeta: %.4f", zeta[RUNS / 2]);
}
END_TEST

/* A stiff machine: the sweep alone, its steps and its fan, makes no mode; nor does random motion. */
START_TEST(no_mode_no_finding)
{
    for (uint64_t seed = 0; seed < 4; seed++) {
        quell_simulation setup = machine(NULL, 0, QUELL_EXCITE_SWEEP, 400 + seed);
        ck_assert_uint_eq(analyse(&setup, 0).count, 0);
        setup = machine(NULL, 0, QUELL_EXCITE_RANDOM, 500 + seed);
        setup.seconds = 30;
        ck_assert_uint_eq(analyse(&setup, 0).count, 0);
    }
}
END_TEST

/* A noise of any colour has no modes: 120 recordings of white noise, noise falling and noise with a broad
   hump. */
START_TEST(noise_has_no_modes)
{
    enum { SAMPLES = 20000, RUNS = 40 };
    static double x[SAMPLES];
    size_t found = 0;
    quell_random *random = quell_random_create(8);
    ck_assert_ptr_nonnull(random);
    for (size_t run = 0; run < 3 * RUNS; run++) {
        static const double pole[] = {0, 0.9, 0.97};
        double slow = 0, fast = 0;
        for (size_t n = 0; n < SAMPLES; n++) {
            slow = pole[run % 3] * slow + quell_random_normal(random);
            fast = run % 3 == 2 ? 0.8 * fast + slow : slow;
            x[n] = run % 3 == 2 ? slow - 0.03 * fast : slow;
        }
        quell_arena *own = quell_arena_create(1 << 22);
        const double *axes[] = {x};
        quell_welch_options welch = {.overlap = -1, .segment = 2000};
        quell_spectrum spectrum;
        quell_modes modes;
        quell_modes_options options = {0};
        ck_assert_int_eq(
            quell_spectrum_estimate(axes, 1, SAMPLES, 1000, NULL, 0, &welch, own, &spectrum, NULL), QUELL_OK);
        ck_assert_int_eq(quell_modes_find(&spectrum, 0, &options, own, &modes, NULL), QUELL_OK);
        found += modes.count > 0;
        quell_arena_destroy(own);
    }
    quell_random_destroy(random);
    ck_assert_msg(found <= 4, "modes in %zu of %d noises", found, 3 * RUNS); /* the study's limit is 5 % */
}
END_TEST

/* A shaper in effect hides the modes from the eye, not from the fit that knows of it. */
START_TEST(recording_with_a_shaper_on)
{
    quell_simulation setup = machine(x_modes, 2, QUELL_EXCITE_SWEEP, 31);
    quell_shaper shaper;
    ck_assert_int_eq(quell_shaper_parse(&shaper, "ei:59.8:0.046:0.05", NULL), QUELL_OK);
    setup.shaper = &shaper;
    quell_simulated made;
    ck_assert_int_eq(quell_simulate(&setup, arena, &made, NULL), QUELL_OK);
    const double *axes[] = {made.accel_mps2[0], made.accel_mps2[1], made.accel_mps2[2]};
    quell_welch_options welch = {.overlap = -1, .cross = true};
    quell_spectrum spectrum;
    ck_assert_int_eq(
        quell_spectrum_estimate(axes, 3, made.count, made.rate_hz, NULL, 0, &welch, arena, &spectrum, NULL),
        QUELL_OK);
    quell_modes modes;
    quell_modes_options options = {.shaper_on = &shaper};
    ck_assert_int_eq(quell_modes_find(&spectrum, 0, &options, arena, &modes, NULL), QUELL_OK);
    check(&modes, x_modes, 2, 3e-3, 0.1, 0.1, "shaped", 0);
}
END_TEST

Suite *suite_modes_recordings(void)
{
    Suite *suite = suite_create("modes_recordings");
    TCase *cases = tcase_create("modes_recordings");
    tcase_set_timeout(cases, 120);
    tcase_add_checked_fixture(cases, setup, teardown);
    tcase_add_test(cases, sweeps);
    tcase_add_test(cases, close_modes_in_a_sweep);
    tcase_add_test(cases, random_motion);
    tcase_add_test(cases, ten_seconds_keep_participations_sensible);
    if (!IS_SHORTENED) {
        tcase_add_test(cases, random_motion_on_the_whole);
        tcase_add_test(cases, noise_has_no_modes);
        tcase_add_test(cases, merging_modes_in_random_motion);
    }
    tcase_add_test(cases, no_mode_no_finding);
    tcase_add_test(cases, recording_with_a_shaper_on);
    suite_add_tcase(suite, cases);
    return suite;
}
