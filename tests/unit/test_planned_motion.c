/* The moves of a plan: read as they stand, or refused with the key; and a machine that they drive gives its modes back. */
#include "shortened.h"
#include "suites.h"

#include "quell/modes.h"
#include "quell/simulate.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static quell_status read_plan(quell_planned_motion *out, const char *text, size_t length, quell_error *err)
{
    quell_memory_source state = {text, length, 0};
    quell_source source = quell_source_memory(&state, "plan.json");
    return quell_planned_motion_read(out, &source, err);
}

#define HEAD "{\"schema\":\"quell.excite/1\",\"kind\":\"stops\",\"axis\":"
#define NUMBERS "\"acceleration_mps2\":4,\"before_s\":1,\"start_time_s\":1,\"duration_s\":2,"
#define MOVES(to, speed, rest) "\"moves\":{\"to_mm\":" to ",\"speed_mps\":" speed ",\"rest_s\":" rest "}}"
static const char good[] = HEAD "\"x-y\"," NUMBERS MOVES("[60,0]", "[0.2,0.2]", "[0.5,0]");

START_TEST(a_plan_becomes_its_motion)
{
    quell_planned_motion planned;
    ck_assert_int_eq(read_plan(&planned, good, strlen(good), NULL), QUELL_OK);
    ck_assert_int_eq(planned.kind, QUELL_EXCITE_STOPS);
    ck_assert_str_eq(planned.path->id, "x-y");
    CHECK_NEAR(planned.start_s, 1, 1e-15);
    CHECK_NEAR(planned.end_s, 3, 1e-15);
    CHECK_NEAR(planned.list.end_s, 1 + 0.35 + 0.5 + 0.35, 1e-12); /* 60 mm at 0.2 m/s and 4 m/s2: 0.35 s, by hand */
    quell_motion motion = quell_motion_view(&planned.list);
    CHECK_NEAR(quell_motion_at(&motion, 1.5).position_m, 0.06, 1e-12);
    CHECK_NEAR(quell_motion_at(&motion, 9).position_m, 0, 1e-12);
    quell_motion_list_free(&planned.list);
}
END_TEST

static const char *const refusals[][2] = {
    {"[]", "plan: found a list, want an object"},
    {"{", "is no JSON"},
    {"{\"schema\":\"quell.modes/1\"}", "schema: found \"quell.modes/1\""},
    {"{\"schema\":\"quell.excite/1\",\"kind\":\"ambient\"}", "kind: found \"ambient\""},
    {HEAD "null}", "axis: found null"},
    {HEAD "\"z\"}", "axis: found \"z\""},
    {HEAD "\"x\"}", "acceleration_mps2: found nothing"},
    {HEAD "\"x\",\"acceleration_mps2\":0}", "acceleration_mps2: found 0"},
    {HEAD "\"x\",\"acceleration_mps2\":1e5}", "acceleration_mps2: found 100000"},
    {HEAD "\"x\"," NUMBERS "\"moves\":[]}", "moves: found a list, want an object of lists"},
    {HEAD "\"x\"," NUMBERS "\"moves\":{\"to_mm\":[1]}}", "speed_mps: found nothing, want a list"},
    {HEAD "\"x\"," NUMBERS MOVES("[]", "[]", "[]"), "moves: found 0 of to_mm"},
    {HEAD "\"x\"," NUMBERS MOVES("[1,2]", "[1]", "[0,0]"), "moves: found 1 of speed_mps beside 2 of to_mm"},
    {HEAD "\"x\"," NUMBERS MOVES("[\"1\"]", "[1]", "[0]"), "moves, to_mm[0]: found \"1\""},
    {HEAD "\"x\"," NUMBERS MOVES("[1e6]", "[1]", "[0]"), "moves, to_mm[0]: found 1e6, want a number from -100000 to 100000"},
    {HEAD "\"x\"," NUMBERS MOVES("[1,2]", "[1,0]", "[0,0]"), "moves, speed_mps[1]: found 0, want a number above 0"},
    {HEAD "\"x\"," NUMBERS MOVES("[1]", "[1]", "[-0.1]"), "moves, rest_s[0]: found -0.1"},
    {HEAD "\"x\"," NUMBERS MOVES("[1]", "[1e-9]", "[0]"), "moves: found 1e+06 s of them, want at most 100000 s"},
    {HEAD "\"x\"," NUMBERS MOVES("[1]", "[1e-308]", "[0]"), "moves: found 1e+305 s"},
};

