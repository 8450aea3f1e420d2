/* compare: modes that move, come and go; repeats and how much runs differ; sides shaken otherwise. */
#include "suites.h"

#include "stated_spectrum.h"
#include "quell/compare.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static quell_arena *arena;

static void make_arena(void)
{
    arena = quell_arena_create((size_t)1 << 26);
    ck_assert_ptr_nonnull(arena);
}

static void free_arena(void)
{
    quell_arena_destroy(arena);
}

static quell_spectrum flat(double level_db, size_t segments)
{
    quell_spectrum out = stated_spectrum(segments, arena);
    for (size_t i = 0; i < out.bins; i++)
        out.asd_m2ps3[0][i] = pow(10, level_db / 10);
    return out;
}

static quell_modes with_mode(quell_modes modes, double hz, double half_hz, double zeta, double half_zeta)
{
    modes.mode[modes.count++] = (quell_mode){.frequency_hz = hz,
                                             .frequency_ci95_hz = {hz - half_hz, hz + half_hz},
                                             .damping_ratio = zeta,
                                             .damping_ratio_ci95 = {zeta - half_zeta, zeta + half_zeta},
                                             .participation = NAN,
                                             .participation_ci95 = {NAN, NAN},
                                             .direction = {NAN, NAN, NAN},
                                             .half_power_damping_ratio = NAN,
                                             .decay_damping_ratio = NAN,
                                             .decay_damping_ratio_ci95 = {NAN, NAN}};
    return modes;
}

static quell_comparison compare(const quell_measured_side *before, const quell_measured_side *after)
{
    quell_comparison out;
    quell_error err = {0};
    if (quell_compare(before, after, 0, NULL, arena, &out, &err) != QUELL_OK)
        ck_abort_msg("%s", err.text);
    return out;
}

static void says(const quell_comparison *found, const char *text)
{
    ck_assert_msg(strstr(found->verdict, text) != NULL, "'%s' is not in: %s", text, found->verdict);
}

static void says_not(const quell_comparison *found, const char *text)
{
    ck_assert_msg(strstr(found->verdict, text) == NULL, "'%s' is in: %s", text, found->verdict);
}

/* ---------------------------------------------------------------- modes that move, come and go */

/* scipy 1.10.1, stats.norm on ln f and ln zeta with the standard errors (ln hi - ln lo) / (2 norm.isf(.025)). */
START_TEST(a_shift_agrees_with_scipy)
{
    quell_spectrum side = flat(0, 200);
    quell_modes was = with_mode((quell_modes){0}, 50, 0.5, 0.03, 0.003);
    quell_modes is = with_mode((quell_modes){0}, 52.5, 0.4, 0.045, 0.004);
    quell_comparison found = compare(&(quell_measured_side){1, &side, &was, NULL, true},
                                     &(quell_measured_side){1, &side, &is, NULL, true});
    ck_assert_uint_eq(found.modes, 1);
    const quell_mode_shift *f = &found.mode[0].frequency, *zeta = &found.mode[0].damping;
    CHECK_NEAR(f->share, 0.05, 1e-12);
    CHECK_NEAR(f->ci95[0], 0.03688188319219843, 1e-10);
    CHECK_NEAR(f->ci95[1], 0.06328408073423586, 1e-10);
    CHECK_NEAR(f->p_value / 2.8214665063729498e-14, 1, 1e-6);
    CHECK_NEAR(zeta->share, 0.5, 1e-12);
    CHECK_NEAR(zeta->ci95[0], 0.31161956969999816, 1e-10);
    CHECK_NEAR(zeta->ci95[1], 0.7154364359740637, 1e-10);
    CHECK_NEAR(zeta->p_value / 3.1876729737876846e-09, 1, 1e-6);
    ck_assert(f->counts && zeta->counts && !found.mode[0].level.counts && found.mode[0].counts);
    ck_assert_ptr_eq(
        strstr(found.verdict, "The mode at 50.0 Hz moved to 52.5 Hz (+5.0 %, 95 %: 3.7 to 6.3)."),
        found.verdict);
    says(&found,
         "The damping ratio of the mode at 50.0 Hz rose from 0.030 to 0.045 (+50 %, 95 %: 31 to 72).");
    says(&found, "No change of level that counts");
    says_not(&found, "haper");
}
END_TEST

