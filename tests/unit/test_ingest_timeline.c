/* ingest: the clock while rows pass. How they are split must not matter; counters, late stamps, pauses and
   nonsense must come out as stated. */
#include "clock_truth.h"
#include "suites.h"

#include "ingest/timeline_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---------------------------------------------------------------- running it */

typedef struct outcome {
    quell_status status;
    ingest_clock clock;
    quell_error err;
} outcome;

/* All rows, `piece` of them at a time (random sizes up to -piece if negative), those that were held given
   again. */
static outcome run(const double *stamp, const double *counter, size_t n, size_t *index, int piece)
{
    outcome out = {.clock = {.step = 77}};
    ingest_timeline *timeline = NULL;
    quell_random *random = quell_random_create(91);
    size_t prefix = n < INGEST_PREFIX ? n : INGEST_PREFIX, at = 0, end = 0;
    out.status = ingest_timeline_begin(&timeline, stamp, counter, prefix, prefix == n, &out.err);
    while (out.status == QUELL_OK && at < n) {
        size_t more = piece > 0 ? (size_t)piece : 1 + (size_t)(quell_random_uniform(random) * -piece),
               placed = 0;
        end = end + more < n ? end + more : n;
        out.status = ingest_timeline_place(timeline, stamp == NULL ? NULL : stamp + at,
                                           counter == NULL ? NULL : counter + at, end - at, end == n,
                                           index + at, &placed, &out.err);
        ck_assert(out.status != QUELL_OK || (placed <= end - at && end - at - placed < INGEST_HELD));
        ck_assert(out.status != QUELL_OK || end < n || placed == end - at);
        at += placed;
    }
    if (out.status == QUELL_OK)
        out.status = ingest_timeline_finish(timeline, &out.clock, &out.err);
    if (timeline != NULL)
        ingest_timeline_end(timeline);
    quell_random_destroy(random);
    return out;
}

static void ck_increasing(const size_t *index, size_t n)
{
    ck_assert_uint_eq(index[0], 0);
    for (size_t i = 1; i < n; i++)
        ck_assert_uint_gt(index[i], index[i - 1]);
}

/* The counter of a true index: starting at `from`, `stride` a sample, anew at `modulus`; every `hole`-th
   one missing. */
static double *make_counter(const clock_stamps *s, double from, double stride, double modulus, size_t hole)
{
    double *counter = malloc(s->rows * sizeof *counter);
    ck_assert_ptr_nonnull(counter);
    for (size_t i = 0; i < s->rows; i++) {
        double count = from + stride * (double)s->index[i];
        counter[i] = hole > 0 && i % hole == hole / 2 ? (double)NAN
                     : modulus > 0                    ? fmod(count, modulus)
                                                      : count;
    }
    return counter;
}

/* ---------------------------------------------------------------- pieces */

static const struct {
    clock_truth truth;
    size_t hole; /* with a counter */
} pieces[] = {
    {{.rows = 30000, .step = 5e-4, .seed = 1}, 0},
    {{.rows = 30000, .step = 5e-4, .jitter = 0.04, .lost = 0.002, .seed = 2}, 0},
    {{.rows = 30000, .step = 5e-4, .jitter = 0.2, .lost = 0.05, .burst = 50, .seed = 3}, 0},
    {{.rows = 30000, .step = 5e-4, .jitter = 0.2, .lost = 0.05, .gap_at = 15555, .gap = 90000, .seed = 4}, 0},
    {{.rows = 30000, .step = 1 / 3200.0, .resolution = 1e-3, .lost = 0.01, .burst = 50, .seed = 5}, 0},
    {{.rows = 30000, .step = 1 / 3200.0, .batch = 32, .latency = 2, .lost = 0.01, .burst = 50, .seed = 6}, 0},
    {{.rows = 30000, .step = 5e-4, .jitter = 0.4, .lost = 0.05, .burst = 9, .seed = 7}, 7},
    {{.rows = 700, .step = 5e-4, .jitter = 0.1, .lost = 0.05, .seed = 8}, 0},
};

