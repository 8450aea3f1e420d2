/* base: the status table, and error texts that stay whole, plain and within bounds whatever goes into them. */
#include "suites.h"

#include "quell/base.h"

#include <string.h>

/* Exit codes as the README promises them: 0 done, 2 usage, 3 unfit input, 4 I/O or memory, 5 limits not met. */
static const struct {
    quell_status status;
    const char *name;
    int exit_code;
} statuses[] = {
    {QUELL_OK, "ok", 0},
    {QUELL_E_USAGE, "usage", 2},
    {QUELL_E_DATA, "data", 3},
    {QUELL_E_IO, "io", 4},
    {QUELL_E_MEMORY, "memory", 4},
    {QUELL_E_NOT_MET, "not-met", 5},
    {QUELL_E_NO_SHAPER, "no-shaper", 5},
};

START_TEST(a_status_has_its_name_exit_code_and_meaning)
{
    const quell_status_info *info = quell_status_describe(statuses[_i].status);
    ck_assert_str_eq(info->name, statuses[_i].name);
    ck_assert_int_eq(info->exit_code, statuses[_i].exit_code);
    ck_assert_uint_gt(strlen(info->meaning), 3);
    ck_assert_int_ne(info->meaning[strlen(info->meaning) - 1], '.');
}
END_TEST

START_TEST(a_status_outside_the_enumeration_reads_as_usage)
{
    const int stray[] = {-1, 7, 1000};
    ck_assert_ptr_eq(quell_status_describe((quell_status)stray[_i]), quell_status_describe(QUELL_E_USAGE));
}
END_TEST

START_TEST(failing_without_an_error_object_still_returns_the_status)
{
    ck_assert_int_eq(quell_fail(NULL, QUELL_E_DATA, "rate is %d Hz, want > 0", 0), QUELL_E_DATA);
    ck_assert_int_eq(quell_fail_at(NULL, QUELL_E_IO, 3, 4, "x"), QUELL_E_IO);
    quell_error_set_file(NULL, "log.csv");
}
END_TEST

START_TEST(failing_again_keeps_file_and_axis_and_drops_the_place)
{
    quell_error err = {.axis = 'y'};
    quell_error_set_file(&err, "log.csv");
    ck_assert_int_eq(quell_fail_at(&err, QUELL_E_DATA, 17, 5, "found %d", 4), QUELL_E_DATA);
    ck_assert_uint_eq(err.line, 17);
    ck_assert_uint_eq(err.column, 5);
    ck_assert_int_eq(quell_fail(&err, QUELL_E_MEMORY, "out of memory"), QUELL_E_MEMORY);
    ck_assert_int_eq(err.status, QUELL_E_MEMORY);
    ck_assert_str_eq(err.file, "log.csv");
    ck_assert_int_eq(err.axis, 'y');
    ck_assert_uint_eq(err.line, 0);
    ck_assert_uint_eq(err.column, 0);
    ck_assert_str_eq(err.text, "out of memory");
}
END_TEST

START_TEST(the_first_file_named_stays)
{
    quell_error err = {0};
    quell_error_set_file(&err, "first.csv");
    quell_error_set_file(&err, "second.csv");
    ck_assert_str_eq(err.file, "first.csv");
}
END_TEST

START_TEST(error_text_is_built_from_its_own_old_text)
{
    quell_error err = {0};
    quell_fail(&err, QUELL_E_DATA, "found '%s'", "q");
    quell_fail(&err, QUELL_E_DATA, "option --rate: %s", err.text);
    ck_assert_str_eq(err.text, "option --rate: found 'q'");
}
END_TEST