/* scipy 1.10.1: the same with standard errors of 4 and 6 degrees of freedom, 8.899 for the difference (Satterthwaite). */
START_TEST(errors_of_few_stops_give_wider_intervals)
{
    quell_spectrum side = flat(0, 200);
    quell_modes was = with_mode((quell_modes){0}, 50, 0.5, 0.03, 0.003);
    quell_modes is = with_mode((quell_modes){0}, 52.5, 0.4, 0.03, 0.003);
    const double dof[2] = {4, 6};
    quell_comparison found = compare(&(quell_measured_side){1, &side, &was, &dof[0], false},
                                     &(quell_measured_side){1, &side, &is, &dof[1], true});
    const quell_mode_shift *f = &found.mode[0].frequency;
    CHECK_NEAR(f->ci95[0], 0.03873223515275126, 1e-8);
    CHECK_NEAR(f->ci95[1], 0.06138999319480187, 1e-8);
    CHECK_NEAR(f->p_value / 3.182440431830157e-06, 1, 1e-6);
    says(&found, "The mode at 50.0 Hz seems to have moved to 52.5 Hz (+5.0 %");
    says(&found,
         "Which shaper was active is not stated before the change, and one that was active on one side only");
}
END_TEST

/* Each limit of what counts, well beyond chance. */
START_TEST(a_shift_must_be_large_enough)
{
    static const struct {
        double hz, zeta;
        bool f, z;
    } rows[] = {{50.49, 0.0359, false, false},
                {50.51, 0.0359, true, false},
                {49.49, 0.0361, true, true},
                {49.51, 0.0241, false, false},
                {50, 0.0239, false, true}};
    quell_spectrum side = flat(0, 200);
    quell_modes was = with_mode((quell_modes){0}, 50, 0.005, 0.03, 0.0003);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_modes is = with_mode((quell_modes){0}, rows[i].hz, 0.005, rows[i].zeta, 0.0003);
        quell_comparison found = compare(&(quell_measured_side){1, &side, &was, NULL, true},
                                         &(quell_measured_side){1, &side, &is, NULL, true});
        ck_assert_msg(found.mode[0].frequency.counts == rows[i].f &&
                          found.mode[0].damping.counts == rows[i].z,
                      "row %zu", i);
    }
}
END_TEST

START_TEST(modes_that_went_or_came_are_told_and_not_tested)
{
    quell_spectrum side = flat(0, 200);
    quell_modes was = with_mode(with_mode((quell_modes){0}, 47.3, 0.1, 0.04, 0.002), 83.5, 0.2, 0.03, 0.002);
    quell_modes is = with_mode(with_mode((quell_modes){0}, 47.4, 0.1, 0.04, 0.002), 140, 0.2, 0.03, 0.002);
    quell_comparison found = compare(&(quell_measured_side){1, &side, &was, NULL, false},
                                     &(quell_measured_side){1, &side, &is, NULL, false});
    ck_assert_uint_eq(found.modes, 3);
    CHECK_NEAR(found.mode[2].level.nominal_hz, 140, 1e-9);
    ck_assert(found.mode[1].before_found == 1 && found.mode[1].after_found == 0);
    ck_assert(found.mode[2].before_found == 0 && found.mode[2].after_found == 1);
    ck_assert(isfinite(found.mode[0].frequency.p_holm));
    for (size_t k = 1; k < 3; k++)
        ck_assert(isnan(found.mode[k].frequency.p_value) && isnan(found.mode[k].frequency.p_holm) &&
                  isnan(found.mode[k].damping.share) && !found.mode[k].counts);
    says(&found, "Not moved by an amount that counts: the mode at 47.3 Hz (+0.2 %, 95 %: ");
    says(&found, "Not found after: 83.5 Hz. Whether that moved, or is damped otherwise, cannot be told: a "
                 "shaper that quiets a "
                 "mode hides it, too.");
    says(&found, "Found after only: 140.0 Hz.");
    found = compare(&(quell_measured_side){1, &side, &was, NULL, false},
                    &(quell_measured_side){1, &side, NULL, NULL, false});
    ck_assert_uint_eq(found.modes, 2);
    says_not(&found, "Not found after"); /* nobody looked */
}
END_TEST

