/* Which shaper runs, and whether the one said to be in effect does: against simulated recordings, whose truth is known. */
#include "identify_truth.h"
#include "shortened.h"
#include "suites.h"

#include <math.h>
#include <string.h>

#define ROWS(table) (int)(sizeof table / sizeof table[0])

static quell_arena *arena;
static const double band_hz[2] = {8, 95};

static void make_arena(void)
{
    arena = quell_arena_create((size_t)1 << 29);
    ck_assert_ptr_nonnull(arena);
}

static void free_arena(void)
{
    quell_arena_destroy(arena);
}

/* A short sweep at a low rate, so that the suite is cheap: 13 s of motion. */
static quell_simulation short_sweep(void)
{
    quell_simulation out = identify_setup(QUELL_EXCITE_SWEEP, 1000);
    out.sweep = (quell_sweep){12, 92, 6, 4};
    return out;
}

static quell_shaper shaper_of(const char *spec)
{
    quell_shaper out;
    quell_error err = {0};
    ck_assert_msg(quell_shaper_parse(&out, spec, &err) == QUELL_OK, "%s", err.text);
    return out;
}

static quell_side record(quell_simulation setup, const char *spec, uint64_t seed)
{
    quell_side out;
    quell_error err = {0};
    quell_shaper shaper = shaper_of(spec);
    setup.shaper = &shaper;
    setup.seed = seed;
    ck_assert_msg(identify_record(&setup, arena, &out, &err), "%s", err.text);
    return out;
}

static quell_ratio ratio_of(const quell_side *off, const quell_side *on, size_t axis)
{
    quell_ratio out;
    quell_error err = {0};
    ck_assert_msg(quell_ratio_measure(off, 1, on, 1, axis, 0, band_hz, arena, &out, &err) == QUELL_OK, "%s", err.text);
    return out;
}

static quell_ratio short_ratio(const char *spec)
{
    quell_side off = record(short_sweep(), "none", 1), on = record(short_sweep(), spec, 2);
    return ratio_of(&off, &on, 0);
}

/* ---------------------------------------------------------------- the ratio */

/* The identity behind it all: without noise the ratio is the shaper's response seen through the window, whatever the machine and
   the motion, in the notch as well. */
static const struct {
    const char *spec;
    quell_excitation kind;
    size_t modes;
} exact[] = {
    {"zv:47.3:0.046", QUELL_EXCITE_SWEEP, 2},
    {"ei:41:0.05:0.05", QUELL_EXCITE_SWEEP, 2},
    {"um-zvd:50:0.03", QUELL_EXCITE_SWEEP, 0},
    {"zvddd:40:0.1", QUELL_EXCITE_STOPS, 2},
    {"impulses:0.4@0,0.35@0.008,0.25@0.019", QUELL_EXCITE_STOPS, 1},
};

START_TEST(the_ratio_is_the_shapers_response_seen_through_the_window)
{
    quell_simulation setup = short_sweep();
    setup.excitation = exact[_i].kind;
    setup.seconds = 12;
    setup.modes = exact[_i].modes;
    setup.noise_mps2_per_rthz = setup.step_mps2 = 0;
    quell_side off = record(setup, "none", 1), on = record(setup, exact[_i].spec, 2);
    quell_ratio ratio = ratio_of(&off, &on, 0);
    quell_shaper shaper = shaper_of(exact[_i].spec);
    double *predicted = QUELL_NEW(arena, double, ratio.bins);
    ck_assert_int_eq(quell_ratio_predict(&ratio, &shaper, 1, predicted, NULL), QUELL_OK);
    ck_assert_uint_gt(ratio.bins, 60);
    for (size_t i = 0; i < ratio.bins; i++)
        CHECK_NEAR(ratio.ratio[i], predicted[i], 0.02 * predicted[i] + 2e-4);
}
END_TEST

