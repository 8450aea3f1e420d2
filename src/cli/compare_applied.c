/* quell compare --applied: the measured ratio of after to before over what the shaper in effect should make it. */
#include "cli/compare_applied.h"
#include "cli/identify_view.h"

#include <math.h>

quell_status compare_applied_read(cli_run *run, compare_applied *out)
{
    quell_shaper before;
    bool stated;
    quell_status status = cli_shaper_on(run, &before, &stated);
    if (status != QUELL_OK || run->given.applied == NULL)
        return status;
    status = quell_shaper_parse(&out->shaper, run->given.applied, &run->err);
    if (status != QUELL_OK)
        return quell_fail(&run->err, status, "option --applied: %s", run->err.text);
    out->given = out->shaper.count > 1;
    if (before.count > 1)
        out->not_judged = "a shaper was active before, too";
    return QUELL_OK;
}

/* The ratios of the driven axis and, if there is one, of the other. */
static quell_status measure(cli_run *run, const cli_recording *before, size_t before_count, const cli_recording *after,
                            size_t after_count, size_t axis, quell_ratio ratio[2], bool *has_other)
{
    double band_hz[2];
    quell_side *off = identify_sides(run, before, before_count),
               *on = off != NULL ? identify_sides(run, after, after_count) : NULL;
    if (on == NULL)
        return QUELL_E_MEMORY;
    quell_status status = cli_band(run, band_hz, &run->err);
    if (status == QUELL_OK)
        status = quell_ratio_measure(off, before_count, on, after_count, axis, 0, band_hz, run->arena, &ratio[0], &run->err);
    if (status != QUELL_OK)
        return status;
    quell_error why = {0};
    *has_other = axis < 2 && before[0].recording.axes > 1 &&
                 quell_ratio_measure(off, before_count, on, after_count, 1 - axis, 0, band_hz, run->arena, &ratio[1], &why) == QUELL_OK;
    return why.status == QUELL_E_MEMORY ? quell_fail(&run->err, QUELL_E_MEMORY, "%s", why.text) : QUELL_OK;
}

quell_status compare_applied_make(cli_run *run, const cli_recording *before, size_t before_count, const cli_recording *after,
                                  size_t after_count, size_t axis, const quell_modes *before_modes, compare_applied *out)
{
    quell_ratio ratio[2];
    bool has_other = false;
    if (!out->given || out->not_judged != NULL)
        return QUELL_OK;
    quell_status status = measure(run, before, before_count, after, after_count, axis, ratio, &has_other);
    if (status == QUELL_OK)
        return quell_applied_judge(&ratio[0], has_other ? &ratio[1] : NULL, &out->shaper, before_modes, run->arena,
                                   &out->result, &run->err);
    if (status != QUELL_E_DATA)
        return status;
    out->not_judged = quell_arena_print(run->arena, "%s", run->err.text); /* the comparison stands all the same */
    run->err = (quell_error){0};
    return out->not_judged != NULL ? QUELL_OK : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
}

/* ---------------------------------------------------------------- what follows for the rest of the comparison */

static bool judged(const compare_applied *of)
{
    return of->given && of->not_judged == NULL;
}

bool compare_applied_as_stated(const compare_applied *of)
{
    return !judged(of) || of->result.agreement == QUELL_APPLIED_WORKS || of->result.agreement == QUELL_APPLIED_MODE_MOVED;
}

static const char *scaled_words(cli_run *run, const quell_shaper *shaper, double scale)
{
    enum { SPEC = 1024 };
    char *words = QUELL_NEW(run->arena, char, SPEC);
    quell_shaper at = *shaper;
    for (size_t i = 0; i < at.count; i++)
        at.time_s[i] /= scale;
    at.at.frequency_hz *= scale;
    return words != NULL ? quell_shaper_format(&at, words, SPEC) : NULL;
}

