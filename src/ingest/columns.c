/* Which column is time and which are accelerations: as asked for, by their heads, or else by their content. */
#include "ingest/ingest_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

static double cell(const ingest_layout *layout, size_t row, size_t column)
{
    return layout->cell[row * layout->dialect.columns + column];
}

/* ---------------------------------------------------------------- --columns */

static const char *const slot_letter = "txyz";

/* The column that `word` (length bytes) names: a number from 1, or a head with or without its unit. */
static size_t named_column(const ingest_layout *layout, const char *word, size_t length)
{
    char lower[64];
    if (length == 0 || length >= sizeof lower)
        return INGEST_NONE;
    for (size_t i = 0; i < length; i++)
        lower[i] = word[i] >= 'A' && word[i] <= 'Z' ? (char)(word[i] - 'A' + 'a') : word[i];
    lower[length] = '\0';
    double number;
    if (quell_number_read(lower, length, '.', &number) == length) {
        bool whole = number >= 1 && number <= (double)layout->dialect.columns && number == floor(number);
        return whole ? (size_t)number - 1 : INGEST_NONE;
    }
    for (size_t c = 0; c < layout->dialect.columns; c++) {
        const char *head = layout->head[c];
        size_t bare = ingest_head_read(head).name_length;
        while (bare > 0 && head[bare - 1] == ' ')
            bare--;
        if (ingest_word_is(head, strlen(head), lower) || (bare > 0 && ingest_word_is(head, bare, lower)))
            return c;
    }
    return INGEST_NONE;
}

static quell_status refuse_item(const char *item, size_t length, const char *wanted, quell_error *err)
{
    char shown[64];
    return quell_fail(err, QUELL_E_USAGE, "--columns: found '%s', want %s",
                      quell_printable(shown, sizeof shown, item, length), wanted);
}

/* One "x=2". */
static quell_status take_item(ingest_columns *out, const ingest_layout *layout, const char *item,
                              size_t length, quell_error *err)
{
    const char *letter = length > 2 && item[1] == '=' ? strchr(slot_letter, item[0]) : NULL;
    if (letter == NULL)
        return refuse_item(item, length, "t=, x=, y= or z= and a column's number or head", err);
    size_t slot = (size_t)(letter - slot_letter), column = named_column(layout, item + 2, length - 2);
    if (column == INGEST_NONE) {
        char wanted[96];
        quell_error range = {0};
        quell_fail(&range, QUELL_E_USAGE, "a column from 1 to %zu%s", layout->dialect.columns,
                   layout->has_head ? " or one of the heads" : " (the file has no heads)");
        quell_printable(wanted, sizeof wanted, range.text, strlen(range.text));
        return refuse_item(item, length, wanted, err);
    }
    for (size_t s = 0; s < INGEST_SLOTS; s++)
        if (out->slot[s] == column || (s == slot && out->slot[s] != INGEST_NONE))
            return refuse_item(item, length, "each letter and each column once", err);
    out->slot[slot] = column;
    return QUELL_OK;
}

static quell_status take_option(ingest_columns *out, const ingest_layout *layout, const char *text,
                                quell_error *err)
{
    for (const char *item = text;;) {
        size_t length = strcspn(item, ",");
        quell_status status = take_item(out, layout, item, length, err);
        if (status != QUELL_OK)
            return status;
        if (item[length] == '\0')
            break;
        item += length + 1;
    }
    if (out->slot[1] == INGEST_NONE && out->slot[2] == INGEST_NONE && out->slot[3] == INGEST_NONE)
        return refuse_item(text, strlen(text), "one of x=, y= and z= at least", err);
    return QUELL_OK;
}

/* ---------------------------------------------------------------- time */

static bool has_numbers(const ingest_layout *layout, size_t column)
{
    for (size_t r = 0; r < layout->rows; r++)
        if (!isnan(cell(layout, r, column)))
            return true;
    return false;
}

/* Time by content: it mostly rises, and hardly ever falls (where it does the reader will say so). Counting by ones
   from row to row is no proof of time. */
