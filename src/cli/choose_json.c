/* `quell choose` as one JSON object: quell.choose/1. */
#include "cli/choose_view.h"

#include <math.h>

/* A family of the machine file's own has no row in the table of families: its name and design point are put in. */
static void json_shaper(quell_json *json, json_t *item, const quell_candidate *row)
{
    cli_json_shaper(json, item, "shaper", &row->shaper);
    json_t *shaper = json_object_get(item, "shaper");
    bool own = row->shaper.family == NULL && !row->is_none && !row->is_old;
    if (!own || shaper == NULL)
        return;
    if (!choose_has_design_point(row)) { /* a list made for these modes */
        quell_json_text(json, shaper, "family", row->family_id);
        return;
    }
    json_object_del(shaper, "frequency_hz_why");
    json_object_del(shaper, "damping_ratio_why");
    quell_json_text(json, shaper, "family", row->family_id);
    quell_json_number(json, shaper, "frequency_hz", row->shaper.at.frequency_hz, "");
    quell_json_number(json, shaper, "damping_ratio", row->shaper.at.damping_ratio, "");
}

static void json_covers(quell_json *json, json_t *item, const quell_candidate *row)
{
    json_t *covers = quell_json_array(json, item, "covers_hz");
    for (size_t i = 0; i < row->covers_count; i++) {
        json_t *pair = json_pack("[f, f]", row->covers_hz[i][0], row->covers_hz[i][1]);
        json->failed = json->failed || pair == NULL || json_array_append_new(covers, pair) != 0;
    }
}

static void json_candidate(quell_json *json, json_t *item, const quell_axis_choice *choice,
                           const quell_candidate *row, const quell_machine *machine)
{
    static const char no_ripple[] = "corner speed, acceleration or participation is not known";
    static const char no_shaper[] = "the family has no shaper here";
    double ci95_um[2], ripple_um = choose_ripple_sum_um(choice, row, ci95_um);
    json_shaper(json, item, row);
    quell_json_bool(json, item, "accepted", row->accepted);
    quell_json_number(json, item, "residual_nominal", row->residual_nominal, no_shaper);
    quell_json_number(json, item, "residual_worst", row->residual_worst, no_shaper);
    json_covers(json, item, row);
    quell_json_number(json, item, "ripple_um", ripple_um, no_ripple);
    quell_json_interval(json, item, "ripple_um_ci95", ci95_um);
    quell_json_number(json, item, "spread_s", row->spread_s, no_shaper);
    quell_json_number(json, item, "rounding_um", row->rounding_m * 1e6, "the acceleration is not known");
    quell_json_number(json, item, "acceleration_limit_mps2", row->acceleration_limit_mps2,
                      isinf(row->acceleration_limit_mps2) ? "no acceleration rounds as much as the limit"
                      : isnan(machine->rounding_limit_m)
                          ? "the rounding limit is not stated"
                          : "the corner speed alone rounds more than the limit");
    quell_json_number(json, item, "delay_s", row->delay_s, no_shaper);
    quell_json_text(json, item, "reason", row->reason);
}

static void json_index(quell_json *json, json_t *in, const char *key, int index)
{
    if (index >= 0)
        quell_json_integer(json, in, key, index);
    else
        quell_json_null(json, in, key, "there is none");
}

static void json_meets(quell_json *json, json_t *in, const quell_axis_choice *choice,
                       const quell_machine *machine)
{
    json_t *meets = quell_json_object(json, in, "meets");
    const quell_candidate *row = choose_row(choice, choice->chosen);
    quell_json_bool(json, meets, "residual", row != NULL && choice->meets_residual);
    if (row == NULL || isnan(row->rounding_m) || isnan(machine->rounding_limit_m))
        quell_json_null(json, meets, "rounding", "rounding or its limit is not known");
    else
        quell_json_bool(json, meets, "rounding", choice->meets_rounding);
}

