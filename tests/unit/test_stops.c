/* Ringing after stops: amplitudes where the commanded motion ends against the closed form of the events, and what is claimed of
   their change. How often the intervals hold is for `make study`. */
#include "shortened.h"
#include "stops_truth.h"
#include "suites.h"

#include <string.h>

static quell_arena *arena;

static void setup(void)
{
    arena = quell_arena_create((size_t)1 << 29);
}

static void teardown(void)
{
    quell_arena_destroy(arena);
}

static stops_record *record(const quell_simulation *of)
{
    stops_record *out = QUELL_NEW(arena, stops_record, 1);
    stops_record_make(out, of, 0, arena);
    return out;
}

static quell_stops_comparison compare(const stops_record *before, const stops_record *after)
{
    quell_stops_comparison out = {0};
    quell_error err = {0};
    quell_side was = stops_side_of(before), is = stops_side_of(after);
    const double band[2] = {0, 0};
    ck_assert_msg(quell_stops_compare(&was, 1, &is, 1, 0, NULL, band, NULL, arena, &out, &err) == QUELL_OK, "%s", err.text);
    return out;
}

static quell_shaper shaper_of(const char *spec)
{
    quell_shaper out;
    ck_assert_int_eq(quell_shaper_parse(&out, spec, NULL), QUELL_OK);
    return out;
}

/* With two modes, known exactly: each amplitude, and the end of each motion, which a shaper makes later by its duration. */
START_TEST(amplitudes_are_of_the_end_of_the_motion)
{
    static const char *const specs[] = {NULL, "zv:43:0.05", "zvd:43:0.05"};
    for (size_t i = 0; i < (IS_SHORTENED ? 2 : 3); i++) {
        quell_simulation of = stops_setup(11 + i);
        quell_shaper shaper;
        of.modes = 2;
        of.seconds = IS_SHORTENED ? 5 : 8;
        double shaper_s = 0;
        if (specs[i] != NULL) {
            shaper = shaper_of(specs[i]);
            of.shaper = &shaper;
            shaper_s = shaper.time_s[shaper.count - 1];
        }
        stops_record *made = record(&of);
        quell_mode mode[2] = {{.frequency_hz = 47.3, .damping_ratio = 0.046}, {.frequency_hz = 83.5, .damping_ratio = 0.028}};
        for (size_t k = 0; k < 2; k++)
            for (size_t side = 0; side < 2; side++)
                mode[k].frequency_ci95_hz[side] = mode[k].damping_ratio_ci95[side] = (double)NAN;
        quell_stops stops;
        ck_assert_int_eq(quell_stops_measure(&made->recording, 0, 0, made->recording.samples, mode, 2, arena, &stops, NULL),
                         QUELL_OK);
        ck_assert_uint_eq(stops.count, made->truth.stops);
        ck_assert(!stops.short_rests);
        double stroke_s = 0.06 / 0.15 + 0.15 / 6;
        for (size_t k = 0; k < 2; k++) {
            double sum = 0;
            for (size_t s = 0; s < stops.count; s++)
                sum += stops.stop[s].power_m2[k] / (double)stops.count;
            /* the sensor's averaging takes 0.3 % off at 83 Hz; 1 ms is 1.4 % */
            CHECK_NEAR(sqrt(sum), sqrt(made->truth.mode_power_m2[k]), 0.02 * sqrt(made->truth.mode_power_m2[k]) + 0.03e-6);
        }
        for (size_t s = 0; s < stops.count; s++) {
            CHECK_NEAR(stops.stop[s].end_s, 4 + (double)s * (stroke_s + 0.6) + stroke_s + shaper_s, 1.5e-3);
            ck_assert_int_eq(stops.stop[s].direction, s % 2 == 0 ? 1 : -1);
            CHECK_NEAR(stops.stop[s].stroke_m, 0.06, 0.004);
            CHECK_NEAR(stops.stop[s].speed_mps, 0.147, 0.01);
        }
    }
}
END_TEST

START_TEST(a_shaper_that_helps_is_told_in_um)
{
    quell_simulation of = stops_setup(21);
    quell_shaper shaper = shaper_of("zv:51:0.046");
    of.seconds = IS_SHORTENED ? 6 : 10;
    stops_record *before = record(&of);
    of.shaper = &shaper;
    of.seed = 22;
    stops_record *after = record(&of);
    quell_stops_comparison got = compare(before, after);
    ck_assert(got.measured && got.alike && got.all.counts);
    ck_assert_uint_eq(got.groups, 2); /* by direction */
    double was = sqrt(before->truth.mean_power_m2), is = sqrt(after->truth.mean_power_m2);
    CHECK_NEAR(got.all.before.amplitude_m, was, 0.03 * was);
    CHECK_NEAR(got.all.after.amplitude_m, is, 0.03 * is);
    ck_assert(got.all.ratio_ci95[0] <= is / was && is / was <= got.all.ratio_ci95[1]);
    ck_assert(got.all.change_ci95_m[0] <= is - was && is - was <= got.all.change_ci95_m[1]);
    ck_assert_double_lt(got.all.p_value, 1e-6);
    ck_assert_ptr_nonnull(strstr(got.text, "The change is real, and large enough to matter"));
}
END_TEST

