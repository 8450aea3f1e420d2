/* UTF-16 text, in either order of bytes, turned into UTF-8 while it is read: the last step from source to bytes.

   It is known by its byte order mark, or by every other one of its first bytes being NUL. Source: The Unicode Standard,
   sections 3.9 and 3.10; RFC 2781. */
#include "ingest/ingest_private.h"

#include <string.h>

enum { LOOKED_AT = 16, CERTAIN = 8 };

/* Letters, digits and the like in every other byte, and NUL in the others. */
static bool alternates(const unsigned char *bytes, size_t count, size_t first_nul)
{
    for (size_t i = 0; i < count; i++) {
        bool plain = (bytes[i] >= 0x20 && bytes[i] < 0x7f) || (bytes[i] >= '\t' && bytes[i] <= '\r');
        if (i % 2 == first_nul ? bytes[i] != 0 : !plain)
            return false;
    }
    return count >= CERTAIN;
}

/* The first bytes tell what the text is; a mark is left out. */
static quell_status look(ingest_bytes *bytes, quell_error *err)
{
    ingest_utf16 *text = &bytes->utf16;
    size_t got = 1;
    while (text->held < LOOKED_AT && got > 0) {
        quell_status status =
            ingest_bytes_unpacked(bytes, (char *)text->raw + text->held, LOOKED_AT - text->held, &got, err);
        if (status != QUELL_OK)
            return status;
        text->held += got;
    }
    text->looked = true;
    const unsigned char *raw = text->raw;
    bool marked_little = text->held >= 2 && raw[0] == 0xff && raw[1] == 0xfe;
    bool marked_big = text->held >= 2 && raw[0] == 0xfe && raw[1] == 0xff;
    text->big = marked_big || (!marked_little && alternates(raw, text->held, 0));
    text->on = marked_little || text->big || alternates(raw, text->held, 1);
    size_t mark = marked_little || marked_big ? 2 : 0;
    text->held -= mark;
    memmove(text->raw, text->raw + mark, text->held);
    return QUELL_OK;
}

static void put(ingest_utf16 *text, uint32_t c)
{
    char *out = text->text + text->to;
    size_t bytes = c < 0x80 ? 1 : c < 0x800 ? 2 : c < 0x10000 ? 3 : 4;
    static const unsigned char lead[] = {0, 0, 0xc0, 0xe0, 0xf0};
    for (size_t i = bytes; i-- > 1; c >>= 6)
        out[i] = (char)(0x80 | (c & 0x3f));
    out[0] = (char)(bytes == 1 ? c : lead[bytes] | c);
    text->to += bytes;
}

/* One unit of 16 bits. Half of a pair alone becomes a question mark. */
static void convert_unit(ingest_utf16 *text, uint32_t unit)
{
    bool high = unit >= 0xd800 && unit < 0xdc00, low = unit >= 0xdc00 && unit < 0xe000;
    if (text->high != 0 && low) {
        put(text, 0x10000 + ((text->high - 0xd800) << 10) + (unit - 0xdc00));
        text->high = 0;
        return;
    }
    if (text->high != 0)
        put(text, '?');
    text->high = high ? unit : 0;
    if (!high)
        put(text, low ? '?' : unit);
}

/* All whole units that are held; a byte left over is kept. */
static void convert(ingest_utf16 *text)
{
    size_t at = 0;
    text->from = text->to = 0;
    for (; at + 2 <= text->held; at += 2) {
        uint32_t first = text->raw[at], second = text->raw[at + 1];
        convert_unit(text, text->big ? first << 8 | second : second << 8 | first);
    }
    text->held -= at;
    memmove(text->raw, text->raw + at, text->held);
}

static void hand_out(ingest_utf16 *text, char *into, size_t size, size_t *got)
{
    size_t ready = text->to - text->from;
    *got = ready < size ? ready : size;
    memcpy(into, text->text + text->from, *got);
    text->from += *got;
}

quell_status ingest_bytes_read(ingest_bytes *bytes, char *into, size_t size, size_t *got, quell_error *err)
{
    ingest_utf16 *text = &bytes->utf16;
    *got = 0;
    quell_status status = text->looked ? QUELL_OK : look(bytes, err);
    if (status != QUELL_OK)
        return status;
    if (!text->on && text->held > 0) { /* what was looked at comes first */
        memcpy(text->text, text->raw, text->held);
        text->to = text->held;
        text->held = 0;
    }
    bool more = true;
    while (text->on && more && text->from == text->to) {
        size_t read = 0;
        status = ingest_bytes_unpacked(bytes, (char *)text->raw + text->held, sizeof text->raw - text->held,
                                       &read, err);
        if (status != QUELL_OK)
            return status;
        more = read > 0;
        text->held += read;
        convert(text);
    }
    if (text->from < text->to || text->on) {
        hand_out(text, into, size, got);
        return QUELL_OK;
    }
    return ingest_bytes_unpacked(bytes, into, size, got, err);
}
