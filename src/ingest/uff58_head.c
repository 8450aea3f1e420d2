/* Universal files: the lines that open a dataset, and the eleven lines of text at the head of a dataset 58. */
#include "ingest/uff58_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

bool uff58_is_marker(const char *text, size_t length)
{
    size_t at = 0;
    while (at < length && text[at] == ' ')
        at++;
    if (at == 0 || at > 5 || length - at < 2 || text[at] != '-' || text[at + 1] != '1')
        return false;
    for (at += 2; at < length && ingest_is_blank(text[at]);)
        at++;
    return at == length;
}

/* ---------------------------------------------------------------- fields of fixed width */

/* Columns [from, from + width) of a line, from 0, without blanks around. */
static ingest_span columns(const char *text, size_t length, size_t from, size_t width)
{
    if (from >= length)
        return (ingest_span){text + length, 0};
    size_t to = width < length - from ? from + width : length;
    while (from < to && ingest_is_blank(text[from]))
        from++;
    while (to > from && ingest_is_blank(text[to - 1]))
        to--;
    return (ingest_span){text + from, to - from};
}

/* False unless the whole of the span is one number. */
static bool number_of(ingest_span span, double *out)
{
    double value;
    char copy[32];
    if (span.length == 0 || span.length >= sizeof copy)
        return false;
    for (size_t i = 0; i < span.length; i++) /* Fortran's D is an E */
        copy[i] = span.text[i] == 'D' || span.text[i] == 'd' ? 'E' : span.text[i];
    if (quell_number_read(copy, span.length, '.', &value) != span.length)
        return false;
    *out = value;
    return true;
}

static bool integer_of(ingest_span span, long *out)
{
    double value;
    if (!number_of(span, &value) || !(fabs(value) <= 2e9) || value != floor(value))
        return false;
    *out = (long)value;
    return true;
}

/* The next run of characters that are not blank from *at on; length 0 at the end of the line. */
static ingest_span word(const char *text, size_t length, size_t *at)
{
    while (*at < length && ingest_is_blank(text[*at]))
        ++*at;
    size_t from = *at;
    while (*at < length && !ingest_is_blank(text[*at]))
        ++*at;
    return (ingest_span){text + from, *at - from};
}

bool uff58_number(const char *text, size_t length, long *number, char *letter)
{
    size_t at = 0;
    ingest_span first = word(text, length, &at);
    *letter = '\0';
    if (first.length > 1 && first.text[first.length - 1] >= 'a' && first.text[first.length - 1] <= 'z')
        *letter = first.text[--first.length];
    return first.length <= 6 && integer_of(first, number) && *number >= 0;
}

static size_t line_end(const char *text, size_t length, size_t from)
{
    while (from < length && text[from] != '\n' && text[from] != '\r')
        from++;
    return from;
}

/* The first line is "    -1" and the second, if there is one, the number of a dataset. */
bool ingest_uff58_recognise(const char *text, size_t length)
{
    size_t first = line_end(text, length, 0), second = first;
    while (second < length && second < first + 2 && line_end(text, length, second) == second)
        second++;
    size_t end = line_end(text, length, second);
    long number;
    char letter;
    return uff58_is_marker(text, first) &&
           (end == second || uff58_number(text + second, end - second, &number, &letter));
}

/* ---------------------------------------------------------------- texts */

/* UTF-8 as it is, any other byte as Latin-1 has it; control characters become '?'. */
static void plain_text(char *out, size_t size, ingest_span span)
{
    size_t used = 0;
    if (ingest_word_is(span.text, span.length, "none"))
        span.length = 0;
    for (size_t at = 0; at < span.length;) {
        bool plain;
        size_t bytes = quell_text_character(span.text + at, span.length - at, &plain);
        unsigned char byte = (unsigned char)span.text[at];
        bool latin = !plain && byte >= 0xa0;
        if (used + (latin ? 2 : bytes) >= size)
            break;
        if (latin) {
            out[used++] = (char)(0xc0 | byte >> 6);
            out[used++] = (char)(0x80 | (byte & 0x3f));
        } else if (plain) {
            memcpy(out + used, span.text + at, bytes);
            used += bytes;
        } else {
            out[used++] = '?';
        }
        at += bytes;
    }
    out[used] = '\0';
}

/* ---------------------------------------------------------------- records */

/* Record 6: what kind of function, and where it was measured. Format 2(I5,I10),2(1X,A10,I10,I4). */
static void read_function(uff58_head *out, const char *text, size_t length)
{
    size_t at = 0;
    out->function = -1;
    if (!integer_of(columns(text, length, 0, 5), &out->function))
        integer_of(word(text, length, &at), &out->function);
    plain_text(out->entity, sizeof out->entity, columns(text, length, 31, 10));
    if (!integer_of(columns(text, length, 41, 10), &out->node))
        out->node = 0;
    if (!integer_of(columns(text, length, 51, 4), &out->direction) || labs(out->direction) > 6)
        out->direction = 0;
}

/* Record 7: the shape of the values. Format 3I10,3E13.5; or numbers with blanks between. */
static void read_shape(uff58_head *out, const char *text, size_t length)
{
    static const unsigned char width[] = {10, 10, 10, 13, 13};
    double value[5];
    bool fixed = true;
    size_t from = 0;
    for (size_t i = 0; i < 5; from += width[i++])
        fixed = number_of(columns(text, length, from, width[i]), &value[i]) && fixed;
    size_t at = 0;
    for (size_t i = 0; !fixed && i < 5; i++)
        if (!number_of(word(text, length, &at), &value[i]))
            value[i] = NAN;
    bool known = value[0] == 2 || value[0] == 4 || value[0] == 5 || value[0] == 6;
    out->kind = known ? (long)value[0] : -1;
    out->is_double = out->kind == 4 || out->kind == 6;
    out->is_complex = out->kind == 5 || out->kind == 6;
    out->points = value[1];
    out->even = value[2] != 0;
    out->start = value[3];
    out->increment = value[4];
}

