/* shaping: specifications read and written, and refused with the place, what was found and what is wanted. */
#include "suites.h"

#include "quell/shaping.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COUNT(array) (sizeof(array) / sizeof(array)[0])

static quell_shaper parse(const char *spec)
{
    quell_shaper out;
    quell_error err = {0};
    ck_assert_msg(quell_shaper_parse(&out, spec, &err) == QUELL_OK, "'%s': %s", spec, err.text);
    return out;
}

START_TEST(a_family_with_all_its_fields)
{
    quell_shaper shaper = parse("ei-two-hump:47.25:0.0625:0.03125");
    ck_assert_str_eq(shaper.family->id, "ei-two-hump");
    ck_assert_double_eq(shaper.at.frequency_hz, 47.25);
    ck_assert_double_eq(shaper.at.damping_ratio, 0.0625);
    ck_assert_double_eq(shaper.at.tolerance, 0.03125);
    ck_assert_uint_eq(shaper.count, 4);
}
END_TEST

START_TEST(fields_left_out_have_their_defaults)
{
    quell_shaper shaper = parse("ei:60");
    ck_assert_double_eq(shaper.at.damping_ratio, 0);
    ck_assert_double_eq(shaper.at.tolerance, QUELL_TOLERANCE_DEFAULT);
    shaper = parse("zv:60:0.1");
    ck_assert_double_eq(shaper.at.damping_ratio, 0.1);
}
END_TEST

START_TEST(units_and_blanks_are_read)
{
    quell_shaper plain = parse("ei:60:0.05:0.1"), dressed = parse(" ei : 60 Hz : 5% : 10 % ");
    ck_assert_double_eq(dressed.at.frequency_hz, plain.at.frequency_hz);
    CHECK_NEAR(dressed.at.damping_ratio, plain.at.damping_ratio, 1e-16);
    CHECK_NEAR(dressed.at.tolerance, plain.at.tolerance, 1e-16);
    quell_shaper product = parse("zv:40:0.05 * zv:65:0.02");
    ck_assert_uint_eq(product.count, 4);
    quell_shaper list = parse("impulses: 50% @ 0 , 0.5 @ 8.5ms");
    ck_assert_uint_eq(list.count, 2);
    ck_assert_double_eq(list.amplitude[0], 0.5);
    CHECK_NEAR(list.time_s[1], 0.0085, 1e-18);
}
END_TEST

START_TEST(a_list_of_impulses_is_normalised)
{
    quell_shaper list = parse("impulses:0.5000004@0,0.5000004@0.01");
    ck_assert_double_eq(list.amplitude[0], 0.5);
    ck_assert_double_eq(list.amplitude[1], 0.5);
    list = parse("impulses:1@0,-1@0.004,1@0.008");
    ck_assert_double_eq(list.amplitude[1], -1);
    ck_assert_ptr_null(list.family);
}
END_TEST

START_TEST(none_is_one_impulse)
{
    quell_shaper none = parse("none");
    ck_assert_uint_eq(none.count, 1);
    ck_assert_double_eq(none.amplitude[0], 1);
    ck_assert_double_eq(none.time_s[0], 0);
    quell_shaper zv = parse("none*zv:40:0.05");
    ck_assert_str_eq(zv.family->id, "zv");
}
END_TEST

START_TEST(specifications_read_back)
{
    static const char *const spec[] = {"none",
                                       "zv:40:0",
                                       "zvd:47.2:0.05",
                                       "ei:60:0.05:0.05",
                                       "ei-three-hump:33.333333333333336:0.1:0.03",
                                       "zvdd:1e-03:0.3",
                                       "impulses:0.25@0,0.5@0.01,0.25@0.02",
                                       "impulses:1@0,-1@0.004,1@0.008"};
    for (size_t i = 0; i < COUNT(spec); i++) {
        quell_shaper shaper = parse(spec[i]);
        char text[512];
        quell_shaper_format(&shaper, text, sizeof text);
        quell_shaper back = parse(text);
        ck_assert_ptr_eq(back.family, shaper.family);
        ck_assert_uint_eq(back.count, shaper.count);
        for (size_t k = 0; k < shaper.count; k++) {
            ck_assert_double_eq(back.amplitude[k], shaper.amplitude[k]);
            ck_assert_double_eq(back.time_s[k], shaper.time_s[k]);
        }
    }
    char text[128];
    quell_shaper shaper = parse("zvd:47.2:0.05:0.1");
    ck_assert_str_eq(quell_shaper_format(&shaper, text, sizeof text), "zvd:47.2:0.05");
    shaper = parse("ei:60:5%");
    ck_assert_str_eq(quell_shaper_format(&shaper, text, sizeof text), "ei:60:0.05:0.05");
}
END_TEST

