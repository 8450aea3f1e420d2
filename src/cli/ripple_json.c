/* quell.ripple/1. */
#include "cli/ripple_view.h"

#include <math.h>

static void add_readings(quell_json *json, const ripple_view *view)
{
    json_t *list = quell_json_array(json, json->root, "readings");
    for (size_t i = 0; i < view->part.readings; i++) {
        json_t *item = quell_json_item(json, list);
        quell_json_number(json, item, "speed_mps", view->part.reading[i].speed_mps, "");
        quell_json_number(json, item, "length_mm", 1e3 * view->part.reading[i].length_m, "");
    }
    quell_json_number(json, json->root, "ripples_per_length", view->part.ripples, "");
    quell_json_number(json, json->root, "calliper_mm", 1e3 * view->part.length_error_m, "");
    quell_json_bool(json, json->root, "calliper_assumed", view->calliper_assumed);
}

static void add_pitches(quell_json *json, const ripple_view *view)
{
    json_t *list = quell_json_array(json, json->root, "pitches");
    for (size_t i = 0; i < view->found.pitches; i++) {
        json_t *item = quell_json_item(json, list);
        quell_json_text(json, item, "name", view->found.pitch[i].name);
        quell_json_number(json, item, "length_mm", 1e3 * view->found.pitch[i].length_m, "");
        quell_json_bool(json, item, "agrees", view->part.readings > 0 && view->found.pitch[i].agrees);
    }
}

static void add_agreement(quell_json *json, const ripple_view *view)
{
    if (view->file == NULL || !view->matched) {
        quell_json_null(json, json->root, "agreement",
                        view->file == NULL           ? "no recording is given"
                        : view->part.readings == 0 ? "no spacing is given"
                                                   : "the recording shows no mode");
        return;
    }
    json_t *object = quell_json_object(json, json->root, "agreement");
    quell_json_text(json, object, "file", view->file);
    quell_json_bool(json, object, "agrees", view->match.agrees);
    quell_json_number(json, object, "off_by", view->match.off, "");
    quell_json_number(json, object, "damped_hz", view->match.damped_hz, "");
    cli_json_mode(json, quell_json_object(json, object, "mode"), &view->modes.mode[view->match.mode]);
}

quell_json ripple_json(const ripple_view *view)
{
    const quell_part_finding *found = &view->found;
    quell_json json = quell_json_begin("quell.ripple/1");
    bool pitch = found->cause == QUELL_PART_PITCH;
    const double none[2] = {(double)NAN, (double)NAN};
    quell_json_text(&json, json.root, "cause", quell_part_cause_word(found->cause));
    quell_json_text(&json, json.root, "why", found->why);
    quell_json_number(&json, json.root, "frequency_hz", pitch ? (double)NAN : found->frequency_hz,
                      pitch ? "the spacing is the same at every speed: there is no frequency" : "no spacing is given");
    quell_json_interval(&json, json.root, "frequency_ci95_hz", pitch ? none : found->frequency_ci95_hz);
    quell_json_number(&json, json.root, "natural_frequency_hz", pitch ? (double)NAN : ripple_natural_hz(view),
                      pitch ? "there is no frequency" : "no damping ratio, or no spacing, is known");
    quell_json_number(&json, json.root, "damping_ratio", found->damping_ratio, found->damping_why);
    quell_json_interval(&json, json.root, "damping_ratio_ci95", found->damping_ratio_ci95);
    quell_json_number(&json, json.root, "spacing_mm", 1e3 * found->spacing_m, "no spacing is given");
    quell_json_number(&json, json.root, "misfit_ringing", found->misfit_ringing, "no spacing is given");
    quell_json_number(&json, json.root, "misfit_pitch", found->misfit_pitch, "no spacing is given");
    add_readings(&json, view);
    add_pitches(&json, view);
    add_agreement(&json, view);
    return json;
}
