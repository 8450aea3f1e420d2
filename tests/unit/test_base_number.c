/* base: decimal numbers, read as the C library's strtod reads them in the C locale and printed the same in any. */
#include "suites.h"

#include "quell/base.h"

#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static uint64_t bits(double value)
{
    uint64_t out;
    memcpy(&out, &value, sizeof out);
    return out;
}

static size_t pick(quell_random *random, size_t below)
{
    return (size_t)(quell_random_uniform(random) * (double)below);
}

/* text must read exactly as strtod reads it (this process runs in the C locale), with a point and with a comma. */
static void same_as_strtod(const char *text)
{
    char *end;
    double want = strtod(text, &end), got = 12345;
    size_t length = strlen(text);
    size_t used = quell_number_read(text, length, '.', &got);
    if (used != (size_t)(end - text) || bits(got) != bits(want))
        ck_abort_msg("'%.80s' read as %.17g (%zu characters), strtod says %.17g (%td)", text, got, used, want,
                     end - text);
    /* followed by more, as in a row of a log: there a quicker way is taken */
    char row[4096];
    int written = snprintf(row, sizeof row, "%s;-7.25;a row goes on after the number it began with", text);
    ck_assert_int_lt(written, (int)sizeof row);
    double in_row = 12345;
    size_t used_in_row = quell_number_read(row, (size_t)written, '.', &in_row);
    if (used_in_row != used || bits(in_row) != bits(want))
        ck_abort_msg("'%.80s' in a row read as %.17g (%zu characters), strtod says %.17g (%td)", text, in_row,
                     used_in_row, want, end - text);
    char comma[2048];
    if (length >= sizeof comma)
        ck_abort_msg("a text of %zu characters", length);
    memcpy(comma, text, length + 1);
    char *point = strchr(comma, '.');
    if (point != NULL)
        *point = ',';
    double with_comma = 12345;
    if (quell_number_read(comma, length, ',', &with_comma) != used || bits(with_comma) != bits(want))
        ck_abort_msg("'%.80s' read with a comma as %.17g, want %.17g", comma, with_comma, want);
}

/* A random decimal number: up to max_digits digits, a point anywhere or nowhere, an exponent or none. */
static void random_decimal(quell_random *random, char *out, size_t max_digits)
{
    size_t digits = 1 + pick(random, max_digits), point = pick(random, digits + 2), n = 0;
    static const char *const sign[] = {"", "", "-", "+"};
    n += (size_t)sprintf(out, "%s", sign[pick(random, 4)]);
    bool zeros = pick(random, 4) == 0; /* long runs of zeros reach other branches */
    for (size_t i = 0; i < digits; i++) {
        if (i == point)
            out[n++] = '.';
        out[n++] = zeros && pick(random, 10) > 0 ? '0' : (char)('0' + pick(random, 10));
    }
    out[n] = '\0';
    if (pick(random, 3) > 0)
        sprintf(out + n, "%c%s%d", pick(random, 2) ? 'e' : 'E', pick(random, 2) ? "" : "+",
                (int)pick(random, 700) - 350);
    char *plus_minus = strstr(out + 1, "+-");
    if (plus_minus != NULL)
        memmove(plus_minus, plus_minus + 1, strlen(plus_minus));
}

START_TEST(random_decimals_read_as_strtod_reads_them)
{
    quell_random *random = quell_random_create(41 + (uint64_t)_i);
    char text[2048];
    for (int trial = 0; trial < 20000; trial++) {
        random_decimal(random, text, _i == 0 ? 20 : 45);
        same_as_strtod(text);
    }
    for (int trial = 0; trial < 300; trial++) {
        random_decimal(random, text, 1500); /* most have more digits than decide a double */
        same_as_strtod(text);
    }
    quell_random_destroy(random);
}
END_TEST

