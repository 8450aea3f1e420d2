/* Universal files: which channels of acceleration are the axes.

   Up to three channels that do not claim the same direction are taken as they are; of more, those of the first one's
   node. They must have the same points in time, since they are read row by row. */
#include "ingest/uff58_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const uff58_head *head_of(const uff58_content *content, size_t channel)
{
    return &content->channel[channel].head;
}

/* ---------------------------------------------------------------- the same points in time */

static bool same_stamps(const uff58_series *a, const uff58_series *b)
{
    const uff58_block *left = a->first, *right = b->first;
    size_t count = a->count < b->count ? a->count : b->count;
    for (size_t at = 0; at < count; at += UFF58_BLOCK, left = left->next, right = right->next) {
        size_t n = count - at < UFF58_BLOCK ? count - at : UFF58_BLOCK;
        for (size_t i = 0; i < n; i++)
            if (left->value[i] != right->value[i])
                return false;
    }
    return true;
}

static bool goes_with(const uff58_channel *a, const uff58_channel *b)
{
    const uff58_head *left = &a->head, *right = &b->head;
    if (left->even != right->even || left->points != right->points)
        return false;
    if (left->even)
        return left->increment == right->increment && left->start == right->start;
    return same_stamps(&a->stamp, &b->stamp);
}

/* A channel that the file ends in, with less than half of what the longest has, is not worth the others' rows. */
static bool is_stump(const uff58_channel *channel, size_t longest)
{
    return channel->value.count < longest / 2;
}

/* ---------------------------------------------------------------- choosing */

static bool claims_the_same(const uff58_head *a, const uff58_head *b)
{
    return a->direction != 0 && labs(a->direction) == labs(b->direction);
}

/* Can all that fit be used together? */
static bool all_together(const uff58_content *content)
{
    for (size_t i = 0; i < content->channels; i++)
        for (size_t k = 0; k < i; k++)
            if (claims_the_same(head_of(content, i), head_of(content, k)))
                return false;
    return content->candidates <= 3;
}

static void choose_by_node(uff58_choice *out, const uff58_content *content)
{
    bool all = all_together(content);
    for (size_t i = 0; i < content->channels && out->axes < 3; i++) {
        const uff58_head *head = head_of(content, i);
        bool wanted = all || head->node == content->first.node;
        for (size_t k = 0; k < out->axes; k++)
            wanted = wanted && !claims_the_same(head, head_of(content, out->channel[k]));
        if (wanted)
            out->channel[out->axes++] = i;
    }
}

/* In the order of their directions, if they all have one. */
static void sort_by_direction(uff58_choice *out, const uff58_content *content)
{
    for (size_t k = 0; k < out->axes; k++)
        if (head_of(content, out->channel[k])->direction == 0)
            return;
    for (size_t k = 1; k < out->axes; k++)
        for (size_t i = k; i > 0; i--) {
            size_t *pair = &out->channel[i - 1];
            if (labs(head_of(content, pair[0])->direction) <= labs(head_of(content, pair[1])->direction))
                break;
            size_t moved = pair[0];
            pair[0] = pair[1];
            pair[1] = moved;
        }
}

static void choose_picked(uff58_choice *out, const uff58_content *content)
{
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < content->channels; i++)
            if (head_of(content, i)->number == content->picked[k])
                out->channel[out->axes++] = i;
}

static quell_status refuse_mixture(const uff58_head *a, const uff58_head *b, quell_error *err)
{
    return quell_fail(
        err, QUELL_E_DATA,
        "dataset %zu has %.15g points of %g and dataset %zu has %.15g of %g, want channels with "
        "the same points in time",
        a->number, a->points, a->even ? a->increment : 0, b->number, b->points, b->even ? b->increment : 0);
}

