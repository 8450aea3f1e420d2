/* Places in time for rows while they pass. The first rows tell what kind of stamps there are; each kind
   places the rows block by block and sees up to INGEST_HELD of them. Blocks are counted from the first
   row, and none is placed before all that it may look at is there, so that the result does not depend on
   how rows are handed over. */
#include "ingest/timeline_private.h"

#include <math.h>
#include <string.h>

#define JUMP_MAX 1e9    /* steps between two rows */
#define BACK_COUNTED 32 /* steps that stamps may go back where a counter tells the indices */

/* ---------------------------------------------------------------- what all kinds share */

quell_status ingest_timeline_check(ingest_timeline *timeline, const double *stamp, size_t n, quell_error *err)
{
    double step = timeline->line.step, per_step = 1 / step;
    size_t from = timeline->checked > timeline->rows ? timeline->checked - timeline->rows : 0;
    double before = from > 0 ? stamp[from - 1] : timeline->rows > 0 ? timeline->last_stamp : stamp[0];
    for (size_t j = from; j < n; j++) {
        double ahead = (stamp[j] - before) * per_step;
        if (ahead < (timeline->by_counter ? -BACK_COUNTED : -1))
            return quell_fail(err, QUELL_E_DATA,
                              "time goes back by %.3g (%.3g steps) after %zu samples, want stamps that rise",
                              before - stamp[j], -ahead, timeline->rows + j);
        if (!(ahead < JUMP_MAX))
            return quell_fail(
                err, QUELL_E_DATA,
                "time jumps by more than 1e9 steps of %.3g after %zu samples, want stamps in one "
                "unit from one clock",
                step, timeline->rows + j);
        before = stamp[j];
    }
    timeline->checked = timeline->rows + n;
    return QUELL_OK;
}

void ingest_timeline_regress(ingest_slope *slope, const ingest_course *line, const ingest_residuals *block)
{
    /* late = (line.time - from) / step + ratio * (off + at) - line.index - at, with steps of the reference */
    double ratio = line->step / slope->step, tilt = ratio - 1;
    ingest_cell cell = {.rows = block->rows,
                        .index = line->index + block->at,
                        .late = (line->time - slope->from) / slope->step - line->index + ratio * block->off +
                                tilt * block->at,
                        .index2 = block->at2,
                        .both = ratio * block->both + tilt * block->at2};
    ingest_slope_add(slope, &cell,
                     ratio * ratio * block->off2 + 2 * ratio * tilt * block->both + tilt * tilt * block->at2);
}

/* Sums of the distances from the line, about their means, of the rows that are not later than `latest`. */
static ingest_residuals sum_up(const ingest_course *line, const double *stamp, const double *at, size_t n,
                               double latest)
{
    ingest_residuals out = {0};
    double off[INGEST_BLOCK], kept[INGEST_BLOCK];
    size_t count = 0;
    for (size_t j = 0; j < n; j++) {
        double late = (stamp[j] - line->time) / line->step - at[j];
        off[count] = late;
        kept[count] = at[j];
        count += late <= latest;
    }
    if (count == 0)
        return out;
    out.rows = (double)count;
    for (size_t j = 0; j < count; j++) {
        out.off += off[j] / out.rows;
        out.at += kept[j] / out.rows;
    }
    for (size_t j = 0; j < count; j++) {
        double x = kept[j] - out.at, y = off[j] - out.off;
        out.at2 += x * x;
        out.both += x * y;
        out.off2 += y * y;
    }
    return out;
}

void ingest_timeline_enter(ingest_timeline *timeline, const double *stamp, const double *at, size_t n,
                           double latest, size_t *index, ingest_residuals *out)
{
    double next = timeline->next - timeline->line.index;
    for (size_t j = 0; j < n; j++) {
        if (at[j] > next) {
            size_t lost = (size_t)(at[j] - next);
            timeline->gaps++;
            timeline->lost += lost;
            timeline->longest = lost > timeline->longest ? lost : timeline->longest;
        }
        index[j] = (size_t)(at[j] + timeline->line.index);
        next = at[j] + 1;
    }
    timeline->next = next + timeline->line.index;
    timeline->last_stamp = stamp[n - 1];
    *out = sum_up(&timeline->line, stamp, at, n, latest);
    timeline->late_rows += n - (size_t)out->rows;
    if (out->rows > 0)
        ingest_timeline_regress(&timeline->slope, &timeline->line, out);
}

