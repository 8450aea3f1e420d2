/* Universal files: the reader. The channels of a file follow one another, so all of it is read when it is opened, and
   what is used of it is handed on row by row. */
#include "ingest/uff58_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* The state of an open file. */
typedef struct pass {
    uff58_content content;
    uff58_file file;
    uff58_choice choice;
    size_t at, whole; /* rows handed on, and of them those with all values */
} pass;

/* ---------------------------------------------------------------- what the file states */

/* Seconds in a unit of the abscissa: as asked for, as labelled, else 1: seconds are part of the format. */
static ingest_unit time_unit(const uff58_head *head, const quell_read_options *options)
{
    ingest_unit unit = {"s", QUELL_TIME, 1};
    if (options->time_unit != NULL) {
        ingest_time_unit_option(&unit, options, NULL);
    } else if (!uff58_unit(&unit, QUELL_TIME, head->abscissa.unit)) {
        ingest_head label = ingest_head_read(head->abscissa.label); /* "time (ms)" */
        if (label.role == INGEST_TIME && label.has_unit)
            unit = label.unit;
    }
    return unit;
}

/* The ordinate's own unit; for a plain acceleration without one, the file's unit of length over s2. */
static ingest_unit ordinate_unit(const uff58_head *head, double length_per_m)
{
    ingest_unit unit = {0};
    if (uff58_unit(&unit, QUELL_ACCELERATION, head->ordinate.unit) || head->ordinate.unit[0] != '\0' ||
        head->ordinate.type != UFF58_ACCELERATION || length_per_m <= 0)
        return unit;
    if (length_per_m == 1)
        return (ingest_unit){"m/s2", QUELL_ACCELERATION, 1};
    if (length_per_m == 1000)
        return (ingest_unit){"mm/s2", QUELL_ACCELERATION, 1e-3};
    return (ingest_unit){"the file's unit of length/s2", QUELL_ACCELERATION, 1 / length_per_m};
}

/* "Acceleration, node 12, -Z" */
static const char *axis_name(const uff58_head *head, quell_arena *arena)
{
    char node[32] = "", direction[8] = "";
    const char *name = head->ordinate.label[0] != '\0' ? head->ordinate.label : head->entity;
    if (head->node != 0)
        snprintf(node, sizeof node, ", node %ld", head->node);
    if (head->direction != 0)
        snprintf(direction, sizeof direction, ", %c%c", head->direction < 0 ? '-' : '+',
                 "XYZ"[(head->direction < 0 ? -head->direction : head->direction) - 1]);
    return name[0] != '\0' ? quell_arena_print(arena, "%s%s%s", name, node, direction)
                           : quell_arena_print(arena, "dataset %zu%s%s", head->number, node, direction);
}

static quell_status state_rate(ingest_stated *out, const uff58_head *head, ingest_unit unit, quell_error *err)
{
    out->rate_hz = 1 / (head->increment * unit.si);
    out->rate_exact = true;
    out->start = head->start * unit.si;
    if (out->rate_hz >= 1e-3 && out->rate_hz <= 1e9 && fabs(out->start) < 1e19)
        return QUELL_OK;
    return quell_fail_at(err, QUELL_E_DATA, head->line + 7, 0,
                         "the increment of %g %s is a rate of %.3g Hz, want 0.001 to 1e9", head->increment,
                         unit.name, out->rate_hz);
}