/* A notch in a sweep looks like a rest; what the sensor's noise is must not be taken from there. */
START_TEST(noise_is_not_taken_from_a_notch)
{
    quell_ratio ratio = short_ratio("zvddd:47.3:0.1");
    quell_shaper shaper = shaper_of("zvddd:47.3:0.1");
    double *predicted = QUELL_NEW(arena, double, ratio.bins), worst = 0;
    ck_assert_int_eq(quell_ratio_predict(&ratio, &shaper, 1, predicted, NULL), QUELL_OK);
    for (size_t i = 0; i < ratio.bins; i++)
        worst = fmax(worst, predicted[i] - ratio.ratio[i]);
    ck_assert_double_lt(worst, 0.02);
}
END_TEST

/* A line that is there at rest says nothing of a shaper: its bins are left out. */
START_TEST(lines_at_rest_are_left_out)
{
    quell_simulation setup = short_sweep();
    setup.lines = 1;
    setup.line[0] = (quell_line){60, 0.5, {1, 0, 0}};
    quell_side off = record(setup, "none", 1), on = record(setup, "zv:60:0.01", 2);
    quell_ratio ratio = ratio_of(&off, &on, 0);
    for (size_t i = 0; i < ratio.bins; i++)
        ck_assert_double_gt(fabs(ratio.frequency_hz[i] - 60), 0.6);
}
END_TEST

/* A gap too long to fill cuts a recording in two: the rest of it still counts, and nothing is made up. */
START_TEST(a_gap_costs_accuracy_only)
{
    quell_side off = record(short_sweep(), "none", 1), on = record(short_sweep(), "zv:47.3:0.046", 2);
    static size_t at[1] = {8000}, lost[1] = {40};
    quell_recording broken = *on.recording;
    broken.break_at = at;
    broken.break_lost = lost;
    broken.break_count = 1;
    on.recording = &broken;
    quell_ratio ratio = ratio_of(&off, &on, 0);
    quell_shaper shaper = shaper_of("zv:47.3:0.046");
    double *predicted = QUELL_NEW(arena, double, ratio.bins);
    ck_assert_int_eq(quell_ratio_predict(&ratio, &shaper, 1, predicted, NULL), QUELL_OK);
    size_t off_by_much = 0; /* the motion's frequency at the gap passes for another's */
    for (size_t i = 0; i < ratio.bins; i++)
        off_by_much += fabs(ratio.ratio[i] / predicted[i] - 1) > 0.1;
    ck_assert_uint_le(off_by_much, 10);
    quell_identification id;
    ck_assert_int_eq(quell_identify(&ratio, NULL, NULL, arena, &id, NULL), QUELL_OK);
    ck_assert_str_eq(id.candidate[0].family_id, "zv");
    CHECK_NEAR(id.candidate[0].shaper.at.frequency_hz, 47.3, 0.3);
}
END_TEST

/* Two recordings of the same side have twice the energy and the same ratio. */
START_TEST(recordings_of_a_side_are_pooled)
{
    quell_side off[2] = {record(short_sweep(), "none", 1), record(short_sweep(), "none", 3)};
    quell_side on[2] = {record(short_sweep(), "zv:40:0.05", 2), record(short_sweep(), "zv:40:0.05", 4)};
    quell_ratio one = ratio_of(&off[0], &on[0], 0), two;
    ck_assert_int_eq(quell_ratio_measure(off, 2, on, 2, 0, 0, band_hz, arena, &two, NULL), QUELL_OK);
    CHECK_NEAR(two.off_level / one.off_level, 2, 0.02);
    CHECK_NEAR(two.dof_on / one.dof_on, 2, 1e-9);
    for (size_t i = 0; i < one.bins && i < two.bins; i++)
        CHECK_NEAR(two.ratio[i], one.ratio[i], 0.05 * one.ratio[i] + 0.002);
}
END_TEST

