/* quell predict: the JSON object and the columns of every point. */
#include "cli/predict_view.h"

#include <math.h>

static const char no_participation[] = "how strongly the mode is driven is not known";

static void json_ripple(quell_json *json, json_t *in, const predict_view *view, const predict_wall *wall)
{
    json_t *list = quell_json_array(json, in, "ripple");
    for (size_t k = 0; k < view->modes->count; k++) {
        const quell_ripple *ripple = &wall->ripple[k];
        bool known = isfinite(view->modes->mode[k].participation);
        const double ci95_um[2] = {known ? 1e6 * ripple->amplitude_ci95_m[0] : (double)NAN,
                                   known ? 1e6 * ripple->amplitude_ci95_m[1] : (double)NAN};
        json_t *item = quell_json_item(json, list);
        quell_json_integer(json, item, "mode", (long long)k + 1);
        quell_json_number(json, item, "amplitude_um", known ? 1e6 * ripple->amplitude_m : (double)NAN, no_participation);
        quell_json_interval(json, item, "amplitude_um_ci95", ci95_um);
        quell_json_number(json, item, "spacing_mm", 1e3 * ripple->spacing_m, "");
        if (wall == &view->shaped)
            quell_json_number(json, item, "residual",
                              quell_residual(&view->shaper, view->modes->mode[k].frequency_hz, view->modes->mode[k].damping_ratio),
                              "");
    }
}

static void json_scaled(quell_json *json, json_t *in, const char *key, const double *values, size_t count, double scale)
{
    json_t *list = quell_json_array(json, in, key);
    for (size_t i = 0; i < count; i++)
        quell_json_append_number(json, list, scale * values[i]);
}

static void json_envelope(quell_json *json, json_t *in, const predict_view *view, const predict_wall *wall)
{
    if (!view->has_amplitude) {
        quell_json_null(json, in, "envelope", no_participation);
        return;
    }
    json_t *envelope = quell_json_object(json, in, "envelope");
    json_scaled(json, envelope, "distance_mm", wall->distance_m, view->count, 1e3);
    json_scaled(json, envelope, "ripple_um", wall->envelope_m, view->count, 1e6);
    json_scaled(json, envelope, "deflection_um", wall->deflection_m, view->count, 1e6);
}

static void json_move(quell_json *json, const predict_view *view)
{
    const quell_corner_move *move = &view->move;
    json_t *object = quell_json_object(json, json->root, "move");
    quell_json_number(json, object, "from_mps", move->from_mps > 0 ? move->from_mps : (double)NAN,
                      "the beginning of the braking is not part of the move");
    quell_json_number(json, object, "corner_mps", move->corner_mps, "");
    quell_json_number(json, object, "acceleration_mps2", move->acceleration_mps2 > 0 ? move->acceleration_mps2 : (double)NAN,
                      "not stated: the speed steps");
    quell_json_number(json, object, "jerk_mps3", move->jerk_mps3 > 0 ? move->jerk_mps3 : (double)NAN, "the acceleration steps");
    quell_json_number(json, object, "wall_mps", move->wall_mps, "");
}

quell_json predict_json(const predict_view *view)
{
    const predict_wall *wall = view->has_shaper ? &view->shaped : &view->unshaped;
    quell_json json = quell_json_begin("quell.predict/1");
    const char letter[2] = {view->axis, '\0'};
    if (view->axis != 0)
        quell_json_text(&json, json.root, "axis", letter);
    else
        quell_json_null(&json, json.root, "axis", "not stated: say --axis");
    json_move(&json, view);
    json_t *modes = quell_json_array(&json, json.root, "modes");
    for (size_t k = 0; k < view->modes->count; k++)
        cli_json_mode(&json, quell_json_item(&json, modes), &view->modes->mode[k]);
    quell_shaper none;
    quell_shaper_identity(&none);
    cli_json_shaper(&json, json.root, "shaper", view->has_shaper ? &view->shaper : &none);
    json_ripple(&json, json.root, view, wall);
    json_envelope(&json, json.root, view, wall);
    json_t *unshaped = quell_json_object(&json, json.root, "unshaped");
    json_ripple(&json, unshaped, view, &view->unshaped);
    json_envelope(&json, unshaped, view, &view->unshaped);
    quell_json_number(&json, json.root, "rounding_um", 1e6 * view->rounding_m, "no acceleration is stated");
    quell_json_number(&json, json.root, "acceleration_limit_mps2", view->acceleration_limit_mps2,
                      isinf(view->acceleration_limit_mps2)  ? "no acceleration up to 1000 m/s2 rounds that much"
                      : isnan(view->rounding_limit_m)       ? "no rounding limit is stated"
                      : !view->has_shaper                   ? "no shaper is given"
                                                            : "the corner speed alone rounds more");
    return json;
}

quell_status predict_write_values(cli_run *run, const predict_view *view)
{
    const char *path = quell_arena_print(run->arena, "%s/predict.csv", run->given.out);
    quell_output file;
    if (path == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    quell_status status = quell_output_open(&file, path, &run->err);
    if (status != QUELL_OK)
        return status;
    double scale = view->has_amplitude ? 1e6 : (double)NAN; /* lengths that nothing tells are left empty */
    const predict_wall *walls[] = {&view->unshaped, &view->shaped};
    size_t count = view->has_shaper ? 2 : 1;
    fputs("time_s,unshaped_distance_mm,unshaped_deflection_um,unshaped_envelope_um", file.stream);
    fputs(count == 2 ? ",shaped_distance_mm,shaped_deflection_um,shaped_envelope_um\n" : "\n", file.stream);
    for (size_t i = 0; i < view->count; i++) {
        fputs(quell_number_short(view->time_s[i], 9).text, file.stream);
        for (size_t w = 0; w < count; w++) {
            const double values[] = {1e3 * walls[w]->distance_m[i], scale * walls[w]->deflection_m[i],
                                     scale * walls[w]->envelope_m[i]};
            for (size_t c = 0; c < 3; c++)
                fprintf(file.stream, ",%s", isnan(values[c]) ? "" : quell_number_short(values[c], 7).text);
        }
        fputc('\n', file.stream);
    }
    return quell_output_commit(&file, &run->err);
}
