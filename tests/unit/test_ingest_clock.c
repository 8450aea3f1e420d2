/* ingest: the clock. Stamps are made from a known truth (clock_truth.h): which sample each belongs to, and
   the rate. */
#include "clock_truth.h"
#include "suites.h"

#include "ingest/ingest_private.h"

#include <math.h>

/* The timeline of n stamps that are all in memory, as stream.c drives it. */
static quell_status fit_clock(ingest_clock *out, const double *stamp, size_t n, size_t *index,
                              quell_error *err)
{
    ingest_timeline *timeline = NULL;
    size_t prefix = n < INGEST_PREFIX ? n : INGEST_PREFIX, placed;
    quell_status status = ingest_timeline_begin(&timeline, stamp, NULL, prefix, prefix == n, err);
    if (status != QUELL_OK)
        return status;
    status = ingest_timeline_place(timeline, stamp, NULL, n, true, index, &placed, err);
    if (status == QUELL_OK)
        status = ingest_timeline_finish(timeline, out, err);
    ingest_timeline_end(timeline);
    return status;
}

/* Goal of the design: with jitter up to 20 % of a step, losses up to 5 % and a drift of 300 ppm the count
   of samples is exact and at most 0.1 % of them are misplaced. */
static const struct {
    clock_truth truth;
    double misplaced_most; /* share of the rows */
} fine_rows[] = {
    {{.rows = 100000, .step = 5.02e-4, .jitter = 0.04, .lost = 0.001, .seed = 11}, 0},
    {{.rows = 100000, .step = 5.02e-4, .jitter = 0.04, .lost = 0.05, .drift = 3e-4, .seed = 12}, 0},
    {{.rows = 100000, .step = 3.1e-4, .jitter = 0.10, .lost = 0.01, .drift = 3e-4, .seed = 13}, 0},
    {{.rows = 100000, .step = 3.1e-4, .jitter = 0.10, .lost = 0.05, .start = 1.6e9, .seed = 14}, 1e-4},
    {{.rows = 100000, .step = 7.7e-4, .jitter = 0.20, .lost = 0.01, .drift = -3e-4, .seed = 15}, 3e-4},
    {{.rows = 100000,
      .step = 7.7e-4,
      .jitter = 0.20,
      .uniform = true,
      .lost = 0.05,
      .drift = 3e-4,
      .seed = 16},
     0},
    {{.rows = 100000, .step = 7.7e-4, .jitter = 0.20, .lost = 0.05, .burst = 50, .skip = 999, .seed = 17},
     1e-4},
    /* a clock that changes by 0.6 %: the line's step has to follow */
    {{.rows = 100000, .step = 5e-4, .jitter = 0.12, .lost = 0.05, .burst = 50, .drift = 6e-3, .seed = 18},
     1e-4},
    {{.rows = 60000, .step = 1e-3, .seed = 17}, 0},
    {{.rows = 60000, .step = 1e-3, .lost = 0.02, .seed = 18}, 0},
    {{.rows = 60000, .step = 1e-3, .jitter = 0.05, .gap_at = 31000, .gap = 70000, .seed = 19}, 0},
    {{.rows = 60000, .step = 1 / 300.0, .lost = 0.02, .resolution = 1e-3, .seed = 20}, 0},
    {{.rows = 60000, .step = 1 / 613.0, .jitter = 0.05, .lost = 0.01, .resolution = 1e-3, .seed = 20}, 2e-4},
};

