/* Where the rows of numbers begin, what stands over the columns, and the first rows as numbers.

   A header block may hold lines that look like rows ("Samples,1000,1000"): rows begin where a run of ten of them
   begins, or at the first of them if no line with column heads stands in between, so that a damaged row near the
   start is an error and not taken for a header. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

enum { RUN = 10, HEAD_SHOWN = 64 };

/* A line of the sample, split. */
typedef struct split_line {
    size_t fields;
    ingest_field field[INGEST_COLUMNS_MAX];
} split_line;

static void split(const ingest_dialect *dialect, ingest_span line, split_line *out)
{
    out->fields = ingest_split(dialect, line.text, line.length, out->field, INGEST_COLUMNS_MAX);
    if (out->fields > INGEST_COLUMNS_MAX)
        out->fields = INGEST_COLUMNS_MAX;
}

static bool is_idle(const ingest_layout *layout, ingest_span line)
{
    return ingest_is_idle(line.text, line.length, layout->dialect.delimiter);
}

/* Columns of words (dates, remarks): more words than numbers in the later half of the sample. */
static void find_text_columns(ingest_layout *layout, const ingest_sample *sample, split_line *work)
{
    size_t numbers[INGEST_COLUMNS_MAX] = {0}, words[INGEST_COLUMNS_MAX] = {0};
    size_t first = sample->count > 2 * RUN ? sample->count / 2 : 0;
    for (size_t i = first; i < sample->count; i++) {
        split(&layout->dialect, sample->line[i], work);
        if (is_idle(layout, sample->line[i]) || work->fields != layout->dialect.columns)
            continue;
        for (size_t c = 0; c < work->fields; c++) {
            double value;
            ingest_kind kind = ingest_field_read(&work->field[c], layout->dialect.decimal, &value);
            numbers[c] += kind == INGEST_NUMBER;
            if (kind == INGEST_TEXT && words[c]++ == 0)
                quell_printable(layout->text_seen[c], sizeof layout->text_seen[c], work->field[c].text,
                                work->field[c].length);
        }
    }
    for (size_t c = 0; c < layout->dialect.columns; c++)
        layout->is_text[c] = words[c] > numbers[c];
}

/* A row: the right number of fields, at least half of the number columns numbers, and no words in them. */
static bool is_row(const ingest_layout *layout, const split_line *line)
{
    if (line->fields != layout->dialect.columns)
        return false;
    size_t numbers = 0, wanted = 0;
    for (size_t c = 0; c < line->fields; c++) {
        double value;
        if (layout->is_text[c])
            continue;
        ingest_kind kind = ingest_field_read(&line->field[c], layout->dialect.decimal, &value);
        if (kind == INGEST_TEXT)
            return false;
        numbers += kind == INGEST_NUMBER;
        wanted++;
    }
    return numbers > 0 && 2 * numbers >= wanted;
}

/* Heads: a field for every column at least, and words over more than half of the number columns. */
static bool is_head_line(const ingest_layout *layout, const split_line *line)
{
    if (line->fields < layout->dialect.columns)
        return false;
    size_t words = 0, wanted = 0;
    for (size_t c = 0; c < layout->dialect.columns; c++) {
        double value;
        if (layout->is_text[c])
            continue;
        words += line->field[c].length > 0 &&
                 ingest_field_read(&line->field[c], layout->dialect.decimal, &value) == INGEST_TEXT;
        wanted++;
    }
    return 2 * words > wanted;
}

/* What the lines of the sample are. */
typedef struct finding_rows {
    size_t first_row; /* first line that looks like a row */
    size_t run;       /* first line of the first long run of rows; count of lines if there is none */
    size_t head;      /* last line of heads before the run; count of lines if there is none */
    size_t rows_before_head;
} finding_rows;

static finding_rows find_rows(const ingest_layout *layout, const ingest_sample *sample, split_line *work)
{
    size_t none = sample->count;
    finding_rows out = {none, none, none, 0};
    size_t in_a_row = 0, rows = 0, run_from = 0;
    for (size_t i = 0; i < sample->count && in_a_row < RUN; i++) {
        if (is_idle(layout, sample->line[i]))
            continue;
        split(&layout->dialect, sample->line[i], work);
        if (is_row(layout, work)) {
            if (out.first_row == none)
                out.first_row = i;
            if (in_a_row++ == 0)
                run_from = i;
            rows++;
            continue;
        }
        if (is_head_line(layout, work)) {
            out.head = i;
            out.rows_before_head = rows;
        }
        in_a_row = 0;
    }
    if (in_a_row > 0)
        out.run = run_from;
    return out;
}

/* Heads in fields of a line: with blanks between columns, a unit in brackets belongs to the word before it. */
static void join_brackets(split_line *line)
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