START_TEST(it_does_not_matter_how_rows_are_split)
{
    static const int sizes[] = {INGEST_BATCH, 1, -3000, 513, 64};
    clock_stamps s = clock_truth_make(&pieces[_i].truth);
    double *counter = pieces[_i].hole > 0 ? make_counter(&s, 77, 1, 0, pieces[_i].hole) : NULL;
    size_t *again = malloc(s.rows * sizeof *again);
    outcome whole = run(s.stamp, counter, s.rows, s.found, (int)s.rows);
    ck_assert_int_eq(whole.status, QUELL_OK);
    ck_increasing(s.found, s.rows);
    for (size_t k = 0; k < INGEST_COUNT(sizes); k++) {
        outcome part = run(s.stamp, counter, s.rows, again, sizes[k]);
        ck_assert_int_eq(part.status, QUELL_OK);
        ck_assert_int_eq(memcmp(again, s.found, s.rows * sizeof *again), 0);
        ck_assert(part.clock.step == whole.clock.step && part.clock.origin == whole.clock.origin);
        ck_assert(part.clock.jitter == whole.clock.jitter && part.clock.step_error == whole.clock.step_error);
        ck_assert_uint_eq(part.clock.lost, whole.clock.lost);
    }
    free(again);
    free(counter);
    clock_stamps_free(&s);
}
END_TEST

/* ---------------------------------------------------------------- counters */

/* A counter settles losses exactly, whatever the stamps are like. */
static const struct {
    clock_truth truth;
    double from, stride, modulus;
    size_t hole;
    bool stamps;
} counted[] = {
    {{.rows = 20000, .step = 5e-4, .jitter = 0.4, .lost = 0.05, .seed = 31}, 0, 1, 0, 0, true},
    {{.rows = 20000, .step = 5e-4, .jitter = 0.1, .lost = 0.05, .seed = 32}, 250, 1, 256, 0, true},
    {{.rows = 90000, .step = 5e-4, .jitter = 0.1, .lost = 0.05, .burst = 50, .seed = 33},
     65000,
     1,
     65536,
     0,
     true},
    {{.rows = 20000, .step = 5e-4, .jitter = 0.1, .lost = 0.05, .seed = 34},
     4294967000.0,
     1,
     4294967296.0,
     0,
     true},
    {{.rows = 20000, .step = 5e-4, .jitter = 0.05, .lost = 0.01, .seed = 35}, 3, 1, 256, 11, true},
    {{.rows = 20000, .step = 5e-4, .jitter = 0.05, .gap_at = 9000, .gap = 123456, .seed = 36},
     3,
     1,
     256,
     0,
     true},
    {{.rows = 20000, .step = 1 / 3200.0, .resolution = 1e-3, .lost = 0.05, .seed = 37}, 9, 1, 256, 0, true},
    {{.rows = 20000, .step = 1 / 3200.0, .batch = 25, .latency = 20, .lost = 0.05, .seed = 38},
     9,
     1,
     65536,
     0,
     true},
    {{.rows = 20000, .step = 5e-4, .jitter = 0.1, .lost = 0.05, .seed = 39}, 1000, 10, 0, 0, true},
    {{.rows = 20000, .step = 5e-4, .lost = 0.05, .burst = 50, .seed = 40}, 250, 1, 256, 0, false},
    {{.rows = 20000, .step = 5e-4, .lost = 0.05, .burst = 50, .seed = 41}, 250, 1, 0, 0, false},
};

