/* ingest: universal files made here, one property at a time. Expected values are those that were written. */
#include "uff_help.h"

#include "ingest/uff58_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { POINTS = 100 };

/* Values that single precision and five digits both hold: abscissa steps of 1/64 s. */
static double ramp(size_t i, size_t part)
{
    return part == 0 ? (double)i / 64 : part == 1 ? (double)(i % 17) * 0.25 - 2 : 0.5;
}

static double second(size_t i, size_t part)
{
    return part == 0 ? (double)i / 64 : part == 1 ? 9.5 + (double)(i % 5) * 0.125 : 0;
}

static double third(size_t i, size_t part)
{
    return part == 0 ? (double)i / 64 : part == 1 ? (double)(i * i % 23) * 0.5 - 4 : 0;
}

static const test_uff plain = {.function = 1,
                               .kind = 2,
                               .points = POINTS,
                               .increment = 0.015625,
                               .abscissa = 17,
                               .ordinate = 12,
                               .label = "acc",
                               .unit = "m/s2",
                               .node = 3};

static test_uff along(int direction)
{
    test_uff set = plain;
    set.direction = direction;
    return set;
}

static void check_axis(const test_reading *got, size_t axis, test_uff_value value, double scale,
                       double tolerance)
{
    ck_assert_msg(got->status == QUELL_OK, "%zu: %s", got->err.line, got->err.text);
    for (size_t i = 0; i < got->recording.samples; i++)
        ck_assert_msg(fabs(got->recording.accel_mps2[axis][i] - scale * value(i, 1)) <= tolerance,
                      "axis %zu, sample %zu: %.12g", axis, i, got->recording.accel_mps2[axis][i]);
}

/* ---------------------------------------------------------------- forms of values */

/* kind, uneven, binary (0 text, 1 little endian, 2 big endian) */
static const struct {
    int kind;
    bool uneven;
    int binary;
} forms[] = {{2, false, 0}, {2, true, 0}, {4, false, 0}, {4, true, 0}, {5, false, 0}, {5, true, 0},
             {6, false, 0}, {6, true, 0}, {2, false, 1}, {2, true, 1}, {4, false, 1}, {4, true, 1},
             {5, false, 1}, {5, true, 1}, {6, false, 1}, {6, true, 1}, {2, false, 2}, {2, true, 2},
             {4, false, 2}, {4, true, 2}, {5, false, 2}, {5, true, 2}, {6, false, 2}, {6, true, 2}};

START_TEST(every_form_gives_the_same_recording)
{
    test_reading got = {0};
    test_uff set = plain;
    set.kind = forms[_i].kind;
    set.uneven = forms[_i].uneven;
    set.start = 2;
    if (forms[_i].binary == 0)
        test_uff_text(&got.text, &set, POINTS, ramp);
    else
        test_uff_binary(&got.text, &set, POINTS, ramp, forms[_i].binary == 2);
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    ck_assert_uint_eq(got.recording.samples, POINTS);
    ck_assert_uint_eq(got.recording.axes, 1);
    ck_assert_str_eq(got.recording.format,
                     forms[_i].binary == 0 ? "universal file 58" : "universal file 58b");
    ck_assert(got.recording.has_time == forms[_i].uneven);
    /* 1.56250E-02 is exact, stamps in text are rounded to 5 digits */
    CHECK_NEAR(got.recording.rate_hz, 64, !forms[_i].uneven ? 1e-9 : forms[_i].binary ? 1e-6 : 1e-3);
    CHECK_NEAR(got.recording.start_s, forms[_i].uneven ? 0 : 2, 1e-5);
    const quell_finding *complex = test_finding(&got.recording.findings, "complex");
    ck_assert((complex != NULL) == (set.kind > 4));
    if (complex != NULL)
        ck_assert_str_eq(complex->text, "dataset 1 is complex; its real part is used, the imaginary part, of "
                                        "up to 0.5, is not");
    test_reading_end(&got);
}
END_TEST

START_TEST(ends_of_lines_and_gzip_make_no_difference)
{
    static const char *const ends[] = {"\n", "\r\n", "\r"};
    test_reading got = {0};
    test_uff set = plain;
    set.end = ends[_i];
    test_uff_text(&got.text, &set, POINTS, ramp);
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    size_t packed;
    unsigned char *bytes = test_gzip(got.text.bytes, got.text.length, &packed);
    test_text_free(&got.text);
    test_bytes_add(&got.text, bytes, packed);
    free(bytes);
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    ck_assert_str_eq(got.recording.format, "universal file 58, gzip");
    test_reading_end(&got);
}
END_TEST

/* An abscissa of double precision is told by the number of bytes. */
START_TEST(a_wide_abscissa_is_told_by_the_bytes)
{
    test_reading got = {0};
    test_uff set = plain;
    set.kind = 4;
    set.uneven = true;
    test_uff_head(&got.text, &set, "    58b     1     2          11        1600");
    for (size_t i = 0; i < POINTS; i++) {
        double pair[2] = {ramp(i, 0), ramp(i, 1)};
        test_bytes_add(&got.text, pair, sizeof pair); /* little endian where the tests run */
    }
    test_text_add(&got.text, "\n    -1\n");
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    CHECK_NEAR(got.recording.rate_hz, 64, 1e-6);
    test_reading_end(&got);
}
END_TEST

