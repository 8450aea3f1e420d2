/* A recording from a source: the format is recognised, its reader fills a raw series, and the series becomes evenly
   sampled acceleration. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

#define EVEN_JITTER 0.003 /* stamps that were measured scatter by more */

/* ---------------------------------------------------------------- from series to recording */

static quell_status out_of_memory(quell_error *err)
{
    return quell_fail(err, QUELL_E_MEMORY, "out of memory for findings");
}

static quell_status take_nominal_rate(quell_recording *out, ingest_series *series,
                                      const ingest_settings *settings, size_t *index, quell_arena *arena,
                                      quell_error *err)
{
    for (size_t i = 0; i < series->count; i++)
        index[i] = (size_t)(series->stamp[i] - series->stamp[0]);
    out->rate_hz = settings->rate_hz;
    out->rate_ci95_hz[0] = settings->rate_hz * (1 - settings->tolerance);
    out->rate_ci95_hz[1] = settings->rate_hz * (1 + settings->tolerance);
    if (settings->has_tolerance)
        return QUELL_OK;
    quell_status status =
        quell_findings_add(&series->findings, arena, "rate", QUELL_NOTE, settings->rate_hz, NAN,
                           "say --rate HZ:TOL% to carry its tolerance into every frequency",
                           "the rate of %.6g Hz is taken as exact", settings->rate_hz);
    return status == QUELL_OK ? status : out_of_memory(err);
}

/* What the stamps give against --rate, or else what the file states. */
static quell_status compare_rates(quell_recording *out, ingest_series *series,
                                  const ingest_settings *settings, quell_arena *arena, quell_error *err)
{
    bool asked = settings->rate_hz > 0;
    double nominal = asked ? settings->rate_hz : series->rate_hz;
    if (nominal <= 0)
        return QUELL_OK;
    double off = out->rate_hz / nominal - 1;
    quell_severity severity = fabs(off) > 0.10 && asked ? QUELL_REFUSE : fabs(off) > 0.02 ? QUELL_WARN : QUELL_NOTE;
    quell_status status = quell_findings_add(
        &series->findings, arena, "rate", severity, off, severity == QUELL_REFUSE ? 0.10 : 0.02,
        severity == QUELL_NOTE ? ""
        : asked                ? "check the rate and --time-unit; the stamps' rate is used"
                               : "the stamps' rate is used; check --time-unit",
        "the stamps give %.6g Hz, %+.2f %% from the %s %.6g Hz", out->rate_hz, 100 * off,
        asked ? "nominal" : "file's stated", nominal);
    return status == QUELL_OK ? status : out_of_memory(err);
}

static quell_status fit_clock(quell_recording *out, ingest_series *series, const ingest_settings *settings,
                              size_t *index, quell_arena *arena, quell_error *err)
{
    double zero = series->stamp[0];
    for (size_t i = 0; i < series->count; i++)
        series->stamp[i] -= zero;
    ingest_clock clock;
    quell_status status = ingest_clock_fit(&clock, series->stamp, series->count, index, err);
    if (status == QUELL_OK)
        status = ingest_time_unit_settle(series, clock.step, series->stamp[series->count - 1], settings,
                                         arena, err);
    if (status != QUELL_OK)
        return status;
    double step_s = clock.step * series->time_unit.si, relative = 1.96 * clock.step_error / clock.step;
    out->has_time = true;
    out->rate_hz = 1 / step_s;
    if (!isfinite(out->rate_hz) || out->rate_hz < 1e-3 || out->rate_hz > 1e9)
        return quell_fail(err, QUELL_E_DATA,
                          "the stamps give a rate of %.3g Hz, want 0.001 to 1e9; check --time-unit",
                          out->rate_hz);
    out->rate_ci95_hz[0] = out->rate_hz * (1 - fmin(relative, 1));
    out->rate_ci95_hz[1] = out->rate_hz * (1 + relative);
    out->start_s = (zero + clock.origin) * series->time_unit.si;
    out->jitter_fraction = clock.jitter;
    out->coarse_stamps = clock.coarse;
    if (clock.coarse) {
        status = quell_findings_add(
            &out->findings, arena, "stamps", QUELL_WARN, clock.jitter, NAN,
            "let the logger write time in microseconds",
            "the stamps are coarse against the step between samples: the mean rate is right, but "
            "single lost samples cannot be seen");
        if (status != QUELL_OK)
            return out_of_memory(err);
    }
    if (clock.jitter < EVEN_JITTER) {
        status = quell_findings_add(
            &series->findings, arena, "stamps", QUELL_NOTE, clock.jitter, EVEN_JITTER, "",
            "the stamps scatter by less than %.1f %% of a sample, as if computed from a nominal "
            "rate: then the rate's interval says nothing about the clock",
            100 * EVEN_JITTER);
        if (status != QUELL_OK)
            return out_of_memory(err);
    }
    return compare_rates(out, series, settings, arena, err);
}

