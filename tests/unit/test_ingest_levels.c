/* ingest: gaps filled and marked, the sensor's step, clipping. */
#include "ingest_help.h"

#include "ingest/ingest_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = 8000 };

static double tone(size_t i, double rate_hz)
{
    return 10 + sin(QUELL_TAU * 50 * (double)i / rate_hz);
}

/* `rows` samples of a 50 Hz tone at rate_hz on three axes, without those from gap[g] on, gap by gap. */
static quell_status read_with_gaps(quell_recording *out, double rate_hz, const size_t (*gap)[2], size_t gaps,
                                   quell_arena *arena)
{
    test_text text = {0};
    test_text_add(&text, "t_s,ax_mps2,ay_mps2,az_mps2\n");
    for (size_t i = 0, g = 0; i < ROWS; i++) {
        if (g < gaps && i == gap[g][0])
            i += gap[g++][1];
        test_text_add(&text, "%.7f,%.8f,0.1,0.2\n", (double)i / rate_hz, tone(i, rate_hz));
    }
    quell_status status = test_read(out, &text, NULL, arena, NULL);
    test_text_free(&text);
    return status;
}

/* Lengths up to 1/(8 * 100 Hz) = 1.25 ms are filled, and single samples always. */
START_TEST(short_gaps_are_filled_and_long_ones_marked)
{
    static const size_t gap[][2] = {{1000, 1}, {2000, 2}, {3000, 3}, {4000, 700}, {6000, 1}};
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording r;
    ck_assert_int_eq(read_with_gaps(&r, 2000, gap, 5, arena), QUELL_OK);
    ck_assert_uint_eq(r.lost_samples, 707);
    ck_assert_uint_eq(r.filled_samples, 4);
    ck_assert_uint_eq(r.gaps, 5);
    ck_assert_uint_eq(r.samples, ROWS - 703);
    ck_assert_uint_eq(r.break_count, 2);
    ck_assert_uint_eq(r.break_at[0], 3000);
    ck_assert_uint_eq(r.break_lost[0], 3);
    ck_assert_uint_eq(r.break_at[1], 3997);
    ck_assert_uint_eq(r.break_lost[1], 700);
    /* Error of the cubic: (w dt)^4 P/24 at most, P the product of the distances to the four nodes in samples: 4 for
       one lost sample (distances 2 1 1 2), 12 for either of two (1 2 2 3). Source: the remainder of Lagrange
       interpolation. */
    double w4 = pow(QUELL_TAU * 50 / 2000, 4);
    CHECK_NEAR(r.accel_mps2[0][1000], tone(1000, 2000), w4 * 4 / 24 + 1e-7);
    CHECK_NEAR(r.accel_mps2[0][2000], tone(2000, 2000), w4 * 12 / 24 + 1e-7);
    CHECK_NEAR(r.accel_mps2[0][2001], tone(2001, 2000), w4 * 12 / 24 + 1e-7);
    CHECK_NEAR(r.accel_mps2[0][3000], tone(3003, 2000), 1e-7);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(gaps_at_the_ends_are_filled_with_what_there_is)
{
    static const size_t gap[][2] = {{1, 1}, {ROWS - 2, 1}};
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording r;
    ck_assert_int_eq(read_with_gaps(&r, 2000, gap, 2, arena), QUELL_OK);
    ck_assert_uint_eq(r.samples, ROWS);
    /* a parabola: (w dt)^3 (1 1 2)/6, with a margin for the tone's next term */
    double w3 = pow(QUELL_TAU * 50 / 2000, 3);
    CHECK_NEAR(r.accel_mps2[0][1], tone(1, 2000), 1.1 * w3 * 2 / 6);
    CHECK_NEAR(r.accel_mps2[0][ROWS - 2], tone(ROWS - 2, 2000), 1.1 * w3 * 2 / 6);
    quell_arena_destroy(arena);
}
END_TEST

/* A recording at 1 kHz with x as given and quiet y and z, made in memory. */
static void read_column(quell_recording *out, const double *x, size_t n, int decimals, quell_arena *arena)
{
    test_text text = {0};
    test_text_add(&text, "t_s,ax_mps2,ay_mps2,az_mps2\n");
    for (size_t i = 0; i < n; i++)
        test_text_add(&text, "%.4f,%.*f,0.%zu,9.81\n", (double)i / 1000, decimals, x[i], i % 3);
    ck_assert_int_eq(test_read(out, &text, NULL, arena, NULL), QUELL_OK);
    test_text_free(&text);
}

/* A sensor of 4 mg steps, printed to few or many decimals: the step is found to the precision of the print. */
START_TEST(the_step_of_the_sensor_is_found)
{
    static const int decimals[] = {3, 4, 6, 9};
    const double step = 0.004 * QUELL_STANDARD_GRAVITY_MPS2;
    double *x = malloc(ROWS * sizeof *x);
    ck_assert_ptr_nonnull(x);
    quell_random *random = quell_random_create(5);
    for (size_t i = 0; i < ROWS; i++)
        x[i] = step * floor(8 * sin(0.3 * (double)i) + 3 * quell_random_normal(random) + 0.5);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording r;
    read_column(&r, x, ROWS, decimals[_i], arena);
    double rounding = 0.5 * pow(10, -decimals[_i]);
    CHECK_NEAR(r.resolution_mps2[0], step, 1e-9 + 0.02 * rounding);
    CHECK_NEAR(r.step_mps2[0], step, 1e-9 + 2 * rounding);
    ck_assert_double_eq(r.step_mps2[2], 0); /* z never changes */
    /* without steps: none is found */
    for (size_t i = 0; i < ROWS; i++)
        x[i] = 8 * sin(0.3 * (double)i) + quell_random_normal(random);
    read_column(&r, x, ROWS, 9, arena);
    ck_assert(r.resolution_mps2[0] < 1e-3);
    quell_random_destroy(random);
    quell_arena_destroy(arena);
    free(x);
}
END_TEST

/* Clipping is a pile of values at the extreme. A tone cut off at `level` of its amplitude spends the share
   (2/pi) acos(level) of its time beyond it (arcsine law). Tones of whole steps have crests of several equal values:
   these are none. */
static const struct {
    double level, step, tolerance;
} clipped[] = {{0.9, 0, 0.01},  {0.99, 0.04, 0.012}, {0.95, 0.1, 0.03},
               {1.01, 0.04, 0}, {1.01, 0.3, 0},      {1.01, 0, 0}};

START_TEST(clipping_is_told_from_crests)
{
    double *x = malloc(ROWS * sizeof *x);
    ck_assert_ptr_nonnull(x);
    double limit = 5 * clipped[_i].level, step = clipped[_i].step;
    for (size_t i = 0; i < ROWS; i++) {
        double value = fmax(fmin(5 * sin(0.0713 * (double)i), limit), -limit);
        x[i] = step > 0 ? step * floor(value / step + 0.5) : value;
    }
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording r;
    read_column(&r, x, ROWS, 9, arena);
    double share = clipped[_i].level < 1 ? 2 / QUELL_PI * acos(clipped[_i].level) : 0;
    if (share == 0)
        ck_assert_double_eq(r.clipped_fraction[0], 0);
    else
        CHECK_NEAR(r.clipped_fraction[0], share, clipped[_i].tolerance);
    quell_arena_destroy(arena);
    free(x);
}
END_TEST

Suite *suite_ingest_levels(void)
{
    Suite *suite = suite_create("ingest levels");
    TCase *cases = tcase_create("levels");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, short_gaps_are_filled_and_long_ones_marked);
    tcase_add_test(cases, gaps_at_the_ends_are_filled_with_what_there_is);
    tcase_add_loop_test(cases, the_step_of_the_sensor_is_found, 0, 4);
    tcase_add_loop_test(cases, clipping_is_told_from_crests, 0, (int)INGEST_COUNT(clipped));
    suite_add_tcase(suite, cases);
    return suite;
}