START_TEST(a_plan_that_is_none_is_refused_with_its_key)
{
    quell_planned_motion planned = {.start_s = 4711};
    quell_error err = {0};
    ck_assert_int_eq(read_plan(&planned, refusals[_i][0], strlen(refusals[_i][0]), &err), QUELL_E_DATA);
    ck_assert_msg(strstr(err.text, refusals[_i][1]) != NULL, "%s: %s", refusals[_i][1], err.text);
    ck_assert_str_eq(err.file, "plan.json");
    ck_assert_double_eq(planned.start_s, 4711);
}
END_TEST

START_TEST(too_many_moves_are_refused)
{
    size_t count = QUELL_MOVES_MAX + 1, used = 0;
    char *text = malloc(4 * count * 3 + 1000);
    ck_assert_ptr_nonnull(text);
    used += (size_t)sprintf(text, "%s\"x\",%s\"moves\":{", HEAD, NUMBERS);
    static const char *const keys[] = {"to_mm", "speed_mps", "rest_s"};
    for (size_t row = 0; row < 3; row++) {
        used += (size_t)sprintf(text + used, "%s\"%s\":[", row > 0 ? "," : "", keys[row]);
        for (size_t i = 0; i < count; i++)
            used += (size_t)sprintf(text + used, "%s%d", i > 0 ? "," : "", row == 0 ? (int)(i % 2) : 1);
        used += (size_t)sprintf(text + used, "]");
    }
    used += (size_t)sprintf(text + used, "}}");
    quell_planned_motion planned;
    quell_error err = {0};
    ck_assert_int_eq(read_plan(&planned, text, used, &err), QUELL_E_DATA);
    ck_assert_msg(strstr(err.text, "found 20001 of to_mm") != NULL, "%s", err.text);
    free(text);
}
END_TEST

/* Every part of a plan that ends early, and every byte changed: read or refused, never worse. */
START_TEST(damaged_plans_do_no_harm)
{
    char text[sizeof good];
    for (size_t i = 0; i < 2 * sizeof good; i++) {
        quell_planned_motion planned;
        quell_error err = {0};
        memcpy(text, good, sizeof good);
        size_t length = i < sizeof good ? i : sizeof good - 1;
        if (i >= sizeof good)
            text[i - sizeof good] = (char)(i * 37);
        if (read_plan(&planned, text, length, &err) == QUELL_OK)
            quell_motion_list_free(&planned.list);
        else
            ck_assert_int_eq(err.status, QUELL_E_DATA);
    }
}
END_TEST

START_TEST(every_allocation_may_fail)
{
    for (size_t n = 1;; n++) {
        quell_planned_motion planned = {.start_s = 4711};
        quell_memory_fail_at(n);
        quell_status status = read_plan(&planned, good, strlen(good), NULL);
        quell_memory_fail_at(0);
        if (status == QUELL_OK) {
            quell_motion_list_free(&planned.list);
            ck_assert_uint_gt(n, 3);
            break;
        }
        ck_assert_int_eq(status, QUELL_E_MEMORY);
        ck_assert_double_eq(planned.start_s, 4711);
    }
}
END_TEST

/* ---------------------------------------------------------------- there and back */

/* What `modes --excitation PLAN` is told of a program. */
static quell_shaking shaking_of(const quell_program *program)
{
    quell_shaking out = {.kind = program->asked.kind, .stated = true, .why = "as stated", .sweep.acceleration_mps2 = 1};
    if (out.kind == QUELL_EXCITE_SWEEP) {
        out.sweep = (quell_sweep){program->range_hz[0], program->range_hz[1], program->rate_hz_per_s,
                                  program->asked.acceleration_mps2};
        out.sweep_known = out.acceleration_known = true;
        out.duration_s = program->end_s - program->start_s;
    } else if (out.kind == QUELL_EXCITE_RANDOM) {
        out.random_known = true;
        memcpy(out.random_hz, program->asked.range_hz, sizeof out.random_hz);
    }
    return out;
}

