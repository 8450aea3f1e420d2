/* quell.tailor/1. */
#include "cli/tailor_view.h"

static void add_bands(quell_json *json, const quell_bands *bands)
{
    json_t *list = quell_json_array(json, json->root, "bands");
    for (size_t k = 0; k < bands->count; k++) {
        const quell_band *band = &bands->band[k];
        json_t *item = quell_json_item(json, list);
        quell_json_number(json, item, "low_hz", band->hz[0], "");
        quell_json_number(json, item, "high_hz", band->hz[1], "");
        quell_json_number(json, item, "damping_ratio_low", band->damping_ratio[0], "");
        quell_json_number(json, item, "damping_ratio_high", band->damping_ratio[1], "");
    }
}

static void add_certificate(quell_json *json, const tailor_view *view)
{
    const quell_certificate *proof = &view->made.certificate;
    if (!view->made.proved) {
        quell_json_null(json, json->root, "certificate", "no proof was found");
        return;
    }
    json_t *object = quell_json_object(json, json->root, "certificate");
    quell_json_number(json, object, "duration_s", proof->duration_s, "");
    quell_json_number(json, object, "bound", proof->bound, "");
    quell_json_number(json, object, "residual_limit", proof->residual_limit, "");
    quell_json_null(json, object, "weights", "the largest residual of all bands counts");
    json_t *atoms = quell_json_array(json, object, "atoms");
    for (size_t j = 0; j < proof->count; j++) {
        json_t *item = quell_json_item(json, atoms);
        quell_json_integer(json, item, "mode", (long long)proof->atom[j].band + 1);
        quell_json_number(json, item, "frequency_hz", proof->atom[j].frequency_hz, "");
        quell_json_number(json, item, "damping_ratio", proof->atom[j].damping_ratio, "");
        quell_json_number(json, item, "angle_rad", proof->atom[j].angle_rad, "");
        quell_json_number(json, item, "weight", proof->atom[j].weight, "");
    }
}

static void add_textbook(quell_json *json, const tailor_view *view)
{
    if (!view->has_textbook) {
        quell_json_null(json, json->root, "best_textbook", "no textbook shaper keeps the limit over these bands");
        return;
    }
    json_t *object = quell_json_object(json, json->root, "best_textbook");
    cli_json_shaper(json, object, "shaper", &view->textbook.shaper);
    quell_json_text(json, object, "spec", view->textbook_name);
    quell_json_number(json, object, "duration_s", view->textbook_moments.duration_s, "");
    quell_json_number(json, object, "spread_s", view->textbook_moments.spread_s, "");
    quell_json_number(json, object, "worst_residual", view->textbook.residual_worst, "");
}

quell_json tailor_json(const tailor_view *view)
{
    quell_json json = quell_json_begin("quell.tailor/1");
    cli_json_shaper(&json, json.root, "shaper", &view->made.shaper);
    quell_json_text(&json, json_object_get(json.root, "shaper"), "family", view->smooth > 0 ? "smooth-tailored" : "tailored");
    quell_json_number(&json, json.root, "mean_s", view->moments.mean_s, "");
    quell_json_number(&json, json.root, "spread_s", view->moments.spread_s, "");
    quell_json_number(&json, json.root, "mean_abs_deviation_s", view->moments.mean_abs_deviation_s, "");
    quell_json_number(&json, json.root, "duration_s", view->moments.duration_s, "");
    quell_json_null(&json, json.root, "insensitivity", "designed for bands, which worst_residual is of");
    quell_json_array(&json, json.root, "residual");
    add_bands(&json, &view->bands);
    quell_json_number(&json, json.root, "residual_limit", view->limits.residual_limit, "");
    quell_json_number(&json, json.root, "worst_residual", view->made.residual_worst, "");
    add_certificate(&json, view);
    add_textbook(&json, view);
    return json;
}
