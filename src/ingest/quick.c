/* Rows of plain numbers, read straight from the buffer: the loop in which the time of reading goes.

   Each row is walked once. Whatever is not a plain number at its place, a row that is short, a line that may be a
   comment, a stamp that runs back: the loop stops before it, and the careful way (row.c) decides. */
#include "ingest/ingest_private.h"

#include "base/digits.h"

#include <string.h>

/* The place after `columns` more delimiters; NULL if the line, or what may be looked at, ends before. */
static const char *skip_columns(const char *at, const char *limit, char delimiter, size_t columns)
{
    while (columns > 0) {
        while (at < limit && *at != delimiter && *at != '\n')
            at++;
        if (at >= limit || *at == '\n')
            return NULL;
        at++;
        columns--;
    }
    return at;
}

/* The start of the line after the one whose last needed number ends at `at`; NULL if it is not held to its end or goes
   on with anything but a further column. */
static const char *finish_line(const char *at, const char *end, char delimiter)
{
    if (*at == '\n')
        return at + 1;
    if (*at == '\r' && at[1] == '\n')
        return at + 2;
    if (*at != delimiter)
        return NULL;
    const char *newline = memchr(at, '\n', (size_t)(end - at));
    return newline != NULL ? newline + 1 : NULL;
}

/* One row into value[slot]; NULL if it is not plain. limit: QUELL_DIGITS_REACH before the end of what is held. */
static inline const char *read_row(const ingest_row_plan *plan, const char *at, const char *limit,
                                   const char *end, double value[INGEST_SLOTS])
{
    const char delimiter = plan->dialect.delimiter, decimal = plan->dialect.decimal;
    size_t column = 0;
    for (size_t s = 0; s < plan->slots; s++) {
        if (plan->column[s] != column) {
            at = skip_columns(at, limit, delimiter, plan->column[s] - column);
            if (at == NULL)
                return NULL;
            column = plan->column[s];
        }
        while (at < limit && *at == ' ')
            at++;
        if (at >= limit)
            return NULL;
        size_t used = quell_digits_quick(at, decimal, &value[plan->slot[s]]);
        if (used == 0)
            return NULL;
        at += used;
        if (s + 1 < plan->slots) {
            if (*at != delimiter)
                return NULL;
            at++;
            column++;
        }
    }
    return finish_line(at, end, delimiter);
}

const char *ingest_rows_quick(const ingest_row_plan *plan, const char *at, const char *end, double *newest,
                              double leap, ingest_batch *out)
{
    if (plan->dialect.quoted || plan->dialect.delimiter == ' ' || end - at <= QUELL_DIGITS_REACH)
        return at;
    const char *limit = end - QUELL_DIGITS_REACH;
    double value[INGEST_SLOTS] = {*newest};
    size_t row = out->rows;
    for (; row < INGEST_BATCH && at < limit; row++) {
        /* where the first column is not looked at, the line may be a comment */
        bool is_row = plan->column[0] == 0 || (unsigned)((unsigned char)*at - '0') < 10 || *at == '-';
        const char *next = is_row ? read_row(plan, at, limit, end, value) : NULL;
        if (next == NULL || !(value[0] >= *newest && value[0] - *newest <= leap))
            break;
        *newest = value[0];
        out->stamp[row] = value[0];
        for (size_t k = 0; k < 3; k++)
            out->value[k][row] = value[k + 1];
        out->counter[row] = value[4];
        at = next;
    }
    out->rows = row;
    return at;
}
