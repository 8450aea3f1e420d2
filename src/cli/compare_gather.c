/* What `quell compare` goes by: recordings, spectra and modes of both sides. */
#include "cli/compare_view.h"
#include "cli/sides.h"

#include <math.h>
#include <string.h>

/* ---------------------------------------------------------------- recordings and spectra */

static quell_status load_side(cli_run *run, compare_view *view, compare_side *side)
{
    size_t count = side->files->count;
    side->loaded = QUELL_NEW(run->arena, cli_recording, count);
    side->spectrum = QUELL_NEW(run->arena, quell_spectrum, count);
    side->modes = QUELL_NEW(run->arena, quell_modes, count);
    side->shaking = QUELL_NEW(run->arena, quell_shaking, count);
    side->mode_dof = QUELL_NEW(run->arena, double, count);
    if (side->loaded == NULL || side->spectrum == NULL || side->modes == NULL || side->shaking == NULL ||
        side->mode_dof == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu recordings", count);
    for (size_t i = 0; i < count; i++) {
        quell_status status = cli_recording_load(run, side->files->item[i], view->axis, &side->loaded[i]);
        if (status != QUELL_OK)
            return status;
    }
    quell_status status = sides_drop_copies(run, side == &view->before ? "before the change" : "after the change", side->loaded,
                                            &side->files, &view->findings);
    for (size_t i = 0; i < side->files->count; i++) {
        const quell_recording *recording = &side->loaded[i].recording;
        side->duration_s += (double)recording->samples / recording->rate_hz;
    }
    return status;
}

/* The shortest recording decides how long a segment may be on both sides. In samples of the first recording. */
static double common_segment(const cli_run *run, const compare_view *view)
{
    const compare_side *const sides[] = {&view->before, &view->after};
    double rate_hz = view->before.loaded[0].recording.rate_hz, seconds = HUGE_VAL;
    if (!isnan(run->given.segment_s))
        return 2 * floor(run->given.segment_s * rate_hz / 2 + 0.5);
    for (size_t s = 0; s < 2; s++)
        for (size_t i = 0; i < sides[s]->files->count; i++) {
            const quell_recording *recording = &sides[s]->loaded[i].recording;
            double samples = (double)quell_welch_segment(recording->rate_hz, recording->samples, 0);
            seconds = fmin(seconds, samples / recording->rate_hz);
        }
    return 2 * floor(seconds * rate_hz / 2 + 1e-6);
}

/* Has the recording's spectrum made with as many samples a segment as all others, or, where its rate is another, as
   many seconds. */
static void set_segment(cli_run *run, double segment, double reference_hz, double rate_hz)
{
    bool same = fabs(rate_hz - reference_hz) <= 0.01 * reference_hz;
    run->given.segment_s = segment / (same ? rate_hz : reference_hz);
}

static quell_status make_spectra(cli_run *run, double segment, double reference_hz, compare_side *side)
{
    for (size_t i = 0; i < side->files->count; i++) {
        const quell_recording *recording = &side->loaded[i].recording;
        set_segment(run, segment, reference_hz, recording->rate_hz);
        quell_status status = cli_spectrum_make(run, recording, 0, false, &side->spectrum[i]);
        if (status != QUELL_OK)
            return status;
    }
    return QUELL_OK;
}

/* The modes of one recording. Their standard errors follow from how its stops differ, where they do. */
static quell_status find_modes(cli_run *run, const compare_view *view, compare_side *side, size_t i)
{
    quell_spectrum spectrum;
    quell_measured how = {0};
    quell_status status =
        cli_modes_make(run, &side->loaded[i], view->index, &spectrum, &side->modes[i], &how);
    bool by_stops = side->modes[i].kind == QUELL_EXCITE_STOPS && how.decays.stops >= 3;
    side->mode_dof[i] = by_stops ? (double)how.decays.stops - 1 : (double)INFINITY;
    side->shaking[i] = how.shaking;
    return status;
}

/* The modes of every recording of a side, with the shaper that was active there divided out if it is stated. That none
   can be sought is no reason to compare nothing. */
static quell_status make_modes(cli_run *run, double segment_s, const compare_view *view, compare_side *side)
{
    const char *given = run->given.shaper_on;
    size_t found = 0;
    run->given.shaper_on = side->divided;
    run->given.segment_s = segment_s;
    run->warned_of_shaper = true; /* the verdict says what comes of it */
    quell_status status = QUELL_OK;
    side->sought = true;
    for (size_t i = 0; i < side->files->count && status == QUELL_OK && side->sought; i++) {
        status = find_modes(run, view, side, i);
        if (status == QUELL_E_DATA) {
            side->sought = false;
            side->no_modes = quell_arena_print(run->arena, "%s", run->err.text);
            run->err = (quell_error){0};
            status =
                side->no_modes != NULL ? QUELL_OK : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
        }
        found += side->sought ? side->modes[i].count : 0;
    }
    if (side->sought && found == 0)
        side->no_modes = "no peak stands out";
    side->shaken = side->sought;
    run->given.shaper_on = given;
    return status;
}

/* The modes after once it is known whether the shaper said to be in effect is. Where something else acts, what would be found
   is the work of the division: how the machine was shaken is kept, its modes are not. */
static quell_status make_modes_after(cli_run *run, double segment_s, compare_view *view)
{
    const compare_side *was = &view->before;
    compare_side *is = &view->after;
    quell_findings ignored = {0}; /* they are told with the other differences */
    quell_status status = sides_shaking(run, &was->loaded[0], &is->loaded[0], &ignored, &view->shaken_alike);
    if (!view->shaken_alike && view->applied.not_judged == NULL)
        view->applied.not_judged = "the two sides were not shaken alike";
    if (status == QUELL_OK)
        status = compare_applied_make(run, was->loaded, was->files->count, is->loaded, is->files->count, view->index,
                                               was->sought ? &was->modes[0] : NULL, &view->applied);
    if (status == QUELL_OK)
        status = compare_applied_divide(run, &view->applied, is->shaper, &is->divided);
    if (status == QUELL_OK)
        status = make_modes(run, segment_s, view, is);
    if (status == QUELL_OK && is->shaper != NULL && is->divided == NULL && is->sought) {
        is->sought = false;
        is->no_modes = "it is not known which shaper acts there";
    }
    return status;
}

static quell_status name_axis(cli_run *run, compare_view *view)
{
    const cli_recording *loaded = &view->before.loaded[0];
    const quell_recording *recording = &loaded->recording;
    char shown[64];
    view->index = cli_axis_under_test(loaded);
    if (view->axis != 0)
        view->axis_words = view->axis == 'x' ? "axis x" : "axis y";
    else if (recording->axes == 3)
        view->axis_words = "the direction of most motion before (--axis not given)";
    else
        view->axis_words =
            quell_arena_print(run->arena, "the column of most motion before, %s",
                              quell_printable(shown, sizeof shown, recording->axis_name[view->index],
                                              strlen(recording->axis_name[view->index])));
    return view->axis_words != NULL ? QUELL_OK : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
}

static quell_measured_side measured(const compare_side *side)
{
    return (quell_measured_side){.count = side->files->count,
                                 .spectrum = side->spectrum,
                                 .modes = side->sought ? side->modes : NULL,
                                 .mode_dof = side->mode_dof,
                                 .shaper_known = side->shaper != NULL};
}

/* A shaper that cannot be read is told before anything is. */
static quell_status read_sides(cli_run *run, compare_view *view, double band_hz[2])
{
    const cli_idle *idle; /* for the modes; that it cannot be read is no reason to go on without them */
    quell_status status = cli_driven_axis(run, &view->axis);
    if (status == QUELL_OK)
        status = compare_applied_read(run, &view->applied);
    if (status == QUELL_OK)
        status = cli_idle_find(run, &idle);
    if (status == QUELL_OK)
        status = cli_band(run, band_hz, &run->err);
    if (status == QUELL_OK)
        status = load_side(run, view, &view->before);
    if (status == QUELL_OK)
        status = load_side(run, view, &view->after);
    return status == QUELL_OK ? name_axis(run, view) : status;
}

/* What makes the rest of the verdict worth little comes before it. */
static const char *lead_verdict(cli_run *run, compare_view *view)
{
    const char *verdict = compare_applied_lead(run, &view->applied, view->result.verdict);
    /* then a sweep that seems to run over another range does not */
    bool works = view->applied.given && view->applied.not_judged == NULL && view->applied.result.agreement == QUELL_APPLIED_WORKS;
    if (verdict != NULL && sides_have(&view->findings, "same"))
        verdict = quell_arena_print(run->arena, "%s %s", sides_share_words(), verdict);
    if (verdict != NULL && !view->shaken_alike)
        verdict = quell_arena_print(run->arena,
                                    "The two sides were not shaken alike, so levels differ for that alone, and what follows does "
                                    "not tell whether the change helped. %s",
                                    verdict);
    else if (verdict != NULL && !works && sides_have(&view->findings, "excitation"))
        verdict = quell_arena_print(run->arena,
                                    "The two sides seem not to have been shaken alike, unless a shaper hides part of the sweep: "
                                    "levels may differ for that alone. %s",
                                    verdict);
    return verdict;
}

quell_status compare_gather(cli_run *run, compare_view *view)
{
    double band_hz[2], segment_s = run->given.segment_s;
    quell_status status = read_sides(run, view, band_hz);
    if (status != QUELL_OK)
        return status;
    double segment = common_segment(run, view), reference_hz = view->before.loaded[0].recording.rate_hz;
    status = make_spectra(run, segment, reference_hz, &view->before);
    if (status == QUELL_OK)
        status = make_spectra(run, segment, reference_hz, &view->after);
    if (status == QUELL_OK)
        status = make_modes(run, segment_s, view, &view->before);
    if (status == QUELL_OK)
        status = make_modes_after(run, segment_s, view);
    if (status == QUELL_OK)
        status = compare_differences(run, view);
    if (status != QUELL_OK)
        return status;
    const quell_measured_side before = measured(&view->before), after = measured(&view->after);
    status = quell_compare(&before, &after, view->index, band_hz, run->arena, &view->result, &run->err);
    if (status != QUELL_OK)
        return status;
    view->result.verdict = lead_verdict(run, view);
    if (view->result.verdict == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the verdict");
    const compare_side *was = &view->before, *is = &view->after;
    return compare_stops_make(run, was->loaded, was->files->count, is->loaded, is->files->count, view->index,
                              was->sought ? &was->modes[0] : NULL, &view->stops);
}
