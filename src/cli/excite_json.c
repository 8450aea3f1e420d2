/* quell.excite/1: the plan, for `modes --excitation` and `simulate --motion`. */
#include "cli/excite_view.h"

static void add_segment(quell_json *json, json_t *list, const char *kind, double start_s, double end_s)
{
    json_t *item = quell_json_item(json, list);
    quell_json_text(json, item, "kind", kind);
    quell_json_number(json, item, "start_s", start_s, "");
    quell_json_number(json, item, "end_s", end_s, "");
}

static void add_segments(quell_json *json, const quell_program *program)
{
    json_t *list = quell_json_array(json, json->root, "segments");
    double rest_s = program->move[program->first - 1].rest_s;
    add_segment(json, list, "rest", 0, program->before_s);
    add_segment(json, list, "slow strokes", program->before_s, program->start_s - rest_s);
    add_segment(json, list, "rest", program->start_s - rest_s, program->start_s);
    add_segment(json, list, quell_excitation_word(program->asked.kind), program->start_s, program->end_s);
    if (program->duration_s > program->end_s)
        add_segment(json, list, "rest", program->end_s, program->duration_s);
}

/* Parallel lists, along the path from the start: where to, how fast at most, and the rest there. */
static void add_moves(quell_json *json, const quell_program *program)
{
    json_t *moves = quell_json_object(json, json->root, "moves");
    json_t *to = quell_json_array(json, moves, "to_mm"), *speed = quell_json_array(json, moves, "speed_mps"),
           *rest = quell_json_array(json, moves, "rest_s");
    for (size_t i = 0; i < program->count; i++) {
        quell_json_append_number(json, to, 1e3 * program->move[i].to_m);
        quell_json_append_number(json, speed, program->move[i].speed_mps);
        quell_json_append_number(json, rest, program->move[i].rest_s);
    }
}

static void add_limits(quell_json *json, const quell_test_motion *asked)
{
    json_t *limits = quell_json_object(json, json->root, "limits");
    for (int k = 0; k < 2; k++) {
        const double travel_mm[2] = {1e3 * asked->travel_m[k][0], 1e3 * asked->travel_m[k][1]};
        const char *key = k == 0 ? "travel_x_mm" : "travel_y_mm";
        if (asked->path->sign[k] != 0)
            quell_json_numbers(json, limits, key, travel_mm, 2);
        else
            quell_json_null(json, limits, key, "this coordinate does not move");
    }
    quell_json_number(json, limits, "speed_mps", asked->speed_mps, "");
    quell_json_number(json, limits, "step_mm", 1e3 * asked->step_m, "");
}

static void add_kind(quell_json *json, const quell_program *program)
{
    const quell_test_motion *asked = &program->asked;
    json_t *root = json->root;
    bool sweeps = asked->kind == QUELL_EXCITE_SWEEP, stops = asked->kind == QUELL_EXCITE_STOPS;
    const double *range_hz = sweeps ? program->range_hz : asked->range_hz;
    if (stops) {
        quell_json_null(json, root, "start_hz", "stops have no frequency");
        quell_json_null(json, root, "end_hz", "stops have no frequency");
        quell_json_number(json, root, "dwell_s", program->dwell_s, "");
    } else {
        quell_json_number(json, root, "start_hz", range_hz[0], "");
        quell_json_number(json, root, "end_hz", range_hz[1], "");
        quell_json_null(json, root, "dwell_s", "strokes follow each other at once");
    }
    if (sweeps)
        quell_json_number(json, root, "rate_hz_per_s", program->rate_hz_per_s, "");
    else
        quell_json_null(json, root, "rate_hz_per_s", "only a sweep has one");
    if (asked->kind == QUELL_EXCITE_RANDOM)
        quell_json_integer(json, root, "seed", (long long)asked->seed);
    else
        quell_json_null(json, root, "seed", "nothing is random");
}

quell_json excite_json(const excite_view *view)
{
    const quell_program *program = &view->program;
    const quell_test_motion *asked = &program->asked;
    quell_json json = quell_json_begin("quell.excite/1");
    json_t *root = json.root;
    quell_json_text(&json, root, "kind", quell_excitation_word(asked->kind));
    quell_json_text(&json, root, "axis", asked->path->id);
    quell_json_numbers(&json, root, "direction", asked->path->along, 3);
    add_kind(&json, program);
    quell_json_number(&json, root, "acceleration_mps2", asked->acceleration_mps2, "");
    quell_json_number(&json, root, "duration_s", program->end_s - program->start_s, "");
    quell_json_number(&json, root, "peak_speed_mps", program->peak_speed_mps, "");
    quell_json_number(&json, root, "travel_mm", 1e3 * program->extent_m, "");
    quell_json_number(&json, root, "start_time_s", program->start_s, "");
    json_t *start = quell_json_object(&json, root, "start_mm");
    for (int k = 0; k < 2; k++)
        if (asked->path->sign[k] != 0)
            quell_json_number(&json, start, k == 0 ? "x" : "y", (double)program->start[k] / 1e4, "");
    quell_json_number(&json, root, "before_s", program->before_s, "");
    add_limits(&json, asked);
    add_segments(&json, program);
    add_moves(&json, program);
    return json;
}
