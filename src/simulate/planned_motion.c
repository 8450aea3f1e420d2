/* The motion of a plan, quell.excite/1: its moves as a planner of constant acceleration runs them. Hostile like any file. */
#include "quell/simulate.h"

#include <math.h>
#include <stdio.h>

#define SCHEMA "quell.excite/1"
#define LENGTH_MOST_S 1e5

/* The lists of `moves`, side by side. */
static const struct {
    const char *key;
    double least, most, si;
    bool open; /* least itself is out */
    size_t offset;
} lists[] = {
    {"to_mm", -1e5, 1e5, 1e-3, false, offsetof(quell_move, to_m)},
    {"speed_mps", 0, 1e3, 1, true, offsetof(quell_move, speed_mps)},
    {"rest_s", 0, 1e4, 1, false, offsetof(quell_move, rest_s)},
};

static quell_status read_number(double *out, const json_t *root, const char *key, double most, bool zero, quell_error *err)
{
    const json_t *value = json_object_get(root, key);
    double number = json_number_value(value);
    char wanted[80];
    if (json_is_number(value) && (zero ? number >= 0 : number > 0) && number <= most) {
        *out = number;
        return QUELL_OK;
    }
    snprintf(wanted, sizeof wanted, "a number %s 0, at most %g", zero ? "not below" : "above", most);
    return quell_value_refuse(key, value, wanted, err);
}

static quell_status read_list(quell_move *move, size_t count, const json_t *list, size_t row, quell_error *err)
{
    for (size_t i = 0; i < count; i++) {
        const json_t *item = json_array_get(list, i);
        double value = json_number_value(item);
        bool enough = lists[row].open ? value > lists[row].least : value >= lists[row].least;
        char key[64], wanted[200];
        if (!json_is_number(item) || !enough || !(value <= lists[row].most)) {
            snprintf(key, sizeof key, "moves, %s[%zu]", lists[row].key, i);
            snprintf(wanted, sizeof wanted, "a number %s %s to %s", lists[row].open ? "above" : "from", quell_number_short(lists[row].least, 6).text,
                     quell_number_short(lists[row].most, 6).text);
            return quell_value_refuse(key, item, wanted, err);
        }
        *(double *)(void *)((char *)&move[i] + lists[row].offset) = lists[row].si * value;
    }
    return QUELL_OK;
}

static quell_status read_moves(quell_motion_list *list, const json_t *root, double acceleration_mps2, quell_error *err)
{
    const json_t *moves = json_object_get(root, "moves");
    const char *key[sizeof lists / sizeof lists[0]];
    size_t count = 0, rows = sizeof lists / sizeof lists[0];
    for (size_t row = 0; row < rows; row++)
        key[row] = lists[row].key;
    quell_status status = quell_value_lists(&count, moves, "moves", key, rows, QUELL_MOVES_MAX, err);
    if (status != QUELL_OK)
        return status;
    quell_move *move = quell_memory_get(count * sizeof *move);
    if (move == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu moves", count);
    for (size_t row = 0; row < rows && status == QUELL_OK; row++)
        status = read_list(move, count, json_object_get(moves, lists[row].key), row, err);
    if (status == QUELL_OK)
        status = quell_motion_add_moves(list, move, count, acceleration_mps2, err);
    quell_memory_free(move);
    return status;
}

static quell_status read_words(quell_planned_motion *out, const json_t *root, quell_error *err)
{
    const json_t *kind = json_object_get(root, "kind"), *axis = json_object_get(root, "axis");
    if (!quell_value_is(json_object_get(root, "schema"), SCHEMA))
        return quell_value_refuse("schema", json_object_get(root, "schema"), "\"" SCHEMA "\"", err);
    if (!json_is_string(kind) || !quell_excitation_find(&out->kind, json_string_value(kind)) || out->kind == QUELL_EXCITE_AMBIENT)
        return quell_value_refuse("kind", kind, "\"sweep\", \"random\" or \"stops\"", err);
    out->path = json_is_string(axis) ? quell_path_find(json_string_value(axis)) : NULL;
    return out->path != NULL ? QUELL_OK : quell_value_refuse("axis", axis, "\"x\", \"y\", \"x+y\" or \"x-y\"", err);
}

static quell_status read_plan(quell_planned_motion *out, const json_t *root, quell_error *err)
{
    double before_s = 0, duration_s = 0, acceleration_mps2 = 0;
    quell_status status = read_words(out, root, err);
    if (status == QUELL_OK)
        status = read_number(&acceleration_mps2, root, "acceleration_mps2", 1e4, false, err);
    if (status == QUELL_OK)
        status = read_number(&before_s, root, "before_s", 1e4, true, err);
    if (status == QUELL_OK)
        status = read_number(&out->start_s, root, "start_time_s", LENGTH_MOST_S, true, err);
    if (status == QUELL_OK)
        status = read_number(&duration_s, root, "duration_s", LENGTH_MOST_S, false, err);
    if (status != QUELL_OK)
        return status;
    out->end_s = out->start_s + duration_s;
    quell_motion_add_rest(&out->list, before_s);
    status = read_moves(&out->list, root, acceleration_mps2, err);
    if (status == QUELL_OK && !(out->list.end_s <= LENGTH_MOST_S))
        status = quell_fail(err, QUELL_E_DATA, "moves: found %s s of them, want at most %g s",
                            quell_number_short(out->list.end_s, 4).text, LENGTH_MOST_S);
    return status;
}

quell_status quell_planned_motion_read(quell_planned_motion *out, const quell_source *source, quell_error *err)
{
    quell_planned_motion made = {0};
    json_t *root;
    quell_status status = quell_object_read(&root, source, "plan", err);
    if (status != QUELL_OK)
        return status;
    status = read_plan(&made, root, err);
    json_decref(root);
    if (status == QUELL_OK) {
        *out = made;
        return status;
    }
    quell_motion_list_free(&made.list);
    quell_error_set_file(err, source->name);
    return status;
}
