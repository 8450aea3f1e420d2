/* ingest: universal files that others made (kept outside the project). What is in them: the README beside them, and
   where it gives no sum, numpy 1.24 on the columns and bytes of the files (seen). */
#include "ingest_help.h"

#include "ingest/uff58_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *load(const char *name, size_t *length)
{
    char path[256];
    snprintf(path, sizeof path, "uff/%s", name);
    return test_recording_load(path, length);
}

/* ---------------------------------------------------------------- every value of every dataset 58 */

typedef struct totals {
    double sum, largest;
    size_t points;
    uff58_point first, last;
} totals;

static quell_status add(void *context, const uff58_point *point, quell_error *err)
{
    (void)err;
    totals *out = context;
    out->sum += point->abscissa + point->real + point->imaginary;
    if (out->points++ == 0)
        out->first = *point;
    out->last = *point;
    return QUELL_OK;
}

/* All datasets 58 of a file; the head is that of the last. */
static size_t read_all(const char *bytes, size_t length, totals *out, uff58_head *head)
{
    quell_memory_source state = {bytes, length, 0};
    quell_source source = quell_source_memory(&state, "file.uff");
    ingest_bytes *plain = malloc(sizeof *plain);
    ingest_lines lines;
    uff58_file file;
    quell_error err = {0};
    ck_assert_ptr_nonnull(plain);
    ck_assert_int_eq(ingest_bytes_open(plain, &source, &err), QUELL_OK);
    ck_assert_int_eq(ingest_lines_open(&lines, plain, &err), QUELL_OK);
    uff58_open(&file, &lines);
    *out = (totals){0};
    for (;;) {
        uff58_head next;
        bool found;
        ck_assert_msg(uff58_next(&file, &next, &found, &err) == QUELL_OK, "%zu: %s", err.line, err.text);
        if (!found)
            break;
        uff58_held held;
        ck_assert_msg(uff58_values(&file, &next, add, out, &held, &err) == QUELL_OK, "%zu: %s", err.line,
                      err.text);
        ck_assert(held.ended && held.points == next.points);
        *head = next;
    }
    ck_assert_uint_eq(file.stray_lines, 0);
    ingest_lines_close(&lines);
    ingest_bytes_close(plain);
    free(plain);
    return file.count;
}

