/* ingest: dates and times in words. Day numbers and seconds are those of Python's datetime. */
#include "ingest_help.h"

#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

static const struct {
    const char *text;
    bool has_date, has_clock;
    ingest_order order;
    long day;
    double second, period_s;
} stamps[] = {
    /* ISO 8601, with and without zone, in both forms */
    {"2019-10-16T12:09:01.702+02:00", true, true, INGEST_ORDER_KNOWN, 18185, 36541.702, 86400},
    {"2019-10-16T12:09:01.702", true, true, INGEST_ORDER_KNOWN, 18185, 43741.702, 86400},
    {"2019-10-16t12:09:01,702Z", true, true, INGEST_ORDER_KNOWN, 18185, 43741.702, 86400},
    {"20191016T120901.702-0330", true, true, INGEST_ORDER_KNOWN, 18185, 56341.702, 86400},
    {"2019-10-16T12:09", true, true, INGEST_ORDER_KNOWN, 18185, 43740, 86400},
    {"2019-10-16 12:09:01 +0000", true, true, INGEST_ORDER_KNOWN, 18185, 43741, 86400},
    {"2019/10/16 12:09:01.5 UTC", true, true, INGEST_ORDER_KNOWN, 18185, 43741.5, 86400},
    {"2019-10-16_12:09:01-08", true, true, INGEST_ORDER_KNOWN, 18185, 72541, 86400},
    {"2000-02-29", true, false, INGEST_ORDER_KNOWN, 11016, 0, 0},
    {"1969-12-31T23:59:60", true, true, INGEST_ORDER_KNOWN, -1, 86400, 86400},
    {"2024-12-31T24:00:00", true, true, INGEST_ORDER_KNOWN, 20088, 86400, 86400},
    /* year last: told by the separator, by a number over 12, by the name of the month, or not at all */
    {"16.10.2019 12:09:01,702", true, true, INGEST_DAY_FIRST, 18185, 43741.702, 86400},
    {"16/10/2019 12:09:01", true, true, INGEST_DAY_FIRST, 18185, 43741, 86400},
    {"10/16/2019 12:09:01 PM", true, true, INGEST_MONTH_FIRST, 18185, 43741, 86400},
    {"10/16/19 12:09:01 am", true, true, INGEST_MONTH_FIRST, 18185, 541, 86400},
    {"16-Oct-2019 12:09:01.702", true, true, INGEST_ORDER_KNOWN, 18185, 43741.702, 86400},
    {"16 Oktober 2019 01:02:03", true, true, INGEST_ORDER_KNOWN, 18185, 3723, 86400},
    {"01/03/2100", true, false, INGEST_ORDER_OPEN, 47541, 0, 0},
    /* times of day alone, and durations */
    {"23:59:59.999", false, true, INGEST_ORDER_KNOWN, 0, 86399.999, 86400},
    {"1:02:03 pm", false, true, INGEST_ORDER_KNOWN, 0, 46923, 86400},
    {"12:09:01:702", false, true, INGEST_ORDER_KNOWN, 0, 43741.702, 86400},
    {"09:01.702", false, true, INGEST_ORDER_KNOWN, 0, 541.702, 3600},
    {"36:00:01", false, true, INGEST_ORDER_KNOWN, 0, 129601, 0},
};

START_TEST(a_stamp_is_read)
{
    ingest_stamp stamp;
    const char *text = stamps[_i].text;
    ck_assert_msg(ingest_stamp_read(&stamp, text, strlen(text), INGEST_ORDER_OPEN), "%s", text);
    ck_assert_msg(stamp.has_date == stamps[_i].has_date && stamp.has_clock == stamps[_i].has_clock, "%s",
                  text);
    ck_assert_msg(stamp.order == stamps[_i].order, "%s: order %d", text, (int)stamp.order);
    if (stamp.has_date)
        ck_assert_msg(stamp.day == stamps[_i].day, "%s: day %ld", text, stamp.day);
    if (stamp.has_clock) {
        ck_assert_msg(fabs(stamp.second - stamps[_i].second) < 1e-9, "%s: %.9f s", text, stamp.second);
        CHECK_NEAR(stamp.period_s, stamps[_i].period_s, 1e-9);
    }
    /* cut anywhere, it is another stamp or none, and nothing is read behind it (valgrind, sanitizers) */
    for (size_t length = 0; length < strlen(text); length++) {
        char *cut = quell_memory_get(length);
        memcpy(cut, text, length);
        ingest_stamp_read(&stamp, cut, length, INGEST_MONTH_FIRST);
        quell_memory_free(cut);
    }
}
END_TEST

