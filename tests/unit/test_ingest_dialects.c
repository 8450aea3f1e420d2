/* ingest: the same tone written in many dialects reads as the same recording. */
#include "ingest_help.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TAU 6.283185307179586

enum { ROWS = 1200, RATE = 800 };

/* How a file is written. */
typedef struct dialect {
    const char *name, *before, *delimiter, *end;
    char decimal;
    const char *quote;
    bool no_last_end, packed;
    double time_factor, value_factor; /* what the numbers are multiplied by */
    int time_decimals;
    const char *unit_wanted, *name_of_x;
    quell_read_options options;
} dialect;

static const dialect dialects[] = {
    {.name = "comma", .before = "t (s),ax (m/s^2),ay (m/s^2),az (m/s^2)\n", .name_of_x = "ax (m/s^2)"},
    {.name = "semicolon, decimal comma",
     .before = "t_s;a1_mps2;a2_mps2;a3_mps2\n",
     .delimiter = ";",
     .decimal = ',',
     .name_of_x = "a1_mps2"},
    {.name = "tab, CR LF",
     .before = "time [s]\tX [m/s2]\tY [m/s2]\tZ [m/s2]\r\n",
     .delimiter = "\t",
     .end = "\r\n",
     .name_of_x = "X [m/s2]"},
    {.name = "tab, decimal comma",
     .before = "Zeit (s)\tBeschl. x (m/s2)\tBeschl. y (m/s2)\tBeschl. z (m/s2)\n",
     .delimiter = "\t",
     .decimal = ',',
     .name_of_x = "Beschl. x (m/s2)"},
    {.name = "blanks, aligned",
     .before = "time (s)   ax (m/s2)  ay (m/s2)  az (m/s2)\n",
     .delimiter = "    ",
     .name_of_x = "ax (m/s2)"},
    {.name = "blanks, decimal comma",
     .before = "",
     .delimiter = "  ",
     .decimal = ',',
     .name_of_x = "column 2"},
    {.name = "comma and blank", .before = "t, x, y, z\n", .delimiter = ", ", .name_of_x = "x"},
    {.name = "CR alone", .before = "t,ax,ay,az\r", .end = "\r", .name_of_x = "ax"},
    {.name = "byte order mark", .before = "\xef\xbb\xbftime,ax,ay,az\n", .name_of_x = "ax"},
    {.name = "quotes",
     .before = "\"t\";\"acc, x\";\"acc, y\";\"acc, z\"\n",
     .delimiter = ";",
     .quote = "\"",
     .decimal = ',',
     .name_of_x = "acc, x"},
    {.name = "comment lines",
     .before = "# logger 3, 800 Hz, 16 g\n% nothing\n// t,ax\n\n; also\nt,ax,ay,az\n",
     .name_of_x = "ax"},
    {.name = "heads in a comment", .before = "# t, ax, ay, az\n", .name_of_x = "ax"},
    {.name = "a header block with numbers in it",
     .before = "Channels,3,,\nSamples,1200,1200,1200\nDate,2020/01/02,2020/01/02,2020/01/02\ntime,ax,ay,az\n",
     .name_of_x = "ax"},
    {.name = "units on a line of their own",
     .before = "time,ax,ay,az\nms,mg,mg,mg\n",
     .time_factor = 1e3,
     .value_factor = 1e3 / QUELL_STANDARD_GRAVITY_MPS2,
     .unit_wanted = "mg",
     .name_of_x = "ax (mg)"},
    {.name = "no heads", .before = "", .name_of_x = "column 2"},
    {.name = "no end to the last line", .before = "t,ax,ay,az\n", .no_last_end = true, .name_of_x = "ax"},
    {.name = "gzip", .before = "t,ax,ay,az\n", .packed = true, .name_of_x = "ax"},
    {.name = "microseconds in the head",
     .before = "time_us,ax,ay,az\n",
     .time_factor = 1e6,
     .time_decimals = 0,
     .name_of_x = "ax"},
    {.name = "milliseconds by magnitude", .before = "time,ax,ay,az\n", .time_factor = 1e3, .name_of_x = "ax"},
    {.name = "nanoseconds by magnitude",
     .before = "time,ax,ay,az\n",
     .time_factor = 1e9,
     .time_decimals = 0,
     .name_of_x = "ax"},
    {.name = "time unit by option",
     .before = "time,ax,ay,az\n",
     .time_factor = 1e3,
     .options = {.time_unit = "ms"},
     .name_of_x = "ax"},
    {.name = "g by gravity",
     .before = "t,ax,ay,az\n",
     .value_factor = 1 / QUELL_STANDARD_GRAVITY_MPS2,
     .unit_wanted = "g",
     .name_of_x = "ax"},
    {.name = "mm/s2 by gravity",
     .before = "t,ax,ay,az\n",
     .value_factor = 1e3,
     .unit_wanted = "mm/s2",
     .name_of_x = "ax"},
    {.name = "mg in the heads",
     .before = "t,ax_mg,ay_mg,az_mg\n",
     .value_factor = 1e3 / QUELL_STANDARD_GRAVITY_MPS2,
     .unit_wanted = "mg",
     .name_of_x = "ax_mg"},
    {.name = "counts",
     .before = "t,x_raw,y_raw,z_raw\n",
     .value_factor = 1e3 / (4 * QUELL_STANDARD_GRAVITY_MPS2),
     .unit_wanted = "counts",
     .options = {.unit = "counts:0.004g"},
     .name_of_x = "x_raw"},
    {.name = "columns by number",
     .before = "",
     .options = {.columns = "x=2,y=3,z=4,t=1"},
     .name_of_x = "column 2"},
    {.name = "columns by head",
     .before = "when (s),one (m/s2),two (m/s2),three (m/s2)\n",
     .options = {.columns = "t=when,x=one,y=Two (m/s2),z=THREE"},
     .name_of_x = "one (m/s2)"},
};