START_TEST(what_cannot_be_measured_is_refused)
{
    quell_side off = record(short_sweep(), "none", 1), on = off;
    quell_ratio ratio = {.bins = 77};
    quell_error err = {0};
    ck_assert_int_eq(quell_ratio_measure(&off, 1, &on, 0, 0, 0, NULL, arena, &ratio, &err), QUELL_E_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "no recording with the shaper on"));
    ck_assert_int_eq(quell_ratio_measure(&off, 1, &on, 1, 3, 0, NULL, arena, &ratio, &err), QUELL_E_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "axis 4 is missing: a recording has 3 axes"));
    ck_assert_int_eq(quell_ratio_measure(&off, 1, &on, 1, 0, 0.01, NULL, arena, &ratio, &err), QUELL_E_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "segments are 0.01 s, want 64 samples at least"));
    ck_assert_int_eq(quell_ratio_measure(&off, 1, &on, 1, 0, 10, NULL, arena, &ratio, &err), QUELL_E_DATA);
    ck_assert_ptr_nonnull(strstr(err.text, "want 40.0 s in all"));
    ck_assert_int_eq(quell_ratio_measure(&off, 1, &on, 1, 2, 0, NULL, arena, &ratio, &err), QUELL_E_DATA);
    ck_assert_ptr_nonnull(strstr(err.text, "axis z: found 0 bins"));
    quell_recording slow = *off.recording;
    slow.rate_hz = 1011;
    on.recording = &slow;
    ck_assert_int_eq(quell_ratio_measure(&off, 1, &on, 1, 0, 0, NULL, arena, &ratio, &err), QUELL_E_DATA);
    ck_assert_ptr_nonnull(strstr(err.text, "1000.0 Hz with the shaper off and 1011.0 Hz with it on"));
    ck_assert_uint_eq(ratio.bins, 77);
}
END_TEST

START_TEST(failing_memory_leaves_the_ratio_alone)
{
    quell_side off = record(short_sweep(), "none", 1), on = record(short_sweep(), "zv:40", 2);
    quell_status status = QUELL_E_MEMORY;
    size_t n = 1;
    for (; status != QUELL_OK && n < 60; n++) {
        quell_arena *small = quell_arena_create((size_t)1 << 24);
        quell_ratio ratio = {.bins = 77};
        quell_memory_fail_at(n);
        status = quell_ratio_measure(&off, 1, &on, 1, 0, 0, band_hz, small, &ratio, NULL);
        quell_memory_fail_at(0);
        ck_assert(status == QUELL_OK ? ratio.bins > 12 : status == QUELL_E_MEMORY && ratio.bins == 77);
        quell_arena_destroy(small);
    }
    ck_assert_int_eq(status, QUELL_OK);
    ck_assert_uint_gt(n, 4);
}
END_TEST

/* ---------------------------------------------------------------- what runs */

static quell_identification *identify(const quell_ratio *driven, const quell_ratio *other, const char *entered,
                                      const quell_machine *machine)
{
    quell_identification *out = QUELL_NEW(arena, quell_identification, 1);
    quell_expected *expected = QUELL_NEW(arena, quell_expected, 1);
    quell_error err = {0};
    if (entered != NULL)
        ck_assert_msg(quell_expected_parse(expected, entered, machine, &err) == QUELL_OK, "%s", err.text);
    const quell_identify_options options = {.machine = machine, .expected = entered != NULL ? expected : NULL};
    ck_assert_msg(quell_identify(driven, other, &options, arena, out, &err) == QUELL_OK, "%s", err.text);
    return out;
}

/* What runs, what was entered (HZ natural unless the controller reads it as damped), and what must come out. A damped reading
   of f at damping z runs the natural frequency f / sqrt(1 - z^2). */
static const struct {
    const char *runs, *entered, *family;
    quell_tells agrees;
    quell_reading reading; /* UNKNOWN: must not be told */
    quell_tells damping;
} told[] = {
    {"zv:40:0.12", "zv:40:0.12", "zv", QUELL_TELLS_YES, QUELL_NATURAL, QUELL_TELLS_YES},
    {"zv:40.2911:0.12", "zv:40:0.12", "zv", QUELL_TELLS_NO, QUELL_DAMPED, QUELL_TELLS_YES},
    {"zv:40:0.1", "zv:40:0.05", "zv", QUELL_TELLS_NO, QUELL_NATURAL, QUELL_TELLS_NO},
    {"ei:45:0.06:0.07", "zvd:45:0.06", "ei", QUELL_TELLS_NO, QUELL_READING_UNKNOWN, QUELL_TELLS_NOT},
    {"spline2:50:0.02", "spline2:50:0.02", "spline2", QUELL_TELLS_YES, QUELL_READING_UNKNOWN, QUELL_TELLS_NOT},
};

