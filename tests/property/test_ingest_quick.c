/* ingest, property: the quick way of reading rows gives what the careful way gives, to the last bit.

   Quotes in the head make every row go the careful way (fields split, then read one by one); without them rows go the
   quick way as far as they are plain. */
#include "ingest_help.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { ROWS = 1500 };

static size_t pick(quell_random *random, size_t below)
{
    return (size_t)(quell_random_uniform(random) * (double)below);
}

/* A number as some logger may write it: 1 to 21 digits, seldom with an exponent. */
static void add_number(test_text *text, quell_random *random, char decimal)
{
    static const int decimals[] = {0, 1, 3, 6, 7, 8, 9, 12, 15, 16, 17, 19};
    char number[64];
    double value = (quell_random_uniform(random) - 0.5) * pow(10, (double)pick(random, 5));
    int digits = decimals[pick(random, 12)];
    if (pick(random, 50) == 0)
        snprintf(number, sizeof number, "%.*e", digits, value);
    else
        snprintf(number, sizeof number, "%.*f", digits, value);
    char *point = strchr(number, '.');
    if (point != NULL)
        *point = decimal;
    test_text_add(text, "%s%s", pick(random, 9) == 0 ? " " : "", number);
}

/* Rows under a head; the dialect and what is odd about them follow from the seed. */
static void write_rows(test_text *text, uint64_t seed, bool quoted)
{
    static const char delimiters[] = {',', ';', '\t', ';'}, points[] = {'.', ',', '.', '.'};
    quell_random *random = quell_random_create(seed);
    const char delimiter = delimiters[seed % 4], point = points[seed % 4];
    const char *quote = quoted ? "\"" : "", *end = seed % 3 == 0 ? "\r\n" : "\n";
    const bool odd = seed % 5 > 1, wide = seed % 7 == 0;
    test_text_add(text, "%st_s%s%c%sax_g%s%c%say_g%s%c%saz_g%s", quote, quote, delimiter, quote, quote,
                  delimiter, quote, quote, delimiter, quote, quote);
    for (size_t c = 0; wide && c < 20; c++)
        test_text_add(text, "%c%stemperature%zu%s", delimiter, quote, c, quote);
    test_text_add(text, "%s", end);
    for (size_t i = 0; i < ROWS; i++) {
        if (odd && pick(random, 40) == 0)
            test_text_add(text, "%s%s", pick(random, 2) == 0 ? "# a remark; 1,2,3,4" : "", end);
        char stamp[32];
        snprintf(stamp, sizeof stamp, "%.6f", (double)i * 1e-3 + 1e-5 * quell_random_uniform(random));
        *strchr(stamp, '.') = point;
        test_text_add(text, "%s", stamp);
        for (size_t k = 0; k < 3; k++) {
            test_text_add(text, "%c", delimiter);
            if (!odd || pick(random, 60) > 0)
                add_number(text, random, point);
            else
                test_text_add(text, "%s", pick(random, 2) == 0 ? "" : "nan");
        }
        for (size_t c = 0; wide && c < 20; c++)
            test_text_add(text, "%c%zu", delimiter, pick(random, 99999));
        test_text_add(text, "%s", end);
    }
    quell_random_destroy(random);
}

START_TEST(quick_and_careful_reading_agree)
{
    test_text plain = {0}, quoted = {0};
    uint64_t seed = 100 + (uint64_t)_i;
    write_rows(&plain, seed, false);
    write_rows(&quoted, seed, true);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording quick, careful;
    quell_error err = {0};
    const quell_read_options options = {.unit = "g", .time_unit = "s"};
    ck_assert_msg(test_read(&quick, &plain, &options, arena, &err) == QUELL_OK, "%s", err.text);
    ck_assert_msg(test_read(&careful, &quoted, &options, arena, &err) == QUELL_OK, "%s", err.text);
    ck_assert_uint_eq(quick.axes, 3);
    ck_assert_uint_eq(quick.samples, careful.samples);
    ck_assert_uint_eq(quick.lost_samples, careful.lost_samples);
    ck_assert_uint_eq(quick.break_count, careful.break_count);
    ck_assert(quick.rate_hz == careful.rate_hz);
    for (size_t k = 0; k < 3; k++)
        ck_assert_mem_eq(quick.accel_mps2[k], careful.accel_mps2[k], quick.samples * sizeof(double));
    const quell_finding *a = test_finding(&quick.findings, "missing"),
                        *b = test_finding(&careful.findings, "missing");
    ck_assert((a == NULL) == (b == NULL));
    if (a != NULL)
        ck_assert_str_eq(a->text, b->text);
    quell_arena_destroy(arena);
    test_text_free(&plain);
    test_text_free(&quoted);
}
END_TEST

Suite *suite_ingest_quick(void)
{
    Suite *suite = suite_create("quick");
    TCase *cases = tcase_create("quick");
    tcase_set_timeout(cases, 60);
    tcase_add_loop_test(cases, quick_and_careful_reading_agree, 0, 24);
    suite_add_tcase(suite, cases);
    return suite;
}
