/* Ripple on a part: which cause is told, the frequency and its interval, damping from heights, agreement with modes. */
#include "suites.h"

#include "quell/predict.h"

#include <math.h>
#include <string.h>

static quell_part part_of(size_t readings, const double speed_mm[], const double length_mm[], double calliper_mm)
{
    quell_part out = {.readings = readings,
                      .ripples = 1,
                      .length_error_m = 1e-3 * calliper_mm,
                      .belt_pitch_m = (double)NAN,
                      .pulley_teeth = (double)NAN,
                      .steps_per_turn = (double)NAN};
    for (size_t i = 0; i < readings; i++)
        out.reading[i] = (quell_part_reading){1e-3 * speed_mm[i], 1e-3 * length_mm[i]};
    return out;
}

static quell_part_finding judge(const quell_part *part)
{
    quell_part_finding out;
    quell_error err = {0};
    ck_assert_msg(quell_part_judge(part, &out, &err) == QUELL_OK, "%s", err.text);
    return out;
}

START_TEST(causes_are_told)
{
    static const struct {
        size_t readings;
        double speed_mm[3], length_mm[3], calliper_mm;
        bool one_sided;
        quell_part_cause cause;
    } rows[] = {
        {2, {50, 100}, {1.06, 2.11}, 0.1, false, QUELL_PART_RINGING},
        {3, {50, 100, 150}, {1.06, 2.11, 3.2}, 0.1, true, QUELL_PART_RINGING}, /* the bulge is another matter */
        {2, {60, 120}, {2.0, 2.02}, 0.1, false, QUELL_PART_PITCH},
        {1, {60}, {2.0}, 0.1, false, QUELL_PART_UNCLEAR},
        {2, {60, 60}, {2.0, 2.0}, 0.1, false, QUELL_PART_UNCLEAR},
        {2, {60, 120}, {2.0, 3.0}, 0.1, false, QUELL_PART_UNCLEAR}, /* neither */
        {2, {60, 66}, {2.0, 2.1}, 0.1, false, QUELL_PART_UNCLEAR},  /* both */
        {2, {50, 100}, {1.06, 2.11}, 1, false, QUELL_PART_UNCLEAR}, /* too rough */
        {0, {0}, {0}, 0.1, true, QUELL_PART_EXTRUSION},
        {0, {0}, {0}, 0.1, false, QUELL_PART_UNCLEAR},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_part part = part_of(rows[i].readings, rows[i].speed_mm, rows[i].length_mm, rows[i].calliper_mm);
        part.one_sided = rows[i].one_sided;
        quell_part_finding found = judge(&part);
        ck_assert_msg(found.cause == rows[i].cause, "row %zu: %s", i, quell_part_cause_word(found.cause));
        ck_assert_str_ne(found.why, "");
    }
}
END_TEST

/* f = v n / L; relative error of one reading by hand: hypot(0.1 / 1.96 / 21.1, 1 %). */
START_TEST(the_frequency_has_its_interval)
{
    quell_part part = part_of(1, (double[]){100}, (double[]){21.1}, 0.1);
    part.ripples = 10;
    quell_part_finding found = judge(&part);
    double half = 1.959964 * hypot(0.1 / 1.959964 / 21.1, 0.01);
    CHECK_NEAR(found.frequency_hz, 100 / 2.11, 1e-9);
    CHECK_NEAR(found.frequency_ci95_hz[0], 100 / 2.11 / (1 + half), 1e-6);
    CHECK_NEAR(found.frequency_ci95_hz[1], 100 / 2.11 / (1 - half), 1e-6);
    CHECK_NEAR(found.spacing_m, 2.11e-3, 1e-12);
}
END_TEST

/* Parts measured with errors as stated: the interval holds the truth in 95 % of them, and pitch and ringing are not taken for
   each other. */