static void record(const quell_program *program, const quell_simulation *setup, quell_arena *arena, quell_recording *out)
{
    quell_planned_motion planned = {.kind = program->asked.kind, .path = program->asked.path, .start_s = program->start_s,
                                    .end_s = program->end_s};
    quell_simulation with = *setup;
    quell_simulated made;
    quell_motion_add_rest(&planned.list, program->before_s);
    ck_assert_int_eq(quell_motion_add_moves(&planned.list, program->move, program->count, program->asked.acceleration_mps2, NULL),
                     QUELL_OK);
    with.motion = &planned;
    ck_assert_int_eq(quell_simulate(&with, arena, &made, NULL), QUELL_OK);
    quell_motion_list_free(&planned.list);
    *out = (quell_recording){.file = "log", .axes = 3, .has_time = true, .samples = made.count, .rate_hz = made.rate_hz};
    for (size_t k = 0; k < 3; k++) {
        out->accel_mps2[k] = made.accel_mps2[k];
        out->axis_name[k] = "a";
    }
}

static quell_modes measure(const quell_program *program, const quell_simulated_mode *mode, uint64_t seed, quell_arena *arena)
{
    quell_simulation setup = {.modes = 1, .mode = {*mode}, .axis = 'x', .rate_hz = 1000, .seed = seed,
                              .noise_mps2_per_rthz = 120e-6 * QUELL_STANDARD_GRAVITY_MPS2};
    quell_recording recording;
    record(program, &setup, arena, &recording);
    quell_fitness fitness;
    ck_assert_int_eq(quell_recording_judge(&fitness, &recording, -1, arena, NULL), QUELL_OK);
    quell_shaking shaking = shaking_of(program);
    quell_welch_options welch = {.overlap = 0.75};
    quell_modes_options options = {.shaking = &shaking};
    quell_spectrum spectrum;
    quell_modes modes;
    quell_error err = {0};
    ck_assert_msg(quell_modes_measure(&recording, 0, &fitness, &welch, &options, arena, &spectrum, &modes, NULL, &err) == QUELL_OK,
                  "%s", err.text);
    return modes;
}

static double off(double value, double truth, const double ci95[2])
{
    return fabs(log(value / truth)) / (log(ci95[1] / ci95[0]) / 2);
}

/* The modes that a machine is made of lie in the intervals that are found, whatever the kind of test: from strokes of ten motor steps,
   where plain rounding gave 36.3 Hz and a participation of 3.4 for 36 Hz and 1, and by ramps of two periods of the mode, 50 ms at
   40 Hz, which leave no ringing at full speed. The seeds are fixed; an interval of 95 % may miss, one of half its width more may not. */
static const struct {
    quell_excitation kind;
    const char *path;
    quell_simulated_mode mode;
} trips[] = {
    {QUELL_EXCITE_SWEEP, "x", {36, 0.02, {1, 0, 0}}},    {QUELL_EXCITE_SWEEP, "x", {20, 0.06, {0.7, 0, 0}}},
    {QUELL_EXCITE_STOPS, "x", {40, 0.046, {1, 0, 0}}},   {QUELL_EXCITE_STOPS, "x", {60, 0.03, {1, 0, 0}}},
    {QUELL_EXCITE_RANDOM, "x", {31.8, 0.062, {1, 0, 0}}}, {QUELL_EXCITE_RANDOM, "x", {25, 0.03, {1, 0, 0}}},
    {QUELL_EXCITE_SWEEP, "x+y", {30, 0.04, {0.7071, 0, 0}}},
};

START_TEST(a_test_gives_the_modes_back)
{
    quell_test_motion asked = {.kind = trips[_i].kind,
                               .path = quell_path_find(trips[_i].path),
                               .travel_m = {{0, 0.18}, {0, 0.18}},
                               .speed_mps = 0.2,
                               .acceleration_mps2 = 4,
                               .step_m = 12.5e-6,
                               .lowest_hz = 30,
                               .lowest_damping_ratio = 0.03,
                               .seconds = 60,
                               .seed = 3};
    quell_arena *arena = quell_arena_create((size_t)1 << 29);
    quell_program program;
    quell_program_range(&asked, asked.range_hz);
    asked.rate_hz_per_s = (asked.range_hz[1] - asked.range_hz[0]) / asked.seconds;
    ck_assert_int_eq(quell_program_make(&program, &asked, arena, NULL), QUELL_OK);
    const quell_simulated_mode *truth = &trips[_i].mode;
    quell_modes modes = measure(&program, truth, 7, arena);
    ck_assert_uint_eq(modes.count, 1);
    const quell_mode *got = &modes.mode[0];
    double along = asked.path->along[0]; /* of the axis that is looked at: both its command and the mode are seen at this share */
    ck_assert_double_le(off(got->frequency_hz, truth->frequency_hz, got->frequency_ci95_hz), 1.5);
    ck_assert_double_le(off(got->damping_ratio, truth->damping_ratio, got->damping_ratio_ci95), 1.5);
    CHECK_NEAR(got->frequency_hz, truth->frequency_hz, 0.015 * truth->frequency_hz);
    if (asked.kind != QUELL_EXCITE_STOPS)
        CHECK_NEAR(got->participation, truth->participation[0] / along, asked.kind == QUELL_EXCITE_SWEEP ? 0.02 : 0.3);
    quell_arena_destroy(arena);
}
END_TEST