/* Doubles of random bits, normal and subnormal, written with 1 to 25 digits. */
START_TEST(random_doubles_read_as_strtod_reads_them)
{
    quell_random *random = quell_random_create(99);
    for (int trial = 0; trial < 30000; trial++) {
        uint64_t pattern = 0;
        for (int i = 0; i < 4; i++)
            pattern = pattern << 16 | pick(random, 65536);
        if (trial % 5 == 0)
            pattern &= UINT64_C(0x800fffffffffffff); /* subnormal */
        double value;
        memcpy(&value, &pattern, sizeof value);
        if (!isfinite(value))
            continue;
        char text[400];
        sprintf(text, "%.*e", (int)pick(random, 25), value);
        same_as_strtod(text);
        if (trial % 10 == 0 && fabs(value) < 1e20 && fabs(value) > 1e-20) {
            sprintf(text, "%.*f", (int)pick(random, 60), value);
            same_as_strtod(text);
        }
    }
    quell_random_destroy(random);
}
END_TEST

/* Exactly between two doubles, and one unit of the last decimal to either side: the cases a wrong rounding shows in.
   The middle has one bit more than a double, so long double holds it exactly, subnormals too. */
START_TEST(halfway_cases_read_as_strtod_reads_them)
{
#if LDBL_MANT_DIG < 64
    fprintf(stderr, "skipped: long double holds no halfway values here\n");
#else
    quell_random *random = quell_random_create(5);
    for (int trial = 0; trial < 3000; trial++) {
        int exponent = trial % 4 == 0 ? -1074 + (int)pick(random, 60) : (int)pick(random, 2040) - 1070;
        int mantissa_bits = trial % 4 == 0 ? 1 + (int)pick(random, 52) : 53;
        double low = ldexp(ldexp(1, mantissa_bits - 1) +
                               floor(quell_random_uniform(random) * ldexp(1, mantissa_bits - 1)),
                           trial % 4 == 0 ? -1074 : exponent - 52);
        double high = nextafter(low, INFINITY);
        if (!isfinite(high) || low == 0)
            continue;
        long double middle = ((long double)low + (long double)high) / 2;
        char text[2048];
        sprintf(text, "%.1100Le", middle); /* every digit of it */
        char *e = strchr(text, 'e');
        same_as_strtod(text);
        char *last = e - 1;
        while (last > text + 2 && *last == '0')
            last--;
        char kept = *last;
        *last = (char)(kept - 1);
        same_as_strtod(text);
        *last = kept;
        e[-1] = '1'; /* far behind the digits that decide */
        same_as_strtod(text);
    }
    quell_random_destroy(random);
#endif
}
END_TEST

/* Values and lengths by hand; the numbers are exact or the correctly rounded double by definition of C's own literal. */
static const struct {
    const char *text;
    double value;
    size_t used;
} cases[] = {
    {"0", 0.0, 1},
    {"-0", -0.0, 2},
    {"+.5", 0.5, 3},
    {"5.", 5.0, 2},
    {"-.5e1", -5.0, 5},
    {"1e", 1.0, 1},
    {"1e+", 1.0, 1},
    {"1e-x", 1.0, 1},
    {"1E2", 100.0, 3},
    {"1.2.3", 1.2, 3},
    {"1..2", 1.0, 2},
    {"12 mm", 12.0, 2},
    {"3e5e7", 3e5, 3},
    {"0x10", 0.0, 1}, /* no hexadecimal */
    {"007", 7.0, 3},
    {"9007199254740993", 9007199254740992.0, 16}, /* 2^53 + 1: a tie, to even */
    {"9007199254740993.00000000000000000000000000000000000000000000000001", 9007199254740994.0, 67},
    {"1e22", 1e22, 4},
    {"1e23", 1e23, 4},
    {"123456789012345678901234567890", 123456789012345678901234567890.0, 30},
    {"1.7976931348623157e308", DBL_MAX, 22},
    {"1.7976931348623158e308", DBL_MAX, 22},
    {"1.7976931348623159e308", INFINITY, 22},
    {"-1e309", -INFINITY, 6},
    {"1e999999999999999999999", INFINITY, 23},
    {"1e-999999999999999999999", 0.0, 24},
    {"-1e-400", -0.0, 7},
    {"0e999999999999999999999", 0.0, 23},
    {"4.9406564584124654e-324", 4.9406564584124654e-324, 23},
    {"2.4703282292062327e-324", 0.0, 23}, /* below half the smallest subnormal */
    {"2.4703282292062328e-324", 4.9406564584124654e-324, 23},
    {"2.2250738585072011e-308", 2.2250738585072011e-308, 23},
};