static bool looks_like_time(const ingest_layout *layout, size_t column, bool *counts)
{
    double last = NAN;
    size_t rises = 0, falls = 0, steps = 0, ones = 0;
    for (size_t r = 0; r < layout->rows; r++) {
        double now = cell(layout, r, column);
        if (isnan(now))
            continue;
        if (!isnan(last)) {
            steps++;
            rises += now > last;
            falls += now < last;
            ones += now - last == 1;
        }
        last = now;
    }
    *counts = steps > 0 && ones == steps;
    return steps >= 2 && 2 * rises > steps && falls <= (steps < 10 ? 0 : 1 + steps / 50);
}

static bool is_taken(const ingest_columns *columns, size_t column)
{
    for (size_t s = 0; s < INGEST_SLOTS; s++)
        if (columns->slot[s] == column)
            return true;
    return false;
}

static void find_time(ingest_columns *out, const ingest_layout *layout, const ingest_head *head,
                      size_t *counter)
{
    size_t columns = layout->dialect.columns;
    bool counts;
    for (size_t c = 0; c < columns; c++)
        if (head[c].role == INGEST_TIME && !layout->is_text[c] && !is_taken(out, c) &&
            has_numbers(layout, c)) {
            out->slot[0] = c;
            return;
        }
    for (size_t c = 0; c < columns; c++) {
        bool open = head[c].role == INGEST_UNKNOWN && !layout->is_text[c] && !is_taken(out, c);
        if (!open || !looks_like_time(layout, c, &counts))
            continue;
        if (!counts) {
            out->slot[0] = c;
            return;
        }
        *counter = c;
    }
}

/* Median of the rising steps of the time column in the sample; 0 if there is none. */
static double median_step(const ingest_layout *layout, size_t column)
{
    double step[INGEST_SAMPLE_ROWS], last = NAN;
    size_t count = 0;
    for (size_t r = 0; r < layout->rows; r++) {
        double now = cell(layout, r, column);
        if (isnan(now))
            continue;
        if (now > last)
            step[count++] = now - last;
        last = now;
    }
    if (count == 0)
        return 0;
    gsl_sort(step, 1, count);
    return step[count / 2];
}

/* ---------------------------------------------------------------- accelerations */

static void find_accelerations(ingest_columns *out, const ingest_layout *layout, const ingest_head *head,
                               size_t counter)
{
    size_t found[INGEST_COLUMNS_MAX], count = 0, lettered[3] = {INGEST_NONE, INGEST_NONE, INGEST_NONE};
    ingest_role wanted = INGEST_UNKNOWN;
    for (size_t c = 0; c < layout->dialect.columns; c++)
        if (head[c].role == INGEST_ACCELERATION && !layout->is_text[c])
            wanted = INGEST_ACCELERATION;
    for (size_t c = 0; c < layout->dialect.columns; c++) {
        if (head[c].role != wanted || layout->is_text[c] || is_taken(out, c) || c == counter)
            continue;
        if (!has_numbers(layout, c)) {
            out->empty = head[c].role == INGEST_ACCELERATION ? c : out->empty;
            continue;
        }
        found[count++] = c;
        size_t axis = (size_t)(head[c].axis - 'x');
        if (wanted == INGEST_ACCELERATION && head[c].axis != 0 && lettered[axis] == INGEST_NONE)
            lettered[axis] = c;
    }
    bool letters = lettered[0] != INGEST_NONE || lettered[1] != INGEST_NONE || lettered[2] != INGEST_NONE;
    size_t axes = 0;
    for (size_t i = 0; i < (letters ? 3 : count) && axes < 3; i++)
        if (!letters || lettered[i] != INGEST_NONE)
            out->slot[++axes] = letters ? lettered[i] : found[i];
}

/* ---------------------------------------------------------------- all together */

/* A file with a column of frequency, or of something over it, is no recording. */
static bool is_spectrum(const ingest_layout *layout, const ingest_head *head, quell_error *err)
{
    for (size_t c = 0; c < layout->dialect.columns; c++)
        if (head[c].role == INGEST_FREQUENCY) {
            quell_fail(err, QUELL_E_DATA,
                       "column %zu is headed '%s': this is a spectrum, want a recording over time", c + 1,
                       layout->head[c]);
            return true;
        }
    return false;
}