/* Rows [*first, *last) whose samples lie within the span. */
static quell_status cut_span(quell_recording *out, const ingest_settings *settings, const size_t *index,
                             size_t count, size_t *first, size_t *last, quell_error *err)
{
    *first = 0;
    *last = count;
    while (*first < *last && (double)index[*first] / out->rate_hz < settings->span_s[0])
        ++*first;
    while (*last > *first && (double)index[*last - 1] / out->rate_hz > settings->span_s[1])
        --*last;
    if (*last - *first < INGEST_ROWS_MIN)
        return quell_fail(
            err, QUELL_E_DATA, "--span %.40s holds %zu samples of a recording of %.3f s, want %d at least",
            settings->span, *last - *first, (double)index[count - 1] / out->rate_hz, INGEST_ROWS_MIN);
    out->offset_s = (double)index[*first] / out->rate_hz;
    out->start_s += out->offset_s;
    return QUELL_OK;
}

/* Takes out the rows that have only a stamp, now that they have told the time. */
static void drop_empty_rows(quell_recording *out, ingest_series *series, size_t *index)
{
    size_t kept = 0;
    for (size_t i = 0; i < series->count; i++) {
        if (isnan(series->value[0][i]))
            continue;
        for (size_t k = 0; k < series->axes; k++)
            series->value[k][kept] = series->value[k][i];
        index[kept++] = index[i];
    }
    series->count = kept;
    size_t shift = index[0];
    for (size_t i = 0; i < kept; i++)
        index[i] -= shift;
    out->start_s += (double)shift / out->rate_hz;
}

static quell_status finish(quell_recording *out, ingest_series *series, const ingest_settings *settings,
                           size_t *index, quell_arena *arena, quell_error *err)
{
    quell_status status = series->has_time ? fit_clock(out, series, settings, index, arena, err)
                                           : take_nominal_rate(out, series, settings, index, arena, err);
    if (status != QUELL_OK)
        return status;
    drop_empty_rows(out, series, index);
    size_t first, last;
    status = cut_span(out, settings, index, series->count, &first, &last, err);
    if (status == QUELL_OK)
        status = ingest_units_settle(series, settings, arena, err);
    if (status != QUELL_OK)
        return status;
    out->format = series->format;
    out->unit = series->unit[0].name;
    out->findings = series->findings;
    for (size_t k = 0; k < series->axes; k++)
        out->axis_name[k] = series->axis_name[k];
    status = ingest_levels_measure(out, series, first, last, arena, err);
    if (status == QUELL_OK)
        status = ingest_gaps_lay(out, series, index, first, last, arena, err);
    return status == QUELL_OK ? ingest_digest_make(out, arena, err) : status;
}

static quell_status read_from(quell_recording *out, ingest_bytes *bytes, const quell_source *source,
                              const quell_read_options *options, const ingest_settings *settings,
                              quell_arena *arena, quell_error *err)
{
    ingest_lines lines = {0};
    ingest_reader reader = {0};
    ingest_settings used = *settings;
    ingest_series *series = NULL;
    size_t *index = NULL;
    quell_status status = ingest_bytes_open(bytes, source, err);
    if (status == QUELL_OK)
        status = ingest_lines_open(&lines, bytes, err);
    if (status != QUELL_OK)
        goto done;
    series = QUELL_NEW(arena, ingest_series, 1);
    if (series == NULL) {
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
        goto done;
    }
    status = ingest_format_open(&reader, &lines, options, arena, &series->findings, err);
    if (status == QUELL_OK)
        status = ingest_series_drain(series, &reader, err);
    if (used.rate_hz <= 0 && !reader.stated.has_time)
        used.rate_hz = reader.stated.rate_hz;
    out->start_s = reader.stated.start;
    if (reader.state != NULL)
        reader.close(&reader);
    if (status != QUELL_OK)
        goto done;
    index = quell_memory_get(series->count * sizeof *index);
    status = index == NULL ? quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu samples", series->count)
                           : finish(out, series, &used, index, arena, err);
done:
    if (series != NULL)
        ingest_series_free(series);
    quell_memory_free(index);
    ingest_lines_close(&lines);
    ingest_bytes_close(bytes);
    return status;
}

quell_status quell_recording_read(quell_recording *out, const quell_source *source,
                                  const quell_read_options *options, quell_arena *arena, quell_error *err)
{
    ingest_settings settings;
    quell_status status = ingest_settings_read(&settings, options, err);
    if (status != QUELL_OK)
        return status;
    ingest_bytes *bytes = quell_memory_get(sizeof *bytes);
    char *name = quell_arena_copy(arena, source->name, strlen(source->name));
    quell_recording *read = QUELL_NEW(arena, quell_recording, 1);
    if (bytes == NULL || name == NULL || read == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    else
        status = read_from(read, bytes, source, options, &settings, arena, err);
    quell_memory_free(bytes);
    if (status != QUELL_OK) {
        /* a wrong option is not the file's fault */
        if (status != QUELL_E_USAGE)
            quell_error_set_file(err, source->name);
        return status;
    }
    read->file = name;
    *out = *read;
    return QUELL_OK;
}
