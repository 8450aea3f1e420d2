/* modes: what shook the machine, and when; said by a person, by a plan, or found in recordings whose truth is known. */
#include "ingest_help.h"

#include "quell/modes.h"
#include "quell/simulate.h"
#include "study.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static quell_arena *arena;

static void setup(void)
{
    arena = quell_arena_create((size_t)1 << 29);
    ck_assert_ptr_nonnull(arena);
}

static void teardown(void)
{
    quell_arena_destroy(arena);
}

static const char *const words[] = {"sweep", "random", "stops", "ambient"};

/* The demonstration's machine along x. */
static quell_simulation machine(quell_excitation kind, double seconds, uint64_t seed)
{
    return (quell_simulation){.modes = 2,
                              .mode = {{47.3, 0.046, {1, 0.08, 0.02}}, {83.5, 0.028, {0.22, -0.03, 0.04}}},
                              .axis = 'x',
                              .excitation = kind,
                              .sweep = {12, 115, 103 / seconds, 4},
                              .random_rms_mps2 = kind == QUELL_EXCITE_AMBIENT ? 0.3 : 2,
                              .seconds = seconds,
                              .stroke_m = 0.06,
                              .speed_mps = 0.2,
                              .acceleration_mps2 = 6,
                              .dwell_s = 0.5,
                              .rate_hz = 1000,
                              .noise_mps2_per_rthz = 120e-6 * 9.80665,
                              .step_mps2 = 0.004 * 9.80665,
                              .lines = 1,
                              .line = {{112, 0.1, {0.3, 0.2, 0.9}}},
                              .seed = seed};
}

static const quell_preamble preamble = {3, 2, 0.06, 0.12, 0.4, 0.5};

/* Recordings put one after the other. */
static quell_recording join(const quell_simulated *part, size_t parts)
{
    quell_recording out = {.file = "log", .axes = 3, .rate_hz = part->rate_hz, .has_time = true};
    for (size_t p = 0; p < parts; p++)
        out.samples += part[p].count;
    for (size_t k = 0; k < 3; k++) {
        out.accel_mps2[k] = QUELL_NEW(arena, double, out.samples);
        ck_assert_ptr_nonnull(out.accel_mps2[k]);
        size_t at = 0;
        for (size_t p = 0; p < parts; at += part[p++].count)
            memcpy(out.accel_mps2[k] + at, part[p].accel_mps2[k], part[p].count * sizeof(double));
        out.axis_name[k] = "a";
        out.step_mps2[k] = out.resolution_mps2[k] = 0.004 * 9.80665;
    }
    return out;
}

static quell_simulated simulated(const quell_simulation *of)
{
    quell_simulated made;
    quell_error err = {0};
    ck_assert_msg(quell_simulate(of, arena, &made, &err) == QUELL_OK, "%s", err.text);
    return made;
}

static quell_shaking find(quell_recording *in, const quell_shaking *stated)
{
    quell_fitness fitness;
    quell_shaking out = {0};
    quell_error err = {0};
    ck_assert_int_eq(quell_recording_judge(&fitness, in, -1, arena, &err), QUELL_OK);
    ck_assert_msg(quell_shaking_find(&out, stated, in, &fitness, arena, &err) == QUELL_OK, "%s", err.text);
    ck_assert_uint_le(out.first + out.margin[0] + out.margin[1], out.end);
    ck_assert_uint_le(out.end, in->samples);
    return out;
}

static quell_shaking stated(const char *text)
{
    quell_shaking out;
    quell_error err = {0};
    ck_assert_msg(quell_shaking_parse(&out, text, &err) == QUELL_OK, "%s", err.text);
    return out;
}

/* Windows last 0.1 s, and one more on either side belongs to the motion; it rings on for some tenths. */
static void check_motion(const quell_shaking *got, double rate_hz, quell_excitation kind, double start_s,
                         double end_s, const char *what)
{
    double from = (double)(got->first + got->margin[0]) / rate_hz,
           to = (double)(got->end - got->margin[1]) / rate_hz;
    ck_assert_msg(got->kind == kind, "%s: taken for %s: %s", what, words[got->kind], got->why);
    ck_assert_msg(from > start_s - 0.3 && from < start_s + 0.1, "%s: from %.2f s, want %.2f", what, from,
                  start_s);
    ck_assert_msg(to > end_s - 0.2 && to < end_s + 0.5, "%s: to %.2f s, want %.2f", what, to, end_s);
}

/* ---------------------------------------------------------------- found */

static const double turns[3][3] = {{0, 0, 0}, {0.2, -0.12, 0.54}, {1.5, 0.3, -2}};

/* All kinds, of 10 s and 60 s, whichever way the sensor sits, with and without a preamble. */
START_TEST(each_kind_is_found)
{
    quell_excitation kind = (quell_excitation)(_i % 4);
    double seconds = _i / 4 % 2 == 0 ? 10 : 60;
    for (uint64_t run = 0; run < 9; run++) {
        quell_simulation of = machine(kind, seconds, 100 + run);
        if (run % 2 == 0 && kind != QUELL_EXCITE_AMBIENT)
            of.preamble = preamble;
        memcpy(of.rotation_rad, turns[run % 3], sizeof of.rotation_rad);
        quell_simulated made = simulated(&of);
        quell_recording recording = join(&made, 1);
        quell_shaking got = find(&recording, NULL);
        char what[64];
        snprintf(what, sizeof what, "%s of %.0f s, run %d", words[kind], seconds, (int)run);
        bool ambient = kind == QUELL_EXCITE_AMBIENT, stops = kind == QUELL_EXCITE_STOPS;
        double end_s = ambient ? (double)made.count / made.rate_hz : made.end_s - (stops ? of.dwell_s : 0);
        check_motion(&got, made.rate_hz, kind, ambient ? 0 : made.start_s, end_s, what);
        if (stops) /* the ringing after the last stop */
            CHECK_NEAR((double)got.margin[1] / made.rate_hz, 1, 0.3);
        ck_assert(!got.stated && !got.sweep_known && !got.blow);
    }
}
END_TEST