static const struct {
    const char *file;
    size_t line, column;
    char axis;
    const char *want;
} places[] = {
    {"", 0, 0, 0, "found 3"},
    {"a.csv", 0, 0, 0, "a.csv: found 3"},
    {"a.csv", 12, 0, 0, "a.csv:12: found 3"},
    {"a.csv", 12, 7, 0, "a.csv:12:7: found 3"},
    {"a.csv", 0, 7, 0, "a.csv: found 3"}, /* a column without its line says nothing */
    {"", 12, 7, 0, "line 12:7: found 3"},
    {"", 12, 0, 'z', "line 12: axis z: found 3"},
    {"", 0, 0, 'x', "axis x: found 3"},
    {"a.csv", 0, 0, 'y', "a.csv: axis y: found 3"},
    {"a.csv", 12, 7, 'y', "a.csv:12:7: axis y: found 3"},
};

START_TEST(the_place_stands_before_the_text)
{
    quell_error err = {0};
    quell_error_set_file(&err, places[_i].file);
    quell_fail_at(&err, QUELL_E_DATA, places[_i].line, places[_i].column, "found 3");
    err.axis = places[_i].axis;
    char out[128];
    ck_assert_ptr_eq(quell_error_format(&err, out, sizeof out), out);
    ck_assert_str_eq(out, places[_i].want);
}
END_TEST

START_TEST(a_formatted_error_is_cut_with_dots_and_never_past_its_room)
{
    quell_error err = {0};
    quell_error_set_file(&err, "a.csv");
    quell_fail_at(&err, QUELL_E_DATA, 12, 7, "found 3");
    const char whole[] = "a.csv:12:7: found 3";
    for (size_t size = 1; size <= sizeof whole + 2; size++) {
        char room[80], *out = room + 8;
        memset(room, 0x55, sizeof room);
        quell_error_format(&err, out, size);
        for (size_t i = 0; i < sizeof room; i++)
            ck_assert(room[i] == 0x55 || (i >= 8 && i < 8 + size));
        size_t length = strlen(out);
        ck_assert_uint_lt(length, size);
        if (size >= sizeof whole) {
            ck_assert_str_eq(out, whole);
        } else if (size >= 4) {
            ck_assert_uint_eq(length, size - 1);
            ck_assert_str_eq(out + length - 3, "...");
            ck_assert_int_eq(memcmp(out, whole, length - 3), 0);
        }
    }
}
END_TEST

START_TEST(text_longer_than_its_room_ends_in_dots)
{
    quell_error err = {0};
    char text[2 * sizeof err.text];
    memset(text, 'q', sizeof text);
    for (size_t length = sizeof err.text - 3; length < sizeof err.text + 3; length++) {
        quell_fail(&err, QUELL_E_DATA, "%.*s", (int)length, text);
        bool cut = length >= sizeof err.text;
        ck_assert_uint_eq(strlen(err.text), cut ? sizeof err.text - 1 : length);
        ck_assert_str_eq(err.text + strlen(err.text) - 3, cut ? "..." : "qqq");
    }
}
END_TEST

/* Well-formed UTF-8 by The Unicode Standard, table 3-7. */
static bool is_utf8(const char *text)
{
    const unsigned char *at = (const unsigned char *)text;
    while (*at != 0) {
        size_t more = *at < 0x80 ? 0 : *at < 0xc2 ? 9 : *at < 0xe0 ? 1 : *at < 0xf0 ? 2 : *at < 0xf5 ? 3 : 9;
        if (more == 9 || (*at == 0xe0 && at[1] < 0xa0) || (*at == 0xed && at[1] > 0x9f) ||
            (*at == 0xf0 && at[1] < 0x90) || (*at == 0xf4 && at[1] > 0x8f))
            return false;
        for (at++; more > 0; more--, at++)
            if ((*at & 0xc0) != 0x80)
                return false;
    }
    return true;
}