static quell_status no_time(const ingest_layout *layout, const ingest_head *head, size_t counter,
                            quell_error *err)
{
    if (is_spectrum(layout, head, err))
        return QUELL_E_DATA;
    if (counter != INGEST_NONE)
        return quell_fail(
            err, QUELL_E_DATA,
            "column %zu counts rows; found no time and no rate, want --rate HZ, or --columns t=%zu,x=... and "
            "--time-unit if it is time",
            counter + 1, counter + 1);
    for (size_t c = 0; c < layout->dialect.columns; c++)
        if (layout->is_text[c])
            return quell_fail(
                err, QUELL_E_DATA,
                "found no column of time in numbers (column %zu holds words such as '%s') and no rate, want "
                "--rate HZ",
                c + 1, layout->text_seen[c]);
    if (layout->dialect.columns == 1)
        return quell_fail(err, QUELL_E_DATA,
                          "found one column of numbers, no time and no rate, want a column of time "
                          "or --rate HZ");
    return quell_fail(err, QUELL_E_DATA,
                      "found no column of time and no rate, want a column that rises, or --rate HZ");
}

static quell_status no_acceleration(const ingest_layout *layout, const ingest_head *head,
                                    const ingest_columns *columns, quell_error *err)
{
    if (is_spectrum(layout, head, err))
        return QUELL_E_DATA;
    if (columns->empty != INGEST_NONE)
        return quell_fail(err, QUELL_E_DATA,
                          "column %zu (%s) has no number in the first %zu rows, want accelerations",
                          columns->empty + 1, layout->head[columns->empty], layout->rows);
    if (layout->dialect.columns == 1 && columns->slot[0] != INGEST_NONE)
        return quell_fail(err, QUELL_E_DATA, "found one column, which is time, want accelerations beside it");
    return quell_fail(
        err, QUELL_E_DATA,
        "found no column of acceleration among %zu, want heads such as ax, or --columns x=2,y=3,z=4",
        layout->dialect.columns);
}

/* Moves the used acceleration slots together: a file may have y and z only. */
static void close_up(ingest_columns *out)
{
    for (size_t s = 1; s <= 3; s++)
        if (out->slot[s] != INGEST_NONE) {
            size_t column = out->slot[s];
            out->slot[s] = INGEST_NONE;
            out->slot[++out->axes] = column;
        }
}

static quell_status find(ingest_columns *out, const ingest_layout *layout, const ingest_head *head,
                         const quell_read_options *options, quell_error *err)
{
    size_t counter = INGEST_NONE;
    if (options->columns != NULL) {
        quell_status status = take_option(out, layout, options->columns, err);
        if (status != QUELL_OK)
            return status;
    }
    /* --columns without t, beside --rate, says that the stamps are not to be used */
    bool ignore_time = options->columns != NULL && options->rate != NULL;
    if (out->slot[0] == INGEST_NONE && !ignore_time)
        find_time(out, layout, head, &counter);
    if (out->slot[0] == INGEST_NONE && options->rate == NULL)
        return no_time(layout, head, counter, err);
    if (options->columns == NULL)
        find_accelerations(out, layout, head, counter);
    close_up(out);
    if (out->axes == 0)
        return no_acceleration(layout, head, out, err);
    for (size_t s = 0; s < INGEST_SLOTS; s++)
        if (out->slot[s] != INGEST_NONE)
            out->head[s] = head[out->slot[s]];
    if (out->slot[0] != INGEST_NONE)
        out->step = median_step(layout, out->slot[0]);
    return QUELL_OK;
}

quell_status ingest_columns_find(ingest_columns *out, const ingest_layout *layout,
                                 const quell_read_options *options, quell_error *err)
{
    ingest_head head[INGEST_COLUMNS_MAX];
    for (size_t c = 0; c < layout->dialect.columns; c++)
        head[c] = ingest_head_read(layout->head[c]);
    *out = (ingest_columns){.empty = INGEST_NONE};
    for (size_t s = 0; s < INGEST_SLOTS; s++)
        out->slot[s] = INGEST_NONE;
    return find(out, layout, head, options, err);
}
