/* Programs of test motion: what the text makes a machine do, by a reader of its own (gcode_reader.h), is what was asked for. */
#include "gcode_reader.h"
#include "shortened.h"
#include "suites.h"

#include "quell/motion.h"
#include "quell/spectrum.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static quell_test_motion usual(quell_excitation kind, const char *path)
{
    return (quell_test_motion){.kind = kind,
                               .path = quell_path_find(path),
                               .travel_m = {{0, 0.18}, {0.01, 0.17}},
                               .speed_mps = 0.2,
                               .acceleration_mps2 = 4,
                               .step_m = 12.5e-6,
                               .range_hz = {8, 40},
                               .rate_hz_per_s = 2,
                               .lowest_hz = 30,
                               .lowest_damping_ratio = 0.03,
                               .seconds = 20,
                               .seed = 1};
}

static char *text_of(const quell_program *program)
{
    size_t room = 256 + program->count * 96, used = 0;
    char *text = malloc(room), words[QUELL_PROGRAM_WORDS];
    ck_assert_ptr_nonnull(text);
    used += (size_t)snprintf(text, room, "%s", quell_program_head(program, words, sizeof words));
    for (size_t i = 0; i < program->count; i++)
        used += (size_t)snprintf(text + used, room - used, "%s", quell_program_words(program, i, words, sizeof words));
    ck_assert_uint_lt(used, room);
    return text;
}

/* ---------------------------------------------------------------- what every program keeps to */

static bool is_whole(double value, double tolerance)
{
    return fabs(value - round(value)) <= tolerance;
}

static void check_strokes(const gcode_run *run, const quell_test_motion *asked)
{
    bool diagonal = asked->path->sign[0] != 0 && asked->path->sign[1] != 0;
    double unit_mm = 1e3 * fmax(diagonal ? asked->step_m / 2 : asked->step_m, QUELL_WRITTEN_M);
    double least_mm = 10 * unit_mm * (diagonal ? sqrt(2) : 1);
    for (size_t i = 0; i < run->count; i++) {
        const gcode_stroke *stroke = &run->stroke[i];
        ck_assert_double_le(stroke->feed_mmps, 1e3 * asked->speed_mps * (1 + 1e-12));
        ck_assert(stroke->rests || stroke->length_mm > least_mm - 2e-4);
        for (int k = 0; k < 3; k++) {
            bool still = k == 2 || asked->path->sign[k] == 0;
            if (still)
                ck_assert_double_eq(stroke->to_mm[k], stroke->from_mm[k]);
            else
                ck_assert_msg(stroke->to_mm[k] >= 1e3 * asked->travel_m[k][0] - 1e-9 &&
                                  stroke->to_mm[k] <= 1e3 * asked->travel_m[k][1] + 1e-9 &&
                                  is_whole(stroke->to_mm[k] / unit_mm, 1.01e-4 / unit_mm),
                              "%c%.9g of %g to %g, unit %g", "XYZ"[k], stroke->to_mm[k], 1e3 * asked->travel_m[k][0],
                              1e3 * asked->travel_m[k][1], unit_mm);
        }
        double dx = stroke->to_mm[0] - stroke->from_mm[0], dy = stroke->to_mm[1] - stroke->from_mm[1];
        ck_assert(!diagonal || fabs(dx - asked->path->sign[1] * dy) <= 1e-9);
    }
}

/* Rest 3 s, towards + and back twice, rest 3 s; at the end where it began, at rest for 3 s. */
static void check_frame(const gcode_run *run, const quell_test_motion *asked)
{
    const gcode_stroke *first = &run->stroke[0], *last = &run->stroke[run->count - 1];
    double towards[3] = {asked->path->along[0], asked->path->along[1], 0};
    ck_assert(first->rests && first->seconds == 3 && last->rests && last->seconds >= 3);
    for (int k = 0; k < 3; k++)
        ck_assert_double_eq(last->to_mm[k], first->from_mm[k]);
    for (size_t i = 0; i < 8; i++) {
        const gcode_stroke *stroke = &run->stroke[1 + i];
        double along = 0;
        for (int k = 0; k < 3; k++)
            along += towards[k] * (stroke->to_mm[k] - stroke->from_mm[k]);
        ck_assert(stroke->rests == (i % 2 == 1));
        ck_assert(i % 2 == 1 || (i % 4 == 0 ? along > 0 : along < 0));
        ck_assert(stroke->rests || stroke->feed_mmps <= 0.3e3 * asked->speed_mps + 1e-9);
    }
    ck_assert_double_ge(run->stroke[8].seconds, 3);
}