quell_status compare_applied_divide(cli_run *run, const compare_applied *of, const char *stated, const char **words)
{
    *words = stated;
    if (compare_applied_as_stated(of))
        return QUELL_OK;
    switch (of->result.agreement) {
    case QUELL_APPLIED_ELSEWHERE:
        *words = scaled_words(run, &of->shaper, of->result.scale);
        return *words != NULL ? QUELL_OK : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    case QUELL_APPLIED_NOT_IN_EFFECT:
    case QUELL_APPLIED_WRONG_AXIS:
        *words = "none";
        return QUELL_OK;
    default:
        *words = NULL;
        return QUELL_OK;
    }
}

static bool leads(const compare_applied *of)
{
    return judged(of) && of->result.agreement != QUELL_APPLIED_WORKS;
}

const char *compare_applied_lead(cli_run *run, const compare_applied *of, const char *verdict)
{
    return leads(of) ? quell_arena_print(run->arena, "%s %s", of->result.text, verdict) : verdict;
}

/* ---------------------------------------------------------------- what is shown */

void compare_applied_print(const compare_applied *of)
{
    if (leads(of))
        return;
    if (judged(of))
        quell_words_print(stdout, "", "", 79, of->result.text);
    else if (of->given)
        quell_words_print(stdout, "Whether the shaper does what it should is not judged: ", "", 79, of->not_judged);
}

void compare_applied_json(quell_json *json, json_t *in, const compare_applied *of)
{
    const quell_applied *result = &of->result;
    if (!of->given || of->not_judged != NULL) {
        quell_json_null(json, in, "applied", of->given ? of->not_judged : "no shaper is stated to be in effect: --applied");
        return;
    }
    json_t *object = quell_json_object(json, in, "applied");
    cli_json_shaper(json, object, "shaper", &of->shaper);
    quell_json_text(json, object, "agreement", quell_agreement_word(result->agreement));
    quell_json_number(json, object, "misfit_db", result->misfit_db, "");
    quell_json_number(json, object, "frequency_scale", result->scale, "the shaper does not act");
    if (isfinite(result->scale))
        quell_json_interval(json, object, "frequency_scale_ci95", result->scale_ci95);
    else
        quell_json_null(json, object, "frequency_scale_ci95", "the shaper does not act");
    quell_json_number(json, object, "mode_hz", result->mode_hz, "no mode before is known");
    quell_json_number(json, object, "mode_predicted_db", result->mode_predicted_db, "no mode before is known");
    quell_json_number(json, object, "mode_measured_db", result->mode_measured_db, "no mode before is known");
    quell_json_number(json, object, "mode_residual", result->mode_residual, "no mode before is known");
    quell_json_number(json, object, "mode_moved_to_hz", result->moved_hz, "the mode has not moved");
    quell_json_text(json, object, "text", result->text);
}

void compare_applied_panel(quell_plot *plot, const compare_applied *of)
{
    const quell_applied *result = &of->result;
    if (!of->given || of->not_judged != NULL)
        return;
    size_t n = result->bins, place = n / 2;
    for (size_t i = 0; i < n; i++) /* where the shaper does most its name has room beside the curve */
        place = result->predicted_db[i] < result->predicted_db[place] ? i : place;
    quell_plot_panel(plot, "What the shaper should do, over what was measured with its 95 % band", "frequency (Hz)",
                     "after / before (dB)");
    quell_plot_x_range(plot, result->frequency_hz[0], result->frequency_hz[n - 1], true);
    quell_plot_y_range(plot, -40, 10);
    quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_GREY, 1, result->frequency_hz, result->low_db, result->high_db, n, "",
                     (double)NAN);
    quell_plot_curve(plot, QUELL_MARK_POINTS, QUELL_INK_MAIN, 1, result->frequency_hz, result->measured_db, NULL, n, "measured",
                     result->frequency_hz[n / 8]);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_SECOND, 1.5, result->frequency_hz, result->predicted_db, NULL, n,
                     "predicted", result->frequency_hz[place]);
}
