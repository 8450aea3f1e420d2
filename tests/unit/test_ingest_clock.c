/* ingest: the clock. Stamps are made here from a known truth: which sample each belongs to, and the rate. */
#include "ingest_help.h"

#include "ingest/ingest_private.h"

#include <math.h>
#include <stdlib.h>

/* A recording's clock as it truly was. */
typedef struct truth {
    size_t rows;
    double step;        /* seconds between samples */
    double jitter;      /* standard deviation of the stamps, in steps */
    double lost;        /* probability that a sample is lost */
    double drift;       /* relative change of the step from start to end */
    double resolution;  /* stamps are cut down to multiples of this; 0: not */
    size_t gap_at, gap; /* after this many rows so many samples are missing */
    uint64_t seed;
} truth;

typedef struct stamps {
    double *stamp;
    size_t *index, *found;
    size_t rows, lost;
} stamps;

static stamps make_stamps(const truth *t)
{
    stamps out = {.stamp = malloc(t->rows * sizeof(double)),
                  .index = malloc(t->rows * sizeof(size_t)),
                  .found = malloc(t->rows * sizeof(size_t)),
                  .rows = t->rows};
    ck_assert(out.stamp != NULL && out.index != NULL && out.found != NULL);
    quell_random *random = quell_random_create(t->seed);
    ck_assert_ptr_nonnull(random);
    size_t index = 0;
    for (size_t i = 0; i < t->rows; i++) {
        while (i > 0 && quell_random_uniform(random) < t->lost)
            index++;
        if (i > 0 && i == t->gap_at)
            index += t->gap;
        double k = (double)index, whole = (double)t->rows;
        double time = t->step * (k + 0.5 * t->drift * k * k / whole) +
                      t->step * t->jitter * quell_random_normal(random);
        out.stamp[i] = t->resolution > 0 ? floor(time / t->resolution) * t->resolution : time;
        out.index[i] = index++;
    }
    out.lost = out.index[t->rows - 1] + 1 - t->rows;
    quell_random_destroy(random);
    return out;
}

static void free_stamps(stamps *s)
{
    free(s->stamp);
    free(s->index);
    free(s->found);
}

static size_t misplaced(const stamps *s)
{
    size_t count = 0;
    for (size_t i = 0; i < s->rows; i++)
        count += s->found[i] != s->index[i];
    return count;
}

/* Goal of the design: with jitter up to 20 % of a step, losses up to 5 % and a drift of 300 ppm the count of samples
   is exact and at most 0.1 % of them are misplaced. This is the table of what the rounding clock must do: exact
   counts throughout; places to 0.1 % up to 10 % jitter; at 20 % a misplaced loss costs a neighbour now and then. */
static const struct {
    truth truth;
    double misplaced_most; /* share of the rows */
} fine_rows[] = {
    {{.rows = 100000, .step = 5.02e-4, .jitter = 0.04, .lost = 0.001, .seed = 11}, 0},
    {{.rows = 100000, .step = 5.02e-4, .jitter = 0.04, .lost = 0.05, .drift = 3e-4, .seed = 12}, 0},
    {{.rows = 100000, .step = 3.1e-4, .jitter = 0.10, .lost = 0.01, .drift = 3e-4, .seed = 13}, 0.001},
    {{.rows = 100000, .step = 3.1e-4, .jitter = 0.10, .lost = 0.05, .seed = 14}, 0.001},
    {{.rows = 100000, .step = 7.7e-4, .jitter = 0.20, .lost = 0.01, .drift = -3e-4, .seed = 15}, 0.001},
    {{.rows = 100000, .step = 7.7e-4, .jitter = 0.20, .lost = 0.05, .drift = 3e-4, .seed = 16}, 0.004},
    {{.rows = 60000, .step = 1e-3, .seed = 17}, 0},
    {{.rows = 60000, .step = 1e-3, .lost = 0.02, .seed = 18}, 0},
    {{.rows = 60000, .step = 1e-3, .jitter = 0.05, .gap_at = 31000, .gap = 70000, .seed = 19}, 0},
};

