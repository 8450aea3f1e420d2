/* base: quantities with units, their spellings, and what is refused. */
#include "suites.h"

#include "quell/base.h"

#include <string.h>

/* Factors are SI by definition: BIPM, The International System of Units, 9th ed. (2019); g0 = 9.80665 m/s2 exactly
   (3rd CGPM 1901); 2 pi and pi to 20 digits. */
static const double pi = 3.14159265358979323846;
#define G0 9.80665

static const struct {
    quell_dimension dimension;
    const char *text;
    double si;
} accepted[] = {
    {QUELL_RATIO, "5%", 0.05},
    {QUELL_RATIO, "5 %", 0.05},
    {QUELL_RATIO, "0.05", 0.05},
    {QUELL_FREQUENCY, "47.3 Hz", 47.3},
    {QUELL_FREQUENCY, "47.3Hz", 47.3},
    {QUELL_FREQUENCY, "47.3 hz", 47.3},
    {QUELL_FREQUENCY, "47.3 HZ", 47.3},
    {QUELL_FREQUENCY, "1.6 kHz", 1600},
    {QUELL_FREQUENCY, "297 rad/s", 47.26901809829292}, /* 297 / (2 pi) */
    {QUELL_TIME, "3 s", 3},
    {QUELL_TIME, "0.05 ms", 5e-5},
    {QUELL_TIME, "12 us", 12e-6},
    {QUELL_TIME, "12 \xc2\xb5s", 12e-6}, /* micro sign, UTF-8 */
    {QUELL_TIME, "12 \xce\xbcs", 12e-6}, /* Greek mu, UTF-8 */
    {QUELL_TIME, "12 \xb5s", 12e-6},     /* micro sign, Latin-1 */
    {QUELL_TIME, "7 ns", 7e-9},
    {QUELL_LENGTH, "0.15 mm", 1.5e-4},
    {QUELL_LENGTH, "15 um", 1.5e-5},
    {QUELL_LENGTH, "15\xc2\xb5m", 1.5e-5},
    {QUELL_LENGTH, "2 m", 2},
    {QUELL_SPEED, "200 mm/s", 0.2},
    {QUELL_SPEED, "0.2 m/s", 0.2},
    {QUELL_SPEED, "12000 mm/min", 0.2},
    {QUELL_ACCELERATION, "6000 mm/s2", 6},
    {QUELL_ACCELERATION, "6000 mm/s^2", 6},
    {QUELL_ACCELERATION, "6000 mm/s\xc2\xb2", 6}, /* superscript two, UTF-8 */
    {QUELL_ACCELERATION, "6000 mm/s\xb2", 6},     /* superscript two, Latin-1 */
    {QUELL_ACCELERATION, "6 m/s2", 6},
    {QUELL_ACCELERATION, "2 g", 2 * G0},
    {QUELL_ACCELERATION, "250 mg", 0.25 * G0},
    {QUELL_MASS, "900 g", 0.9},
    {QUELL_MASS, "0.9kg", 0.9},
    {QUELL_ANGLE, "90 deg", 1.5707963267948966},
    {QUELL_ANGLE, "90\xc2\xb0", 1.5707963267948966},
    {QUELL_ANGLE, "90 \xb0", 1.5707963267948966},
    {QUELL_ANGLE, "1.5 rad", 1.5},
    {QUELL_LENGTH, " \t -3e1  mm \t", -0.03},
};

START_TEST(quantities_read_to_si)
{
    double si;
    quell_error err = {0};
    ck_assert_msg(quell_quantity_parse(accepted[_i].text, accepted[_i].dimension, NULL, &si, &err) ==
                      QUELL_OK,
                  "%s", err.text);
    ck_assert_double_eq_tol(si / accepted[_i].si, 1, 1e-13);
}
END_TEST