START_TEST(cutting_never_splits_a_character)
{
    static const char *const piece[] = {"\xc3\xa9", "\xe2\x82\xac",
                                        "\xf0\x9f\x94\xa7"}; /* 2, 3 and 4 bytes */
    const char *repeated = piece[_i];
    for (size_t lead = 0; lead < 4; lead++) {
        char text[1200] = "abcd";
        text[lead] = '\0';
        while (strlen(text) + strlen(repeated) < sizeof text)
            memcpy(text + strlen(text), repeated, strlen(repeated) + 1);
        quell_error err = {0};
        quell_fail(&err, QUELL_E_DATA, "%s", text);
        ck_assert(is_utf8(err.text));
        ck_assert_uint_ge(strlen(err.text), sizeof err.text - 5);
        ck_assert_str_eq(err.text + strlen(err.text) - 3, "...");
        for (size_t size = 8; size < 40; size++) {
            char out[64];
            quell_error_format(&err, out, size);
            ck_assert(is_utf8(out));
            ck_assert_uint_lt(strlen(out), size);
            quell_printable(out, size, text, strlen(text));
            ck_assert(is_utf8(out));
            ck_assert_uint_lt(strlen(out), size);
            ck_assert_uint_ge(strlen(out), size - 4);
        }
        quell_error_set_file(&err, text);
        ck_assert(is_utf8(err.file));
        ck_assert_str_eq(err.file + strlen(err.file) - 3, "...");
    }
}
END_TEST

static const struct {
    const char *bytes;
    size_t length;
    const char *want;
} hostile[] = {
    {"", 0, ""},
    {"plain text", 10, "plain text"},
    {"a\tb\nc\rd", 7, "a?b?c?d"},
    {"\x1b[31mred\x1b[0m", 12, "?[31mred?[0m"}, /* terminal colours */
    {"a\0b", 3, "a?b"},
    {"\x7f", 1, "?"},
    {"m/s\xc2\xb2", 5, "m/s\xc2\xb2"},
    {"\xc2\x9b"
     "2J",
     4, "?2J"},             /* U+009B: a control sequence introducer of its own */
    {"m/s\xb2", 4, "m/s?"}, /* Latin-1 byte: not UTF-8 */
    {"\xff\xfe\x80", 3, "???"},
    {"\xc0\xaf", 2, "??"},           /* overlong '/' */
    {"\xe0\x80\xaf", 3, "???"},      /* overlong */
    {"\xed\xa0\x80", 3, "???"},      /* half of a surrogate pair */
    {"\xf4\x90\x80\x80", 4, "????"}, /* above U+10FFFF */
    {"\xe2\x82", 2, "??"},           /* cut short at the end */
    {"\xe2\x82z", 3, "??z"},
    {"\xf0\x9f\x94\xa7!", 5, "\xf0\x9f\x94\xa7!"},
};

START_TEST(hostile_bytes_print_as_question_marks)
{
    char out[64];
    ck_assert_ptr_eq(quell_printable(out, sizeof out, hostile[_i].bytes, hostile[_i].length), out);
    ck_assert_str_eq(out, hostile[_i].want);
    ck_assert(is_utf8(out));
}
END_TEST

START_TEST(printable_text_of_any_bytes_fits_and_is_plain)
{
    quell_random *random = quell_random_create(20240613);
    ck_assert_ptr_nonnull(random);
    for (int trial = 0; trial < 5000; trial++) {
        char text[48], out[64];
        size_t length = (size_t)(quell_random_uniform(random) * (double)sizeof text);
        for (size_t i = 0; i < length; i++)
            text[i] = (char)(int)(quell_random_uniform(random) * 256);
        size_t size = 8 + (size_t)(quell_random_uniform(random) * 48);
        memset(out, 0x55, sizeof out);
        quell_printable(out, size, text, length);
        ck_assert_uint_lt(strlen(out), size);
        ck_assert(is_utf8(out));
        for (size_t i = 0; out[i] != '\0'; i++) {
            unsigned char c = (unsigned char)out[i], next = (unsigned char)out[i + 1];
            if (c < 0x20 || c == 0x7f || (c == 0xc2 && next < 0xa0))
                ck_abort_msg("byte %d is left in '%s'", c, out);
        }
        for (size_t i = size; i < sizeof out; i++)
            if (out[i] != 0x55)
                ck_abort_msg("byte %zu of %zu was written", i, size);
    }
    quell_random_destroy(random);
}
END_TEST