START_TEST(a_counter_settles_losses)
{
    clock_stamps s = clock_truth_make(&counted[_i].truth);
    double *counter =
        make_counter(&s, counted[_i].from, counted[_i].stride, counted[_i].modulus, counted[_i].hole);
    outcome got = run(counted[_i].stamps ? s.stamp : NULL, counter, s.rows, s.found, INGEST_BATCH);
    ck_assert_msg(got.status == QUELL_OK, "%s", got.err.text);
    ck_assert(got.clock.by_counter);
    ck_assert_uint_eq(got.clock.resets, 0);
    ck_assert_uint_eq(got.clock.lost, s.lost);
    ck_assert_uint_eq(clock_stamps_misplaced(&s), 0);
    if (counted[_i].stamps)
        CHECK_NEAR(got.clock.step / s.mean_step, 1, 2e-5);
    else
        CHECK_NEAR(got.clock.step, 1, 1e-12);
    free(counter);
    clock_stamps_free(&s);
}
END_TEST

/* Set back to nothing, or one count spoilt: the stamps bridge it. */
START_TEST(a_counter_that_is_set_back_is_bridged)
{
    clock_truth t = {
        .rows = 20000, .step = 5e-4, .jitter = 0.05, .lost = 0.01, .gap_at = 5000, .gap = 40, .seed = 45};
    clock_stamps s = clock_truth_make(&t);
    double *counter = make_counter(&s, 100, 1, 0, 0);
    for (size_t i = 5000; i < s.rows; i++)
        counter[i] -= counter[4999] + (double)(s.index[5000] - s.index[4999]);
    counter[12000] = 900000;
    outcome got = run(s.stamp, counter, s.rows, s.found, INGEST_BATCH);
    ck_assert_int_eq(got.status, QUELL_OK);
    ck_assert_uint_eq(got.clock.resets, 3);
    ck_assert_uint_eq(clock_stamps_misplaced(&s), 0);
    free(counter);
    clock_stamps_free(&s);
}
END_TEST

/* Columns that are called a counter and count something else: the stamps alone are used. */
START_TEST(a_counter_that_counts_no_samples_is_left_out)
{
    clock_truth t = {.rows = 20000, .step = 5e-4, .jitter = 0.05, .lost = 0.01, .seed = 46};
    clock_stamps s = clock_truth_make(&t);
    double *counter = malloc(s.rows * sizeof *counter);
    for (int kind = 0; kind < 5; kind++) {
        for (size_t i = 0; i < s.rows; i++)
            counter[i] = kind == 0    ? 5                        /* a constant */
                         : kind == 1  ? (double)(i / 10)         /* packets */
                         : kind == 2  ? floor(s.stamp[i] * 1e6)  /* a clock */
                         : kind == 3  ? (double)s.index[i] + 0.5 /* no whole numbers */
                         : i % 3 == 0 ? (double)s.index[i]
                                      : (double)NAN; /* mostly missing */
        outcome got = run(s.stamp, counter, s.rows, s.found, INGEST_BATCH);
        ck_assert_int_eq(got.status, QUELL_OK);
        ck_assert(!got.clock.by_counter);
        ck_assert_uint_eq(clock_stamps_misplaced(&s), 0);
        ck_assert_int_eq(run(NULL, counter, s.rows, s.found, INGEST_BATCH).status, QUELL_E_DATA);
    }
    free(counter);
    clock_stamps_free(&s);
}
END_TEST

/* ---------------------------------------------------------------- late stamps, pauses */

/* Now and then the logger sleeps, and the rows that pile up are stamped when it wakes. */
START_TEST(stamps_that_come_late_and_catch_up_are_no_loss)
{
    clock_truth t = {.rows = 60000, .step = 5e-4, .jitter = 0.03, .lost = 0.001, .seed = 50};
    clock_stamps s = clock_truth_make(&t);
    quell_random *random = quell_random_create(51);
    for (size_t i = 500; i < s.rows - 500; i += 700) {
        size_t length = 2 + (size_t)(quell_random_uniform(random) * 300);
        for (size_t j = i; j < i + length; j++)
            s.stamp[j] = s.stamp[i + length] - (double)(i + length - j) * 1e-6;
    }
    outcome got = run(s.stamp, NULL, s.rows, s.found, INGEST_BATCH);
    ck_assert_msg(got.status == QUELL_OK, "%s", got.err.text);
    ck_assert_uint_eq(got.clock.lost, s.lost);
    /* where a loss lies among rows of one stamp cannot be told: of 47 losses a fifth falls into a sleep,
       75 rows from its start on average, or its end */
    ck_assert_uint_le(clock_stamps_misplaced(&s), s.rows / 50);
    ck_assert_uint_ge(got.clock.late, s.rows / 7);
    CHECK_NEAR(got.clock.step / s.mean_step, 1, 2e-6);
    quell_random_destroy(random);
    clock_stamps_free(&s);
}
END_TEST