/* Sums of README: all stored values, abscissas included. */
static const struct {
    const char *name;
    size_t sets, points;
    long function, kind;
    bool even, binary;
    double sum, tolerance;
} files[] = {
    {"dataset58_case1_ascii.unv", 1, 1602, 4, 2, true, false, 0.008091705, 1e-9},
    {"dataset58_case1_binary.unv", 1, 1602, 4, 2, true, true, 0.008091705, 1e-9},
    {"dataset58_case2_ascii.unv", 1, 1602, 4, 2, false, false, 344681.45, 0.01},
    {"dataset58_case2_binary.unv", 1, 1602, 4, 2, false, true, 344681.45, 0.01},
    {"dataset58_case3_ascii.unv", 1, 801, 4, 5, true, false, 0.008091705, 1e-9},
    {"dataset58_case3_binary.unv", 1, 801, 4, 5, true, true, 0.008091705, 1e-9},
    {"dataset58_case4_ascii.unv", 1, 801, 4, 5, false, false, 172486.10, 0.01},
    {"dataset58_case4_binary.unv", 1, 801, 4, 5, false, true, 172486.10, 0.01},
    {"dataset58_case5_ascii.unv", 1, 1602, 4, 4, true, false, 0.008091705, 1e-9},
    {"dataset58_case5_binary.unv", 1, 1602, 4, 4, true, true, 0.008091705, 1e-9},
    {"dataset58_case6_ascii.unv", 1, 1602, 4, 4, false, false, 344681.45, 0.01},
    {"dataset58_case6_binary.unv", 1, 1602, 4, 4, false, true, 344681.45, 0.01},
    {"dataset58_case7_ascii.unv", 1, 801, 4, 6, true, false, 0.008091705, 1e-9},
    {"dataset58_case7_binary.unv", 1, 801, 4, 6, true, true, 0.008091705, 1e-9},
    {"dataset58_case8_ascii.unv", 1, 801, 4, 6, false, false, 172486.10, 0.01},
    {"dataset58_case8_binary.unv", 1, 801, 4, 6, false, true, 172486.10, 0.01},
    {"Sample_UFF58_ascii.uff", 1, 79292, 1, 2, true, false, 5.71504, 1e-6},
    {"Sample_UFF58b_bin.uff", 1, 79292, 1, 2, true, true, 5.71504, 1e-6},
    {"binary8byte.uff", 1, 250, 1, 4, true, true, 6.31374842528, 1e-9},                     /* numpy */
    {"sample_dataset58_psd.uff", 1, 3201, 9, 5, false, false, 5121600.31307, 1e-4},         /* numpy */
    {"time-history-not-all-columns-filled.uff", 1, 13, 1, 2, true, false, -47.70823, 1e-9}, /* numpy */
    {"non_ascii_header.uff", 1, 6, 4, 5, true, false, 6.771050515, 1e-9},                   /* numpy */
    {"dataset58_nospacing.uff", 1, 66, 1, 2, true, false, -0.0338315907, 1e-12},            /* numpy */
    {"dataset58_time.unv", 1, 4096, 1, 2, true, false, -505.851201839, 1e-6},               /* numpy */
    {"dataset58_FRF.unv", 1, 1600, 4, 5, true, false, -990.344935766, 1e-6},                /* numpy */
    {"dataset58_FRF_UTF.unv", 1, 1600, 4, 5, true, false, -990.344935766, 1e-6},            /* numpy */
    {"dataset58_coh.unv", 1, 1600, 6, 2, true, false, 1582.671026, 1e-6},                   /* numpy */
    {"dataset58_spectrum.unv", 1, 6400, 12, 2, true, false, 1.0319388345e-05, 1e-14},       /* numpy */
    {"dataset58_ufb.ufb", 2, 1602, 4, 5, true, true, 0.01386137023478,
     1e-9}, /* numpy: 0.00809170505042 + 0.00576966518436 */
    {"dataset151_164_58_55.unv", 1, 10, 4, 5, true, false, 0.000131113399, 1e-12}, /* numpy */
    {"dataset151.unv", 0, 0, 0, 0, false, false, 0, 0},
    {"dataset151_and_164.unv", 0, 0, 0, 0, false, false, 0, 0},
    {"dataset151_bad_format.unv", 0, 0, 0, 0, false, false, 0, 0},
    {"dataset1858.unv", 0, 0, 0, 0, false, false, 0, 0},
    {"heat_engine_housing.uff", 0, 0, 0, 0, false, false, 0, 0},
};

START_TEST(all_stored_values_are_read)
{
    size_t length;
    char *bytes = load(files[_i].name, &length);
    if (bytes == NULL)
        return;
    totals found;
    uff58_head head = {0};
    ck_assert_uint_eq(read_all(bytes, length, &found, &head), files[_i].sets);
    ck_assert_uint_eq(found.points, files[_i].points);
    ck_assert_int_eq(head.function, files[_i].function);
    ck_assert_int_eq(head.kind, files[_i].kind);
    ck_assert(head.even == files[_i].even && head.binary == files[_i].binary);
    CHECK_NEAR(found.sum, files[_i].sum, files[_i].tolerance + 1e-300);
    free(bytes);
}
END_TEST

/* Single values of the README, and labels. */
START_TEST(single_values_are_those_of_the_readme)
{
    size_t length;
    totals found;
    uff58_head head;
    char *bytes = load("dataset58_nospacing.uff", &length);
    if (bytes == NULL)
        return;
    read_all(bytes, length, &found, &head);
    ck_assert_double_eq(found.first.real, -3.09944e-4);
    ck_assert_double_eq(found.last.real, -5.48363e-4); /* README */
    ck_assert_str_eq(head.ordinate.unit, "(V^2)");
    free(bytes);
    bytes = load("non_ascii_header.uff", &length);
    read_all(bytes, length, &found, &head);
    ck_assert_str_eq(head.ordinate.unit, "(1/N)*(m/s\xc2\xb2)"); /* Latin-1 in the file */
    free(bytes);
    bytes = load("time-history-not-all-columns-filled.uff", &length);
    read_all(bytes, length, &found, &head);
    ck_assert_str_eq(head.ordinate.unit, "m/s\xc2\xb2"); /* UTF-8 in the file */
    ck_assert_double_eq(found.last.real, -5.84096);      /* alone on its line */
    free(bytes);
}
END_TEST

