/* ingest: is a recording fit? On machines whose truth is known, and on recordings spoilt in one way each. */
#include "ingest_machine.h"

#include "ingest/ingest_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const test_machine plain = {.driven = 'x',
                                   .preamble = true,
                                   .motion_s = 12,
                                   .end_rest_s = 2,
                                   .gravity_mps2 = 9.80665,
                                   .noise_mps2_per_rthz = 120e-6 * 9.80665,
                                   .step_mps2 = 0.004 * 9.80665,
                                   .fan_hz = 112,
                                   .fan_mps2 = 0.1,
                                   .seed = 3};

static quell_arena *arena;
static quell_recording recording;
static test_truth truth;
static quell_fitness fitness;

static void record(const test_machine *machine)
{
    arena = quell_arena_create((size_t)1 << 27);
    test_machine_record(machine, arena, &recording, &truth);
}

static void judge(int driven)
{
    ck_assert_int_eq(quell_recording_judge(&fitness, &recording, driven, arena, NULL), QUELL_OK);
}

START_TEST(a_good_recording_is_fit)
{
    record(&plain);
    judge(0);
    ck_assert_str_eq(fitness.verdict, "fit");
    ck_assert_str_eq(fitness.reason, "");
    CHECK_NEAR(fitness.duration_s, truth.motion_s[1] + 2, 1e-6);
    CHECK_NEAR(fitness.mean_mps2[2], 9.80665, 0.003);
    CHECK_NEAR(fitness.mean_mps2[0], 0, 0.003);
    /* white noise and the error of rounding to steps (uniform: step^2/12 over half the rate), as powers */
    double floor = sqrt(pow(plain.noise_mps2_per_rthz, 2) + pow(plain.step_mps2, 2) / (6 * 2000));
    for (size_t k = 0; k < 3; k++)
        CHECK_NEAR(fitness.noise_mps2_per_rthz[k] / floor, 1, 0.05);
    const quell_finding *line = test_finding(&recording.findings, "line");
    ck_assert_ptr_nonnull(line);
    CHECK_NEAR(line->value, 112, 0.3);
    ck_assert_int_eq(line->severity, QUELL_NOTE);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(rest_strokes_and_motion_are_found)
{
    static const char *const kinds[] = {"rest", "slow strokes", "rest", "sweep", "rest"};
    record(&plain);
    judge(0);
    const double ends[] = {truth.strokes_s[0], truth.strokes_s[1], truth.motion_s[0], truth.motion_s[1],
                           truth.motion_s[1] + 2};
    ck_assert_uint_eq(fitness.segments, 5);
    for (size_t s = 0; s < 5; s++) {
        ck_assert_str_eq(quell_stretch_word(fitness.segment[s].kind), kinds[s]);
        /* the last stroke ends with half a second of rest; ringing goes on for 0.2 s (e^-3 of a decay of 15/s), windows
           are a tenth of a second, and one more counts as moving */
        CHECK_NEAR(fitness.segment[s].end_s, ends[s], s == 1 ? 0.8 : 0.35);
        if (s > 0)
            CHECK_NEAR(fitness.segment[s].start_s, fitness.segment[s - 1].end_s, 0.001);
    }
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(spans_are_ready_to_use_after_a_cut_and_a_gap)
{
    size_t at[1] = {2000}, lost[1] = {4000};
    record(&plain);
    recording.offset_s = 10;
    recording.break_count = 1;
    recording.break_at = at;
    recording.break_lost = lost;
    judge(0);
    CHECK_NEAR(fitness.segment[0].start_s, 10, 1e-9);
    CHECK_NEAR(fitness.segment[0].end_s, 10 + truth.strokes_s[0] + 2, 0.25);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(motion_without_rest_and_rest_without_motion)
{
    test_machine machine = plain;
    machine.preamble = false;
    machine.end_rest_s = 0;
    record(&machine);
    judge(0);
    ck_assert_uint_eq(fitness.segments, 1);
    ck_assert_int_eq(fitness.segment[0].kind, QUELL_SWEEP);
    quell_arena_destroy(arena);
    machine.motion_s = 0;
    machine.end_rest_s = 12;
    record(&machine);
    judge(0);
    ck_assert_uint_eq(fitness.segments, 1);
    ck_assert_int_eq(fitness.segment[0].kind, QUELL_REST);
    ck_assert(isnan(fitness.dominant_hz));
    ck_assert_ptr_null(
        test_finding(&recording.findings, "line")); /* in an ambient recording it may be a mode */
    quell_arena_destroy(arena);
}
END_TEST

/* One thing wrong at a time: how it is spoilt, and the finding. Limits from the design's table. */
typedef struct spoiling {
    const char *kind;
    quell_severity severity;
    double value;
} spoiling;

static void expect(const spoiling *wanted, const char *verdict, double tolerance)
{
    const quell_finding *finding = test_finding(&recording.findings, wanted->kind);
    ck_assert_msg(finding != NULL, "no finding '%s'", wanted->kind);
    ck_assert_msg(finding->severity == wanted->severity, "'%s' has severity %d", wanted->kind,
                  (int)finding->severity);
    CHECK_NEAR(finding->value, wanted->value, tolerance);
    ck_assert_str_eq(fitness.verdict, verdict);
    if (wanted->severity != QUELL_NOTE) {
        ck_assert_str_eq(fitness.reason, finding->text);
        ck_assert_uint_gt(strlen(fitness.remedy), 10);
    }
}

START_TEST(jitter_is_judged)
{
    static const double jitter[] = {0.09, 0.11, 0.24, 0.26};
    static const char *const verdicts[] = {"fit", "care", "care", "unfit"};
    record(&plain);
    recording.jitter_fraction = jitter[_i];
    judge(0);
    ck_assert_str_eq(fitness.verdict, verdicts[_i]);
    if (_i > 0)
        expect(&(spoiling){"jitter", _i == 3 ? QUELL_REFUSE : QUELL_WARN, jitter[_i]}, verdicts[_i], 1e-12);
    quell_arena_destroy(arena);
}
END_TEST

/* A sample counter settles where each sample belongs, however much the stamps jitter. */
START_TEST(jitter_with_a_counter_is_no_refusal)
{
    record(&plain);
    recording.jitter_fraction = 0.3;
    recording.has_counter = true;
    judge(0);
    expect(&(spoiling){"jitter", QUELL_WARN, 0.3}, "care", 1e-12);
    quell_arena_destroy(arena);
}
END_TEST

/* Losses at random, closed up: from row to row the motion turns and decays by the mean of exp(j t n), n geometric:
   (1 - l) / |1 - l exp(j t)| in size, so a damping ratio rises by the logarithm of that over t; t = 2 pi f / rate. The
   limits are 2 % and 10 % of a damping ratio of 0.05. The mode is at 47 Hz, the rate 2000 Hz / (1 - l). */
START_TEST(losses_that_are_not_located_are_judged)
{
    static const double lost[] = {0.012, 0.016, 0.06, 0.08};
    static const char *const verdicts[] = {"fit", "care", "care", "unfit"};
    record(&plain);
    recording.coarse_stamps = true;
    recording.nominal_rate_hz = recording.rate_hz / (1 - lost[_i]);
    judge(0);
    double l = lost[_i], turn = QUELL_TAU * 47 * (1 - l) / 2000;
    double share = log(sqrt(1 - 2 * l * cos(turn) + l * l) / (1 - l)) / turn / 0.05;
    ck_assert_str_eq(fitness.verdict, verdicts[_i]);
    if (_i > 0) /* bins of 2 Hz; the law is for small l */
        expect(&(spoiling){"unlocated", _i == 3 ? QUELL_REFUSE : QUELL_WARN, share}, verdicts[_i],
               0.1 * share);
    quell_arena_destroy(arena);
}
END_TEST

/* The mode at 47 Hz, sampled at 250, 200, 125 and 100 Hz: a fifth and two fifths of the rate are the limits. */
START_TEST(motion_too_fast_for_the_rate_is_judged)
{
    static const size_t every[] = {8, 10, 16, 20};
    static const char *const verdicts[] = {"fit", "care", "care", "unfit"};
    record(&plain);
    size_t kept = 0;
    for (size_t i = 0; i < recording.samples; i += every[_i], kept++)
        for (size_t k = 0; k < 3; k++)
            recording.accel_mps2[k][kept] = recording.accel_mps2[k][i];
    recording.samples = kept;
    recording.rate_hz = 2000.0 / (double)every[_i];
    judge(0);
    const quell_finding *finding = test_finding(&recording.findings, "sampling");
    if (_i == 0) {
        ck_assert_ptr_null(finding);
    } else { /* blocks of 1024 samples are long at these rates: the peak lies between the bins of a sweep */
        ck_assert_ptr_nonnull(finding);
        CHECK_NEAR(finding->value, 47 / recording.rate_hz, 0.04);
        ck_assert_int_eq(finding->severity, _i == 3 ? QUELL_REFUSE : QUELL_WARN);
        ck_assert_str_eq(fitness.verdict, verdicts[_i]);
    }
    quell_arena_destroy(arena);
}
END_TEST

/* One standard error of a damping ratio is zeta / sqrt(2 pi zeta f T): with zeta 0.05 at 47 Hz, 12 s give 1.96 / sqrt(0.1
   pi 47 12) = 14.7 %, and 5 % take 104 s. */
START_TEST(what_the_length_gives_is_told)
{
    record(&plain);
    judge(0);
    double share = 1.96 / sqrt(0.1 * QUELL_PI * 47 * 12);
    CHECK_NEAR(fitness.motion_s, 12, 0.5);
    CHECK_NEAR(fitness.damping_ci95_share, share, 0.05 * share);
    CHECK_NEAR(fitness.wanted_s, 104, 5);
    quell_arena_destroy(arena);
    test_machine still = plain;
    still.preamble = false;
    still.motion_s = 0;
    still.end_rest_s = 12;
    record(&still);
    judge(0);
    ck_assert(isnan(fitness.damping_ci95_share) && isnan(fitness.wanted_s) && fitness.motion_s == 0);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(losses_are_judged)
{
    static const double share[] = {0.009, 0.011, 0.099, 0.101};
    static const char *const verdicts[] = {"fit", "care", "care", "unfit"};
    record(&plain);
    recording.lost_samples = (size_t)(share[_i] / (1 - share[_i]) * (double)recording.samples);
    recording.gaps = 1;
    judge(0);
    quell_severity severity = _i == 0 ? QUELL_NOTE : _i == 3 ? QUELL_REFUSE : QUELL_WARN;
    expect(&(spoiling){"gaps", severity, share[_i]}, verdicts[_i], 1e-4);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(clipping_is_judged)
{
    record(&plain);
    recording.clipped_fraction[1] = _i == 0 ? 0.0005 : 0.011;
    judge(0);
    expect(&(spoiling){"clipping", _i == 0 ? QUELL_WARN : QUELL_REFUSE, _i == 0 ? 0.0005 : 0.011},
           _i == 0 ? "care" : "unfit", 1e-12);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(length_is_judged)
{
    static const struct {
        size_t samples;
        const char *verdict;
        quell_severity severity;
    } rows[] = {{20000, "fit", QUELL_NOTE},
                {19000, "care", QUELL_WARN},
                {4100, "care", QUELL_WARN},
                {3900, "unfit", QUELL_REFUSE}};
    test_machine machine = plain;
    machine.preamble = false;
    record(&machine);
    recording.samples = rows[_i].samples;
    judge(0);
    if (_i == 0) {
        ck_assert_str_eq(fitness.verdict, "fit");
        ck_assert_ptr_null(test_finding(&recording.findings, "short"));
    } else {
        expect(&(spoiling){"short", rows[_i].severity, (double)rows[_i].samples / 2000}, rows[_i].verdict,
               1e-3);
    }
    quell_arena_destroy(arena);
}
END_TEST

/* Gaps that leave no stretch long enough make a long recording unfit. */
START_TEST(a_recording_in_shreds_is_unfit)
{
    static size_t at[60], lost[60];
    record(&plain);
    for (size_t b = 0; b < 60; b++) {
        at[b] = 700 * (b + 1);
        lost[b] = 10;
    }
    recording.lost_samples = 600;
    recording.gaps = 60;
    recording.break_count = 60;
    recording.break_at = at;
    recording.break_lost = lost;
    recording.samples = 700 * 61;
    judge(0);
    ck_assert_ptr_nonnull(test_finding(&recording.findings, "breaks"));
    expect(&(spoiling){"short", QUELL_REFUSE, 0}, "unfit", 1e-9);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(dead_axes_are_judged)
{
    record(&plain);
    for (size_t i = 0; i < recording.samples; i++)
        recording.accel_mps2[1][i] = 0.5;
    recording.step_mps2[1] = recording.resolution_mps2[1] = 0;
    judge(_i == 0 ? 1 : 0);
    expect(&(spoiling){"dead-axis", _i == 0 ? QUELL_REFUSE : QUELL_WARN, 1}, _i == 0 ? "unfit" : "care", 0.5);
    ck_assert_str_eq(fitness.reason, "a2 never changes: the axis is dead");
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(all_axes_dead_is_unfit_whatever_is_driven)
{
    record(&plain);
    for (size_t k = 0; k < 3; k++) {
        for (size_t i = 0; i < recording.samples; i++)
            recording.accel_mps2[k][i] = 1;
        recording.step_mps2[k] = recording.resolution_mps2[k] = 0;
    }
    judge(-1);
    ck_assert_str_eq(fitness.verdict, "unfit");
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(an_axis_stuck_in_motion_is_noticed)
{
    record(&plain);
    size_t from = (size_t)((truth.motion_s[0] + 4) * 2000);
    for (size_t i = from; i < from + 1400; i++)
        recording.accel_mps2[0][i] = recording.accel_mps2[0][from];
    judge(0);
    expect(&(spoiling){"stuck-axis", QUELL_WARN, 0.7}, "care", 0.01);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(gravity_that_is_off_is_noticed)
{
    test_machine machine = plain;
    machine.gravity_mps2 = 9.80665 * 1.09;
    record(&machine);
    judge(0);
    expect(&(spoiling){"gravity", QUELL_WARN, 0.09}, "care", 0.002);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(coarse_steps_and_energy_near_nyquist_are_shown)
{
    test_machine machine = plain;
    machine.step_mps2 = 0.5;
    record(&machine);
    judge(0);
    ck_assert_ptr_nonnull(test_finding(&recording.findings, "quantisation"));
    quell_arena_destroy(arena);
    record(&plain);
    for (size_t i = (size_t)(truth.motion_s[0] * 2000); i < (size_t)(truth.motion_s[1] * 2000); i++)
        recording.accel_mps2[0][i] += 12 * sin(QUELL_TAU * 960 * (double)i / 2000);
    judge(0);
    const quell_finding *finding = test_finding(&recording.findings, "nyquist");
    ck_assert_ptr_nonnull(finding);
    ck_assert_int_eq(finding->severity, QUELL_WARN);
    quell_arena_destroy(arena);
}
END_TEST

/* The remedy's length: 1.96 / sqrt(2 pi zeta f T) = 5 % with zeta = 0.05; at 47 Hz that is 104 s. */
START_TEST(the_remedy_names_a_length)
{
    record(&plain);
    recording.samples = 15000;
    for (size_t k = 0; k < 3; k++)
        recording.accel_mps2[k] += (size_t)((truth.motion_s[0] + 2) * 2000);
    judge(0);
    double seconds = pow(1.96 / 0.05, 2) / (QUELL_TAU * 0.05 * fitness.dominant_hz);
    char wanted[64];
    snprintf(wanted, sizeof wanted, "record at least %.0f s", seconds);
    ck_assert_msg(strstr(fitness.remedy, wanted) != NULL, "%s", fitness.remedy);
    quell_arena_destroy(arena);
}
END_TEST

Suite *suite_ingest_judge(void)
{
    Suite *suite = suite_create("ingest judge");
    TCase *cases = tcase_create("judge");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, a_good_recording_is_fit);
    tcase_add_test(cases, rest_strokes_and_motion_are_found);
    tcase_add_test(cases, spans_are_ready_to_use_after_a_cut_and_a_gap);
    tcase_add_test(cases, motion_without_rest_and_rest_without_motion);
    tcase_add_loop_test(cases, jitter_is_judged, 0, 4);
    tcase_add_test(cases, jitter_with_a_counter_is_no_refusal);
    tcase_add_loop_test(cases, losses_that_are_not_located_are_judged, 0, 4);
    tcase_add_loop_test(cases, motion_too_fast_for_the_rate_is_judged, 0, 4);
    tcase_add_test(cases, what_the_length_gives_is_told);
    tcase_add_loop_test(cases, losses_are_judged, 0, 4);
    tcase_add_loop_test(cases, clipping_is_judged, 0, 2);
    tcase_add_loop_test(cases, length_is_judged, 0, 4);
    tcase_add_test(cases, a_recording_in_shreds_is_unfit);
    tcase_add_loop_test(cases, dead_axes_are_judged, 0, 2);
    tcase_add_test(cases, all_axes_dead_is_unfit_whatever_is_driven);
    tcase_add_test(cases, an_axis_stuck_in_motion_is_noticed);
    tcase_add_test(cases, gravity_that_is_off_is_noticed);
    tcase_add_test(cases, coarse_steps_and_energy_near_nyquist_are_shown);
    tcase_add_test(cases, the_remedy_names_a_length);
    suite_add_tcase(suite, cases);
    return suite;
}
