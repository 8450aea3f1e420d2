/* Status, exit codes and error texts. */
#include "base/base_private.h"

#include <stdio.h>
#include <string.h>

static const quell_status_info table[] = {
    [QUELL_OK] = {"ok", 0, "done"},
    [QUELL_E_USAGE] = {"usage", 2, "the command or a specification is wrong"},
    [QUELL_E_DATA] = {"data", 3, "the input is unfit"},
    [QUELL_E_IO] = {"io", 4, "reading, writing or starting a program failed"},
    [QUELL_E_MEMORY] = {"memory", 4, "out of memory"},
    [QUELL_E_NOT_MET] = {"not-met", 5, "nothing meets the limits asked for"},
    [QUELL_E_NO_SHAPER] = {"no-shaper", 5, "the shaper does not exist there"},
};

const quell_status_info *quell_status_describe(quell_status status)
{
    size_t row = (size_t)status;
    return &table[row < sizeof table / sizeof table[0] ? row : QUELL_E_USAGE];
}

/* Ends text in "..." if snprintf could not fit it: nothing is cut silently, and no UTF-8 character is split. */
static void mark_cut(char *text, size_t size, int wanted)
{
    if (wanted < 0)
        text[0] = '\0';
    if (wanted < 0 || (size_t)wanted < size || size < 4)
        return;
    size_t cut = size - 4;
    for (int back = 0; back < 3 && cut > 0 && ((unsigned char)text[cut] & 0xc0) == 0x80; back++)
        cut--;
    memcpy(text + cut, "...", 4);
}

quell_status quell_fail_list(quell_error *err, quell_status status, size_t line, size_t column,
                             const char *format, va_list arguments)
{
    if (err != NULL) {
        err->status = status;
        err->line = line;
        err->column = column;
        /* The arguments may point into err->text itself, so the new text is built aside. */
        char text[sizeof err->text];
        mark_cut(text, sizeof text, quell_print_plain(text, sizeof text, format, arguments));
        memcpy(err->text, text, sizeof text);
    }
    return status;
}

quell_status quell_fail(quell_error *err, quell_status status, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    quell_fail_list(err, status, 0, 0, format, arguments);
    va_end(arguments);
    return status;
}

quell_status quell_fail_at(quell_error *err, quell_status status, size_t line, size_t column,
                           const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    quell_fail_list(err, status, line, column, format, arguments);
    va_end(arguments);
    return status;
}

void quell_error_set_file(quell_error *err, const char *file)
{
    if (err != NULL && err->file[0] == '\0')
        quell_printable(err->file, sizeof err->file, file, strlen(file));
}

const char *quell_error_format(const quell_error *err, char *out, size_t size)
{
    char place[sizeof err->file + 80] = "";
    int used = 0;
    if (err->file[0] != '\0')
        used = snprintf(place, sizeof place, "%s:", err->file);
    if (err->line > 0)
        used +=
            snprintf(place + used, sizeof place - (size_t)used, "%s%zu:", used > 0 ? "" : "line ", err->line);
    if (err->line > 0 && err->column > 0)
        used += snprintf(place + used, sizeof place - (size_t)used, "%zu:", err->column);
    const char *gap = used > 0 ? " " : "";
    if (err->axis != 0)
        mark_cut(out, size, snprintf(out, size, "%s%saxis %c: %s", place, gap, err->axis, err->text));
    else
        mark_cut(out, size, snprintf(out, size, "%s%s%s", place, gap, err->text));
    return out;
}

/* Bytes of the well-formed UTF-8 character at the start of `left` bytes, 1 for a byte that starts none; *plain: is it
   text, neither malformed nor a control character? Source: The Unicode Standard, table 3-7. */
static size_t character(const unsigned char *at, size_t left, bool *plain)
{
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
        size_t length = form[i].length;
        if (at[0] < form[i].lead_low || at[0] > form[i].lead_high || length > left)
            continue;
        if (length > 1 && (at[1] < form[i].second_low || at[1] > form[i].second_high))
            return 1;
        for (size_t k = 2; k < length; k++)
            if ((at[k] & 0xc0) != 0x80)
                return 1;
        bool control = length == 1 ? at[0] < 0x20 || at[0] == 0x7f : at[0] == 0xc2 && at[1] < 0xa0;
        *plain = !control;
        return length;
    }
    return 1;
}

const char *quell_printable(char *out, size_t size, const char *text, size_t length)
{
    size_t used = 0, keep = 0; /* keep: where "..." still fits */
    for (size_t i = 0; i < length;) {
        bool plain;
        size_t taken = character((const unsigned char *)text + i, length - i, &plain);
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