static const char *const no_stamps[] = {"",
                                        "2019",
                                        "12",
                                        "2019-13-01",
                                        "2019-02-29",
                                        "2019-10-16T",
                                        "2019-10-16T25:00:00",
                                        "12:60:00",
                                        "12:09:61",
                                        "13:00:00 pm",
                                        "12:09:01x",
                                        "2019-10-16X12",
                                        "1.2.3.4",
                                        "10-16-2019-1",
                                        "+02:00",
                                        "12:09:01+2:00",
                                        "2019-10/16",
                                        "0/1/2019",
                                        "32.1.2019",
                                        "12:09:01 +19:00",
                                        "1e5:00:00",
                                        "--10-16",
                                        "12::01",
                                        "16-Foo-2019",
                                        "12:09:01.",
                                        "2019-10-16 a",
                                        "99999:00:00",
                                        "1999-2-30T1:00:00"};

START_TEST(what_is_no_stamp_is_left_alone)
{
    ingest_stamp stamp = {.day = 4711};
    ck_assert_msg(!ingest_stamp_read(&stamp, no_stamps[_i], strlen(no_stamps[_i]), INGEST_ORDER_OPEN), "%s",
                  no_stamps[_i]);
    ck_assert_int_eq(stamp.day, 4711); /* untouched */
}
END_TEST

/* ---------------------------------------------------------------- files */

/* How the time of a row `ms` thousandths after the start is written. */
typedef void write_time(test_text *out, unsigned ms);

static void hms(unsigned ms, unsigned from_s, unsigned part[4])
{
    unsigned second = from_s + ms / 1000;
    part[0] = second / 3600;
    part[1] = second / 60 % 60;
    part[2] = second % 60;
    part[3] = ms % 1000;
}

static void iso_over_midnight(test_text *out, unsigned ms)
{
    unsigned p[4];
    hms(ms, 86399, p);
    test_text_add(out, "%s%02u:%02u:%02u.%03uZ", p[0] < 24 ? "2020-02-28T" : "2020-02-29T", p[0] % 24, p[1],
                  p[2], p[3]);
}

/* summer time ends: the zone changes, the instant goes on */
static void iso_zone_changes(test_text *out, unsigned ms)
{
    unsigned p[4];
    hms(ms, 3 * 3600 - 1, p);
    test_text_add(out, "2020-10-25T%02u:%02u:%02u.%03u%s", p[0] < 3 ? p[0] : 2, p[1], p[2], p[3],
                  p[0] < 3 ? "+02:00" : "+01:00");
}

static void two_columns(test_text *out, unsigned ms)
{
    unsigned p[4];
    hms(ms, 86399, p);
    test_text_add(out, "%s,%02u:%02u:%02u.%03u", p[0] < 24 ? "31.12.2019" : "01.01.2020", p[0] % 24, p[1],
                  p[2], p[3]);
}

/* day or month first cannot be told: the date is of no use, and midnight shows in the time of day */
static void two_columns_open(test_text *out, unsigned ms)
{
    unsigned p[4];
    hms(ms, 86399, p);
    test_text_add(out, "%s,%02u:%02u:%02u.%03u", p[0] < 24 ? "03/04/2020" : "04/04/2020", p[0] % 24, p[1],
                  p[2], p[3]);
}

static void clock_only(test_text *out, unsigned ms)
{
    unsigned p[4];
    hms(ms, 86399, p);
    test_text_add(out, "%02u:%02u:%02u.%03u", p[0] % 24, p[1], p[2], p[3]);
}

static void half_days(test_text *out, unsigned ms)
{
    unsigned p[4];
    hms(ms, 43199, p);
    test_text_add(out, "%u:%02u:%02u.%03u %s", p[0] % 12 == 0 ? 12 : p[0] % 12, p[1], p[2], p[3],
                  p[0] < 12 ? "AM" : "PM");
}

static void minutes(test_text *out, unsigned ms)
{
    unsigned p[4];
    hms(ms, 3599, p);
    test_text_add(out, "%02u:%02u.%03u", p[1], p[2], p[3]);
}

static void comma_before_thousandths(test_text *out, unsigned ms)
{
    unsigned p[4];
    hms(ms, 43200, p);
    test_text_add(out, "2020-01-02 %02u:%02u:%02u,%03u", p[0], p[1], p[2], p[3]);
}

static void quoted(test_text *out, unsigned ms)
{
    unsigned p[4];
    hms(ms, 43200, p);
    test_text_add(out, "\"2020-01-02 %02u:%02u:%02u,%03u\"", p[0], p[1], p[2], p[3]);
}

static void epoch_ns(test_text *out, unsigned ms)
{
    test_text_add(out, "1577934245%03u000000", ms);
}

static void epoch_ms(test_text *out, unsigned ms)
{
    test_text_add(out, "%u%03u", 1577934245 + ms / 1000, ms % 1000);
}

