/* ingest against recordings that others made (kept outside the project): what must be read, and what must be refused.
   Rates are those in the files' names or in the README beside them. */
#include "ingest_help.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The whole file, or NULL without the folder. */
static char *load(const char *name, size_t *length)
{
    const char *folder = test_recordings_folder();
    if (folder == NULL)
        return NULL;
    char path[512];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "rb");
    ck_assert_msg(file != NULL, "%s is missing", path);
    size_t room = (size_t)4 << 20;
    char *bytes = malloc(room);
    ck_assert_ptr_nonnull(bytes);
    *length = fread(bytes, 1, room, file);
    fclose(file);
    return bytes;
}

static const struct {
    const char *name;
    quell_read_options options;
    size_t axes, samples;
    double rate_hz, tolerance; /* relative */
} readable[] = {
    {"modal/brb_hammer_12800Hz.csv", {0}, 3, 40000, 12800, 1e-6},
    {"modal/bridgeA_impulse_VI0.txt",
     {.unit = "g"},
     3,
     44977,
     1 / 136.7e-6,
     1e-3}, /* README: step 136.7 us */
    {"modal/vt_case1_time_1280Hz.tsv", {.unit = "m/s2"}, 1, 4096, 1280, 1e-4},
    {"modal/steelframe_setup1_ref_xyz_256Hz.csv", {.unit = "m/s2", .rate = "256"}, 3, 61440, 256, 1e-12},
    {"text/34_us_time_no_header_g.csv", {0}, 1, 4000, 400, 1e-3},               /* steps of 2500 us */
    {"text/11_int_ms_duplicate_times.csv", {.unit = "g"}, 3, 10192, 100, 1e-3}, /* steps of 10 and 20 ms */
    {"text/03_epoch_s_no_header_crlf.csv", {.unit = "g"}, 3, 211, 100, 1e-2},
    {"text/35_one_column_no_time.csv", {.unit = "g", .rate = "400"}, 1, 12000, 400, 1e-12},
    {"text/09_hash_comments_index_no_time.csv", {.unit = "g", .rate = "2000"}, 3, 10000, 2000, 1e-12},
};

START_TEST(others_recordings_are_read)
{
    size_t length;
    char *bytes = load(readable[_i].name, &length);
    if (bytes == NULL)
        return;
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    quell_recording recording;
    quell_error err = {0};
    quell_read_options options = readable[_i].options;
    ck_assert_msg(test_read_bytes(&recording, bytes, length, &options, arena, &err) == QUELL_OK, "%s: %s",
                  readable[_i].name, err.text);
    ck_assert_uint_eq(recording.axes, readable[_i].axes);
    ck_assert_uint_eq(recording.samples, readable[_i].samples);
    CHECK_NEAR(recording.rate_hz / readable[_i].rate_hz, 1, readable[_i].tolerance);
    quell_arena_destroy(arena);
    free(bytes);
}
END_TEST

/* No recordings, or not readable without being told more: the reason must be true. */
static const struct {
    const char *name, *reason;
} refused[] = {
    {"text/05_summary_not_a_log.csv", "no column of time and no rate"},
    {"text/08_activity_counts_not_a_log.csv", "no row of numbers"},
    {"text/23_six_values_a_line_no_time.dat", "no column of time and no rate"},
    {"text/30_three_axis_mixed_exponents.csv", "the unit of acceleration is not stated"},
    {"modal/vt_case1_frf.csv", "this is a spectrum"},
    {"modal/hr4_FFT_data_cut.lvm", "this is a spectrum"},
};

START_TEST(what_is_no_recording_is_refused)
{
    size_t length;
    char *bytes = load(refused[_i].name, &length);
    if (bytes == NULL)
        return;
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(test_read_bytes(&recording, bytes, length, NULL, arena, &err), QUELL_E_DATA);
    ck_assert_msg(strstr(err.text, refused[_i].reason) != NULL, "%s: %s", refused[_i].name, err.text);
    quell_arena_destroy(arena);
    free(bytes);
}
END_TEST

Suite *suite_ingest_recordings(void)
{
    Suite *suite = suite_create("ingest recordings");
    TCase *cases = tcase_create("recordings");
    tcase_add_loop_test(cases, others_recordings_are_read, 0, (int)(sizeof readable / sizeof readable[0]));
    tcase_add_loop_test(cases, what_is_no_recording_is_refused, 0, (int)(sizeof refused / sizeof refused[0]));
    suite_add_tcase(suite, cases);
    return suite;
}