static bool holds(const double ci95[2], double value)
{
    return value >= ci95[0] && value <= ci95[1];
}

START_TEST(family_numbers_and_their_reading_are_told)
{
    quell_ratio ratio = short_ratio(told[_i].runs);
    quell_identification *id = identify(&ratio, NULL, told[_i].entered, NULL);
    quell_shaper truth = shaper_of(told[_i].runs);
    const quell_identified *best = &id->candidate[0];
    ck_assert_int_eq(id->in_effect, QUELL_TELLS_YES);
    ck_assert_str_eq(best->family_id, told[_i].family);
    ck_assert(best->has_point);
    ck_assert(holds(best->frequency_ci95_hz, truth.at.frequency_hz));
    ck_assert(holds(best->damping_ratio_ci95, truth.at.damping_ratio));
    ck_assert_double_lt(best->damped_ci95_hz[1] - best->damped_ci95_hz[0], 0.1 * truth.at.frequency_hz);
    ck_assert_int_eq(id->agrees == QUELL_TELLS_YES, told[_i].agrees == QUELL_TELLS_YES);
    ck_assert_int_eq(id->reading_known ? id->reading : QUELL_READING_UNKNOWN, told[_i].reading);
    ck_assert_int_eq(id->uses_damping, told[_i].damping);
    ck_assert_ptr_nonnull(strstr(id->verdict, "On axis x it runs "));
}
END_TEST

/* Stops, and a family that a machine file defines. */
START_TEST(a_family_of_the_machine_file_is_found_from_stops)
{
    quell_machine machine = identify_own_machine();
    quell_shaper shaper;
    const quell_design_point at = {43, 0.06, 0.05};
    ck_assert_int_eq(quell_own_family_design(&shaper, &machine.own[0], &at, NULL), QUELL_OK);
    quell_simulation setup = short_sweep();
    setup.excitation = QUELL_EXCITE_STOPS;
    setup.seconds = 12;
    quell_side off = record(setup, "none", 1), on;
    setup.shaper = &shaper;
    setup.seed = 2;
    ck_assert(identify_record(&setup, arena, &on, NULL));
    quell_ratio ratio = ratio_of(&off, &on, 0);
    quell_identification *id = identify(&ratio, NULL, "twin:43:0.06", &machine);
    ck_assert_str_eq(id->candidate[0].family_id, "twin");
    ck_assert(holds(id->candidate[0].frequency_ci95_hz, 43));
    ck_assert_int_eq(id->agrees, QUELL_TELLS_YES);
}
END_TEST

START_TEST(a_list_of_impulses_is_found_but_not_its_order)
{
    quell_ratio ratio = short_ratio("impulses:0.45@0,0.3@0.007,0.25@0.0185");
    quell_identification *id = identify(&ratio, NULL, "impulses:0.45@0,0.3@0.007,0.25@0.0185", NULL);
    const quell_shaper *list = &id->candidate[0].shaper;
    ck_assert_str_eq(id->candidate[0].family_id, "impulses");
    ck_assert_uint_eq(list->count, 3);
    CHECK_NEAR(list->amplitude[0] + list->amplitude[2], 0.7, 0.01); /* either way round */
    CHECK_NEAR(list->time_s[2], 0.0185, 1e-4);
    CHECK_NEAR(fmin(list->time_s[1], list->time_s[2] - list->time_s[1]), 0.007, 1e-4);
    ck_assert_int_eq(id->agrees, QUELL_TELLS_YES);
    ck_assert_uint_ge(id->cannot_tell_count, 1);
    ck_assert_ptr_nonnull(strstr(id->cannot_tell[0], "the order of the impulses"));
}
END_TEST