/* Records 8 to 11: an axis. Format I10,3I5,2(1X,A20). A label with characters of two bytes may move the unit. */
static void read_axis(uff58_axis *out, const char *text, size_t length)
{
    if (!integer_of(columns(text, length, 0, 10), &out->type) || out->type < 0)
        out->type = UFF58_UNKNOWN;
    size_t split = 46;
    while (split < length && split < 56 && !ingest_is_blank(text[split]))
        split++;
    plain_text(out->label, sizeof out->label, columns(text, length, 26, split - 26));
    plain_text(out->unit, sizeof out->unit, columns(text, length, split, 24));
}

/* "58b" is followed by the byte order (1 little, 2 big), the kind of floating point (2: IEEE 754), and how many lines
   and bytes there are. Format I6,A1,2I6,2I12; or numbers with blanks between. */
static quell_status read_sizes(uff58_head *out, const char *text, size_t length, size_t *lines, size_t line,
                               quell_error *err)
{
    static const unsigned char width[] = {6, 6, 12, 12};
    double value[4];
    bool fixed = true;
    size_t from = 7, at = 0;
    for (size_t i = 0; i < 4; from += width[i++])
        fixed = number_of(columns(text, length, from, width[i]), &value[i]) && fixed;
    word(text, length, &at);
    for (size_t i = 0; i < 4; i++) {
        ingest_span found = word(text, length, &at);
        char shown[24];
        bool read = fixed || number_of(found, &value[i]);
        if (!read || value[i] != floor(value[i]) || value[i] < 0)
            return quell_fail_at(err, QUELL_E_DATA, line, at + 1,
                                 "found '%s' behind 58b, want byte order, floating point, lines and bytes",
                                 quell_printable(shown, sizeof shown, found.text, found.length));
    }
    if (value[0] != 1 && value[0] != 2)
        return quell_fail_at(err, QUELL_E_DATA, line, 0, "byte order is %.0f, want 1 or 2", value[0]);
    if (value[1] != 2)
        return quell_fail_at(err, QUELL_E_DATA, line, 0,
                             "the values are %s floating point, want IEEE 754 (2), or a file in text",
                             value[1] == 1   ? "VAX"
                             : value[1] == 3 ? "IBM 370"
                                             : "an unknown kind of");
    if (value[2] != 0 && (value[2] < UFF58_HEAD_LINES || value[2] > UFF58_HEAD_LINES_MAX))
        return quell_fail_at(err, QUELL_E_DATA, line, 0, "the head has %.0f lines, want %d", value[2],
                             UFF58_HEAD_LINES);
    out->big_endian = value[0] == 2;
    out->bytes = value[3];
    *lines = value[2] == 0 ? UFF58_HEAD_LINES : (size_t)value[2];
    return QUELL_OK;
}

quell_status uff58_head_read(uff58_head *out, ingest_lines *lines, const char *text, size_t length,
                             char letter, quell_error *err)
{
    uff58_head head = {.line = lines->number, .binary = letter == 'b', .function = -1};
    size_t count = UFF58_HEAD_LINES;
    quell_status status = QUELL_OK;
    if (head.binary)
        status = read_sizes(&head, text, length, &count, head.line, err);
    for (size_t i = 0; status == QUELL_OK && i < count; i++) {
        ingest_line line;
        status = ingest_lines_next(lines, &line, err);
        if (status != QUELL_OK)
            break;
        if (line.text == NULL || uff58_is_marker(line.text, line.length))
            return quell_fail_at(err, QUELL_E_DATA, head.line, 0,
                                 "the dataset 58 that begins here has %zu of the %zu lines of its head", i,
                                 count);
        if (i == 5)
            read_function(&head, line.text, line.length);
        else if (i == 6)
            read_shape(&head, line.text, line.length);
        else if (i == 7)
            read_axis(&head.abscissa, line.text, line.length);
        else if (i == 8)
            read_axis(&head.ordinate, line.text, line.length);
    }
    if (status == QUELL_OK)
        *out = head;
    return status;
}

quell_status uff58_head_check(const uff58_head *head, quell_error *err)
{
    size_t line = head->line + 7; /* record 7 */
    if (head->kind < 0)
        return quell_fail_at(err, QUELL_E_DATA, line, 0,
                             "the ordinate data type is none that there is, want 2, 4, 5 or 6");
    if (!(head->points >= 0) || head->points != floor(head->points))
        return quell_fail_at(err, QUELL_E_DATA, line, 0, "found no number of points, want one from 1 on");
    if (head->even && !(head->increment > 0 && isfinite(head->increment) && isfinite(head->start)))
        return quell_fail_at(err, QUELL_E_DATA, line, 0,
                             "the increment of the abscissa is %g from %g on, want one above 0",
                             head->increment, head->start);
    if (head->binary && head->points > 0 && head->bytes == 0)
        return quell_fail_at(err, QUELL_E_DATA, head->line, 0,
                             "%.0f points are said to take 0 bytes, want their true number", head->points);
    return QUELL_OK;
}