/* A peak that moves from 50 to 54 Hz is as high as before: its level did not fall. */
START_TEST(a_mode_that_moved_is_compared_where_it_is)
{
    quell_spectrum before = flat(0, 200), after = flat(0, 200);
    for (size_t i = 48; i <= 52; i++) {
        before.asd_m2ps3[0][i] = 100;
        after.asd_m2ps3[0][i + 4] = 100;
    }
    quell_modes was = with_mode((quell_modes){0}, 50, 0.1, 0.04, 0.002),
                is = with_mode((quell_modes){0}, 54, 0.1, 0.04, 0.002);
    quell_comparison found = compare(&(quell_measured_side){1, &before, &was, NULL, true},
                                     &(quell_measured_side){1, &after, &is, NULL, true});
    CHECK_NEAR(found.mode[0].level.low_hz, 48, 1e-9);
    CHECK_NEAR(found.mode[0].level.after_low_hz, 52, 1e-9);
    CHECK_NEAR(found.mode[0].level.change_db, 0, 1e-9);
    ck_assert(found.mode[0].frequency.counts);
    is = with_mode((quell_modes){0}, 57, 0.1, 0.04, 0.002);
    found = compare(&(quell_measured_side){1, &before, &was, NULL, true},
                    &(quell_measured_side){1, &after, &is, NULL, true});
    says(&found, "moved to 57.0 Hz (+14.0 %, 95 %: 13.7 to 14.3), if it is one mode and not one that went "
                 "and another that came.");
}
END_TEST

/* A peak of one bin's width or two has fewer degrees of freedom than its bins seem to have. */
START_TEST(narrow_modes_have_fewer_degrees_of_freedom)
{
    quell_spectrum side = flat(0, 200);
    quell_modes narrow = with_mode((quell_modes){0}, 50, 0.1, 0.02, 0.001), none = {0};
    quell_comparison with = compare(&(quell_measured_side){1, &side, &narrow, NULL, true},
                                    &(quell_measured_side){1, &side, &none, NULL, true});
    quell_comparison without = compare(&(quell_measured_side){1, &side, &none, NULL, true},
                                       &(quell_measured_side){1, &side, &none, NULL, true});
    for (size_t i = 0; i < with.bands; i++) {
        bool holds = with.band[i].low_hz <= 50 && with.band[i].high_hz >= 50;
        CHECK_NEAR(with.band[i].after_dof / without.band[i].after_dof, holds ? 1 / 1.36 : 1, 1e-9);
    }
}
END_TEST

/* ---------------------------------------------------------------- several recordings a side */

enum { MANY = 1000000 }; /* segments: nothing is left to chance within a recording */

/* scipy 1.10.1, stats.ttest_ind(equal_var=False) of the levels in dB. */
START_TEST(repeats_agree_with_welchs_test)
{
    const quell_spectrum before[3] = {flat(0, MANY), flat(1, MANY), flat(3, MANY)};
    const quell_spectrum after[3] = {flat(-6, MANY), flat(-5, MANY), flat(-5, MANY)};
    quell_comparison found = compare(&(quell_measured_side){3, before, NULL, NULL, false},
                                     &(quell_measured_side){3, after, NULL, NULL, false});
    ck_assert(found.run_to_run);
    for (size_t i = 0; i < found.bands; i++) {
        CHECK_NEAR(found.band[i].change_db, -6.666666666666666, 1e-6);
        CHECK_NEAR(found.band[i].ci95_db[1] - found.band[i].change_db, 3.3143695116783913, 1e-5);
        CHECK_NEAR(found.band[i].error_db, 0.9428090415820634, 1e-6);
        CHECK_NEAR(found.band[i].p_value, 0.009605120665564513, 1e-7);
        ck_assert(!found.band[i].counts); /* not among so many bands */
    }
    says(&found, "The intervals hold how much runs differ, from 3 recordings before and 3 after");
    says_not(&found, "This holds for these recordings only");
}
END_TEST

/* By hand and scipy 1.10.1: the three have a variance of 7/3 dB^2, the mean of three less the one 7/3 (1/3 + 1), t with 2. */
START_TEST(one_recording_is_taken_to_scatter_as_the_other_side_does)
{
    const quell_spectrum before[3] = {flat(0, MANY), flat(1, MANY), flat(3, MANY)}, after = flat(-5, MANY);
    quell_comparison found = compare(&(quell_measured_side){3, before, NULL, NULL, false},
                                     &(quell_measured_side){1, &after, NULL, NULL, false});
    ck_assert(found.run_to_run);
    CHECK_NEAR(found.band[0].change_db, -6.333333333333333, 1e-6);
    CHECK_NEAR(found.band[0].ci95_db[1] - found.band[0].change_db, 7.589166067478933, 1e-5);
    CHECK_NEAR(found.band[0].p_value, 0.06956599693865562, 1e-7);
    says(&found, "The side with one recording is taken to scatter as the other does");
}
END_TEST

