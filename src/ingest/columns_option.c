/* --columns "t=1,x=ax,y=3": the user says which column is what. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

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
    ingest_content content = layout->seen[column].content;
    if (content == INGEST_OF_WORDS ||
        (content == INGEST_OF_STAMPS && (slot > 0 || !layout->seen[column].has_clock)))
        return refuse_item(item, length,
                           slot > 0 ? "a column of numbers" : "a column of numbers or of times of day", err);
    out->slot[slot] = column;
    return QUELL_OK;
}

quell_status ingest_columns_option(ingest_columns *out, const ingest_layout *layout, const char *text,
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
