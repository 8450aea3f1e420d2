/* motion: strokes, preamble and sweep against the equations of uniform acceleration (derived), and every refusal. */
#include "suites.h"

#include "quell/motion.h"

#include <math.h>
#include <string.h>

static quell_motion_state state_at(const quell_motion_list *list, double time_s)
{
    quell_motion motion = quell_motion_view(list);
    return quell_motion_at(&motion, time_s);
}

static void check_state(quell_motion_state got, double position, double velocity, double acceleration)
{
    CHECK_NEAR(got.position_m, position, 1e-14);
    CHECK_NEAR(got.velocity_mps, velocity, 1e-14);
    CHECK_NEAR(got.acceleration_mps2, acceleration, 1e-14);
}

START_TEST(a_long_stroke_is_a_trapezoid)
{
    /* 60 mm at 0.2 m/s and 4 m/s2, by hand: ramps of 0.05 s and 5 mm, 50 mm of cruise in 0.25 s */
    quell_motion_list list = {0};
    quell_motion_add_rest(&list, 1.0);
    ck_assert_int_eq(quell_motion_add_stroke(&list, -0.06, 0.2, 4, NULL), QUELL_OK);
    CHECK_NEAR(list.end_s, 1.35, 1e-15);
    check_state(state_at(&list, 0.5), 0, 0, 0);
    check_state(state_at(&list, 1.0), 0, 0, -4);
    check_state(state_at(&list, 1.025), -0.00125, -0.1, -4);
    check_state(state_at(&list, 1.175), -0.03, -0.2, 0);
    check_state(state_at(&list, 1.325), -0.05875, -0.1, 4);
    check_state(state_at(&list, 2.0), -0.06, 0, 0);
    quell_motion_list_free(&list);
}
END_TEST

START_TEST(a_short_stroke_is_a_triangle)
{
    /* 9 mm at 4 m/s2 never reaches 0.2 m/s (10 mm would): ramps of sqrt(9e-3 / 4) = 0.04743416490252569 s */
    quell_motion_list list = {0};
    ck_assert_int_eq(quell_motion_add_stroke(&list, 0.009, 0.2, 4, NULL), QUELL_OK);
    ck_assert_uint_eq(list.count, 3);
    CHECK_NEAR(list.end_s, 0.09486832980505138, 1e-15);
    check_state(state_at(&list, 0.04743416490252569 / 2), 0.009 / 8, 0.09486832980505138, 4);
    check_state(state_at(&list, 1), 0.009, 0, 0);
    ck_assert_int_eq(quell_motion_add_stroke(&list, 0, 0.2, 4, NULL), QUELL_OK);
    ck_assert_uint_eq(list.count, 3);
    quell_motion_list_free(&list);
}
END_TEST

START_TEST(jerk_makes_cubics_and_the_cursor_agrees_with_the_walk)
{
    const quell_event event[] = {{-0.5, 0.3, 0, 0}, {0.1, 0, 0, 12}, {0.1, 0, -1, 0}, {0.7, 0.25, 0, -12}};
    quell_motion motion = {4, event};
    /* before the first event: at rest at 0; then 0.3 m/s; then x = .18 + .3 h - h^2/2 + 2 h^3, h from 0.1 s */
    check_state(quell_motion_at(&motion, -1), 0, 0, 0);
    check_state(quell_motion_at(&motion, -0.5), 0, 0.3, 0);
    check_state(quell_motion_at(&motion, 0.5), 0.18 + 0.12 - 0.08 + 2 * 0.064, 0.3 - 0.4 + 6 * 0.16,
                -1 + 12 * 0.4);
    quell_motion_cursor cursor = {.motion = &motion};
    for (double t = -0.7; t < 2; t += 0.0371) {
        quell_motion_state walked = quell_motion_at(&motion, t), followed = quell_motion_advance(&cursor, t);
        CHECK_NEAR(followed.position_m, walked.position_m, 1e-13);
        CHECK_NEAR(followed.velocity_mps, walked.velocity_mps, 1e-13);
        CHECK_NEAR(followed.acceleration_mps2, walked.acceleration_mps2, 1e-13);
        CHECK_NEAR(followed.jerk_mps3, walked.jerk_mps3, 1e-13);
    }
}
END_TEST