/* A file with 16 points and these lines of values. */
static void read_lines(test_reading *out, int kind, const char *lines)
{
    test_uff set = plain;
    set.kind = kind;
    set.points = 16;
    test_uff_head(&out->text, &set, "    58");
    test_text_add(&out->text, "%s    -1\n", lines);
    test_reading_read(out, NULL);
}

/* Ways to write numbers: what Fortran's E13.5 and E20.12 give on different machines, and free form. */
static const struct {
    const char *name;
    int kind;
    const char *lines;
    double first[4];
} ways[] = {
    {"run together",
     2,
     "-3.09944E-004-2.74181E-004  -0.00115633-6.31809E-004-4.88758E-004-8.58307E-004\n"
     "-4.29153E-004-4.76837E-004-4.41074E-004  -0.00158548-4.41074E-004-6.91414E-004\n"
     "-4.05312E-004-7.03335E-004-1.54972E-004-8.46386E-004\n",
     {-3.09944e-4, -2.74181e-4, -0.00115633, -6.31809e-4}},
    {"seven digits touch",
     2,
     "1.234567E-0042.345678E-0043.456789E-0044.567890E+0041.234567E-0041.234567E-004\n"
     "1.234567E-0042.345678E-0043.456789E-0044.567890E-0041.234567E-0041.234567E-004\n"
     "1.234567E-0042.345678E-0043.456789E-0044.567890E-004\n",
     {1.234567e-4, 2.345678e-4, 3.456789e-4, 45678.90}},
    {"no letter before three digits",
     2,
     "   1.2345-101   2.3456+001  -3.4567-102   0.0000D+00   1.0000D+01   1.0000d-01\n"
     "   1.2345-101   2.3456+001  -3.4567-102   0.0000D+00   1.0000D+01   1.0000d-01\n"
     "   1.2345-101   2.3456+001  -3.4567-102   0.0000D+00\n",
     {1.2345e-101, 23.456, -3.4567e-102, 0}},
    {"free form", 2, "1 2.5 -3 4e1 5,6,7 8\n9 10 11 12 13\n14\t15 16\n", {1, 2.5, -3, 40}},
    {"free form that runs together",
     2,
     "1.5-2.5+3.5 -4e1-5 6 7 8\n9 10 11 12 13\n14 15 16\n",
     {1.5, -2.5, 3.5, -40}},
    {"split by columns",
     2,
     "  1234.5678901  2 3 4 5 6\n7 8 9 10 11 12 13 14 15 16\n",
     {1234.5678901, 2, 3, 4}},
    {"double",
     4,
     "  1.234567890123E+00 -2.345678901234E+00  3.456789012345E-01  4.567890123456E+00\n"
     "-1.234567890123E-001-2.345678901234E-100  3.456789012345E-01  4.567890123456E+00\n"
     "  1.234567890123E+00 -2.345678901234E+00  3.456789012345E-01  4.567890123456E+00\n"
     "  1.234567890123E+00 -2.345678901234E+00  3.456789012345E-01  4.567890123456E+00\n",
     {1.234567890123, -2.345678901234, 0.3456789012345, 4.567890123456}},
    {"more than declared",
     2,
     "  1.00000E+00  2.00000E+00  3.00000E+00  4.00000E+00  5.00000E+00  6.00000E+00\n"
     "  1.00000E+00  2.00000E+00  3.00000E+00  4.00000E+00  5.00000E+00  6.00000E+00\n"
     "  1.00000E+00  2.00000E+00  3.00000E+00  4.00000E+00  0.00000E+00  0.00000E+00\n"
     "  0.00000E+00\n",
     {1, 2, 3, 4}},
};

START_TEST(numbers_are_read_as_they_are_written)
{
    test_reading got = {0};
    read_lines(&got, ways[_i].kind, ways[_i].lines);
    ck_assert_msg(got.status == QUELL_OK, "%s: %zu: %s", ways[_i].name, got.err.line, got.err.text);
    ck_assert_uint_eq(got.recording.samples, 16);
    for (size_t i = 0; i < 4; i++)
        ck_assert_msg(got.recording.accel_mps2[0][i] == ways[_i].first[i], "%s: %.17g", ways[_i].name,
                      got.recording.accel_mps2[0][i]);
    ck_assert_ptr_null(test_finding(&got.recording.findings, "cut-short"));
    test_reading_end(&got);
}
END_TEST