START_TEST(numbers_read_with_their_length)
{
    double value = 1;
    ck_assert_uint_eq(quell_number_read(cases[_i].text, strlen(cases[_i].text), '.', &value), cases[_i].used);
    ck_assert_uint_eq(bits(value), bits(cases[_i].value));
}
END_TEST

static const char *const no_numbers[] = {"",    "-",   "+",   ".",   "-.",      "+.",  "e5",
                                         ".e5", "inf", "nan", "NaN", " 1",      "--1", "+-1",
                                         "x1",  ",5",  "\t2", "-e",  "\xc2\xb5"};

START_TEST(what_is_no_number_uses_no_characters)
{
    double value = 77;
    ck_assert_uint_eq(quell_number_read(no_numbers[_i], strlen(no_numbers[_i]), '.', &value), 0);
    ck_assert_double_eq(value, 77);
}
END_TEST

START_TEST(reading_stops_at_the_length_given)
{
    const char text[] = "12.5e3";
    const double want[] = {0, 1, 12, 12, 12.5, 12.5, 12.5e3};
    const size_t used[] = {0, 1, 2, 3, 4, 4, 6};
    for (size_t length = 0; length <= 6; length++) {
        double value = 0;
        char *tight = malloc(length + 1); /* of just that size, so that a sanitizer sees a read beyond it */
        memcpy(tight, text, length);
        char *exact = realloc(tight, length > 0 ? length : 1);
        ck_assert_uint_eq(quell_number_read(exact, length, '.', &value), used[length]);
        ck_assert_double_eq(value, want[length]);
        free(exact);
    }
}
END_TEST

START_TEST(the_decimal_sign_asked_for_is_the_only_one)
{
    double value;
    ck_assert_uint_eq(quell_number_read("3,25;", 5, ',', &value), 4);
    ck_assert_double_eq(value, 3.25);
    ck_assert_uint_eq(quell_number_read("3,25", 4, '.', &value), 1);
    ck_assert_double_eq(value, 3);
    ck_assert_uint_eq(quell_number_read("3.25", 4, ',', &value), 1);
    ck_assert_uint_eq(quell_number_read("-,5e-1", 6, ',', &value), 6);
    ck_assert_double_eq(value, -0.05);
}
END_TEST

/* A million zeros and the exponent that takes them back: no counter may saturate on the way. */
START_TEST(zeros_and_exponent_may_cancel_over_a_million_digits)
{
    enum { ZEROS = 1200000 };
    char *text = malloc(ZEROS + 32);
    memset(text, '0', ZEROS);
    memcpy(text, "0.", 2);
    sprintf(text + ZEROS, "125e%d", ZEROS - 2 + 3);
    double value;
    ck_assert_uint_eq(quell_number_read(text, strlen(text), '.', &value), strlen(text));
    ck_assert_double_eq(value, 125);
    text[0] = '7';
    memset(text + 1, '0', ZEROS - 1);
    sprintf(text + ZEROS, "e-%d", ZEROS - 1);
    ck_assert_uint_eq(quell_number_read(text, strlen(text), '.', &value), strlen(text));
    ck_assert_double_eq(value, 7);
    free(text);
}
END_TEST

START_TEST(a_whole_text_parses_with_blanks_round_it)
{
    double value;
    quell_error err = {0};
    ck_assert_int_eq(quell_number_parse(" \t-4.75e2\t ", &value, &err), QUELL_OK);
    ck_assert_double_eq(value, -475);
    ck_assert_int_eq(quell_number_parse("8", &value, NULL), QUELL_OK);
}
END_TEST

static const struct {
    const char *text, *say;
} unparsable[] = {
    {"", "found '', want a number"},
    {"  ", "found '  ', want a number"},
    {"12x", "found '12x', want a number"},
    {"1 2", "found '1 2', want a number"},
    {"1.2.3", "found '1.2.3', want a number"},
    {"1,5", "found '1,5', want a number"},
    {"nan", "found 'nan', want a number"},
    {"inf", "found 'inf', want a number"},
    {"0x1p3", "found '0x1p3', want a number"},
    {"1e400", "found '1e400', want a number below 1.8e308"},
    {"\x1b[2J", "found '?[2J', want a number"},
};