START_TEST(intervals_hold_and_causes_are_not_confused)
{
    enum { RUNS = 2000 };
    quell_random *random = quell_random_create(5);
    size_t held = 0, wrong = 0, told = 0;
    for (size_t run = 0; run < RUNS; run++) {
        bool ringing = run % 2 == 0;
        double f = 30 + 40 * quell_random_uniform(random), speed_mm[3] = {50, 80, 120}, length_mm[3];
        for (size_t i = 0; i < 3; i++) {
            double spacing = ringing ? speed_mm[i] / f : 2;
            length_mm[i] = 5 * spacing * (1 + 0.01 * quell_random_normal(random)) + 0.1 / 1.96 * quell_random_normal(random);
        }
        quell_part part = part_of(3, speed_mm, length_mm, 0.1);
        part.ripples = 5;
        quell_part_finding found = judge(&part);
        held += ringing && found.frequency_ci95_hz[0] <= f && f <= found.frequency_ci95_hz[1];
        told += found.cause == (ringing ? QUELL_PART_RINGING : QUELL_PART_PITCH);
        wrong += found.cause == (ringing ? QUELL_PART_PITCH : QUELL_PART_RINGING);
    }
    quell_random_destroy(random);
    ck_assert_uint_eq(wrong, 0);
    ck_assert_uint_gt(told, (size_t)(0.98 * RUNS)); /* 1 % is the chance of a misfit */
    double share = 2.0 * (double)held / RUNS;
    ck_assert_msg(share > 0.93 && share < 0.985, "%g", share); /* widened by the scatter, never narrowed */
}
END_TEST

/* d = 2 pi z / sqrt(1 - z^2), exact heights; and what does not fall. */
START_TEST(heights_tell_the_damping_ratio)
{
    quell_part part = part_of(0, NULL, NULL, 0.1);
    double zeta = 0.046, d = 2 * QUELL_PI * zeta / sqrt(1 - zeta * zeta);
    for (part.heights = 2; part.heights <= 6; part.heights++) {
        for (size_t i = 0; i < part.heights; i++)
            part.height_m[i] = 12e-6 * exp(-d * (double)i);
        quell_part_finding found = judge(&part);
        CHECK_NEAR(found.damping_ratio, zeta, 1e-9);
        ck_assert(part.heights < 3 ? isnan(found.damping_ratio_ci95[0]) : fabs(found.damping_ratio_ci95[0] - zeta) < 1e-6);
    }
    part.heights = 3; /* ln 12, 8, 5: slope -0.4377, one degree of freedom, t 12.706: +-0.237 by hand */
    memcpy(part.height_m, (double[]){12e-6, 8e-6, 5e-6}, 3 * sizeof(double));
    quell_part_finding found = judge(&part);
    double slope = log(12.0 / 5) / 2, left = pow(log(12.0) - 2 * log(8.0) + log(5.0), 2) / 6;
    CHECK_NEAR(quell_decrement_from_damping(found.damping_ratio), slope, 1e-9);
    CHECK_NEAR(quell_decrement_from_damping(found.damping_ratio_ci95[1]), slope + 12.7062 * sqrt(left / 2), 1e-4);
    memcpy(part.height_m, (double[]){5e-6, 8e-6, 12e-6}, 3 * sizeof(double));
    found = judge(&part);
    ck_assert(isnan(found.damping_ratio));
    ck_assert_ptr_nonnull(strstr(found.damping_why, "do not fall"));
}
END_TEST

START_TEST(pitches_of_the_drive_are_named)
{
    static const double lengths_mm[] = {2, 40, 0.2, 0.8};
    for (size_t i = 0; i < 4; i++) {
        double mm = lengths_mm[i] * 1.005;
        quell_part part = part_of(2, (double[]){60, 120}, (double[]){20 * mm, 20 * mm}, 0.1);
        part.ripples = 20;
        part.belt_pitch_m = 2e-3;
        part.pulley_teeth = 20;
        part.steps_per_turn = 200;
        quell_part_finding found = judge(&part);
        ck_assert_int_eq(found.cause, QUELL_PART_PITCH);
        ck_assert_uint_eq(found.pitches, 4);
        for (size_t k = 0; k < 4; k++) {
            CHECK_NEAR(found.pitch[k].length_m, 1e-3 * lengths_mm[k], 1e-12);
            ck_assert_int_eq(found.pitch[k].agrees, k == i);
        }
    }
}
END_TEST