START_TEST(nothing_in_effect_is_said_so)
{
    quell_ratio ratio = short_ratio("none");
    quell_identification *id = identify(&ratio, NULL, "zv:47:0.05", NULL);
    ck_assert_int_eq(id->in_effect, QUELL_TELLS_NO);
    ck_assert_int_eq(id->agrees, QUELL_TELLS_NO);
    ck_assert_ptr_nonnull(strstr(id->verdict, "No shaper is in effect on axis x: from 8 to 95 Hz"));
    ck_assert_uint_eq(id->cannot_tell_count, 1);
    ck_assert_ptr_nonnull(strstr(id->cannot_tell[0], "acts on axis y, which these recordings do not move"));
}
END_TEST

/* Both axes move, as on a diagonal; only y is shaped. */
static quell_side record_both(const char *y_spec, uint64_t seed)
{
    quell_simulation setup = short_sweep();
    setup.mode[0].participation[1] = 0;
    quell_side x = record(setup, "none", seed);
    setup.axis = 'y';
    setup.mode[0] = (quell_simulated_mode){33, 0.06, {0, 1, 0}};
    setup.modes = 1;
    quell_side y = record(setup, y_spec, seed + 10);
    size_t samples = x.recording->samples < y.recording->samples ? x.recording->samples : y.recording->samples;
    quell_recording *both = QUELL_NEW(arena, quell_recording, 1);
    *both = *x.recording;
    both->samples = samples;
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < samples; i++)
            both->accel_mps2[k][i] += y.recording->accel_mps2[k][i];
    x.recording = both;
    return x;
}

START_TEST(a_shaper_on_the_other_axis_is_found_there)
{
    quell_side off = record_both("none", 1), on = record_both("zv:33:0.06", 2);
    quell_ratio driven = ratio_of(&off, &on, 0), other = ratio_of(&off, &on, 1);
    quell_identification *id = identify(&driven, &other, "zv:33:0.06", NULL);
    ck_assert_int_eq(id->in_effect, QUELL_TELLS_YES);
    ck_assert_uint_eq(id->axis, 1);
    ck_assert_str_eq(id->candidate[0].family_id, "zv");
    ck_assert_ptr_nonnull(strstr(id->verdict, "No shaper is in effect on axis x, but one on axis y. On axis y it runs ZV"));
}
END_TEST

/* The machine itself was changed: no shaper does that, and none must be made up. */
START_TEST(a_changed_machine_is_no_shaper)
{
    quell_simulation setup = short_sweep();
    quell_side off = record(setup, "none", 1);
    setup.mode[0] = (quell_simulated_mode){36, 0.03, {1.5, 0, 0}};
    setup.mode[1] = (quell_simulated_mode){62, 0.05, {0.8, 0, 0}};
    quell_side on = record(setup, "none", 2);
    quell_ratio ratio = ratio_of(&off, &on, 0);
    quell_identification *id = identify(&ratio, NULL, NULL, NULL);
    ck_assert_int_ne(id->in_effect, QUELL_TELLS_YES);
}
END_TEST

/* Nothing in the search itself may run out: then its result would be another one. */
START_TEST(failing_memory_leaves_the_identification_alone)
{
    static const double narrow_hz[2] = {20, 70};
    quell_side off = record(short_sweep(), "none", 1), on = record(short_sweep(), "zv:40:0.05", 2);
    quell_ratio ratio;
    ck_assert_int_eq(quell_ratio_measure(&off, 1, &on, 1, 0, 0, narrow_hz, arena, &ratio, NULL), QUELL_OK);
    quell_status status = QUELL_E_MEMORY;
    size_t n = 1;
    for (; status != QUELL_OK && n < 30; n++) {
        quell_arena *small = quell_arena_create((size_t)1 << 24);
        quell_identification *id = QUELL_NEW(arena, quell_identification, 1);
        id->count = 77;
        quell_memory_fail_at(n);
        status = quell_identify(&ratio, NULL, NULL, small, id, NULL);
        quell_memory_fail_at(0);
        ck_assert(status == QUELL_OK ? strcmp(id->candidate[0].family_id, "zv") == 0
                                     : status == QUELL_E_MEMORY && id->count == 77);
        quell_arena_destroy(small);
    }
    ck_assert_int_eq(status, QUELL_OK);
    ck_assert_uint_gt(n, 1);
}
END_TEST