static void add_number(test_text *out, const dialect *d, double value, int decimals)
{
    char number[64];
    quell_number_print_fixed(number, sizeof number, value, decimals);
    char *point = strchr(number, '.');
    if (point != NULL && d->decimal != 0)
        *point = d->decimal;
    const char *quote = d->quote != NULL ? d->quote : "";
    test_text_add(out, "%s%s%s", quote, number, quote);
}

static double tone(size_t axis, size_t i)
{
    double t = (double)i / RATE;
    return axis == 0   ? 1.5 * sin(TAU * 31 * t)
           : axis == 1 ? 0.25 * cos(TAU * 7 * t)
                       : 9.80665 + 0.1 * sin(TAU * 3 * t);
}

static void write_dialect(test_text *out, const dialect *d)
{
    double time_factor = d->time_factor > 0 ? d->time_factor : 1;
    double value_factor = d->value_factor > 0 ? d->value_factor : 1;
    const char *delimiter = d->delimiter != NULL ? d->delimiter : ",", *end = d->end != NULL ? d->end : "\n";
    test_text_add(out, "%s", d->before);
    for (size_t i = 0; i < ROWS; i++) {
        int decimals = d->time_factor > 0 ? d->time_decimals : 6;
        add_number(out, d, time_factor * (double)i / RATE, d->time_factor == 1e3 ? 4 : decimals);
        for (size_t k = 0; k < 3; k++) {
            test_text_add(out, "%s", delimiter);
            add_number(out, d, value_factor * tone(k, i), 7);
        }
        test_text_add(out, "%s", d->no_last_end && i + 1 == ROWS ? "" : end);
    }
}

