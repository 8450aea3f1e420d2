/* A line split into fields, and a field read as a number, a missing value or words. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

bool ingest_is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r';
}

bool ingest_word_is(const char *text, size_t length, const char *word)
{
    size_t i = 0;
    for (; i < length && word[i] != '\0'; i++) {
        char c = text[i] >= 'A' && text[i] <= 'Z' ? (char)(text[i] - 'A' + 'a') : text[i];
        if (c != word[i])
            return false;
    }
    return i == length && word[i] == '\0';
}

bool ingest_is_idle(const char *text, size_t length, char delimiter)
{
    size_t at = 0;
    while (at < length && ingest_is_blank(text[at]) && text[at] != delimiter)
        at++;
    if (at == length)
        return true;
    char c = text[at];
    if (c == '#' || c == '%' || (c == ';' && delimiter != ';'))
        return true;
    return c == '/' && at + 1 < length && text[at + 1] == '/';
}

static ingest_field trim(const char *line, size_t from, size_t to)
{
    while (from < to && ingest_is_blank(line[from]))
        from++;
    while (to > from && ingest_is_blank(line[to - 1]))
        to--;
    if (to - from >= 2 && line[from] == '"' && line[to - 1] == '"') {
        from++;
        to--;
        while (from < to && ingest_is_blank(line[from]))
            from++;
        while (to > from && ingest_is_blank(line[to - 1]))
            to--;
    }
    return (ingest_field){line + from, to - from, from};
}

/* Where the field that starts at `at` ends: at a delimiter outside quotes, or at the line's end. */
static size_t field_end(const ingest_dialect *dialect, const char *text, size_t length, size_t at)
{
    size_t first = at;
    while (first < length && ingest_is_blank(text[first]) && text[first] != dialect->delimiter)
        first++;
    if (first < length && text[first] == '"') {
        const char *closing = memchr(text + first + 1, '"', length - first - 1);
        if (closing != NULL)
            at = (size_t)(closing - text) + 1;
    }
    if (dialect->delimiter == ' ') {
        while (at < length && !ingest_is_blank(text[at]))
            at++;
        return at;
    }
    const char *found = at < length ? memchr(text + at, dialect->delimiter, length - at) : NULL;
    return found != NULL ? (size_t)(found - text) : length;
}

size_t ingest_split(const ingest_dialect *dialect, const char *text, size_t length, ingest_field *out,
                    size_t most)
{
    size_t count = 0, at = 0;
    bool runs = dialect->delimiter == ' ';
    for (;;) {
        while (runs && at < length && ingest_is_blank(text[at]))
            at++;
        if (runs && at == length)
            return count;
        size_t end = field_end(dialect, text, length, at);
        if (count < most)
            out[count] = trim(text, at, end);
        count++;
        if (end >= length)
            return count;
        at = runs ? end : end + 1;
    }
}

static bool is_missing_word(const char *text, size_t length)
{
    static const char *const word[] = {"",          "nan",      "-nan",      "+nan",    "null",   "na",
                                       "n/a",       "#n/a",     "nil",       "none",    "inf",    "-inf",
                                       "+inf",      "-",        "--",        "?",       "nul",    "nan(ind)",
                                       "-nan(ind)", "infinity", "-infinity", "1.#qnan", "-1.#ind"};
    for (size_t i = 0; i < INGEST_COUNT(word); i++)
        if (ingest_word_is(text, length, word[i]))
            return true;
    return false;
}

/* A number whose exponent is written with a D, as Fortran does for double precision: 1.5D-03. */
static bool read_double_precision(const ingest_field *field, char decimal, double *number)
{
    char copy[40];
    if (field->length >= sizeof copy)
        return false;
    size_t exponents = 0;
    for (size_t i = 0; i < field->length; i++) {
        bool is_d = field->text[i] == 'D' || field->text[i] == 'd';
        copy[i] = is_d ? 'e' : field->text[i];
        exponents += is_d;
    }
    return exponents == 1 && quell_number_read(copy, field->length, decimal, number) == field->length;
}

ingest_kind ingest_field_read(const ingest_field *field, char decimal, double *value)
{
    double number;
    size_t used = quell_number_read(field->text, field->length, decimal, &number);
    bool whole = used > 0 && (used == field->length || read_double_precision(field, decimal, &number));
    if (whole && isfinite(number)) {
        *value = number;
        return INGEST_NUMBER;
    }
    *value = NAN;
    return is_missing_word(field->text, field->length) ? INGEST_MISSING : INGEST_TEXT;
}