START_TEST(stars_and_nan_are_lost_samples)
{
    test_reading got = {0};
    read_lines(&got, 2,
               "  1.00000E+00  2.00000E+00  3.00000E+00  4.00000E+00  5.00000E+00  6.00000E+00\n"
               "  1.00000E+00*************  3.00000E+00          NaN  5.00000E+00  6.00000E+00\n"
               "  1.00000E+00  2.00000E+00  3.00000E+00  4.00000E+00\n");
    ck_assert_int_eq(got.status, QUELL_E_DATA);
    ck_assert_str_eq(got.err.text, "found 14 samples, want 16 at least");
    test_reading_end(&got);
    got = (test_reading){0};
    test_uff set = plain;
    test_uff_text(&got.text, &set, POINTS, ramp);
    memcpy(strstr(got.text.bytes, "1.25000E+00") - 2, "*************", 13); /* i % 17 is 13 */
    test_reading_read(&got, NULL);
    ck_assert_int_eq(got.status, QUELL_OK);
    ck_assert_str_eq(test_finding(&got.recording.findings, "missing")->text,
                     "1 points of dataset 1 are no numbers and count as lost samples");
    ck_assert_uint_eq(got.recording.filled_samples, 1);
    ck_assert_uint_eq(got.recording.samples, POINTS);
    ck_assert_double_eq(got.recording.accel_mps2[0][14], ramp(14, 1));
    test_reading_end(&got);
}
END_TEST

/* Bytes that look like the closing line are values if the head says so. */
START_TEST(the_byte_count_is_trusted_and_not_the_mark)
{
    test_reading got = {0};
    test_uff set = plain;
    set.points = 32;
    test_uff_head(&got.text, &set, "    58b     1     2          11         128");
    for (size_t i = 0; i < 16; i++)
        test_text_add(&got.text, "\n    -1\n"); /* two floats each */
    test_text_add(&got.text, "    -1\n");
    test_reading_read(&got, NULL);
    ck_assert_msg(got.status == QUELL_OK, "%s", got.err.text);
    ck_assert_uint_eq(got.recording.samples, 32);
    float pair[2];
    memcpy(pair, "\n    -1\n", 8);
    ck_assert_double_eq(got.recording.accel_mps2[0][0], (double)pair[0]);
    ck_assert_double_eq(got.recording.accel_mps2[0][31], (double)pair[1]);
    ck_assert_ptr_null(test_finding(&got.recording.findings, "datasets"));
    test_reading_end(&got);
}
END_TEST

/* ---------------------------------------------------------------- axes */

START_TEST(directions_give_order_and_sign)
{
    test_reading got = {0};
    const test_uff z = along(-3), x = along(1), y = along(2);
    test_uff force = plain;
    force.ordinate = 13;
    force.label = "hammer";
    force.unit = "N";
    test_uff spectrum = plain;
    spectrum.function = 2;
    spectrum.abscissa = 18;
    test_uff_text(&got.text, &force, POINTS, third);
    test_uff_text(&got.text, &z, POINTS, second);
    test_uff_binary(&got.text, &spectrum, POINTS, third, true);
    test_uff_binary(&got.text, &x, POINTS, ramp, true);
    test_uff_text(&got.text, &y, POINTS, third);
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    check_axis(&got, 1, third, 1, 0);
    check_axis(&got, 2, second, -1, 0);
    ck_assert_uint_eq(got.recording.axes, 3);
    ck_assert_str_eq(got.recording.axis_name[0], "acc, node 3, +X");
    ck_assert_str_eq(got.recording.axis_name[2], "acc, node 3, -Z");
    ck_assert_str_eq(test_finding(&got.recording.findings, "direction")->text,
                     "dataset 2 was measured along -Z and has been turned over");
    ck_assert_str_eq(test_finding(&got.recording.findings, "datasets")->text,
                     "what is no time record was left out: 1 dataset 58 of function type 2 (auto spectrum)");
    ck_assert_ptr_null(test_finding(&got.recording.findings, "channels"));
    test_reading_end(&got);
}
END_TEST

/* Nodes 3 and 4 with x, y, z each, the second node first in part. */
static void make_two_nodes(test_reading *out)
{
    for (int direction = 1; direction <= 3; direction++)
        for (int node = 3; node <= 4; node++) {
            test_uff set = along(direction);
            set.node = node;
            test_uff_text(&out->text, &set, POINTS, node == 3 ? ramp : direction == 2 ? third : second);
        }
}

START_TEST(of_many_channels_the_first_node_is_used)
{
    test_reading got = {0};
    make_two_nodes(&got);
    test_reading_read(&got, NULL);
    for (size_t k = 0; k < 3; k++)
        check_axis(&got, k, ramp, 1, 0);
    ck_assert_uint_eq(got.recording.axes, 3);
    ck_assert_str_eq(
        test_finding(&got.recording.findings, "channels")->text,
        "the file has 6 channels of acceleration; those of node 3 are used, datasets 1, 3 and 5");
    test_reading_read(&got, &(quell_read_options){.columns = "x=4,y=2,z=5"});
    check_axis(&got, 0, third, 1, 0);
    check_axis(&got, 1, second, 1, 0);
    check_axis(&got, 2, ramp, 1, 0);
    ck_assert_str_eq(test_finding(&got.recording.findings, "channels")->text,
                     "the axes come from the nodes 4, 4 and 3 (datasets 4, 2 and 5)");
    test_reading_read(&got, &(quell_read_options){.columns = "z=6"});
    check_axis(&got, 0, second, 1, 0);
    ck_assert_uint_eq(got.recording.axes, 1);
    test_reading_end(&got);
}
END_TEST

