/* Which delimiter and decimal sign a file uses: the pair under which most of the sample is numbers. */
#include "ingest/ingest_private.h"

#include <string.h>

/* In order of preference where two explain the sample equally well. */
static const struct {
    char delimiter, decimal;
} candidates[] = {{'\t', '.'}, {'\t', ','}, {';', '.'}, {';', ','}, {',', '.'}, {' ', '.'}, {' ', ','}};

enum { SCORED_LINES = 200 };

quell_status ingest_sample_make(ingest_sample *out, const char *text, size_t length, char terminator,
                                bool whole, quell_error *err)
{
    *out = (ingest_sample){.whole = whole};
    size_t capacity = 0;
    for (size_t at = 0; at < length;) {
        const char *end = memchr(text + at, terminator, length - at);
        if (end == NULL && !whole)
            break;
        size_t to = end != NULL ? (size_t)(end - text) : length;
        void *items = out->line;
        quell_status status =
            quell_memory_grow(&items, &capacity, out->count + 1, sizeof *out->line, 2 * INGEST_LINE_MAX, err);
        out->line = items;
        if (status != QUELL_OK) {
            ingest_sample_free(out);
            return status;
        }
        size_t bare = to - at;
        while (bare > 0 && text[at + bare - 1] == '\r')
            bare--;
        out->line[out->count++] = (ingest_span){text + at, bare};
        at = to + 1;
    }
    return QUELL_OK;
}

void ingest_sample_free(ingest_sample *sample)
{
    quell_memory_free(sample->line);
    sample->line = NULL;
    sample->count = 0;
}

/* Fields, numbers (or stamps) and words of one line under one dialect. */
typedef struct tally {
    size_t fields, numbers, words;
} tally;

static tally count_line(const ingest_dialect *dialect, ingest_span line)
{
    ingest_field field[INGEST_COLUMNS_MAX];
    tally out = {.fields = ingest_split(dialect, line.text, line.length, field, INGEST_COLUMNS_MAX)};
    for (size_t i = 0; i < out.fields && i < INGEST_COLUMNS_MAX; i++) {
        double value;
        ingest_stamp stamp;
        ingest_kind kind = ingest_field_read(&field[i], dialect->decimal, &value);
        bool is_stamp = kind == INGEST_TEXT &&
                        ingest_stamp_read(&stamp, field[i].text, field[i].length, INGEST_ORDER_OPEN);
        out.numbers += kind == INGEST_NUMBER || is_stamp;
        out.words += kind == INGEST_TEXT && !is_stamp;
    }
    return out;
}

/* Twice the numbers less the words (a column of remarks must not hide the rest) over the lines from `first` on that
   have the most common count of fields. *columns is that count, 0 if no line has a number. */
static long score(const ingest_dialect *dialect, const ingest_sample *sample, size_t first, size_t *columns)
{
    long sum[INGEST_COLUMNS_MAX + 1] = {0};
    size_t lines[INGEST_COLUMNS_MAX + 1] = {0};
    for (size_t i = first; i < sample->count; i++) {
        if (ingest_is_idle(sample->line[i].text, sample->line[i].length, dialect->delimiter))
            continue;
        tally line = count_line(dialect, sample->line[i]);
        if (line.numbers == 0 || line.fields > INGEST_COLUMNS_MAX)
            continue;
        lines[line.fields]++;
        sum[line.fields] += 2 * (long)line.numbers - (long)line.words;
    }
    *columns = 0;
    for (size_t fields = 1; fields <= INGEST_COLUMNS_MAX; fields++)
        if (lines[fields] > lines[*columns])
            *columns = fields;
    return sum[*columns];
}

static bool has_quotes(const ingest_sample *sample)
{
    for (size_t i = 0; i < sample->count; i++)
        if (memchr(sample->line[i].text, '"', sample->line[i].length) != NULL)
            return true;
    return false;
}

static bool find_from(ingest_dialect *out, const ingest_sample *sample, size_t first)
{
    long best = 0;
    bool quoted = has_quotes(sample);
    for (size_t i = 0; i < INGEST_COUNT(candidates); i++) {
        ingest_dialect tried = {candidates[i].delimiter, candidates[i].decimal, quoted, 0};
        long points = score(&tried, sample, first, &tried.columns);
        if (tried.columns > 0 && points > best) {
            best = points;
            *out = tried;
        }
    }
    return best > 0;
}

/* By the last lines, which no header reaches; by all where these hold no numbers, because the sensor was silent. */
bool ingest_dialect_find(ingest_dialect *out, const ingest_sample *sample)
{
    size_t last = sample->count > SCORED_LINES ? sample->count - SCORED_LINES : 0;
    return find_from(out, sample, last) || (last > 0 && find_from(out, sample, 0));
}