/* ---------------------------------------------------------------- what a user gets */

static const struct {
    const char *name;
    quell_read_options options;
    size_t axes, samples;
    const char *unit, *axis_name;
    double rate_hz, scale; /* m/s2 in the file's unit */
    double sum;            /* of the first axis, in the file's unit */
} readable[] = {
    {"binary8byte.uff", {0}, 1, 250, "g", "acc (g), node 1", 100, 9.80665, 6.31374842528},
    {"dataset58_nospacing.uff",
     {.unit = "counts:2m/s2"},
     1,
     66,
     "counts",
     "dataset 1, node 1",
     1 / 4.99942e-4,
     2,
     -0.0338315907},
    {"dataset58_time.unv",
     {.unit = "m/s2", .columns = "x=1"},
     1,
     4096,
     "m/s2",
     "Force",
     1 / 4.88281e-4,
     1,
     -505.851201839},
};

START_TEST(time_records_are_read)
{
    size_t length;
    char *bytes = load(readable[_i].name, &length);
    if (bytes == NULL)
        return;
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    quell_read_options options = readable[_i].options;
    ck_assert_msg(test_read_bytes(&recording, bytes, length, &options, arena, &err) == QUELL_OK, "%s: %s",
                  readable[_i].name, err.text);
    ck_assert_uint_eq(recording.axes, readable[_i].axes);
    ck_assert_uint_eq(recording.samples, readable[_i].samples);
    ck_assert_str_eq(recording.unit, readable[_i].unit);
    ck_assert_str_eq(recording.axis_name[0], readable[_i].axis_name);
    CHECK_NEAR(recording.rate_hz / readable[_i].rate_hz, 1, 1e-12);
    double sum = 0;
    for (size_t i = 0; i < recording.samples; i++)
        sum += recording.accel_mps2[0][i];
    CHECK_NEAR(sum / readable[_i].scale, readable[_i].sum, 1e-9 * fabs(readable[_i].sum) + 1e-12);
    quell_arena_destroy(arena);
    free(bytes);
}
END_TEST

/* README: a sine of 5 Hz at steps of 0.01 s, 0, 0.309017, 0.587785, ... in g. */
START_TEST(the_sine_is_a_sine)
{
    size_t length;
    char *bytes = load("binary8byte.uff", &length);
    if (bytes == NULL)
        return;
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    ck_assert_int_eq(test_read_bytes(&recording, bytes, length, NULL, arena, NULL), QUELL_OK);
    const double first[] = {0, 0.309017, 0.587785};
    for (size_t i = 0; i < 3; i++)
        CHECK_NEAR(recording.accel_mps2[0][i] / 9.80665, first[i], 5.1e-7);
    for (size_t i = 0; i < recording.samples; i++) /* its writer counted time in single precision */
        CHECK_NEAR(recording.accel_mps2[0][i] / 9.80665, sin(2 * QUELL_PI * 5 * 0.01 * (double)i), 1e-5);
    quell_arena_destroy(arena);
    free(bytes);
}
END_TEST

