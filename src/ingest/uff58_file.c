/* Universal files: the datasets of a file, one after the other. Those that are no 58 are passed over; dataset 164 tells
   the unit of length. */
#include "ingest/uff58_private.h"

#include <math.h>
#include <string.h>

enum { DATASET_UNITS = 164 };

void uff58_open(uff58_file *out, ingest_lines *lines)
{
    *out = (uff58_file){.lines = lines};
}

static void note_other(uff58_file *file, long number)
{
    for (size_t i = 0; i < file->others; i++)
        if (file->other[i] == number)
            return;
    if (file->others < UFF58_OTHERS)
        file->other[file->others++] = number;
    else
        file->more_others = true;
}

/* Dataset 164: a line that names the units, then the factors of length, force and temperature: what one SI unit is in
   the file's own. */
static void read_factor(uff58_file *file, const char *text, size_t length)
{
    char copy[26];
    double factor;
    size_t from = 0, used = 0;
    while (from < length && ingest_is_blank(text[from]))
        from++;
    for (; from < length && used < 25 && !ingest_is_blank(text[from]); from++)
        copy[used++] = text[from] == 'D' || text[from] == 'd' ? 'E' : text[from];
    if (quell_number_read(copy, used, '.', &factor) == used && used > 0 && factor > 1e-12 && factor < 1e12)
        file->length_per_m = factor;
}

/* The rest of a dataset that is no 58. */
static quell_status pass_over(uff58_file *file, long number, quell_error *err)
{
    for (size_t i = 0;; i++) {
        ingest_line line;
        quell_status status = ingest_lines_next(file->lines, &line, err);
        if (status != QUELL_OK)
            return status;
        file->cut = line.text == NULL;
        if (line.text == NULL || uff58_is_marker(line.text, line.length))
            return QUELL_OK;
        if (number == DATASET_UNITS && i == 1)
            read_factor(file, line.text, line.length);
    }
}

/* Up to the line behind the opening one; text NULL at the end of the file. */
static quell_status find_start(uff58_file *file, ingest_line *out, quell_error *err)
{
    bool opened = false;
    for (;;) {
        quell_status status = ingest_lines_next(file->lines, out, err);
        if (status != QUELL_OK || out->text == NULL)
            return status;
        bool marker = uff58_is_marker(out->text, out->length);
        if (opened && !marker) /* two markers: the first closed a dataset */
            return QUELL_OK;
        opened = opened || marker;
        if (!marker && !ingest_is_idle(out->text, out->length, ' ') && file->stray_lines++ == 0)
            file->stray = file->lines->number;
    }
}

/* The head of a dataset 58. Where the file ends within it, there is none, if there were others before. */
static quell_status read_head(uff58_file *file, const ingest_line *first, char letter, uff58_head *out,
                              bool *found, quell_error *err)
{
    const quell_error before = err != NULL ? *err : (quell_error){0};
    quell_status status = uff58_head_read(out, file->lines, first->text, first->length, letter, err);
    *found = status == QUELL_OK;
    if (*found)
        out->number = ++file->count;
    if (status != QUELL_E_DATA || file->count == 0)
        return status;
    ingest_line more;
    quell_status at_end = ingest_lines_next(file->lines, &more, err);
    if (at_end != QUELL_OK)
        return at_end;
    file->cut = more.text == NULL;
    if (file->cut && err != NULL)
        *err = before;
    return file->cut ? QUELL_OK : status;
}

quell_status uff58_next(uff58_file *file, uff58_head *out, bool *found, quell_error *err)
{
    *found = false;
    for (;;) {
        ingest_line line;
        quell_status status = find_start(file, &line, err);
        if (status != QUELL_OK || line.text == NULL)
            return status;
        file->cut = !line.terminated; /* and the number with it */
        if (file->cut)
            return QUELL_OK;
        long number = -1;
        char letter, shown[32];
        if (!uff58_number(line.text, line.length, &number, &letter))
            return quell_fail_at(
                err, QUELL_E_DATA, file->lines->number, 0,
                "found '%s' behind the line -1, want the number of a dataset",
                quell_printable(shown, sizeof shown, line.text, line.length < 24 ? line.length : 24));
        if (number == 58)
            return read_head(file, &line, letter, out, found, err);
        note_other(file, number);
        status = pass_over(file, number, err);
        if (status != QUELL_OK)
            return status;
    }
}

quell_status uff58_values(uff58_file *file, const uff58_head *head, uff58_take take, void *context,
                          uff58_held *out, quell_error *err)
{
    quell_status status = take != NULL ? uff58_head_check(head, err) : QUELL_OK;
    if (status != QUELL_OK)
        return status;
    return head->binary ? uff58_binary_values(head, file->lines, take, context, out, err)
                        : uff58_text_values(head, file->lines, take, context, out, err);
}
