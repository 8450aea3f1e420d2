/* ingest: what cannot be read is refused with its place, what was found and what was wanted; poor but usable data
   is a finding. */
#include "ingest_help.h"

#include "ingest/ingest_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Twenty good rows at 100 Hz in g, with one line put in after `rows` of them. */
static void rows_with(test_text *out, const char *head, size_t rows, const char *odd)
{
    test_text_add(out, "%s", head);
    for (size_t i = 0; i < 20; i++) {
        if (i == rows)
            test_text_add(out, "%s", odd);
        test_text_add(out, "%.2f,0.%zu,0.2,0.98\n", (double)i / 100, i % 7 + 1);
    }
}

/* A file, the options, and the refusal. */
static const struct {
    const char *name, *head, *odd;
    size_t odd_after;
    quell_read_options options;
    quell_status status;
    size_t line, column;
    const char *text;
} refusals[] = {
    {"text in a number",
     "t,ax,ay,az\n",
     "0.05,0.1,oops,0.98\n",
     5,
     {0},
     QUELL_E_DATA,
     7,
     10,
     "found 'oops' in column 3 (ay), want a number"},
    {"text without heads",
     "",
     "0.115,0.1,0.2,9.8 m\n",
     12,
     {0},
     QUELL_E_DATA,
     13,
     15,
     "found '9.8 m' in column 4, want a number"},
    {"a number too large",
     "t,ax,ay,az\n",
     "0.05,1e999,0.2,0.98\n",
     5,
     {0},
     QUELL_E_DATA,
     7,
     6,
     "found '1e999' in column 2 (ax), want a number"},
    {"an absurd acceleration",
     "t_s,ax,ay,az\n",
     "0.05,1e300,0.2,0.98\n",
     5,
     {.unit = "g"},
     QUELL_E_DATA,
     0,
     0,
     "found 1e+300 g in 'ax', want accelerations below 1e7 m/s2"},
    {"time runs backwards",
     "t,ax,ay,az\n",
     "0.01,0.1,0.2,0.98\n",
     15,
     {0},
     QUELL_E_DATA,
     17,
     0,
     "time runs backwards: found 0.01 after 0.14, want stamps that rise"},
    {"time jumps",
     "t,ax,ay,az\n",
     "1e9,0.1,0.2,0.98\n",
     15,
     {0},
     QUELL_E_DATA,
     17,
     0,
     "time jumps: found 1000000000 after 0.14, want gaps below 1e9 samples"},
    {"an impossible time",
     "t,ax,ay,az\n",
     "1e30,0.1,0.2,0.98\n",
     15,
     {0},
     QUELL_E_DATA,
     17,
     0,
     "found the time 1e+30, want one below 1e19"},
    {"unknown unit",
     "t,ax,ay,az\n",
     "",
     0,
     {.unit = "furlong"},
     QUELL_E_USAGE,
     0,
     0,
     "--unit: found 'furlong', want g, mg, m/s2, mm/s2 or counts:0.004g"},
    {"counts without a value",
     "t,ax,ay,az\n",
     "",
     0,
     {.unit = "counts"},
     QUELL_E_USAGE,
     0,
     0,
     "--unit: found 'counts', want g, mg, m/s2, mm/s2 or counts:0.004g"},
    {"counts of nothing",
     "t,ax,ay,az\n",
     "",
     0,
     {.unit = "counts:0g"},
     QUELL_E_USAGE,
     0,
     0,
     "--unit: found 'counts:0g', want g, mg, m/s2, mm/s2 or counts:0.004g"},
    {"counts in the heads",
     "t_s,ax_raw,ay_raw,az_raw\n",
     "",
     0,
     {0},
     QUELL_E_DATA,
     0,
     0,
     "'ax_raw' is in counts, want --unit counts:VALUE such as counts:0.004g"},
    {"unknown time unit",
     "t,ax,ay,az\n",
     "",
     0,
     {.time_unit = "h"},
     QUELL_E_USAGE,
     0,
     0,
     "--time-unit: found 'h', want s, ms, us or ns"},
    {"columns: letter",
     "t,ax,ay,az\n",
     "",
     0,
     {.columns = "t=1,q=2"},
     QUELL_E_USAGE,
     0,
     0,
     "--columns: found 'q=2', want t=, x=, y= or z= and a column's number or head"},
    {"columns: number",
     "t,ax,ay,az\n",
     "",
     0,
     {.columns = "t=1,x=9"},
     QUELL_E_USAGE,
     0,
     0,
     "--columns: found 'x=9', want a column from 1 to 4 or one of the heads"},
    {"columns: half a number",
     "",
     "",
     0,
     {.columns = "t=1,x=1.5"},
     QUELL_E_USAGE,
     0,
     0,
     "--columns: found 'x=1.5', want a column from 1 to 4 (the file has no heads)"},
    {"columns: twice",
     "t,ax,ay,az\n",
     "",
     0,
     {.columns = "t=1,x=1"},
     QUELL_E_USAGE,
     0,
     0,
     "--columns: found 'x=1', want each letter and each column once"},
    {"columns: time alone",
     "t,ax,ay,az\n",
     "",
     0,
     {.columns = "t=1"},
     QUELL_E_USAGE,
     0,
     0,
     "--columns: found 't=1', want one of x=, y= and z= at least"},
    {"columns: nothing",
     "t,ax,ay,az\n",
     "",
     0,
     {.columns = ""},
     QUELL_E_USAGE,
     0,
     0,
     "--columns: found '', want t=, x=, y= or z= and a column's number or head"},
    {"rate: words",
     "t,ax,ay,az\n",
     "",
     0,
     {.rate = "fast"},
     QUELL_E_USAGE,
     0,
     0,
     "--rate: found 'fast', want a rate above 0 Hz such as 2000 or 2000:0.5%"},
    {"rate: zero",
     "t,ax,ay,az\n",
     "",
     0,
     {.rate = "0"},
     QUELL_E_USAGE,
     0,
     0,
     "--rate: found '0', want a rate above 0 Hz such as 2000 or 2000:0.5%"},
    {"rate: tolerance",
     "t,ax,ay,az\n",
     "",
     0,
     {.rate = "2000:x"},
     QUELL_E_USAGE,
     0,
     0,
     "--rate: found '2000:x', want a rate above 0 Hz such as 2000 or 2000:0.5%"},
    {"rate: all of it",
     "t,ax,ay,az\n",
     "",
     0,
     {.rate = "2000:100%"},
     QUELL_E_USAGE,
     0,
     0,
     "--rate: found '2000:100%', want a rate above 0 Hz such as 2000 or 2000:0.5%"},
    {"span: no colon",
     "t,ax,ay,az\n",
     "",
     0,
     {.span = "3"},
     QUELL_E_USAGE,
     0,
     0,
     "--span: found '3', want seconds from the start such as 3:40, the first below the second"},
    {"span: backwards",
     "t,ax,ay,az\n",
     "",
     0,
     {.span = "3:1"},
     QUELL_E_USAGE,
     0,
     0,
     "--span: found '3:1', want seconds from the start such as 3:40, the first below the second"},
    {"span: outside",
     "t,ax,ay,az\n",
     "",
     0,
     {.span = "5:6", .time_unit = "s"},
     QUELL_E_DATA,
     0,
     0,
     "--span 5:6 holds 0 samples of a recording of 0.190 s, want 16 at least"},
    {"mount: one axis",
     "t,ax,ay,az\n",
     "",
     0,
     {.mount = "up=+z,right=-z"},
     QUELL_E_USAGE,
     0,
     0,
     "--mount: found 'up=+z,right=-z', want up= and right= with two different axes of the sensor, such as "
     "up=+z,right=-y"},
    {"mount: words",
     "t,ax,ay,az\n",
     "",
     0,
     {.mount = "upright"},
     QUELL_E_USAGE,
     0,
     0,
     "--mount: found 'upright', want up= and right= with two different axes of the sensor, such as "
     "up=+z,right=-y"},
    {"a spectrum",
     "f_hz,re,im,z\n",
     "",
     0,
     {0},
     QUELL_E_DATA,
     0,
     0,
     "column 1 is headed 'f_hz': this is a spectrum, want a recording over time"},
    {"no acceleration",
     "t,force (N),gyro (dps),temperature\n",
     "",
     0,
     {0},
     QUELL_E_DATA,
     0,
     0,
     "found no column of acceleration among 4, want heads such as ax, or --columns x=2,y=3,z=4"},
};