START_TEST(what_was_entered_is_read_in_the_controllers_terms)
{
    quell_expected expected;
    quell_error err = {0};
    ck_assert_int_eq(quell_expected_parse(&expected, "zv:50:0.1", NULL, &err), QUELL_OK);
    CHECK_NEAR(expected.told_hz, 50, 1e-12);
    CHECK_NEAR(expected.damping_ratio, 0.1, 1e-12);
    ck_assert_str_eq(expected.family_id, "zv");
    quell_machine machine;
    quell_machine_unknown(&machine);
    machine.controller.frequency = QUELL_DAMPED;
    strcpy(machine.controller.frequency_unit, "s");
    strcpy(machine.controller.damping_unit, "percent");
    ck_assert_int_eq(quell_expected_parse(&expected, "zv:0.02:10", &machine, &err), QUELL_OK);
    CHECK_NEAR(expected.told_hz, 50, 1e-9);
    CHECK_NEAR(expected.damping_ratio, 0.1, 1e-12);
    CHECK_NEAR(expected.shaper.at.frequency_hz, 50 / sqrt(1 - 0.01), 1e-9);
    ck_assert_int_eq(quell_expected_parse(&expected, "zv:40*zv:60", &machine, &err), QUELL_OK);
    ck_assert_str_eq(expected.family_id, "impulses");
    ck_assert(isnan(expected.told_hz));
    ck_assert_int_eq(quell_expected_parse(&expected, "none", NULL, &err), QUELL_OK);
    ck_assert_str_eq(expected.family_id, "none");
    ck_assert_int_eq(quell_expected_parse(&expected, "bell:40", &machine, &err), QUELL_E_USAGE);
    ck_assert_int_eq(quell_expected_parse(&expected, "", NULL, &err), QUELL_E_USAGE);
}
END_TEST

/* ---------------------------------------------------------------- the shaper said to be in effect */

static const struct {
    const char *runs, *said;
    double mode_factor; /* of the modes after */
    quell_agreement agreement;
} applied[] = {
    {"zv:47.3:0.05", "zv:47.3:0.05", 1, QUELL_APPLIED_WORKS},
    {"none", "zv:47.3:0.05", 1, QUELL_APPLIED_NOT_IN_EFFECT},
    {"zv:52:0.05", "zv:47.3:0.05", 1, QUELL_APPLIED_ELSEWHERE},
    {"zv:47.3:0.05", "zv:47.3:0.05", 0.95, QUELL_APPLIED_MODE_MOVED},
    {"zvddd:47.3:0.05", "zv:47.3:0.05", 1, QUELL_APPLIED_DIFFERS},
    /* another shaper that is no nearer to the one said than none is */
    {"zv:40:0.05", "ei:60.8:0.047", 1, QUELL_APPLIED_DIFFERS},
};

static quell_modes modes_before(void)
{
    quell_modes out = {.count = 1, .participation_known = true};
    out.mode[0] = (quell_mode){.frequency_hz = 47.3, .damping_ratio = 0.046, .participation = 1};
    return out;
}