START_TEST(fine_stamps_get_their_places)
{
    const truth *t = &fine_rows[_i].truth;
    stamps s = make_stamps(t);
    ingest_clock clock;
    ck_assert_int_eq(ingest_clock_fit(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
    ck_assert(!clock.coarse);
    ck_assert_uint_eq(s.found[s.rows - 1] + 1 - s.rows, s.lost);
    ck_assert_uint_le(misplaced(&s), (size_t)(fine_rows[_i].misplaced_most * (double)s.rows));
    CHECK_NEAR(clock.jitter, t->jitter, 0.003 + 0.02 * t->jitter);
    /* the drift ends half a time off the mean step */
    double mean_step = t->step * (1 + 0.5 * t->drift * (double)s.index[s.rows - 1] / (double)t->rows);
    CHECK_NEAR(clock.step / mean_step, 1,
               1e-9 + 6 * t->jitter / pow((double)s.rows, 1.5) + 2e-6 * (t->drift != 0));
    free_stamps(&s);
}
END_TEST

/* The 95 % interval of the step, over 400 clocks: binomial(400, 0.95) is within 372 to 390 in 99.9 % of cases. */
START_TEST(the_interval_of_the_rate_covers_it)
{
    size_t covered = 0;
    for (uint64_t seed = 1; seed <= 400; seed++) {
        truth t = {.rows = 3000, .step = 5e-4, .jitter = 0.08, .lost = 0.002, .seed = seed};
        stamps s = make_stamps(&t);
        ingest_clock clock;
        ck_assert_int_eq(ingest_clock_fit(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
        covered += fabs(clock.step - t.step) < 1.96 * clock.step_error;
        free_stamps(&s);
    }
    ck_assert_uint_ge(covered, 368);
    ck_assert_uint_le(covered, 400);
}
END_TEST

/* Whole milliseconds at rates that do not divide them, and several samples to a stamp: the mean rate must be right
   to a few resolutions over the whole length, and no sample may be called lost. */
static const struct {
    double rate_hz, jitter;
} coarse_rows[] = {{800, 0},    {952.3, 0},  {1344, 0}, {2000, 0},
                   {3200, 0.1}, {613, 0.02}, {300, 0},  {130.7, 0.01}};

START_TEST(coarse_stamps_give_the_mean_rate)
{
    truth t = {.rows = 20000,
               .step = 1 / coarse_rows[_i].rate_hz,
               .jitter = coarse_rows[_i].jitter,
               .resolution = 1e-3,
               .seed = 21};
    stamps s = make_stamps(&t);
    ingest_clock clock;
    ck_assert_int_eq(ingest_clock_fit(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
    ck_assert_uint_eq(s.found[s.rows - 1] + 1, s.rows);
    double length_s = (double)s.rows * t.step;
    CHECK_NEAR(clock.step / t.step, 1, 2 * t.resolution / length_s);
    free_stamps(&s);
}
END_TEST

START_TEST(whole_milliseconds_at_a_whole_rate_still_show_losses)
{
    truth t = {.rows = 30000, .step = 1e-3, .lost = 0.01, .resolution = 1e-3, .seed = 22};
    stamps s = make_stamps(&t);
    for (size_t i = 0; i < s.rows; i++) /* as printed: no rounding error in the multiples */
        s.stamp[i] = (double)s.index[i];
    ingest_clock clock;
    ck_assert_int_eq(ingest_clock_fit(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
    ck_assert(!clock.coarse);
    ck_assert_uint_eq(misplaced(&s), 0);
    CHECK_NEAR(clock.step, 1, 1e-12);
    free_stamps(&s);
}
END_TEST

START_TEST(a_sample_too_many_slips_the_clock_once)
{
    truth t = {.rows = 4000, .step = 1e-3, .jitter = 0.02, .seed = 23};
    stamps s = make_stamps(&t);
    for (size_t i = 2001; i < s.rows; i++) /* row 2000 is there twice */
        s.stamp[i] -= t.step;
    ingest_clock clock;
    ck_assert_int_eq(ingest_clock_fit(&clock, s.stamp, s.rows, s.found, NULL), QUELL_OK);
    ck_assert_uint_eq(s.found[s.rows - 1] + 1, s.rows);
    free_stamps(&s);
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
    ck_assert_int_eq(ingest_clock_fit(&clock, stamp, 32, index, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text, "time does not rise over 32 rows, want stamps that do, or --rate HZ");
    ck_assert_double_eq(clock.step, 77);
    for (size_t i = 0; i < 32; i++)
        stamp[i] = 31.0 - (double)i;
    ck_assert_int_eq(ingest_clock_fit(&clock, stamp, 32, index, &err), QUELL_E_DATA);
}
END_TEST

Suite *suite_ingest_clock(void)
{
    Suite *suite = suite_create("ingest clock");
    TCase *cases = tcase_create("clock");
    tcase_set_timeout(cases, 60);
    tcase_add_loop_test(cases, fine_stamps_get_their_places, 0, (int)INGEST_COUNT(fine_rows));
    tcase_add_test(cases, the_interval_of_the_rate_covers_it);
    tcase_add_loop_test(cases, coarse_stamps_give_the_mean_rate, 0, (int)INGEST_COUNT(coarse_rows));
    tcase_add_test(cases, whole_milliseconds_at_a_whole_rate_still_show_losses);
    tcase_add_test(cases, a_sample_too_many_slips_the_clock_once);
    tcase_add_test(cases, stamps_that_do_not_rise_are_refused);
    suite_add_tcase(suite, cases);
    return suite;
}
