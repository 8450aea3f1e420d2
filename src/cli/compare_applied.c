/* quell compare --applied: the measured ratio of after to before over what the shaper in effect should make it. */
#include "cli/compare_applied.h"
#include "cli/identify_view.h"

#include <math.h>

quell_status compare_applied_read(cli_run *run, compare_applied *out)
{
    out->given = run->given.applied != NULL;
    if (!out->given)
        return QUELL_OK;
    quell_status status = quell_shaper_parse(&out->shaper, run->given.applied, &run->err);
    if (status == QUELL_OK && out->shaper.count < 2)
        status = quell_fail(&run->err, QUELL_E_USAGE,
                            "found no shaper, want the one in effect after the change, such as zvd:47.2:0.05");
    return status == QUELL_OK ? status : quell_fail(&run->err, status, "option --applied: %s", run->err.text);
}

quell_status compare_applied_make(cli_run *run, const cli_recording *before, size_t before_count, const cli_recording *after,
                                  size_t after_count, size_t axis, const quell_modes *before_modes, compare_applied *out)
{
    double band_hz[2];
    if (!out->given)
        return QUELL_OK;
    quell_side *off = identify_sides(run, before, before_count),
               *on = off != NULL ? identify_sides(run, after, after_count) : NULL;
    quell_ratio driven, other;
    if (on == NULL)
        return QUELL_E_MEMORY;
    quell_status status = cli_band(run, band_hz, &run->err);
    if (status == QUELL_OK)
        status = quell_ratio_measure(off, before_count, on, after_count, axis, 0, band_hz, run->arena, &driven, &run->err);
    if (status != QUELL_OK)
        return status;
    quell_error why = {0};
    bool has_other =
        axis < 2 && before[0].recording.axes > 1 &&
        quell_ratio_measure(off, before_count, on, after_count, 1 - axis, 0, band_hz, run->arena, &other, &why) == QUELL_OK;
    if (why.status == QUELL_E_MEMORY)
        return quell_fail(&run->err, QUELL_E_MEMORY, "%s", why.text);
    return quell_applied_judge(&driven, has_other ? &other : NULL, &out->shaper, before_modes, run->arena, &out->result,
                               &run->err);
}

void compare_applied_print(const compare_applied *of)
{
    if (of->given)
        quell_words_print(stdout, "", "", 79, of->result.text);
}

void compare_applied_json(quell_json *json, json_t *in, const compare_applied *of)
{
    const quell_applied *result = &of->result;
    if (!of->given) {
        quell_json_null(json, in, "applied", "the shaper in effect is not stated: --applied");
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
    if (!of->given)
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