/* A structure that is struck once and rings for seconds; with another blow later it is not one any more. */
START_TEST(a_blow_is_told)
{
    for (uint64_t run = 0; run < 4; run++) {
        quell_simulation of = machine(QUELL_EXCITE_AMBIENT, 6, run);
        of.random_rms_mps2 = 0.005;
        quell_simulated made = simulated(&of);
        for (size_t i = 0; i < made.count; i++)
            for (double at_s = 0.5; at_s < (run == 3 ? 6 : 1); at_s += 2) {
                double t = (double)i / made.rate_hz - at_s;
                if (t > 0)
                    made.accel_mps2[run % 2][i] +=
                        20 * exp(-1.2 * t) * sin(297 * t) + 8 * exp(-3 * t) * cos(520 * t);
            }
        quell_recording recording = join(&made, 1);
        quell_shaking got = find(&recording, NULL);
        ck_assert_msg(got.blow == (run < 3), "run %d: %s", (int)run, got.why);
        if (run == 3)
            continue;
        ck_assert_msg(got.kind == QUELL_EXCITE_STOPS && strstr(got.why, "loudest at 0.5 s and dies away") != NULL,
                      "run %d: %s", (int)run, got.why);
        quell_shaking random = stated("random");
        got = find(&recording, &random);
        ck_assert(got.kind == QUELL_EXCITE_RANDOM && !got.blow);
    }
}
END_TEST

/* Without a preamble, a long motion leaves next to no rest: a second at the end tells it all the same. */
START_TEST(a_second_of_rest_is_enough)
{
    static const char *const falls[] = {"rises", "falls"};
    for (size_t back = 0; back < 2; back++) {
        quell_simulation of = machine(QUELL_EXCITE_SWEEP, 120, 7);
        of.modes = 1;
        quell_simulated made = simulated(&of);
        for (size_t k = 0; k < 3 && back == 1; k++)
            for (size_t i = 0; i < made.count / 2; i++) {
                double kept = made.accel_mps2[k][i];
                made.accel_mps2[k][i] = made.accel_mps2[k][made.count - 1 - i];
                made.accel_mps2[k][made.count - 1 - i] = kept;
            }
        quell_recording recording = join(&made, 1);
        quell_shaking got = find(&recording, NULL);
        double start_s = back == 1 ? 1 : 0;
        check_motion(&got, made.rate_hz, QUELL_EXCITE_SWEEP, start_s, start_s + 120, falls[back]);
        ck_assert_ptr_nonnull(strstr(got.why, falls[back]));
        CHECK_NEAR((double)got.margin[1 - back] / made.rate_hz, 0.8, 0.15);
    }
}
END_TEST

/* A sweep through a sharp mode, which the third harmonic shakes long before: no steady rise to the eye. */
START_TEST(a_mode_on_the_third_harmonic_does_not_hide_a_sweep)
{
    quell_simulation of = machine(QUELL_EXCITE_SWEEP, 40, 1);
    of.mode[0].damping_ratio = 0.026;
    of.mode[1].participation[0] = -0.5;
    of.sweep = (quell_sweep){5, 60, 1.5, 2};
    quell_simulated made = simulated(&of);
    quell_recording recording = join(&made, 1);
    quell_shaking got = find(&recording, NULL);
    check_motion(&got, made.rate_hz, QUELL_EXCITE_SWEEP, 0, made.end_s, "sweep");
}
END_TEST

/* Near the notches of a shaper in effect the machine hardly moves, and above its modes neither; the fan goes on. */
START_TEST(a_sweep_is_one_across_the_notches_of_a_shaper)
{
    static const struct {
        const char *shaper;
        double f_hz, rate_hz_per_s;
        size_t modes;
    } rows[] = {
        {"zv:32.7:0.058", 31.8, 2.5, 1},       {"zv:45:0.05", 43.6, 1, 1},           {"zvd:60:0.04", 58, 1, 2},
        {"zvd:45:0.03", 36, 2.5, 2},           {"zvd:75:0.05", 60, 5, 2},            {"ei:59.9:0.054:0.05", 47.3, 2.5, 2},
        {"ei:90:0.03", 87.3, 5, 1},            {"ei-two-hump:60:0.04", 48, 2.5, 2},  {"ei-two-hump:75:0.03", 72.8, 5, 2},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_simulation of = machine(QUELL_EXCITE_SWEEP, 10, i);
        quell_shaper shaper;
        ck_assert_int_eq(quell_shaper_parse(&shaper, rows[i].shaper, NULL), QUELL_OK);
        of.shaper = &shaper;
        of.modes = rows[i].modes;
        of.mode[0].frequency_hz = rows[i].f_hz;
        of.mode[1] = (quell_simulated_mode){1.8 * rows[i].f_hz, 0.03, {0, -0.4, 0}};
        of.mode[0].participation[0] = 0;
        of.mode[0].participation[1] = 1;
        of.axis = 'y';
        of.sweep.rate_hz_per_s = rows[i].rate_hz_per_s;
        of.preamble = preamble;
        memcpy(of.rotation_rad, turns[i % 3], sizeof of.rotation_rad);
        quell_simulated made = simulated(&of);
        quell_recording recording = join(&made, 1);
        quell_shaking got = find(&recording, NULL);
        check_motion(&got, made.rate_hz, QUELL_EXCITE_SWEEP, made.start_s, made.end_s, rows[i].shaper);
        ck_assert_ptr_null(strstr(got.why, "longest"));
    }
}
END_TEST

/* A table that hardly moves above its mode grows quieter throughout: no decay, which would be quick. */
START_TEST(a_sweep_that_grows_ever_quieter_is_no_decay)
{
    quell_simulation of = machine(QUELL_EXCITE_SWEEP, 40, 1);
    of.modes = 1;
    of.lines = 0;
    of.mode[0] = (quell_simulated_mode){15, 0.3, {1, 0, 0}};
    quell_simulated made = simulated(&of);
    quell_recording recording = join(&made, 1);
    quell_shaking got = find(&recording, NULL);
    ck_assert_msg(got.kind == QUELL_EXCITE_SWEEP, "%s", got.why);
}
END_TEST

/* What comes a second and a half after a sweep is not the sweep's, whatever frequencies it holds. */
START_TEST(a_sweep_does_not_go_on_in_another_motion)
{
    static const quell_sweep sweeps[] = {{12, 115, 3, 4}, {12, 60, 2, 4}, {12, 90, 1, 4}};
    static const quell_excitation next[] = {QUELL_EXCITE_RANDOM, QUELL_EXCITE_STOPS, QUELL_EXCITE_SWEEP};
    for (size_t i = 0; i < 9; i++) {
        quell_simulation of[2] = {machine(QUELL_EXCITE_SWEEP, 10, i), machine(next[i / 3], 8, 10 + i)};
        of[0].sweep = sweeps[i % 3];
        of[0].preamble = preamble;
        of[1].preamble.rest_s = 0.5; /* and the second that is recorded after the sweep, less what rings */
        quell_simulated made[2] = {simulated(&of[0]), simulated(&of[1])};
        quell_recording recording = join(made, 2);
        quell_shaking got = find(&recording, NULL);
        check_motion(&got, made[0].rate_hz, QUELL_EXCITE_SWEEP, made[0].start_s, made[0].end_s, words[next[i / 3]]);
        ck_assert_msg(strstr(got.why, "longest of 2 stretches of motion") != NULL, "%s", got.why);
    }
}
END_TEST