static const struct {
    quell_dimension dimension;
    const char *text, *say;
} refused[] = {
    {QUELL_FREQUENCY, "47.3", "found '47.3', want a frequency with its unit such as 47.3 Hz"},
    {QUELL_FREQUENCY, "47.3 s", "found '47.3 s', want a frequency with its unit such as 47.3 Hz"},
    {QUELL_FREQUENCY, "47.3 khz", "found '47.3 khz', want a frequency with its unit such as 47.3 Hz"},
    {QUELL_FREQUENCY, "47.3 H z", "found '47.3 H z', want a frequency with its unit such as 47.3 Hz"},
    {QUELL_FREQUENCY, "47,3 Hz", "found '47,3 Hz', want a frequency with its unit such as 47.3 Hz"},
    {QUELL_TIME, "5 Ms", "found '5 Ms', want a time with its unit such as 0.05 ms"},
    {QUELL_TIME, "1e400 s", "found '1e400 s', want a time with its unit such as 0.05 ms"},
    {QUELL_TIME, "nan s", "found 'nan s', want a time with its unit such as 0.05 ms"},
    {QUELL_LENGTH, "", "found '', want a length with its unit such as 0.15 mm"},
    {QUELL_LENGTH, "mm", "found 'mm', want a length with its unit such as 0.15 mm"},
    {QUELL_LENGTH, "5 mm2", "found '5 mm2', want a length with its unit such as 0.15 mm"},
    {QUELL_LENGTH, "1.2.3 mm", "found '1.2.3 mm', want a length with its unit such as 0.15 mm"},
    {QUELL_SPEED, "200 mm", "found '200 mm', want a speed with its unit such as 200 mm/s"},
    {QUELL_ACCELERATION, "6000 mm/s",
     "found '6000 mm/s', want an acceleration with its unit such as 6000 mm/s2"},
    {QUELL_ACCELERATION, "6 G", "found '6 G', want an acceleration with its unit such as 6000 mm/s2"},
    {QUELL_MASS, "900 mg", "found '900 mg', want a mass with its unit such as 900 g"},
    {QUELL_ANGLE, "90", "found '90', want an angle with its unit such as 90 deg"},
    {QUELL_RATIO, "5 Hz", "found '5 Hz', want a ratio such as 5% or 0.05"},
    {QUELL_RATIO, "5 \x1b[1m", "found '5 ?[1m', want a ratio such as 5% or 0.05"},
    {QUELL_RATIO, "5 a_unit_that_is_far_too_long",
     "found '5 a_unit_that_is_far_too_long', want a ratio such as 5% or 0.05"},
};

START_TEST(a_missing_or_wrong_unit_is_named)
{
    double si = 4;
    quell_error err = {0};
    ck_assert_int_eq(quell_quantity_parse(refused[_i].text, refused[_i].dimension, NULL, &si, &err),
                     QUELL_E_USAGE);
    ck_assert_str_eq(err.text, refused[_i].say);
    ck_assert_double_eq(si, 4);
}
END_TEST

START_TEST(a_value_too_large_in_si_is_refused)
{
    double si = 4, high = 5;
    quell_error err = {0};
    ck_assert_int_eq(quell_quantity_parse("1e306 kHz", QUELL_FREQUENCY, NULL, &si, &err), QUELL_E_USAGE);
    ck_assert_int_eq(quell_quantity_parse("1e308 g", QUELL_ACCELERATION, NULL, &si, &err), QUELL_E_USAGE);
    ck_assert_int_eq(quell_quantity_parse_range("1..1e306 kHz", QUELL_FREQUENCY, &si, &high, &err),
                     QUELL_E_USAGE);
    ck_assert_int_eq(quell_quantity_parse_range("-1e306..1 kHz", QUELL_FREQUENCY, &si, &high, &err),
                     QUELL_E_USAGE);
    ck_assert_double_eq(si, 4);
    ck_assert_double_eq(high, 5);
}
END_TEST

START_TEST(a_bare_number_takes_the_unit_given)
{
    double si;
    ck_assert_int_eq(quell_quantity_parse("5", QUELL_TIME, "ms", &si, NULL), QUELL_OK);
    ck_assert_double_eq_tol(si, 0.005, 1e-17);
    ck_assert_int_eq(quell_quantity_parse("5 us", QUELL_TIME, "ms", &si, NULL), QUELL_OK);
    ck_assert_double_eq_tol(si, 5e-6, 1e-20);
    ck_assert_int_eq(quell_quantity_parse("5 mm", QUELL_TIME, "ms", &si, NULL), QUELL_E_USAGE);
}
END_TEST

static const struct {
    quell_dimension dimension;
    const char *text;
    double low, high;
} ranges[] = {
    {QUELL_FREQUENCY, "10..150 Hz", 10, 150},
    {QUELL_FREQUENCY, "10 .. 150Hz", 10, 150},
    {QUELL_FREQUENCY, "  10.5..150.25 Hz ", 10.5, 150.25},
    {QUELL_FREQUENCY, ".5..1.5 kHz", 500, 1500},
    {QUELL_FREQUENCY, "1e1..1.5e2 Hz", 10, 150},
    {QUELL_MASS, "0..300 g", 0, 0.3}, /* grams, not standard gravity */
    {QUELL_ACCELERATION, "0..2 g", 0, 2 * G0},
    {QUELL_LENGTH, "0..180mm", 0, 0.18},
    {QUELL_LENGTH, "-20..-5 mm", -0.02, -0.005},
    {QUELL_LENGTH, "5..5 mm", 0.005, 0.005},
    {QUELL_RATIO, "1..5 %", 0.01, 0.05},
    {QUELL_RATIO, "0.1..0.2", 0.1, 0.2},
};