/* Many recorders number the channels as nodes and know no directions. */
START_TEST(three_nodes_without_directions_are_three_axes)
{
    test_reading got = {0};
    const test_uff_value values[] = {ramp, second, third};
    for (int node = 1; node <= 3; node++) {
        test_uff set = plain;
        set.node = node;
        test_uff_text(&got.text, &set, POINTS, values[node - 1]);
    }
    test_reading_read(&got, NULL);
    for (size_t k = 0; k < 3; k++)
        check_axis(&got, k, values[k], 1, 0);
    ck_assert_str_eq(test_finding(&got.recording.findings, "channels")->text,
                     "the axes come from the nodes 1, 2 and 3 (datasets 1, 2 and 3)");
    test_reading_end(&got);
}
END_TEST

START_TEST(channels_at_other_times_are_left_out)
{
    test_reading got = {0};
    test_uff x = along(1), y = along(2), z = along(3);
    y.increment = 0.03125;
    test_uff_text(&got.text, &x, POINTS, ramp);
    test_uff_text(&got.text, &y, POINTS, second);
    test_uff_text(&got.text, &z, POINTS, third);
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    check_axis(&got, 1, third, 1, 0);
    ck_assert_uint_eq(got.recording.axes, 2);
    ck_assert_str_eq(test_finding(&got.recording.findings, "channels")->text,
                     "dataset 2 has other points in time than the first and was left out");
    test_reading_read(&got, &(quell_read_options){.columns = "x=1,y=2"});
    ck_assert_int_eq(got.status, QUELL_E_DATA);
    ck_assert_str_eq(got.err.text, "dataset 1 has 100 points of 0.015625 and dataset 2 has 100 of 0.03125, "
                                   "want channels with the same points in time");
    test_reading_end(&got);
}
END_TEST

static double later(size_t i, size_t part)
{
    return ramp(i, part) + (part == 0 && i == 70 ? 0.0078125 : 0);
}

START_TEST(uneven_channels_must_share_their_stamps)
{
    test_reading got = {0};
    test_uff x = along(1), y = along(2), z = along(3);
    x.uneven = y.uneven = z.uneven = true;
    test_uff_binary(&got.text, &x, POINTS, ramp, false);
    test_uff_binary(&got.text, &y, POINTS, later, false);
    test_uff_binary(&got.text, &z, POINTS, third, false);
    test_reading_read(&got, NULL);
    check_axis(&got, 1, third, 1, 0);
    ck_assert_uint_eq(got.recording.axes, 2);
    test_reading_end(&got);
}
END_TEST

/* ---------------------------------------------------------------- cut short, and declared sizes */

START_TEST(a_file_cut_short_gives_what_is_there)
{
    test_reading got = {0};
    test_uff x = along(1), y = along(2);
    test_uff_text(&got.text, &x, POINTS, ramp);
    test_uff_binary(&got.text, &y, 70, second, true); /* then the closing line's bytes are values too */
    got.text.length -= 7;
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    check_axis(&got, 1, second, 1, 0);
    ck_assert_uint_eq(got.recording.samples, 70);
    ck_assert_str_eq(test_finding(&got.recording.findings, "cut-short")->text,
                     "dataset 2 is cut short: its head says 100 points and 70 are there");
    test_reading_end(&got);
}
END_TEST

START_TEST(a_stump_is_left_out)
{
    test_reading got = {0};
    test_uff x = along(1), y = along(2);
    test_uff_text(&got.text, &x, POINTS, ramp);
    test_uff_binary(&got.text, &y, 20, second, true);
    got.text.length -= 7;
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    ck_assert_uint_eq(got.recording.axes, 1);
    ck_assert_uint_eq(got.recording.samples, POINTS);
    ck_assert_str_eq(test_finding(&got.recording.findings, "channels")->text,
                     "dataset 2 has less than half of the points of the others and was left out");
    test_reading_end(&got);
}
END_TEST

/* What a head declares is never allocated: an arena and a machine of ordinary size will do. */
START_TEST(declared_sizes_are_not_believed)
{
    test_reading got = {0};
    test_uff set = plain;
    set.points = 4000000000u;
    test_uff_head(&got.text, &set, "    58b     1     2          11999999999999");
    for (size_t i = 0; i < 50; i++) {
        float value = (float)ramp(i, 1);
        test_bytes_add(&got.text, &value, sizeof value);
    }
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    ck_assert_uint_eq(got.recording.samples, 50);
    ck_assert_str_eq(test_finding(&got.recording.findings, "cut-short")->text,
                     "dataset 1 is cut short: its head says 4000000000 points and 50 are there");
    test_reading_end(&got);
}
END_TEST

/* A file of more values than are kept, made while it is read. */
typedef struct endless {
    const test_text *head;
    size_t at;
} endless;

