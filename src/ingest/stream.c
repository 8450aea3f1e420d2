/* A recording in one pass: rows from a format's reader get their sample index, are laid on the even grid, and go to the
   digest and to whoever wants the samples. Nothing here grows with the recording. */
#include "ingest/stream_private.h"

#include <math.h>
#include <string.h>

static quell_status out_of_memory(quell_error *err)
{
    return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
}

/* ---------------------------------------------------------------- rows in */

/* One batch more behind the rows held. */
static void take(ingest_pass *p, const ingest_batch *batch)
{
    const ingest_stated *stated = &p->reader->stated;
    ingest_rows *rows = p->rows;
    size_t n = batch->rows, at = rows->count;
    p->ended = n == 0;
    if (p->rows_seen == 0 && n > 0 && stated->has_time)
        p->zero = batch->stamp[0];
    for (size_t i = 0; i < n && stated->has_time; i++)
        rows->stamp[at + i] = batch->stamp[i] - p->zero;
    if (stated->has_counter)
        memcpy(rows->counter + at, batch->counter, n * sizeof *batch->counter);
    for (size_t k = 0; k < stated->axes; k++)
        memcpy(rows->value[k] + at, batch->value[k], n * sizeof *batch->value[k]);
    rows->count += n;
    p->rows_seen += n;
}

static quell_status pull(ingest_pass *p, quell_error *err)
{
    const ingest_batch *batch = p->batch;
    quell_status status = p->ahead != NULL ? ingest_ahead_next(p->ahead, &batch, err)
                                           : p->reader->next(p->reader, p->batch, err);
    if (status == QUELL_OK)
        take(p, batch);
    if (p->ahead != NULL)
        ingest_ahead_release(p->ahead);
    return status;
}

/* The clock's beginning, from the rows at the start. */
static quell_status begin_clock(ingest_pass *p, quell_error *err)
{
    const ingest_stated *stated = &p->reader->stated;
    const ingest_rows *rows = p->rows;
    if (!stated->has_time && !stated->has_counter)
        return QUELL_OK;
    quell_status status =
        ingest_timeline_begin(&p->timeline, stated->has_time ? rows->stamp : NULL,
                              stated->has_counter ? rows->counter : NULL, rows->count, p->ended, err);
    p->uncounted =
        status == QUELL_E_DATA && !stated->has_time; /* no counter after all: rows count by their place */
    return p->uncounted ? QUELL_OK : status;
}

static quell_status place(ingest_pass *p, quell_error *err)
{
    ingest_rows *rows = p->rows;
    size_t from = rows->placed, n = rows->count - from, placed = n;
    if (p->timeline == NULL) {
        for (size_t i = 0; i < n; i++)
            rows->index[from + i] = p->rows_seen - n + i;
    } else {
        quell_status status = ingest_timeline_place(
            p->timeline, rows->stamp + from, p->reader->stated.has_counter ? rows->counter + from : NULL, n,
            p->ended, rows->index + from, &placed, err);
        if (status != QUELL_OK)
            return status;
    }
    rows->placed += placed;
    return QUELL_OK;
}

/* The unit of time and the rate, as the rows placed so far tell them; and all that needs to know. */
static quell_status begin(ingest_pass *p, quell_error *err)
{
    ingest_stated *stated = &p->reader->stated;
    const ingest_rows *rows = p->rows;
    quell_status status = QUELL_OK;
    if (stated->has_time) {
        double step = ingest_timeline_step(p->timeline);
        ingest_unit unit = {0};
        if (!ingest_time_unit_expect(&unit, stated, step, p->settings)) /* says why */
            return ingest_time_unit_settle(stated, step, rows->stamp[rows->count - 1], p->settings,
                                           &p->out->findings, p->arena, err);
        p->grid.rate_hz = 1 / (step * unit.si);
        status = ingest_rate_check(p->grid.rate_hz, err);
    } else {
        status = ingest_nominal_rate_take(p, err);
        p->grid.rate_hz = p->out->rate_hz;
    }
    p->grid.axes = stated->axes;
    p->grid.sink = p->sink;
    if (status == QUELL_OK)
        status = ingest_digest_create(&p->grid.digest, stated->axes, p->grid.rate_hz, p->arena, err);
    if (status == QUELL_OK)
        status = ingest_levels_create(&p->levels, stated->axes, p->arena, err);
    if (status == QUELL_OK && p->sink != NULL)
        status = p->sink->begin(p->sink->context, stated->axes, p->grid.rate_hz, err);
    return status;
}

/* ---------------------------------------------------------------- rows that count */

/* Is a sample inside the span, in seconds from the first row with values? The rate is not known to the last digit yet:
   a hundredth of a sample is not counted. */
