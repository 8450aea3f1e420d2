/* Lines of a recording, handed out where they lie in a buffer that does not grow with the file. */
#include "ingest/ingest_private.h"

#include <string.h>

enum { BUFFER = INGEST_LINE_MAX + INGEST_READ };

quell_status ingest_lines_open(ingest_lines *lines, ingest_bytes *bytes, quell_error *err)
{
    *lines = (ingest_lines){.bytes = bytes, .terminator = '\n', .buffer = quell_memory_get(BUFFER)};
    if (lines->buffer == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    return QUELL_OK;
}

void ingest_lines_close(ingest_lines *lines)
{
    quell_memory_free(lines->buffer);
    lines->buffer = NULL;
}

/* One read more at the end of what is held; room for it must be there. */
static quell_status read_more(ingest_lines *lines, quell_error *err)
{
    if (lines->from > 0) {
        memmove(lines->buffer, lines->buffer + lines->from, lines->to - lines->from);
        lines->to -= lines->from;
        lines->from = 0;
    }
    size_t room = BUFFER - lines->to, got;
    quell_status status = ingest_bytes_read(lines->bytes, lines->buffer + lines->to,
                                            room < INGEST_READ ? room : INGEST_READ, &got, err);
    if (status != QUELL_OK)
        return status;
    lines->to += got;
    lines->ended = got == 0;
    return QUELL_OK;
}

/* A line ends in LF (CR LF included) unless the first bytes have none but do have CR. */
static char find_terminator(const char *text, size_t length)
{
    if (memchr(text, '\n', length) != NULL || memchr(text, '\r', length) == NULL)
        return '\n';
    return '\r';
}

quell_status ingest_lines_peek(ingest_lines *lines, const char **text, size_t *length, quell_error *err)
{
    static const unsigned char mark[] = {0xef, 0xbb, 0xbf}; /* UTF-8 byte order mark */
    while (!lines->ended && lines->to <= INGEST_LINE_MAX) {
        bool enough = lines->to >= INGEST_PEEK && (memchr(lines->buffer, '\n', lines->to) != NULL ||
                                                   memchr(lines->buffer, '\r', lines->to) != NULL);
        if (enough)
            break;
        quell_status status = read_more(lines, err);
        if (status != QUELL_OK)
            return status;
    }
    if (lines->number == 0 && lines->from == 0 && lines->to >= sizeof mark &&
        memcmp(lines->buffer, mark, sizeof mark) == 0)
        lines->from = sizeof mark;
    lines->terminator = find_terminator(lines->buffer + lines->from, lines->to - lines->from);
    *text = lines->buffer + lines->from;
    *length = lines->to - lines->from;
    return QUELL_OK;
}

static void hand_out(ingest_lines *lines, ingest_line *out, size_t length, bool terminated)
{
    const char *text = lines->buffer + lines->from;
    lines->from += length + terminated;
    lines->number++;
    while (length > 0 && text[length - 1] == '\r')
        length--;
    *out = (ingest_line){text, length, terminated};
}

quell_status ingest_lines_bytes(ingest_lines *lines, char *into, size_t size, size_t *got, quell_error *err)
{
    size_t held = lines->to - lines->from;
    *got = 0;
    if (held == 0 && !lines->ended) {
        quell_status status = ingest_bytes_read(lines->bytes, into, size, got, err);
        lines->ended = status == QUELL_OK && *got == 0;
        return status;
    }
    *got = size < held ? size : held;
    memcpy(into, lines->buffer + lines->from, *got);
    lines->from += *got;
    return QUELL_OK;
}

quell_status ingest_lines_next(ingest_lines *lines, ingest_line *out, quell_error *err)
{
    size_t looked_at = 0; /* bytes after `from` known to hold no line's end */
    for (;;) {
        const char *text = lines->buffer + lines->from;
        size_t held = lines->to - lines->from;
        const char *end =
            held > looked_at ? memchr(text + looked_at, lines->terminator, held - looked_at) : NULL;
        size_t length = end != NULL ? (size_t)(end - text) : held;
        if (length > INGEST_LINE_MAX)
            return quell_fail_at(err, QUELL_E_DATA, lines->number + 1, 0,
                                 "found a line of more than %d bytes, want lines of numbers",
                                 INGEST_LINE_MAX);
        if (end != NULL || (lines->ended && held > 0)) {
            hand_out(lines, out, length, end != NULL);
            return QUELL_OK;
        }
        if (lines->ended) {
            *out = (ingest_line){0};
            return QUELL_OK;
        }
        looked_at = held;
        quell_status status = read_more(lines, err);
        if (status != QUELL_OK)
            return status;
    }
}