START_TEST(a_pause_of_minutes_is_a_gap)
{
    clock_truth t = {
        .rows = 40000, .step = 5e-4, .jitter = 0.1, .lost = 0.01, .gap_at = 20001, .gap = 600000, .seed = 52};
    clock_stamps s = clock_truth_make(&t);
    outcome got = run(s.stamp, NULL, s.rows, s.found, INGEST_BATCH);
    ck_assert_int_eq(got.status, QUELL_OK);
    ck_assert_uint_ge(got.clock.longest, 600000);
    ck_assert_uint_eq(got.clock.lost, s.lost);
    ck_assert_uint_eq(clock_stamps_misplaced(&s), 0);
    clock_stamps_free(&s);
}
END_TEST

/* ---------------------------------------------------------------- what is refused */

enum { BAD_ROWS = 20000, BAD_AT = 12345 };

static void spoil(double *stamp, size_t n, int how, quell_random *random)
{
    for (size_t i = BAD_AT; i < n; i++)
        switch (how) {
        case 0:
            stamp[i] -= 3 * 5e-4;
            break; /* back by three steps */
        case 1:
            stamp[i] = 5e-4 * (double)(i - BAD_AT);
            break; /* a clock that starts anew */
        case 2:
            stamp[i] += 1e7;
            break; /* 2e10 steps ahead */
        case 3:
            stamp[i] = stamp[BAD_AT - 1];
            break; /* stands still */
        case 4:
            stamp[i] = stamp[i - 1] + 5e-4 * 7 * quell_random_uniform(random);
            break; /* any steps */
        case 5:
            stamp[i] = stamp[BAD_AT - 1] + 2.5e-4 * (double)(i - BAD_AT + 1);
            break; /* twice as fast */
        case 6:
            stamp[i] = i == BAD_AT ? (double)NAN : stamp[i];
            break;
        case 7:
            stamp[i] = i == BAD_AT ? (double)INFINITY : stamp[i];
            break;
        default:
            stamp[i] = -1e308;
            break;
        }
}

static const char *const refusals[] = {"time goes back by",
                                       "time goes back by",
                                       "time jumps by more than 1e9 steps",
                                       "time stops rising after",
                                       "the stamps keep no steady step",
                                       "the stamps keep no steady step",
                                       "time jumps by more than 1e9 steps",
                                       "time jumps by more than 1e9 steps",
                                       "time goes back by"};

START_TEST(stamps_that_go_astray_are_refused)
{
    clock_truth t = {.rows = BAD_ROWS, .step = 5e-4, .jitter = 0.02, .seed = 60};
    clock_stamps s = clock_truth_make(&t);
    quell_random *random = quell_random_create(61);
    spoil(s.stamp, s.rows, _i, random);
    outcome got = run(s.stamp, NULL, s.rows, s.found, INGEST_BATCH);
    ck_assert_int_eq(got.status, QUELL_E_DATA);
    ck_assert_msg(strstr(got.err.text, refusals[_i]) != NULL, "%s", got.err.text);
    const char *after = strstr(got.err.text, "after ");
    ck_assert_ptr_nonnull(after);
    ck_assert_double_ge(strtod(after + 6, NULL), BAD_AT - 512);
    ck_assert_double_le(strtod(after + 6, NULL), BAD_AT + 4000);
    ck_assert_double_eq(got.clock.step, 77);
    quell_random_destroy(random);
    clock_stamps_free(&s);
}
END_TEST

