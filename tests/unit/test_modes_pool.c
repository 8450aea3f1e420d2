/* pooling of modes over recordings: the average, the matching, and whether the interval holds the machine. */
#include "suites.h"

#include "modes/pool_private.h"

#include <math.h>
#include <string.h>

/* ---------------------------------------------------------------- the average */

/* Thirteen trials of BCG vaccination (positive and negative of the treated, then of the control group) as ln of the
   relative risk. The data of G. A. Colditz et al., JAMA 271, 1994; the average by DerSimonian and Laird as the literature
   gives it: tau^2 0.3088, mean -0.7141, standard error 0.1787 (all from memory). */
START_TEST(average_is_the_published_one)
{
    static const double trial[13][4] = {
        {4, 119, 11, 128},      {6, 300, 29, 274},      {3, 228, 11, 209},        {62, 13536, 248, 12619},
        {33, 5036, 47, 5761},   {180, 1361, 372, 1079}, {8, 2537, 10, 619},       {505, 87886, 499, 87892},
        {29, 7470, 45, 7232},   {17, 1699, 65, 1600},   {186, 50448, 141, 27197}, {5, 2493, 3, 2338},
        {27, 16886, 29, 17825},
    };
    pool_estimate each[13];
    for (size_t i = 0; i < 13; i++) {
        const double *of = trial[i], treated = of[0] + of[1], control = of[2] + of[3];
        each[i].value = log(of[0] / treated / (of[2] / control));
        each[i].se = sqrt(1 / of[0] - 1 / treated + 1 / of[2] - 1 / control);
    }
    pool_average got = pool_random_effects(each, 13);
    CHECK_NEAR(got.between_variance, 0.3088, 5e-5);
    CHECK_NEAR(got.mean, -0.7141, 5e-5);
    CHECK_NEAR(got.se, 0.1787, 5e-5);
}
END_TEST

/* Scatter that the errors explain: weights 1/se^2 alone. Worked out with fractions: weights 4, 1, 1 on 0, 1, -1. */
START_TEST(scatter_within_the_errors_is_no_spread)
{
    const pool_estimate each[] = {{0, 0.5}, {1, 1}, {-1, 1}};
    pool_average got = pool_random_effects(each, 3);
    ck_assert_double_eq(got.between_variance, 0);
    CHECK_NEAR(got.mean, 0, 1e-15);
    CHECK_NEAR(got.se, 1 / sqrt(6), 1e-15);
}
END_TEST

/* ---------------------------------------------------------------- recordings */

/* Relative standard errors: of f, of zeta; of c as it is. */
typedef struct errors {
    double f, zeta, c;
} errors;

static const errors usual = {0.004, 0.05, 0.05};

static quell_mode measured(double hz, double zeta, double c, errors se)
{
    double f = exp(POOL_Z95 * se.f), z = exp(POOL_Z95 * se.zeta), reach = POOL_Z95 * se.c;
    return (quell_mode){.frequency_hz = hz,
                        .frequency_ci95_hz = {hz / f, hz * f},
                        .damping_ratio = zeta,
                        .damping_ratio_ci95 = {zeta / z, zeta * z},
                        .participation = c,
                        .participation_ci95 = {c - reach, c + reach},
                        .direction = {1, 0, 0},
                        .half_power_damping_ratio = (double)NAN,
                        .decay_damping_ratio = (double)NAN,
                        .decay_damping_ratio_ci95 = {(double)NAN, (double)NAN}};
}

static quell_modes recording(size_t count, const double *hz)
{
    quell_modes modes = {.count = count, .participation_known = true, .excitation = "a sweep"};
    for (size_t k = 0; k < count; k++)
        modes.mode[k] = measured(hz[k], 0.04, 1, usual);
    return modes;
}

/* A recording of a machine whose mode lies at hz, zeta, seen with errors. */
static quell_modes observe(quell_random *random, double hz, double zeta)
{
    return (quell_modes){.count = 1,
                         .mode = {measured(hz * exp(usual.f * quell_random_normal(random)),
                                           zeta * exp(usual.zeta * quell_random_normal(random)),
                                           1 + usual.c * quell_random_normal(random), usual)}};
}

/* But for rounding. */
static bool holds(const double interval[2], double value)
{
    return interval[0] <= value + 1e-12 && value - 1e-12 <= interval[1];
}

/* How often pooled intervals hold the truth of each recording, and how wide they are beside that of one. */
typedef struct tally {
    double f_held, zeta_held, width, half_range;
} tally;