START_TEST(the_preamble_rests_strokes_and_comes_back)
{
    quell_preamble preamble = {3, 2, 0.06, 0.12, 0.4, 0.5};
    quell_motion_list list = {0};
    ck_assert_int_eq(quell_motion_add_preamble(&list, &preamble, NULL), QUELL_OK);
    /* a stroke of 60 mm at 0.12 m/s and 0.4 m/s2, by hand: 0.3 + 0.2 + 0.3 s */
    CHECK_NEAR(list.end_s, 3 + 4 * (0.8 + 0.5) + 3, 1e-12);
    ck_assert_double_eq(list.event[0].time_s, 3);
    ck_assert_double_eq(list.event[0].acceleration_mps2, 0.4); /* towards + first */
    check_state(state_at(&list, 3.4), 0.03, 0.12, 0);
    check_state(state_at(&list, 4.0), 0.06, 0, 0);
    check_state(state_at(&list, 4.7), 0.03, -0.12, 0);
    check_state(state_at(&list, 6.0), 0.03, 0.12, 0); /* the second pair starts 2.6 s after the first */
    check_state(state_at(&list, 9.0), 0, 0, 0);
    preamble.strokes = 0;
    quell_motion_list rests = {0};
    ck_assert_int_eq(quell_motion_add_preamble(&rests, &preamble, NULL), QUELL_OK);
    ck_assert_uint_eq(rests.count, 0);
    ck_assert_double_eq(rests.end_s, 6);
    quell_motion_list_free(&list);
}
END_TEST

START_TEST(every_cycle_of_the_sweep_has_its_stroke_and_speed)
{
    quell_sweep sweep = {12, 30, 2.5, 4};
    quell_motion_list list = {0};
    quell_motion_add_rest(&list, 2);
    ck_assert_int_eq(quell_motion_add_sweep(&list, &sweep, NULL), QUELL_OK);
    quell_motion motion = quell_motion_view(&list);
    double start = 2;
    size_t cycles = 0;
    for (double f = 12; f <= 30; cycles++) {
        double period = 1 / f;
        /* derived: speed a p/4 after a quarter; stroke 2 (a/2)(p/4)^2 = a / (16 f^2) after a half; back at the end */
        CHECK_NEAR(quell_motion_at(&motion, start + period / 4 - 1e-9).velocity_mps, 4 * period / 4, 1e-8);
        CHECK_NEAR(quell_motion_at(&motion, start + period / 2).position_m, 4 / (16 * f * f), 1e-12);
        CHECK_NEAR(quell_motion_at(&motion, start + period / 2).velocity_mps, 0, 1e-12);
        CHECK_NEAR(quell_motion_at(&motion, start + period / 2).acceleration_mps2, -4, 1e-12);
        CHECK_NEAR(quell_motion_at(&motion, start + period).position_m, 0, 1e-12);
        CHECK_NEAR(quell_motion_at(&motion, start + period).velocity_mps, 0, 1e-12);
        start += period;
        f = 12 + 2.5 * (start - 2);
    }
    ck_assert_uint_eq(list.count, 2 * cycles + 2);
    CHECK_NEAR(list.end_s, start, 1e-12);
    CHECK_NEAR(list.end_s - 2, (30 - 12) / 2.5, 1 / 30.0); /* the last cycle begins below 30 Hz */
    /* what rounding has left of the speed drifts on: far below a picometre */
    CHECK_NEAR(quell_motion_at(&motion, start + 5).position_m, 0, 1e-11);
    CHECK_NEAR(quell_motion_at(&motion, start + 5).acceleration_mps2, 0, 1e-14);
    quell_motion_list_free(&list);
}
END_TEST

START_TEST(the_corner_stop_is_one_event)
{
    quell_event event = quell_motion_corner_stop(0.008, 6);
    ck_assert_double_eq(event.time_s, 0);
    ck_assert_double_eq(event.velocity_mps, -0.008);
    ck_assert_double_eq(event.acceleration_mps2, 6);
    ck_assert_double_eq(event.jerk_mps3, 0);
}
END_TEST

START_TEST(strokes_and_preambles_out_of_range_are_refused)
{
    static const struct {
        double length, speed, acceleration;
        const char *text;
    } row[] = {
        {0.1, 0, 4, "speed of a stroke is 0 m/s, want > 0"},
        {0.1, 0.2, -4, "acceleration of a stroke is -4 m/s2, want > 0"},
        {HUGE_VAL, 0.2, 4, "length of a stroke is inf m, want >= 0"},
    };
    quell_motion_list list = {0};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        quell_error err = {0};
        ck_assert_int_eq(
            quell_motion_add_stroke(&list, row[i].length, row[i].speed, row[i].acceleration, &err),
            QUELL_E_USAGE);
        ck_assert_str_eq(err.text, row[i].text);
    }
    quell_error err = {0};
    quell_preamble rest = {-1, 0, 0, 0, 0, 0}, dwell = {1, 1, 1, 1, 1, -0.5}, slow = {1, 1, 1, 0, 1, 1};
    ck_assert_int_eq(quell_motion_add_preamble(&list, &rest, &err), QUELL_E_USAGE);
    ck_assert_str_eq(err.text, "rest of the preamble is -1 s, want >= 0");
    ck_assert_int_eq(quell_motion_add_preamble(&list, &dwell, &err), QUELL_E_USAGE);
    ck_assert_str_eq(err.text, "dwell of the preamble is -0.5 s, want >= 0");
    ck_assert_int_eq(quell_motion_add_preamble(&list, &slow, &err), QUELL_E_USAGE);
    ck_assert_str_eq(err.text, "speed of a stroke is 0 m/s, want > 0");
    ck_assert_uint_eq(list.count, 0);
}
END_TEST