static quell_status state(ingest_reader *reader, const quell_read_options *options, quell_error *err)
{
    static const char *const format[] = {"universal file 58", "universal file 58, gzip", "universal file 58b",
                                         "universal file 58b, gzip"};
    pass *uff = reader->state;
    ingest_stated *out = &reader->stated;
    const uff58_head *first = &uff->content.channel[uff->choice.channel[0]].head;
    ingest_unit unit = time_unit(first, options);
    out->format = format[2 * (first->binary ? 1 : 0) + (uff->file.lines->bytes->packed ? 1 : 0)];
    out->axes = uff->choice.axes;
    out->has_time = !first->even;
    if (out->has_time)
        out->time_unit = unit;
    for (size_t k = 0; k < out->axes; k++) {
        const uff58_head *head = &uff->content.channel[uff->choice.channel[k]].head;
        out->unit[k] = ordinate_unit(head, uff->file.length_per_m);
        out->axis_name[k] = axis_name(head, reader->arena);
        if (out->axis_name[k] == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory for names");
    }
    return first->even ? state_rate(out, first, unit, err) : QUELL_OK;
}

/* ---------------------------------------------------------------- stamps of an uneven spacing */

/* Median of the rising steps at the start. */
static double median_step(const uff58_series *stamp)
{
    double step[INGEST_SAMPLE_ROWS];
    size_t count = 0;
    const double *value = stamp->first->value;
    for (size_t i = 1; i < stamp->count && i < UFF58_BLOCK && count < INGEST_SAMPLE_ROWS; i++)
        if (value[i] > value[i - 1])
            step[count++] = value[i] - value[i - 1];
    if (count == 0)
        return 0;
    gsl_sort(step, 1, count);
    return step[count / 2];
}

/* As for delimited text: equal stamps and a little out of order will do, running back or leaping will not. */
static quell_status check_stamps(const uff58_channel *channel, quell_error *err)
{
    const uff58_series *stamp = &channel->stamp;
    double step = median_step(stamp), newest = stamp->first->value[0];
    size_t line = channel->head.line, at = 0;
    if (!(step > 0))
        return quell_fail_at(err, QUELL_E_DATA, line, 0,
                             "the abscissa of dataset %zu does not rise, want time", channel->head.number);
    for (const uff58_block *block = stamp->first; block != NULL; block = block->next)
        for (size_t i = 0; i < UFF58_BLOCK && at < stamp->count; i++, at++) {
            double now = block->value[i];
            if (now < newest - step || now - newest > 1e9 * step)
                return quell_fail_at(
                    err, QUELL_E_DATA, line, 0, "time %s in dataset %zu: point %zu is at %.12g after %.12g",
                    now < newest ? "runs backwards" : "jumps", channel->head.number, at + 1, now, newest);
            newest = now > newest ? now : newest;
        }
    return QUELL_OK;
}

/* ---------------------------------------------------------------- the reader */

static quell_status next(ingest_reader *reader, ingest_batch *out, quell_error *err)
{
    pass *uff = reader->state;
    size_t rows = uff->choice.rows - uff->at;
    rows = rows < INGEST_BATCH ? rows : INGEST_BATCH;
    for (size_t k = 0; k < uff->choice.axes; k++) {
        uff58_channel *channel = &uff->content.channel[uff->choice.channel[k]];
        uff58_series_take(&channel->value, out->value[k], rows);
        for (size_t i = 0; i < rows && channel->head.direction < 0; i++)
            out->value[k][i] = -out->value[k][i];
    }
    for (size_t i = 0; i < rows; i++) {
        bool whole = true;
        for (size_t k = 0; k < uff->choice.axes; k++)
            whole = whole && !isnan(out->value[k][i]);
        for (size_t k = 0; k < uff->choice.axes && !whole; k++)
            out->value[k][i] = NAN;
        uff->whole += whole ? 1 : 0;
    }
    if (reader->stated.has_time)
        uff58_series_take(&uff->content.channel[uff->choice.channel[0]].stamp, out->stamp, rows);
    out->rows = rows;
    uff->at += rows;
    if (uff->at == uff->choice.rows && uff->whole < INGEST_ROWS_MIN)
        return quell_fail(err, QUELL_E_DATA, "found %zu samples, want %d at least", uff->whole,
                          INGEST_ROWS_MIN);
    return QUELL_OK;
}

static void close_file(ingest_reader *reader)
{
    pass *uff = reader->state;
    if (uff != NULL)
        uff58_content_free(&uff->content);
    quell_memory_free(uff);
    reader->state = NULL;
}

static quell_status read_file(ingest_reader *reader, ingest_lines *lines, const quell_read_options *options,
                              quell_error *err)
{
    pass *uff = reader->state;
    uff58_open(&uff->file, lines);
    quell_status status = uff58_gather(&uff->content, &uff->file, options, err);
    if (status == QUELL_OK && uff->content.channels == 0)
        return uff58_refuse(&uff->content, &uff->file, err);
    if (status == QUELL_OK)
        status = uff58_choose(&uff->choice, &uff->content, reader->arena, reader->findings, err);
    if (status == QUELL_OK)
        status = state(reader, options, err);
    if (status == QUELL_OK && reader->stated.has_time)
        status = check_stamps(&uff->content.channel[uff->choice.channel[0]], err);
    if (status != QUELL_OK)
        return status;
    bool noted =
        uff58_note_choice(&uff->choice, &uff->content, reader->arena, reader->findings) == QUELL_OK &&
        uff58_note_file(&uff->content, &uff->file, reader->arena, reader->findings) == QUELL_OK &&
        ingest_bytes_note(lines->bytes, uff->choice.rows, reader->arena, reader->findings) == QUELL_OK;
    return noted ? QUELL_OK : quell_fail(err, QUELL_E_MEMORY, "out of memory for findings");
}

quell_status ingest_uff58_open(ingest_reader *out, ingest_lines *lines, const quell_read_options *options,
                               quell_arena *arena, quell_findings *findings, quell_error *err)
{
    *out = (ingest_reader){.arena = arena, .findings = findings, .next = next, .close = close_file};
    pass *uff = quell_memory_get(sizeof *uff);
    if (uff == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    memset(uff, 0, sizeof *uff);
    out->state = uff;
    return read_file(out, lines, options, err);
}