/* Takes out what does not go with the first, or names it if it was asked for. */
static quell_status keep_alike(uff58_choice *out, const uff58_content *content, quell_arena *arena,
                               quell_findings *findings, quell_error *err)
{
    size_t longest = 0, kept = 0;
    for (size_t k = 0; k < out->axes; k++)
        if (content->channel[out->channel[k]].value.count > longest)
            longest = content->channel[out->channel[k]].value.count;
    const uff58_channel *first = NULL;
    for (size_t k = 0; k < out->axes; k++) {
        const uff58_channel *channel = &content->channel[out->channel[k]];
        bool alike = first == NULL || goes_with(first, channel);
        if (!alike && content->has_picked)
            return refuse_mixture(&first->head, &channel->head, err);
        if (alike && (content->has_picked || !is_stump(channel, longest))) {
            first = first == NULL ? channel : first;
            out->channel[kept++] = out->channel[k];
            continue;
        }
        quell_status status = quell_findings_add(
            findings, arena, "channels", QUELL_WARN, (double)channel->head.number, NAN,
            "record all axes at once", "dataset %zu has %s and was left out", channel->head.number,
            alike ? "less than half of the points of the others" : "other points in time than the first");
        if (status != QUELL_OK)
            return quell_fail(err, status, "out of memory for findings");
    }
    out->axes = kept;
    return QUELL_OK;
}

/* "1, 2 and 3" */
static const char *numbers_of(const uff58_choice *choice, const uff58_content *content, bool nodes, char *out,
                              size_t size)
{
    size_t used = 0;
    out[0] = '\0';
    for (size_t k = 0; k < choice->axes && used < size; k++) {
        const uff58_head *head = head_of(content, choice->channel[k]);
        const char *before = k == 0 ? "" : k + 1 == choice->axes ? " and " : ", ";
        used += (size_t)snprintf(out + used, size - used, "%s%ld", before,
                                 nodes ? head->node : (long)head->number);
    }
    return out;
}

static quell_status note_left_out(const uff58_choice *choice, const uff58_content *content,
                                  quell_arena *arena, quell_findings *findings)
{
    char numbers[96], nodes[96];
    numbers_of(choice, content, false, numbers, sizeof numbers);
    numbers_of(choice, content, true, nodes, sizeof nodes);
    bool spread = false;
    for (size_t k = 1; k < choice->axes; k++)
        spread = spread ||
                 head_of(content, choice->channel[k])->node != head_of(content, choice->channel[0])->node;
    if (content->candidates > choice->axes && !content->has_picked)
        return quell_findings_add(findings, arena, "channels", QUELL_WARN, (double)content->candidates, 3,
                                  "say --columns x=1,y=2,z=3 with the numbers of other datasets to use those",
                                  "the file has %zu channels of acceleration; those of node %ld are used, "
                                  "dataset%s %s",
                                  content->candidates, content->first.node, choice->axes > 1 ? "s" : "",
                                  numbers);
    if (spread)
        return quell_findings_add(findings, arena, "channels", QUELL_NOTE, (double)choice->axes, NAN,
                                  "make sure that they are one sensor's axes",
                                  "the axes come from the nodes %s (datasets %s)", nodes, numbers);
    return QUELL_OK;
}

quell_status uff58_choose(uff58_choice *out, const uff58_content *content, quell_arena *arena,
                          quell_findings *findings, quell_error *err)
{
    uff58_choice choice = {0};
    if (content->has_picked) {
        choose_picked(&choice, content);
    } else {
        choose_by_node(&choice, content);
        sort_by_direction(&choice, content);
    }
    quell_status status = keep_alike(&choice, content, arena, findings, err);
    if (status != QUELL_OK)
        return status;
    choice.rows = SIZE_MAX;
    for (size_t k = 0; k < choice.axes; k++) {
        size_t count = content->channel[choice.channel[k]].value.count;
        choice.rows = count < choice.rows ? count : choice.rows;
    }
    if (choice.rows < INGEST_ROWS_MIN)
        return quell_fail(err, QUELL_E_DATA, "found %zu samples, want %d at least", choice.rows,
                          INGEST_ROWS_MIN);
    if (note_left_out(&choice, content, arena, findings) != QUELL_OK)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for findings");
    *out = choice;
    return QUELL_OK;
}