START_TEST(sweeps_out_of_range_are_refused)
{
    static const struct {
        quell_sweep sweep;
        const char *text;
    } row[] = {
        {{0, 100, 2, 4}, "start of the sweep is 0 Hz, want > 0"},
        {{10, -100, 2, 4}, "end of the sweep is -100 Hz, want > 0"},
        {{10, 100, 0, 4}, "rate of the sweep is 0 Hz/s, want > 0"},
        {{10, 100, 2, 0}, "acceleration of the sweep is 0 m/s2, want > 0"},
        {{100, 100, 2, 4}, "sweep runs from 100 Hz to 100 Hz, want the end above the start"},
        {{10, 1010, 0.1, 4}, "sweep from 10 Hz to 1010 Hz has 5.1e+06 cycles, want at most 1000000"},
    };
    quell_motion_list list = {0};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        quell_error err = {0};
        ck_assert_int_eq(quell_motion_add_sweep(&list, &row[i].sweep, &err), QUELL_E_USAGE);
        ck_assert_str_eq(err.text, row[i].text);
    }
    ck_assert_uint_eq(list.count, 0);
}
END_TEST

START_TEST(every_allocation_may_fail)
{
    quell_preamble preamble = {1, 2, 0.06, 0.12, 0.4, 0.5};
    quell_sweep sweep = {12, 30, 2.5, 4};
    for (size_t n = 1;; n++) {
        quell_motion_list list = {0};
        quell_memory_fail_at(n);
        quell_status status = quell_motion_add_preamble(&list, &preamble, NULL);
        if (status == QUELL_OK)
            status = quell_motion_add_sweep(&list, &sweep, NULL);
        quell_memory_fail_at(0);
        quell_motion_list_free(&list);
        if (status == QUELL_OK) {
            ck_assert_uint_gt(n, 5);
            break;
        }
        ck_assert_int_eq(status, QUELL_E_MEMORY);
    }
}
END_TEST

START_TEST(kinds_have_a_word_each)
{
    static const quell_excitation all[] = {QUELL_EXCITE_SWEEP, QUELL_EXCITE_RANDOM, QUELL_EXCITE_STOPS, QUELL_EXCITE_AMBIENT};
    static const char *const word[] = {"sweep", "random", "stops", "ambient"};
    for (size_t i = 0; i < 4; i++) {
        quell_excitation found;
        ck_assert_str_eq(quell_excitation_word(all[i]), word[i]);
        ck_assert(quell_excitation_find(&found, word[i]));
        ck_assert_int_eq(found, all[i]);
    }
    quell_excitation found = QUELL_EXCITE_STOPS;
    ck_assert(!quell_excitation_find(&found, "sweeps") && !quell_excitation_find(&found, ""));
    ck_assert_int_eq(found, QUELL_EXCITE_STOPS);
}
END_TEST

Suite *suite_motion(void)
{
    Suite *suite = suite_create("motion");
    TCase *cases = tcase_create("motion");
    tcase_add_test(cases, a_long_stroke_is_a_trapezoid);
    tcase_add_test(cases, a_short_stroke_is_a_triangle);
    tcase_add_test(cases, jerk_makes_cubics_and_the_cursor_agrees_with_the_walk);
    tcase_add_test(cases, the_preamble_rests_strokes_and_comes_back);
    tcase_add_test(cases, every_cycle_of_the_sweep_has_its_stroke_and_speed);
    tcase_add_test(cases, the_corner_stop_is_one_event);
    tcase_add_test(cases, strokes_and_preambles_out_of_range_are_refused);
    tcase_add_test(cases, sweeps_out_of_range_are_refused);
    tcase_add_test(cases, every_allocation_may_fail);
    tcase_add_test(cases, kinds_have_a_word_each);
    suite_add_tcase(suite, cases);
    return suite;
}