/* Rests of a second between its frequencies, after every second and a half of motion: a sweep, not stops. */
START_TEST(a_sweep_may_rest_between_its_frequencies)
{
    enum { STEPS = 24 };
    static const double rest_s[] = {0.2, 0.4, 0.7, 1};
    for (size_t i = 0; i < 4; i++) {
        quell_simulated made[STEPS];
        double end_s = 0, length_s = 0;
        for (size_t s = 0; s < STEPS; s++) {
            quell_simulation of = machine(QUELL_EXCITE_SWEEP, 10, 100 * i + s);
            of.lines = 0;
            of.sweep = (quell_sweep){12 + 4 * (double)s, 15.99 + 4 * (double)s, 2.7, 4};
            if (s == 0)
                of.preamble = preamble;
            made[s] = simulated(&of);
            if (s + 1 < STEPS)
                made[s].count = (size_t)((made[s].end_s + rest_s[i]) * made[s].rate_hz);
            end_s = length_s + made[s].end_s;
            length_s += (double)made[s].count / made[s].rate_hz;
        }
        quell_recording recording = join(made, STEPS);
        quell_shaking got = find(&recording, NULL);
        check_motion(&got, made[0].rate_hz, QUELL_EXCITE_SWEEP, made[0].start_s, end_s, "rests");
    }
}
END_TEST

/* Dwells longer than what merges a motion: one series of stops for all that. */
START_TEST(long_dwells_are_stops)
{
    static const double dwell_s[] = {0.3, 1, 1.5, 2.5, 4};
    for (size_t i = 0; i < 10; i++) {
        quell_simulation of = machine(QUELL_EXCITE_STOPS, 20, i);
        of.dwell_s = dwell_s[i / 2];
        if (i % 2 == 1)
            of.preamble = preamble;
        quell_simulated made = simulated(&of);
        quell_recording recording = join(&made, 1);
        quell_shaking got = find(&recording, NULL);
        check_motion(&got, made.rate_hz, QUELL_EXCITE_STOPS, made.start_s, made.end_s - of.dwell_s, "dwell");
    }
}
END_TEST

/* A mode that rings on until the next stroke, so that the level never falls: stops for all that. Random motion of the same mode,
   whose level falls and rises as it likes, is none, and does not pause. */
START_TEST(long_ringing_between_stops_is_no_random_motion)
{
    static const double f_hz[] = {15, 17, 20}, zeta[] = {0.01, 0.02}, dwell_s[] = {0.5, 0.8};
    for (size_t i = 0; i < 24; i++) {
        bool random = i >= 12;
        quell_simulation of = machine(random ? QUELL_EXCITE_RANDOM : QUELL_EXCITE_STOPS, 20, i);
        of.modes = 1;
        of.mode[0] = (quell_simulated_mode){f_hz[i % 3], zeta[i / 3 % 2], {1, 0, 0}};
        of.dwell_s = dwell_s[i / 6 % 2];
        of.lines = 0;
        of.preamble = preamble;
        quell_simulated made = simulated(&of);
        quell_recording recording = join(&made, 1);
        quell_shaking got = find(&recording, NULL);
        ck_assert_msg(got.kind == of.excitation, "%g Hz, %g: %s", f_hz[i % 3], zeta[i / 3 % 2], got.why);
        ck_assert(random ? got.paused < 0.05 : got.bursts >= 10 && got.paused > 0.1);
    }
}
END_TEST

/* Stops of a machine that its surroundings shake besides, by a mode so sharp that they fill some pauses: recordings of the
   study that were taken for random motion, with up to six modes that are none. */
START_TEST(stops_with_background_are_stops)
{
    static const struct {
        const char *row;
        uint64_t seed;
        size_t index;
    } of[] = {{"stops-background", 3, 68}, {"close-stops", 1, 129}, {"close-stops", 7, 92}};
    for (size_t i = 0; i < sizeof of / sizeof of[0]; i++) {
        study_result got;
        study_try(&got, study_row_find(of[i].row), of[i].seed, of[i].index);
        ck_assert_int_eq(got.status, QUELL_OK);
        ck_assert(got.kind_right);
        ck_assert_uint_eq(got.wrong, 0);
        ck_assert_uint_eq(got.found, got.modes);
    }
}
END_TEST

/* Stated to be what it does not look like, it is told how it looks. */
START_TEST(stated_kinds_are_held_against_the_motion)
{
    const quell_shaking stops = stated("stops"), random = stated("random");
    for (uint64_t run = 0; run < 4; run++) {
        bool moves_at_random = run % 2 == 0;
        quell_simulation of = machine(moves_at_random ? QUELL_EXCITE_RANDOM : QUELL_EXCITE_STOPS, 20, run);
        quell_simulated made = simulated(&of);
        quell_recording recording = join(&made, 1);
        quell_shaking got = find(&recording, moves_at_random ? &stops : &random);
        ck_assert_int_eq(got.kind, moves_at_random ? QUELL_EXCITE_STOPS : QUELL_EXCITE_RANDOM);
        ck_assert(moves_at_random ? got.paused < 0.05 : got.paused > 0.1 && got.bursts > 8);
    }
}
END_TEST

/* Surroundings that grow louder, and someone who knocks at the table. */
START_TEST(knocks_and_gentle_shaking_are_ambient)
{
    for (uint64_t run = 0; run < 6; run++) {
        quell_simulation of = machine(QUELL_EXCITE_AMBIENT, run < 3 ? 60 : 10, run);
        of.random_rms_mps2 = 0.03;
        quell_simulated made = simulated(&of);
        for (size_t i = 0; i < made.count; i++) {
            double t = (double)i / made.rate_hz, louder = run % 3 == 0 && 2 * i > made.count ? 3 : 1;
            for (size_t k = 0; k < 3; k++) {
                double at_rest = k == 2 ? QUELL_STANDARD_GRAVITY_MPS2 : 0;
                made.accel_mps2[k][i] = at_rest + louder * (made.accel_mps2[k][i] - at_rest);
            }
            if (run % 3 == 1 && t > 5)
                made.accel_mps2[0][i] += 10 * exp(-13 * (t - 5)) * sin(297 * (t - 5));
        }
        quell_recording recording = join(&made, 1);
        quell_shaking got = find(&recording, NULL);
        ck_assert_msg(got.kind == QUELL_EXCITE_AMBIENT, "run %d: %s", (int)run, got.why);
        ck_assert_uint_eq(got.first, 0);
        ck_assert_uint_eq(got.end, made.count);
    }
}
END_TEST