START_TEST(a_long_list_is_cut_between_impulses)
{
    quell_shaper product = parse("zvddd:40:0.05*zvddd:65:0.02");
    ck_assert_uint_eq(product.count, 25);
    for (size_t size = 128; size < 1400; size++) {
        char text[1400];
        memset(text, 'x', sizeof text);
        quell_shaper_format(&product, text, size);
        size_t length = strlen(text);
        ck_assert_uint_lt(length, size);
        if (strcmp(text + length - 3, "...") == 0)
            ck_assert_int_eq(text[length - 4], ',');
        else
            ck_assert_uint_eq(parse(text).count, 25);
    }
}
END_TEST

START_TEST(wrong_specifications_are_refused_with_reason)
{
    static const struct {
        const char *spec, *text;
        quell_status status;
    } rows[] = {
        {"", "nothing there, want FAMILY:HZ", QUELL_E_USAGE},
        {"   ", "nothing there", QUELL_E_USAGE},
        {"frog:40", "unknown family 'frog', want one of zv zvd zvdd zvddd ei ei-two-hump ei-three-hump",
         QUELL_E_USAGE},
        {"40", "unknown family '40'", QUELL_E_USAGE},
        {"ZV:40", "unknown family 'ZV'", QUELL_E_USAGE},
        {"zv", "no frequency, want zv:HZ", QUELL_E_USAGE},
        {"zv:", "frequency is empty", QUELL_E_USAGE},
        {"zv::0.05", "frequency is empty", QUELL_E_USAGE},
        {"zv:40:", "damping ratio is empty", QUELL_E_USAGE},
        {"ei:40:0.05:", "tolerance is empty", QUELL_E_USAGE},
        {"ei:40:0.05:0.05:1", "too many values", QUELL_E_USAGE},
        {"zv:fast", "frequency: found 'fast'", QUELL_E_USAGE},
        {"zv:nan", "frequency: found 'nan'", QUELL_E_USAGE},
        {"zv:inf", "frequency: found 'inf'", QUELL_E_USAGE},
        {"zv:0x10", "frequency: found '0x10'", QUELL_E_USAGE},
        {"zv:40 ms", "frequency: found '40 ms'", QUELL_E_USAGE},
        {"zv:-40", "frequency in Hz is -40, want 0.001", QUELL_E_USAGE},
        {"zv:0", "frequency in Hz is 0, want 0.001", QUELL_E_USAGE},
        {"zv:1e308", "frequency in Hz is 1e+308", QUELL_E_USAGE},
        {"zv:1e999", "frequency: found '1e999'", QUELL_E_USAGE},
        {"zv:40:1", "damping ratio is 1, want 0 to 0.3", QUELL_E_USAGE},
        {"zv:40:0.31", "damping ratio is 0.31, want 0 to 0.3", QUELL_E_USAGE},
        {"zv:40:-0.1", "damping ratio is -0.1, want 0 to 0.3", QUELL_E_USAGE},
        {"ei:40:0.05:1", "tolerance is 1, want above 0 to 0.2", QUELL_E_USAGE},
        {"ei:40:0.05:0.21", "tolerance is 0.21, want above 0 to 0.2", QUELL_E_USAGE},
        {"ei:40:0.05:0", "tolerance is 0, want above 0 to 0.2", QUELL_E_USAGE},
        {"zv:40:0.05:7", "tolerance is 7, want above 0 to 0.2", QUELL_E_USAGE},
        {"ei-three-hump:40:0.29", "damping ratio is 0.29, want at most 0.275", QUELL_E_NO_SHAPER},
        {"zv:40*", "factor 2 of the shaper, '': nothing there", QUELL_E_USAGE},
        {"*zv:40", "factor 1 of the shaper, '': nothing there", QUELL_E_USAGE},
        {"zv:40**zv:50", "factor 2 of the shaper", QUELL_E_USAGE},
        {"*", "factor 1", QUELL_E_USAGE},
        {"zv:40*frog:2*zv:50", "factor 2 of the shaper, 'frog:2': unknown family", QUELL_E_USAGE},
        {"zv:40*ei-three-hump:40:0.29", "factor 2 of the shaper, 'ei-three-hump:40:0.29': damping",
         QUELL_E_NO_SHAPER},
        {"none:40", "'none' is no shaper and takes no values", QUELL_E_USAGE},
        {"none:", "'none' is no shaper", QUELL_E_USAGE},
        {"impulses", "no impulses, want impulses:A@T", QUELL_E_USAGE},
        {"impulses:", "no impulses", QUELL_E_USAGE},
        {"impulses:0.5", "impulse 1: found '0.5', want A@T", QUELL_E_USAGE},
        {"impulses:0.5@0,", "impulse 2: found '', want A@T", QUELL_E_USAGE},
        {"impulses:@0", "amplitude of impulse 1: found ''", QUELL_E_USAGE},
        {"impulses:1@", "time of impulse 1: found ''", QUELL_E_USAGE},
        {"impulses:1@0@1", "time of impulse 1: found '0@1'", QUELL_E_USAGE},
        {"impulses:x@0", "amplitude of impulse 1: found 'x'", QUELL_E_USAGE},
        {"impulses:nan@0", "amplitude of impulse 1: found 'nan'", QUELL_E_USAGE},
        {"impulses:1@0.01", "time of the first impulse is 0.01, want 0", QUELL_E_USAGE},
        {"impulses:0.5@0,0.5@0", "time of impulse 2 is 0, want more than the 0 s of the one before",
         QUELL_E_USAGE},
        {"impulses:0.3@0,0.3@0.02,0.4@0.01", "time of impulse 3 is 0.01, want more than the 0.02 s",
         QUELL_E_USAGE},
        {"impulses:0.5@0,0.5@-0.01", "time of impulse 2 is -0.01", QUELL_E_USAGE},
        {"impulses:0.5@0,0.5@20000", "time of impulse 2 is 20000, want at most 10000 s", QUELL_E_USAGE},
        {"impulses:0.5@0,0.5@1e308", "time of impulse 2 is 1e308, want at most", QUELL_E_USAGE},
        {"impulses:1e308@0,-1e308@1", "amplitude of impulse 1 is 1e308, want at most 100", QUELL_E_USAGE},
        {"impulses:0.5@0,0.4@0.01", "amplitudes sum to 0.9, want 1", QUELL_E_USAGE},
        {"impulses:0.5@0,0.50001@0.01", "amplitudes sum to 1.00001, want 1", QUELL_E_USAGE},
        {"impulses:1@0,-1@1", "amplitudes sum to 0, want 1", QUELL_E_USAGE},
        {"zvddd:40*zvddd:41*zvddd:42*zvddd:43", "the product of 125 and 5 impulses has more than 128",
         QUELL_E_USAGE},
        {"\x1b[31mzv:40", "unknown family '?[31mzv'", QUELL_E_USAGE},
        {"zv:4\n0", "'4?0'", QUELL_E_USAGE},
        {"zv:%n%s%s", "'%n%s%s'", QUELL_E_USAGE},
        {"\xff\xfe:40", "unknown family", QUELL_E_USAGE},
    };
    for (size_t r = 0; r < COUNT(rows); r++) {
        quell_shaper out, untouched;
        memset(&out, 0x5a, sizeof out);
        untouched = out;
        quell_error err = {0};
        ck_assert_msg(quell_shaper_parse(&out, rows[r].spec, &err) == rows[r].status, "'%s'", rows[r].spec);
        ck_assert_msg(strstr(err.text, rows[r].text) != NULL, "'%s' gives '%s', want '%s'", rows[r].spec,
                      err.text, rows[r].text);
        for (const char *c = err.text; *c != '\0'; c++)
            ck_assert((unsigned char)*c >= 0x20 && *c != 0x7f);
        ck_assert_int_eq(memcmp(&out, &untouched, sizeof out), 0);
        ck_assert_int_eq(quell_shaper_parse(&out, rows[r].spec, NULL), rows[r].status);
    }
}
END_TEST

