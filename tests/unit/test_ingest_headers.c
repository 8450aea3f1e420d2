/* ingest: what stands before the rows (rates in words, heads, units on lines of their own), what comes again among them,
   and what the header or the numbers show to be no recording. */
#include "ingest_help.h"

#include "ingest/ingest_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* `rows` rows of x y z at rest in m/s2, after a first field printed from the row's number unless it is NULL. */
static void add_rows(test_text *out, const char *first, unsigned from, unsigned rows)
{
    for (unsigned i = from; i < from + rows; i++) {
        if (first != NULL)
            test_text_add(out, "%s%u%s", first, i, ",");
        test_text_add(out, "0.%u,-0.%u,9.8%u\n", i % 7, i % 5, i % 3);
    }
}

/* ---------------------------------------------------------------- rates in words */

static const struct {
    const char *header;
    double rate_hz; /* 0: refused for want of a rate */
} rates[] = {
    {"# Sample rate: 1600 Hz\n", 1600},
    {"# sampling frequency = 1.6 kHz\n", 1600},
    {"SampleRate;1600\n", 1600},
    {"Fs=1000\nx,y,z\n", 1000},
    {"Sampling Rate (Hz),500\nx,y,z\n", 500},
    {"\"Sample rate [Hz]\",\"500\"\nx,y,z\n", 500},
    {"Abtastrate: 800 Hz\n", 800},
    {"Rate 3200 Hz, range 16 g\n", 3200},
    {"// 40 channels, 250 sps, gain 2\n", 250},
    {"Sample Interval\t0.0005 s\n", 2000},
    {"dt = 0.625 ms\n", 1600},
    {"Delta_X,0.002,0.002,0.002\nx,y,z\n", 500},
    {"# config: odr=400, fs=16 g, filter = 100 Hz\n", 400},
    {"# Sample rate: 1600 Hz\n# measured sampling rate 1601 Hz\n", 1600}, /* within 1 %: the same */
    /* none of these states a rate */
    {"# baud rate: 115200\n", 0},
    {"# 800 Hz\n", 0},
    {"# FS = 4 g\n", 0},
    {"# fs 16\n", 0},
    {"Delta_X,1.0,0.002,0.002\nx,y,z\n", 0},
    {"# sample rate: fast\n", 0},
    {"# sample rate: 0 Hz\n", 0},
    {"# sample rate: 1e12 Hz\n", 0},
    {"# corporate 100 Hz\n", 0},
};

START_TEST(a_rate_in_words_is_used_where_there_is_no_time)
{
    test_text text = {0};
    test_text_add(&text, "%s", rates[_i].header);
    add_rows(&text, NULL, 0, 300);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording = {0};
    quell_error err = {0};
    quell_status status = test_read(&recording, &text, NULL, arena, &err);
    ck_assert_msg((status == QUELL_OK) == (rates[_i].rate_hz > 0), "%s: %s", rates[_i].header, err.text);
    if (status == QUELL_OK) {
        ck_assert_msg(fabs(recording.rate_hz / rates[_i].rate_hz - 1) < 1e-12, "%s: %g Hz", rates[_i].header,
                      recording.rate_hz);
        ck_assert_uint_eq(recording.samples, 300);
        ck_assert_ptr_nonnull(test_finding(&recording.findings, "rate"));
    } else {
        ck_assert_str_eq(err.text,
                         "found no column of time and no rate, want a column that rises, or --rate HZ");
    }
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(two_rates_are_one_too_many)
{
    test_text text = {0};
    test_text_add(&text, "# sample rate 1600 Hz\n# scan rate: 100 Hz\n");
    add_rows(&text, NULL, 0, 300);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text,
                     "found no time, and the header states two rates, 1600 Hz (line 1) and 100 Hz (line 2), "
                     "want --rate with the right one");
    ck_assert_int_eq(test_read(&recording, &text, &(quell_read_options){.rate = "1600"}, arena, &err),
                     QUELL_OK);
    CHECK_NEAR(recording.rate_hz, 1600, 1e-9);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(stamps_win_over_a_stated_rate)
{
    test_text text = {0};
    test_text_add(&text, "# sample rate 1600 Hz\n");
    test_text_tone(&text, "t,ax,ay,az\n", 1000, 1500);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, NULL), QUELL_OK);
    CHECK_NEAR(recording.rate_hz, 1500, 1e-3);
    const quell_finding *finding = test_finding(&recording.findings, "rate");
    ck_assert_ptr_nonnull(finding);
    ck_assert_int_eq(finding->severity, QUELL_WARN);
    ck_assert_str_eq(finding->text, "the stamps give 1500 Hz, -6.25 % from the file's stated 1600 Hz");
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* ---------------------------------------------------------------- heads and units */

