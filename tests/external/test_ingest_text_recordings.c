/* ingest against text recordings that others made (kept outside the project): each one reads with the axes, the unit and
   the rate that a careful person finds in it, or is refused with a reason that is true of it.

   What is wanted was found by looking at the files with other tools: columns and units by their heads, the rate as
   (rows - 1) / (last stamp - first stamp) or as the file itself states it, the number of samples as rows, or as whole
   steps between the first and the last stamp plus one where samples are missing. */
#include "ingest_help.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *name;
    quell_read_options options;
    size_t axes;
    const char *unit;
    double rate_hz, tolerance; /* relative */
    size_t samples;            /* lost ones included; 0: not checked */
    const char *axis_name;     /* of the first */
    double first[3];           /* the first row as written */
    const char *finding;       /* one that must be there, and what it must say */
    const char *says;
} readable[] = {
    /* 25 Hz in stamps to the millisecond; one gap of 550.642 s (from awk over the stamps) */
    {"text/01_iso8601_zone_semicolon_no_header_gap.csv",
     {0},
     3,
     "mg",
     25,
     1e-3,
     0,
     "column 2",
     {-36, 620, -824},
     "unit",
     "taken as mg"},
    /* rows: time, rate 32 Hz, then counts; 64 counts are 1 g by the level of the first rows (median length 63.98) */
    {"text/02_epoch_and_rate_in_rows_counts.csv",
     {.unit = "counts:0.015625g"},
     3,
     "counts",
     32,
     1e-12,
     9998,
     "column 1",
     {-61, 25, 6},
     "rate",
     "the second row states 32 Hz (line 2)"},
    {"text/03_epoch_s_no_header_crlf.csv",
     {0},
     3,
     "g",
     99.67,
     1e-2,
     211,
     "column 2",
     {0.328125, 0.984375, 0.203125},
     "time-unit",
     "since 1970 in s"},
    /* 210 rows from 06.690 to 08.800 */
    {"text/04_date_time_ms_six_axes.csv",
     {.unit = "g"},
     3,
     "g",
     209 / 2.110,
     1e-2,
     0,
     "column 2",
     {0.007324, 0.071289, 0.008789},
     "columns",
     "6 columns may be accelerations; 2, 3 and 4 are taken"},
    {"text/09_hash_comments_index_no_time.csv",
     {0},
     3,
     "g",
     2000,
     1e-12,
     10000,
     "a_x",
     {0.14404296875, -0.071533203125, -0.5740966796875},
     "rate",
     "the header states 2000 Hz (line 4)"},
    /* steps of 10 and 20 ms; the 16 rows of least change (numpy) have the length 0.992 */
    {"text/11_int_ms_duplicate_times.csv",
     {0},
     3,
     "g",
     100,
     1e-3,
     10192,
     "aX",
     {0.123535156, 0.57373047, 0.8100586},
     "unit",
     "the level at rest 0.99 g"},
    {"text/22_semicolon_no_header_crlf.csv",
     {0},
     3,
     "g",
     15.625,
     1e-6,
     175,
     "column 2",
     {-0.1739130000, 0.0400000000, 1.0434780000},
     "slow",
     "show nothing above 7.81 Hz"},
    {"text/25_iso_time_value_pairs.txt",
     {.unit = "counts:1mg"},
     1,
     "counts",
     40,
     1e-6,
     635,
     "column 2",
     {185, 0, 0},
     "rate",
     "the file's stated 40 Hz"},
    /* 11 999 rows over 0.898781449026476 s */
    {"text/30_three_axis_mixed_exponents.csv",
     {.unit = "g"},
     3,
     "g",
     11998 / 0.898781449026476,
     1e-4,
     11999,
     "Axial",
     {-0.054063394109643, -1.0009453253444, -0.373662616228216},
     "time-unit",
     "s makes it"},
    /* 11 977 rows over 7.245480 s; the columns named accelerometer are two */
    {"text/31_lvm_empty_x_column.lvm",
     {.unit = "g"},
     2,
     "g",
     11976 / 7.245480,
     1e-3,
     11977,
     "accelerometer_base",
     {0.072090, -0.009357, 0},
     "stamps",
     "scatter by less"},
    {"text/34_us_time_no_header_g.csv",
     {0},
     1,
     "g",
     3999 / 9.996987,
     1e-4,
     4000,
     "column 2",
     {0, 0, 0},
     "time-unit",
     "us makes it 400 Hz"},
    {"text/35_one_column_no_time.csv",
     {.rate = "400"},
     1,
     "g",
     400,
     1e-12,
     12000,
     "column 1",
     {1.000370383262634, 0, 0},
     "unit",
     "taken as g"},
    {"modal/brb_hammer_12800Hz.csv",
     {0},
     3,
     "m/s2",
     12800,
     1e-6,
     40000,
     "acc1 (m/s^2)",
     {-0.01254, 0.0721573, 0.00800354},
     "stamps",
     "scatter by less"},
    /* README: the step is 136.7 us, printed to 1 us; the header has a line of units */
    {"modal/bridgeA_impulse_VI0.txt",
     {0},
     3,
     "g",
     1 / 136.7e-6,
     1e-3,
     44977,
     "Acceleration_0 (g)",
     {-0.009097, -0.006744, -9.155717e-5},
     "rate",
     "the stamps give 7314"},
    /* README: the header's time step (51 200 Hz) is wrong, the X column (1.25 ms) is right; force and volts are none */
    {"modal/hr4_set1_ds64.lvm",
     {0},
     1,
     "g",
     800,
     1e-6,
     15761,
     "Acceleratio (g)",
     {-0.016694, 0, 0},
     "rate",
     "the stamps give 800 Hz, -98.44 % from the file's stated 51200 Hz"},
    {"modal/steelframe_setup1_ref_xyz_256Hz.csv",
     {.unit = "m/s2", .rate = "256"},
     3,
     "m/s2",
     256,
     1e-12,
     61440,
     "ref_x",
     {0, 0, 0},
     "rate",
     "taken as exact"},
    {"modal/vt_case1_time_1280Hz.tsv",
     {.unit = "m/s2"},
     1,
     "m/s2",
     1280,
     1e-4,
     4096,
     "Accel",
     {-0.74866325, 0, 0},
     "time-unit",
     "s makes it 1280 Hz"},
};