static quell_status read_endless(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    (void)err;
    endless *state = context;
    size_t left = state->at < state->head->length ? state->head->length - state->at : 0;
    *got = left > 0 && left < size ? left : size;
    if (left > 0)
        memcpy(into, state->head->bytes + state->at, *got);
    else
        memset(into, 0, *got);
    state->at += *got;
    return QUELL_OK;
}

START_TEST(too_many_values_are_refused)
{
    test_text head = {0};
    test_uff set = plain;
    set.points = 999999999;
    test_uff_head(&head, &set, "    58b     1     2          11999999999999");
    endless state = {&head, 0};
    quell_source source = {"endless.uff", read_endless, &state};
    quell_arena *arena = quell_arena_create((size_t)1 << 20);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(quell_recording_read(&recording, &source, &(quell_read_options){0}, arena, &err),
                     QUELL_E_MEMORY);
    ck_assert_str_eq(err.text, "the channels hold more than 33554432 values, which have to be kept in memory "
                               "as they follow one another; want a shorter record, or fewer channels by "
                               "--columns x=1");
    quell_arena_destroy(arena);
    test_text_free(&head);
}
END_TEST

/* ---------------------------------------------------------------- units and time */

static const struct {
    const char *label, *unit;
    int ordinate;
    const char *option; /* --unit */
    const char *units;  /* dataset 164: length factor */
    const char *read_as;
    double scale; /* NaN: refused */
    const char *reason;
} units[] = {
    {"acc", "g", 12, NULL, NULL, "g", 9.80665, NULL},
    {"acc", "(g)", 12, NULL, NULL, "g", 9.80665, NULL},
    {"acc", "m/s^2", 12, NULL, NULL, "m/s2", 1, NULL},
    {"acc", "m/s\xb2", 12, NULL, NULL, "m/s2", 1, NULL},
    {"acc", "mm/s2", 1, NULL, NULL, "mm/s2", 1e-3, NULL},
    {"Kanal 1", "m/s\xc2\xb2", 0, NULL, NULL, "m/s2", 1, NULL},
    {"acc", "g", 12, "mg", NULL, "mg", 9.80665e-3, NULL},
    {"1", "V", 1, "counts:0.5g", NULL, "counts", 0.5 * 9.80665, NULL},
    {"acc", NULL, 12, NULL, "1.00000000000000D+00", "m/s2", 1, NULL},
    {"acc", NULL, 12, NULL, "1.00000000000000D+03", "mm/s2", 1e-3, NULL},
    {"acc", NULL, 12, NULL, "3.93700787401575E+01", "the file's unit of length/s2", 0.0254, NULL},
    {"acc", NULL, 12, "g", "3.93700787401575E+01", "g", 9.80665, NULL},
    {"acc", NULL, 12, NULL, NULL, NULL, NAN, "the unit of acceleration is not stated"},
    {"1", "V", 1, NULL, NULL, NULL, NAN,
     "none that says it is of acceleration: dataset 1: '1' in V (general data)"},
    {NULL, NULL, 8, "g", NULL, NULL, NAN, "none of acceleration: dataset 1: in no unit (displacement)"},
    {"Force", "N", 0, "g", NULL, NULL, NAN, "none of acceleration: dataset 1: 'Force' in N (unknown data)"},
};

START_TEST(units_are_those_of_labels_options_or_dataset_164)
{
    test_reading got = {0};
    test_uff set = plain;
    set.label = units[_i].label;
    set.unit = units[_i].unit;
    set.ordinate = units[_i].ordinate;
    if (units[_i].units != NULL)
        test_text_add(
            &got.text,
            "    -1\n   164\n         1SI: Meter            2\n  %s  1.0D+00  1.0D+00\n  0.0\n    -1\n",
            units[_i].units);
    test_uff_text(&got.text, &set, POINTS, ramp);
    test_reading_read(&got, &(quell_read_options){.unit = units[_i].option});
    if (isnan(units[_i].scale)) {
        ck_assert_int_eq(got.status, QUELL_E_DATA);
        ck_assert_msg(strstr(got.err.text, units[_i].reason) != NULL, "%s", got.err.text);
    } else {
        check_axis(&got, 0, ramp, units[_i].scale, 1e-12);
        ck_assert_str_eq(got.recording.unit, units[_i].read_as);
    }
    test_reading_end(&got);
}
END_TEST

START_TEST(time_may_be_in_other_units)
{
    test_reading got = {0};
    test_uff set = plain;
    set.increment = 0.5;
    set.time_unit = "ms";
    test_uff_text(&got.text, &set, POINTS, ramp);
    test_reading_read(&got, NULL);
    CHECK_NEAR(got.recording.rate_hz, 2000, 1e-9);
    test_reading_read(&got, &(quell_read_options){.time_unit = "us"});
    CHECK_NEAR(got.recording.rate_hz, 2e6, 1e-6);
    test_reading_end(&got);
}
END_TEST