/* A head, and what it is to say. */
static const struct {
    const char *head;
    ingest_role role;
    char axis;
    const char *unit; /* NULL: none */
} heads[] = {
    {"Acceleration x (m/s^2)", INGEST_ACCELERATION, 'x', "m/s2"},
    {"Acceleration y (m/(s^2))", INGEST_ACCELERATION, 'y', "m/s2"},
    {"acc_z [m/s\xc2\xb2]", INGEST_ACCELERATION, 'z', "m/s2"},
    {"acc z (m\xc2\xb7s\xe2\x81\xbb\xc2\xb2)", INGEST_ACCELERATION, 'z', "m/s2"},
    {"a_x / (m s^-2)", INGEST_ACCELERATION, 'x', "m/s2"},
    {"ax [G]", INGEST_ACCELERATION, 'x', "g"},
    {"ax (milli-g)", INGEST_ACCELERATION, 'x', "mg"},
    {"ay_mg", INGEST_ACCELERATION, 'y', "mg"},
    {"accel (cm/s^2)", INGEST_ACCELERATION, 0, "cm/s2"},
    {"x_raw", INGEST_ACCELERATION, 'x', "counts"},
    {"axis1", INGEST_ACCELERATION, 0, NULL},
    {"Axis X", INGEST_ACCELERATION, 'x', NULL},
    {"t/ms", INGEST_TIME, 0, "ms"},
    {"Time (\xc2\xb5s)", INGEST_TIME, 0, "us"},
    {"timestamp_ns", INGEST_TIME, 0, "ns"},
    {"Force (N)", INGEST_OTHER, 0, NULL},
    {"gyro x (dps)", INGEST_OTHER, 0, NULL},
    {"Temperature", INGEST_OTHER, 0, NULL},
    {"GPS accuracy", INGEST_OTHER, 0, NULL},
    {"Gravity X", INGEST_OTHER, 0, NULL},
    {"Voltage (V)", INGEST_OTHER, 0, NULL},
    {"Frequency (Hz)", INGEST_FREQUENCY, 0, NULL},
    {"Acceleration (FFT - (RMS))", INGEST_FREQUENCY, 0, NULL},
    {"PSD x (g^2/Hz)", INGEST_FREQUENCY, 0, NULL},
    {"x (g/rtHz)", INGEST_FREQUENCY, 0, NULL},
    {"level (dB)", INGEST_FREQUENCY, 0, NULL},
    {"count", INGEST_COUNTER, 0, NULL},
    {"Fifth", INGEST_UNKNOWN, 0, NULL},
};

START_TEST(a_head_tells_what_its_column_is)
{
    ingest_head head = ingest_head_read(heads[_i].head);
    ck_assert_msg(head.role == heads[_i].role, "%s: role %d", heads[_i].head, (int)head.role);
    ck_assert_msg(head.axis == heads[_i].axis, "%s: axis %d", heads[_i].head, head.axis);
    ck_assert_msg(head.has_unit == (heads[_i].unit != NULL), "%s: unit %d", heads[_i].head, head.has_unit);
    if (head.has_unit)
        ck_assert_str_eq(head.unit.name, heads[_i].unit);
}
END_TEST

