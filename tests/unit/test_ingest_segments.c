/* ingest: the stretches of long logs put together from simulated recordings, whose times are known. */
#include "ingest_help.h"

#include "quell/simulate.h"

#include <math.h>
#include <string.h>

enum { PARTS_MAX = 8 };

#define RATE_HZ 2000.0

/* One recording of the log, and what is in it. */
typedef struct part {
    quell_excitation excitation;
    bool backwards; /* played in reverse: a rising sweep falls */
    size_t strokes;
    const double *turn_rad; /* NULL: upright */
} part;

typedef struct stretch {
    quell_stretch kind;
    double start_s, end_s;
} stretch;

/* The log, and the stretches that move, in order. */
typedef struct made_log {
    quell_recording recording;
    stretch wanted[2 * PARTS_MAX];
    size_t count;
} made_log;

static quell_simulation plan(const part *of, uint64_t seed)
{
    quell_simulation out = {.modes = 2,
                            .mode = {{47.3, 0.046, {1, 0.08, 0.02}}, {83.5, 0.028, {0.22, -0.03, 0.04}}},
                            .axis = 'x',
                            .excitation = of->excitation,
                            .sweep = {12, 90, 3, 5},
                            .random_rms_mps2 = 2,
                            .seconds = 12,
                            .preamble = {3, of->strokes, 0.06, 0.12, 0.4, 0.5},
                            .stroke_m = 0.06,
                            .speed_mps = 0.2,
                            .acceleration_mps2 = 6,
                            .dwell_s = 0.5,
                            .rate_hz = RATE_HZ,
                            .noise_mps2_per_rthz = 120e-6 * 9.80665,
                            .step_mps2 = 0.004 * 9.80665,
                            .seed = seed};
    if (of->turn_rad != NULL)
        memcpy(out.rotation_rad, of->turn_rad, sizeof out.rotation_rad);
    return out;
}

static quell_stretch kind_of(quell_excitation excitation)
{
    return excitation == QUELL_EXCITE_SWEEP   ? QUELL_SWEEP
           : excitation == QUELL_EXCITE_STOPS ? QUELL_STOPS
                                              : QUELL_MOTION;
}

/* Where things are in a part, from its beginning: the preamble's two rests last 3 s each; a stroke takes
   speed / acceleration twice and cruises over what is left of its length. */
static void note(made_log *out, const part *of, const quell_simulated *made, double at_s)
{
    double ramp_s = 0.12 / 0.4, stroke_s = 2 * ramp_s + (0.06 - 0.12 * ramp_s) / 0.12;
    double length_s = (double)made->count / RATE_HZ;
    stretch strokes = {QUELL_STROKES, 3, 3 + 2 * (double)of->strokes * (stroke_s + 0.5) - 0.5};
    stretch main_one = {kind_of(of->excitation), made->start_s, made->end_s};
    if (of->backwards)
        main_one = (stretch){main_one.kind, length_s - made->end_s, length_s - made->start_s};
    else if (of->strokes > 0)
        out->wanted[out->count++] = (stretch){QUELL_STROKES, at_s + strokes.start_s, at_s + strokes.end_s};
    out->wanted[out->count++] = (stretch){main_one.kind, at_s + main_one.start_s, at_s + main_one.end_s};
}

static void make_log(made_log *out, const part *parts, size_t count, quell_arena *arena)
{
    quell_simulated made[PARTS_MAX];
    size_t samples = 0, at = 0;
    *out = (made_log){0};
    for (size_t p = 0; p < count; p++) {
        quell_simulation setup = plan(&parts[p], 100 + p);
        ck_assert_int_eq(quell_simulate(&setup, arena, &made[p], NULL), QUELL_OK);
        note(out, &parts[p], &made[p], (double)samples / RATE_HZ);
        samples += made[p].count;
    }
    quell_recording *r = &out->recording;
    *r =
        (quell_recording){.file = "log", .axes = 3, .samples = samples, .rate_hz = RATE_HZ, .has_time = true};
    for (size_t k = 0; k < 3; k++) {
        r->accel_mps2[k] = QUELL_NEW(arena, double, samples);
        ck_assert_ptr_nonnull(r->accel_mps2[k]);
        r->axis_name[k] = "a";
        r->step_mps2[k] = r->resolution_mps2[k] = 0.004 * 9.80665;
    }
    for (size_t p = 0; p < count; p++)
        for (size_t i = 0; i < made[p].count; i++, at++)
            for (size_t k = 0; k < 3; k++)
                r->accel_mps2[k][at] = made[p].accel_mps2[k][parts[p].backwards ? made[p].count - 1 - i : i];
}

static quell_fitness judge(const quell_recording *of, quell_arena *arena)
{
    quell_recording copy = *of;
    quell_fitness out;
    ck_assert_int_eq(quell_recording_judge(&out, &copy, -1, arena, NULL), QUELL_OK);
    return out;
}

/* Windows last 0.1 s; one more on either side belongs to the motion, and ringing goes on for some tenths after it (before
   it, played backwards). */
static void check_stretches(const made_log *made, const quell_fitness *found, double tolerance_s)
{
    size_t moving = 0;
    for (size_t s = 0; s < found->segments; s++) {
        const quell_segment *segment = &found->segment[s];
        if (segment->kind == QUELL_REST)
            continue;
        ck_assert_uint_lt(moving, made->count);
        const stretch *wanted = &made->wanted[moving++];
        ck_assert_msg(segment->kind == wanted->kind, "%s at %.2f s, want %s",
                      quell_stretch_word(segment->kind), segment->start_s, quell_stretch_word(wanted->kind));
        CHECK_NEAR(segment->start_s, wanted->start_s - 0.2, tolerance_s);
        CHECK_NEAR(segment->end_s, wanted->end_s + 0.2, tolerance_s);
    }
    ck_assert_uint_eq(moving, made->count);
}