START_TEST(the_same_tone)
{
    const dialect *d = &dialects[_i];
    test_text text = {0};
    write_dialect(&text, d);
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    quell_recording recording = {0};
    quell_error err = {0};
    size_t packed = 0;
    unsigned char *bytes = d->packed ? test_gzip(text.bytes, text.length, &packed) : NULL;
    quell_status status = d->packed ? test_read_bytes(&recording, bytes, packed, &d->options, arena, &err)
                                    : test_read(&recording, &text, &d->options, arena, &err);
    ck_assert_msg(status == QUELL_OK, "%s: %s", d->name, err.text);
    ck_assert_msg(recording.axes == 3 && recording.samples == ROWS, "%s: %zu axes, %zu samples", d->name,
                  recording.axes, recording.samples);
    ck_assert_msg(fabs(recording.rate_hz - RATE) < 1e-4, "%s: %.9g Hz", d->name, recording.rate_hz);
    ck_assert_uint_eq(recording.lost_samples, 0);
    ck_assert_str_eq(recording.unit, d->unit_wanted != NULL ? d->unit_wanted : "m/s2");
    ck_assert_str_eq(recording.axis_name[0], d->name_of_x);
    ck_assert_str_eq(recording.format, d->packed ? "delimited text, gzip" : "delimited text");
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < ROWS; i++)
            ck_assert_msg(fabs(recording.accel_mps2[k][i] - tone(k, i)) < 2.5e-6,
                          "%s: axis %zu sample %zu is %.9g, want %.9g", d->name, k, i,
                          recording.accel_mps2[k][i], tone(k, i));
    quell_arena_destroy(arena);
    free(bytes);
    test_text_free(&text);
}
END_TEST

/* Which columns are taken, by number from 1. Every column but time holds ten times its number. */
static const struct {
    const char *heads;
    size_t time, axes, column[3];
} chosen[] = {
    {"t,ax,ay,az", 1, 3, {2, 3, 4}},
    {"time,gx,gy,gz,ax,ay,az", 1, 3, {5, 6, 7}},
    {"time,aX,aY,aZ,gX,gY,gZ", 1, 3, {2, 3, 4}},
    {"time (s),Force (N),Accel (m/s2)", 1, 1, {3}},
    {"count,t,acc_z,acc_y,acc_x,temperature", 2, 3, {5, 4, 3}},
    {"Date,t,Acceleration X (g),Acceleration Y (g),Acceleration Z (g),Acceleration Scalar (g)",
     2,
     3,
     {3, 4, 5}},
    {"timestamp_us,temp (degC),x,y,z", 1, 3, {3, 4, 5}},
    {"X_Value,Acceleration_0,Acceleration_1,Acceleration_2,Comment", 1, 3, {2, 3, 4}},
    {"Tempo,Axial,Horizontal,Vertical", 1, 3, {2, 3, 4}},
    {"t / ms,a_y / (m/s^2),a_z / (m/s^2)", 1, 2, {2, 3}},
    {"time,gyro x (dps),gyro y (dps),x (m/s2)", 1, 1, {4}},
    {"x,y,z,time", 4, 3, {1, 2, 3}},
};