/* Files of 200 rows that begin with this, at 100 Hz, and the names that x, y and z get. */
static const struct {
    const char *name, *header, *first;
    size_t axes;
    const char *unit, *axis_name[3];
} layouts[] = {
    {"Latin-1",
     "time (s),ax (m/s\xb2),ay (m/s\xb2),az (m/s\xb2)\n",
     "0.0",
     3,
     "m/s2",
     {"ax (m/s\xc2\xb2)", "ay (m/s\xc2\xb2)", "az (m/s\xc2\xb2)"}},
    {"units below, one of something else",
     "t,ax,F,az\ns,m/s2,N,m/s2\n",
     "0.0",
     2,
     "m/s2",
     {"ax (m/s2)", "az (m/s2)"}},
    {"units in a header block",
     "Device,7\nUnits,m/s2,m/s2,m/s2\nEnd\nTime,ch a,ch b,ch c\n",
     "0.0",
     3,
     "m/s2",
     {"ch a (m/s2)", "ch b (m/s2)", "ch c (m/s2)"}},
    {"heads and units in comments",
     "# made today\n# t, ax, ay, az\n# s, m/s2, m/s2, m/s2\n",
     "0.0",
     3,
     "m/s2",
     {"ax (m/s2)", "ay (m/s2)", "az (m/s2)"}},
    {"a head more than columns", "t,ax,ay,az,remark\n", "0.0", 3, "m/s2", {"ax", "ay", "az"}},
    {"a long head",
     "t,ax,ay,acceleration along the upright axis of the sensor on the tool head in z (m/s2)\n",
     "0.0",
     3,
     "m/s2",
     {"ax", "ay", "acceleration along the upright axis of the sensor on the tool head in z (m/s2)"}},
    {"a sentence for a header",
     "recorded by the technician on the small table\n",
     "0.0",
     3,
     "m/s2",
     {"column 2", "column 3", "column 4"}},
};

