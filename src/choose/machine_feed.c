/* The lines of a machine file, made safe for libinih.

   The library cuts a value at " ;" even inside quotes, splits lines over 200 bytes, merges repeated sections and takes
   an indented line for the continuation of the one before. So lines are read, numbered and checked here; comments are
   taken off outside quotes; and what the library gets to see of a value is "@": the value itself is held aside. */
#include "choose/machine_private.h"

#include <stdio.h>
#include <string.h>

quell_status machine_refuse(machine_reader *reader, size_t line, const char *format, ...)
{
    if (reader->status != QUELL_OK)
        return reader->status; /* the first failure is the one told */
    va_list arguments;
    va_start(arguments, format);
    reader->status = quell_fail_list(&reader->err, QUELL_E_DATA, line, 0, format, arguments);
    va_end(arguments);
    return reader->status;
}

static int next_byte(machine_reader *reader)
{
    if (reader->chunk_at == reader->chunk_size) {
        if (reader->at_end)
            return -1;
        reader->chunk_at = reader->chunk_size = 0;
        quell_status status = reader->source->read(reader->source->context, reader->chunk,
                                                   sizeof reader->chunk, &reader->chunk_size, &reader->err);
        if (status != QUELL_OK) {
            reader->status = status;
            reader->chunk_size = 0;
        }
        reader->size_read += reader->chunk_size;
        if (reader->size_read > MACHINE_SIZE_MAX) { /* a pipe may never end */
            machine_refuse(reader, reader->line, "the file is longer than %d bytes, which is the most taken",
                           MACHINE_SIZE_MAX);
            reader->chunk_size = 0;
        }
        reader->at_end = reader->chunk_size == 0;
        if (reader->at_end)
            return -1;
    }
    return reader->chunk[reader->chunk_at++];
}

static bool too_long(machine_reader *reader)
{
    machine_refuse(reader, reader->line, "line is longer than %d bytes, which is the most taken",
                   MACHINE_LINE_MAX);
    return false;
}

/* Nothing that has no place in a text file: control characters, tabs apart, and what is not UTF-8. */
static bool all_plain(machine_reader *reader, size_t length)
{
    size_t taken;
    for (size_t i = 0; i < length; i += taken) {
        bool plain;
        taken = quell_text_character(reader->text + i, length - i, &plain);
        unsigned char c = (unsigned char)reader->text[i];
        if (plain || c == '\t')
            continue;
        machine_refuse(reader, reader->line, "found the byte 0x%02x in column %zu, want plain text%s", c,
                       i + 1, c >= 0x80 && taken == 1 ? " in UTF-8" : "");
        return false;
    }
    return true;
}

/* The next line into text, its ending (LF or CR LF) and a byte order mark at the start of the file left out.
   False at the end and on failure. */
static bool read_line(machine_reader *reader)
{
    size_t length = 0;
    int byte = next_byte(reader);
    if (byte < 0)
        return false;
    reader->line++;
    for (; byte >= 0 && byte != '\n'; byte = next_byte(reader)) {
        if (length == sizeof reader->text - 1)
            return too_long(reader);
        reader->text[length++] = (char)byte;
    }
    if (reader->status != QUELL_OK)
        return false;
    if (length > 0 && reader->text[length - 1] == '\r')
        length--;
    if (length > MACHINE_LINE_MAX)
        return too_long(reader);
    if (reader->line == 1 && length >= 3 && memcmp(reader->text, "\xef\xbb\xbf", 3) == 0)
        memmove(reader->text, reader->text + 3, length -= 3);
    if (!all_plain(reader, length))
        return false;
    reader->text[length] = '\0';
    return true;
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

static void trim_end(char *text)
{
    size_t length = strlen(text);
    while (length > 0 && is_blank(text[length - 1]))
        text[--length] = '\0';
}

/* Cuts the comment off: from a ';' at the start or after a blank, outside quotes. False if a quote stays open. */
static bool cut_comment(char *text)
{
    bool quoted = false;
    for (char *at = text; *at != '\0'; at++) {
        if (*at == '"')
            quoted = !quoted;
        if (*at == ';' && !quoted && (at == text || is_blank(at[-1]))) {
            *at = '\0';
            break;
        }
    }
    trim_end(text);
    return !quoted;
}

static quell_status feed_section(machine_reader *reader, char *out, size_t size)
{
    char shown[64];
    cut_comment(reader->text);
    size_t length = strlen(reader->text);
    if (reader->text[length - 1] != ']' || strcspn(reader->text + 1, "[]\"") != length - 2)
        return machine_refuse(reader, reader->line, "found '%s', want [section]",
                              quell_printable(shown, sizeof shown, reader->text, length));
    reader->text[length - 1] = '\0';
    quell_status status = machine_start_section(reader, reader->text + 1);
    if (status == QUELL_OK)
        snprintf(out, size, "[%s]\n", reader->section);
    return status;
}

static quell_status feed_key(machine_reader *reader, char *out, size_t size)
{
    char shown[64];
    quell_printable(shown, sizeof shown, reader->text, strlen(reader->text));
    char *equals = strchr(reader->text, '=');
    if (equals == NULL || equals == reader->text ||
        memchr(reader->text, ':', (size_t)(equals - reader->text)) != NULL)
        return machine_refuse(reader, reader->line, "found '%s', want key = value", shown);
    *equals = '\0';
    trim_end(reader->text);
    if (strpbrk(reader->text, "\";#") != NULL || strlen(reader->text) > MACHINE_NAME_MAX)
        return machine_refuse(reader, reader->line,
                              "found '%s', want key = value, the key of at most %d bytes", shown,
                              MACHINE_NAME_MAX);
    reader->value = equals + 1;
    while (is_blank(*reader->value))
        reader->value++;
    if (!cut_comment(reader->value))
        return machine_refuse(reader, reader->line, "found an opening \" and no closing one in '%s'", shown);
    if (reader->kind < 0)
        return machine_refuse(reader, reader->line, "found '%s' before any section, want a [section] first",
                              shown);
    if (reader->value[0] == '\0')
        return machine_refuse(reader, reader->line, "[%s] %s has no value, want key = value", reader->section,
                              reader->text);
    snprintf(out, size, "%s = @\n", reader->text);
    return QUELL_OK;
}

char *machine_feed(char *out, int size, void *context)
{
    machine_reader *reader = context;
    if (reader->status != QUELL_OK || !read_line(reader))
        return NULL;
    size_t blanks = strspn(reader->text, " \t");
    char first = reader->text[blanks];
    quell_status status = QUELL_OK;
    snprintf(out, (size_t)size, "\n");
    if (first == '\0' || first == ';' || first == '#')
        return out;
    if (blanks > 0) {
        char shown[64];
        quell_printable(shown, sizeof shown, reader->text + blanks, strlen(reader->text + blanks));
        status = machine_refuse(reader, reader->line,
                                "found the indented line '%s', want it to start in column 1", shown);
    } else if (first == '[') {
        status = feed_section(reader, out, (size_t)size);
    } else {
        status = feed_key(reader, out, (size_t)size);
    }
    return status == QUELL_OK ? out : NULL;
}