START_TEST(printable_text_is_cut_only_when_it_must_be)
{
    char out[16];
    ck_assert_str_eq(quell_printable(out, 8, "1234567", 7), "1234567");
    ck_assert_str_eq(quell_printable(out, 8, "12345678", 8), "1234...");
    ck_assert_str_eq(quell_printable(out, 8, "12345678", 3), "123");
}
END_TEST

START_TEST(a_hostile_file_name_is_made_plain)
{
    quell_error err = {0};
    quell_error_set_file(&err, "evil\x1b]0;title\x07\n.csv");
    ck_assert_str_eq(err.file, "evil?]0;title??.csv");
}
END_TEST

#define ROWS(table) (int)(sizeof(table) / sizeof(table)[0])

START_TEST(texts_are_split_at_every_separator)
{
    quell_parts parts;
    ck_assert(quell_split(&parts, "47.3::0.05", ':'));
    ck_assert_uint_eq(parts.count, 3);
    ck_assert_str_eq(parts.part[0], "47.3");
    ck_assert_str_eq(parts.part[1], "");
    ck_assert_str_eq(parts.part[2], "0.05");
    ck_assert(quell_split(&parts, "", ':'));
    ck_assert_uint_eq(parts.count, 1);
    ck_assert_str_eq(parts.part[0], "");
    ck_assert(quell_split(&parts, "1,2,3,4,5,6,7,8", ','));
    ck_assert_uint_eq(parts.count, QUELL_PARTS_MAX);
    ck_assert(!quell_split(&parts, "1,2,3,4,5,6,7,8,", ','));
    char text[256];
    memset(text, 'a', sizeof text);
    text[sizeof parts.text - 1] = '\0';
    ck_assert(quell_split(&parts, text, ':'));
    ck_assert_uint_eq(strlen(parts.part[0]), sizeof parts.text - 1);
    text[sizeof parts.text - 1] = 'a';
    text[sizeof parts.text] = '\0';
    ck_assert(!quell_split(&parts, text, ':'));
}
END_TEST

Suite *suite_base(void)
{
    Suite *suite = suite_create("base");
    TCase *cases = tcase_create("status and errors");
    tcase_add_loop_test(cases, a_status_has_its_name_exit_code_and_meaning, 0, ROWS(statuses));
    tcase_add_loop_test(cases, a_status_outside_the_enumeration_reads_as_usage, 0, 3);
    tcase_add_test(cases, failing_without_an_error_object_still_returns_the_status);
    tcase_add_test(cases, failing_again_keeps_file_and_axis_and_drops_the_place);
    tcase_add_test(cases, the_first_file_named_stays);
    tcase_add_test(cases, error_text_is_built_from_its_own_old_text);
    tcase_add_loop_test(cases, the_place_stands_before_the_text, 0, ROWS(places));
    tcase_add_test(cases, a_formatted_error_is_cut_with_dots_and_never_past_its_room);
    tcase_add_test(cases, text_longer_than_its_room_ends_in_dots);
    tcase_add_loop_test(cases, cutting_never_splits_a_character, 0, 3);
    tcase_add_loop_test(cases, hostile_bytes_print_as_question_marks, 0, ROWS(hostile));
    tcase_add_test(cases, printable_text_of_any_bytes_fits_and_is_plain);
    tcase_add_test(cases, printable_text_is_cut_only_when_it_must_be);
    tcase_add_test(cases, a_hostile_file_name_is_made_plain);
    tcase_add_test(cases, texts_are_split_at_every_separator);
    suite_add_tcase(suite, cases);
    return suite;
}