static tally simulate_machine(size_t recordings, double spread, const char *const *label, int trials)
{
    quell_random *random = quell_random_create(20);
    tally sum = {0};
    for (int trial = 0; trial < trials; trial++) {
        quell_modes each[QUELL_RECORDINGS_MAX], pooled;
        quell_mode_spread of[QUELL_MODES_MAX];
        double hz[QUELL_RECORDINGS_MAX], zeta[QUELL_RECORDINGS_MAX];
        for (size_t i = 0; i < recordings; i++) {
            hz[i] = 47.3 * exp(spread * quell_random_normal(random));
            zeta[i] = 0.046 * exp(5 * spread * quell_random_normal(random));
            each[i] = observe(random, hz[i], zeta[i]);
        }
        quell_modes_pool(each, recordings, label, &pooled, of);
        const quell_mode *mode = &pooled.mode[0];
        for (size_t i = 0; i < recordings; i++) {
            sum.f_held += holds(mode->frequency_ci95_hz, hz[i]);
            sum.zeta_held += holds(mode->damping_ratio_ci95, zeta[i]);
        }
        sum.width += log(mode->frequency_ci95_hz[1] / mode->frequency_ci95_hz[0]) / (2 * POOL_Z95 * usual.f);
        sum.half_range += of[0].half_range_hz / mode->frequency_hz;
    }
    quell_random_destroy(random);
    double all = trials * (double)recordings;
    return (tally){sum.f_held / all, sum.zeta_held / all, sum.width / trials, sum.half_range / trials};
}

enum { TRIALS = 2000 };

/* The truth is one value. The width follows from the number of recordings: about 1/sqrt(5), and what chance scatter
   that looks like spread adds. 95 % of 2000: 0.94 lies two standard errors below. */
START_TEST(repeats_of_one_condition_shrink_the_error)
{
    static const char *const same[] = {"z=0", "z=0", "z=0", "z=0", "z=0"};
    const tally one = simulate_machine(1, 0, NULL, TRIALS), five = simulate_machine(5, 0, NULL, TRIALS),
                labelled = simulate_machine(5, 0, same, TRIALS);
    CHECK_NEAR(one.f_held, 0.95, 0.015);
    CHECK_NEAR(one.width, 1, 1e-9);
    ck_assert_double_ge(five.f_held, 0.94);
    ck_assert_double_ge(five.zeta_held, 0.94);
    ck_assert_double_le(five.width, 0.75);
    ck_assert_double_ge(five.width, 1 / sqrt(5));
    ck_assert_double_le(five.half_range, usual.f); /* mere error is no drift */
    ck_assert_double_eq(labelled.width, five.width);
}
END_TEST

/* The truth differs by 2 % (zeta: 10 %) from recording to recording: the interval is to hold all of them. */
START_TEST(spread_between_recordings_is_held)
{
    static const char *const apart[] = {"z=0", "z=60", "z=120", "z=180", "z=240"};
    for (size_t n = 2; n <= 5; n++) {
        const tally conditions = simulate_machine(n, 0.02, apart, TRIALS),
                    repeats = simulate_machine(n, 0.02, NULL, TRIALS);
        ck_assert_double_ge(conditions.f_held, 0.95);
        ck_assert_double_ge(conditions.zeta_held, 0.95);
        /* of repeats some spread passes for error, most where it is no larger, and where two show it: here 93 and 90 % */
        ck_assert_double_ge(repeats.f_held, 0.92);
        ck_assert_double_ge(repeats.zeta_held, 0.89);
    }
    /* the expected range of five normal values is 2.326 standard deviations (H. L. Harter, Biometrika 48, 1961) */
    const double half = 2.326 / 2 * sqrt(0.02 * 0.02 + usual.f * usual.f);
    CHECK_NEAR(simulate_machine(5, 0.02, apart, TRIALS).half_range, half, 0.03 * half);
}
END_TEST

