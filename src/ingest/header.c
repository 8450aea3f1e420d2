/* What stands before the rows: heads over the columns, and units on lines of their own. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

enum { HEAD_SHOWN = 160, COMMENTS_LOOKED_AT = 20 };

/* ---------------------------------------------------------------- heads and columns side by side */

/* Columns up to the last that holds anything. */
static size_t columns_filled(const ingest_layout *layout)
{
    size_t filled = layout->dialect.columns;
    while (filled > 1 && layout->seen[filled - 1].content == INGEST_OF_NOTHING)
        filled--;
    return filled;
}

/* Latin-1 as UTF-8: a head may say m/s² or µs in either. */
static void show_head(char out[HEAD_SHOWN], const ingest_field *field)
{
    char wide[2 * HEAD_SHOWN];
    size_t used = 0;
    bool latin = false;
    for (size_t at = 0; at < field->length;) {
        bool plain;
        size_t bytes = quell_text_character(field->text + at, field->length - at, &plain);
        latin = latin || (!plain && bytes == 1 && (unsigned char)field->text[at] >= 0xa0);
        at += bytes;
    }
    for (size_t i = 0; latin && i < field->length && used + 2 < sizeof wide; i++) {
        unsigned char c = (unsigned char)field->text[i];
        if (c >= 0x80)
            wide[used++] = (char)(0xc0 | c >> 6);
        wide[used++] = (char)(c < 0x80 ? c : 0x80 | (c & 0x3f));
    }
    quell_printable(out, HEAD_SHOWN, latin ? wide : field->text, latin ? used : field->length);
}

static size_t known_heads(const ingest_layout *layout, const ingest_split_line *line)
{
    size_t known = 0;
    for (size_t c = 0; c < line->fields && c < layout->dialect.columns; c++) {
        char head[HEAD_SHOWN];
        show_head(head, &line->field[c]);
        known += ingest_head_read(head).role != INGEST_UNKNOWN;
    }
    return known;
}

/* Heads: words over more than half of the columns of numbers and stamps; or too few of them (which is found out and
   refused later), most of them known. */
bool ingest_is_head_line(const ingest_layout *layout, const ingest_split_line *line)
{
    if (line->fields + 1 < columns_filled(layout))
        return line->fields > 1 && 2 * known_heads(layout, line) > line->fields;
    size_t words = 0, wanted = 0;
    for (size_t c = 0; c < layout->dialect.columns; c++) {
        ingest_content content = layout->seen[c].content;
        double value;
        ingest_stamp stamp;
        if (content != INGEST_OF_NUMBERS && content != INGEST_OF_STAMPS)
            continue;
        wanted++;
        if (c >= line->fields || line->field[c].length == 0)
            continue;
        const ingest_field *field = &line->field[c];
        words += ingest_field_read(field, layout->dialect.decimal, &value) == INGEST_TEXT &&
                 !ingest_stamp_read(&stamp, field->text, field->length, INGEST_ORDER_OPEN);
    }
    return 2 * words > wanted;
}

/* With blanks between columns, a unit in brackets belongs to the word before it. */
static void join_brackets(ingest_split_line *line)
{
    size_t kept = 0;
    for (size_t i = 0; i < line->fields; i++) {
        ingest_field field = line->field[i];
        bool joins = kept > 0 && field.length > 0 && (field.text[0] == '(' || field.text[0] == '[');
        if (joins)
            line->field[kept - 1].length = (size_t)(field.text + field.length - line->field[kept - 1].text);
        else
            line->field[kept++] = field;
    }
    line->fields = kept;
}

/* With blanks between columns, heads of several words stand apart by two blanks or a tab. */
static void join_words(ingest_split_line *line)
{
    size_t kept = 0;
    for (size_t i = 0; i < line->fields; i++) {
        ingest_field field = line->field[i];
        const char *before = kept > 0 ? line->field[kept - 1].text + line->field[kept - 1].length : NULL;
        if (before != NULL && field.text - before == 1 && *before == ' ')
            line->field[kept - 1].length = (size_t)(field.text + field.length - line->field[kept - 1].text);
        else
            line->field[kept++] = field;
    }
    line->fields = kept;
}