/* The bias of an amplitude that is noise alone must not pass for ringing. */
START_TEST(nothing_left_is_a_limit)
{
    quell_simulation of = stops_setup(31);
    quell_shaper shaper = shaper_of("zv:47.3:0.046");
    of.seconds = IS_SHORTENED ? 6 : 10;
    stops_record *before = record(&of);
    of.shaper = &shaper;
    of.seed = 32;
    stops_record *after = record(&of);
    quell_stops_comparison got = compare(before, after);
    ck_assert(got.measured && got.all.counts && !got.all.after.seen);
    ck_assert_double_lt(got.all.after.ci95_m[1], 0.3e-6);
    ck_assert_double_gt(got.all.after.ci95_m[1], 0);
    ck_assert_double_lt(got.all.ratio_ci95[1], 0.02);
    ck_assert_ptr_nonnull(strstr(got.text, "under"));
}
END_TEST

START_TEST(no_change_is_not_claimed)
{
    quell_simulation of = stops_setup(41);
    of.seconds = 6;
    stops_record *before = record(&of);
    of.seed = 42;
    quell_stops_comparison got = compare(before, record(&of));
    ck_assert(got.measured && got.alike && !got.all.counts);
    ck_assert_double_gt(got.all.p_value, 0.05);
    ck_assert_double_lt(fabs(got.all.ratio - 1), 0.02);
}
END_TEST

/* A real change under 5 um, as of strokes that leave little, does not count. */
START_TEST(a_small_change_does_not_count)
{
    quell_simulation of = stops_setup(51);
    of.seconds = 6;
    of.mode[0].participation[0] = 0.05;
    stops_record *before = record(&of);
    ck_assert_double_lt(sqrt(before->truth.mean_power_m2), 5e-6);
    of.mode[0].participation[0] = 0.1;
    of.seed = 52;
    quell_stops_comparison got = compare(before, record(&of));
    ck_assert_msg(got.measured && !got.all.counts, "%s (%g to %g um)", got.text, 1e6 * got.all.before.amplitude_m, 1e6 * got.all.after.amplitude_m);
    ck_assert_double_lt(got.all.p_value, 0.01);
    ck_assert_ptr_nonnull(strstr(got.text, "under 5 um"));
}
END_TEST

START_TEST(other_strokes_are_no_change_of_the_machine)
{
    quell_simulation of = stops_setup(61);
    of.seconds = 6;
    stops_record *before = record(&of);
    of.speed_mps = 0.08;
    quell_stops_comparison got = compare(before, record(&of));
    ck_assert(got.measured && !got.alike && !got.all.counts);
    ck_assert_ptr_nonnull(strstr(got.text, "strokes differ"));
}
END_TEST

START_TEST(a_sweep_has_no_stops)
{
    quell_simulation of = stops_setup(71);
    of.seconds = 6;
    stops_record *before = record(&of);
    of.excitation = QUELL_EXCITE_SWEEP;
    of.preamble = (quell_preamble){2, 2, 0.06, 0.12, 0.4, 0.5};
    of.sweep = (quell_sweep){20, 80, 10, 4};
    quell_stops_comparison got = compare(before, record(&of));
    ck_assert(!got.measured);
    ck_assert_ptr_nonnull(strstr(got.text, "no recording after has strokes with stops"));
    got = compare(record(&of), record(&of));
    ck_assert(!got.measured);
    ck_assert_ptr_nonnull(strstr(got.text, "record strokes with stops"));
}
END_TEST

/* Clips differ: c is 0.9, 1, 1.1 of itself from recording to recording. What each of them shows of its own noise is far less. */
START_TEST(recordings_of_a_side_differ)
{
    quell_side side[2][3];
    double half[2];
    for (size_t spread = 0; spread < 2; spread++) {
        for (size_t s = 0; s < 2; s++)
            for (size_t r = 0; r < 3; r++) {
                quell_simulation of = stops_setup(81 + 10 * spread + 3 * s + r);
                of.seconds = 4;
                of.mode[0].participation[0] = 1 + (spread == 1 ? 0.1 : 0) * ((double)r - 1);
                side[s][r] = stops_side_of(record(&of));
            }
        quell_stops_comparison got;
        const double band[2] = {0, 0};
        ck_assert_int_eq(quell_stops_compare(side[0], 3, side[1], 3, 0, NULL, band, NULL, arena, &got, NULL), QUELL_OK);
        ck_assert(got.measured && !got.all.counts);
        ck_assert_uint_eq(got.before_recordings, 3);
        half[spread] = log(got.all.ratio_ci95[1] / got.all.ratio_ci95[0]) / 2;
    }
    /* s = 0.1 in ln a side, 3 recordings: 2.776 * 0.1 * sqrt(2 / 3) = 0.227 */
    ck_assert_double_lt(half[0], 0.03);
    CHECK_NEAR(half[1], 0.227, 0.03);
}
END_TEST