static double size_of(const quell_read_options *options, const char *unit)
{
    double si = 0;
    if (options->unit != NULL && strncmp(options->unit, "counts:", 7) == 0)
        quell_quantity_parse(options->unit + 7, QUELL_ACCELERATION, NULL, &si, NULL);
    else
        si = quell_unit_find(QUELL_ACCELERATION, unit, strlen(unit))->si;
    return si;
}

START_TEST(reads_as_a_careful_person_would)
{
    size_t length;
    char *bytes = test_recording_load(readable[_i].name, &length);
    if (bytes == NULL)
        return;
    const char *name = readable[_i].name;
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    quell_recording recording;
    quell_error err = {0};
    quell_read_options options = readable[_i].options;
    ck_assert_msg(test_read_bytes(&recording, bytes, length, &options, arena, &err) == QUELL_OK, "%s: %s",
                  name, err.text);
    ck_assert_msg(recording.axes == readable[_i].axes, "%s: %zu axes", name, recording.axes);
    ck_assert_str_eq(recording.unit, readable[_i].unit);
    ck_assert_str_eq(recording.axis_name[0], readable[_i].axis_name);
    if (readable[_i].samples > 0)
        ck_assert_msg(recording.samples == readable[_i].samples, "%s: %zu samples", name, recording.samples);
    CHECK_NEAR(recording.rate_hz / readable[_i].rate_hz, 1, readable[_i].tolerance);
    double si = size_of(&options, readable[_i].unit);
    for (size_t k = 0; k < recording.axes; k++)
        CHECK_NEAR(recording.accel_mps2[k][0] / si, readable[_i].first[k], 1e-12 * 1e3);
    bool said = false;
    for (size_t i = 0; i < recording.findings.count; i++) {
        const quell_finding *finding = &recording.findings.item[i];
        said = said || (strcmp(finding->kind, readable[_i].finding) == 0 &&
                        strstr(finding->text, readable[_i].says) != NULL);
    }
    ck_assert_msg(said, "%s: no finding %s that says '%s'", name, readable[_i].finding, readable[_i].says);
    quell_arena_destroy(arena);
    free(bytes);
}
END_TEST

/* No recordings, or not readable without being told more: the reason must be true, and name the option. */
static const struct {
    const char *name, *reason;
} refused[] = {
    /* a header that says "sampleRate = 5 seconds" */
    {"text/05_summary_not_a_log.csv", "one row every 5 s: this seems to be a summary"},
    /* whole numbers from 0 up, a second apart, one column headed steps */
    {"text/06_ten_line_header_date_time.csv",
     "one row every 1 s: this seems to be counts of activity or steps"},
    /* 15 s apart, in columns of date and time */
    {"text/08_activity_counts_not_a_log.csv", "one row every 15 s: this seems to be"},
    /* steps of 30 and 60 ms without order, at a mean of 20 Hz */
    {"text/10_blanks_after_comma_crlf_irregular.csv", "the stamps keep no steady step"},
    {"text/23_six_values_a_line_no_time.dat", "this is one series, 6 values a line"},
    {"text/26_value_list_two_blocks.txt", "this is one series, 6 values a line"},
    {"modal/vt_case1_frf.csv", "column 1 is headed 'f_hz': this is a spectrum"},
    {"modal/hr4_FFT_data_cut.lvm", "column 2 is headed 'Acceleration (FFT - (RMS))': this is a spectrum"},
    /* what needs an option says which */
    {"text/02_epoch_and_rate_in_rows_counts.csv", "if that is gravity, it is --unit counts:0.015625g"},
    {"text/25_iso_time_value_pairs.txt",
     "the values are whole numbers, as of counts, want --unit counts:VALUE"},
    {"text/04_date_time_ms_six_axes.csv", "the unit of acceleration is not stated and the mean of 0.07084"},
    {"text/30_three_axis_mixed_exponents.csv",
     "the unit of acceleration is not stated and the mean of 0.0503"},
    {"text/31_lvm_empty_x_column.lvm", "the unit of acceleration is not stated and the mean of 0.07153"},
    {"modal/vt_case1_time_1280Hz.tsv", "the unit of acceleration is not stated and the mean of 0.2675"},
    {"text/35_one_column_no_time.csv", "found one column of numbers, no time and no rate, want"},
    {"modal/steelframe_setup1_ref_xyz_256Hz.csv",
     "found no column of time and no rate, want a column that rises, or "
     "--rate HZ"},
};

START_TEST(what_is_no_recording_is_refused)
{
    size_t length;
    char *bytes = test_recording_load(refused[_i].name, &length);
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

Suite *suite_ingest_text_recordings(void)
{
    Suite *suite = suite_create("ingest text recordings");
    TCase *cases = tcase_create("recordings");
    tcase_set_timeout(cases, 60);
    tcase_add_loop_test(cases, reads_as_a_careful_person_would, 0,
                        (int)(sizeof readable / sizeof readable[0]));
    tcase_add_loop_test(cases, what_is_no_recording_is_refused, 0, (int)(sizeof refused / sizeof refused[0]));
    suite_add_tcase(suite, cases);
    return suite;
}