static bool counts_rows(const ingest_layout *layout, size_t column)
{
    size_t columns = layout->dialect.columns;
    for (size_t r = 1; r < layout->rows; r++)
        if (!(layout->cell[r * columns + column] - layout->cell[(r - 1) * columns + column] == 1))
            return false;
    return layout->rows > 2;
}

static void insert_blank(ingest_split_line *line, size_t at)
{
    memmove(line->field + at + 1, line->field + at, (line->fields - at) * sizeof *line->field);
    line->field[at] = (ingest_field){"", 0, 0};
    line->fields++;
}

/* Brings the fields of a line of heads over their columns. A column without a head may be the row's number, first, or
   the thousandths that a comma cut off a time. False if they do not fit. */
static bool align(const ingest_layout *layout, ingest_span text, ingest_split_line *line)
{
    size_t columns = layout->dialect.columns, filled = columns_filled(layout);
    bool blanks = layout->dialect.delimiter == ' ';
    ingest_line_split(line, &layout->dialect, text);
    if (blanks)
        join_brackets(line);
    if (blanks && line->fields > columns) {
        ingest_line_split(line, &layout->dialect, text);
        join_words(line);
    }
    if (blanks ? line->fields >= filled && line->fields <= columns : line->fields >= filled)
        return true;
    if (line->fields + 1 != filled)
        return false;
    if (layout->fraction != INGEST_NONE) {
        insert_blank(line, layout->fraction);
        return true;
    }
    if (!counts_rows(layout, 0))
        return false;
    insert_blank(line, 0);
    return true;
}

/* ---------------------------------------------------------------- heads */