static quell_status store_heads(ingest_layout *layout, const split_line *line, quell_arena *arena,
                                quell_error *err)
{
    for (size_t c = 0; c < layout->dialect.columns; c++) {
        char shown[HEAD_SHOWN];
        const char *text = c < line->fields ? line->field[c].text : "";
        quell_printable(shown, sizeof shown, text, c < line->fields ? line->field[c].length : 0);
        /* A second line of units is put behind the name it stands under. */
        const char *name = layout->head[c];
        bool unit_line = name != NULL && name[0] != '\0';
        size_t bare = strlen(shown);
        bool bracketed = bare > 1 && (shown[0] == '(' || shown[0] == '[');
        if (unit_line && bare > 0)
            layout->head[c] = quell_arena_print(arena, bracketed ? "%s %s" : "%s (%s)", name, shown);
        else if (!unit_line)
            layout->head[c] = quell_arena_copy(arena, shown, bare);
        if (layout->head[c] == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory for column heads");
    }
    layout->has_head = true;
    return QUELL_OK;
}

static bool is_unit(ingest_field field)
{
    if (field.length > 2 && (field.text[0] == '(' || field.text[0] == '['))
        field = (ingest_field){field.text + 1, field.length - 2, 0};
    ingest_unit unit;
    return field.length == 0 || ingest_unit_read(&unit, QUELL_TIME, field.text, field.length) ||
           ingest_unit_read(&unit, QUELL_ACCELERATION, field.text, field.length);
}

static bool all_units(const ingest_layout *layout, const split_line *line)
{
    for (size_t c = 0; c < layout->dialect.columns && c < line->fields; c++)
        if (!layout->is_text[c] && !is_unit(line->field[c]))
            return false;
    return true;
}

static quell_status read_heads(ingest_layout *layout, const ingest_sample *sample, size_t at,
                               split_line *work, quell_arena *arena, quell_error *err)
{
    split(&layout->dialect, sample->line[at], work);
    if (at > 0 && all_units(layout, work)) {
        split(&layout->dialect, sample->line[at - 1], work);
        if (is_head_line(layout, work)) {
            quell_status status = store_heads(layout, work, arena, err);
            if (status != QUELL_OK)
                return status;
        }
        split(&layout->dialect, sample->line[at], work);
    }
    if (layout->dialect.delimiter == ' ')
        join_brackets(work);
    return store_heads(layout, work, arena, err);
}

/* Heads in a comment: the last comment line over the rows, if it has a field for every column and one is known. */
static quell_status read_comment_heads(ingest_layout *layout, const ingest_sample *sample, split_line *work,
                                       quell_arena *arena, quell_error *err)
{
    for (size_t i = layout->first_line; i-- > 0;) {
        ingest_span line = sample->line[i];
        while (line.length > 0 && (strchr("#%;/", line.text[0]) != NULL || ingest_is_blank(line.text[0]))) {
            line.text++;
            line.length--;
        }
        if (line.length == 0)
            continue;
        split(&layout->dialect, line, work);
        if (layout->dialect.delimiter == ' ')
            join_brackets(work);
        size_t known = 0;
        for (size_t c = 0; c < work->fields && c < layout->dialect.columns; c++) {
            char head[HEAD_SHOWN];
            quell_printable(head, sizeof head, work->field[c].text, work->field[c].length);
            known += ingest_head_read(head).role != INGEST_UNKNOWN;
        }
        return work->fields == layout->dialect.columns && known > 0 ? store_heads(layout, work, arena, err)
                                                                    : QUELL_OK;
    }
    return QUELL_OK;
}

static quell_status read_rows(ingest_layout *layout, const ingest_sample *sample, split_line *work,
                              quell_arena *arena, quell_error *err)
{
    size_t columns = layout->dialect.columns;
    layout->cell = QUELL_NEW(arena, double, columns *INGEST_SAMPLE_ROWS);
    if (layout->cell == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the first rows");
    for (size_t i = layout->first_line; i < sample->count && layout->rows < INGEST_SAMPLE_ROWS; i++) {
        if (is_idle(layout, sample->line[i]))
            continue;
        split(&layout->dialect, sample->line[i], work);
        for (size_t c = 0; c < columns; c++) {
            double *cell = &layout->cell[layout->rows * columns + c];
            *cell = NAN;
            if (c < work->fields)
                ingest_field_read(&work->field[c], layout->dialect.decimal, cell);
        }
        layout->rows++;
    }
    return QUELL_OK;
}

static quell_status no_rows(const ingest_sample *sample, quell_error *err)
{
    if (sample->count == 0 && !sample->whole)
        return quell_fail(err, QUELL_E_DATA, "found no line end at the start, want lines of numbers");
    return quell_fail(
        err, QUELL_E_DATA, "found %zu line%s %s no row of numbers, want rows of time and acceleration",
        sample->count, sample->count == 1 ? "" : "s", sample->whole ? "and" : "at the start and");
}

static quell_status find_layout(ingest_layout *out, const ingest_sample *sample, split_line *work,
                                quell_arena *arena, quell_error *err)
{
    if (!ingest_dialect_find(&out->dialect, sample))
        return no_rows(sample, err);
    for (size_t c = 0; c < INGEST_COLUMNS_MAX; c++)
        out->head[c] = "";
    find_text_columns(out, sample, work);
    finding_rows found = find_rows(out, sample, work);
    if (found.first_row == sample->count)
        return no_rows(sample, err);
    bool use_head = found.head < sample->count && (found.head < found.first_row || found.run < sample->count);
    out->first_line = found.first_row;
    if (use_head && found.head > found.first_row) {
        /* what looks like rows before the heads belongs to the header block */
        out->lines_left_out = found.rows_before_head;
        out->first_line = found.head + 1;
    }
    quell_status status = use_head ? read_heads(out, sample, found.head, work, arena, err)
                                   : read_comment_heads(out, sample, work, arena, err);
    return status == QUELL_OK ? read_rows(out, sample, work, arena, err) : status;
}

quell_status ingest_layout_find(ingest_layout *out, const ingest_sample *sample, quell_arena *arena,
                                quell_error *err)
{
    split_line *work = quell_memory_get(sizeof *work);
    if (work == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the first lines");
    memset(out, 0, sizeof *out);
    quell_status status = find_layout(out, sample, work, arena, err);
    quell_memory_free(work);
    return status;
}