/* ---------------------------------------------------------------- begin, place, finish, end */

static quell_status begin(ingest_timeline *timeline, const double *stamp, const double *counter, size_t n,
                          quell_error *err)
{
    timeline->has_stamps = stamp != NULL;
    timeline->by_counter = counter != NULL && ingest_counter_begin(timeline, counter, n);
    timeline->line = (ingest_course){0, 0, 1};
    if (stamp == NULL && !timeline->by_counter)
        return quell_fail(err, QUELL_E_DATA, "found no stamps and no counter that counts samples");
    if (stamp != NULL) {
        quell_status status = ingest_prefix_look(&timeline->prefix, stamp, n, err);
        if (status != QUELL_OK)
            return status;
        timeline->line = (ingest_course){stamp[0], 0, timeline->prefix.step};
        if (timeline->prefix.coarse || timeline->prefix.bursty)
            ingest_late_begin(timeline, stamp, n);
        else
            ingest_fine_begin(timeline, stamp, n);
        timeline->place =
            timeline->prefix.coarse || timeline->prefix.bursty ? ingest_late_place : ingest_fine_place;
    }
    if (timeline->by_counter)
        timeline->place = ingest_counter_place;
    ingest_slope_begin(&timeline->slope, timeline->line.time, timeline->line.step);
    ingest_slope_begin(&timeline->lowest, timeline->line.time, timeline->line.step);
    return QUELL_OK;
}

quell_status ingest_timeline_begin(ingest_timeline **out, const double *stamp, const double *counter,
                                   size_t n, bool whole, quell_error *err)
{
    (void)whole;
    ingest_timeline *timeline = quell_memory_get(sizeof *timeline);
    if (timeline == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the clock");
    memset(timeline, 0, sizeof *timeline);
    quell_status status = begin(timeline, stamp, counter, n, err);
    if (status == QUELL_OK)
        *out = timeline;
    else
        ingest_timeline_end(timeline);
    return status;
}

double ingest_timeline_step(const ingest_timeline *timeline)
{
    return ingest_slope_step(timeline->prefix.bursty && !timeline->by_counter ? &timeline->lowest
                                                                              : &timeline->slope);
}

quell_status ingest_timeline_place(ingest_timeline *timeline, const double *stamp, const double *counter,
                                   size_t n, bool last, size_t *index, size_t *placed, quell_error *err)
{
    size_t at = 0;
    while (at < n && (last || n - at >= INGEST_HELD)) {
        size_t took = 0;
        quell_status status = timeline->place(
            timeline, timeline->has_stamps ? stamp + at : NULL, timeline->by_counter ? counter + at : NULL,
            n - at < INGEST_HELD ? n - at : INGEST_HELD, index + at, &took, err);
        if (status != QUELL_OK)
            return status;
        at += took;
        timeline->rows += took;
    }
    *placed = at;
    return QUELL_OK;
}

quell_status ingest_timeline_finish(const ingest_timeline *timeline, ingest_clock *out, quell_error *err)
{
    bool bursty = timeline->prefix.bursty && !timeline->by_counter;
    ingest_clock clock = {.coarse = timeline->prefix.coarse,
                          .bursty = timeline->prefix.bursty,
                          .by_counter = timeline->by_counter,
                          .rows = timeline->rows,
                          .gaps = timeline->gaps,
                          .lost = timeline->lost,
                          .longest = timeline->longest,
                          .slipped = (size_t)timeline->fine.slipped,
                          .late = timeline->late_rows,
                          .resets = timeline->count.resets,
                          .least_loss = timeline->by_counter || timeline->place == ingest_fine_place
                                            ? 1
                                            : ingest_late_least_loss(timeline)};
    bool fits = ingest_slope_fit(&timeline->slope, &clock);
    double jitter = clock.jitter;
    if (fits && bursty && timeline->lowest.all.rows > 2) {
        fits = ingest_slope_fit(&timeline->lowest, &clock);
        clock.jitter = jitter;
    }
    if (!fits)
        return quell_fail(err, QUELL_E_DATA,
                          "the stamps keep no steady step, want a recording at an even rate");
    *out = clock;
    return QUELL_OK;
}

void ingest_timeline_end(ingest_timeline *timeline)
{
    quell_memory_free(timeline);
}
