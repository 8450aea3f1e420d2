/* Universal files: the values of a dataset 58b, IEEE 754 in either byte order.

   How many bytes there are is what the head says, whatever they look like; they are never trusted to be there. */
#include "ingest/uff58_private.h"

#include <math.h>
#include <string.h>

enum { BLOCK = 48 << 10 }; /* bytes read at a time */

/* How a point lies in the bytes. */
typedef struct shape {
    const uff58_head *head;
    size_t abscissa, ordinate, point; /* bytes; abscissa 0 if the spacing is even */
} shape;

static double decode(const unsigned char *bytes, size_t width, bool big_endian)
{
    uint64_t bits = 0;
    for (size_t i = 0; i < width; i++)
        bits = bits << 8 | bytes[big_endian ? i : width - 1 - i];
    if (width == 8) {
        double value;
        memcpy(&value, &bits, sizeof value);
        return isfinite(value) ? value : (double)NAN;
    }
    uint32_t half = (uint32_t)bits;
    float value;
    memcpy(&value, &half, sizeof value);
    return isfinite(value) ? (double)value : (double)NAN;
}

/* Abscissas are single even beside double ordinates, unless the number of bytes says otherwise. */
static shape shape_of(const uff58_head *head)
{
    shape out = {.head = head, .ordinate = head->is_double ? 8 : 4};
    size_t ordinates = (head->is_complex ? 2 : 1) * out.ordinate;
    if (!head->even)
        out.abscissa = head->bytes == head->points * (double)(8 + ordinates) ? 8 : 4;
    out.point = out.abscissa + ordinates;
    return out;
}

static uff58_point point_at(const shape *form, const unsigned char *bytes)
{
    const uff58_head *head = form->head;
    uff58_point point = {0};
    if (form->abscissa > 0)
        point.abscissa = decode(bytes, form->abscissa, head->big_endian);
    bytes += form->abscissa;
    point.real = decode(bytes, form->ordinate, head->big_endian);
    if (head->is_complex)
        point.imaginary = decode(bytes + form->ordinate, form->ordinate, head->big_endian);
    return point;
}

/* Up to `want` bytes, fewer only at the end of the file. */
static quell_status read_block(ingest_lines *lines, char *into, size_t want, size_t *got, quell_error *err)
{
    *got = 0;
    while (*got < want) {
        size_t some;
        quell_status status = ingest_lines_bytes(lines, into + *got, want - *got, &some, err);
        if (status != QUELL_OK || some == 0)
            return status;
        *got += some;
    }
    return QUELL_OK;
}

static quell_status read_points(const shape *form, ingest_lines *lines, char *block, uff58_take take,
                                void *context, uff58_held *out, quell_error *err)
{
    const uff58_head *head = form->head;
    const size_t whole = BLOCK / form->point * form->point;
    double left = head->bytes;
    while (left > 0) {
        size_t want = left < (double)whole ? (size_t)left : whole, got;
        quell_status status = read_block(lines, block, want, &got, err);
        if (status != QUELL_OK)
            return status;
        for (size_t at = 0; take != NULL && got - at >= form->point && out->points < head->points;
             at += form->point, out->points++) {
            uff58_point point = point_at(form, (const unsigned char *)block + at);
            status = take(context, &point, err);
            if (status != QUELL_OK)
                return status;
        }
        left -= (double)got;
        if (got < want)
            break;
    }
    return QUELL_OK;
}

quell_status uff58_binary_values(const uff58_head *head, ingest_lines *lines, uff58_take take, void *context,
                                 uff58_held *out, quell_error *err)
{
    shape form = shape_of(head);
    char *block = quell_memory_get(BLOCK);
    *out = (uff58_held){0};
    if (block == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    quell_status status = read_points(&form, lines, block, take, context, out, err);
    quell_memory_free(block);
    while (status == QUELL_OK && !out->ended) {
        ingest_line line;
        status = ingest_lines_next(lines, &line, err);
        if (status == QUELL_OK && line.text == NULL)
            break;
        if (status == QUELL_OK)
            out->ended = uff58_is_marker(line.text, line.length);
    }
    return status;
}
