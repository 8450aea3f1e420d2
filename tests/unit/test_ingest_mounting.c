/* ingest: how the sensor sits, found from gravity and motion, on machines whose rotation is known. */
#include "ingest_machine.h"

#include <math.h>
#include <string.h>

static const test_machine plain = {.driven = 'x',
                                   .preamble = true,
                                   .motion_s = 3,
                                   .end_rest_s = 1,
                                   .gravity_mps2 = 9.80665,
                                   .noise_mps2_per_rthz = 120e-6 * 9.80665,
                                   .step_mps2 = 0.004 * 9.80665,
                                   .fan_hz = 112,
                                   .fan_mps2 = 0.1,
                                   .turned = true};

/* The map that is right: rows are the machine's axes in the sensor's. */
static void true_map(const test_truth *truth, double out[3][3])
{
    for (size_t k = 0; k < 3; k++)
        for (size_t m = 0; m < 3; m++)
            out[k][m] = truth->turn[m][k];
}

/* Goal of the design: with the preamble, 95 % of random rotations within 0.6 degrees. */
START_TEST(random_rotations_are_found_within_0_6_degrees)
{
    size_t within = 0, rotations = 100;
    double worst = 0;
    for (size_t i = 0; i < rotations; i++) {
        test_machine machine = plain;
        machine.driven = _i == 0 ? 'x' : 'y';
        machine.seed = 100 + i;
        quell_arena *arena = quell_arena_create((size_t)1 << 26);
        quell_recording recording;
        test_truth truth;
        quell_mounting mounting;
        double wanted[3][3];
        test_machine_record(&machine, arena, &recording, &truth);
        ck_assert_int_eq(
            quell_mounting_find(&mounting, &recording, machine.driven, &(quell_read_options){0}, arena, NULL),
            QUELL_OK);
        ck_assert(mounting.up_known && mounting.direction_known && mounting.sign_known);
        ck_assert_str_eq(mounting.words, "gravity and the slow strokes");
        true_map(&truth, wanted);
        double off = test_angle_deg(mounting.map, wanted);
        within += off < 0.6;
        worst = fmax(worst, off);
        quell_arena_destroy(arena);
    }
    ck_assert_uint_ge(within, 95);
    ck_assert_double_lt(worst, 1.5);
}
END_TEST

START_TEST(a_map_is_a_right_handed_rotation)
{
    test_machine machine = plain;
    machine.seed = 7;
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    test_truth truth;
    quell_mounting m;
    test_machine_record(&machine, arena, &recording, &truth);
    ck_assert_int_eq(quell_mounting_find(
                         &m, &recording, "xy" [_i], &(quell_read_options) { 0 }, arena, NULL),
                     QUELL_OK);
    double determinant = 0;
    for (size_t k = 0; k < 3; k++) {
        determinant += m.map[0][k] * (m.map[1][(k + 1) % 3] * m.map[2][(k + 2) % 3] -
                                      m.map[1][(k + 2) % 3] * m.map[2][(k + 1) % 3]);
        for (size_t j = 0; j < 3; j++) {
            double product = 0;
            for (size_t i = 0; i < 3; i++)
                product += m.map[k][i] * m.map[j][i];
            CHECK_NEAR(product, k == j ? 1 : 0, 1e-12);
        }
    }
    CHECK_NEAR(determinant, 1, 1e-12);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(turned_samples_show_gravity_up_and_motion_along_x)
{
    test_machine machine = plain;
    machine.seed = 8;
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    test_truth truth;
    quell_mounting mounting;
    test_machine_record(&machine, arena, &recording, &truth);
    double before = 0, after = 0, power[3] = {0};
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < recording.samples; i++)
            before += recording.accel_mps2[k][i] * recording.accel_mps2[k][i];
    ck_assert_int_eq(quell_mounting_find(&mounting, &recording, 'x', &(quell_read_options){0}, arena, NULL),
                     QUELL_OK);
    quell_mounting_apply(&mounting, &recording);
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < recording.samples; i++) {
            double value = recording.accel_mps2[k][i];
            after += value * value;
            power[k] += (value - (k == 2 ? 9.80665 : 0)) * (value - (k == 2 ? 9.80665 : 0));
        }
    CHECK_NEAR(after / before, 1, 1e-12); /* a rotation keeps the sum over the axes */
    ck_assert_double_gt(power[0], 500 * power[1]);
    ck_assert_double_gt(power[0], 100 * power[2]); /* the fan shakes z */
    ck_assert_str_eq(recording.axis_name[2], "z");
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(without_strokes_the_sign_is_not_known)
{
    test_machine machine = plain;
    machine.seed = 9;
    machine.preamble = false;
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    test_truth truth;
    quell_mounting mounting;
    test_machine_record(&machine, arena, &recording, &truth);
    ck_assert_int_eq(quell_mounting_find(&mounting, &recording, 'x', &(quell_read_options){0}, arena, NULL),
                     QUELL_OK);
    ck_assert(mounting.up_known && mounting.direction_known && !mounting.sign_known);
    const quell_finding *finding = test_finding(&recording.findings, "mounting");
    ck_assert_ptr_nonnull(finding);
    ck_assert_int_eq(finding->severity, QUELL_WARN);
    double along = 0;
    for (size_t k = 0; k < 3; k++)
        along += mounting.map[0][k] * truth.turn[k][0];
    ck_assert_double_gt(fabs(along), cos(5 * QUELL_PI / 180)); /* within 5 degrees, either way round */
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(without_gravity_or_motion_it_says_so)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    test_truth truth;
    quell_mounting mounting;
    test_machine machine = plain;
    machine.gravity_mps2 = 0.1;
    test_machine_record(&machine, arena, &recording, &truth);
    ck_assert_int_eq(quell_mounting_find(&mounting, &recording, 'x', &(quell_read_options){0}, arena, NULL),
                     QUELL_OK);
    ck_assert(!mounting.up_known && mounting.direction_known);
    ck_assert_ptr_nonnull(test_finding(&recording.findings, "gravity"));
    double along = 0;
    for (size_t k = 0; k < 3; k++)
        along += mounting.map[0][k] * truth.turn[k][0];
    ck_assert_double_gt(along, cos(0.6 * QUELL_PI / 180));
    machine = plain;
    machine.preamble = false;
    machine.motion_s = 0;
    machine.end_rest_s = 5;
    test_machine_record(&machine, arena, &recording, &truth);
    ck_assert_int_eq(quell_mounting_find(&mounting, &recording, 'x', &(quell_read_options){0}, arena, NULL),
                     QUELL_OK);
    ck_assert(mounting.up_known && !mounting.direction_known);
    for (size_t k = 0; k < 3; k++)
        CHECK_NEAR(mounting.map[2][k], truth.turn[k][2], 1e-3);
    ck_assert_ptr_nonnull(test_finding(&recording.findings, "mounting"));
    quell_arena_destroy(arena);
}
END_TEST

