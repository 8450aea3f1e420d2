/* quell identify --json: quell.identify/1. */
#include "cli/identify_view.h"

#include <math.h>
#include <string.h>

static void add_tells(quell_json *json, json_t *in, const char *key, quell_tells tells, const char *why)
{
    if (tells == QUELL_TELLS_NOT)
        quell_json_null(json, in, key, why);
    else
        quell_json_bool(json, in, key, tells == QUELL_TELLS_YES);
}

static void add_candidate(quell_json *json, json_t *item, const quell_identified *of)
{
    char spec[512];
    cli_json_shaper(json, item, "shaper", &of->shaper);
    if (of->shaper.family == NULL) /* an own family, a list or none */
        quell_json_text(json, json_object_get(item, "shaper"), "family", of->family_id);
    quell_json_text(json, item, "spec", quell_shaper_format(&of->shaper, spec, sizeof spec));
    quell_json_number(json, item, "bic", of->bic, "");
    quell_json_number(json, item, "misfit_db", of->misfit_db, "");
    if (!of->has_point) {
        bool family = strcmp(of->family_id, "impulses") != 0 && strcmp(of->family_id, "none") != 0;
        quell_json_null(json, item, "ci95", family ? "too far behind the best" : "not a family with a frequency");
        return;
    }
    json_t *ci95 = quell_json_object(json, item, "ci95");
    quell_json_numbers(json, ci95, "frequency_hz", of->frequency_ci95_hz, 2);
    quell_json_numbers(json, ci95, "damped_frequency_hz", of->damped_ci95_hz, 2);
    quell_json_numbers(json, ci95, "damping_ratio", of->damping_ratio_ci95, 2);
}

static void add_expected(quell_json *json, const identify_view *view)
{
    static const char *const not_stated = "what was entered is not stated";
    const quell_identification *of = &view->result;
    if (!view->has_expected) {
        quell_json_null(json, json->root, "agrees_with_expected", not_stated);
        quell_json_null(json, json->root, "expected", not_stated);
        return;
    }
    add_tells(json, json->root, "agrees_with_expected", of->agrees, "the recordings do not tell");
    json_t *object = quell_json_object(json, json->root, "expected");
    cli_json_shaper(json, object, "shaper", &view->expected.shaper);
    if (view->expected.shaper.family == NULL)
        quell_json_text(json, json_object_get(object, "shaper"), "family", view->expected.family_id);
    if (of->reading_known)
        quell_json_text(json, object, "frequency_reading", of->reading == QUELL_DAMPED ? "damped" : "natural");
    else
        quell_json_null(json, object, "frequency_reading", "the recordings do not tell");
    add_tells(json, object, "uses_damping_ratio", of->uses_damping, "the recordings do not tell");
}

static void add_files(quell_json *json, const char *key, const cli_list *files)
{
    json_t *list = quell_json_array(json, json->root, key);
    for (size_t i = 0; i < files->count; i++)
        quell_json_append_text(json, list, files->item[i]);
}

quell_json identify_json(const identify_view *view)
{
    const quell_identification *of = &view->result;
    quell_json json = quell_json_begin("quell.identify/1");
    add_files(&json, "off", view->off.files);
    add_files(&json, "on", view->on.files);
    const double band_hz[2] = {view->ratio.frequency_hz[0], view->ratio.frequency_hz[view->ratio.bins - 1]};
    quell_json_numbers(&json, json.root, "band_hz", band_hz, 2);
    quell_json_number(&json, json.root, "scatter_db", of->scatter_db, "");
    quell_json_number(&json, json.root, "motion_db", of->motion_db, "");
    json_t *candidates = quell_json_array(&json, json.root, "candidates");
    for (size_t i = 0; i < of->count; i++)
        add_candidate(&json, quell_json_item(&json, candidates), &of->candidate[i]);
    quell_json_integer(&json, json.root, "best", 0);
    quell_json_integer(&json, json.root, "not_told_apart", (long long)of->alike);
    add_tells(&json, json.root, "in_effect", of->in_effect, "the recordings do not tell");
    const char axis[2] = {"xyz"[of->axis], '\0'};
    quell_json_text(&json, json.root, "axis", axis);
    add_expected(&json, view);
    json_t *cannot = quell_json_array(&json, json.root, "cannot_tell");
    for (size_t i = 0; i < of->cannot_tell_count; i++)
        quell_json_append_text(&json, cannot, of->cannot_tell[i]);
    if (view->machine_lines != NULL)
        quell_json_text(&json, json.root, "machine_lines", view->machine_lines);
    else
        quell_json_null(&json, json.root, "machine_lines", "nothing for a machine file follows from it");
    cli_json_findings(&json, json.root, &view->findings);
    quell_json_text(&json, json.root, "verdict", of->verdict);
    return json;
}