/* Conditions that happen to agree do not vouch for each other: whatever is recorded, each one's interval is held. */
START_TEST(conditions_never_shrink_the_interval)
{
    static const char *const apart[] = {"z=0", "z=60", "z=120", "z=180", NULL};
    quell_random *random = quell_random_create(4);
    for (int trial = 0; trial < 200; trial++) {
        quell_modes each[5], pooled;
        quell_mode_spread of[QUELL_MODES_MAX];
        for (size_t i = 0; i < 5; i++)
            each[i] = observe(random, 47.3, 0.046);
        quell_modes_pool(each, 5, apart, &pooled, of);
        for (size_t i = 0; i < 5; i++)
            for (int side = 0; side < 2; side++) {
                ck_assert(holds(pooled.mode[0].frequency_ci95_hz, each[i].mode[0].frequency_ci95_hz[side]));
                ck_assert(holds(pooled.mode[0].damping_ratio_ci95, each[i].mode[0].damping_ratio_ci95[side]));
                ck_assert(holds(pooled.mode[0].participation_ci95, each[i].mode[0].participation_ci95[side]));
            }
        ck_assert(holds(pooled.mode[0].frequency_ci95_hz, pooled.mode[0].frequency_hz));
        CHECK_NEAR(of[0].within_frequency_hz, usual.f * pooled.mode[0].frequency_hz, 1e-9);
    }
    quell_random_destroy(random);
}
END_TEST

START_TEST(a_single_recording_stays_as_it_is)
{
    quell_modes one = recording(2, (const double[]){47.3, 83.5}), pooled;
    quell_mode_spread of[QUELL_MODES_MAX];
    one.mode[0].decay_damping_ratio = 0.05;
    ck_assert_uint_eq(quell_modes_pool(&one, 1, NULL, &pooled, of), 0);
    ck_assert_uint_eq(pooled.count, 2);
    for (size_t k = 0; k < 2; k++) {
        CHECK_NEAR(pooled.mode[k].frequency_hz, one.mode[k].frequency_hz, 1e-12);
        CHECK_NEAR(pooled.mode[k].frequency_ci95_hz[0], one.mode[k].frequency_ci95_hz[0], 1e-12);
        CHECK_NEAR(pooled.mode[k].damping_ratio_ci95[1], one.mode[k].damping_ratio_ci95[1], 1e-12);
        CHECK_NEAR(pooled.mode[k].participation, 1, 1e-12);
        ck_assert_double_eq(of[k].half_range_hz, 0);
        ck_assert_uint_eq(of[k].recordings, 1);
    }
    CHECK_NEAR(pooled.mode[0].decay_damping_ratio, 0.05, 1e-12);
    ck_assert(isnan(pooled.mode[1].decay_damping_ratio));
    ck_assert(isnan(of[0].frequency_hz));
}
END_TEST

/* ---------------------------------------------------------------- matching */

/* A mode as it is to come out: in how many recordings, and its frequency in the last one (0: lacking there). */
typedef struct match {
    size_t recordings;
    double last_hz;
} match;

START_TEST(each_mode_is_taken_once_and_in_order)
{
    static const struct {
        const char *what;
        size_t first, second;
        double hz[2][4];
        size_t count;
        match want[5];
    } rows[] = {
        {"a close pair", 2, 2, {{52, 58}, {52.5, 57.6}}, 2, {{2, 52.5}, {2, 57.6}}},
        {"a load that lowers both by 7 %", 2, 2, {{52, 58}, {48.4, 53.9}}, 2, {{2, 48.4}, {2, 53.9}}},
        {"one of the pair lacks", 2, 1, {{52, 58}, {57}}, 2, {{1, 0}, {2, 57}}},
        {"between the two, nearer the lower", 2, 1, {{52, 58}, {54.8}}, 2, {{2, 54.8}, {1, 0}}},
        {"a mode more", 1, 2, {{47}, {46.5, 50}}, 2, {{2, 46.5}, {1, 50}}},
        {"too far", 1, 1, {{47}, {51.5}}, 2, {{1, 0}, {1, 51.5}}},
        {"a stray near one of two", 2, 3, {{47, 83}, {47, 80, 83.2}}, 3, {{2, 47}, {1, 80}, {2, 83.2}}},
        {"none", 2, 0, {{47, 83}, {0}}, 2, {{1, 0}, {1, 0}}},
        {"none at all", 0, 0, {{0}, {0}}, 0, {{0, 0}}},
    };
    for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
        quell_modes each[2] = {recording(rows[r].first, rows[r].hz[0]),
                               recording(rows[r].second, rows[r].hz[1])},
                    pooled;
        quell_mode_spread of[QUELL_MODES_MAX];
        quell_modes_pool(each, 2, NULL, &pooled, of);
        ck_assert_msg(pooled.count == rows[r].count, "%s: %zu modes", rows[r].what, pooled.count);
        for (size_t k = 0; k < pooled.count; k++) {
            const match *want = &rows[r].want[k];
            ck_assert_msg(of[k].recordings == want->recordings, "%s: mode %zu in %zu recordings",
                          rows[r].what, k, of[k].recordings);
            ck_assert(of[k].found_in[1] == (want->last_hz > 0));
            if (want->last_hz > 0)
                ck_assert_msg(fabs(of[k].found_hz[1] - want->last_hz) < 1e-9, "%s: mode %zu is %g Hz",
                              rows[r].what, k, of[k].found_hz[1]);
        }
    }
}
END_TEST

