/* Text tables: heads with their units, numbers right-aligned, UTF-8 counted as characters. */
#include "quell/report.h"

#include <string.h>

struct quell_table {
    quell_arena *arena;
    const quell_column *column;
    size_t columns;
    char **cell; /* row by row */
    size_t cells, capacity;
    bool failed;
};

static size_t width(const char *text)
{
    return quell_text_width(text, strlen(text));
}

quell_table *quell_table_create(quell_arena *arena, const quell_column *columns, size_t count)
{
    quell_table *table = QUELL_NEW(arena, quell_table, 1);
    if (table != NULL)
        *table = (quell_table){.arena = arena, .column = columns, .columns = count};
    return table;
}

/* The arena keeps old arrays until it ends: tables are small, and doubling bounds the waste by their size. */
static bool make_room(quell_table *table)
{
    if (table->cells < table->capacity)
        return true;
    size_t capacity = table->capacity > 0 ? 2 * table->capacity : 64;
    char **grown = QUELL_NEW(table->arena, char *, capacity);
    if (grown == NULL)
        return false;
    if (table->cells > 0)
        memcpy(grown, table->cell, table->cells * sizeof *grown);
    table->cell = grown;
    table->capacity = capacity;
    return true;
}

static quell_status add(quell_table *table, char *text)
{
    if (table == NULL || text == NULL || !make_room(table)) {
        if (table != NULL)
            table->failed = true;
        return QUELL_E_MEMORY;
    }
    table->cell[table->cells++] = text;
    return QUELL_OK;
}

quell_status quell_table_cell(quell_table *table, const char *format, ...)
{
    if (table == NULL)
        return QUELL_E_MEMORY;
    va_list arguments;
    va_start(arguments, format);
    char *text = quell_arena_print_list(table->arena, format, arguments);
    va_end(arguments);
    return add(table, text);
}

quell_status quell_table_number(quell_table *table, double value, int decimals)
{
    return quell_table_cell(table, "%s", quell_number_fixed(value, decimals).text);
}

static void print_cell(FILE *stream, const char *text, size_t to, bool left, bool last)
{
    size_t pad = to > width(text) ? to - width(text) : 0;
    if (!left)
        fprintf(stream, "%*s", (int)pad, "");
    fputs(text, stream);
    if (left && !last)
        fprintf(stream, "%*s", (int)pad, "");
}

static size_t column_width(const quell_table *table, size_t c)
{
    size_t widest = width(table->column[c].head);
    const char *unit = table->column[c].unit;
    if (unit[0] != '\0' && width(unit) + 2 > widest)
        widest = width(unit) + 2;
    for (size_t at = c; at < table->cells; at += table->columns)
        if (width(table->cell[at]) > widest)
            widest = width(table->cell[at]);
    return widest;
}

enum { COLUMNS_MAX = 24 };

static void print_rule(const quell_table *table, const size_t *widths, FILE *stream)
{
    for (size_t c = 0; c < table->columns; c++) {
        for (size_t i = 0; i < widths[c]; i++)
            fputc('-', stream);
        fputs(c + 1 == table->columns ? "\n" : "  ", stream);
    }
}

/* One line of heads or of units; no blanks are left at its end. */
static void print_head_line(const quell_table *table, const size_t *widths, bool units, FILE *stream)
{
    size_t last = 0;
    for (size_t c = 0; c < table->columns; c++)
        if (!units || table->column[c].unit[0] != '\0')
            last = c;
    for (size_t c = 0; c <= last; c++) {
        const quell_column *column = &table->column[c];
        char unit[64] = "";
        if (column->unit[0] != '\0')
            snprintf(unit, sizeof unit, "(%s)", column->unit);
        print_cell(stream, units ? unit : column->head, widths[c], column->left, c == last);
        fputs(c == last ? "\n" : "  ", stream);
    }
}

static void print_heads(const quell_table *table, const size_t *widths, FILE *stream, int indent)
{
    bool units = false;
    for (size_t c = 0; c < table->columns; c++)
        units = units || table->column[c].unit[0] != '\0';
    fprintf(stream, "%*s", indent, "");
    print_head_line(table, widths, false, stream);
    if (units) {
        fprintf(stream, "%*s", indent, "");
        print_head_line(table, widths, true, stream);
    }
    fprintf(stream, "%*s", indent, "");
    print_rule(table, widths, stream);
}

void quell_table_print(const quell_table *table, FILE *stream, int indent)
{
    if (table == NULL || table->failed || table->columns > COLUMNS_MAX) {
        fputs("(no memory for this table)\n", stream);
        return;
    }
    size_t widths[COLUMNS_MAX] = {0};
    for (size_t c = 0; c < table->columns; c++)
        widths[c] = column_width(table, c);
    print_heads(table, widths, stream, indent);
    for (size_t at = 0; at + table->columns <= table->cells; at += table->columns) {
        fprintf(stream, "%*s", indent, "");
        size_t filled = table->columns; /* no blanks are left at the end of a row */
        while (filled > 1 && table->cell[at + filled - 1][0] == '\0')
            filled--;
        for (size_t c = 0; c < filled; c++) {
            bool last = c + 1 == filled;
            print_cell(stream, table->cell[at + c], widths[c], table->column[c].left, last);
            fputs(last ? "\n" : "  ", stream);
        }
    }
}