START_TEST(columns_are_found_by_their_heads)
{
    size_t columns = 1;
    for (const char *at = chosen[_i].heads; *at != '\0'; at++)
        columns += *at == ',';
    test_text text = {0};
    test_text_add(&text, "%s\n", chosen[_i].heads);
    for (size_t i = 0; i < 100; i++)
        for (size_t c = 1; c <= columns; c++) {
            if (c == chosen[_i].time)
                test_text_add(&text, "%zu", 5 * i);
            else if (strncmp(chosen[_i].heads, "Date", 4) == 0 && c == 1)
                test_text_add(&text, "2016-10-06 18:14:12 +0000");
            else
                test_text_add(&text, "%.2f", 10 * (double)c + (i % 2 == 0 ? 0.01 : 0.02));
            test_text_add(&text, c < columns ? "," : "\n");
        }
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording = {0};
    quell_error err = {0};
    quell_read_options options = {.unit = "m/s2", .time_unit = "ms"};
    ck_assert_msg(test_read(&recording, &text, &options, arena, &err) == QUELL_OK, "%s: %s", chosen[_i].heads,
                  err.text);
    ck_assert_uint_eq(recording.axes, chosen[_i].axes);
    CHECK_NEAR(recording.rate_hz, 200, 1e-6);
    for (size_t k = 0; k < recording.axes; k++)
        CHECK_NEAR(recording.accel_mps2[k][0], 10 * (double)chosen[_i].column[k] + 0.01, 1e-9);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(a_head_may_give_each_axis_its_own_unit)
{
    test_text text = {0};
    test_text_add(&text, "t (s),ax (g),ay (m/s2),az (mm/s2)\n");
    for (size_t i = 0; i < 50; i++)
        test_text_add(&text, "%.3f,%.1f,%.1f,%.1f\n", (double)i / 100, i % 2 ? 1.0 : 2.0, 3.0, 4000.0);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording = {0};
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, NULL), QUELL_OK);
    CHECK_NEAR(recording.accel_mps2[0][0], 2 * 9.80665, 1e-12); /* standard gravity, exact */
    CHECK_NEAR(recording.accel_mps2[1][0], 3, 1e-12);
    CHECK_NEAR(recording.accel_mps2[2][0], 4, 1e-12);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(gzip_members_follow_each_other)
{
    test_text text = {0};
    test_text_tone(&text, "t,ax,ay,az\n", 600, 500);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording = {0};
    size_t cut = text.length / 2, first, second;
    unsigned char *one = test_gzip(text.bytes, cut, &first),
                  *two = test_gzip(text.bytes + cut, text.length - cut, &second);
    unsigned char *both = malloc(first + second + 9);
    ck_assert_ptr_nonnull(both);
    memcpy(both, one, first);
    memcpy(both + first, two, second);
    memset(both + first + second, 0, 9); /* padding of zeros is nobody's data */
    ck_assert_int_eq(test_read_bytes(&recording, both, first + second + 9, NULL, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(recording.samples, 600);
    ck_assert_ptr_null(test_finding(&recording.findings, "gzip"));
    memcpy(both + first + second, "something", 9);
    ck_assert_int_eq(test_read_bytes(&recording, both, first + second + 9, NULL, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(recording.samples, 600);
    ck_assert_ptr_nonnull(test_finding(&recording.findings, "gzip"));
    free(one);
    free(two);
    free(both);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* The program is fed from pipes: what arrives in pieces of any size reads the same. */
typedef struct dribble {
    const char *bytes;
    size_t size, at, piece;
} dribble;

static quell_status read_dribble(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    (void)err;
    dribble *d = context;
    size_t left = d->size - d->at;
    *got = size < d->piece ? size : d->piece;
    *got = *got < left ? *got : left;
    memcpy(into, d->bytes + d->at, *got);
    d->at += *got;
    return QUELL_OK;
}

START_TEST(pieces_of_any_size_read_the_same)
{
    static const size_t pieces[] = {1, 7, 4096, 65537};
    test_text text = {0};
    test_text_tone(&text, "t,ax,ay,az\n", 5000, 500);
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    quell_recording whole = {0}, pieced = {0};
    ck_assert_int_eq(test_read(&whole, &text, NULL, arena, NULL), QUELL_OK);
    dribble state = {text.bytes, text.length, 0, pieces[_i]};
    quell_source source = {"pipe", read_dribble, &state};
    ck_assert_int_eq(quell_recording_read(&pieced, &source, &(quell_read_options){0}, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(pieced.samples, whole.samples);
    for (size_t k = 0; k < 3; k++)
        ck_assert_mem_eq(pieced.accel_mps2[k], whole.accel_mps2[k], whole.samples * sizeof(double));
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

Suite *suite_ingest_dialects(void)
{
    Suite *suite = suite_create("ingest dialects");
    TCase *cases = tcase_create("dialects");
    tcase_set_timeout(cases, 60);
    tcase_add_loop_test(cases, the_same_tone, 0, (int)(sizeof dialects / sizeof dialects[0]));
    tcase_add_loop_test(cases, columns_are_found_by_their_heads, 0, (int)(sizeof chosen / sizeof chosen[0]));
    tcase_add_test(cases, a_head_may_give_each_axis_its_own_unit);
    tcase_add_test(cases, gzip_members_follow_each_other);
    tcase_add_loop_test(cases, pieces_of_any_size_read_the_same, 0, 4);
    suite_add_tcase(suite, cases);
    return suite;
}
