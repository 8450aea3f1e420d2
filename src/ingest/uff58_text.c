/* Universal files: the values of a dataset 58 in text.

   Fields have a fixed width: 13 columns (E13.5), 20 for ordinates of double precision (E20.12); abscissas always have
   13. They may run together, so the columns count and not the blanks; a line that does not fit the columns is read by
   its blanks. Fortran's "1.5D+03" and "1.5-103" (an exponent of three digits) are numbers. */
#include "ingest/uff58_private.h"

#include <math.h>
#include <string.h>

enum {
    POINT_FIELDS = 3,
    LINE_BYTES = 8190,
    LINE_FIELDS = LINE_BYTES / 2,
    FIELD_BYTES = 32,
    NARROW = 13,
    WIDE = 20
};

typedef struct number_seen {
    double value;
    size_t at; /* column from 0 */
} number_seen;

/* One pass over the lines. */
typedef struct pass {
    const uff58_head *head;
    uff58_take take;
    void *context;
    size_t width[POINT_FIELDS], period; /* of the fields of one point */
    double pending[POINT_FIELDS];       /* fields of a point that is not whole yet */
    size_t filled;
    double points;
    size_t line;
    number_seen *number; /* room for those of a line */
} pass;

/* ---------------------------------------------------------------- one field */

/* "*****" is what Fortran writes for a number that does not fit its field. */
static bool is_stars(const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (text[i] != '*')
            return false;
    return length > 0;
}

/* One number without blanks around, or one that is missing (NaN); false if it is neither. `strict`: the exponent may
   lack its letter. */
static bool read_field(const char *text, size_t length, bool strict, double *out)
{
    char copy[FIELD_BYTES + 1];
    size_t used = 0;
    if (length == 0 || length >= FIELD_BYTES)
        return false;
    for (size_t i = 0; i < length; i++) {
        char c = text[i] == 'D' || text[i] == 'd' ? 'E' : text[i];
        bool follows_digit = i > 0 && ((text[i - 1] >= '0' && text[i - 1] <= '9') || text[i - 1] == '.');
        if (strict && (c == '+' || c == '-') && follows_digit && used + 1 < sizeof copy)
            copy[used++] = 'E';
        if (used < sizeof copy)
            copy[used++] = c;
    }
    if (used == sizeof copy)
        return false;
    ingest_field field = {copy, used, 0};
    if (ingest_field_read(&field, '.', out) != INGEST_TEXT)
        return true;
    *out = NAN;
    return is_stars(text, length);
}

/* ---------------------------------------------------------------- one line */

/* A field that is seen to be whole though it touches its neighbour: it has an exponent, or is all stars. */
static bool is_closed(const char *text, size_t length)
{
    if (is_stars(text, length))
        return true;
    for (size_t i = 1; i < length; i++)
        if (strchr("EeDd+-", text[i]) != NULL)
            return true;
    return false;
}

/* The line by columns; false if it does not fit them: then a field is no number, or a number goes on into the next
   field. Numbers that touch are told apart by a sign, or by exponents on both sides. */
static bool read_columns(const pass *text, const char *line, size_t length, number_seen *out, size_t *count)
{
    size_t n = 0, phase = text->filled;
    bool open = false; /* the field before ends in a digit */
    bool closed = false;
    for (size_t at = 0; at < length; at += text->width[phase++ % text->period]) {
        size_t from = at, to = at + text->width[phase % text->period];
        to = to < length ? to : length;
        bool touches = open && !ingest_is_blank(line[at]) && line[at] != '-' && line[at] != '+';
        open = !ingest_is_blank(line[to - 1]);
        while (from < to && ingest_is_blank(line[from]))
            from++;
        while (to > from && ingest_is_blank(line[to - 1]))
            to--;
        bool whole = is_closed(line + from, to - from);
        if ((touches && !(closed && whole)) || !read_field(line + from, to - from, true, &out[n].value))
            return false;
        closed = whole;
        out[n++].at = from;
    }
    *count = n;
    return true;
}