/* Repeats that agree better than noise lets them do not make the interval shorter than noise. */
START_TEST(the_noise_within_recordings_stays_in)
{
    const quell_spectrum same[2] = {flat(0, 50), flat(0, 50)};
    quell_comparison pair = compare(&(quell_measured_side){1, same, NULL, NULL, false},
                                    &(quell_measured_side){1, same, NULL, NULL, false});
    quell_comparison found = compare(&(quell_measured_side){2, same, NULL, NULL, false},
                                     &(quell_measured_side){2, same, NULL, NULL, false});
    for (size_t i = 0; i < found.bands; i++) {
        CHECK_NEAR(found.band[i].change_db, 0, 1e-12);
        CHECK_NEAR(found.band[i].error_db, pair.band[i].error_db / sqrt(2), 1e-9);
        ck_assert_double_gt(found.band[i].ci95_db[1],
                            pair.band[i].ci95_db[1]); /* t with 2 degrees of freedom */
    }
    says(&found, "Two a side tell little of that");
    found = compare(&(quell_measured_side){2, same, NULL, NULL, false},
                    &(quell_measured_side){1, same, NULL, NULL, false});
    ck_assert(!found.run_to_run); /* one repeat tells nothing */
    says(&found, "Fix the sensor anew and repeat the side after to learn that.");
}
END_TEST

/* Found in one recording of each side only, a mode's shift has no repeats to be judged by. */
START_TEST(a_mode_found_too_seldom_is_not_tested)
{
    const quell_spectrum same[2] = {flat(0, 50), flat(0, 50)};
    quell_modes found_once[2] = {with_mode((quell_modes){0}, 50, 0.1, 0.04, 0.002), {0}};
    quell_modes found_twice[2] = {with_mode((quell_modes){0}, 52, 0.1, 0.04, 0.002),
                                  with_mode((quell_modes){0}, 52.2, 0.1, 0.04, 0.002)};
    quell_comparison found = compare(&(quell_measured_side){2, same, found_once, NULL, true},
                                     &(quell_measured_side){2, same, found_twice, NULL, true});
    ck_assert_uint_eq(found.modes, 1);
    ck_assert(found.mode[0].before_found == 1 && found.mode[0].after_found == 2 &&
              isnan(found.mode[0].frequency.p_value));
    says(&found, "Whether the mode at 50.0 Hz moved cannot be told: found in 1 of 2 recordings before and 2 "
                 "of 2 after.");
}
END_TEST

START_TEST(a_side_without_recordings_is_refused)
{
    quell_spectrum side = flat(0, 50);
    quell_comparison found;
    quell_error err = {0};
    const quell_measured_side one = {.count = 1, .spectrum = &side}, none = {.count = 0},
                              many = {.count = QUELL_RECORDINGS_MAX + 1, .spectrum = &side};
    ck_assert_int_eq(quell_compare(&one, &none, 0, NULL, arena, &found, &err), QUELL_E_USAGE);
    ck_assert_str_eq(err.text, "the after side has 0 recordings, want 1 to 64");
    ck_assert_int_eq(quell_compare(&many, &one, 0, NULL, arena, &found, &err), QUELL_E_USAGE);
    const quell_spectrum two[2] = {flat(0, 50), {.axes = 2}};
    const quell_measured_side unlike = {.count = 2, .spectrum = two};
    ck_assert_int_eq(quell_compare(&unlike, &one, 0, NULL, arena, &found, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text, "the before side: recording 2 of a side has 2 axes, want 1 as the first has");
}
END_TEST

/* ---------------------------------------------------------------- what matches, and how the sides were shaken */

START_TEST(modes_are_matched_once_in_order_and_not_too_far)
{
    static const struct {
        double first[3], second[3];
        double within;
        int pair[3];
    } rows[] = {
        {{50, 90}, {52.4, 88}, 0.05, {0, 1, -1}},
        {{50, 90}, {52.7, 88}, 0.05, {-1, 1, -1}}, /* ln 52.7/50 = 0.0526 */
        {{50, 90}, {52.7, 88}, 0.2, {0, 1, -1}},
        {{50, 90}, {88}, 0.2, {-1, 0, -1}},
        {{52, 58}, {58.5}, 0.2, {-1, 0, -1}},  /* the nearest */
        {{52, 58}, {55, 62}, 0.2, {0, 1, -1}}, /* most pairs, in order */
        {{50}, {30, 90}, 0.2, {-1, -1, -1}},
    };
    for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
        quell_modes first = {0}, second = {0};
        int pair[QUELL_MODES_MAX];
        for (size_t k = 0; k < 3; k++) {
            if (rows[r].first[k] > 0)
                first = with_mode(first, rows[r].first[k], 0.1, 0.02, 0.001);
            if (rows[r].second[k] > 0)
                second = with_mode(second, rows[r].second[k], 0.1, 0.02, 0.001);
        }
        quell_modes_match(&first, &second, rows[r].within, pair);
        for (size_t k = 0; k < 3; k++)
            ck_assert_msg(pair[k] == rows[r].pair[k], "row %zu: mode %zu is paired with %d", r, k, pair[k]);
    }
}
END_TEST