START_TEST(fine_stamps_get_their_places)
{
    const clock_truth *t = &fine_rows[_i].truth;
    clock_stamps s = clock_truth_make(t);
    ingest_clock clock;
    ck_assert_int_eq(fit_clock(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
    ck_assert(!clock.coarse);
    ck_assert_uint_eq(s.found[s.rows - 1] + 1 - s.rows, s.lost);
    ck_assert_uint_eq(clock.lost, s.lost);
    ck_assert_uint_le(clock_stamps_misplaced(&s), (size_t)(fine_rows[_i].misplaced_most * (double)s.rows));
    /* a resolution of g steps scatters by g / sqrt(12) more */
    double scatter = hypot(t->jitter, t->resolution / t->step / sqrt(12));
    CHECK_NEAR(clock.jitter, scatter, 0.003 + 0.02 * scatter);
    CHECK_NEAR(clock.step / s.mean_step, 1, 1e-9 + 20 * scatter / pow((double)s.rows, 1.5));
    clock_stamps_free(&s);
}
END_TEST

/* ---------------------------------------------------------------- the hard corner, over seeds */

/* Rounding about the true line itself, each row at the nearest index that is free: what no rounding clock
   can do better. */
static void round_about_the_truth(const clock_truth *t, clock_stamps *s)
{
    for (size_t i = 0; i < s->rows; i++) {
        double place = floor(s->stamp[i] / t->step + 0.5);
        size_t at = place > 0 ? (size_t)place : 0, free = i > 0 ? s->found[i - 1] + 1 : 0;
        s->found[i] = at > free ? at : free;
    }
}

/* Where a loss lies cannot always be told: a neighbour whose stamp is off by more than half a step, one
   way, belongs to the other side as likely. At a normal jitter of 20 % that is 2 (1 - Phi(2.5)) = 1.24 %
   of the losses, 5 % of the rows: 0.065 % (as many as 1 of 20 losses are of two, whose middle one has two
   chances). The bounds: 0.1 % of the design above, and no better than chance allows below. */
START_TEST(places_are_right_where_rounding_is_not)
{
    enum { SEEDS = 12 };
    double misplaced = 0, rounded = 0, rows = 0, drifted = 0;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        clock_truth t = {.rows = 40000, .step = 5e-4, .jitter = 0.2, .lost = 0.05, .seed = seed};
        clock_stamps s = clock_truth_make(&t);
        ingest_clock clock;
        ck_assert_int_eq(fit_clock(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
        ck_assert_uint_eq(clock.lost, s.lost);
        misplaced += (double)clock_stamps_misplaced(&s);
        round_about_the_truth(&t, &s);
        rounded += (double)clock_stamps_misplaced(&s);
        rows += (double)s.rows;
        clock_stamps_free(&s);
        t.drift = seed % 2 == 0 ? 3e-4 : -3e-4;
        t.wander = 1e-4;
        t.wander_samples = 10000;
        s = clock_truth_make(&t);
        ck_assert_int_eq(fit_clock(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
        ck_assert_uint_eq(clock.lost, s.lost);
        drifted += (double)clock_stamps_misplaced(&s);
        clock_stamps_free(&s);
    }
    ck_assert_double_le(misplaced / rows, 0.001);
    ck_assert_double_ge(misplaced / rows, 0.0004);
    ck_assert_double_le(drifted / rows, 0.001);
    ck_assert_double_ge(rounded / rows, 0.005);
}
END_TEST

/* The 95 % interval of the step, over 400 clocks: binomial(400, 0.95) is within 372 to 390 in 99.9 % of
   cases. */
START_TEST(the_interval_of_the_rate_covers_it)
{
    size_t covered = 0;
    for (uint64_t seed = 1; seed <= 400; seed++) {
        clock_truth t = {.rows = 3000, .step = 5e-4, .jitter = 0.08, .lost = 0.002, .seed = seed};
        clock_stamps s = clock_truth_make(&t);
        ingest_clock clock;
        ck_assert_int_eq(fit_clock(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
        covered += fabs(clock.step - t.step) < 1.96 * clock.step_error;
        clock_stamps_free(&s);
    }
    ck_assert_uint_ge(covered, 368);
    ck_assert_uint_le(covered, 400);
}
END_TEST

/* ---------------------------------------------------------------- coarse and bursty stamps */

/* Whole milliseconds at rates that do not divide them, several samples to a stamp, batches: the mean rate
   must be right to a few resolutions or latencies over the whole length, and no sample may be called lost. */
static const struct {
    clock_truth truth;
    bool bursty;
    double off_steps; /* that the rate may be wrong by over the whole length */
} coarse_rows[] = {
    {{.step = 1 / 800.0, .resolution = 1e-3}, false, 1.6},
    {{.step = 1 / 952.3, .resolution = 1e-3}, false, 2},
    {{.step = 1 / 1344.0, .resolution = 1e-3}, false, 2.7},
    {{.step = 1 / 2000.0, .resolution = 1e-3}, false, 4},
    {{.step = 1 / 3200.0, .resolution = 1e-3, .jitter = 0.1}, false, 6.4},
    {{.step = 1 / 6667.0, .resolution = 1e-3, .drift = 3e-4}, false, 13},
    {{.step = 1 / 3200.0, .batch = 32},
     false,
     32}, /* nothing tells it from stamps of a resolution of 10 ms */
    {{.step = 1 / 3200.0, .batch = 32, .latency = 2}, true, 2},
    {{.step = 1 / 3200.0, .batch = 32, .latency = 2, .ragged = true}, true, 2},
    {{.step = 1 / 3200.0, .batch = 32, .latency = 2, .resolution = 1e-3}, true, 6.4},
    {{.step = 1 / 3200.0, .batch = 25, .latency = 2, .tick = 5e-6}, true, 2},
    {{.step = 1 / 1000.0, .batch = 4, .latency = 1}, true, 2},
    {{.step = 1 / 6400.0, .batch = 512, .latency = 9, .drift = 3e-4}, true, 9},
};

START_TEST(coarse_and_bursty_stamps_give_the_mean_rate)
{
    for (uint64_t seed = 21; seed < 26; seed++) {
        clock_truth t = coarse_rows[_i].truth;
        t.rows = 20000;
        t.skip = 19;
        t.seed = seed;
        clock_stamps s = clock_truth_make(&t);
        ingest_clock clock;
        ck_assert_int_eq(fit_clock(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
        ck_assert(clock.coarse);
        ck_assert_int_eq(clock.bursty, coarse_rows[_i].bursty);
        ck_assert_uint_eq(s.found[s.rows - 1] + 1, s.rows);
        ck_assert_uint_ge(clock.least_loss, 1);
        CHECK_NEAR(clock.step / s.mean_step, 1, coarse_rows[_i].off_steps / (double)s.rows);
        clock_stamps_free(&s);
    }
}
END_TEST

/* Losses that stand out from the latency of batches, or from the resolution, are counted between them:
   nearly all of the 1 % lost 2 to 50 at a time. Without that the rate would be off by 10000 ppm. */
static const struct {
    clock_truth truth;
    double counted_least, off_ppm, misplaced_most;
} bursty_rows[] = {
    {{.step = 1 / 3200.0, .resolution = 1e-3}, 0.99, 10, 0.02},
    {{.step = 1 / 1344.0, .resolution = 1e-3}, 0.99, 10, 0.02},
    {{.step = 1 / 3200.0, .batch = 16}, 0.98, 200, 1},
    {{.step = 1 / 3200.0, .batch = 32, .latency = 0.2}, 0.98, 200, 1},
};

START_TEST(losses_between_batches_are_found)
{
    for (uint64_t seed = 1; seed <= 5; seed++) {
        clock_truth t = bursty_rows[_i].truth;
        t.rows = 60000;
        t.lost = 0.01;
        t.burst = 50;
        t.seed = seed;
        clock_stamps s = clock_truth_make(&t);
        ingest_clock clock;
        ck_assert_int_eq(fit_clock(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
        ck_assert_double_ge((double)clock.lost, bursty_rows[_i].counted_least * (double)s.lost);
        ck_assert_double_le((double)clock.lost, (double)s.lost * 1.005);
        ck_assert_double_le((double)clock_stamps_misplaced(&s),
                            bursty_rows[_i].misplaced_most * (double)s.rows);
        CHECK_NEAR(clock.step / s.mean_step, 1, 1e-6 * bursty_rows[_i].off_ppm);
        clock_stamps_free(&s);
    }
}
END_TEST

START_TEST(whole_milliseconds_at_a_whole_rate_still_show_losses)
{
    clock_truth t = {.rows = 30000, .step = 1e-3, .lost = 0.01, .resolution = 1e-3, .seed = 22};
    clock_stamps s = clock_truth_make(&t);
    for (size_t i = 0; i < s.rows; i++) /* as printed: no rounding error in the multiples */
        s.stamp[i] = (double)s.index[i];
    ingest_clock clock;
    ck_assert_int_eq(fit_clock(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
    ck_assert(!clock.coarse);
    ck_assert_uint_eq(clock_stamps_misplaced(&s), 0);
    CHECK_NEAR(clock.step, 1, 1e-12);
    clock_stamps_free(&s);
}
END_TEST

START_TEST(a_sample_too_many_slips_the_clock_once)
{
    clock_truth t = {.rows = 4000, .step = 1e-3, .jitter = 0.02, .seed = 23};
    clock_stamps s = clock_truth_make(&t);
    for (size_t i = 2001; i < s.rows; i++) /* row 2000 is there twice */
        s.stamp[i] -= t.step;
    ingest_clock clock;
    ck_assert_int_eq(fit_clock(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
    ck_assert_uint_eq(s.found[s.rows - 1] + 1, s.rows);
    ck_assert_uint_eq(clock.slipped, 1);
    clock_stamps_free(&s);
}
END_TEST

START_TEST(stamps_that_do_not_rise_are_refused)
{
    double stamp[32];
    size_t index[32];
    ingest_clock clock = {.step = 77};
    quell_error err = {0};
    for (size_t i = 0; i < 32; i++)
        stamp[i] = 5;
    ck_assert_int_eq(fit_clock(&clock, stamp, 32, index, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text, "time does not rise over 32 rows, want stamps that do, or --rate HZ");
    ck_assert_double_eq(clock.step, 77);
    for (size_t i = 0; i < 32; i++)
        stamp[i] = 31.0 - (double)i;
    ck_assert_int_eq(fit_clock(&clock, stamp, 32, index, &err), QUELL_E_DATA);
}
END_TEST

Suite *suite_ingest_clock(void)
{
    Suite *suite = suite_create("ingest clock");
    TCase *cases = tcase_create("clock");
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, fine_stamps_get_their_places, 0, (int)INGEST_COUNT(fine_rows));
    tcase_add_test(cases, places_are_right_where_rounding_is_not);
    tcase_add_test(cases, the_interval_of_the_rate_covers_it);
    tcase_add_loop_test(cases, coarse_and_bursty_stamps_give_the_mean_rate, 0,
                        (int)INGEST_COUNT(coarse_rows));
    tcase_add_loop_test(cases, losses_between_batches_are_found, 0, (int)INGEST_COUNT(bursty_rows));
    tcase_add_test(cases, whole_milliseconds_at_a_whole_rate_still_show_losses);
    tcase_add_test(cases, a_sample_too_many_slips_the_clock_once);
    tcase_add_test(cases, stamps_that_do_not_rise_are_refused);
    suite_add_tcase(suite, cases);
    return suite;
}