/* The reason must be true of the file. */
static const struct {
    const char *name, *reason;
    quell_status status;
    quell_read_options options;
} refused[] = {
    {"Sample_UFF58_ascii.uff",
     "none of acceleration: dataset 1: 'Pressure' in Pa (sound pressure)",
     QUELL_E_DATA,
     {0}},
    {"Sample_UFF58b_bin.uff",
     "none of acceleration: dataset 1: 'Pressure' in Pa (sound pressure)",
     QUELL_E_DATA,
     {0}},
    {"Sample_UFF58b_bin.uff",
     "--columns: dataset 1: 'Pressure' in Pa (sound pressure), want acceleration",
     QUELL_E_USAGE,
     {.columns = "x=1", .unit = "g"}},
    {"Sample_UFF58b_bin.uff",
     "--columns: found y=2, want a dataset from 1 to 1",
     QUELL_E_USAGE,
     {.columns = "y=2", .unit = "g"}},
    {"sample_dataset58_psd.uff",
     "no time record but 1 dataset 58 of function type 9 (power spectral density)",
     QUELL_E_DATA,
     {0}},
    {"sample_dataset58_psd.uff",
     "--columns: dataset 1 is a power spectral density (function type 9), want a time response",
     QUELL_E_USAGE,
     {.columns = "x=1"}},
    {"time-history-not-all-columns-filled.uff", "found 13 samples, want 16 at least", QUELL_E_DATA, {0}},
    {"non_ascii_header.uff",
     "1 dataset 58 of function type 4 (frequency response function)",
     QUELL_E_DATA,
     {0}},
    {"dataset58_nospacing.uff",
     "none that says it is of acceleration: dataset 1: in (V^2) (unknown data)",
     QUELL_E_DATA,
     {0}},
    {"dataset58_time.unv", "none of acceleration: dataset 1: 'Force' in N (unknown data)", QUELL_E_DATA, {0}},
    {"dataset58_FRF.unv", "1 dataset 58 of function type 4 (frequency response function)", QUELL_E_DATA, {0}},
    {"dataset58_FRF_UTF.unv",
     "1 dataset 58 of function type 4 (frequency response function)",
     QUELL_E_DATA,
     {0}},
    {"dataset58_coh.unv", "1 dataset 58 of function type 6 (coherence)", QUELL_E_DATA, {0}},
    {"dataset58_spectrum.unv", "1 dataset 58 of function type 12 (spectrum)", QUELL_E_DATA, {0}},
    {"dataset58_ufb.ufb",
     "2 datasets 58 of function type 4 (frequency response function)",
     QUELL_E_DATA,
     {0}},
    {"dataset58_case1_ascii.unv", "1 dataset 58 of function type 4", QUELL_E_DATA, {0}},
    {"dataset58_case8_binary.unv", "1 dataset 58 of function type 4", QUELL_E_DATA, {0}},
    {"dataset151.unv", "with dataset 151 and no dataset 58", QUELL_E_DATA, {0}},
    {"dataset151_and_164.unv", "with datasets 151, 164 and no dataset 58", QUELL_E_DATA, {0}},
    {"dataset151_bad_format.unv", "with dataset 151 and no dataset 58", QUELL_E_DATA, {0}},
    {"dataset151_164_58_55.unv", "1 dataset 58 of function type 4", QUELL_E_DATA, {0}},
    {"dataset1858.unv", "with dataset 1858 and no dataset 58", QUELL_E_DATA, {0}},
    {"heat_engine_housing.uff",
     "with datasets 151, 164, 2411, 2412, 2414 and no dataset 58",
     QUELL_E_DATA,
     {0}},
};

START_TEST(what_is_no_recording_is_refused_for_what_it_is)
{
    size_t length;
    char *bytes = load(refused[_i].name, &length);
    if (bytes == NULL)
        return;
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(test_read_bytes(&recording, bytes, length, &refused[_i].options, arena, &err),
                     refused[_i].status);
    ck_assert_msg(strstr(err.text, refused[_i].reason) != NULL, "%s: %s", refused[_i].name, err.text);
    quell_arena_destroy(arena);
    free(bytes);
}
END_TEST

Suite *suite_ingest_uff_recordings(void)
{
    Suite *suite = suite_create("ingest uff recordings");
    TCase *cases = tcase_create("recordings");
    tcase_set_timeout(cases, 60);
    tcase_add_loop_test(cases, all_stored_values_are_read, 0, (int)(sizeof files / sizeof files[0]));
    tcase_add_test(cases, single_values_are_those_of_the_readme);
    tcase_add_loop_test(cases, time_records_are_read, 0, (int)(sizeof readable / sizeof readable[0]));
    tcase_add_test(cases, the_sine_is_a_sine);
    tcase_add_loop_test(cases, what_is_no_recording_is_refused_for_what_it_is, 0,
                        (int)(sizeof refused / sizeof refused[0]));
    suite_add_tcase(suite, cases);
    return suite;
}