static void json_texts(quell_json *json, json_t *in, const char *key, const char *const *text, size_t count)
{
    json_t *list = quell_json_array(json, in, key);
    for (size_t i = 0; i < count; i++)
        quell_json_append_text(json, list, text[i]);
}

static void json_recordings(quell_json *json, json_t *object, const choose_axis_view *axis)
{
    json_t *list = quell_json_array(json, object, "recordings");
    for (size_t i = 0; i < axis->files->count; i++) {
        json_t *item = quell_json_item(json, list);
        quell_json_text(json, item, "file", axis->recording[i].file);
        cli_json_label(json, item, axis->recording[i].label);
        quell_json_number(json, item, "residual_nominal", axis->left != NULL ? axis->left[i] : (double)NAN,
                          "there is one recording, no mode in it, or nothing was chosen");
    }
}

static void json_mode(quell_json *json, json_t *item, const choose_axis_view *axis, size_t k)
{
    cli_json_mode(json, item, &axis->modes->mode[k]);
    quell_json_number(json, item, "drift", choose_drift_of(axis, k), "");
    quell_json_text(json, item, "drift_source", choose_drift_source(axis, k));
    quell_json_interval(json, item, "judged_frequency_hz", axis->choice->uncertainty_hz[k]);
    quell_json_interval(json, item, "judged_damping_ratio", axis->choice->uncertainty_zeta[k]);
    cli_json_spread(json, item, &axis->spread[k], axis->files);
}

static void json_axis(quell_json *json, json_t *axes, const choose_view *view, const choose_axis_view *axis)
{
    const quell_axis_choice *choice = axis->choice;
    const char name[2] = {axis->name, '\0'};
    json_t *object = quell_json_object(json, axes, name);
    json_recordings(json, object, axis);
    json_t *modes = quell_json_array(json, object, "modes");
    for (size_t k = 0; k < axis->modes->count; k++)
        json_mode(json, quell_json_item(json, modes), axis, k);
    cli_json_findings(json, object, &axis->findings);
    size_t most;
    quell_json_number(json, object, "drift", choose_drift(axis, &most), "");
    quell_json_text(json, object, "drift_source", choose_drift_source(axis, most));
    quell_json_number(json, object, "residual_limit", choice->residual_limit,
                      "without modes the ripple limit is no share");
    json_t *candidates = quell_json_array(json, object, "candidates");
    for (size_t i = 0; i < choice->count; i++)
        json_candidate(json, quell_json_item(json, candidates), choice, &choice->candidate[i],
                       &view->machine);
    json_index(json, object, "chosen", choice->chosen);
    json_index(json, object, "runner_up", choice->runner_up);
    json_index(json, object, "old", choice->old);
    json_meets(json, object, choice, &view->machine);
    if (choice->setting != NULL)
        quell_json_text(json, object, "setting", choice->setting);
    else
        quell_json_null(json, object, "setting",
                        "the machine file has no setting line, or there is nothing to set");
    quell_json_text(json, object, "why", choice->why);
    json_texts(json, object, "would_change", choice->would_change, choice->would_change_count);
    json_texts(json, object, "ways_out", choice->way_out, choice->ways_out_count);
    json_texts(json, object, "notes", choice->note, choice->notes_count);
}

quell_json choose_json(const choose_view *view)
{
    quell_json json = quell_json_begin("quell.choose/1");
    json_t *axes = quell_json_object(&json, json.root, "axes");
    for (size_t i = 0; i < view->axes; i++)
        json_axis(&json, axes, view, &view->axis[i]);
    if (view->has_pair) {
        json_t *delay = quell_json_object(&json, json.root, "axis_delay_s");
        quell_json_number(&json, delay, "x", view->pair.axis_delay_s[0], "");
        quell_json_number(&json, delay, "y", view->pair.axis_delay_s[1], "");
    } else {
        quell_json_null(&json, json.root, "axis_delay_s", "nothing was chosen for one of the axes");
    }
    return json;
}
