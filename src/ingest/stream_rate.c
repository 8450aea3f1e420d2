/* The rate of a recording: from its stamps, or as it was given. */
#include "ingest/stream_private.h"

#include <math.h>

#define EVEN_JITTER 0.003 /* stamps that were measured scatter by more */

static quell_status out_of_memory(quell_error *err)
{
    return quell_fail(err, QUELL_E_MEMORY, "out of memory for findings");
}

/* The rate that does not come from stamps: as asked for, or as the file states it. 0 if there is none. */
static double nominal_rate_hz(const ingest_pass *p)
{
    return p->settings->rate_hz > 0 ? p->settings->rate_hz : p->reader->stated.rate_hz;
}

quell_status ingest_nominal_rate_take(ingest_pass *p, quell_error *err)
{
    quell_recording *out = p->out;
    const ingest_stated *stated = &p->reader->stated;
    double rate_hz = nominal_rate_hz(p);
    if (!(rate_hz > 0))
        return quell_fail(err, QUELL_E_DATA, "found no time and no rate, want stamps, or --rate HZ");
    out->rate_hz = rate_hz;
    double tolerance = p->settings->has_tolerance ? p->settings->tolerance : 0;
    out->rate_ci95_hz[0] = rate_hz * (1 - tolerance);
    out->rate_ci95_hz[1] = rate_hz * (1 + tolerance);
    out->start_s = stated->start;
    return QUELL_OK;
}

static quell_status compare_rates(ingest_pass *p, quell_error *err)
{
    double nominal_hz = nominal_rate_hz(p);
    if (!(nominal_hz > 0))
        return QUELL_OK;
    bool asked = p->settings->rate_hz > 0; /* what a header says is only a remark */
    double off = p->out->rate_hz / nominal_hz - 1;
    double shown = fabs(off) < 5e-5 ? 0 : 100 * off; /* "-0.00 %" says nothing */
    quell_severity severity = fabs(off) > 0.02 ? QUELL_WARN : QUELL_NOTE;
    if (fabs(off) > 0.10 && asked)
        severity = QUELL_REFUSE;
    quell_status status = quell_findings_add(
        &p->out->findings, p->arena, "rate", severity, off, severity == QUELL_REFUSE ? 0.10 : 0.02,
        severity == QUELL_NOTE ? ""
        : asked                ? "check the rate and --time-unit; the stamps' rate is used"
                               : "the stamps' rate is used; check --time-unit",
        "the stamps give %.6g Hz, %+.2f %% from the %s %.6g Hz", p->out->rate_hz, shown,
        asked ? "nominal" : "file's stated", nominal_hz);
    return status == QUELL_OK ? status : out_of_memory(err);
}

quell_status ingest_rate_check(double rate_hz, quell_error *err)
{
    if (isfinite(rate_hz) && rate_hz >= 1e-3 && rate_hz <= 1e9)
        return QUELL_OK;
    return quell_fail(err, QUELL_E_DATA,
                      "the stamps give a rate of %.3g Hz, want 0.001 to 1e9; check --time-unit", rate_hz);
}

/* Several samples to one stamp: what cannot be seen in them. */
static quell_status note_coarse(ingest_pass *p, const ingest_clock *clock)
{
    if (clock->bursty)
        return quell_findings_add(
            &p->out->findings, p->arena, "stamps", QUELL_WARN, (double)clock->least_loss, NAN,
            "let the logger write the time of each sample, or number the samples",
            "samples come in batches that are stamped when they arrive: the rate is that of the least late, "
            "but fewer than %zu lost samples at a place cannot be seen",
            clock->least_loss);
    if (clock->least_loss <= 1)
        return quell_findings_add(&p->out->findings, p->arena, "stamps", QUELL_NOTE, 1, NAN,
                                  "let the logger write time in microseconds, or number the samples",
                                  "the stamps are coarse against the step between samples: the mean rate is "
                                  "right, and a lost sample is seen unless they are lost at even intervals");
    return quell_findings_add(
        &p->out->findings, p->arena, "stamps", QUELL_WARN, (double)clock->least_loss, NAN,
        "let the logger write time in microseconds, or number the samples",
        "the stamps are coarse against the step between samples: the mean rate is right, but fewer than %zu "
        "lost samples at a place cannot be seen",
        clock->least_loss);
}