/* Three conditions: sd of 46, 48, 47 is 1; the fourth lacks the mode. Which is farthest depends on where the mean is. */
START_TEST(spread_names_the_recordings)
{
    static const char *const label[] = {"z=0", "z=180,spool=full", "z=90", "z=270"};
    quell_modes each[] = {recording(1, (const double[]){47.4}), recording(1, (const double[]){46}),
                          recording(1, (const double[]){47.6}), recording(1, (const double[]){90})},
                pooled;
    quell_mode_spread of[QUELL_MODES_MAX];
    quell_modes_pool(each, 4, label, &pooled, of);
    ck_assert_uint_eq(pooled.count, 2);
    ck_assert_uint_eq(of[0].recordings, 3);
    ck_assert_uint_eq(of[0].lowest, 1);
    ck_assert_uint_eq(of[0].highest, 2);
    ck_assert_uint_eq(of[0].farthest, 1);
    ck_assert(of[0].found_in[0] && of[0].found_in[1] && of[0].found_in[2] && !of[0].found_in[3]);
    ck_assert(isnan(of[0].found_hz[3]));
    CHECK_NEAR(of[0].half_range_hz, 0.8, 1e-9);
    CHECK_NEAR(of[0].frequency_hz, sqrt(0.76), 1e-9); /* about 47: 0.4, -1, 0.6 */
    CHECK_NEAR(of[1].found_hz[3], 90, 1e-12);
}
END_TEST

/* The order in which recordings are given is no matter. */
START_TEST(order_of_recordings_is_no_matter)
{
    static const double hz[3][2] = {{51, 58}, {52.4, 59.5}, {53, 60.2}};
    static const size_t order[][3] = {{0, 1, 2}, {2, 1, 0}, {1, 0, 2}, {2, 0, 1}};
    double first[4] = {0};
    for (size_t r = 0; r < 4; r++) {
        quell_modes each[3], pooled;
        quell_mode_spread of[QUELL_MODES_MAX];
        const char *label[3];
        static const char *const condition[] = {"a=1", "a=2", "a=2"};
        for (size_t i = 0; i < 3; i++) {
            each[i] = recording(2, hz[order[r][i]]);
            label[i] = condition[order[r][i]];
        }
        quell_modes_pool(each, 3, label, &pooled, of);
        const double got[] = {pooled.mode[0].frequency_hz, pooled.mode[0].frequency_ci95_hz[0],
                              pooled.mode[1].frequency_hz, pooled.mode[1].frequency_ci95_hz[1]};
        for (size_t i = 0; i < 4; i++) {
            if (r > 0)
                CHECK_NEAR(got[i], first[i], 1e-9);
            first[i] = got[i];
        }
    }
}
END_TEST

START_TEST(modes_without_room_are_counted)
{
    quell_modes each[3], pooled;
    quell_mode_spread of[QUELL_MODES_MAX];
    for (size_t i = 0; i < 3; i++) {
        double hz[5];
        for (size_t k = 0; k < 5; k++)
            hz[k] = 10 * pow(1.15, (double)(3 * k + i));
        each[i] = recording(5, hz);
    }
    ck_assert_uint_eq(quell_modes_pool(each, 3, NULL, &pooled, of), 7);
    ck_assert_uint_eq(pooled.count, QUELL_MODES_MAX);
    for (size_t k = 1; k < pooled.count; k++)
        ck_assert_double_gt(pooled.mode[k].frequency_hz, pooled.mode[k - 1].frequency_hz);
}
END_TEST

/* ---------------------------------------------------------------- what is no average */