static bool is_inside(const ingest_pass *p, size_t index)
{
    const double slack = 0.01;
    return (double)index >= p->settings->span_s[0] * p->grid.rate_hz - slack &&
           (double)index <= p->settings->span_s[1] * p->grid.rate_hz + slack;
}

/* Sums and extremes over rows [from, to), all of them with values. */
static void note_values(ingest_pass *p, size_t from, size_t to)
{
    for (size_t k = 0; k < p->grid.axes; k++) {
        const double *value = p->rows->value[k];
        double sum = 0, most = p->most[k], least = p->least[k];
        for (size_t i = from; i < to; i++) {
            sum += value[i];
            most = value[i] > most ? value[i] : most;
            least = value[i] < least ? value[i] : least;
        }
        p->sum[k] += sum;
        p->most[k] = most;
        p->least[k] = least;
    }
    p->whole += to - from;
}

/* Do all of the rows [from, placed) have values, with no span to be looked at? Rows without have none on any axis. */
static bool all_count(const ingest_pass *p, size_t from)
{
    double odd = 0; /* 0 times NaN is NaN */
    for (size_t i = from; i < p->rows->placed; i++)
        odd += 0 * p->rows->value[0][i];
    return odd == 0 && p->settings->span == NULL;
}

static void take_out(ingest_rows *rows, size_t axes, size_t kept)
{
    size_t gone = rows->placed - kept, waiting = rows->count - rows->placed;
    memmove(rows->stamp + kept, rows->stamp + rows->placed, waiting * sizeof *rows->stamp);
    memmove(rows->counter + kept, rows->counter + rows->placed, waiting * sizeof *rows->counter);
    for (size_t k = 0; k < axes; k++)
        memmove(rows->value[k] + kept, rows->value[k] + rows->placed, waiting * sizeof *rows->value[k]);
    rows->placed = kept;
    rows->count -= gone;
}

/* Takes out the rows [from, placed) that have only a stamp, now that they have told the time, and those outside the
   span. Indices count from the first row with values then. */
static void keep_what_counts(ingest_pass *p, size_t from)
{
    ingest_rows *rows = p->rows;
    const bool all = all_count(p, from);
    size_t kept = from;
    for (size_t i = from; i < rows->placed; i++) {
        if (!all && isnan(rows->value[0][i]))
            continue;
        if (!p->any)
            p->base = rows->index[i];
        p->any = true;
        p->last = rows->index[i] - p->base;
        rows->index[kept] = p->last;
        for (size_t k = 0; k < p->grid.axes && kept != i; k++)
            rows->value[k][kept] = rows->value[k][i];
        kept++;
    }
    note_values(p, from, kept);
    size_t inside = from;
    for (size_t i = from; i < kept && p->settings->span != NULL; i++) {
        if (!is_inside(p, rows->index[i]))
            continue;
        for (size_t k = 0; k < p->grid.axes; k++)
            rows->value[k][inside] = rows->value[k][i];
        rows->index[inside++] = rows->index[i];
    }
    if (p->settings->span != NULL)
        kept = inside;
    if (p->kept == 0 && kept > from)
        p->first = rows->index[from];
    p->kept += kept - from;
    if (kept < rows->placed)
        take_out(rows, p->grid.axes, kept);
}

/* Lets go of rows that have been laid, but for the last two, which serve to fill a gap after them. */
static void let_go(ingest_rows *rows, size_t axes)
{
    size_t gone = rows->laid > 2 ? rows->laid - 2 : 0, kept = rows->count - gone;
    if (gone == 0)
        return;
    memmove(rows->stamp, rows->stamp + gone, kept * sizeof *rows->stamp);
    memmove(rows->counter, rows->counter + gone, kept * sizeof *rows->counter);
    memmove(rows->index, rows->index + gone, kept * sizeof *rows->index);
    for (size_t k = 0; k < axes; k++)
        memmove(rows->value[k], rows->value[k] + gone, kept * sizeof *rows->value[k]);
    rows->count -= gone;
    rows->placed -= gone;
    rows->laid -= gone;
}

/* Lays what can be laid of the rows placed from `from` on: the last one waits for the one after it. */
static quell_status lay(ingest_pass *p, size_t from, quell_error *err)
{
    ingest_rows *rows = p->rows;
    quell_status status = QUELL_OK;
    keep_what_counts(p, from);
    const double *const value[3] = {rows->value[0] + from, rows->value[1] + from, rows->value[2] + from};
    ingest_levels_add(p->levels, value, rows->placed - from);
    size_t to = p->ended ? rows->placed : rows->placed > 0 ? rows->placed - 1 : 0;
    if (to > rows->laid) {
        status = ingest_grid_lay(&p->grid, rows, rows->laid, to, rows->placed, err);
        rows->laid = to;
    }
    let_go(rows, p->grid.axes);
    return status;
}