START_TEST(agreement_with_the_applied_shaper_is_told)
{
    quell_simulation setup = short_sweep();
    quell_side off = record(setup, "none", 1);
    for (size_t k = 0; k < setup.modes; k++)
        setup.mode[k].frequency_hz *= applied[_i].mode_factor;
    quell_side on = record(setup, applied[_i].runs, 2);
    quell_ratio ratio = ratio_of(&off, &on, 0);
    quell_shaper said = shaper_of(applied[_i].said);
    quell_modes before = modes_before();
    quell_applied found;
    quell_error err = {0};
    ck_assert_int_eq(quell_applied_judge(&ratio, NULL, &said, &before, arena, &found, &err), QUELL_OK);
    ck_assert_str_eq(quell_agreement_word(found.agreement), quell_agreement_word(applied[_i].agreement));
    ck_assert_uint_eq(found.bins, ratio.bins);
    if (found.agreement == QUELL_APPLIED_ELSEWHERE)
        CHECK_NEAR(found.scale * 47.3, 52, 0.1);
    if (found.agreement == QUELL_APPLIED_MODE_MOVED)
        CHECK_NEAR(found.moved_hz, 0.95 * 47.3, 0.2);
    if (found.agreement == QUELL_APPLIED_WORKS) {
        /* a ZV made for its mode leaves V = 0 after the motion, yet -22 dB during it: (1 - K) / (1 + K),
           K = exp(-pi z / sqrt(1 - z^2)) */
        double k = exp(-QUELL_PI * 0.05 / sqrt(1 - 0.0025));
        CHECK_NEAR(found.mode_predicted_db, 20 * log10((1 - k) / (1 + k)), 0.5);
        CHECK_NEAR(found.mode_measured_db, found.mode_predicted_db, 0.3);
        ck_assert_double_lt(found.mode_residual, 0.01);
        ck_assert_ptr_nonnull(strstr(found.text, "works as predicted"));
    }
}
END_TEST

START_TEST(an_applied_shaper_on_the_wrong_axis_is_told)
{
    quell_side off = record_both("none", 1), on = record_both("zv:33:0.06", 2);
    quell_ratio driven = ratio_of(&off, &on, 0), other = ratio_of(&off, &on, 1);
    quell_shaper said = shaper_of("zv:33:0.06");
    quell_applied found;
    ck_assert_int_eq(quell_applied_judge(&driven, &other, &said, NULL, arena, &found, NULL), QUELL_OK);
    ck_assert_int_eq(found.agreement, QUELL_APPLIED_WRONG_AXIS);
    ck_assert(isnan(found.mode_hz));
}
END_TEST

Suite *suite_identify(void)
{
    Suite *suite = suite_create("identify");
    TCase *cases = tcase_create("ratio");
    tcase_add_checked_fixture(cases, make_arena, free_arena);
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, the_ratio_is_the_shapers_response_seen_through_the_window, 0, ROWS(exact));
    tcase_add_test(cases, noise_is_not_taken_from_a_notch);
    tcase_add_test(cases, lines_at_rest_are_left_out);
    tcase_add_test(cases, a_gap_costs_accuracy_only);
    tcase_add_test(cases, recordings_of_a_side_are_pooled);
    tcase_add_test(cases, what_cannot_be_measured_is_refused);
    tcase_add_test(cases, failing_memory_leaves_the_ratio_alone);
    tcase_add_loop_test(cases, family_numbers_and_their_reading_are_told, 0, IS_SHORTENED ? 1 : ROWS(told));
    tcase_add_test(cases, a_list_of_impulses_is_found_but_not_its_order);
    tcase_add_test(cases, nothing_in_effect_is_said_so);
    if (!IS_SHORTENED) {
        tcase_add_test(cases, a_family_of_the_machine_file_is_found_from_stops);
        tcase_add_test(cases, a_shaper_on_the_other_axis_is_found_there);
        tcase_add_test(cases, a_changed_machine_is_no_shaper);
    }
    tcase_add_test(cases, failing_memory_leaves_the_identification_alone);
    tcase_add_test(cases, what_was_entered_is_read_in_the_controllers_terms);
    tcase_add_loop_test(cases, agreement_with_the_applied_shaper_is_told, 0, ROWS(applied));
    tcase_add_test(cases, an_applied_shaper_on_the_wrong_axis_is_told);
    suite_add_tcase(suite, cases);
    return suite;
}
