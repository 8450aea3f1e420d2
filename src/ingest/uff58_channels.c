/* Universal files: one pass over the datasets, in which the channels that may be used are kept. */
#include "ingest/uff58_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---------------------------------------------------------------- values that grow without being copied */

quell_status uff58_series_add(uff58_series *series, double value, quell_error *err)
{
    size_t at = series->count % UFF58_BLOCK;
    if (at == 0) {
        uff58_block *block = quell_memory_get(sizeof *block);
        if (block == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory after %zu values of a channel",
                              series->count);
        block->next = NULL;
        block->taken = 0;
        if (series->last != NULL)
            series->last->next = block;
        else
            series->first = block;
        series->last = block;
    }
    series->last->value[at] = value;
    series->count++;
    return QUELL_OK;
}

void uff58_series_take(uff58_series *series, double *out, size_t n)
{
    while (n > 0 && series->first != NULL) {
        uff58_block *block = series->first;
        size_t some = UFF58_BLOCK - block->taken < n ? UFF58_BLOCK - block->taken : n;
        memcpy(out, block->value + block->taken, some * sizeof *out);
        block->taken += some;
        out += some;
        n -= some;
        if (block->taken < UFF58_BLOCK)
            break;
        series->first = block->next;
        quell_memory_free(block);
    }
}

void uff58_series_free(uff58_series *series)
{
    while (series->first != NULL) {
        uff58_block *next = series->first->next;
        quell_memory_free(series->first);
        series->first = next;
    }
    *series = (uff58_series){0};
}

void uff58_content_free(uff58_content *content)
{
    for (size_t i = 0; i < content->channels; i++) {
        uff58_series_free(&content->channel[i].value);
        uff58_series_free(&content->channel[i].stamp);
    }
    content->channels = 0;
}

/* ---------------------------------------------------------------- one channel */

/* Where points go. */
typedef struct keeping {
    uff58_content *content;
    uff58_channel *channel;
} keeping;

static quell_status keep_point(void *context, const uff58_point *point, quell_error *err)
{
    keeping *to = context;
    uff58_channel *channel = to->channel;
    bool even = channel->head.even;
    bool missing = isnan(point->real) || !(fabs(point->abscissa) < 1e19);
    channel->missing += missing ? 1 : 0;
    if (!even && !(fabs(point->abscissa) < 1e19))
        return QUELL_OK; /* without a stamp it has no place */
    to->content->values += even ? 1 : 2;
    if (to->content->values > UFF58_VALUES_MAX)
        return quell_fail(err, QUELL_E_MEMORY,
                          "the channels hold more than %d values, which have to be kept in memory as they "
                          "follow one another; want a shorter record, or fewer channels by --columns x=1",
                          UFF58_VALUES_MAX);
    quell_status status = uff58_series_add(&channel->value, point->real, err);
    if (status == QUELL_OK && !even)
        status = uff58_series_add(&channel->stamp, point->abscissa, err);
    if (fabs(point->imaginary) > channel->imaginary)
        channel->imaginary = fabs(point->imaginary);
    return status;
}

static quell_status keep(uff58_content *content, uff58_file *file, const uff58_head *head, quell_error *err)
{
    uff58_channel *channel = &content->channel[content->channels++];
    *channel = (uff58_channel){.head = *head};
    if (labs(head->direction) > 3) /* no direction of an acceleration */
        channel->head.direction = 0;
    uff58_held held;
    keeping to = {content, channel};
    quell_status status = uff58_values(file, head, keep_point, &to, &held, err);
    if (status == QUELL_OK)
        channel->found = held.points;
    return status;
}

/* ---------------------------------------------------------------- which are kept */

static bool is_picked(const uff58_content *content, size_t number)
{
    return content->picked[0] == number || content->picked[1] == number || content->picked[2] == number;
}

/* Without --columns: the first three, and what else the first one's node has in other directions. */
static bool may_be_axis(const uff58_content *content, const uff58_head *head)
{
    if (content->channels < 3)
        return true;
    if (content->channels == UFF58_HELD || head->node != content->first.node || head->direction == 0)
        return false;
    for (size_t i = 0; i < content->channels; i++) {
        const uff58_head *other = &content->channel[i].head;
        if (other->node == head->node && labs(other->direction) == labs(head->direction))
            return false;
    }
    return true;
}

static void count_function(uff58_content *content, const uff58_head *head)
{
    bool known = head->function >= 0 && head->function < UFF58_FUNCTIONS - 1;
    content->functions[known ? head->function : UFF58_FUNCTIONS - 1]++;
}

/* A dataset asked for by number that cannot be an axis. */
static quell_status refuse_picked(const uff58_head *head, uff58_fitness fitness, quell_error *err)
{
    char shown[256];
    uff58_describe(head, shown, sizeof shown);
    if (fitness == UFF58_NO_TIME)
        return quell_fail(err, QUELL_E_USAGE,
                          "--columns: dataset %zu is a %s (function type %ld), want a time response",
                          head->number, uff58_function_name(head->function), head->function);
    bool open = head->ordinate.type == UFF58_UNKNOWN || head->ordinate.type == UFF58_GENERAL;
    return quell_fail(err, QUELL_E_USAGE, "--columns: %s, want acceleration%s", shown,
                      open ? "; if it is one, say --unit" : "");
}

/* What becomes of one dataset. */
static quell_status consider(uff58_content *content, uff58_file *file, const uff58_head *head, bool asked,
                             quell_error *err)
{
    bool picked = content->has_picked && is_picked(content, head->number);
    uff58_fitness fitness = uff58_judge(head, asked, picked);
    if (picked && fitness != UFF58_FITS)
        return refuse_picked(head, fitness, err);
    bool wanted = picked;
    if (fitness == UFF58_NO_TIME) {
        count_function(content, head);
    } else if (fitness != UFF58_FITS) {
        if (content->misfits++ == 0) {
            content->misfit = *head;
            content->why = fitness;
        }
    } else {
        if (content->candidates++ == 0)
            content->first = *head;
        wanted = content->has_picked ? picked : may_be_axis(content, head);
    }
    uff58_held held;
    return wanted ? keep(content, file, head, err) : uff58_values(file, head, NULL, NULL, &held, err);
}

static quell_status check_picked(const uff58_content *content, const uff58_file *file, quell_error *err)
{
    for (size_t k = 0; k < 3; k++)
        if (content->picked[k] > file->count)
            return quell_fail(err, QUELL_E_USAGE, "--columns: found %c=%zu, want a dataset from 1 to %zu",
                              "xyz"[k], content -> picked[k], file -> count);
    return QUELL_OK;
}

quell_status uff58_gather(uff58_content *out, uff58_file *file, const quell_read_options *options,
                          quell_error *err)
{
    bool found = true;
    memset(out, 0, sizeof *out);
    out->has_picked = options->columns != NULL;
    quell_status status = ingest_channels_option(out->picked, options, "dataset", err);
    while (status == QUELL_OK && found) {
        uff58_head head;
        status = uff58_next(file, &head, &found, err);
        if (status == QUELL_OK && found)
            status = consider(out, file, &head, options->unit != NULL, err);
    }
    if (status == QUELL_OK && file->count > 0)
        status = check_picked(out, file, err);
    return status;
}