/* ---------------------------------------------------------------- the end */

static quell_status settle(ingest_pass *p, quell_error *err)
{
    quell_recording *out = p->out;
    ingest_stated *stated = &p->reader->stated;
    quell_status status = QUELL_OK;
    if (p->kept < INGEST_ROWS_MIN)
        return p->settings->span == NULL
                   ? quell_fail(err, QUELL_E_DATA, "found %zu samples, want %d at least", p->kept,
                                INGEST_ROWS_MIN)
                   : quell_fail(err, QUELL_E_DATA,
                                "--span %.40s holds %zu samples of a recording of %.3f s, want %d at least",
                                p->settings->span, p->kept, (double)p->last / p->grid.rate_hz,
                                INGEST_ROWS_MIN);
    status = stated->has_time ? ingest_clock_take(p, err) : ingest_nominal_rate_note(p, err);
    if (status != QUELL_OK)
        return status;
    out->offset_s = (double)p->first / out->rate_hz;
    out->start_s += (double)(p->base + p->first) / out->rate_hz;
    double mean[3] = {0};
    double extreme[3] = {0};
    for (size_t k = 0; k < stated->axes; k++) {
        mean[k] = p->sum[k] / (double)p->whole;
        extreme[k] = p->most[k] > -p->least[k] ? p->most[k] : p->least[k];
    }
    status = ingest_units_settle(stated, mean, extreme, p->settings, &out->findings, p->arena, err);
    if (status != QUELL_OK)
        return status;
    out->format = stated->format;
    out->unit = stated->unit[0].name;
    for (size_t k = 1; k < stated->axes; k++)
        if (stated->unit[k].si != stated->unit[0].si)
            out->unit = "different units";
    out->axes = stated->axes;
    for (size_t k = 0; k < stated->axes; k++) {
        out->axis_name[k] = stated->axis_name[k];
        out->scale_mps2[k] = stated->unit[k].si;
    }
    out->samples = p->grid.samples;
    out->lost_samples = p->grid.lost;
    out->gaps = p->grid.gaps;
    out->filled_samples = p->grid.filled;
    ingest_digest_settle(p->grid.digest, out->rate_hz, out->scale_mps2);
    out->digest = p->grid.digest;
    ingest_levels_finish(p->levels, out->scale_mps2, out);
    return QUELL_OK;
}

static quell_status run(ingest_pass *p, quell_error *err)
{
    quell_status status = QUELL_OK;
    while (status == QUELL_OK && !p->ended && p->rows->count < INGEST_PREFIX)
        status = pull(p, err);
    if (status == QUELL_OK && p->rows->count < INGEST_ROWS_MIN)
        return quell_fail(err, QUELL_E_DATA, "found %zu samples, want %d at least", p->rows->count,
                          INGEST_ROWS_MIN);
    if (status == QUELL_OK)
        status = begin_clock(p, err);
    if (status == QUELL_OK)
        status = place(p, err);
    if (status == QUELL_OK)
        status = begin(p, err);
    if (status == QUELL_OK)
        status = lay(p, 0, err);
    while (status == QUELL_OK && !p->ended) {
        size_t from = p->rows->placed;
        status = pull(p, err);
        if (status == QUELL_OK)
            status = place(p, err);
        if (status == QUELL_OK)
            status = lay(p, from, err);
    }
    if (status == QUELL_OK) {
        status = ingest_ahead_end(p->ahead, err);
        p->ahead = NULL;
    }
    return status == QUELL_OK ? settle(p, err) : status;
}

quell_status ingest_stream(quell_recording *out, ingest_reader *reader, const ingest_settings *settings,
                           const quell_sink *sink, quell_arena *arena, quell_error *err)
{
    ingest_pass p = {.out = out, .reader = reader, .settings = settings, .sink = sink, .arena = arena};
    for (size_t k = 0; k < 3; k++) {
        p.most[k] = -HUGE_VAL;
        p.least[k] = HUGE_VAL;
    }
    p.batch = quell_memory_get(sizeof *p.batch);
    p.rows = quell_memory_get(sizeof *p.rows);
    quell_status status = QUELL_OK;
    if (p.batch == NULL || p.rows == NULL) {
        status = out_of_memory(err);
    } else {
        p.rows->count = p.rows->placed = p.rows->laid = 0;
        p.ahead = settings->threads > 1 ? ingest_ahead_start(reader) : NULL; /* NULL will do as well */
        status = run(&p, err);
        ingest_ahead_end(p.ahead, NULL); /* where it failed before the end */
    }
    ingest_timeline_end(p.timeline);
    quell_memory_free(p.batch);
    quell_memory_free(p.rows);
    return status;
}