START_TEST(too_many_impulses_are_refused)
{
    char spec[8192] = "impulses:";
    size_t used = strlen(spec);
    for (int i = 0; i < 128; i++)
        used += (size_t)snprintf(spec + used, sizeof spec - used, "%s0.0078125@%d", i > 0 ? "," : "", i);
    ck_assert_uint_eq(parse(spec).count, 128);
    snprintf(spec + used, sizeof spec - used, ",0@128");
    quell_shaper out;
    quell_error err = {0};
    ck_assert_int_eq(quell_shaper_parse(&out, spec, &err), QUELL_E_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "more than 128 impulses"));
}
END_TEST

START_TEST(very_long_specifications_are_refused_and_shown_cut)
{
    static const char *const start[] = {"", "zv:", "zv:4", "ei:40:0.05:0.0", "impulses:1@", "zv:40*"};
    static const char filler[] = {'z', '9', ':', '*', '@', '\x01', ' '};
    enum { LONG = 200000 };
    char *spec = malloc(LONG + 64);
    ck_assert_ptr_nonnull(spec);
    for (size_t s = 0; s < COUNT(start); s++)
        for (size_t f = 0; f < COUNT(filler); f++) {
            size_t head = strlen(start[s]);
            memcpy(spec, start[s], head);
            memset(spec + head, filler[f], LONG);
            spec[head + LONG] = '\0';
            quell_shaper out;
            quell_error err = {0};
            quell_status status = quell_shaper_parse(&out, spec, &err);
            bool fine = filler[f] == ' ' && s == 2; /* "zv:4" and blanks */
            ck_assert_msg(status == (fine ? QUELL_OK : QUELL_E_USAGE), "%s and many '%c'", start[s],
                          filler[f]);
            ck_assert_uint_lt(strlen(err.text), sizeof err.text);
        }
    free(spec);
}
END_TEST