START_TEST(a_general_function_over_time_is_a_record)
{
    test_reading got = {0};
    test_uff set = plain;
    set.function = 0;
    test_uff_text(&got.text, &set, POINTS, ramp);
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    test_text_free(&got.text);
    set.abscissa = 18;
    set.time_unit = "Hz";
    test_uff_text(&got.text, &set, POINTS, ramp);
    test_reading_read(&got, NULL);
    ck_assert_str_eq(got.err.text,
                     "found no time record but 1 dataset 58 of function type 0 (general function); "
                     "want a time response (function type 1) of acceleration");
    test_reading_end(&got);
}
END_TEST

/* ---------------------------------------------------------------- refusals */

#define HEAD5 "run\nNONE\nNONE\nNONE\nNONE\n"
#define RECORD6 "    1         0    0         0 NONE               1   0 NONE               0   0\n"
#define TAIL4                                                                                                \
    "        17    0    0    0 Time                 s\n"                                                     \
    "        12    0    0    0 acc                  g\n"                                                     \
    "         0    0    0    0 NONE                 NONE\n"                                                  \
    "         0    0    0    0 NONE                 NONE\n"
#define SHAPE "         2        20         1  0.00000E+00  1.00000E-02  0.00000E+00\n"

static const struct {
    const char *bytes, *text;
    size_t line;
} malformed[] = {
    {"    -1\n", "found a universal file without a dataset, want a dataset 58 with a time record", 0},
    {"    -1\n   151\n    -1\nwhat\n    -1\nmodel\n",
     "found 'model' behind the line -1, want the number of a dataset", 6},
    {"    -1\n    58\n" HEAD5, "the dataset 58 that begins here has 5 of the 11 lines of its head", 2},
    {"    -1\n    58\n" HEAD5 RECORD6 "    -1\n",
     "the dataset 58 that begins here has 6 of the 11 lines of its head", 2},
    {"    -1\n    58\n" HEAD5 RECORD6 "         3        20         1  0.00000E+00  1.00000E-02\n" TAIL4,
     "the ordinate data type is none that there is, want 2, 4, 5 or 6", 9},
    {"    -1\n    58\n" HEAD5 RECORD6 "         2      many         1  0.00000E+00  1.00000E-02\n" TAIL4,
     "found no number of points, want one from 1 on", 9},
    {"    -1\n    58\n" HEAD5 RECORD6 "         2        20         1  0.00000E+00  0.00000E+00\n" TAIL4,
     "the increment of the abscissa is 0 from 0 on, want one above 0", 9},
    {"    -1\n    58\n" HEAD5 RECORD6 "         2        20         1  0.00000E+00  1.0000E-200\n" TAIL4
     " 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20\n    -1\n",
     "the increment of 1e-200 s is a rate of 1e+200 Hz, want 0.001 to 1e9", 9},
    {"    -1\n    58\n" HEAD5 RECORD6 SHAPE TAIL4 "  1.00000E+00  2.00000E+00         zero  4.00000E+00\n",
     "found 'zero  4.00000' among the values of dataset 1, want numbers of 13 columns each", 14},
    {"    -1\n    58\n" HEAD5 RECORD6 SHAPE TAIL4 "  1.00000E+00  2.00000E+00\n    -1\n",
     "found 2 samples, want 16 at least", 0},
    {"    -1\n    58b     3     2          11          80\n" HEAD5 RECORD6 SHAPE TAIL4,
     "byte order is 3, want 1 or 2", 2},
    {"    -1\n    58b     1     1          11          80\n" HEAD5 RECORD6 SHAPE TAIL4,
     "the values are VAX floating point, want IEEE 754 (2), or a file in text", 2},
    {"    -1\n    58b     1     3          11          80\n" HEAD5 RECORD6 SHAPE TAIL4,
     "the values are IBM 370 floating point, want IEEE 754 (2), or a file in text", 2},
    {"    -1\n    58b     1     2           7          80\n" HEAD5 RECORD6 SHAPE TAIL4,
     "the head has 7 lines, want 11", 2},
    {"    -1\n    58b     1     2\n" HEAD5 RECORD6 SHAPE TAIL4,
     "found '' behind 58b, want byte order, floating point, lines and bytes", 2},
    {"    -1\n    58b     1     2          11           0\n" HEAD5 RECORD6 SHAPE TAIL4,
     "20 points are said to take 0 bytes, want their true number", 2},
    {"    -1\n    58\n" HEAD5
     "    1         0    0         0 NONE               1   5 NONE               0   0\n" SHAPE TAIL4,
     "found 1 time record and none of acceleration: dataset 1: 'acc' in g (acceleration about an axis)", 0},
};

START_TEST(what_is_malformed_is_named_with_its_line)
{
    test_reading got = {0};
    test_text_add(&got.text, "%s", malformed[_i].bytes);
    test_reading_read(&got, NULL);
    ck_assert_int_eq(got.status, QUELL_E_DATA);
    ck_assert_str_eq(got.err.text, malformed[_i].text);
    ck_assert_uint_eq(got.err.line, malformed[_i].line);
    test_reading_end(&got);
}
END_TEST

static double backwards(size_t i, size_t part)
{
    return part == 0 && i == 50 ? 0.25 : ramp(i, part);
}

static double leaping(size_t i, size_t part)
{
    return part == 0 && i >= 50 ? 1e9 + ramp(i, part) : ramp(i, part);
}