/* The events that the program becomes, and its own account, against the reader's. */
static void check_motion(const gcode_run *run, const quell_program *program)
{
    const quell_test_motion *asked = &program->asked;
    quell_motion_list list = {0};
    quell_motion_add_rest(&list, program->before_s);
    ck_assert_int_eq(quell_motion_add_moves(&list, program->move, program->count, asked->acceleration_mps2, NULL), QUELL_OK);
    CHECK_NEAR(list.end_s, run->seconds, 1e-6);
    CHECK_NEAR(program->duration_s, list.end_s, 1e-6);
    quell_motion motion = quell_motion_view(&list);
    quell_motion_cursor cursor = {.motion = &motion};
    for (size_t i = 0; i <= 400; i++) {
        double time_s = run->seconds * (double)i / 400, at_mm[3], along = 0;
        quell_motion_state state = quell_motion_advance(&cursor, time_s);
        gcode_at(run, 1e3 * asked->acceleration_mps2, time_s, at_mm);
        for (int k = 0; k < 3; k++)
            along += asked->path->along[k] * (at_mm[k] - run->stroke[0].from_mm[k]);
        CHECK_NEAR(1e3 * state.position_m, along, 1e-6);
        ck_assert_double_le(fabs(state.velocity_mps), asked->speed_mps + 1e-9);
        ck_assert_double_le(fabs(state.acceleration_mps2), asked->acceleration_mps2 * (1 + 1e-9));
    }
    quell_motion_list_free(&list);
}

static void check_program(const quell_program *program)
{
    char *text = text_of(program);
    gcode_run run = gcode_read(text, 1e3 * program->asked.acceleration_mps2, program->asked.dwell_in_seconds);
    ck_assert_str_eq(run.complaint, "");
    check_strokes(&run, &program->asked);
    check_frame(&run, &program->asked);
    check_motion(&run, program);
    ck_assert_uint_le(program->count, QUELL_MOVES_MAX);
    free(run.stroke);
    free(text);
}

static double between(quell_random *random, double low, double high)
{
    return low * pow(high / low, quell_random_uniform(random));
}

/* Whatever is asked for is refused with a reason or keeps to all of the above. */
START_TEST(any_program_stays_within_its_limits)
{
    static const char *const paths[] = {"x", "y", "x+y", "x-y"};
    quell_random *random = quell_random_create(11 + (uint64_t)_i);
    size_t made = 0, tries = IS_SHORTENED ? 15 : 120;
    for (size_t n = 0; n < tries; n++) {
        quell_test_motion asked = usual((quell_excitation)_i, paths[n % 4]);
        for (int k = 0; k < 2; k++) {
            asked.travel_m[k][0] = -0.5 + quell_random_uniform(random);
            asked.travel_m[k][1] = asked.travel_m[k][0] + between(random, 0.004, 0.5);
        }
        asked.speed_mps = between(random, 0.01, 1);
        asked.acceleration_mps2 = between(random, 0.3, 30);
        asked.step_m = between(random, 2e-8, 5e-5);
        asked.seconds = between(random, 1, 60);
        asked.dwell_in_seconds = n % 3 == 0;
        asked.seed = n;
        asked.lowest_hz = between(random, 5, 100);
        asked.lowest_damping_ratio = between(random, 0.01, 0.2);
        quell_program_range(&asked, asked.range_hz);
        asked.rate_hz_per_s = (asked.range_hz[1] - asked.range_hz[0]) / asked.seconds;
        quell_arena *arena = quell_arena_create(1 << 24);
        quell_program program;
        quell_error err = {0};
        quell_status status = quell_program_make(&program, &asked, arena, &err);
        ck_assert(status == QUELL_OK || (status == QUELL_E_USAGE && strlen(err.text) > 20));
        if (status == QUELL_OK) {
            check_program(&program);
            made++;
        }
        quell_arena_destroy(arena);
    }
    quell_random_destroy(random);
    ck_assert_msg(made > tries / 4, "%zu of %zu", made, tries);
}
END_TEST

/* ---------------------------------------------------------------- the kinds */

