/* quell compare --json: quell.compare/1. */
#include "cli/compare_view.h"

static void add_side(quell_json *json, const compare_side *side)
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
    quell_json_number(json, object, "rate_hz", side->spectrum.rate_hz, "");
    quell_json_number(json, object, "duration_s", side->duration_s, "");
    quell_json_integer(json, object, "segments", (long long)side->spectrum.segments);
    quell_json_number(json, object, "bin_hz", side->spectrum.bin_hz, "");
    quell_json_number(json, object, "dof", side->spectrum.dof, "");
}

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
    quell_json_bool(json, item, "counts", change->counts);
}

static void add_mode(quell_json *json, json_t *item, const compare_view *view, size_t i)
{
    static const char *const not_sought = "modes are sought in the before side only";
    cli_json_mode(json, quell_json_object(json, item, "before"), &view->result.before_mode[i]);
    quell_json_null(json, item, "after", not_sought);
    quell_json_null(json, item, "shift_hz", not_sought);
    quell_json_null(json, item, "p_frequency", not_sought);
    quell_json_null(json, item, "p_damping", not_sought);
    add_change(json, item, &view->result.mode[i]);
}

quell_json compare_json(const compare_view *view)
{
    quell_json json = quell_json_begin("quell.compare/1");
    add_side(&json, &view->before);
    add_side(&json, &view->after);
    if (view->axis != 0)
        quell_json_text(&json, json.root, "axis", view->axis == 'x' ? "x" : "y");
    else
        quell_json_null(&json, json.root, "axis", view->axis_words);
    quell_json_null(&json, json.root, "stops", "amplitudes after stops are not measured");
    json_t *bands = quell_json_array(&json, json.root, "bands");
    for (size_t i = 0; i < view->result.bands; i++) {
        json_t *item = quell_json_item(&json, bands);
        quell_json_number(&json, item, "nominal_hz", view->result.band[i].nominal_hz, "");
        add_change(&json, item, &view->result.band[i]);
    }
    json_t *modes = quell_json_array(&json, json.root, "modes");
    for (size_t i = 0; i < view->result.modes; i++)
        add_mode(&json, quell_json_item(&json, modes), view, i);
    quell_json_null(&json, json.root, "applied", "the shaper in effect is not compared with the change");
    quell_json_bool(&json, json.root, "alike", view->result.alike);
    quell_json_number(&json, json.root, "common_change_db", view->result.common_db,
                      "not all bands that carry the motion changed one way");
    cli_json_findings(&json, json.root, &view->findings);
    quell_json_text(&json, json.root, "verdict", view->result.verdict);
    return json;
}