static double still(size_t i, size_t part)
{
    return part == 0 ? 3 : ramp(i, part);
}

START_TEST(time_that_does_not_run_is_refused)
{
    static const struct {
        test_uff_value value;
        const char *text;
    } row[] = {{backwards, "time runs backwards in dataset 1: point 51 is at 0.25 after 0.765625"},
               {leaping, "time jumps in dataset 1: point 51 is at 1000000000 after 0.765625"},
               {still, "the abscissa of dataset 1 does not rise, want time"}};
    test_reading got = {0};
    test_uff set = plain;
    set.uneven = true;
    test_uff_text(&got.text, &set, POINTS, row[_i].value);
    test_reading_read(&got, NULL);
    ck_assert_int_eq(got.status, QUELL_E_DATA);
    ck_assert_str_eq(got.err.text, row[_i].text);
    ck_assert_uint_eq(got.err.line, 2);
    test_reading_end(&got);
}
END_TEST

static const struct {
    quell_read_options options;
    const char *text;
} wrong_options[] = {
    {{.columns = "x=7"}, "--columns: found x=7, want a dataset from 1 to 6"},
    {{.columns = "x=1,y=1"}, "--columns: found y=1, want each letter and each dataset once"},
    {{.columns = "x=1,x=2"}, "--columns: found x=2, want each letter and each dataset once"},
    {{.columns = "t=1,x=2"},
     "--columns: found 't=1', want x=, y= and z= with the numbers of datasets such as x=1,y=2,z=3"},
    {{.columns = "x=acc"},
     "--columns: found 'x=acc', want x=, y= and z= with the numbers of datasets such as x=1,y=2,z=3"},
    {{.columns = ""},
     "--columns: found '', want x=, y= and z= with the numbers of datasets such as x=1,y=2,z=3"},
    {{.unit = "g:16"},
     "--unit: found a full scale, which the samples of sound files have, and a universal file, want --unit "
     "g"},
};

START_TEST(wrong_options_are_named)
{
    test_reading got = {0};
    make_two_nodes(&got);
    test_reading_read(&got, &wrong_options[_i].options);
    ck_assert_int_eq(got.status, QUELL_E_USAGE);
    ck_assert_str_eq(got.err.text, wrong_options[_i].text);
    test_reading_end(&got);
}
END_TEST

START_TEST(lines_between_datasets_are_counted)
{
    test_reading got = {0};
    test_uff_text(&got.text, &plain, POINTS, ramp);
    test_text_add(&got.text, "and\nmore\n    -1\n    55\nnever closed\n");
    test_reading_read(&got, NULL);
    check_axis(&got, 0, ramp, 1, 0);
    ck_assert_str_eq(test_finding(&got.recording.findings, "datasets")->text,
                     "2 lines between datasets were left out, the first is line 32");
    ck_assert_str_eq(test_finding(&got.recording.findings, "cut-short")->text,
                     "the file ends within a dataset, without a closing line");
    test_reading_end(&got);
}
END_TEST

/* ---------------------------------------------------------------- memory, and any bytes at all */

START_TEST(each_failing_allocation_is_an_error)
{
    test_reading got = {0};
    test_uff x = along(1), y = along(2), stranger = plain;
    x.uneven = y.uneven = true;
    stranger.function = 9;
    test_uff_binary(&got.text, &x, POINTS, ramp, true);
    test_uff_text(&got.text, &stranger, POINTS, ramp);
    test_uff_text(&got.text, &y, POINTS, ramp);
    size_t failed = 0;
    for (size_t n = 1;; n++) {
        quell_arena *arena = quell_arena_create((size_t)1 << 24);
        quell_recording recording = {.samples = 4711};
        quell_error err = {0};
        quell_memory_fail_at(n);
        quell_status status = test_read(&recording, &got.text, NULL, arena, &err);
        quell_memory_fail_at(0);
        quell_arena_destroy(arena);
        if (status == QUELL_OK)
            break;
        ck_assert_msg(status == QUELL_E_MEMORY, "allocation %zu: %s", n, err.text);
        ck_assert_uint_eq(recording.samples, 4711);
        failed++;
    }
    ck_assert_uint_gt(failed, 10);
    test_text_free(&got.text);
}
END_TEST

static size_t below(quell_random *random, size_t n)
{
    size_t pick = (size_t)(quell_random_uniform(random) * (double)n);
    return pick < n ? pick : n - 1;
}