/* What had to be done to the stamps, each with its size; lost samples are judged with the recording (fitness.c). */
static quell_status note_repairs(ingest_pass *p, const ingest_clock *clock)
{
    quell_findings *findings = &p->out->findings;
    quell_status status = QUELL_OK;
    if (clock->by_counter)
        status = quell_findings_add(findings, p->arena, "counter", QUELL_NOTE, (double)clock->lost, NAN, "",
                                    "the samples are numbered: which ones are lost is certain");
    else if (clock->coarse)
        status = note_coarse(p, clock);
    if (status == QUELL_OK && clock->resets > 0)
        status = quell_findings_add(
            findings, p->arena, "counter", QUELL_WARN, (double)clock->resets, NAN,
            "see whether the logger was started again", "the samples' numbers begin again %zu time%s: %s",
            clock->resets, clock->resets == 1 ? "" : "s",
            p->reader->stated.has_time ? "there the stamps count"
                                       : "how many are lost there is not known, and none is assumed");
    if (status == QUELL_OK && clock->slipped > 0)
        status = quell_findings_add(
            findings, p->arena, "slipped", QUELL_WARN, (double)clock->slipped, NAN,
            "see whether the logger writes samples twice",
            "%zu row%s more than the clock had steps for, as when samples are written twice: the phase of "
            "what moves jumps there",
            clock->slipped, clock->slipped == 1 ? " is" : "s are");
    if (status == QUELL_OK && clock->late > 0)
        status = quell_findings_add(findings, p->arena, "late", QUELL_NOTE, (double)clock->late, NAN, "",
                                    "%zu row%s stamped late by a sample or more while the logger was busy; "
                                    "the samples themselves are "
                                    "where they belong, so frequencies and damping are not touched",
                                    clock->late, clock->late == 1 ? " was" : "s were");
    return status;
}

/* Without stamps: what the counter told, if there is one. */
static quell_status note_counter(ingest_pass *p, quell_error *err)
{
    quell_status status = QUELL_OK;
    ingest_clock clock;
    if (p->uncounted)
        status =
            quell_findings_add(&p->out->findings, p->arena, "counter", QUELL_WARN, NAN, NAN,
                               "check the column that numbers the samples",
                               "what seems to number the samples does not rise by one step from row to row; "
                               "the rows are taken as consecutive, and lost samples cannot be seen");
    else if (p->timeline != NULL)
        status = ingest_timeline_finish(p->timeline, &clock, err);
    if (status == QUELL_OK && p->timeline != NULL) {
        p->out->has_counter = true;
        status = note_repairs(p, &clock);
    }
    return status == QUELL_OK ? status : out_of_memory(err);
}

quell_status ingest_nominal_rate_note(ingest_pass *p, quell_error *err)
{
    const ingest_stated *stated = &p->reader->stated;
    double rate_hz = p->out->rate_hz;
    quell_status status = note_counter(p, err);
    if (status != QUELL_OK)
        return status;
    if (p->settings->has_tolerance || (p->settings->rate_hz <= 0 && stated->rate_exact))
        return QUELL_OK;
    status = quell_findings_add(&p->out->findings, p->arena, "rate", QUELL_NOTE, rate_hz, NAN,
                                "say --rate HZ:TOL% to carry its tolerance into every frequency",
                                "the rate of %.6g Hz%s is taken as exact", rate_hz,
                                p->settings->rate_hz > 0 ? "" : ", which the file states,");
    return status == QUELL_OK ? status : out_of_memory(err);
}

/* What the stamps say in the end. */
quell_status ingest_clock_take(ingest_pass *p, quell_error *err)
{
    quell_recording *out = p->out;
    ingest_clock clock;
    quell_status status = ingest_timeline_finish(p->timeline, &clock, err);
    if (status == QUELL_OK)
        status =
            ingest_time_unit_settle(&p->reader->stated, clock.step, clock.step * (double)(p->base + p->last),
                                    p->settings, &out->findings, p->arena, err);
    if (status != QUELL_OK)
        return status;
    const double unit_s = p->reader->stated.time_unit.si;
    double relative = 1.96 * clock.step_error / clock.step;
    out->rate_hz = 1 / (clock.step * unit_s);
    status = ingest_rate_check(out->rate_hz, err);
    if (status != QUELL_OK)
        return status;
    out->has_time = true;
    out->rate_ci95_hz[0] = out->rate_hz * (1 - fmin(relative, 1));
    out->rate_ci95_hz[1] = out->rate_hz * (1 + relative);
    out->start_s = (p->zero + clock.origin) * unit_s;
    out->jitter_fraction = clock.jitter;
    out->coarse_stamps = clock.coarse;
    out->has_counter = clock.by_counter;
    out->least_loss = clock.least_loss;
    out->nominal_rate_hz = nominal_rate_hz(p);
    status = note_repairs(p, &clock);
    if (status == QUELL_OK && !clock.by_counter && clock.jitter < EVEN_JITTER)
        status = quell_findings_add(
            &out->findings, p->arena, "stamps", QUELL_NOTE, clock.jitter, EVEN_JITTER, "",
            "the stamps scatter by less than %.1f %% of a sample, as if computed from a nominal "
            "rate: then the rate's interval says nothing about the clock",
            100 * EVEN_JITTER);
    return status == QUELL_OK ? compare_rates(p, err) : out_of_memory(err);
}