START_TEST(what_does_not_parse_says_what_was_found)
{
    double value = 3;
    quell_error err = {0};
    ck_assert_int_eq(quell_number_parse(unparsable[_i].text, &value, &err), QUELL_E_USAGE);
    ck_assert_str_eq(err.text, unparsable[_i].say);
    ck_assert_double_eq(value, 3);
    ck_assert_int_eq(quell_number_parse(unparsable[_i].text, &value, NULL), QUELL_E_USAGE);
}
END_TEST

static const struct {
    double value;
    int digits;
    const char *significant, *fixed;
} printed[] = {
    {0, 3, "0", "0.000"},
    {1234.5678, 6, "1234.57", "1234.567800"},
    {-0.00001234, 3, "-1.23e-05", "0.000"}, /* no "-0.000" */
    {-0.0, 2, "-0", "0.00"},
    {-0.0051, 2, "-0.0051", "-0.01"},
    {1e15, 4, "1e+15", "1e+15"},
    {-2.6e15, 1, "-3e+15", "-2.6e+15"},
    {123456789012345678.0, 12, "1.23456789012e+17", "1.23457e+17"},
    {999999999999999.0, 0, NULL, "999999999999999"},
    {1e300, 12, "1e+300", "1e+300"},
    {0.1, 17, "0.10000000000000001", NULL},
    {NAN, 5, "-", "-"},
    {INFINITY, 5, "inf", "inf"},
    {-INFINITY, 5, "-inf", "-inf"},
    {DBL_TRUE_MIN, 17, "4.9406564584124654e-324", NULL},
};

static void check_printed(int row)
{
    char out[64];
    if (printed[row].significant != NULL) {
        ck_assert_ptr_eq(quell_number_print(out, 32, printed[row].value, printed[row].digits), out);
        ck_assert_str_eq(out, printed[row].significant);
    }
    if (printed[row].fixed != NULL) {
        ck_assert_ptr_eq(quell_number_print_fixed(out, 64, printed[row].value, printed[row].digits), out);
        ck_assert_str_eq(out, printed[row].fixed);
    }
}

START_TEST(numbers_print_plainly)
{
    check_printed(_i);
}
END_TEST

START_TEST(seventeen_digits_come_back_to_the_bit)
{
    quell_random *random = quell_random_create(17);
    for (int trial = 0; trial < 30000; trial++) {
        uint64_t pattern = 0;
        for (int i = 0; i < 4; i++)
            pattern = pattern << 16 | pick(random, 65536);
        double value, back;
        memcpy(&value, &pattern, sizeof value);
        if (!isfinite(value))
            continue;
        char out[32];
        quell_number_print(out, sizeof out, value, 17);
        if (quell_number_parse(out, &back, NULL) != QUELL_OK || bits(back) != bits(value))
            ck_abort_msg("'%s' came back as %.17g, want %.17g", out, back, value);
    }
    quell_random_destroy(random);
}
END_TEST

/* A locale with a decimal comma: an installed one, or one made by localedef in a folder of our own. */
static bool enter_comma_locale(void)
{
    static const char *const name[] = {"de_DE.UTF-8", "de_DE.utf8", "de_DE", "fr_FR.UTF-8", "nl_NL.UTF-8"};
    for (size_t i = 0; i < sizeof name / sizeof name[0]; i++)
        if (setlocale(LC_ALL, name[i]) != NULL)
            return true;
    char folder[] = "/tmp/quell-locale-XXXXXX", command[256];
    if (mkdtemp(folder) == NULL)
        return false;
    sprintf(command, "localedef --no-archive -i de_DE -f UTF-8 %s/de_DE.UTF-8 2>/dev/null", folder);
    bool made =
        system(command) == 0 && setenv("LOCPATH", folder, 1) == 0 && setlocale(LC_ALL, "de_DE.UTF-8") != NULL;
    sprintf(command, "rm -rf %s", folder);
    return system(command) == 0 && made;
}

