/* quell compare --json: quell.compare/1. */
#include "cli/compare_view.h"

static void add_side(quell_json *json, const compare_side *side, const quell_spectrum *pooled)
{
    json_t *object = quell_json_object(json, json->root, side->name);
    json_t *files = quell_json_array(json, object, "files");
    for (size_t i = 0; i < side->files->count; i++)
        quell_json_append_text(json, files, side->files->item[i]);
    json_t *each = quell_json_array(json, object, "recordings");
    for (size_t i = 0; i < side->files->count; i++) {
        json_t *item = quell_json_item(json, each);
        quell_json_text(json, item, "file", side->files->item[i]);
        cli_json_label(json, item, side->files->label[i]);
    }
    quell_json_number(json, object, "rate_hz", pooled->rate_hz, "");
    quell_json_number(json, object, "duration_s", side->duration_s, "");
    quell_json_integer(json, object, "segments", (long long)pooled->segments);
    quell_json_number(json, object, "bin_hz", pooled->bin_hz, "");
    quell_json_number(json, object, "dof", pooled->dof, "");
}

/* A level's change but whether it counts. */
static void add_change(quell_json *json, json_t *item, const quell_level_change *change)
{
    quell_json_number(json, item, "low_hz", change->low_hz, "");
    quell_json_number(json, item, "high_hz", change->high_hz, "");
    quell_json_number(json, item, "before_mps2", change->before_mps2, "");
    quell_json_number(json, item, "after_mps2", change->after_mps2, "");
    quell_json_number(json, item, "change_db", change->change_db, "");
    quell_json_numbers(json, item, "ci95_db", change->ci95_db, 2);
    quell_json_number(json, item, "p_value", change->p_value, "");
    quell_json_number(json, item, "p_holm", change->p_holm, "");
}

static const char *why_untested(const compare_view *view, const quell_mode_change *mode)
{
    if (!view->before.sought || !view->after.sought)
        return "modes could not be sought on both sides";
    if (mode->before_found == 0 || mode->after_found == 0)
        return "the mode was not found on both sides";
    return view->result.run_to_run ? "found in too few recordings" : "its standard error is not known";
}

static void add_side_mode(quell_json *json, json_t *item, const compare_side *side, size_t found,
                          const quell_mode *mode)
{
    if (found > 0)
        cli_json_mode(json, quell_json_object(json, item, side->name), mode);
    else
        quell_json_null(json, item, side->name,
                        side->sought ? "not found there" : "modes could not be sought on this side");
}

static void add_mode(quell_json *json, json_t *item, const compare_view *view, const quell_mode_change *mode)
{
    const quell_mode_shift *f = &mode->frequency, *zeta = &mode->damping;
    const char *why = why_untested(view, mode);
    add_side_mode(json, item, &view->before, mode->before_found, &mode->before);
    add_side_mode(json, item, &view->after, mode->after_found, &mode->after);
    quell_json_integer(json, item, "before_found", (long long)mode->before_found);
    quell_json_integer(json, item, "after_found", (long long)mode->after_found);
    quell_json_number(json, item, "shift_hz", f->after - f->before, why);
    quell_json_number(json, item, "shift", f->share, why);
    quell_json_interval(json, item, "shift_ci95", f->ci95);
    quell_json_number(json, item, "p_frequency", f->p_value, why);
    quell_json_number(json, item, "p_frequency_holm", f->p_holm, why);
    quell_json_bool(json, item, "frequency_counts", f->counts);
    quell_json_number(json, item, "damping_change", zeta->share, why);
    quell_json_interval(json, item, "damping_change_ci95", zeta->ci95);
    quell_json_number(json, item, "p_damping", zeta->p_value, why);
    quell_json_number(json, item, "p_damping_holm", zeta->p_holm, why);
    quell_json_bool(json, item, "damping_counts", zeta->counts);
    add_change(json, item, &mode->level);
    quell_json_number(json, item, "after_low_hz", mode->level.after_low_hz, "");
    quell_json_number(json, item, "after_high_hz", mode->level.after_high_hz, "");
    quell_json_bool(json, item, "level_counts", mode->level.counts);
    quell_json_bool(json, item, "counts", mode->counts);
}

quell_json compare_json(const compare_view *view)
{
    quell_json json = quell_json_begin("quell.compare/1");
    add_side(&json, &view->before, &view->result.spectrum[0]);
    add_side(&json, &view->after, &view->result.spectrum[1]);
    if (view->axis != 0)
        quell_json_text(&json, json.root, "axis", view->axis == 'x' ? "x" : "y");
    else
        quell_json_null(&json, json.root, "axis", view->axis_words);
    compare_stops_json(&json, json.root, &view->stops);
    json_t *bands = quell_json_array(&json, json.root, "bands");
    for (size_t i = 0; i < view->result.bands; i++) {
        json_t *item = quell_json_item(&json, bands);
        quell_json_number(&json, item, "nominal_hz", view->result.band[i].nominal_hz, "");
        add_change(&json, item, &view->result.band[i]);
        quell_json_bool(&json, item, "counts", view->result.band[i].counts);
    }
    json_t *modes = quell_json_array(&json, json.root, "modes");
    for (size_t i = 0; i < view->result.modes; i++)
        add_mode(&json, quell_json_item(&json, modes), view, &view->result.mode[i]);
    compare_applied_json(&json, json.root, &view->applied);
    quell_json_bool(&json, json.root, "run_to_run", view->result.run_to_run);
    quell_json_bool(&json, json.root, "repeated_motion", view->result.repeated_motion);
    quell_json_bool(&json, json.root, "alike", view->result.alike);
    quell_json_number(&json, json.root, "common_change_db", view->result.common_db,
                      "not all bands that carry the motion changed one way");
    cli_json_findings(&json, json.root, &view->findings);
    quell_json_text(&json, json.root, "verdict", view->result.verdict);
    return json;
}