static const struct {
    const char *name, *head;
    write_time *time;
    size_t rows;
} files[] = {
    {"ISO over midnight of a leap day", "", iso_over_midnight, 1000},
    {"zone changes", "time,ax,ay,az\n", iso_zone_changes, 1000},
    {"date and time apart", "Date,Time,ax,ay,az\n", two_columns, 1000},
    {"date that may be either", "Date,Time,ax,ay,az\n", two_columns_open, 1000},
    {"time of day", "Time,ax,ay,az\n", clock_only, 1000},
    {"noon", "Time,ax,ay,az\n", half_days, 1000},
    {"minutes and seconds", "Time,ax,ay,az\n", minutes, 1000},
    {"decimal comma between commas", "Time,ax,ay,az\n", comma_before_thousandths, 1000},
    {"decimal comma between commas, no heads", "", comma_before_thousandths, 1000},
    {"decimal comma in quotes", "Time,ax,ay,az\n", quoted, 1000},
    {"epoch in ns", "time,ax,ay,az\n", epoch_ns, 200},
    {"epoch in ms", "time,ax,ay,az\n", epoch_ms, 1000},
};

/* Rows every 5 ms, whatever their time is written like, are 200 Hz without a loss. */
START_TEST(stamps_in_words_give_the_rate)
{
    test_text text = {0};
    test_text_add(&text, "%s", files[_i].head);
    for (unsigned i = 0; i < files[_i].rows; i++) {
        files[_i].time(&text, 5 * i);
        test_text_add(&text, ",%.2f,-0.5,9.81\n", i % 2 == 0 ? 0.25 : -0.25);
    }
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording = {0};
    quell_error err = {0};
    ck_assert_msg(test_read(&recording, &text, NULL, arena, &err) == QUELL_OK, "%s: %s", files[_i].name,
                  err.text);
    ck_assert_msg(fabs(recording.rate_hz - 200) < 1e-3, "%s: %.9g Hz", files[_i].name, recording.rate_hz);
    ck_assert_uint_eq(recording.axes, 3);
    ck_assert_uint_eq(recording.samples, files[_i].rows);
    ck_assert_uint_eq(recording.lost_samples, 0);
    CHECK_NEAR(recording.accel_mps2[0][1], -0.25, 1e-12);
    CHECK_NEAR(recording.accel_mps2[2][7], 9.81, 1e-12);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(a_damaged_stamp_is_refused_with_its_place)
{
    test_text text = {0};
    test_text_add(&text, "time,ax,ay,az\n");
    for (unsigned i = 0; i < 60; i++) {
        if (i == 40)
            test_text_add(&text, "2020-02-30T12:00:00.200,0,0,9.8\n");
        iso_over_midnight(&text, 5 * i);
        test_text_add(&text, ",0.1,0.2,9.8\n");
    }
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text, "found '2020-02-30T12:00:00.200' in column 1 (time), want a date and time");
    ck_assert_uint_eq(err.line, 42);
    ck_assert_uint_eq(err.column, 1);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* A row without its stamp is a lost sample. */
START_TEST(a_missing_stamp_is_a_lost_sample)
{
    test_text text = {0};
    test_text_add(&text, "time,ax,ay,az\n");
    for (unsigned i = 0; i < 400; i++) {
        if (i != 100)
            iso_over_midnight(&text, 5 * i);
        test_text_add(&text, ",%u,0.2,9.8\n", i % 3);
    }
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(recording.samples, 400);
    ck_assert_uint_eq(recording.lost_samples, 1);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* A column of numbers has no unit; one of dates to the second beside it tells it: 60 ms are no 60 us. */
START_TEST(dates_tell_the_unit_of_the_numbers_beside_them)
{
    test_text text = {0};
    test_text_add(&text, "Date,t,ax,ay,az\n");
    for (unsigned i = 0; i < 400; i++)
        test_text_add(&text, "2016-10-06 18:%02u:%02u +0000,%u,0.1,0.%u,9.8\n", i * 45 / 60000,
                      i * 45 / 1000 % 60, 45 * i, i % 7);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    ck_assert_int_eq(test_read(&recording, &text, NULL, arena, NULL), QUELL_OK);
    CHECK_NEAR(recording.rate_hz, 1000.0 / 45, 1e-6);
    ck_assert_str_eq(test_finding(&recording.findings, "time-unit")->text,
                     "the unit of time is taken as ms, by which it agrees with column 1");
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

Suite *suite_ingest_stamps(void)
{
    Suite *suite = suite_create("ingest stamps");
    TCase *cases = tcase_create("stamps");
    tcase_set_timeout(cases, 60);
    tcase_add_loop_test(cases, a_stamp_is_read, 0, (int)INGEST_COUNT(stamps));
    tcase_add_loop_test(cases, what_is_no_stamp_is_left_alone, 0, (int)INGEST_COUNT(no_stamps));
    tcase_add_loop_test(cases, stamps_in_words_give_the_rate, 0, (int)INGEST_COUNT(files));
    tcase_add_test(cases, a_damaged_stamp_is_refused_with_its_place);
    tcase_add_test(cases, a_missing_stamp_is_a_lost_sample);
    tcase_add_test(cases, dates_tell_the_unit_of_the_numbers_beside_them);
    suite_add_tcase(suite, cases);
    return suite;
}