/* A controller knows but one acceleration, so the slow strokes of a program have short ramps that leave ringing: they tell how the
   sensor sits all the same, and which way is +. */
START_TEST(the_slow_strokes_of_a_program_tell_direction_and_sign)
{
    static const double acceleration_mps2[] = {1, 4, 16}, turn_rad[][3] = {{0.2, -0.12, 0.54}, {1.5, 0.3, -2}};
    quell_test_motion asked = {.kind = (quell_excitation)_i, .path = quell_path_find("x"), .travel_m = {{0, 0.3}}, .speed_mps = 0.2,
                               .step_m = 3e-6, .lowest_hz = 30, .lowest_damping_ratio = 0.03, .seconds = 12, .seed = 3};
    for (size_t a = 0; a < 3; a++)
        for (size_t t = 0; t < 2; t++) {
            quell_arena *arena = quell_arena_create((size_t)1 << 28);
            quell_program program;
            quell_recording recording;
            quell_mounting mounting;
            double sensor[3][3];
            asked.acceleration_mps2 = acceleration_mps2[a];
            quell_program_range(&asked, asked.range_hz);
            asked.rate_hz_per_s = (asked.range_hz[1] - asked.range_hz[0]) / asked.seconds;
            ck_assert_int_eq(quell_program_make(&program, &asked, arena, NULL), QUELL_OK);
            quell_simulation setup = {.modes = 2, .mode = {{47.3, 0.046, {1, 0.08, 0.02}}, {83.5, 0.028, {0.22, -0.03, 0.04}}},
                                      .axis = 'x', .rate_hz = 1000, .seed = 5,
                                      .noise_mps2_per_rthz = 120e-6 * QUELL_STANDARD_GRAVITY_MPS2};
            memcpy(setup.rotation_rad, turn_rad[t], sizeof setup.rotation_rad);
            record(&program, &setup, arena, &recording);
            ck_assert_int_eq(quell_mounting_find(&mounting, &recording, 'x', &(quell_read_options){0}, arena, NULL), QUELL_OK);
            ck_assert_msg(mounting.sign_known, "%s, %g m/s2", mounting.words, asked.acceleration_mps2);
            quell_simulated_rotation(setup.rotation_rad, sensor);
            double along = 0;
            for (size_t k = 0; k < 3; k++)
                along += mounting.map[0][k] * sensor[k][0]; /* the machine's x as the sensor has it */
            ck_assert_double_gt(along, cos(1.5 * QUELL_PI / 180));
            quell_arena_destroy(arena);
        }
}
END_TEST

Suite *suite_planned_motion(void)
{
    Suite *suite = suite_create("planned_motion");
    TCase *cases = tcase_create("planned_motion");
    tcase_set_timeout(cases, 120);
    tcase_add_test(cases, a_plan_becomes_its_motion);
    tcase_add_loop_test(cases, a_plan_that_is_none_is_refused_with_its_key, 0, sizeof refusals / sizeof refusals[0]);
    tcase_add_test(cases, too_many_moves_are_refused);
    tcase_add_test(cases, damaged_plans_do_no_harm);
    tcase_add_test(cases, every_allocation_may_fail);
    tcase_add_loop_test(cases, a_test_gives_the_modes_back, 0, IS_SHORTENED ? 1 : (int)(sizeof trips / sizeof trips[0]));
    tcase_add_loop_test(cases, the_slow_strokes_of_a_program_tell_direction_and_sign, QUELL_EXCITE_SWEEP,
                        IS_SHORTENED ? QUELL_EXCITE_RANDOM : QUELL_EXCITE_AMBIENT);
    suite_add_tcase(suite, cases);
    return suite;
}