/* A log with a sweep of 15 s and stops for 30 s: the longer one is taken, unless the other is stated. */
START_TEST(the_longest_of_several_is_taken_or_the_one_stated)
{
    quell_simulation of[2] = {machine(QUELL_EXCITE_SWEEP, 15, 1), machine(QUELL_EXCITE_STOPS, 30, 2)};
    of[0].preamble = of[1].preamble = preamble;
    quell_simulated made[2] = {simulated(&of[0]), simulated(&of[1])};
    double rate_hz = made[0].rate_hz, second_s = (double)made[0].count / rate_hz;
    quell_recording recording = join(made, 2);
    quell_shaking got = find(&recording, NULL);
    check_motion(&got, rate_hz, QUELL_EXCITE_STOPS, second_s + made[1].start_s,
                 second_s + made[1].end_s - 0.5, "longest");
    ck_assert_ptr_nonnull(strstr(got.why, "; it is the longest of 2 stretches of motion"));
    quell_shaking sweep = stated("sweep:12:115:6.8667:4 m/s2");
    got = find(&recording, &sweep);
    check_motion(&got, rate_hz, QUELL_EXCITE_SWEEP, made[0].start_s, made[0].end_s, "stated");
    ck_assert_str_eq(got.why, "as stated");
    ck_assert(got.stated && got.sweep_known && got.acceleration_known && got.sweep.acceleration_mps2 == 4);
    CHECK_NEAR((double)got.margin[0] / rate_hz, 2, 1e-9); /* of the preamble's 3 s */
    CHECK_NEAR((double)got.margin[1] / rate_hz, 2, 1e-9); /* 1 s, and 3 s of the next preamble */
    quell_shaking ambient = stated("ambient");
    got = find(&recording, &ambient);
    ck_assert_uint_eq(got.end - got.first, recording.samples);
}
END_TEST

START_TEST(a_kind_that_is_not_there_is_refused)
{
    quell_simulation of = machine(QUELL_EXCITE_AMBIENT, 10, 1);
    of.random_rms_mps2 = 0.1;
    quell_simulated made = simulated(&of);
    quell_recording recording = join(&made, 1);
    quell_fitness fitness;
    ck_assert_int_eq(quell_recording_judge(&fitness, &recording, -1, arena, NULL), QUELL_OK);
    static const char *const refused[] = {"sweep", "sweep:12:115:2.5", "stops"};
    for (size_t i = 0; i < 3; i++) {
        quell_shaking wanted = stated(refused[i]), out = {.end = 77};
        quell_error err = {0};
        ck_assert_int_eq(quell_shaking_find(&out, &wanted, &recording, &fitness, arena, &err), QUELL_E_DATA);
        ck_assert_msg(strstr(err.text, "nothing moves in 10.0 s, want") != NULL, "%s", err.text);
        ck_assert_uint_eq(out.end, 77);
    }
    quell_shaking wanted = stated("random"); /* so gentle that it is not seen */
    quell_shaking got = find(&recording, &wanted);
    ck_assert_int_eq(got.kind, QUELL_EXCITE_RANDOM);
    ck_assert_uint_eq(got.end - got.first, made.count);
}
END_TEST

/* Samples lost in the rest before the motion move its samples, not its time; neither does a span that begins later. */
START_TEST(gaps_and_spans_move_samples_not_times)
{
    enum { LOST = 400, AT = 1000, CUT = 1500 };
    quell_simulation of = machine(QUELL_EXCITE_RANDOM, 12, 1);
    of.preamble = preamble;
    quell_simulated made = simulated(&of);
    quell_recording recording = join(&made, 1);
    quell_shaking whole = find(&recording, NULL);
    static const size_t break_at[] = {AT}, break_lost[] = {LOST};
    quell_recording holed = join(&made, 1);
    for (size_t k = 0; k < 3; k++)
        memmove(holed.accel_mps2[k] + AT, holed.accel_mps2[k] + AT + LOST,
                (made.count - AT - LOST) * sizeof(double));
    holed.samples -= LOST;
    holed.break_at = break_at;
    holed.break_lost = break_lost;
    holed.break_count = holed.gaps = 1;
    holed.lost_samples = LOST;
    quell_shaking got = find(&holed, NULL);
    ck_assert_double_le(fabs((double)got.first + LOST - (double)whole.first),
                        110); /* a window, cut elsewhere */
    ck_assert_double_le(fabs((double)got.end + LOST - (double)whole.end), 110);
    quell_recording cut = join(&made, 1);
    for (size_t k = 0; k < 3; k++)
        cut.accel_mps2[k] += CUT;
    cut.samples -= CUT;
    cut.offset_s = CUT / made.rate_hz;
    got = find(&cut, NULL);
    ck_assert_double_le(fabs((double)got.first + CUT - (double)whole.first), 110);
    ck_assert_double_le(fabs((double)got.end + CUT - (double)whole.end), 110);
}
END_TEST

/* The demonstration's own: invented, but with all that a logger does. Their sweep lasts from 11.2 s to 52.4 s. */
START_TEST(the_demonstrations_recordings)
{
    static const char *const path[] = {"data/heron/before-x.csv.gz", "data/heron/before-y.csv.gz",
                                       "data/heron/after-x.csv.gz", "data/heron/after-y.csv.gz"};
    enum { ROOM = 4 << 20 };
    FILE *file = fopen(path[_i], "rb");
    ck_assert_msg(file != NULL, "%s is missing", path[_i]);
    char *bytes = malloc(ROOM);
    ck_assert_ptr_nonnull(bytes);
    size_t length = fread(bytes, 1, ROOM, file);
    fclose(file);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_msg(test_read_bytes(&recording, bytes, length, NULL, arena, &err) == QUELL_OK, "%s", err.text);
    free(bytes);
    quell_shaking got = find(&recording, NULL);
    check_motion(&got, recording.rate_hz, QUELL_EXCITE_SWEEP, 11.2, 52.4, path[_i]);
    ck_assert_msg(strstr(got.why, "the frequency of the motion rises steadily from 11.") != NULL, "%s",
                  got.why);
}
END_TEST

/* ---------------------------------------------------------------- stated */

