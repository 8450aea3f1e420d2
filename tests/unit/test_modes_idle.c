/* modes: lines known from a recording at rest are left out of the fit, whatever their shape; modes are not. */
#include "suites.h"

#include "quell/modes.h"
#include "quell/simulate.h"

#include <math.h>

#define RATE_HZ 1000.0

static quell_arena *arena;
static quell_spectrum spectrum;

/* A mode at 40 Hz under random motion, and a fan at 67 Hz whose phase wanders at random: its line is 1.5 Hz wide at half
   power (a phase that diffuses by 2 D a second has a Lorentzian line D / pi wide), as a mode's could be. */
static void record(double fan_mps2)
{
    arena = quell_arena_create((size_t)1 << 28);
    quell_simulation setup = {.modes = 1,
                              .mode = {{40, 0.05, {1, 0, 0}}},
                              .axis = 'x',
                              .excitation = QUELL_EXCITE_RANDOM,
                              .random_rms_mps2 = 1,
                              .seconds = 60,
                              .rate_hz = RATE_HZ,
                              .noise_mps2_per_rthz = 1e-3,
                              .seed = 12};
    quell_simulated made;
    ck_assert_int_eq(quell_simulate(&setup, arena, &made, NULL), QUELL_OK);
    quell_random *random = quell_random_create(3);
    double phase = 0, spread = sqrt(2 * QUELL_PI * 1.5 / RATE_HZ);
    for (size_t i = 0; i < made.count; i++) {
        phase += QUELL_TAU * 67 / RATE_HZ + spread * quell_random_normal(random);
        made.accel_mps2[0][i] += fan_mps2 * sin(phase);
    }
    quell_random_destroy(random);
    const double *axes[] = {made.accel_mps2[0]};
    quell_welch_options options = {.window = quell_window_find("hann"), .segment = 2000, .overlap = -1};
    ck_assert_int_eq(
        quell_spectrum_estimate(axes, 1, made.count, RATE_HZ, NULL, 0, &options, arena, &spectrum, NULL),
        QUELL_OK);
}

static quell_modes find(const quell_known_line *line, size_t count)
{
    quell_modes out;
    quell_modes_options options = {.band_hz = {5, 150}, .line = line, .line_count = count};
    ck_assert_int_eq(quell_modes_find(&spectrum, 0, &options, arena, &out, NULL), QUELL_OK);
    return out;
}

static size_t modes_near(const quell_modes *modes, double hz)
{
    size_t count = 0;
    for (size_t k = 0; k < modes->count; k++)
        count += fabs(modes->mode[k].frequency_hz - hz) < 3;
    return count;
}

START_TEST(a_wandering_fan_is_no_mode_once_it_is_known)
{
    record(1.5);
    const quell_known_line fan = {67.3, 1.5};
    quell_modes without = find(NULL, 0), with = find(&fan, 1);
    ck_assert_uint_eq(modes_near(&without, 67), 1); /* it looks like one */
    ck_assert_uint_eq(with.count, 1);
    CHECK_NEAR(with.mode[0].frequency_hz, 40, 0.4);
    ck_assert(quell_known_line_explains(&spectrum, 0, &fan, NULL));
    quell_arena_destroy(arena);
}
END_TEST

/* A faint line at a mode's own frequency does not take the mode away; nor does one beyond the spectrum harm. */
START_TEST(a_mode_on_a_faint_line_stays)
{
    record(0);
    const quell_known_line lines[] = {{40.2, 0.02}, {700, 1}, {0.1, 1}};
    size_t bin;
    quell_modes modes = find(lines, 3);
    ck_assert_uint_eq(modes.count, 1);
    CHECK_NEAR(modes.mode[0].frequency_hz, 40, 0.4);
    CHECK_NEAR(modes.mode[0].damping_ratio, 0.05, 0.01);
    ck_assert(!quell_known_line_explains(&spectrum, 0, &lines[0], &bin));
    CHECK_NEAR((double)bin * spectrum.bin_hz, 40, 0.6); /* the highest bin within 1 % */
    ck_assert(!quell_known_line_explains(&spectrum, 0, &lines[1], &bin) && bin == 0);
    ck_assert(!quell_known_line_explains(&spectrum, 0, &lines[2], NULL));
    quell_arena_destroy(arena);
}
END_TEST

Suite *suite_modes_idle(void)
{
    Suite *suite = suite_create("modes idle");
    TCase *cases = tcase_create("idle");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, a_wandering_fan_is_no_mode_once_it_is_known);
    tcase_add_test(cases, a_mode_on_a_faint_line_stays);
    suite_add_tcase(suite, cases);
    return suite;
}