/* 12.5 % keeps its half, 10 % needs no decimal, and near 100 % a tenth says nothing: counted by hand. */
START_TEST(numbers_for_sentences)
{
    ck_assert_str_eq(quell_number_fixed(-0.004, 2).text, "0.00");
    ck_assert_str_eq(quell_number_fixed((double)NAN, 1).text, "-");
    ck_assert_str_eq(quell_number_short(1234.567, 6).text, "1234.57");
    ck_assert_str_eq(quell_number_percent(0.125).text, "12.5");
    ck_assert_str_eq(quell_number_percent(0.1).text, "10");
    ck_assert_str_eq(quell_number_percent(0.9951).text, "100");
    ck_assert_str_eq(quell_number_percent(0.0001).text, "0.01"); /* small, but not none */
    ck_assert_str_eq(quell_number_percent(0.00067).text, "0.07");
    ck_assert_str_eq(quell_number_percent(1e-12).text, "0");
    ck_assert_str_eq(quell_number_percent(0).text, "0");
    ck_assert_str_eq(quell_number_percent((double)NAN).text, "-");
}
END_TEST

START_TEST(a_locale_with_a_decimal_comma_changes_nothing)
{
    if (!enter_comma_locale()) {
        fprintf(stderr,
                "skipped: no locale with a decimal comma is installed, and localedef cannot make one\n");
        return;
    }
    char out[64];
    sprintf(out, "%.1f", 2.5);
    ck_assert_str_eq(out, "2,5"); /* the locale is in effect */
    for (int row = 0; row < (int)(sizeof printed / sizeof printed[0]); row++)
        check_printed(row);
    double value;
    ck_assert_int_eq(quell_number_parse("2.5", &value, NULL), QUELL_OK);
    ck_assert_double_eq(value, 2.5);
    ck_assert_uint_eq(quell_number_read("1.25000000000000000000000001e-300", 33, '.', &value),
                      33); /* the slow way */
    ck_assert_double_eq(value, 1.25e-300);
    ck_assert_int_eq(quell_quantity_parse("0.15 mm", QUELL_LENGTH, NULL, &value, NULL), QUELL_OK);
    ck_assert_double_eq_tol(value, 0.00015, 1e-18);
    ck_assert_str_eq(quell_number_fixed(2.5, 1).text, "2.5");
    ck_assert_str_eq(quell_number_percent(0.125).text, "12.5");
    quell_error err = {0};
    quell_fail(&err, QUELL_E_DATA, "rate is %.1f Hz, want > %g", 2.5, 0.25);
    ck_assert_str_eq(err.text, "rate is 2.5 Hz, want > 0.25");
    quell_arena *arena = quell_arena_create(1000);
    ck_assert_str_eq(quell_arena_print(arena, "%.2f", -2.25), "-2.25");
    quell_arena_destroy(arena);
    sprintf(out, "%.1f", 2.5);
    ck_assert_str_eq(out, "2,5"); /* and the process's own locale is as it was */
}
END_TEST

#define ROWS(table) (int)(sizeof(table) / sizeof(table)[0])

Suite *suite_base_number(void)
{
    Suite *suite = suite_create("base_number");
    TCase *reading = tcase_create("reading");
    tcase_set_timeout(reading, 60);
    tcase_add_loop_test(reading, random_decimals_read_as_strtod_reads_them, 0, 2);
    tcase_add_test(reading, random_doubles_read_as_strtod_reads_them);
    tcase_add_test(reading, halfway_cases_read_as_strtod_reads_them);
    tcase_add_loop_test(reading, numbers_read_with_their_length, 0, ROWS(cases));
    tcase_add_loop_test(reading, what_is_no_number_uses_no_characters, 0, ROWS(no_numbers));
    tcase_add_test(reading, reading_stops_at_the_length_given);
    tcase_add_test(reading, the_decimal_sign_asked_for_is_the_only_one);
    tcase_add_test(reading, zeros_and_exponent_may_cancel_over_a_million_digits);
    tcase_add_test(reading, a_whole_text_parses_with_blanks_round_it);
    tcase_add_loop_test(reading, what_does_not_parse_says_what_was_found, 0, ROWS(unparsable));
    suite_add_tcase(suite, reading);
    TCase *printing = tcase_create("printing");
    tcase_set_timeout(printing, 60);
    tcase_add_loop_test(printing, numbers_print_plainly, 0, ROWS(printed));
    tcase_add_test(printing, seventeen_digits_come_back_to_the_bit);
    tcase_add_test(printing, numbers_for_sentences);
    tcase_add_test(printing, a_locale_with_a_decimal_comma_changes_nothing);
    suite_add_tcase(suite, printing);
    return suite;
}