/* A name, and a unit in brackets behind it unless it is "". */
static quell_status set_head(ingest_layout *layout, size_t c, const char *name, const char *unit,
                             quell_error *err)
{
    bool bracketed = unit[0] == '(' || unit[0] == '[' || unit[0] == '\0';
    const char *head = quell_arena_print(layout->arena, "%s%s%s%s%s", name, unit[0] != '\0' ? " " : "",
                                         bracketed ? "" : "(", unit, bracketed ? "" : ")");
    if (head == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for column heads");
    layout->head[c] = head;
    return QUELL_OK;
}

static quell_status store_heads(ingest_layout *layout, const ingest_split_line *line, quell_error *err)
{
    quell_status status = QUELL_OK;
    for (size_t c = 0; status == QUELL_OK && c < layout->dialect.columns && c < line->fields; c++) {
        char shown[HEAD_SHOWN];
        show_head(shown, &line->field[c]);
        status = set_head(layout, c, shown, "", err);
    }
    layout->has_head = true;
    return status;
}

/* ---------------------------------------------------------------- units on a line of their own */

static bool is_unit(const ingest_field *field)
{
    char shown[HEAD_SHOWN];
    ingest_unit unit;
    show_head(shown, field);
    size_t length = strlen(shown);
    const char *text = shown;
    if (length > 2 && (text[0] == '(' || text[0] == '[')) {
        text++;
        length -= 2;
    }
    return ingest_unit_read(&unit, QUELL_TIME, text, length) ||
           ingest_unit_read(&unit, QUELL_ACCELERATION, text, length);
}

/* At least half of what stands over the columns are units, and none is a name. */
static bool are_units(const ingest_layout *layout, const ingest_split_line *line)
{
    size_t units = 0, filled = 0;
    for (size_t c = 0; c < layout->dialect.columns && c < line->fields; c++) {
        if (line->field[c].length == 0 || layout->seen[c].content == INGEST_OF_WORDS)
            continue;
        filled++;
        units += is_unit(&line->field[c]);
    }
    return units > 0 && 2 * units >= filled;
}

/* Puts the units of a line behind the heads that have none. A unit of time is none of anything else. */
static quell_status add_units(ingest_layout *layout, const ingest_split_line *line, size_t from,
                              quell_error *err)
{
    quell_status status = QUELL_OK;
    for (size_t c = from; status == QUELL_OK && c < layout->dialect.columns && c < line->fields; c++) {
        const char *name = layout->head[c];
        size_t length = strlen(name);
        char shown[HEAD_SHOWN];
        show_head(shown, &line->field[c]);
        ingest_unit unit;
        bool time = ingest_unit_read(&unit, QUELL_TIME, shown, strlen(shown));
        if (length == 0 || shown[0] == '\0' || name[length - 1] == ')' || name[length - 1] == ']' ||
            (time && ingest_head_read(name).role != INGEST_TIME))
            continue;
        status = set_head(layout, c, name, shown, err);
    }
    return status;
}

/* A line of the header block that begins with a word for unit: "Unit,g,g,g", over the columns after the first. */
static quell_status read_unit_labels(ingest_layout *layout, const ingest_sample *sample,
                                     ingest_split_line *work, quell_error *err)
{
    static const char *const words[] = {"unit", "einheit", "eenheid"};
    for (size_t i = 0; i < layout->first_line && layout->has_head; i++) {
        ingest_line_split(work, &layout->dialect, sample->line[i]);
        char key[HEAD_SHOWN];
        bool says_unit = false;
        bool units = false;
        for (size_t c = 1; c < work->fields; c++)
            units = units || is_unit(&work->field[c]);
        if (!units)
            continue;
        quell_printable(key, sizeof key, work->field[0].text, work->field[0].length);
        for (char *c = key; *c != '\0'; c++)
            *c = *c >= 'A' && *c <= 'Z' ? (char)(*c - 'A' + 'a') : *c;
        for (size_t w = 0; w < INGEST_COUNT(words); w++)
            says_unit = says_unit || strstr(key, words[w]) != NULL;
        if (says_unit)
            return add_units(layout, work, 1, err);
    }
    return QUELL_OK;
}

/* ---------------------------------------------------------------- all together */

static quell_status read_heads(ingest_layout *layout, const ingest_sample *sample, size_t at,
                               ingest_split_line *work, quell_error *err)
{
    bool fits = align(layout, sample->line[at], work);
    if (fits && at > 0 && are_units(layout, work)) {
        ingest_line_split(work, &layout->dialect, sample->line[at - 1]);
        bool named = ingest_is_head_line(layout, work) && align(layout, sample->line[at - 1], work);
        quell_status status = named ? store_heads(layout, work, err) : QUELL_OK;
        align(layout, sample->line[at], work);
        if (named)
            return status == QUELL_OK ? add_units(layout, work, 0, err) : status;
    }
    if (fits)
        return store_heads(layout, work, err);
    /* not a sentence that has a word in common with heads */
    if (work->fields > 1 && 2 * known_heads(layout, work) > work->fields)
        layout->heads_apart = work->fields;
    return QUELL_OK;
}

/* Heads in a comment: the last comment line over the rows that has a field for every column, one of them known; a line
   of units may stand below it. */
static quell_status read_comment_heads(ingest_layout *layout, const ingest_sample *sample,
                                       ingest_split_line *work, quell_error *err)
{
    ingest_span units = {NULL, 0};
    size_t looked_at = 0;
    for (size_t i = layout->first_line; i-- > 0 && looked_at < COMMENTS_LOOKED_AT;) {
        ingest_span line = sample->line[i];
        while (line.length > 0 && (strchr("#%;/", line.text[0]) != NULL || ingest_is_blank(line.text[0]))) {
            line.text++;
            line.length--;
        }
        if (line.length == 0)
            continue;
        looked_at++;
        if (!align(layout, line, work) || work->fields > layout->dialect.columns ||
            known_heads(layout, work) == 0)
            continue;
        if (units.text == NULL && are_units(layout, work)) {
            units = line;
            continue;
        }
        quell_status status = store_heads(layout, work, err);
        if (status == QUELL_OK && units.text != NULL && align(layout, units, work))
            status = add_units(layout, work, 0, err);
        return status;
    }
    return QUELL_OK;
}

quell_status ingest_header_read(ingest_layout *layout, const ingest_sample *sample, size_t head,
                                ingest_split_line *work, quell_error *err)
{
    quell_status status = head < sample->count ? read_heads(layout, sample, head, work, err)
                                               : read_comment_heads(layout, sample, work, err);
    if (status == QUELL_OK)
        status = read_unit_labels(layout, sample, work, err);
    return status == QUELL_OK ? ingest_header_keep(layout, sample, err) : status;
}