START_TEST(refused_with_place_and_reason)
{
    test_text text = {0};
    rows_with(&text, refusals[_i].head, refusals[_i].odd_after, refusals[_i].odd);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording = {.samples = 4711};
    quell_error err = {0};
    quell_read_options options = refusals[_i].options;
    ck_assert_msg(test_read(&recording, &text, &options, arena, &err) == refusals[_i].status, "%s: %s",
                  refusals[_i].name, err.text);
    ck_assert_str_eq(err.text, refusals[_i].text);
    ck_assert_uint_eq(err.line, refusals[_i].line);
    ck_assert_uint_eq(err.column, refusals[_i].column);
    ck_assert_str_eq(err.file, refusals[_i].status == QUELL_E_USAGE ? "" : "log.csv");
    ck_assert_uint_eq(recording.samples, 4711); /* untouched */
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* Whole files that are no recordings. */
#define BYTES(text) text, sizeof(text) - 1
static const struct {
    const char *name, *bytes;
    size_t length;
    quell_status status;
    const char *text;
} files[] = {
    {"empty", BYTES(""), QUELL_E_DATA, "the file is empty, want rows of numbers"},
    {"blank lines", BYTES("\n\n \n\t\n"), QUELL_E_DATA,
     "found 4 lines and no row of numbers, want rows of time and acceleration"},
    {"header only", BYTES("t,ax,ay,az\n"), QUELL_E_DATA,
     "found 1 line and no row of numbers, want rows of time and acceleration"},
    {"prose", BYTES("It was a dark and stormy night;\nthe rain fell in torrents.\n"), QUELL_E_DATA,
     "found 2 lines and no row of numbers, want rows of time and acceleration"},
    {"one column", BYTES("1\n2.5\n3\n1\n"), QUELL_E_DATA,
     "found one column of numbers, no time and no rate, want a column of time or --rate HZ"},
    {"no time", BYTES("0.1,0.2,0.9\n0.2,0.1,0.9\n0.1,0.3,0.9\n"), QUELL_E_DATA,
     "found no column of time and no rate, want a column that rises, or --rate HZ"},
    {"a counter", BYTES("1,0.2,0.9\n2,0.1,0.9\n3,0.3,0.9\n4,0.3,0.9\n"), QUELL_E_DATA,
     "column 1 counts rows; found no time and no rate, want --rate HZ, or --columns t=1,x=... and "
     "--time-unit if it "
     "is time"},
    {"a row a second",
     BYTES("2020-01-02T03:04:05,0.1,0.9\n2020-01-02T03:04:06,0.3,0.9\n2020-01-02T03:04:07,0.2,0.9\n"),
     QUELL_E_DATA,
     "one row every 1 s: this seems to be a summary, want acceleration 20 times a second or more"},
    {"time alone", BYTES("0.1\n0.2\n0.35\n0.4\n"), QUELL_E_DATA,
     "found one column, which is time, want accelerations beside it"},
    {"too few", BYTES("t_s,ax_g\n0.01,1\n0.02,1.1\n0.03,1\n"), QUELL_E_DATA,
     "found 3 samples, want 16 at least"},
    {"still time", BYTES("t,ax\n5,1\n5,2\n5,1\n5,2\n"), QUELL_E_DATA,
     "time in column 1 does not rise, want stamps that do, or --rate HZ"},
    {"sound", BYTES("RIFF\x24\0\0\0WAVE"), QUELL_E_DATA,
     "the sound file has no data chunk, want samples"},
    {"spreadsheet", BYTES("PK\3\4\x14\0\6\0"), QUELL_E_DATA,
     "found a ZIP archive or spreadsheet, want delimited text, plain or gzip, a universal file or a sound "
     "file"},
    {"UTF-16 of a header alone", BYTES("\xff\xfet\0,\0a\0\n\0"), QUELL_E_DATA,
     "found 1 line and no row of numbers, want rows of time and acceleration"},
    {"universal file", BYTES("    -1\n    58\nx\n"), QUELL_E_DATA,
     "the dataset 58 that begins here has 1 of the 11 lines of its head"},
    {"binary", BYTES("\x01\x02\x03\0\x05\x06\n\n"), QUELL_E_DATA,
     "found binary data (a NUL byte after 3 bytes), want delimited text, plain or gzip, a universal file or a "
     "sound file"},
    {"gzip head alone", BYTES("\x1f\x8b\x08\0\0\0\0\0\0\3"), QUELL_E_DATA,
     "the gzip data are cut short before anything came out"},
    {"damaged gzip", BYTES("\x1f\x8b\x08\0\0\0\0\0\0\3\xff\xff\xff\xff"), QUELL_E_DATA,
     "the gzip data are damaged: invalid block type"},
};

START_TEST(no_recording_at_all)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    quell_status status = test_read_bytes(&recording, files[_i].bytes, files[_i].length, NULL, arena, &err);
    ck_assert_msg(status == files[_i].status, "%s: %s", files[_i].name, err.text);
    ck_assert_str_eq(err.text, files[_i].text);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(nul_bytes_among_rows_are_named)
{
    test_text text = {0};
    test_text_tone(&text, "t,ax,ay,az\n", 100, 100);
    memset(strstr(text.bytes, "0.5000000,") + 10, '\0', 6);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text, "found a NUL byte in a row, want text: the file is damaged here");
    ck_assert_uint_eq(err.line, 52);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(a_column_without_numbers_is_named)
{
    test_text text = {0};
    test_text_add(&text, "t_s,ax_g,ay_g\n");
    for (size_t i = 0; i < 40; i++)
        test_text_add(&text, "%.2f,%s,0.%zu\n", (double)i / 100, i < 3 ? "1.0" : "NaN", i % 7);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text, "column 2 (ax_g) has a number in 3 of 40 rows only, want 16");
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(a_column_that_is_empty_is_left_out)
{
    test_text text = {0};
    test_text_add(&text, "t_s,ax_g,ay_g,az_g\n");
    for (size_t i = 0; i < 40; i++)
        test_text_add(&text, "%.2f,0.%zu,0.%zu,\n", (double)i / 100, i % 7, i % 5);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(recording.axes, 2);
    ck_assert_str_eq(test_finding(&recording.findings, "columns")->text,
                     "column 4 (az_g) has no numbers in its first rows and was left out");
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* ---------------------------------------------------------------- sources that misbehave */

/* Rows without end, or one line without end, made on the fly; fails after `fail_after` bytes. */
typedef struct endless {
    uint64_t given, end, fail_after;
    bool one_line;
} endless;

static quell_status read_endless(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    static const char row[] = "0.1,0.2,0.98\n";
    endless *e = context;
    char *out = into;
    if (e->given >= e->fail_after)
        return quell_fail(err, QUELL_E_IO, "the cable was pulled");
    for (*got = 0; *got < size && e->given < e->end; ++*got)
        out[*got] = e->one_line && e->given > 200 ? '7' : row[e->given % 13], e->given++;
    return QUELL_OK;
}

START_TEST(a_line_of_2_gib_is_refused_and_not_held)
{
    endless state = {.end = (uint64_t)2 << 30, .fail_after = UINT64_MAX, .one_line = true};
    quell_source source = {"pipe", read_endless, &state};
    quell_arena *arena = quell_arena_create((size_t)1 << 24);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(
        quell_recording_read(&recording, &source, &(quell_read_options){.rate = "100"}, arena, &err),
        QUELL_E_DATA);
    ck_assert_str_eq(err.text, "found a line of more than 1048576 bytes, want lines of numbers");
    ck_assert_uint_eq(err.line, 16);
    ck_assert_uint_lt(state.given, 4u << 20); /* given up on after little more than the longest line */
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(a_first_line_of_2_gib_is_refused_too)
{
    endless state = {.given = 201, .end = (uint64_t)2 << 30, .fail_after = UINT64_MAX, .one_line = true};
    quell_source source = {"pipe", read_endless, &state};
    quell_arena *arena = quell_arena_create((size_t)1 << 24);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(quell_recording_read(&recording, &source, &(quell_read_options){0}, arena, &err),
                     QUELL_E_DATA);
    ck_assert_str_eq(err.text, "found a line of more than 1048576 bytes, want lines of numbers");
    ck_assert_uint_eq(err.line, 1);
    ck_assert_uint_lt(state.given, 4u << 20);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(a_read_error_in_the_middle_is_passed_on)
{
    endless state = {.end = UINT64_MAX, .fail_after = 3u << 20};
    quell_source source = {"usb", read_endless, &state};
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(
        quell_recording_read(&recording, &source, &(quell_read_options){.rate = "100"}, arena, &err),
        QUELL_E_IO);
    ck_assert_str_eq(err.text, "the cable was pulled");
    ck_assert_str_eq(err.file, "usb");
    quell_arena_destroy(arena);
}
END_TEST

/* ---------------------------------------------------------------- poor but usable */

START_TEST(missing_values_are_lost_samples)
{
    static const char *const missing[] = {"", "NaN", "nan", "null", "-", "N/A", " "};
    test_text text = {0};
    test_text_add(&text, "t_s,ax_g,ay_g,az_g\n");
    for (size_t i = 0; i < 500; i++)
        test_text_add(&text, "%.3f,%s,0.2,1.0\n", (double)i / 1000,
                      i % 60 == 30 ? missing[i / 60 % 7] : "0.1");
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(recording.lost_samples, 8);
    ck_assert_uint_eq(recording.filled_samples, 8);
    ck_assert_uint_eq(recording.samples, 500);
    ck_assert_uint_eq(recording.break_count, 0);
    const quell_finding *finding = test_finding(&recording.findings, "missing");
    ck_assert_ptr_nonnull(finding);
    ck_assert_str_eq(finding->text,
                     "8 of 500 rows lack a value, the first on line 32; they count as lost samples");
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(without_stamps_missing_rows_keep_their_place)
{
    test_text text = {0};
    for (size_t i = 0; i < 300; i++)
        test_text_add(&text, i == 100 ? "nan nan nan\n" : "%zu 0 1.0\n", i % 2);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_read_options options = {.rate = "3200:0.5%", .unit = "g"};
    ck_assert_int_eq(test_read(&recording, &text, &options, arena, NULL), QUELL_OK);
    ck_assert(!recording.has_time);
    ck_assert_uint_eq(recording.samples, 300);
    ck_assert_uint_eq(recording.lost_samples, 1);
    ck_assert_double_eq(recording.rate_hz, 3200);
    CHECK_NEAR(recording.rate_ci95_hz[0], 3184, 1e-9);
    CHECK_NEAR(recording.rate_ci95_hz[1], 3216, 1e-9);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(a_last_line_cut_short_is_left_out)
{
    static const size_t cut_by[] = {3, 9, 17, 20};
    test_text text = {0};
    test_text_tone(&text, "t,ax,ay,az\n", 200, 100);
    text.length -= cut_by[_i]; /* of "1.9900000,....,....,....\n" */
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, NULL), QUELL_OK);
    /* cut inside its last number a line still looks whole; further in it does not */
    bool looks_whole = cut_by[_i] < 8;
    ck_assert_uint_eq(recording.samples, looks_whole ? 200 : 199);
    const quell_finding *finding = test_finding(&recording.findings, "cut-short");
    ck_assert(looks_whole == (finding == NULL));
    if (finding != NULL)
        ck_assert_str_eq(finding->text, "the last line (201) is cut short and was left out");
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(truncated_gzip_gives_what_is_there)
{
    test_text text = {0};
    test_text_tone(&text, "t,ax,ay,az\n", 4000, 100);
    size_t packed;
    unsigned char *bytes = test_gzip(text.bytes, text.length, &packed);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    ck_assert_int_eq(test_read_bytes(&recording, bytes, packed / 2, NULL, arena, NULL), QUELL_OK);
    ck_assert_uint_gt(recording.samples, 1000);
    ck_assert_uint_lt(recording.samples, 3000);
    const quell_finding *finding = test_finding(&recording.findings, "gzip");
    ck_assert_ptr_nonnull(finding);
    ck_assert_int_eq(finding->severity, QUELL_WARN);
    for (size_t i = 0; i < recording.samples; i++) /* and nothing that is not: the line cut in two is gone */
        CHECK_NEAR(recording.accel_mps2[0][i], 1.5 * sin(2 * QUELL_PI * 31 * (double)i / 100), 6e-6);
    free(bytes);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(the_span_cuts_and_tells_where_it_was)
{
    test_text text = {0};
    test_text_tone(&text, "t,ax,ay,az\n", 1000, 100);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_read_options options = {.span = "2:5"};
    ck_assert_int_eq(test_read(&recording, &text, &options, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(recording.samples, 301); /* both ends are in it */
    CHECK_NEAR(recording.offset_s, 2, 1e-6);
    CHECK_NEAR(recording.start_s, 2, 1e-6);
    CHECK_NEAR(recording.accel_mps2[0][1], 1.5 * sin(2 * QUELL_PI * 31 * 2.01), 6e-6);
    options.span = "9.5:";
    ck_assert_int_eq(test_read(&recording, &text, &options, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(recording.samples, 50);
    options.span = ":0.5 s";
    ck_assert_int_eq(test_read(&recording, &text, &options, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(recording.samples, 51);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(stamps_are_held_against_the_nominal_rate)
{
    static const struct {
        const char *nominal;
        quell_severity severity;
    } rows[] = {{"101", QUELL_NOTE}, {"97", QUELL_WARN}, {"120", QUELL_REFUSE}};
    test_text text = {0};
    test_text_tone(&text, "t,ax,ay,az\n", 1000, 100);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_read_options options = {.rate = rows[_i].nominal, .unit = "m/s2"};
    ck_assert_int_eq(test_read(&recording, &text, &options, arena, NULL), QUELL_OK);
    CHECK_NEAR(recording.rate_hz, 100, 1e-6);
    ck_assert_int_eq(test_finding(&recording.findings, "rate")->severity, rows[_i].severity);
    /* with --columns that leave time out, the rate given counts */
    options.columns = "x=2";
    ck_assert_int_eq(test_read(&recording, &text, &options, arena, NULL), QUELL_OK);
    ck_assert(!recording.has_time);
    ck_assert_uint_eq(recording.axes, 1);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(a_unit_that_makes_gravity_absurd_is_questioned)
{
    test_text text = {0};
    test_text_tone(&text, "t,ax_g,ay_g,az_g\n", 500, 100);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, NULL), QUELL_OK);
    const quell_finding *finding = test_finding(&recording.findings, "unit");
    ck_assert_ptr_nonnull(finding);
    ck_assert_int_eq(finding->severity, QUELL_WARN);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* ---------------------------------------------------------------- findings and memory */

START_TEST(findings_beyond_the_most_are_counted)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 20);
    quell_findings findings = {0};
    for (int i = 0; i < QUELL_FINDINGS_MAX + 5; i++)
        ck_assert_int_eq(quell_findings_add(&findings, arena, "gaps",
                                            i == QUELL_FINDINGS_MAX + 2 ? QUELL_REFUSE : QUELL_NOTE, 1, 2, "",
                                            "finding %d", i),
                         QUELL_OK);
    ck_assert_uint_eq(findings.count, QUELL_FINDINGS_MAX);
    ck_assert_str_eq(findings.item[QUELL_FINDINGS_MAX - 2].text, "finding 62");
    ck_assert_str_eq(findings.item[QUELL_FINDINGS_MAX - 1].text, "6 more findings are not shown");
    ck_assert_int_eq(findings.item[QUELL_FINDINGS_MAX - 1].severity, QUELL_REFUSE);
    quell_arena_destroy(arena);
    arena = quell_arena_create(4);
    findings.count = 0;
    ck_assert_int_eq(
        quell_findings_add(&findings, arena, "gaps", QUELL_NOTE, 1, 2, "", "too long for four bytes"),
        QUELL_E_MEMORY);
    ck_assert_uint_eq(findings.count, 0);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(every_allocation_may_fail)
{
    test_text text = {0};
    test_text_tone(&text, "t,ax,ay,az\n", 3000, 1000);
    size_t packed;
    unsigned char *bytes = test_gzip(text.bytes, text.length, &packed);
    quell_recording recording = {.samples = 4711};
    size_t n = 1;
    for (;; n++) {
        quell_arena *arena = quell_arena_create((size_t)1 << 26);
        ck_assert_ptr_nonnull(arena);
        quell_memory_fail_at(n);
        quell_error err = {0};
        quell_status status = test_read_bytes(&recording, bytes, packed, NULL, arena, &err);
        quell_mounting mounting;
        quell_fitness fitness;
        if (status != QUELL_OK)
            ck_assert_uint_eq(recording.samples, 4711);
        if (status == QUELL_OK)
            status = quell_mounting_find(&mounting, &recording, 'x', &(quell_read_options){0}, arena, &err);
        if (status == QUELL_OK)
            status = quell_recording_judge(&fitness, &recording, 0, arena, &err);
        quell_memory_fail_at(0);
        quell_arena_destroy(arena);
        recording.samples = 4711;
        if (status == QUELL_OK)
            break;
        ck_assert_msg(status == QUELL_E_MEMORY, "allocation %zu: %s", n, err.text);
        ck_assert_uint_lt(n, 500);
    }
    ck_assert_uint_gt(n, 15);
    free(bytes);
    test_text_free(&text);
}
END_TEST

Suite *suite_ingest_refusals(void)
{
    Suite *suite = suite_create("ingest refusals");
    TCase *cases = tcase_create("refusals");
    tcase_set_timeout(cases, 60);
    tcase_add_loop_test(cases, refused_with_place_and_reason, 0, (int)INGEST_COUNT(refusals));
    tcase_add_loop_test(cases, no_recording_at_all, 0, (int)INGEST_COUNT(files));
    tcase_add_test(cases, nul_bytes_among_rows_are_named);
    tcase_add_test(cases, a_column_without_numbers_is_named);
    tcase_add_test(cases, a_column_that_is_empty_is_left_out);
    tcase_add_test(cases, a_line_of_2_gib_is_refused_and_not_held);
    tcase_add_test(cases, a_first_line_of_2_gib_is_refused_too);
    tcase_add_test(cases, a_read_error_in_the_middle_is_passed_on);
    tcase_add_test(cases, missing_values_are_lost_samples);
    tcase_add_test(cases, without_stamps_missing_rows_keep_their_place);
    tcase_add_loop_test(cases, a_last_line_cut_short_is_left_out, 0, 4);
    tcase_add_test(cases, truncated_gzip_gives_what_is_there);
    tcase_add_test(cases, the_span_cuts_and_tells_where_it_was);
    tcase_add_loop_test(cases, stamps_are_held_against_the_nominal_rate, 0, 3);
    tcase_add_test(cases, a_unit_that_makes_gravity_absurd_is_questioned);
    tcase_add_test(cases, findings_beyond_the_most_are_counted);
    tcase_add_test(cases, every_allocation_may_fail);
    suite_add_tcase(suite, cases);
    return suite;
}