START_TEST(a_header_is_understood)
{
    test_text text = {0};
    test_text_add(&text, "%s", layouts[_i].header);
    for (unsigned i = 0; i < 200; i++)
        test_text_add(&text, "%.2f,0.%u,-0.%u,9.8%u\n", i / 100.0, i % 7, i % 5, i % 3);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording = {0};
    quell_error err = {0};
    ck_assert_msg(test_read(&recording, &text, NULL, arena, &err) == QUELL_OK, "%s: %s", layouts[_i].name,
                  err.text);
    ck_assert_uint_eq(recording.axes, layouts[_i].axes);
    ck_assert_str_eq(recording.unit, layouts[_i].unit);
    for (size_t k = 0; k < recording.axes; k++)
        ck_assert_str_eq(recording.axis_name[k], layouts[_i].axis_name[k]);
    CHECK_NEAR(recording.rate_hz, 100, 1e-6);
    CHECK_NEAR(recording.accel_mps2[recording.axes - 1][1], 9.81, 1e-9);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* Heads that lack the one of the row's number, as some programs write tables. */
START_TEST(rows_may_be_numbered_without_a_head)
{
    test_text text = {0};
    test_text_add(&text, "\"time\" \"ax\" \"ay\" \"az\"\n");
    for (unsigned i = 0; i < 100; i++)
        test_text_add(&text, "\"%u\" %.2f 0.%u 0.1 9.8\n", i + 1, i / 100.0, i % 3);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_msg(test_read(&recording, &text, NULL, arena, &err) == QUELL_OK, "%s", err.text);
    ck_assert_uint_eq(recording.axes, 3);
    ck_assert_str_eq(recording.axis_name[0], "ax");
    CHECK_NEAR(recording.rate_hz, 100, 1e-6);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* ---------------------------------------------------------------- what comes again */

START_TEST(a_header_that_comes_again_is_left_out)
{
    test_text text = {0};
    test_text_add(&text, "Logger 3\nRate,fast,,\ntime_s,ax,ay,az\n");
    add_rows(&text, "0.10", 0, 9);
    for (unsigned i = 0; i < 300; i++) {
        if (i == 100 || i == 200)
            test_text_add(&text, "Logger 3\nRate,fast,,\ntime_s,ax,ay,az\n");
        test_text_add(&text, "%.2f,0.%u,0.2,9.8\n", 0.2 + i / 100.0, i % 3);
    }
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_msg(test_read(&recording, &text, NULL, arena, &err) == QUELL_OK, "%s", err.text);
    ck_assert_str_eq(
        test_finding(&recording.findings, "header")->text,
        "lines of the header come again 6 times among the rows, last on line 218, and were left out");
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(a_logger_that_was_started_again_is_refused)
{
    test_text text = {0};
    test_text_tone(&text, "time_s,ax,ay,az\n", 100, 100);
    test_text_tone(&text, "time_s,ax,ay,az\n", 100, 100);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text,
                     "time starts again: found 0 after 0.99, and the header comes again on line 102: want "
                     "one run of the logger in a file");
    ck_assert_uint_eq(err.line, 103);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(another_header_among_the_rows_is_refused)
{
    test_text text = {0};
    test_text_tone(&text, "time_s,ax,ay,az\n", 100, 100);
    test_text_tone(&text, "time_ms,ax,ay,az\n", 100, 100);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text, "found 'time_ms' in column 1 (time_s), want a number");
    ck_assert_uint_eq(err.line, 102);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* ---------------------------------------------------------------- numbers */

START_TEST(double_precision_exponents_are_read)
{
    test_text text = {0};
    for (unsigned i = 0; i < 100; i++)
        test_text_add(&text, "  %.2fD-02  0.1D+01 -2.5d-01  9.8D0\n", (double)i);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_msg(test_read(&recording, &text, NULL, arena, &err) == QUELL_OK, "%s", err.text);
    CHECK_NEAR(recording.rate_hz, 100, 1e-6);
    CHECK_NEAR(recording.accel_mps2[1][3], -0.25, 1e-12);
    CHECK_NEAR(recording.accel_mps2[2][3], 9.8, 1e-12);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* UTF-16: with and without a mark, in both orders, in pieces of any size, packed. */
static unsigned char *widen(const test_text *text, bool mark, bool big, size_t *length)
{
    unsigned char *out = malloc(2 * text->length + 2);
    ck_assert_ptr_nonnull(out);
    *length = 0;
    if (mark) {
        out[(*length)++] = big ? 0xfe : 0xff;
        out[(*length)++] = big ? 0xff : 0xfe;
    }
    for (size_t i = 0; i < text->length; i++) { /* Latin-1 is the beginning of Unicode */
        out[(*length)++] = big ? 0 : (unsigned char)text->bytes[i];
        out[(*length)++] = big ? (unsigned char)text->bytes[i] : 0;
    }
    return out;
}

START_TEST(utf_16_is_read)
{
    test_text text = {0}; /* more than the 8 KiB that are turned at a time */
    test_text_tone(&text, "t (s),ax (m/s\xb2),ay (m/s\xb2),az (m/s\xb2)\r\n", 3000, 500);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording plain, wide;
    quell_error err = {0};
    ck_assert_int_eq(test_read(&plain, &text, NULL, arena, NULL), QUELL_OK);
    size_t length;
    unsigned char *bytes = widen(&text, _i < 2, _i % 2 == 1, &length);
    ck_assert_msg(test_read_bytes(&wide, bytes, length, NULL, arena, &err) == QUELL_OK, "%s", err.text);
    ck_assert_str_eq(wide.format, "delimited text, UTF-16");
    ck_assert_str_eq(wide.axis_name[0], "ax (m/s\xc2\xb2)");
    ck_assert_uint_eq(wide.samples, 3000);
    for (size_t k = 0; k < 3; k++)
        ck_assert_mem_eq(wide.accel_mps2[k], plain.accel_mps2[k], 3000 * sizeof(double));
    size_t packed;
    unsigned char *gzip = test_gzip(bytes, length, &packed);
    ck_assert_int_eq(test_read_bytes(&wide, gzip, packed, NULL, arena, &err), QUELL_OK);
    ck_assert_str_eq(wide.format, "delimited text, UTF-16, gzip");
    free(gzip);
    free(bytes);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* A pair, halves of pairs alone, and a byte left over, turned into UTF-8 three bytes at a time. */
START_TEST(utf_16_pairs_are_joined)
{
    static const unsigned char in[] = {0xff, 0xfe, 'a',  0, 0x3d, 0xd8, 0x00, 0xde, /* U+1F600 */
                                       0x00, 0xd8, 'b',  0, 0x00, 0xdc, 0x00, 0xd8,
                                       0x00, 0xd8, 0xb2, 0, 0xac, 0x20, 0x00};
    static const char out[] = "a\xf0\x9f\x98\x80?b???\xc2\xb2\xe2\x82\xac"; /* U+00B2, U+20AC */
    quell_memory_source state = {in, sizeof in, 0};
    quell_source source = quell_source_memory(&state, "text");
    ingest_bytes *bytes = quell_memory_get(sizeof *bytes);
    ck_assert_ptr_nonnull(bytes);
    ck_assert_int_eq(ingest_bytes_open(bytes, &source, NULL), QUELL_OK);
    char read[64];
    size_t used = 0, got = 1;
    while (got > 0) {
        ck_assert_int_eq(ingest_bytes_read(bytes, read + used, 3, &got, NULL), QUELL_OK);
        used += got;
    }
    ck_assert_uint_eq(used, sizeof out - 1);
    ck_assert_mem_eq(read, out, used);
    ingest_bytes_close(bytes);
    quell_memory_free(bytes);
}
END_TEST

/* ---------------------------------------------------------------- refusals */

/* A header, then rows of one form, and why the file is refused. */
static const struct {
    const char *name, *header, *row; /* the row's number goes in where there is a %u */
    unsigned rows;
    const char *text;
} refusals[] = {
    {"decimal commas between commas", "", "0,0%u,1,25,9,81\n", 40,
     "the comma seems to be both the decimal sign and what stands between columns: want a semicolon, tab or "
     "blank "
     "between columns, or a decimal point"},
    {"heads apart", "time,ax,ay\n", "%u.5,0.3,0.1,0.2,9.8\n", 40,
     "found 3 heads over 5 columns, want as many, or --columns t=1,x=2,y=3,z=4"},
    {"a summary by its header", "# sample interval: 60 s\n", "0.1,0.2,0.5\n", 40,
     "one row every 60 s: this seems to be a summary, want acceleration 20 times a second or more"},
    {"steps of a day", "date,x,y,z\n", "2020-01-01 00:%02u:00,%u,3,12\n", 40,
     "one row every 60 s: this seems to be counts of activity or steps, want acceleration 20 times a second "
     "or more"},
    {"a level in decibels", "t (s),level (dB)\n", "0.%02u,-%u\n", 40,
     "column 2 is headed 'level (dB)': this is a spectrum, want a recording over time"},
    {"a density", "t,ax (g^2/Hz)\n", "0.%02u,0.5\n", 40,
     "column 2 is headed 'ax (g^2/Hz)': this is a spectrum, want a recording over time"},
    {"words alone", "", "left,right,up\n", 40,
     "found 40 lines and no row of numbers, want rows of time and acceleration"},
    {"counts at rest", "t_s,x,y,z\n", "0.%02u,3,4,4096\n", 40,
     "the unit of acceleration is not stated, and the values are whole numbers, as of counts, want --unit "
     "counts:VALUE; "
     "at rest they come to 4096, and if that is gravity, it is --unit counts:0.00024414g"},
    {"counts by the heads", "t_s,x_raw,y_raw,z_raw\n", "0.%02u,3,4,1030\n", 40,
     "'x_raw' is in counts, want --unit counts:VALUE; at rest they come to 1030, and if that is gravity, it "
     "is --unit "
     "counts:0.00097656g"},
};

START_TEST(refused_for_what_it_is)
{
    test_text text = {0};
    test_text_add(&text, "%s", refusals[_i].header);
    for (unsigned i = 0; i < refusals[_i].rows; i++) {
        const char *at = refusals[_i].row;
        for (const char *mark; (mark = strchr(at, '%')) != NULL; at = strchr(mark, 'u') + 1)
            test_text_add(&text, mark[1] == '0' ? "%.*s%02u" : "%.*s%u", (int)(mark - at), at, i);
        test_text_add(&text, "%s", at);
    }
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_msg(test_read(&recording, &text, NULL, arena, &err) == QUELL_E_DATA, "%s", refusals[_i].name);
    ck_assert_str_eq(err.text, refusals[_i].text);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(a_column_of_words_is_no_axis)
{
    test_text text = {0};
    test_text_add(&text, "t_s,x,y,note,when\n");
    for (unsigned i = 0; i < 40; i++)
        test_text_add(&text, "0.%02u,1,9.8,good,2020-01-02\n", i);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    quell_read_options options = {.columns = "t=1,x=4"};
    ck_assert_int_eq(test_read(&recording, &text, &options, arena, &err), QUELL_E_USAGE);
    ck_assert_str_eq(err.text, "--columns: found 'x=4', want a column of numbers");
    options.columns = "t=when,x=2";
    ck_assert_int_eq(test_read(&recording, &text, &options, arena, &err), QUELL_E_USAGE);
    ck_assert_str_eq(err.text, "--columns: found 't=when', want a column of numbers or of times of day");
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* 40 samples a second in ms or 40 000 in us: both are plausible, neither is taken. */
START_TEST(a_step_that_fits_two_units_is_refused)
{
    test_text text = {0};
    test_text_add(&text, "t,ax,ay,az\n");
    for (unsigned i = 0; i < 30000; i++)
        test_text_add(&text, "%u,0.%u,0.2,9.8\n", 25 * i, i % 5);
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, &err), QUELL_E_DATA);
    ck_assert_str_eq(
        err.text, "the unit of time is not stated, and a step of 25 may be 40 Hz in ms or a thousand times "
                  "that in the next smaller one, want --time-unit");
    ck_assert_int_eq(test_read(&recording, &text, &(quell_read_options){.time_unit = "us"}, arena, &err),
                     QUELL_OK);
    CHECK_NEAR(recording.rate_hz, 40000, 1e-3);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(too_many_columns_and_a_header_too_long_are_named)
{
    test_text text = {0};
    for (unsigned i = 0; i < 40; i++)
        for (unsigned c = 0; c < 300; c++)
            test_text_add(&text, c < 299 ? "%u," : "%u\n", c + i);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text, "found a line of 300 columns, want 256 at most");
    test_text_free(&text);
    for (unsigned i = 0; i < 5000; i++)
        test_text_add(&text, "a line of remarks before the numbers\n");
    test_text_tone(&text, "t,ax,ay,az\n", 1000, 100);
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, &err), QUELL_E_DATA);
    ck_assert_msg(strncmp(err.text, "found no row of numbers in the first ", 37) == 0 &&
                      strstr(err.text, " lines (64 KiB are looked at), want rows of time and acceleration") !=
                          NULL,
                  "%s", err.text);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

Suite *suite_ingest_headers(void)
{
    Suite *suite = suite_create("ingest headers");
    TCase *cases = tcase_create("headers");
    tcase_set_timeout(cases, 60);
    tcase_add_loop_test(cases, a_rate_in_words_is_used_where_there_is_no_time, 0, (int)INGEST_COUNT(rates));
    tcase_add_test(cases, two_rates_are_one_too_many);
    tcase_add_test(cases, stamps_win_over_a_stated_rate);
    tcase_add_loop_test(cases, a_head_tells_what_its_column_is, 0, (int)INGEST_COUNT(heads));
    tcase_add_loop_test(cases, a_header_is_understood, 0, (int)INGEST_COUNT(layouts));
    tcase_add_test(cases, rows_may_be_numbered_without_a_head);
    tcase_add_test(cases, a_header_that_comes_again_is_left_out);
    tcase_add_test(cases, a_logger_that_was_started_again_is_refused);
    tcase_add_test(cases, another_header_among_the_rows_is_refused);
    tcase_add_test(cases, double_precision_exponents_are_read);
    tcase_add_loop_test(cases, utf_16_is_read, 0, 4);
    tcase_add_test(cases, utf_16_pairs_are_joined);
    tcase_add_loop_test(cases, refused_for_what_it_is, 0, (int)INGEST_COUNT(refusals));
    tcase_add_test(cases, a_column_of_words_is_no_axis);
    tcase_add_test(cases, a_step_that_fits_two_units_is_refused);
    tcase_add_test(cases, too_many_columns_and_a_header_too_long_are_named);
    suite_add_tcase(suite, cases);
    return suite;
}