/* The part shows the damped frequency: at a damping ratio of 0.3 that is 4.6 % lower. */
START_TEST(modes_are_compared_damped)
{
    quell_modes modes = {.count = 2,
                         .mode = {{.frequency_hz = 50, .frequency_ci95_hz = {49.9, 50.1}, .damping_ratio = 0.3},
                                  {.frequency_hz = 83, .frequency_ci95_hz = {82, 84}, .damping_ratio = 0.03}}};
    double damped_hz = 50 * sqrt(1 - 0.09);
    quell_part part = part_of(2, (double[]){50, 100}, (double[]){500 / damped_hz, 1000 / damped_hz}, 0.05);
    part.ripples = 10;
    quell_part_finding found = judge(&part);
    quell_part_match match;
    ck_assert(quell_part_compare(&found, &modes, &match));
    ck_assert_uint_eq(match.mode, 0);
    ck_assert(match.agrees);
    CHECK_NEAR(match.damped_hz, damped_hz, 1e-9);
    modes.mode[0].damping_ratio = 0.03;
    ck_assert(quell_part_compare(&found, &modes, &match) && !match.agrees);
    CHECK_NEAR(match.off, damped_hz / (50 * sqrt(1 - 0.0009)) - 1, 1e-9);
    modes.count = 0;
    ck_assert(!quell_part_compare(&found, &modes, &match));
}
END_TEST

START_TEST(wrong_values_are_named)
{
    const quell_part good = part_of(2, (double[]){50, 100}, (double[]){1, 2}, 0.1);
    quell_part_finding out;
    quell_error err;
    for (size_t i = 0; i < 12; i++) {
        quell_part part = good;
        const double bad[] = {0, (double)NAN, (double)INFINITY, -1};
        double wrong = bad[i % 4];
        if (i < 4)
            part.reading[1].speed_mps = wrong;
        else if (i < 8)
            part.reading[0].length_m = wrong;
        else
            part.ripples = wrong;
        ck_assert_int_eq(quell_part_judge(&part, &out, &err), QUELL_E_USAGE);
        ck_assert_ptr_nonnull(strstr(err.text, "want"));
    }
    quell_part part = good;
    part.length_error_m = 1e-3;
    ck_assert_int_eq(quell_part_judge(&part, &out, &err), QUELL_E_USAGE);
    part = good;
    part.pulley_teeth = 20;
    ck_assert_int_eq(quell_part_judge(&part, &out, &err), QUELL_E_USAGE);
    part = good;
    part.heights = 1;
    ck_assert_int_eq(quell_part_judge(&part, &out, &err), QUELL_E_USAGE);
    part = good;
    part.readings = QUELL_PART_MAX + 1;
    ck_assert_int_eq(quell_part_judge(&part, &out, &err), QUELL_E_USAGE);
}
END_TEST

Suite *suite_part(void)
{
    Suite *suite = suite_create("part");
    TCase *cases = tcase_create("part");
    tcase_add_test(cases, causes_are_told);
    tcase_add_test(cases, the_frequency_has_its_interval);
    tcase_add_test(cases, intervals_hold_and_causes_are_not_confused);
    tcase_add_test(cases, heights_tell_the_damping_ratio);
    tcase_add_test(cases, pitches_of_the_drive_are_named);
    tcase_add_test(cases, modes_are_compared_damped);
    tcase_add_test(cases, wrong_values_are_named);
    suite_add_tcase(suite, cases);
    return suite;
}