/* Any numbers give a result or a refusal; nothing that is not finite comes out. */
START_TEST(any_numbers_give_a_clock_or_a_refusal)
{
    enum { ROWS = 3000 };
    double stamp[ROWS], counter[ROWS];
    size_t index[ROWS];
    quell_random *random = quell_random_create((uint64_t)_i + 1);
    double scale = pow(10, 20 * quell_random_uniform(random) - 10),
           time = scale * quell_random_normal(random);
    for (size_t i = 0; i < ROWS; i++) {
        double die = quell_random_uniform(random);
        time += scale * (die < 0.9    ? 1
                         : die < 0.93 ? 0
                         : die < 0.95 ? 1e3 * quell_random_uniform(random)
                                      : 1.5);
        if (_i % 3 == 0 && die > 0.999)
            time = pow(10, 600 * quell_random_uniform(random) - 300);
        stamp[i] = time;
        counter[i] = die > 0.99   ? pow(10, 600 * quell_random_uniform(random) - 300)
                     : die < 0.02 ? (double)NAN
                                  : (double)i;
    }
    for (int way = 0; way < 3; way++) {
        outcome got = run(way == 2 ? NULL : stamp, way == 0 ? NULL : counter, ROWS, index, 999);
        if (got.status != QUELL_OK) {
            ck_assert_int_eq(got.status, QUELL_E_DATA);
            ck_assert_uint_gt(strlen(got.err.text), 10);
            continue;
        }
        ck_increasing(index, ROWS);
        ck_assert(isfinite(got.clock.step) && got.clock.step > 0 && isfinite(got.clock.origin));
        ck_assert(isfinite(got.clock.step_error) && isfinite(got.clock.jitter));
    }
    quell_random_destroy(random);
}
END_TEST

START_TEST(memory_that_runs_out_is_said)
{
    double stamp[100];
    for (size_t i = 0; i < 100; i++)
        stamp[i] = (double)i;
    for (size_t nth = 1; nth <= 2; nth++) {
        ingest_timeline *timeline = NULL;
        quell_error err = {0};
        quell_memory_fail_at(nth);
        ck_assert_int_eq(ingest_timeline_begin(&timeline, stamp, NULL, 100, true, &err), QUELL_E_MEMORY);
        quell_memory_fail_at(0);
        ck_assert_ptr_null(timeline);
        ck_assert_str_eq(err.text, "out of memory for the clock");
    }
}
END_TEST

/* ---------------------------------------------------------------- the regression */

/* Against sums over all rows in long double, by the definitions: the slope, the jitter within blocks of 64 rows about
   their means, the scatter of the means of cells: 9000 blocks are more than 4096, and more than 8192, so that a
   cell has four. */
static long double square_of_means(const clock_stamps *s, size_t from, size_t count, long double mean,
                                   long double slope, long double middle, long double *within)
{
    long double sum = 0, square = 0;
    for (size_t i = from; i < from + count; i++) {
        long double off = ((long double)s->stamp[i] - 1.6e9L - mean) / slope - ((long double)i - middle);
        sum += off / (long double)count;
        square += off * off;
    }
    *within += square - sum * sum * (long double)count;
    return sum * sum;
}