START_TEST(unknown_participation_stays_unknown)
{
    quell_modes each[] = {recording(2, (const double[]){47, 83}), recording(2, (const double[]){47, 83})},
                pooled;
    quell_mode_spread of[QUELL_MODES_MAX];
    for (size_t i = 0; i < 2; i++)
        for (size_t k = 0; k <= i; k++) {
            quell_mode *mode = &each[i].mode[1 - k];
            mode->participation = mode->participation_ci95[0] = mode->participation_ci95[1] = (double)NAN;
        }
    each[1].participation_known = false;
    quell_modes_pool(each, 2, NULL, &pooled, of);
    CHECK_NEAR(pooled.mode[0].participation, 1, 1e-12); /* known in the first */
    ck_assert(isnan(pooled.mode[1].participation) && isnan(pooled.mode[1].participation_ci95[0]));
    ck_assert(pooled.participation_known);
}
END_TEST

/* An error that is not known: the plain mean, and the interval holds the estimate as it is. */
START_TEST(unknown_errors_weigh_alike)
{
    quell_modes each[] = {recording(1, (const double[]){47}), recording(1, (const double[]){48})}, pooled;
    quell_mode_spread of[QUELL_MODES_MAX];
    each[1].mode[0].frequency_ci95_hz[0] = (double)NAN;
    quell_modes_pool(each, 2, NULL, &pooled, of);
    CHECK_NEAR(pooled.mode[0].frequency_hz, sqrt(47.0 * 48), 1e-12);
    CHECK_NEAR(pooled.mode[0].frequency_ci95_hz[0], each[0].mode[0].frequency_ci95_hz[0], 1e-12);
    ck_assert_double_ge(pooled.mode[0].frequency_ci95_hz[1], 48);
    ck_assert(isnan(of[0].within_frequency_hz));
    CHECK_NEAR(of[0].half_range_hz, 0.5, 1e-12);
}
END_TEST

START_TEST(doubts_and_modes_left_out_are_carried_over_once)
{
    quell_modes each[] = {recording(1, (const double[]){47}), recording(1, (const double[]){47.1}),
                          recording(1, (const double[]){47.2})},
                pooled;
    quell_mode_spread of[QUELL_MODES_MAX];
    static const char *const doubt[][2] = {{"one of two, 52 and 58.1 Hz", NULL},
                                           {"one of two, 52.3 and 57.9 Hz", "a loose part?"},
                                           {NULL, "a loose part?"}};
    for (size_t i = 0; i < 3; i++)
        for (size_t d = 0; d < 2; d++)
            if (doubt[i][d] != NULL)
                each[i].mode[0].doubt[each[i].mode[0].doubts++] = doubt[i][d];
    for (size_t i = 1; i < 3; i++) {
        each[i].left_out = 1;
        each[i].left_out_mode[0] = measured(9 + 0.1 * (double)i, 0.1, 1, usual);
        each[i].left_out_reason[0] = "bench rocks";
    }
    each[2].excitation = "stops";
    quell_modes_pool(each, 3, NULL, &pooled, of);
    ck_assert_uint_eq(pooled.mode[0].doubts, 2);
    ck_assert_str_eq(pooled.mode[0].doubt[0], "one of two, 52 and 58.1 Hz");
    ck_assert_str_eq(pooled.mode[0].doubt[1], "a loose part?");
    ck_assert_uint_eq(pooled.left_out, 1);
    ck_assert_str_eq(pooled.left_out_reason[0], "bench rocks");
    ck_assert_str_eq(pooled.excitation, "not the same in all recordings");
}
END_TEST

Suite *suite_modes_pool(void)
{
    Suite *suite = suite_create("modes_pool");
    TCase *cases = tcase_create("modes_pool");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, average_is_the_published_one);
    tcase_add_test(cases, scatter_within_the_errors_is_no_spread);
    tcase_add_test(cases, repeats_of_one_condition_shrink_the_error);
    tcase_add_test(cases, spread_between_recordings_is_held);
    tcase_add_test(cases, conditions_never_shrink_the_interval);
    tcase_add_test(cases, a_single_recording_stays_as_it_is);
    tcase_add_test(cases, each_mode_is_taken_once_and_in_order);
    tcase_add_test(cases, spread_names_the_recordings);
    tcase_add_test(cases, order_of_recordings_is_no_matter);
    tcase_add_test(cases, modes_without_room_are_counted);
    tcase_add_test(cases, unknown_participation_stays_unknown);
    tcase_add_test(cases, unknown_errors_weigh_alike);
    tcase_add_test(cases, doubts_and_modes_left_out_are_carried_over_once);
    suite_add_tcase(suite, cases);
    return suite;
}