START_TEST(statements_are_read)
{
    static const struct {
        const char *text;
        quell_excitation kind;
        double start_hz, end_hz, rate_hz_per_s, acceleration_mps2; /* 0: not known */
    } rows[] = {
        {"sweep", QUELL_EXCITE_SWEEP, 0, 0, 0, 0},
        {"random", QUELL_EXCITE_RANDOM, 0, 0, 0, 0},
        {"stops", QUELL_EXCITE_STOPS, 0, 0, 0, 0},
        {"ambient", QUELL_EXCITE_AMBIENT, 0, 0, 0, 0},
        {"sweep:12:115:2.5", QUELL_EXCITE_SWEEP, 12, 115, 2.5, 0},
        {"sweep:12.5Hz:115 Hz:2.5 Hz/s:4m/s2", QUELL_EXCITE_SWEEP, 12.5, 115, 2.5, 4},
        {"sweep:8:0.13kHz:1:3700 mm/s2", QUELL_EXCITE_SWEEP, 8, 130, 1, 3.7},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_shaking got = stated(rows[i].text);
        ck_assert_int_eq(got.kind, rows[i].kind);
        ck_assert(got.stated);
        ck_assert_str_eq(got.why, "as stated");
        ck_assert_int_eq(got.sweep_known, rows[i].end_hz > 0);
        ck_assert_int_eq(got.acceleration_known, rows[i].acceleration_mps2 > 0);
        CHECK_NEAR(got.sweep.start_hz, rows[i].start_hz, 1e-12);
        CHECK_NEAR(got.sweep.end_hz, rows[i].end_hz, 1e-12);
        CHECK_NEAR(got.sweep.rate_hz_per_s, rows[i].rate_hz_per_s, 1e-12);
        CHECK_NEAR(got.sweep.acceleration_mps2, got.acceleration_known ? rows[i].acceleration_mps2 : 1,
                   1e-12);
    }
}
END_TEST