static const part parts[] = {
    {QUELL_EXCITE_SWEEP, false, 2, NULL},  {QUELL_EXCITE_STOPS, false, 2, NULL},
    {QUELL_EXCITE_RANDOM, false, 0, NULL}, {QUELL_EXCITE_SWEEP, true, 0, NULL},
    {QUELL_EXCITE_STOPS, false, 0, NULL},  {QUELL_EXCITE_SWEEP, false, 0, NULL},
    {QUELL_EXCITE_RANDOM, false, 2, NULL},
};

START_TEST(each_kind_of_motion_is_found_alone)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    made_log made;
    make_log(&made, &parts[_i], 1, arena);
    quell_fitness found = judge(&made.recording, arena);
    check_stretches(&made, &found, 0.4);
    quell_arena_destroy(arena);
}
END_TEST

/* Seven recordings in one log: every stretch is found, and its span gives the same stretch again. */
START_TEST(a_long_log_falls_into_spans_that_can_be_used)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 29);
    made_log made;
    make_log(&made, parts, 7, arena);
    quell_fitness found = judge(&made.recording, arena);
    check_stretches(&made, &found, 0.4);
    for (size_t s = 0; s < found.segments; s++) {
        const quell_segment *segment = &found.segment[s];
        size_t from = (size_t)(segment->start_s * RATE_HZ + 0.5),
               to = (size_t)(segment->end_s * RATE_HZ + 0.5) + 1;
        ck_assert_uint_le(to, made.recording.samples);
        quell_recording cut = made.recording;
        cut.samples = to - from;
        cut.offset_s = segment->start_s;
        cut.digest = NULL;
        for (size_t k = 0; k < 3; k++)
            cut.accel_mps2[k] += from;
        quell_fitness again = judge(&cut, arena);
        if (segment->kind == QUELL_STROKES) /* alone they are no preamble to anything */
            continue;
        size_t same = 0;
        for (size_t t = 0; t < again.segments; t++)
            if (again.segment[t].kind == segment->kind) {
                same++;
                CHECK_NEAR(again.segment[t].start_s, segment->start_s, 0.3);
                CHECK_NEAR(again.segment[t].end_s, segment->end_s, 0.5);
            }
        ck_assert_msg(same == 1, "the %s at %.2f s is found %zu times in its own span",
                      quell_stretch_word(segment->kind), segment->start_s, same);
    }
    quell_arena_destroy(arena);
}
END_TEST

/* A sensor moved to another part in the middle of a log sits at another angle to gravity: rests stay rests.
   The second around the turn, which takes no time here, may go either way. */
START_TEST(a_sensor_that_is_turned_between_parts_does_not_move)
{
    static const double turned[3] = {0.2, -0.3, 0.5};
    static const part moved[] = {{QUELL_EXCITE_SWEEP, false, 2, NULL},
                                 {QUELL_EXCITE_SWEEP, false, 2, turned}};
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    made_log made;
    make_log(&made, moved, 2, arena);
    quell_fitness found = judge(&made.recording, arena);
    check_stretches(&made, &found, 2);
    quell_arena_destroy(arena);
}
END_TEST

/* A blow that rings out between two rests, at 60 Hz first and ever more slowly as it dies away: no sweep for all that. */
START_TEST(a_decay_is_no_sweep)
{
    const size_t n = 12 * (size_t)RATE_HZ;
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    quell_random *random = quell_random_create(3);
    quell_recording r = {.file = "log", .axes = 3, .samples = n, .rate_hz = RATE_HZ};
    for (size_t k = 0; k < 3; k++) {
        r.accel_mps2[k] = QUELL_NEW(arena, double, n);
        ck_assert_ptr_nonnull(r.accel_mps2[k]);
        r.axis_name[k] = "a";
        r.step_mps2[k] = 1e-6;
    }
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / RATE_HZ - 4, ring = 0;
        if (t >= 0)
            ring = 20 * exp(-1.2 * t) * sin(QUELL_TAU * (15 * t + 45 * (1 - exp(-0.7 * t)) / 0.7));
        for (size_t k = 0; k < 3; k++)
            r.accel_mps2[k][i] = (k == 0 ? ring : k == 2 ? 9.8 : 0) + 0.03 * quell_random_normal(random);
    }
    quell_fitness found = judge(&r, arena);
    ck_assert_uint_eq(found.segments, 3);
    ck_assert_int_eq(found.segment[1].kind, QUELL_MOTION);
    CHECK_NEAR(found.segment[1].start_s, 4, 0.3);
    quell_random_destroy(random);
    quell_arena_destroy(arena);
}
END_TEST

Suite *suite_ingest_segments(void)
{
    Suite *suite = suite_create("ingest segments");
    TCase *cases = tcase_create("segments");
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, each_kind_of_motion_is_found_alone, 0, 7);
    tcase_add_test(cases, a_long_log_falls_into_spans_that_can_be_used);
    tcase_add_test(cases, a_decay_is_no_sweep);
    tcase_add_test(cases, a_sensor_that_is_turned_between_parts_does_not_move);
    suite_add_tcase(suite, cases);
    return suite;
}
