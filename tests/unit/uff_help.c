/* Universal files made in memory. Format: Structural Dynamics Research Corporation, dataset types 58 and 58b (from
   memory), checked against the files of others that tests/external reads. */
#include "uff_help.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *line_end(const test_uff *set)
{
    return set->end != NULL ? set->end : "\n";
}

static const char *or_none(const char *text)
{
    return text != NULL ? text : "NONE";
}

void test_uff_head(test_text *text, const test_uff *set, const char *first_line)
{
    const char *end = line_end(set);
    test_text_add(text, "    -1%s%s%s", end, first_line, end);
    test_text_add(text, "run 7%sNONE%s01-Jan-20 10:00:00%sNONE%sNONE%s", end, end, end, end, end);
    test_text_add(text, "%5d%10d%5d%10d %-10s%10d%4d %-10s%10d%4d%s", set->function, 0, 0, 0, "NONE",
                  set->node, set->direction, "NONE", 0, 0, end);
    test_text_add(text, "%10d%10zu%10d%13.5E%13.5E%13.5E%s", set->kind, set->points, set->uneven ? 0 : 1,
                  set->start, set->increment, 0.0, end);
    test_text_add(text, "%10d%5d%5d%5d %-20s %-20s%s", set->abscissa, 0, 0, 0, "Time",
                  set->time_unit != NULL ? set->time_unit : "s", end);
    test_text_add(text, "%10d%5d%5d%5d %-20s %-20s%s", set->ordinate, 0, 0, 0, or_none(set->label),
                  or_none(set->unit), end);
    for (size_t i = 0; i < 2; i++)
        test_text_add(text, "%10d%5d%5d%5d %-20s %-20s%s", 0, 0, 0, 0, "NONE", "NONE", end);
}

void test_uff_text(test_text *text, const test_uff *set, size_t held, test_uff_value value)
{
    const char *end = line_end(set);
    bool wide = set->kind == 4 || set->kind == 6;
    size_t parts = set->kind > 4 ? 2 : 1, column = 0;
    test_uff_head(text, set, "    58");
    for (size_t i = 0; i < held; i++)
        for (size_t part = set->uneven ? 0 : 1; part <= parts; part++) {
            size_t width = wide && part > 0 ? 20 : 13;
            if (column + width > 80) {
                test_text_add(text, "%s", end);
                column = 0;
            }
            test_text_add(text, width == 20 ? "%20.12E" : "%13.5E", value(i, part));
            column += width;
        }
    test_text_add(text, "%s    -1%s", column > 0 ? end : "", end);
}

void test_bytes_add(test_text *text, const void *bytes, size_t length)
{
    if (text->length + length + 1 > text->capacity) {
        text->capacity = 2 * (text->length + length + 1);
        text->bytes = realloc(text->bytes, text->capacity);
        ck_assert_ptr_nonnull(text->bytes);
    }
    memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
}

static void add_value(test_text *text, double value, size_t width, bool big_endian)
{
    unsigned char bytes[8];
    float narrow = (float)value;
    uint64_t bits = 0;
    uint32_t half;
    if (width == 8) {
        memcpy(&bits, &value, 8);
    } else {
        memcpy(&half, &narrow, 4);
        bits = half;
    }
    for (size_t i = 0; i < width; i++)
        bytes[big_endian ? width - 1 - i : i] = (unsigned char)(bits >> (8 * i));
    test_bytes_add(text, bytes, width);
}

void test_uff_binary(test_text *text, const test_uff *set, size_t held, test_uff_value value, bool big_endian)
{
    char first[96];
    bool wide = set->kind == 4 || set->kind == 6;
    size_t parts = set->kind > 4 ? 2 : 1, width = wide ? 8 : 4;
    size_t point = parts * width + (set->uneven ? 4 : 0);
    snprintf(first, sizeof first, "    58b%6d%6d%12d%12zu%6d%6d%12d%12d", big_endian ? 2 : 1, 2, 11,
             set->points * point, 0, 0, 0, 0);
    test_uff_head(text, set, first);
    for (size_t i = 0; i < held; i++)
        for (size_t part = set->uneven ? 0 : 1; part <= parts; part++)
            add_value(text, value(i, part), part == 0 ? 4 : width, big_endian);
    test_text_add(text, "    -1%s", line_end(set));
}