START_TEST(wrong_statements_are_refused)
{
    static const char *const rows[][2] = {
        {"", "found '', want sweep, sweep:F0:F1:RATE, sweep:F0:F1:RATE:ACCEL, random, stops or ambient"},
        {"sweeps", "found 'sweeps', want sweep"},
        {"random:3", "found 'random:3', want sweep"},
        {"sweep:12", "found 'sweep:12', want sweep"},
        {"sweep:12:115", "found 'sweep:12:115', want sweep"},
        {"sweep:12:115:2.5:4m/s2:1", "want sweep"},
        {"sweep:12:115:2.5Hz", "found '2.5Hz', want a sweep rate such as 2.5 Hz/s"},
        {"sweep:12:115:", "want a sweep rate such as 2.5 Hz/s"},
        {"sweep:12:115:2.5:4", "found '4', want an acceleration with its unit"},
        {"sweep:12:115:2.5:4mm", "want an acceleration with its unit"},
        {"sweep:115:12:2.5", "sweep runs from 115 Hz to 12 Hz, want the end above the start"},
        {"sweep:0:115:2.5", "start of the sweep is 0 Hz, want > 0"},
        {"sweep:12:115:-1", "rate of the sweep is -1 Hz/s, want > 0"},
        {"sweep:12:115:1e-9", "has 6.5405e+12 cycles, want at most 1000000"},
        {"sweep:1:1e999:1", "want"},
        {"sweep:12:115:2.5:0m/s2", "acceleration of the sweep is 0 m/s2, want > 0"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_shaking out = {.end = 77};
        quell_error err = {0};
        ck_assert_msg(quell_shaking_parse(&out, rows[i][0], &err) == QUELL_E_USAGE, "%s", rows[i][0]);
        ck_assert_msg(strstr(err.text, rows[i][1]) != NULL, "%s: %s", rows[i][0], err.text);
        ck_assert_uint_eq(out.end, 77);
    }
    char endless[4096];
    memset(endless, 'x', sizeof endless);
    endless[sizeof endless - 1] = '\0';
    quell_shaking out;
    ck_assert_int_eq(quell_shaking_parse(&out, endless, NULL), QUELL_E_USAGE);
}
END_TEST

#define PLAN "{\"schema\":\"quell.excite/1\",\"kind\":"
#define SWEEP PLAN "\"sweep\",\"start_hz\":12,\"end_hz\":115,\"rate_hz_per_s\":2.5"

static quell_status read_plan(quell_shaking *out, const char *text, size_t length, quell_error *err)
{
    quell_memory_source state = {text, length, 0};
    quell_source source = quell_source_memory(&state, "plan.json");
    return quell_shaking_read(out, &source, err);
}

START_TEST(plans_are_read)
{
    static const char sweep[] =
        SWEEP ",\"axis\":\"y\",\"acceleration_mps2\":4,\"duration_s\":43.7,\"peak_speed_mps\":0.08,"
              "\"travel_mm\":1.7,\"start_time_s\":0,\"moves\":{\"to_mm\":[1,0],\"speed_mps\":[1,1],\"rest_s\":[0,0]},\"segments\":9}\n";
    quell_shaking got;
    ck_assert_int_eq(read_plan(&got, sweep, strlen(sweep), NULL), QUELL_OK);
    ck_assert(got.kind == QUELL_EXCITE_SWEEP && got.stated && got.sweep_known && got.acceleration_known);
    ck_assert(got.sweep.start_hz == 12 && got.sweep.end_hz == 115 && got.sweep.rate_hz_per_s == 2.5);
    ck_assert(got.sweep.acceleration_mps2 == 4 && got.duration_s == 43.7 && got.axis == 'y');
    static const char bare[] = SWEEP ",\"acceleration_mps2\":null,\"axis\":null}";
    ck_assert_int_eq(read_plan(&got, bare, strlen(bare), NULL), QUELL_OK);
    ck_assert(got.sweep_known && !got.acceleration_known && got.sweep.acceleration_mps2 == 1);
    ck_assert(got.duration_s == 0 && got.axis == 0);
    static const char *const others[] = {PLAN "\"random\",\"axis\":\"x\"}", PLAN "\"stops\"}"};
    for (size_t i = 0; i < 2; i++) {
        ck_assert_int_eq(read_plan(&got, others[i], strlen(others[i]), NULL), QUELL_OK);
        ck_assert(got.kind == (i == 0 ? QUELL_EXCITE_RANDOM : QUELL_EXCITE_STOPS) && !got.sweep_known && !got.random_known);
    }
    static const char random[] = PLAN "\"random\",\"axis\":\"x-y\",\"start_hz\":8,\"end_hz\":80}";
    ck_assert_int_eq(read_plan(&got, random, strlen(random), NULL), QUELL_OK);
    ck_assert(got.random_known && got.random_hz[0] == 8 && got.random_hz[1] == 80 && got.axis == 0 && got.diagonal && !got.sweep_known);
}
END_TEST

#define FIFTY "stopstopstopstopstopstopstopstopstopstopstopstopsto"

START_TEST(wrong_plans_are_refused)
{
    static const char *const rows[][2] = {
        {"", "is no JSON"},
        {"{\n\"schema\": }", "is no JSON"},
        {"[]", "plan: found a list, want an object"},
        {"7", "plan: found 7, want an object"},
        {"{}", "schema: found nothing, want \"quell.excite/1\""},
        {"{\"schema\":\"quell.excite/2\"}", "schema: found \"quell.excite/2\", want"},
        {PLAN "\"sweep\",\"kind\":\"stops\"}", "is no JSON: duplicate object key"},
        {PLAN "\"sweep\",\"moves\":[1,{}]}", "moves: found a list, want an object of lists"},
        {PLAN "\"sweep\",\"moves\":{\"to_mm\":[1,0],\"speed_mps\":[1,1],\"rest_s\":[0]}}",
         "moves: found 1 of rest_s beside 2 of to_mm, want as many"},
        {PLAN "\"ambient\"}", "kind: found \"ambient\", want \"sweep\", \"random\" or \"stops\""},
        {PLAN "\"sweep\\u0000\"}", "is no JSON"},
        {PLAN "{}}", "kind: found an object, want"},
        {PLAN "\"" FIFTY FIFTY FIFTY FIFTY FIFTY FIFTY "\"}", "kind: found \"stopstopst"}, /* its beginning, not what is */
        {PLAN "\"" FIFTY "\\n" FIFTY FIFTY FIFTY FIFTY FIFTY "\"}", "kind: found \"stopstopst"}, /* beside it in memory */
        {PLAN "\"stops\",\"axis\":\"z\"}", "axis: found \"z\", want \"x\", \"y\", \"x+y\" or \"x-y\""},
        {PLAN "\"random\",\"start_hz\":80,\"end_hz\":8}", "random strokes run from 80 Hz to 8 Hz"},
        {PLAN "\"stops\",\"axis\":1}", "axis: found 1, want \"x\", \"y\", \"x+y\" or \"x-y\""},
        {PLAN "\"stops\",\"duration_s\":\"9\"}",
         "duration_s: found \"9\", want a number of s above 0, at most 100000"},
        {PLAN "\"stops\",\"duration_s\":1e6}", "duration_s: found 1e6, want"},
        {PLAN "\"stops\",\"travel_mm\":-1}", "travel_mm: found -1, want a number of mm not below 0"},
        {PLAN "\"stops\",\"start_hz\":true}", "start_hz: found true, want a number of Hz above 0"},
        {PLAN "\"sweep\",\"start_hz\":12,\"end_hz\":115}",
         "rate_hz_per_s: found nothing, want the number that a sweep needs"},
        {PLAN "\"sweep\",\"start_hz\":null,\"end_hz\":115}",
         "start_hz: found null, want the number that a sweep needs"},
        {PLAN "\"sweep\",\"start_hz\":90,\"end_hz\":15,\"rate_hz_per_s\":1}", "want the end above the start"},
        {SWEEP ",\"acceleration_mps2\":0}", "acceleration_mps2: found 0, want a number of m/s2 above 0"},
        {SWEEP ",\"acceleration_mps2\":1e999}", "is no JSON"},
        {SWEEP ",\"acceleration_mps2\":NaN}", "is no JSON"},
        {SWEEP "} trailing", "is no JSON"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_shaking out = {.end = 77};
        quell_error err = {0};
        ck_assert_msg(read_plan(&out, rows[i][0], strlen(rows[i][0]), &err) == QUELL_E_DATA, "%s",
                      rows[i][0]);
        ck_assert_msg(strstr(err.text, rows[i][1]) != NULL, "%s: %s", rows[i][0], err.text);
        ck_assert_str_eq(err.file, "plan.json");
        ck_assert_uint_eq(out.end, 77);
    }
    quell_error err = {0};
    quell_shaking out;
    read_plan(&out, rows[1][0], strlen(rows[1][0]), &err);
    ck_assert_uint_eq(err.line, 2);
    size_t large = (1 << 20) + 1; /* and however deep */
    char *deep = malloc(large);
    ck_assert_ptr_nonnull(deep);
    memset(deep, '[', large);
    ck_assert_int_eq(read_plan(&out, deep, large - 1, &err), QUELL_E_DATA);
    ck_assert_msg(strstr(err.text, "is no JSON") != NULL, "%s", err.text);
    ck_assert_int_eq(read_plan(&out, deep, large, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text, "is longer than 1048576 bytes, want a plan");
    free(deep);
}
END_TEST

/* Every byte of a plan changed to many others, and every beginning of it: refused, or a plan that can be used. */
START_TEST(damaged_plans_do_no_harm)
{
    static const char plan[] = SWEEP ",\"axis\":\"y\",\"acceleration_mps2\":4,\"duration_s\":43.7}";
    static const char other[] = "\"0-9.eE{}[],:\\ \n\x80\xff\0";
    char text[sizeof plan];
    for (size_t i = 0; i < sizeof plan - 1; i++)
        for (size_t c = 0; c < sizeof other; c++) {
            memcpy(text, plan, sizeof plan);
            text[i] = other[c];
            quell_shaking out = {0};
            quell_error err = {0};
            quell_status status = read_plan(&out, text, c == 0 ? i : sizeof plan - 1, &err);
            ck_assert(status == QUELL_OK || status == QUELL_E_DATA);
            if (status == QUELL_OK && out.sweep_known)
                ck_assert_int_eq(quell_motion_check_sweep(&out.sweep, NULL), QUELL_OK);
            for (const char *at = err.text; *at != '\0'; at++)
                ck_assert_msg((unsigned char)*at >= 0x20 && *at != 0x7f, "%s", err.text);
        }
}
END_TEST

/* ---------------------------------------------------------------- a known sweep */

static quell_spectrum shape_of(double rate_hz, size_t segment)
{
    return (quell_spectrum){.axes = 1,
                            .rate_hz = rate_hz,
                            .bin_hz = rate_hz / (double)segment,
                            .bins = segment / 2 + 1,
                            .segment = segment,
                            .hop = segment / 4,
                            .window = quell_window_find("hann")};
}

/* Speed in a cycle of +a p/4, -a p/2, +a p/4, tau after its start. */
static double speed(double a, double p, double tau)
{
    return tau < p / 4 ? a * tau : tau < 3 * p / 4 ? a * (p / 2 - tau) : a * (tau - p);
}

/* The cycles written down from their definition, a sample the change of speed over its interval, and the estimate of
   that: the same to rounding. */
START_TEST(the_density_is_that_of_the_cycles)
{
    enum { SEGMENT = 900, MARGIN = 500, TAIL = 700 };
    const double rate_hz = 600, a = 3.2, f0 = 9, f1 = 70, rate = 5, dwelling_s = 15;
    size_t n = MARGIN + (size_t)(dwelling_s * rate_hz) + TAIL;
    double *x = QUELL_NEW(arena, double, n), before = 0, start = 0, f = f0;
    ck_assert_ptr_nonnull(x);
    for (size_t i = 0; i < n; i++) {
        double t = ((double)i + 1 - MARGIN) / rate_hz;
        while (f <= f1 && t >= start + 1 / f) {
            start += 1 / f;
            f = f0 + rate * start;
        }
        double now = t > 0 && f <= f1 ? speed(a, 1 / f, t - start) : 0;
        x[i] = (now - before) * rate_hz;
        before = now;
    }
    quell_welch_options options = {.overlap = -1, .segment = SEGMENT};
    const double *axes[] = {x};
    quell_spectrum want, like = shape_of(rate_hz, SEGMENT);
    ck_assert_int_eq(quell_spectrum_estimate(axes, 1, n, rate_hz, NULL, 0, &options, arena, &want, NULL),
                     QUELL_OK);
    quell_shaking shaking = {.kind = QUELL_EXCITE_SWEEP,
                             .sweep_known = true,
                             .sweep = {f0, f1, rate, a},
                             .duration_s = dwelling_s,
                             .margin = {MARGIN, TAIL}};
    double got[SEGMENT / 2 + 1];
    ck_assert_int_eq(quell_sweep_density(&shaking, &like, got, NULL), QUELL_OK);
    for (size_t k = 0; k < like.bins; k++)
        CHECK_NEAR(got[k], want.asd_m2ps3[0][k], 1e-9 * want.asd_m2ps3[0][20]);
}
END_TEST

/* A square wave's fundamental has the amplitude 4 a / pi (Fourier): spread evenly over the range by the sweep, a density of
   (8 a^2 / pi^2) / (F1 - F0) over the sweep's time, flat within 0.2 dB up to 3 F0, where the third harmonic comes in. */
START_TEST(the_density_is_flat_and_as_large_as_fourier_says)
{
    enum { SEGMENT = 4000, MARGIN = 4000 };
    quell_spectrum like = shape_of(2000, SEGMENT);
    quell_shaking shaking = {.sweep_known = true, .sweep = {20, 120, 1.4, 2.5}, .margin = {MARGIN, MARGIN}};
    static double got[SEGMENT / 2 + 1];
    ck_assert_int_eq(quell_sweep_density(&shaking, &like, got, NULL), QUELL_OK);
    double motion_s = 100 / 1.4, whole_s = motion_s + (2.0 * MARGIN - SEGMENT + SEGMENT / 4) / 2000;
    double flat = 8 * 2.5 * 2.5 / (QUELL_PI * QUELL_PI) / 100 * motion_s / whole_s;
    for (size_t k = 0; k < like.bins; k++) {
        double x_hz = (double)k * like.bin_hz;
        if (x_hz > 1.1 * 20 && x_hz < 58)
            ck_assert_msg(fabs(10 * log10(got[k] / flat)) < 0.2, "%.1f Hz: %.4f, want %.4f", x_hz, got[k],
                          flat);
        if (x_hz > 62 && x_hz < 0.9 * 120) /* plus a ninth of the power over three times the range */
            ck_assert_msg(fabs(10 * log10(got[k] / (flat * (1 + 1.0 / 27)))) < 0.3, "%.1f Hz: %.4f", x_hz,
                          got[k]);
    }
}
END_TEST

START_TEST(sweeps_without_a_density_are_refused)
{
    quell_spectrum like = shape_of(1000, 2000);
    double unused[1001] = {0};
    quell_shaking shaking = {.sweep_known = true, .sweep = {20, 120, 100, 1}};
    quell_error err = {0};
    ck_assert_int_eq(quell_sweep_density(&shaking, &like, unused, &err), QUELL_E_USAGE);
    ck_assert_msg(strstr(err.text, "the sweep lasts 1 s, want 2 s") != NULL, "%s", err.text);
    shaking.duration_s = 1e9;
    ck_assert_int_eq(quell_sweep_density(&shaking, &like, unused, NULL), QUELL_E_USAGE);
    shaking.duration_s = 3;
    ck_assert_int_eq(quell_sweep_density(&shaking, &like, unused, NULL), QUELL_OK);
    shaking.sweep.end_hz = 10;
    ck_assert_int_eq(quell_sweep_density(&shaking, &like, unused, NULL), QUELL_E_USAGE);
    shaking.sweep_known = false;
    ck_assert_int_eq(quell_sweep_density(&shaking, &like, unused, NULL), QUELL_E_USAGE);
}
END_TEST

/* The truth as if it had been fitted. */
static quell_modes fitted(void)
{
    quell_modes out = {.count = 1, .left_out = 1, .participation_known = true};
    out.mode[0] = (quell_mode){.frequency_hz = 47.3, .damping_ratio = 0.046, .participation = 1};
    out.left_out_mode[0] = (quell_mode){.frequency_hz = 83.5, .damping_ratio = 0.028, .participation = 0.22};
    return out;
}

static quell_spectrum estimate(const quell_recording *of, const quell_shaking *within)
{
    const double *axes[3];
    for (size_t k = 0; k < 3; k++)
        axes[k] = of->accel_mps2[k] + within->first;
    quell_welch_options options = {.overlap = -1};
    quell_spectrum out;
    quell_error err = {0};
    ck_assert_msg(quell_spectrum_estimate(axes, 3, within->end - within->first, of->rate_hz, NULL, 0,
                                          &options, arena, &out, &err) == QUELL_OK,
                  "%s", err.text);
    return out;
}

/* What was run, against a plan of 12 to 115 Hz at 4 m/s2. */
START_TEST(a_sweep_that_was_not_run_is_told)
{
    static const struct {
        const char *what;
        double start_hz, end_hz, acceleration_mps2, rate_hz_per_s;
        bool ran;
    } rows[] = {
        {"as planned", 12, 115, 4, 2.5, true},    {"fast", 12, 115, 4, 10.3, true},
        {"at half", 12, 115, 2, 2.5, false},      {"a fifth too much", 12, 115, 4.8, 2.5, false},
        {"ends early", 12, 60, 4, 2.5, false},    {"begins late", 20, 115, 4, 2.5, false},
        {"within 10 %", 12, 115, 3.7, 2.5, true},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_simulation of = machine(QUELL_EXCITE_SWEEP, 10, i);
        of.sweep =
            (quell_sweep){rows[i].start_hz, rows[i].end_hz, rows[i].rate_hz_per_s, rows[i].acceleration_mps2};
        of.preamble = preamble;
        quell_simulated made = simulated(&of);
        quell_recording recording = join(&made, 1);
        quell_shaking plan = stated("sweep:12:115:2.5:4 m/s2");
        plan.sweep.rate_hz_per_s = rows[i].rate_hz_per_s;
        quell_shaking got = find(&recording, &plan);
        quell_spectrum spectrum = estimate(&recording, &got);
        quell_modes modes = fitted();
        quell_sweep_check check;
        ck_assert_int_eq(quell_sweep_verify(&check, &spectrum, 0, &modes, &got, NULL), QUELL_OK);
        ck_assert_msg(fabs(check.recorded_mps2 / rows[i].acceleration_mps2 - 1) < 0.03,
                      "%s: recorded %.3f m/s2", rows[i].what, check.recorded_mps2);
        CHECK_NEAR(check.planned_mps2, 4, 1e-12);
        ck_assert_msg(fabs(check.reached_hz[0] - rows[i].start_hz) < 1.5 &&
                          fabs(check.reached_hz[1] - rows[i].end_hz) < 1.5,
                      "%s: reached %.1f to %.1f Hz", rows[i].what, check.reached_hz[0], check.reached_hz[1]);
        ck_assert_msg(check.ran == rows[i].ran, "%s", rows[i].what);
        got.acceleration_known = false;
        got.sweep.acceleration_mps2 = 1;
        ck_assert_int_eq(quell_sweep_verify(&check, &spectrum, 0, &modes, &got, NULL), QUELL_OK);
        ck_assert(isnan(check.planned_mps2));
        ck_assert_msg(fabs(check.recorded_mps2 / rows[i].acceleration_mps2 - 1) < 0.03, "%s", rows[i].what);
    }
}
END_TEST

START_TEST(what_cannot_be_verified_is_refused)
{
    quell_simulation of = machine(QUELL_EXCITE_SWEEP, 10, 1);
    quell_simulated made = simulated(&of);
    quell_recording recording = join(&made, 1);
    quell_shaking plan = stated("sweep:12:115:10.3"), got = find(&recording, &plan);
    quell_spectrum spectrum = estimate(&recording, &got);
    quell_modes none = {.count = 0};
    quell_sweep_check check = {.recorded_mps2 = 77};
    ck_assert_int_eq(quell_sweep_verify(&check, &spectrum, 3, &none, &got, NULL), QUELL_E_USAGE);
    got.sweep.start_hz = 600;
    got.sweep.end_hz = 700;
    ck_assert_int_eq(quell_sweep_verify(&check, &spectrum, 0, &none, &got, NULL), QUELL_E_USAGE);
    got.sweep_known = false;
    ck_assert_int_eq(quell_sweep_verify(&check, &spectrum, 0, &none, &got, NULL), QUELL_E_USAGE);
    ck_assert(check.recorded_mps2 == 77);
}
END_TEST

/* Each allocation failing in turn. */
START_TEST(out_of_memory_leaves_everything_as_it_was)
{
    quell_simulation of = machine(QUELL_EXCITE_SWEEP, 10, 1);
    quell_simulated made = simulated(&of);
    quell_recording recording = join(&made, 1);
    quell_fitness fitness;
    ck_assert_int_eq(quell_recording_judge(&fitness, &recording, -1, arena, NULL), QUELL_OK);
    quell_shaking plan = stated("sweep:12:115:10.3:4m/s2"), known = find(&recording, &plan);
    quell_spectrum spectrum = estimate(&recording, &known);
    quell_modes modes = fitted();
    static const char text[] = SWEEP "}";
    quell_status status = QUELL_E_MEMORY;
    for (size_t n = 1; status != QUELL_OK; n++) {
        quell_shaking found = {.end = 77}, read = {.end = 77};
        quell_sweep_check check = {.recorded_mps2 = 77};
        quell_memory_fail_at(n);
        quell_arena *own = quell_arena_create(1 << 16);
        status =
            own == NULL ? QUELL_E_MEMORY : quell_shaking_find(&found, NULL, &recording, &fitness, own, NULL);
        quell_status then = status == QUELL_OK ? read_plan(&read, text, strlen(text), NULL) : status;
        quell_status last =
            then == QUELL_OK ? quell_sweep_verify(&check, &spectrum, 0, &modes, &known, NULL) : then;
        quell_memory_fail_at(0);
        ck_assert(status == QUELL_OK || found.end == 77);
        ck_assert(then == QUELL_OK || read.end == 77);
        ck_assert(last == QUELL_OK || check.recorded_mps2 == 77);
        ck_assert(last == QUELL_OK || last == QUELL_E_MEMORY);
        status = last;
        quell_arena_destroy(own);
        ck_assert_uint_lt(n, 200);
    }
}
END_TEST

Suite *suite_shaking(void)
{
    Suite *suite = suite_create("shaking");
    TCase *cases = tcase_create("shaking");
    tcase_set_timeout(cases, 120);
    tcase_add_checked_fixture(cases, setup, teardown);
    tcase_add_loop_test(cases, each_kind_is_found, 0, 8);
    tcase_add_test(cases, a_second_of_rest_is_enough);
    tcase_add_test(cases, a_mode_on_the_third_harmonic_does_not_hide_a_sweep);
    tcase_add_test(cases, a_sweep_is_one_across_the_notches_of_a_shaper);
    tcase_add_test(cases, a_sweep_that_grows_ever_quieter_is_no_decay);
    tcase_add_test(cases, a_sweep_does_not_go_on_in_another_motion);
    tcase_add_test(cases, a_sweep_may_rest_between_its_frequencies);
    tcase_add_test(cases, long_dwells_are_stops);
    tcase_add_test(cases, long_ringing_between_stops_is_no_random_motion);
    tcase_add_test(cases, stops_with_background_are_stops);
    tcase_add_test(cases, stated_kinds_are_held_against_the_motion);
    tcase_add_test(cases, a_blow_is_told);
    tcase_add_test(cases, knocks_and_gentle_shaking_are_ambient);
    tcase_add_test(cases, the_longest_of_several_is_taken_or_the_one_stated);
    tcase_add_test(cases, a_kind_that_is_not_there_is_refused);
    tcase_add_test(cases, gaps_and_spans_move_samples_not_times);
    tcase_add_loop_test(cases, the_demonstrations_recordings, 0, 4);
    tcase_add_test(cases, statements_are_read);
    tcase_add_test(cases, wrong_statements_are_refused);
    tcase_add_test(cases, plans_are_read);
    tcase_add_test(cases, wrong_plans_are_refused);
    tcase_add_test(cases, damaged_plans_do_no_harm);
    tcase_add_test(cases, the_density_is_that_of_the_cycles);
    tcase_add_test(cases, the_density_is_flat_and_as_large_as_fourier_says);
    tcase_add_test(cases, sweeps_without_a_density_are_refused);
    tcase_add_test(cases, a_sweep_that_was_not_run_is_told);
    tcase_add_test(cases, what_cannot_be_verified_is_refused);
    tcase_add_test(cases, out_of_memory_leaves_everything_as_it_was);
    suite_add_tcase(suite, cases);
    return suite;
}