START_TEST(ranges_read_with_one_unit_for_both_ends)
{
    double low, high;
    quell_error err = {0};
    ck_assert_msg(quell_quantity_parse_range(ranges[_i].text, ranges[_i].dimension, &low, &high, &err) ==
                      QUELL_OK,
                  "%s", err.text);
    ck_assert_double_eq_tol(low, ranges[_i].low, 1e-13 * ranges[_i].high * ranges[_i].high + 1e-15);
    ck_assert_double_eq_tol(high, ranges[_i].high, 1e-13 * (1 + ranges[_i].high * ranges[_i].high));
}
END_TEST

static const char *const no_ranges[] = {
    "150..10 Hz",  "10..150",     "10-150 Hz", "10 Hz..150 Hz",
    "10",          "10 Hz",       "..150 Hz",  "10.. Hz",
    "10..",        "..",          "",          "10..150 mm",
    "1e400..2 Hz", "1..1e400 Hz", "a..b Hz",   "10..150..200 Hz",
};

START_TEST(what_is_no_range_is_refused)
{
    double low = 1, high = 2;
    quell_error err = {0};
    ck_assert_int_eq(quell_quantity_parse_range(no_ranges[_i], QUELL_FREQUENCY, &low, &high, &err),
                     QUELL_E_USAGE);
    char want[160] = "found '";
    strcat(strcat(want, no_ranges[_i]), _i == 0 ? "', want the lower number first: " : "', want "); /* row 0 runs downwards */
    strcat(want, "LOW..HIGH of a frequency with its unit such as 47.3 Hz");
    ck_assert_str_eq(err.text, want);
    ck_assert_double_eq(low, 1);
    ck_assert_double_eq(high, 2);
}
END_TEST

START_TEST(units_are_found_by_dimension_and_length)
{
    const quell_unit *mass = quell_unit_find(QUELL_MASS, "g", 1);
    const quell_unit *acceleration = quell_unit_find(QUELL_ACCELERATION, "g", 1);
    ck_assert_double_eq(mass->si, 0.001);
    ck_assert_double_eq(acceleration->si, G0);
    ck_assert_str_eq(quell_unit_find(QUELL_ACCELERATION, "mm/s2]", 5)->name,
                     "mm/s2"); /* not terminated there */
    ck_assert_str_eq(quell_unit_find(QUELL_LENGTH, "mm/s2]", 2)->name, "mm");
    ck_assert_double_eq_tol(quell_unit_find(QUELL_FREQUENCY, "rad/s", 5)->si * 2 * pi, 1, 1e-15);
    ck_assert_ptr_null(quell_unit_find(QUELL_ACCELERATION, "", 0));
    ck_assert_ptr_nonnull(quell_unit_find(QUELL_RATIO, "", 0));
    ck_assert_ptr_null(quell_unit_find(QUELL_LENGTH, "m\0m", 3)); /* a zero byte is no blank */
    ck_assert_ptr_null(quell_unit_find(QUELL_LENGTH, "mm\0", 3));
    ck_assert_ptr_null(quell_unit_find(QUELL_ACCELERATION, "mm/s2mm/s2mm/s2mm/s2mm/s2mm/s2", 30));
    ck_assert_ptr_null(quell_unit_find(QUELL_ANGLE, "\xc2\xb0\xc2\xb0\xc2\xb0\xc2\xb0\xc2\xb0\xc2\xb0", 12));
}
END_TEST

#define ROWS(table) (int)(sizeof(table) / sizeof(table)[0])

Suite *suite_base_quantity(void)
{
    Suite *suite = suite_create("base_quantity");
    TCase *cases = tcase_create("quantities");
    tcase_add_loop_test(cases, quantities_read_to_si, 0, ROWS(accepted));
    tcase_add_loop_test(cases, a_missing_or_wrong_unit_is_named, 0, ROWS(refused));
    tcase_add_test(cases, a_value_too_large_in_si_is_refused);
    tcase_add_test(cases, a_bare_number_takes_the_unit_given);
    tcase_add_loop_test(cases, ranges_read_with_one_unit_for_both_ends, 0, ROWS(ranges));
    tcase_add_loop_test(cases, what_is_no_range_is_refused, 0, ROWS(no_ranges));
    tcase_add_test(cases, units_are_found_by_dimension_and_length);
    suite_add_tcase(suite, cases);
    return suite;
}
