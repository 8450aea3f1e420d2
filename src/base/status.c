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
