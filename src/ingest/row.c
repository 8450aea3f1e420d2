/* The numbers of one row, read where they lie: the loop in which the time of reading goes. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

/* A plan without quotes walks the line once. All helpers return a place at or before `end`. */

static const char *skip_blanks(const char *at, const char *end)
{
    while (at < end && *at == ' ')
        at++;
    return at;
}

static const char *skip_run(const char *at, const char *end)
{
    while (at < end && ingest_is_blank(*at))
        at++;
    return at;
}

/* The end of the field at `at`. */
static const char *field_end(char delimiter, const char *at, const char *end)
{
    if (delimiter != ' ') {
        const char *found = memchr(at, delimiter, (size_t)(end - at));
        return found != NULL ? found : end;
    }
    while (at < end && !ingest_is_blank(*at))
        at++;
    return at;
}

/* The field that starts at `at` is no plain number: missing, or words. */
static ingest_row judge_field(const ingest_row_plan *plan, const char *line, const char *at, const char *end,
                              size_t s, double *value, ingest_trouble *trouble)
{
    const char *to = field_end(plan->dialect.delimiter, at, end);
    while (to > at && ingest_is_blank(to[-1]))
        to--;
    ingest_field field = {at, (size_t)(to - at), (size_t)(at - line)};
    ingest_kind kind = ingest_field_read(&field, plan->dialect.decimal, value);
    if (kind == INGEST_NUMBER)
        return INGEST_ROW_WHOLE;
    *trouble = (ingest_trouble){plan->slot[s], field};
    return kind == INGEST_TEXT ? INGEST_ROW_TEXT : INGEST_ROW_LACKING;
}

/* A row that ends too soon: of its slots only those before `whole` were followed by a delimiter, and hold all that was
   written there. */
static ingest_row cut_short(const ingest_row_plan *plan, size_t whole, double value[INGEST_SLOTS])
{
    for (size_t s = whole; s < plan->slots; s++)
        value[plan->slot[s]] = NAN;
    return INGEST_ROW_SHORT;
}

static ingest_row read_plain(const ingest_row_plan *plan, const char *line, size_t length,
                             double value[INGEST_SLOTS], ingest_trouble *trouble)
{
    const char *at = line, *const end = line + length;
    const char delimiter = plan->dialect.delimiter;
    const bool runs = delimiter == ' ';
    ingest_row outcome = INGEST_ROW_WHOLE;
    size_t column = 0;
    for (size_t s = 0; s < plan->slots; s++) {
        if (runs && s == 0)
            at = skip_run(at, end);
        for (size_t from = column; column < plan->column[s]; column++) {
            at = field_end(delimiter, at, end);
            if (at == end)
                return cut_short(plan, column == from && s > 0 ? s - 1 : s, value);
            at = runs ? skip_run(at, end) : at + 1;
        }
        if (runs && at == end)
            return cut_short(plan, s, value);
        at = skip_blanks(at, end);
        double *number = &value[plan->slot[s]];
        size_t used = quell_number_read(at, (size_t)(end - at), plan->dialect.decimal, number);
        const char *after = at + used;
        bool whole = used > 0 && (after == end || *after == delimiter || (runs && ingest_is_blank(*after)));
        if (!whole || !isfinite(*number)) {
            ingest_row field = judge_field(plan, line, at, end, s, number, trouble);
            if (field == INGEST_ROW_TEXT)
                return field;
            if (field != INGEST_ROW_WHOLE)
                outcome = field;
            after = field_end(delimiter, at, end);
        }
        at = after;
    }
    return outcome;
}

/* A row whose time stands in words. A field that is empty, or a word for nothing, is a missing stamp. */
static ingest_row read_stamp(const ingest_row_plan *plan, const ingest_field *field, size_t count,
                             double *value, ingest_trouble *trouble)
{
    if (ingest_stamp_seconds(&plan->stamps, field, count, value))
        return INGEST_ROW_WHOLE;
    *trouble = (ingest_trouble){0, field[plan->stamps.clock]};
    return ingest_field_read(&trouble->field, plan->dialect.decimal, value) == INGEST_MISSING
               ? INGEST_ROW_LACKING
               : INGEST_ROW_TEXT;
}

/* A row with quotes or stamps in words is split into fields first. */
static ingest_row read_fields(const ingest_row_plan *plan, const char *line, size_t length,
                              double value[INGEST_SLOTS], ingest_trouble *trouble)
{
    ingest_field field[INGEST_COLUMNS_MAX];
    size_t count = ingest_split(&plan->dialect, line, length, field, INGEST_COLUMNS_MAX);
    ingest_row outcome = INGEST_ROW_WHOLE;
    for (size_t s = 0; s < plan->slots; s++) {
        if (plan->column[s] >= count) /* a stamp in words may want another column, too */
            return cut_short(plan,
                             plan->stamps.used                           ? 0
                             : s > 0 && plan->column[s - 1] + 1 == count ? s - 1
                                                                         : s,
                             value);
        ingest_field *at = &field[plan->column[s]];
        double *number = &value[plan->slot[s]];
        if (plan->slot[s] == 0 && plan->stamps.used) {
            ingest_row stamp = read_stamp(
                plan, field, count < INGEST_COLUMNS_MAX ? count : INGEST_COLUMNS_MAX, number, trouble);
            if (stamp == INGEST_ROW_TEXT)
                return stamp;
            outcome = stamp == INGEST_ROW_LACKING ? stamp : outcome;
            continue;
        }
        ingest_kind kind = ingest_field_read(at, plan->dialect.decimal, number);
        if (kind == INGEST_NUMBER)
            continue;
        *trouble = (ingest_trouble){plan->slot[s], *at};
        if (kind == INGEST_TEXT)
            return INGEST_ROW_TEXT;
        outcome = INGEST_ROW_LACKING;
    }
    return outcome;
}

ingest_row ingest_row_read(const ingest_row_plan *plan, const char *text, size_t length,
                           double value[INGEST_SLOTS], ingest_trouble *trouble)
{
    return plan->dialect.quoted ? read_fields(plan, text, length, value, trouble)
                                : read_plain(plan, text, length, value, trouble);
}