START_TEST(the_regression_agrees_with_one_over_all_rows)
{
    enum { ROWS = 64 * 9000, CELL = 4 * 64 };
    clock_truth t = {.rows = ROWS,
                     .step = 5e-4,
                     .jitter = 0.08,
                     .wander = 1e-4,
                     .wander_samples = 9000,
                     .start = 1.6e9,
                     .seed = 70};
    clock_stamps s = clock_truth_make(&t);
    outcome got = run(s.stamp, NULL, s.rows, s.found, INGEST_BATCH);
    ck_assert_int_eq(got.status, QUELL_OK);
    ck_assert_uint_eq(clock_stamps_misplaced(&s), 0);
    long double mean = 0, both = 0, square = 0, within = 0, between = 0, unused = 0,
                middle = 0.5L * (ROWS - 1);
    for (size_t i = 0; i < ROWS; i++)
        mean += ((long double)s.stamp[i] - 1.6e9L) / ROWS;
    for (size_t i = 0; i < ROWS; i++) {
        both += ((long double)i - middle) * ((long double)s.stamp[i] - 1.6e9L - mean);
        square += ((long double)i - middle) * ((long double)i - middle);
    }
    long double slope = both / square, cells = ROWS / CELL;
    for (size_t i = 0; i < ROWS; i += 64)
        square_of_means(&s, i, 64, mean, slope, middle, &within);
    for (size_t i = 0; i < ROWS; i += CELL)
        between += square_of_means(&s, i, CELL, mean, slope, middle, &unused);
    long double error = slope * sqrtl(between / (cells - 2) * 12 / cells) / ROWS;
    CHECK_NEAR(got.clock.step, (double)slope, 1e-12 * 5e-4);
    CHECK_NEAR(got.clock.jitter, (double)sqrtl(within / (ROWS - ROWS / 64)), 1e-7);
    CHECK_NEAR(got.clock.step_error, (double)error, 1e-4 * (double)error);
    CHECK_NEAR(got.clock.origin, (double)(1.6e9L + mean - slope * middle), 1e-6);
    clock_stamps_free(&s);
}
END_TEST

/* A thousand million rows in blocks whose sums are known: a step 40 ppm longer than the reference, and a
   jitter that is the same in each block. Nothing may cancel. */
START_TEST(nothing_cancels_over_a_thousand_million_rows)
{
    ingest_slope *slope = quell_memory_get(sizeof *slope);
    ck_assert_ptr_nonnull(slope);
    const double step = 5e-4, tilt = 4e-5, jitter = 0.01, blocks = 15625000;
    ingest_slope_begin(slope, 1.6e9, step);
    for (double b = 0; b < blocks; b++) {
        ingest_cell block = {.rows = 64, .index = 64 * b + 31.5, .index2 = 64 * 4095 / 12.0};
        block.late = tilt * block.index + 0.25;
        block.both = tilt * block.index2;
        ingest_slope_add(slope, &block, tilt * tilt * block.index2 + 63 * jitter * jitter);
    }
    ingest_clock got;
    ck_assert(ingest_slope_fit(slope, &got));
    CHECK_NEAR(got.step / (step * (1 + tilt)), 1, 1e-14);
    CHECK_NEAR(got.origin, 1.6e9 + 0.25 * step, 1e-6);
    CHECK_NEAR(got.jitter / (jitter / (1 + tilt)), 1, 1e-9);
    /* sqrt(12) jitter / N^1.5 */
    CHECK_NEAR(got.step_error / (step * jitter * sqrt(12) / pow(1e9, 1.5)), 1, 1e-3);
    quell_memory_free(slope);
}
END_TEST

Suite *suite_ingest_timeline(void)
{
    Suite *suite = suite_create("ingest timeline");
    TCase *cases = tcase_create("timeline");
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, it_does_not_matter_how_rows_are_split, 0, (int)INGEST_COUNT(pieces));
    tcase_add_loop_test(cases, a_counter_settles_losses, 0, (int)INGEST_COUNT(counted));
    tcase_add_test(cases, a_counter_that_is_set_back_is_bridged);
    tcase_add_test(cases, a_counter_that_counts_no_samples_is_left_out);
    tcase_add_test(cases, stamps_that_come_late_and_catch_up_are_no_loss);
    tcase_add_test(cases, a_pause_of_minutes_is_a_gap);
    tcase_add_loop_test(cases, stamps_that_go_astray_are_refused, 0, (int)INGEST_COUNT(refusals));
    tcase_add_loop_test(cases, any_numbers_give_a_clock_or_a_refusal, 0, 200);
    tcase_add_test(cases, memory_that_runs_out_is_said);
    tcase_add_test(cases, the_regression_agrees_with_one_over_all_rows);
    tcase_add_test(cases, nothing_cancels_over_a_thousand_million_rows);
    suite_add_tcase(suite, cases);
    return suite;
}