/* Cycles come when the law says, though each has whole steps: by t there are f0 t + rate t^2 / 2 of them. */
START_TEST(a_sweep_keeps_its_law_on_average_and_stroke_by_stroke_to_a_step)
{
    static const double step_mm[] = {0.0125, 0.0005};
    quell_arena *arena = quell_arena_create(1 << 24);
    quell_test_motion asked = usual(QUELL_EXCITE_SWEEP, "x");
    asked.step_m = step_mm[_i] / 1e3;
    quell_program program;
    ck_assert_int_eq(quell_program_make(&program, &asked, arena, NULL), QUELL_OK);
    char *text = text_of(&program);
    gcode_run run = gcode_read(text, 4000, false);
    size_t first = 0, cycles = 0;
    while (run.stroke[first].start_s < program.start_s - 1e-9)
        first++;
    double start_s = run.stroke[first].start_s, last_hz = 0;
    for (size_t i = first; i + 1 < run.count - 1; i += 2, cycles++) {
        const gcode_stroke *there = &run.stroke[i], *back = &run.stroke[i + 1];
        double t = there->start_s - start_s, f = 8 + 2 * t, wanted_mm = 4000 / (16 * f * f);
        CHECK_NEAR(there->length_mm, back->length_mm, 1e-9);
        ck_assert_double_le(fabs(there->length_mm - wanted_mm), 1.01 * step_mm[_i]);
        CHECK_NEAR((double)cycles, 8 * t + t * t, 0.005 * (double)cycles + 1);
        if (cycles == 0) /* sqrt(a / (16 d)) of the stroke as written */
            CHECK_NEAR(program.range_hz[0], sqrt(4000 / (16 * there->length_mm)), 1e-9);
        last_hz = sqrt(4000 / (16 * back->length_mm));
    }
    CHECK_NEAR(program.range_hz[1], last_hz, 1e-9);
    ck_assert_uint_gt(cycles, 370); /* (40^2 - 8^2) / (2 * 2) = 384 */
    ck_assert_double_ge(program.range_hz[1], 39);
    free(run.stroke);
    free(text);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(stops_wait_for_the_ringing_and_change_their_speed)
{
    quell_arena *arena = quell_arena_create(1 << 24);
    quell_test_motion asked = usual(QUELL_EXCITE_STOPS, "y");
    quell_program program;
    ck_assert_int_eq(quell_program_make(&program, &asked, arena, NULL), QUELL_OK);
    double decay_s = 5 / (0.03 * 2 * QUELL_PI * 30); /* 0.884 s: exp(-5) is left */
    size_t faster = 0, slower = 0;
    for (size_t i = program.first; i <= program.last; i++) {
        ck_assert_double_ge(program.move[i].rest_s, decay_s);
        ck_assert_double_le(program.move[i].rest_s, i < program.last ? decay_s + 1e-3 : 3 + 1e-9);
        faster += program.move[i].speed_mps == 0.2;
        slower += program.move[i].speed_mps < 0.15;
        double length_m = fabs(program.move[i].to_m - program.move[i - 1].to_m), v = program.move[i].speed_mps;
        ck_assert_double_ge(length_m, v * v / 4); /* it reaches its speed */
    }
    ck_assert(faster > 3 && slower > 3);
    ck_assert_double_ge(program.end_s - program.start_s, 20 - 1);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(random_strokes_differ_by_seed_alone)
{
    quell_arena *arena = quell_arena_create(1 << 25);
    quell_test_motion asked = usual(QUELL_EXCITE_RANDOM, "x");
    quell_program one, same, other;
    ck_assert_int_eq(quell_program_make(&one, &asked, arena, NULL), QUELL_OK);
    ck_assert_int_eq(quell_program_make(&same, &asked, arena, NULL), QUELL_OK);
    asked.seed = 2;
    ck_assert_int_eq(quell_program_make(&other, &asked, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(one.count, same.count);
    ck_assert_mem_eq(one.at, same.at, one.count * sizeof *one.at);
    size_t n = one.count < other.count ? one.count : other.count, differ = 0;
    for (size_t i = one.first; i < n; i++)
        differ += one.at[i][0] != other.at[i][0];
    ck_assert_uint_gt(differ, (n - one.first) / 2);
    quell_arena_destroy(arena);
}
END_TEST

/* The density of the acceleration of random strokes, 8 to 80 Hz: no more than 2 dB off its mean from 12 to 56 Hz. */
START_TEST(random_strokes_shake_evenly)
{
    enum { RATE = 400, SECONDS = 2000 };
    quell_motion_list list = {0};
    ck_assert_int_eq(quell_motion_add_random(&list, (const double[]){8, 80}, 1, SECONDS, 5, NULL), QUELL_OK);
    quell_motion motion = quell_motion_view(&list);
    quell_motion_cursor cursor = {.motion = &motion};
    double *sample = malloc(RATE * SECONDS * sizeof *sample), before = 0, sum = 0;
    ck_assert_ptr_nonnull(sample);
    for (size_t i = 0; i < RATE * SECONDS; i++) {
        double speed = quell_motion_advance(&cursor, (double)(i + 1) / RATE).velocity_mps;
        sample[i] = (speed - before) * RATE;
        before = speed;
    }
    const double *axes[3] = {sample};
    quell_arena *arena = quell_arena_create(1 << 26);
    quell_welch_options options = {.segment = RATE / 2, .overlap = 0.5};
    quell_spectrum spectrum;
    ck_assert_int_eq(quell_spectrum_estimate(axes, 1, RATE * SECONDS, RATE, NULL, 0, &options, arena, &spectrum, NULL), QUELL_OK);
    for (size_t k = 6; k <= 28; k++) /* bins of 2 Hz */
        sum += spectrum.asd_m2ps3[0][k] / 23;
    for (size_t k = 6; k <= 28; k++)
        CHECK_NEAR(10 * log10(spectrum.asd_m2ps3[0][k] / sum), 0, 2);
    quell_arena_destroy(arena);
    quell_motion_list_free(&list);
    free(sample);
}
END_TEST

/* ---------------------------------------------------------------- refusals */

static void change_kind(quell_test_motion *asked) { asked->kind = QUELL_EXCITE_AMBIENT; }
static void no_speed(quell_test_motion *asked) { asked->speed_mps = 0; }
static void speed_unknown(quell_test_motion *asked) { asked->speed_mps = (double)NAN; }
static void endless_acceleration(quell_test_motion *asked) { asked->acceleration_mps2 = (double)INFINITY; }
static void negative_step(quell_test_motion *asked) { asked->step_m = -1e-5; }
static void travel_reversed(quell_test_motion *asked) { asked->travel_m[0][0] = 0.2; }
static void travel_far_off(quell_test_motion *asked) { asked->travel_m[0][1] = 1e9; }
static void travel_of_few_steps(quell_test_motion *asked)
{
    asked->travel_m[0][1] = 0.006;
    asked->step_m = 0.001;
}
static void high_end(quell_test_motion *asked) { asked->range_hz[1] = 45; }
static void low_start(quell_test_motion *asked) { asked->range_hz[0] = 4.9; }
static void long_strokes(quell_test_motion *asked)
{
    asked->range_hz[0] = 1;
    asked->speed_mps = 2;
}
static void reversed(quell_test_motion *asked) { asked->range_hz[0] = 41; }
static void no_rate(quell_test_motion *asked) { asked->rate_hz_per_s = 0; }
static void endless(quell_test_motion *asked) { asked->rate_hz_per_s = 1e-2; }
static void long_stops(quell_test_motion *asked)
{
    asked->kind = QUELL_EXCITE_STOPS;
    asked->seconds = 1200;
}
static void endless_random(quell_test_motion *asked)
{
    asked->kind = QUELL_EXCITE_RANDOM;
    asked->seconds = 1201;
}
static void no_damping(quell_test_motion *asked)
{
    asked->kind = QUELL_EXCITE_STOPS;
    asked->lowest_damping_ratio = 0;
}
static void rings_on(quell_test_motion *asked)
{
    asked->kind = QUELL_EXCITE_STOPS;
    asked->lowest_damping_ratio = 1e-4;
}
static void too_fast_for_travel(quell_test_motion *asked)
{
    asked->kind = QUELL_EXCITE_STOPS;
    asked->speed_mps = 0.9;
}

static const struct {
    void (*change)(quell_test_motion *asked);
    const char *text;
} refusals[] = {
    {change_kind, "ambient shaking has no program"},
    {no_speed, "speed is 0 mm/s, want 1 to 10000"},
    {speed_unknown, "speed is - mm/s"},
    {endless_acceleration, "acceleration is inf mm/s2"},
    {negative_step, "motor step is -0.01 mm"},
    {travel_reversed, "travel of X is 200 mm to 180 mm"},
    {travel_far_off, "within 10 m of 0"},
    {travel_of_few_steps, "travel holds 6 motor steps, want 22"},
    /* 10 steps of 12.5 um: sqrt(4 / (16 * 125e-6)) = 44.72 Hz; 16 * 45^2 * 125e-6 = 4.05 m/s2 */
    {high_end, "strokes at 45 Hz are 9.9 motor steps long, want 10 or more: end at 44.7 Hz, or set and state an acceleration of 4050"},
    {low_start, "strokes at 4.9 Hz peak at 204.1 mm/s, want at most 200: begin at 5 Hz"}, /* a / (4 v) */
    {long_strokes, "strokes at 1 Hz are 250 mm long, and the travel holds 180 mm: begin at 1.18 Hz"},
    {reversed, "frequencies run from 41 Hz to 40 Hz"},
    {no_rate, "rate of the sweep is 0 Hz/s"},
    {endless, "has more than 20000 moves"},
    {long_stops, "lasts more than 1200 s"},
    {endless_random, "length is 1201 s, want 1 to 1200 s"},
    {no_damping, "with a damping ratio of 0, want"},
    {rings_on, "rings for 265 s, want at most 60 s"}, /* 5 / (1e-4 * 2 pi * 30) */
    {too_fast_for_travel, "900 mm/s takes 202.5 mm to reach and to leave, and the travel holds 180 mm"}, /* v^2 / a */
};

START_TEST(what_cannot_be_run_is_refused_with_what_could)
{
    quell_arena *arena = quell_arena_create(1 << 24);
    quell_test_motion asked = usual(QUELL_EXCITE_SWEEP, "x");
    refusals[_i].change(&asked);
    quell_program program = {.count = 4711};
    quell_error err = {0};
    ck_assert_int_eq(quell_program_make(&program, &asked, arena, &err), QUELL_E_USAGE);
    ck_assert_msg(strstr(err.text, refusals[_i].text) != NULL, "%s: %s", refusals[_i].text, err.text);
    ck_assert_uint_eq(program.count, 4711);
    quell_arena_destroy(arena);
}
END_TEST

/* What a refusal offers is taken: the whole range at once. */
START_TEST(the_range_that_is_offered_can_be_run)
{
    quell_arena *arena = quell_arena_create(1 << 24);
    quell_test_motion asked = usual(QUELL_EXCITE_SWEEP, _i == 0 ? "x" : "x-y");
    quell_program_range(&asked, asked.range_hz);
    CHECK_NEAR(asked.range_hz[0], _i == 0 ? 5 : 5, 0.011);
    CHECK_NEAR(asked.range_hz[1], _i == 0 ? 44.7 : 53.1, 0.11); /* steps of 12.5 um / sqrt 2 */
    quell_program program;
    ck_assert_int_eq(quell_program_make(&program, &asked, arena, NULL), QUELL_OK);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(every_allocation_of_a_program_may_fail)
{
    for (size_t n = 1;; n++) {
        quell_test_motion asked = usual(QUELL_EXCITE_RANDOM, "x");
        quell_program program = {.count = 4711};
        quell_memory_fail_at(n);
        quell_arena *arena = quell_arena_create(1 << 24);
        quell_status status =
            arena != NULL ? quell_program_make(&program, &asked, arena, NULL) : QUELL_E_MEMORY;
        quell_memory_fail_at(0);
        ck_assert(status == QUELL_OK || (status == QUELL_E_MEMORY && program.count == 4711));
        quell_arena_destroy(arena);
        if (status == QUELL_OK) {
            ck_assert_uint_gt(n, 3);
            break;
        }
    }
}
END_TEST

/* ---------------------------------------------------------------- moves that a planner joins */

static double end_of(const quell_move *move, size_t count, double want_m)
{
    quell_motion_list list = {0};
    ck_assert_int_eq(quell_motion_add_moves(&list, move, count, 4, NULL), QUELL_OK);
    quell_motion motion = quell_motion_view(&list);
    quell_motion_state state = quell_motion_at(&motion, list.end_s + 1);
    CHECK_NEAR(state.position_m, want_m, 1e-12);
    CHECK_NEAR(state.velocity_mps, 0, 1e-12);
    CHECK_NEAR(state.acceleration_mps2, 0, 1e-9);
    double end_s = list.end_s;
    quell_motion_list_free(&list);
    return end_s;
}

START_TEST(moves_the_same_way_are_joined_and_others_are_not)
{
    /* at 4 m/s2 and 0.2 m/s a ramp takes 0.05 s and 5 mm, by hand */
    CHECK_NEAR(end_of((const quell_move[]){{0.06, 0.2, 0}}, 1, 0.06), 0.35, 1e-12);
    CHECK_NEAR(end_of((const quell_move[]){{0.02, 0.2, 0}, {0.06, 0.2, 0}}, 2, 0.06), 0.35, 1e-12);
    CHECK_NEAR(end_of((const quell_move[]){{0.02, 0.2, 0.1}, {0.06, 0.2, 0}}, 2, 0.06), 0.35 + 0.05 + 0.1, 1e-12);
    CHECK_NEAR(end_of((const quell_move[]){{0.02, 0.2, 0}, {-0.04, 0.2, 0}}, 2, -0.04), 0.15 + 0.35, 1e-12);
    /* the second move is slower, 0.1 m/s (25 ms, 1.25 mm): it brakes to that within the first: 5 mm up, 3.75 mm down, 11.25 mm at
       0.2 m/s; then 20 mm less 1.25 mm at 0.1 m/s */
    CHECK_NEAR(end_of((const quell_move[]){{0.02, 0.2, 0}, {0.04, 0.1, 0}}, 2, 0.04),
               0.05 + 0.025 + 0.01125 / 0.2 + 0.01875 / 0.1 + 0.025, 1e-12);
    /* the last move, of 1 mm, is too short to brake in from 0.2 m/s: what comes before has to: as if it were one move */
    CHECK_NEAR(end_of((const quell_move[]){{0.059, 0.2, 0}, {0.06, 0.2, 0}}, 2, 0.06), 0.35, 1e-12);
    CHECK_NEAR(end_of((const quell_move[]){{0.001, 0.2, 0}, {0.06, 0.2, 0}}, 2, 0.06), 0.35, 1e-12);
    CHECK_NEAR(end_of((const quell_move[]){{0.01, 0.2, 0}, {0.01, 0.2, 0.5}}, 2, 0.01), 0.1 + 0.5, 1e-12); /* no way */
}
END_TEST

START_TEST(moves_that_are_none_are_refused)
{
    static const struct {
        quell_move move;
        double acceleration_mps2;
        const char *text;
    } rows[] = {
        {{(double)NAN, 0.1, 0}, 4, "position of a move is - m"},
        {{0.1, 0, 0}, 4, "speed of a move is 0 m/s"},
        {{0.1, 0.1, -1}, 4, "rest after a move is -1 s"},
        {{0.1, 0.1, 0}, 0, "acceleration of the moves is 0 m/s2"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_motion_list list = {0};
        quell_error err = {0};
        ck_assert_int_eq(quell_motion_add_moves(&list, &rows[i].move, 1, rows[i].acceleration_mps2, &err), QUELL_E_USAGE);
        ck_assert_msg(strstr(err.text, rows[i].text) != NULL, "%s", err.text);
        quell_motion_list_free(&list);
    }
}
END_TEST

Suite *suite_program(void)
{
    Suite *suite = suite_create("program");
    TCase *cases = tcase_create("program");
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, any_program_stays_within_its_limits, QUELL_EXCITE_SWEEP, QUELL_EXCITE_AMBIENT);
    tcase_add_loop_test(cases, a_sweep_keeps_its_law_on_average_and_stroke_by_stroke_to_a_step, 0, 2);
    tcase_add_test(cases, stops_wait_for_the_ringing_and_change_their_speed);
    tcase_add_test(cases, random_strokes_differ_by_seed_alone);
    tcase_add_test(cases, random_strokes_shake_evenly);
    tcase_add_loop_test(cases, what_cannot_be_run_is_refused_with_what_could, 0, sizeof refusals / sizeof refusals[0]);
    tcase_add_loop_test(cases, the_range_that_is_offered_can_be_run, 0, 2);
    tcase_add_test(cases, every_allocation_of_a_program_may_fail);
    tcase_add_test(cases, moves_the_same_way_are_joined_and_others_are_not);
    tcase_add_test(cases, moves_that_are_none_are_refused);
    suite_add_tcase(suite, cases);
    return suite;
}
