/* Text of unknown origin: UTF-8 characters, their number, and a form that is safe to print. */
#include "quell/base.h"

#include <string.h>

size_t quell_text_character(const char *text, size_t length, bool *plain)
{
    const unsigned char *at = (const unsigned char *)text;
    static const struct {
        unsigned char lead_low, lead_high, second_low, second_high;
        size_t length;
    } form[] = {
        {0x00, 0x7f, 0, 0, 1},       {0xc2, 0xdf, 0x80, 0xbf, 2}, {0xe0, 0xe0, 0xa0, 0xbf, 3},
        {0xe1, 0xec, 0x80, 0xbf, 3}, {0xed, 0xed, 0x80, 0x9f, 3}, {0xee, 0xef, 0x80, 0xbf, 3},
        {0xf0, 0xf0, 0x90, 0xbf, 4}, {0xf1, 0xf3, 0x80, 0xbf, 4}, {0xf4, 0xf4, 0x80, 0x8f, 4},
    };
    *plain = false;
    for (size_t i = 0; i < sizeof form / sizeof form[0]; i++) {
        size_t bytes = form[i].length;
        if (at[0] < form[i].lead_low || at[0] > form[i].lead_high || bytes > length)
            continue;
        if (bytes > 1 && (at[1] < form[i].second_low || at[1] > form[i].second_high))
            return 1;
        for (size_t k = 2; k < bytes; k++)
            if ((at[k] & 0xc0) != 0x80)
                return 1;
        bool control = bytes == 1 ? at[0] < 0x20 || at[0] == 0x7f : at[0] == 0xc2 && at[1] < 0xa0;
        *plain = !control;
        return bytes;
    }
    return 1;
}

size_t quell_text_width(const char *text, size_t length)
{
    size_t count = 0;
    for (size_t i = 0; i < length; i++)
        count += ((unsigned char)text[i] & 0xc0) != 0x80;
    return count;
}

const char *quell_printable(char *out, size_t size, const char *text, size_t length)
{
    size_t used = 0, keep = 0; /* keep: where "..." still fits */
    for (size_t i = 0; i < length;) {
        bool plain;
        size_t taken = quell_text_character(text + i, length - i, &plain);
        size_t add = plain ? taken : 1;
        if (used + add > size - 1) {
            memcpy(out + keep, "...", 4);
            return out;
        }
        memcpy(out + used, plain ? text + i : "?", add);
        used += add;
        i += taken;
        if (used <= size - 4)
            keep = used;
    }
    out[used] = '\0';
    return out;
}

bool quell_split(quell_parts *out, const char *text, char separator)
{
    size_t length = strlen(text);
    out->count = 0;
    if (length >= sizeof out->text)
        return false;
    memcpy(out->text, text, length + 1);
    for (char *at = out->text; at != NULL;) {
        if (out->count == QUELL_PARTS_MAX)
            return false;
        out->part[out->count++] = at;
        at = strchr(at, separator);
        if (at != NULL)
            *at++ = '\0';
    }
    return true;
}