START_TEST(mutated_specifications_never_give_a_broken_shaper)
{
    /* seeded: characters of good specifications replaced, dropped and doubled; what is accepted must be sound */
    static const char *const good[] = {"zvd:47.2:0.05", "ei-three-hump:33.3:0.1:0.03",
                                       "zv:40:0.05*zv:65:0.02", "impulses:0.25@0,0.5@0.01,0.25@0.02",
                                       "none*ei:60:5%"};
    static const char alphabet[] = "0123456789.:*@,-+eE% zvdiumnone\t\n\x80\xff#";
    quell_random *random = quell_random_create(20261124);
    ck_assert_ptr_nonnull(random);
    size_t accepted = 0;
    for (int round = 0; round < 20000; round++) {
        char spec[128];
        strcpy(spec, good[(size_t)(quell_random_uniform(random) * COUNT(good))]);
        for (int edits = round % 3; edits >= 0; edits--) {
            size_t length = strlen(spec), at = (size_t)(quell_random_uniform(random) * (double)length);
            double kind = quell_random_uniform(random);
            if (length < 2 || length > 100)
                break;
            if (kind < 0.6)
                spec[at] = alphabet[(size_t)(quell_random_uniform(random) * (sizeof alphabet - 1))];
            else if (kind < 0.8)
                memmove(spec + at, spec + at + 1, length - at);
            else
                memmove(spec + at + 1, spec + at, length - at + 1);
        }
        quell_shaper out;
        quell_error err = {0};
        quell_status status = quell_shaper_parse(&out, spec, &err);
        if (status != QUELL_OK) {
            ck_assert_uint_gt(strlen(err.text), 0);
            continue;
        }
        accepted++;
        double sum = 0;
        ck_assert(out.count >= 1 && out.count <= QUELL_SHAPER_MAX && out.time_s[0] == 0);
        for (size_t i = 0; i < out.count; i++) {
            ck_assert(isfinite(out.amplitude[i]) && isfinite(out.time_s[i]));
            ck_assert(i == 0 || out.time_s[i] > out.time_s[i - 1]);
            sum += out.amplitude[i];
        }
        CHECK_NEAR(sum, 1, 1e-12);
    }
    quell_random_destroy(random);
    ck_assert_uint_gt(accepted, 1000); /* the mutations must reach the good side, too */
}
END_TEST

Suite *suite_shaping_spec(void)
{
    Suite *suite = suite_create("shaping_spec");
    TCase *cases = tcase_create("shaping_spec");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, a_family_with_all_its_fields);
    tcase_add_test(cases, fields_left_out_have_their_defaults);
    tcase_add_test(cases, units_and_blanks_are_read);
    tcase_add_test(cases, a_list_of_impulses_is_normalised);
    tcase_add_test(cases, none_is_one_impulse);
    tcase_add_test(cases, specifications_read_back);
    tcase_add_test(cases, a_long_list_is_cut_between_impulses);
    tcase_add_test(cases, wrong_specifications_are_refused_with_reason);
    tcase_add_test(cases, too_many_impulses_are_refused);
    tcase_add_test(cases, very_long_specifications_are_refused_and_shown_cut);
    tcase_add_test(cases, mutated_specifications_never_give_a_broken_shaper);
    suite_add_tcase(suite, cases);
    return suite;
}