/* One change: a byte, a stretch dropped, a piece that hurts put in. */
static void mutate(test_text *text, quell_random *random)
{
    static const char *const pieces[] = {
        "\n",           "\r\n",     "    -1\n",   "    58\n", "    58b",   "\x1f\x8b",
        "999999999",    "1e308",    "-1",         "1.5-103",  "*********", "nan",
        "            ", "   164\n", "         6", "\xff",     "0",         "-"};
    size_t at = below(random, text->length), span = below(random, 30);
    if (span > text->length - at)
        span = text->length - at;
    const char *piece = pieces[below(random, sizeof pieces / sizeof pieces[0])];
    size_t more = strlen(piece);
    switch (below(random, 4)) {
    case 0:
        text->bytes[at] = (char)below(random, 256);
        return;
    case 1:
        memmove(text->bytes + at, text->bytes + at + span, text->length - at - span);
        text->length -= span;
        return;
    case 2: /* over what is there */
        memcpy(text->bytes + at, piece, more < text->length - at ? more : text->length - at);
        return;
    default:
        test_bytes_add(text, piece, more);
        memmove(text->bytes + at + more, text->bytes + at, text->length - at - more);
        memcpy(text->bytes + at, piece, more);
    }
}

START_TEST(mutated_files_give_a_result_or_a_refusal)
{
    static const quell_read_options options[] = {{0}, {.unit = "g"}, {.columns = "x=2,y=1"}, {.rate = "50"}};
    quell_random *random = quell_random_create(5800 + (uint64_t)_i);
    size_t read = 0;
    for (size_t n = 0; n < 2000; n++) {
        test_reading got = {0};
        test_uff first = along(1), other = along(-2);
        first.kind = 2 + 2 * (int)(n % 2);
        first.uneven = n % 3 == 0;
        other.kind = n % 5 == 0 ? 5 : 4;
        first.points = other.points = 30;
        if (n % 4 < 2)
            test_uff_text(&got.text, &first, 30, ramp);
        else
            test_uff_binary(&got.text, &first, 30, ramp, n % 4 == 2);
        test_uff_text(&got.text, &other, 30, second);
        for (size_t c = 0, changes = 1 + below(random, 5); c < changes; c++)
            mutate(&got.text, random);
        char *exact = malloc(got.text.length + 1); /* of its own, so that a step past the end shows */
        ck_assert_ptr_nonnull(exact);
        memcpy(exact, got.text.bytes, got.text.length);
        got.arena = quell_arena_create((size_t)1 << 26);
        got.status =
            test_read_bytes(&got.recording, exact, got.text.length, &options[n % 4], got.arena, &got.err);
        free(exact);
        if (got.status == QUELL_OK) {
            read++;
            for (size_t k = 0; k < got.recording.axes; k++)
                for (size_t i = 0; i < got.recording.samples; i++)
                    ck_assert(isfinite(got.recording.accel_mps2[k][i]));
        } else {
            ck_assert_msg(got.status == QUELL_E_DATA || got.status == QUELL_E_USAGE, "%d: %s",
                          (int)got.status, got.err.text);
            ck_assert_uint_gt(strlen(got.err.text), 8);
        }
        test_reading_end(&got);
    }
    ck_assert_uint_gt(read, 100);
    quell_random_destroy(random);
}
END_TEST

Suite *suite_ingest_uff(void)
{
    Suite *suite = suite_create("ingest uff");
    TCase *cases = tcase_create("uff");
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, every_form_gives_the_same_recording, 0, (int)(sizeof forms / sizeof forms[0]));
    tcase_add_loop_test(cases, ends_of_lines_and_gzip_make_no_difference, 0, 3);
    tcase_add_test(cases, a_wide_abscissa_is_told_by_the_bytes);
    tcase_add_loop_test(cases, numbers_are_read_as_they_are_written, 0, (int)(sizeof ways / sizeof ways[0]));
    tcase_add_test(cases, stars_and_nan_are_lost_samples);
    tcase_add_test(cases, the_byte_count_is_trusted_and_not_the_mark);
    tcase_add_test(cases, directions_give_order_and_sign);
    tcase_add_test(cases, of_many_channels_the_first_node_is_used);
    tcase_add_test(cases, three_nodes_without_directions_are_three_axes);
    tcase_add_test(cases, channels_at_other_times_are_left_out);
    tcase_add_test(cases, uneven_channels_must_share_their_stamps);
    tcase_add_test(cases, a_file_cut_short_gives_what_is_there);
    tcase_add_test(cases, a_stump_is_left_out);
    tcase_add_test(cases, declared_sizes_are_not_believed);
    tcase_add_test(cases, too_many_values_are_refused);
    tcase_add_loop_test(cases, units_are_those_of_labels_options_or_dataset_164, 0,
                        (int)(sizeof units / sizeof units[0]));
    tcase_add_test(cases, time_may_be_in_other_units);
    tcase_add_test(cases, a_general_function_over_time_is_a_record);
    tcase_add_loop_test(cases, what_is_malformed_is_named_with_its_line, 0,
                        (int)(sizeof malformed / sizeof malformed[0]));
    tcase_add_loop_test(cases, time_that_does_not_run_is_refused, 0, 3);
    tcase_add_loop_test(cases, wrong_options_are_named, 0,
                        (int)(sizeof wrong_options / sizeof wrong_options[0]));
    tcase_add_test(cases, lines_between_datasets_are_counted);
    tcase_add_test(cases, each_failing_allocation_is_an_error);
    tcase_add_loop_test(cases, mutated_files_give_a_result_or_a_refusal, 0, 2);
    suite_add_tcase(suite, cases);
    return suite;
}