START_TEST(another_motion_is_a_finding)
{
    quell_shaking sweep = {.kind = QUELL_EXCITE_SWEEP, .seen = {12, 115, 2.5, 1}}, other = sweep;
    quell_findings findings = {0};
    other.seen.end_hz = 106;
    ck_assert_int_eq(quell_shaking_differ(&sweep, &other, arena, &findings, NULL), QUELL_OK);
    ck_assert_uint_eq(findings.count, 0);
    other.sweep_known = true; /* as planned is believed more than as seen */
    other.sweep = (quell_sweep){12, 80, 2.5, 4};
    ck_assert_int_eq(quell_shaking_differ(&sweep, &other, arena, &findings, NULL), QUELL_OK);
    ck_assert_uint_eq(findings.count, 1);
    ck_assert_str_eq(findings.item[0].text,
                     "the sweep ran from 12 to 115 Hz before and from 12 to 80 Hz after");
    other = (quell_shaking){.kind = QUELL_EXCITE_STOPS};
    ck_assert_int_eq(quell_shaking_differ(&sweep, &other, arena, &findings, NULL), QUELL_OK);
    ck_assert_uint_eq(findings.count, 2);
    ck_assert_str_eq(findings.item[1].text,
                     "the machine was shaken by a sweep before and by strokes with stops after");
    sweep.seen = (quell_sweep){0}; /* not followed: nothing is known to differ */
    other = (quell_shaking){.kind = QUELL_EXCITE_SWEEP, .seen = {12, 80, 2.5, 1}};
    ck_assert_int_eq(quell_shaking_differ(&sweep, &other, arena, &findings, NULL), QUELL_OK);
    ck_assert_uint_eq(findings.count, 2);
    quell_arena *tiny = quell_arena_create(8);
    other.kind = QUELL_EXCITE_RANDOM;
    ck_assert_int_eq(quell_shaking_differ(&sweep, &other, tiny, &findings, NULL), QUELL_E_MEMORY);
    quell_arena_destroy(tiny);
}
END_TEST

Suite *suite_compare_modes(void)
{
    Suite *suite = suite_create("compare_modes");
    TCase *cases = tcase_create("compare_modes");
    tcase_add_checked_fixture(cases, make_arena, free_arena);
    tcase_add_test(cases, a_shift_agrees_with_scipy);
    tcase_add_test(cases, errors_of_few_stops_give_wider_intervals);
    tcase_add_test(cases, a_shift_must_be_large_enough);
    tcase_add_test(cases, modes_that_went_or_came_are_told_and_not_tested);
    tcase_add_test(cases, a_mode_that_moved_is_compared_where_it_is);
    tcase_add_test(cases, narrow_modes_have_fewer_degrees_of_freedom);
    tcase_add_test(cases, repeats_agree_with_welchs_test);
    tcase_add_test(cases, one_recording_is_taken_to_scatter_as_the_other_side_does);
    tcase_add_test(cases, the_noise_within_recordings_stays_in);
    tcase_add_test(cases, a_mode_found_too_seldom_is_not_tested);
    tcase_add_test(cases, a_side_without_recordings_is_refused);
    tcase_add_test(cases, modes_are_matched_once_in_order_and_not_too_far);
    tcase_add_test(cases, another_motion_is_a_finding);
    suite_add_tcase(suite, cases);
    return suite;
}
