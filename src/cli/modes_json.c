/* quell modes: the JSON object. */
#include "cli/modes_view.h"

#include <math.h>
#include <string.h>

static const char no_letter[] = "which axis was shaken is not stated: say --axis";

/* The axis to whose density a mode was fitted; the only one of a recording has no letter but the one it was given. */
static void json_fitted_on(quell_json *json, json_t *item, const modes_view *view, const quell_mode *mode)
{
    const modes_recording *first = &view->recording[0];
    char letter[2] = {modes_axis_letter(view), '\0'};
    if (first->loaded.recording.axes == 3 && mode->seen_on < 3 && mode->seen_on != first->axis)
        letter[0] = "xyz"[mode->seen_on];
    if (letter[0] != '\0')
        quell_json_text(json, item, "fitted_on", letter);
    else
        quell_json_null(json, item, "fitted_on", no_letter);
}

static void json_mode(quell_json *json, json_t *list, const modes_view *view, size_t k)
{
    const quell_mode *mode = &view->modes.mode[k];
    json_t *item = quell_json_item(json, list);
    cli_json_mode(json, item, mode);
    if (!isfinite(mode->participation))
        quell_json_text(json, item, "participation_why", modes_why_no_participation(&view->modes));
    json_fitted_on(json, item, view, mode);
    quell_json_number(json, item, "prominence_db", mode->prominence_db, "no peak of its own");
    quell_json_number(json, item, "half_power_damping_ratio", mode->half_power_damping_ratio,
                      "the peak does not fall to half on both sides");
    quell_json_number(json, item, "decay_damping_ratio", mode->decay_damping_ratio, "no free decay tells it");
    static const double none[2] = {(double)NAN, (double)NAN};
    quell_json_interval(json, item, "decay_damping_ratio_ci95",
                        isfinite(mode->decay_damping_ratio) ? mode->decay_damping_ratio_ci95 : none);
    cli_json_spread(json, item, &view->spread[k], view->files);
}

/* What was taken to shake the machine in a recording, and how that is known. */
static void json_excitation(quell_json *json, json_t *in, const modes_recording *of)
{
    const quell_shaking *shaking = &of->how.shaking;
    quell_json_text(json, in, "excitation", of->modes.excitation);
    quell_json_text(json, in, "excitation_why", shaking->why);
    quell_json_bool(json, in, "excitation_stated", shaking->stated);
    if (shaking->kind != QUELL_EXCITE_SWEEP || !shaking->sweep_known) {
        quell_json_null(json, in, "sweep",
                        shaking->kind == QUELL_EXCITE_SWEEP ? "what was commanded is not known"
                                                            : "the excitation is no sweep");
        return;
    }
    json_t *sweep = quell_json_object(json, in, "sweep");
    quell_json_number(json, sweep, "start_hz", shaking->sweep.start_hz, "");
    quell_json_number(json, sweep, "end_hz", shaking->sweep.end_hz, "");
    quell_json_number(json, sweep, "rate_hz_per_s", shaking->sweep.rate_hz_per_s, "");
    quell_json_number(json, sweep, "acceleration_mps2",
                      shaking->acceleration_known ? shaking->sweep.acceleration_mps2 : (double)NAN,
                      "not stated");
    modes_json_sweep_check(json, sweep, of);
}

static void json_fit(quell_json *json, const quell_modes *modes)
{
    const quell_modes_fit *fit = &modes->fit;
    bool fitted = modes_fits_density(modes);
    const char *no_fit = fit->parameters > 0 ? "free decays were fitted, not a density" : "no mode was found";
    json_t *item = quell_json_object(json, json->root, "fit");
    quell_json_text(json, item, "objective", fit->objective);
    quell_json_integer(json, item, "parameters", (long long)fit->parameters);
    quell_json_integer(json, item, "iterations", (long long)fit->iterations);
    quell_json_number(json, item, "dof_per_bin", fit->dof_per_bin, "");
    quell_json_number(json, item, "bin_hz", fit->bin_hz, "");
    quell_json_number(json, item, "rms_log_misfit", fitted ? fit->rms_log_misfit : (double)NAN, no_fit);
    quell_json_number(json, item, "input_slope", fitted ? fit->input_slope : (double)NAN, no_fit);
}

static void json_findings(quell_json *json, const modes_view *view)
{
    cli_json_findings(json, json->root, &view->findings);
    json_t *each = quell_json_array(json, json->root, "recordings");
    for (size_t i = 0; i < view->recordings; i++) {
        json_t *item = quell_json_item(json, each);
        quell_json_text(json, item, "file", view->recording[i].file);
        cli_json_label(json, item, view->recording[i].label);
        json_excitation(json, item, &view->recording[i]);
        cli_json_findings(json, item, &view->recording[i].loaded.recording.findings);
    }
}

quell_json modes_json(const modes_view *view)
{
    quell_json json = quell_json_begin("quell.modes/1");
    json_t *files = quell_json_array(&json, json.root, "files");
    for (size_t i = 0; i < view->recordings; i++)
        quell_json_append_text(&json, files, view->recording[i].file);
    const char letter[2] = {modes_axis_letter(view), '\0'};
    if (letter[0] != '\0')
        quell_json_text(&json, json.root, "axis", letter);
    else
        quell_json_null(&json, json.root, "axis", no_letter);
    json_excitation(&json, json.root, &view->recording[0]);
    quell_json_numbers(&json, json.root, "band_hz", view->modes.band_hz, 2);
    json_t *ignored = quell_json_array(&json, json.root, "ignored");
    for (size_t i = 0; i < view->ignored_count; i++) {
        json_t *item = quell_json_item(&json, ignored);
        quell_json_number(&json, item, "frequency_hz", view->ignored[i].frequency_hz, "");
        quell_json_text(&json, item, "reason", view->ignored[i].reason);
    }
    for (size_t i = 0; i < view->idle->count; i++) {
        json_t *item = quell_json_item(&json, ignored);
        quell_json_number(&json, item, "frequency_hz", view->idle->line[i].frequency_hz, "");
        quell_json_number(&json, item, "amplitude_mps2", view->idle->line[i].amplitude_mps2, "");
        quell_json_text(&json, item, "reason", CLI_IDLE_REASON);
    }
    json_t *modes = quell_json_array(&json, json.root, "modes");
    for (size_t k = 0; k < view->modes.count; k++)
        json_mode(&json, modes, view, k);
    json_fit(&json, &view->modes);
    json_findings(&json, view);
    return json;
}