START_TEST(wrong_use_is_refused)
{
    quell_simulation of = stops_setup(91);
    of.seconds = 4;
    stops_record *made = record(&of);
    size_t n = made->recording.samples;
    quell_stops out;
    quell_error err = {0};
    quell_mode mode = {.frequency_hz = 47, .damping_ratio = 0.05};
    ck_assert_int_eq(quell_stops_measure(&made->recording, 3, 0, n, &mode, 1, arena, &out, &err), QUELL_E_USAGE);
    ck_assert_int_eq(quell_stops_measure(&made->recording, 0, 0, n + 1, &mode, 1, arena, &out, &err), QUELL_E_USAGE);
    ck_assert_int_eq(quell_stops_measure(&made->recording, 0, 0, n, &mode, 0, arena, &out, &err), QUELL_E_USAGE);
    const double wrong[][2] = {{0, 0.05}, {1500, 0.05}, {47, 0}, {47, 1}, {(double)NAN, 0.05}, {47, (double)NAN}};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        mode = (quell_mode){.frequency_hz = wrong[i][0], .damping_ratio = wrong[i][1]};
        ck_assert_int_eq(quell_stops_measure(&made->recording, 0, 0, n, &mode, 1, arena, &out, &err), QUELL_E_USAGE);
    }
    mode = (quell_mode){.frequency_hz = 47, .damping_ratio = 0.05};
    for (size_t samples = 0; samples < 3000; samples += 371) { /* of the rest before the strokes: no stop, however short */
        ck_assert_int_eq(quell_stops_measure(&made->recording, 0, 0, samples, &mode, 1, arena, &out, &err), QUELL_OK);
        ck_assert_uint_le(out.count, 2);
    }
    quell_side side = stops_side_of(made);
    quell_stops_comparison all;
    const double band[2] = {0, 0};
    ck_assert_int_eq(quell_stops_compare(&side, 0, &side, 1, 0, NULL, band, NULL, arena, &all, &err), QUELL_E_USAGE);
    ck_assert_int_eq(quell_stops_compare(&side, 1, &side, 1, 3, NULL, band, NULL, arena, &all, &err), QUELL_E_USAGE);
}
END_TEST

START_TEST(memory_may_run_out_anywhere)
{
    quell_simulation of = stops_setup(95);
    of.seconds = 3;
    stops_record *before = record(&of);
    quell_side side = stops_side_of(before);
    const double band[2] = {0, 0};
    quell_status status = QUELL_E_MEMORY;
    size_t n = 1;
    for (; status != QUELL_OK && n < 2000; n += n < 40 ? 1 : n / 8) {
        quell_arena *own = quell_arena_create((size_t)1 << 26);
        quell_stops_comparison out = {.modes = 7};
        quell_memory_fail_at(n);
        status = quell_stops_compare(&side, 1, &side, 1, 0, NULL, band, NULL, own, &out, NULL);
        quell_memory_fail_at(0);
        ck_assert(status == QUELL_OK || (status == QUELL_E_MEMORY && out.modes == 7));
        quell_arena_destroy(own);
    }
    ck_assert_int_eq(status, QUELL_OK);
    ck_assert_uint_gt(n, 10);
}
END_TEST

/* Cut anywhere, also within a stroke, and with modes that cannot be told apart: some outcome, and no stray memory. */
START_TEST(any_samples_end_in_an_outcome)
{
    quell_simulation of = stops_setup(96);
    of.seconds = 3;
    stops_record *made = record(&of);
    quell_mode mode[2] = {{.frequency_hz = 47.3, .damping_ratio = 0.046}, {.frequency_hz = 47.4, .damping_ratio = 0.046}};
    for (size_t i = 0; i < 60; i++) {
        quell_stops out;
        size_t first = 8000 + 53 * i, end = first + 97 * i;
        end = end < made->recording.samples ? end : made->recording.samples;
        quell_status status = quell_stops_measure(&made->recording, 0, first, end, mode, 1 + i % 2, arena, &out, NULL);
        ck_assert_int_eq(status, QUELL_OK);
        for (size_t s = 0; s < out.count; s++)
            ck_assert(out.stop[s].end_s > (double)first / made->recording.rate_hz - 0.01 && isfinite(out.stop[s].stroke_m));
    }
}
END_TEST

Suite *suite_stops(void)
{
    const TTest *const tests[] = {amplitudes_are_of_the_end_of_the_motion, a_shaper_that_helps_is_told_in_um,
                                         nothing_left_is_a_limit, no_change_is_not_claimed, a_small_change_does_not_count,
                                         other_strokes_are_no_change_of_the_machine, a_sweep_has_no_stops,
                                         recordings_of_a_side_differ, wrong_use_is_refused, memory_may_run_out_anywhere,
                                         any_samples_end_in_an_outcome};
    Suite *suite = suite_create("stops");
    TCase *tc = tcase_create("stops");
    tcase_set_timeout(tc, 120);
    tcase_add_checked_fixture(tc, setup, teardown);
    for (size_t i = 0; i < sizeof tests / sizeof tests[0]; i++)
        tcase_add_test(tc, tests[i]);
    suite_add_tcase(suite, tc);
    return suite;
}