/* Strokes that rise by 5 degrees against gravity's level: warned; by 15: refused. */
START_TEST(motion_that_is_not_level_is_noticed)
{
    static const struct {
        double deg;
        bool found;
        quell_severity severity;
    } rows[] = {{1, false, QUELL_NOTE}, {5, true, QUELL_WARN}, {15, true, QUELL_REFUSE}};
    test_machine machine = plain;
    machine.turned = false;
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    test_truth truth;
    quell_mounting mounting;
    test_machine_record(&machine, arena, &recording, &truth);
    double slope = tan(rows[_i].deg * QUELL_PI / 180);
    for (size_t i = 0; i < recording.samples; i++)
        recording.accel_mps2[2][i] += slope * recording.accel_mps2[0][i];
    ck_assert_int_eq(quell_mounting_find(&mounting, &recording, 'x', &(quell_read_options){0}, arena, NULL),
                     QUELL_OK);
    const quell_finding *finding = test_finding(&recording.findings, "skew");
    ck_assert((finding != NULL) == rows[_i].found);
    if (finding != NULL) {
        CHECK_NEAR(finding->value, rows[_i].deg, 0.3);
        ck_assert_int_eq(finding->severity, rows[_i].severity);
    }
    quell_arena_destroy(arena);
}
END_TEST

/* up: the sensor axis that points up; right: the one that points to the machine's +x; y completes a right-handed
   set, y = z cross x. */
static const struct {
    const char *text;
    double map[3][3];
} mounts[] = {
    {"up=+z,right=+x", {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}},
    {"up=+z,right=-y", {{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}},
    {"right=x,up=-z", {{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}},
    {"up=y,right=z", {{0, 0, 1}, {1, 0, 0}, {0, 1, 0}}},
};

START_TEST(a_fixed_map_is_used_as_given)
{
    test_machine machine = plain;
    machine.turned = false;
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    test_truth truth;
    quell_mounting mounting;
    test_machine_record(&machine, arena, &recording, &truth);
    quell_read_options options = {.mount = mounts[_i].text};
    ck_assert_int_eq(quell_mounting_find(&mounting, &recording, 'x', &options, arena, NULL), QUELL_OK);
    for (size_t k = 0; k < 3; k++)
        for (size_t m = 0; m < 3; m++)
            CHECK_NEAR(mounting.map[k][m], mounts[_i].map[k][m], 1e-15);
    /* gravity is on the sensor's z: only the first two call that up */
    ck_assert((test_finding(&recording.findings, "mounting") != NULL) == (_i > 1));
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(two_axes_are_taken_as_they_are)
{
    test_machine machine = plain;
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    test_truth truth;
    quell_mounting mounting;
    test_machine_record(&machine, arena, &recording, &truth);
    recording.axes = 2;
    double kept = recording.accel_mps2[0][500];
    ck_assert_int_eq(quell_mounting_find(&mounting, &recording, 'x', &(quell_read_options){0}, arena, NULL),
                     QUELL_OK);
    quell_mounting_apply(&mounting, &recording);
    ck_assert_double_eq(recording.accel_mps2[0][500], kept);
    ck_assert(!mounting.up_known && !mounting.direction_known);
    ck_assert_int_eq(test_finding(&recording.findings, "mounting")->severity, QUELL_NOTE);
    quell_arena_destroy(arena);
}
END_TEST

Suite *suite_ingest_mounting(void)
{
    Suite *suite = suite_create("ingest mounting");
    TCase *cases = tcase_create("mounting");
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, random_rotations_are_found_within_0_6_degrees, 0, 2);
    tcase_add_loop_test(cases, a_map_is_a_right_handed_rotation, 0, 2);
    tcase_add_test(cases, turned_samples_show_gravity_up_and_motion_along_x);
    tcase_add_test(cases, without_strokes_the_sign_is_not_known);
    tcase_add_test(cases, without_gravity_or_motion_it_says_so);
    tcase_add_loop_test(cases, motion_that_is_not_level_is_noticed, 0, 3);
    tcase_add_loop_test(cases, a_fixed_map_is_used_as_given, 0, 4);
    tcase_add_test(cases, two_axes_are_taken_as_they_are);
    suite_add_tcase(suite, cases);
    return suite;
}