/* The line by blanks, and by signs where numbers run together. False, with the column, at what is no number. */
static bool read_blanks(const char *line, size_t length, number_seen *out, size_t *count, size_t *wrong)
{
    size_t n = 0, at = 0;
    for (;;) {
        while (at < length && (ingest_is_blank(line[at]) || line[at] == ','))
            at++;
        if (at == length)
            break;
        size_t to = at + 1;
        while (to < length && !ingest_is_blank(line[to]) && line[to] != ',' &&
               !((line[to] == '-' || line[to] == '+') && strchr("EeDd", line[to - 1]) == NULL))
            to++;
        *wrong = at;
        if (n == LINE_FIELDS || !read_field(line + at, to - at, false, &out[n].value))
            return false;
        out[n++].at = at;
        at = to;
    }
    *count = n;
    return true;
}

/* ---------------------------------------------------------------- all lines */

static quell_status hand_on(pass *text, const number_seen *number, size_t count, quell_error *err)
{
    const uff58_head *head = text->head;
    size_t first = head->even ? 0 : 1;
    for (size_t i = 0; i < count && text->points < head->points; i++) {
        text->pending[text->filled++] = number[i].value;
        if (text->filled < text->period)
            continue;
        uff58_point point = {.abscissa = head->even ? 0 : text->pending[0],
                             .real = text->pending[first],
                             .imaginary = head->is_complex ? text->pending[first + 1] : 0};
        text->filled = 0;
        text->points++;
        quell_status status = text->take(text->context, &point, err);
        if (status != QUELL_OK)
            return status;
    }
    return QUELL_OK;
}

static bool is_sign(char c)
{
    return c == '-' || c == '+';
}

/* The length of a line within which the file ends, without the number that may have lost its own end there: it is whole
   only if its field has its full width and an exponent of two or three digits. */
static size_t without_cut(const pass *text, const char *line, size_t length)
{
    size_t at = 0, phase = text->filled;
    while (at < length)
        at += text->width[phase++ % text->period];
    bool exponent = length > 4 && (is_sign(line[length - 3]) || is_sign(line[length - 4]));
    if (at == length && exponent)
        return length;
    while (length > 0 && !ingest_is_blank(line[length - 1]))
        length--;
    return length;
}

static quell_status read_line(pass *text, const char *line, size_t length, bool terminated, quell_error *err)
{
    number_seen *number = text->number;
    size_t count, wrong = 0;
    if (!terminated)
        length = without_cut(text, line, length);
    while (length > 0 && ingest_is_blank(line[length - 1]))
        length--;
    if (length > LINE_BYTES)
        return quell_fail_at(err, QUELL_E_DATA, text->line, 0,
                             "found a line of %zu bytes among the values of dataset %zu, want 80", length,
                             text->head->number);
    if (length == 0 || read_columns(text, line, length, number, &count))
        return length == 0 ? QUELL_OK : hand_on(text, number, count, err);
    if (read_blanks(line, length, number, &count, &wrong))
        return hand_on(text, number, count, err);
    char shown[32];
    return quell_fail_at(
        err, QUELL_E_DATA, text->line, wrong + 1,
        "found '%s' among the values of dataset %zu, want numbers of %zu columns each",
        quell_printable(shown, sizeof shown, line + wrong, length - wrong < 13 ? length - wrong : 13),
        text->head->number, text->width[text->period - 1]);
}

static quell_status read_lines(pass *text, ingest_lines *lines, uff58_held *out, quell_error *err)
{
    for (;;) {
        ingest_line line;
        quell_status status = ingest_lines_next(lines, &line, err);
        if (status != QUELL_OK)
            return status;
        out->ended = line.text != NULL && uff58_is_marker(line.text, line.length);
        out->points = text->points;
        if (line.text == NULL || out->ended)
            return QUELL_OK;
        text->line = lines->number;
        if (text->take != NULL && text->points < text->head->points)
            status = read_line(text, line.text, line.length, line.terminated, err);
        if (status != QUELL_OK)
            return status;
    }
}

quell_status uff58_text_values(const uff58_head *head, ingest_lines *lines, uff58_take take, void *context,
                               uff58_held *out, quell_error *err)
{
    pass text = {.head = head, .take = take, .context = context};
    if (!head->even)
        text.width[text.period++] = NARROW;
    for (size_t i = 0; i < (head->is_complex ? 2 : 1); i++)
        text.width[text.period++] = head->is_double ? WIDE : NARROW;
    text.number = quell_memory_get(LINE_FIELDS * sizeof *text.number);
    if (text.number == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    *out = (uff58_held){0};
    quell_status status = read_lines(&text, lines, out, err);
    quell_memory_free(text.number);
    return status;
}
