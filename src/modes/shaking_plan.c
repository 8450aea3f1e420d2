/* What shook the machine, from the plan that was written for it: the object quell.excite/1, hostile like any file. */
#include "quell/modes.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define SCHEMA "quell.excite/1"

typedef struct plan {
    double start_hz, end_hz, rate_hz_per_s, acceleration_mps2, duration_s; /* NaN: not there, or null */
    double unused;
} plan;

/* Every key that holds a number; those the fit has no use for must make sense all the same. */
static const struct {
    const char *key, *unit;
    double most; /* all are above 0, or 0 where that is allowed */
    bool zero;
    size_t offset;
} numbers[] = {
    {"start_hz", "Hz", 1e5, false, offsetof(plan, start_hz)},
    {"end_hz", "Hz", 1e5, false, offsetof(plan, end_hz)},
    {"rate_hz_per_s", "Hz/s", 1e5, false, offsetof(plan, rate_hz_per_s)},
    {"acceleration_mps2", "m/s2", 1e4, false, offsetof(plan, acceleration_mps2)},
    {"duration_s", "s", 1e5, false, offsetof(plan, duration_s)},
    {"peak_speed_mps", "m/s", 1e3, true, offsetof(plan, unused)},
    {"travel_mm", "mm", 1e5, true, offsetof(plan, unused)},
    {"start_time_s", "s", 1e6, true, offsetof(plan, unused)},
};

static quell_status read_numbers(plan *out, const json_t *root, quell_error *err)
{
    for (size_t k = 0; k < sizeof numbers / sizeof numbers[0]; k++) {
        const json_t *value = json_object_get(root, numbers[k].key);
        double *place = (double *)(void *)((char *)out + numbers[k].offset),
               number = json_number_value(value);
        *place = (double)NAN;
        if (value == NULL || json_is_null(value))
            continue;
        bool enough = numbers[k].zero ? number >= 0 : number > 0;
        if (!json_is_number(value) || !enough || !(number <= numbers[k].most)) {
            char wanted[160];
            snprintf(wanted, sizeof wanted, "a number of %s %s 0, at most %s", numbers[k].unit,
                     numbers[k].zero ? "not below" : "above", quell_number_short(numbers[k].most, 6).text);
            return quell_value_refuse(numbers[k].key, value, wanted, err);
        }
        *place = number;
    }
    return QUELL_OK;
}

static quell_status read_sweep(quell_shaking *out, const plan *from, const json_t *root, quell_error *err)
{
    static const char *const needed[] = {"start_hz", "end_hz", "rate_hz_per_s"};
    const double value[] = {from->start_hz, from->end_hz, from->rate_hz_per_s};
    for (size_t k = 0; k < sizeof needed / sizeof needed[0]; k++)
        if (isnan(value[k]))
            return quell_value_refuse(needed[k], json_object_get(root, needed[k]), "the number that a sweep needs", err);
    out->acceleration_known = !isnan(from->acceleration_mps2);
    out->sweep = (quell_sweep){from->start_hz, from->end_hz, from->rate_hz_per_s,
                               out->acceleration_known ? from->acceleration_mps2 : 1};
    out->sweep_known = true;
    out->duration_s = isnan(from->duration_s) ? 0 : from->duration_s;
    quell_error why = {0};
    if (quell_motion_check_sweep(&out->sweep, &why) != QUELL_OK)
        return quell_fail(err, QUELL_E_DATA, "%s", why.text);
    return QUELL_OK;
}

/* Random strokes of frequencies that the plan states; a plan that does not, says only that they are random. */
static quell_status read_random(quell_shaking *out, const plan *from, quell_error *err)
{
    const double range_hz[2] = {from->start_hz, from->end_hz};
    quell_error why = {0};
    if (isnan(range_hz[0]) || isnan(range_hz[1]))
        return QUELL_OK;
    if (quell_motion_check_random(range_hz, &why) != QUELL_OK)
        return quell_fail(err, QUELL_E_DATA, "%s", why.text);
    out->random_known = true;
    memcpy(out->random_hz, range_hz, sizeof range_hz);
    return QUELL_OK;
}

/* A plan that cannot have been run is no word on what was; one may come without moves. */
static quell_status check_moves(const json_t *moves, quell_error *err)
{
    static const char *const lists[] = {"to_mm", "speed_mps", "rest_s"};
    size_t count;
    return moves == NULL || json_is_null(moves) ? QUELL_OK : quell_value_lists(&count, moves, "moves", lists, 3, QUELL_MOVES_MAX, err);
}

static quell_status read_plan(quell_shaking *out, const json_t *root, quell_error *err)
{
    const json_t *kind = json_object_get(root, "kind"), *axis = json_object_get(root, "axis");
    if (!quell_value_is(json_object_get(root, "schema"), SCHEMA))
        return quell_value_refuse("schema", json_object_get(root, "schema"), "\"" SCHEMA "\"", err);
    const quell_path *path = json_is_string(axis) ? quell_path_find(json_string_value(axis)) : NULL;
    if (axis != NULL && !json_is_null(axis) && path == NULL)
        return quell_value_refuse("axis", axis, "\"x\", \"y\", \"x+y\" or \"x-y\"", err);
    plan numbers_read;
    quell_status status = check_moves(json_object_get(root, "moves"), err);
    if (status == QUELL_OK)
        status = read_numbers(&numbers_read, root, err);
    if (status != QUELL_OK)
        return status;
    out->axis = path != NULL && strlen(path->id) == 1 ? path->id[0] : 0;
    out->diagonal = path != NULL && path->sign[0] != 0 && path->sign[1] != 0;
    if (!json_is_string(kind) || !quell_excitation_find(&out->kind, json_string_value(kind)) || out->kind == QUELL_EXCITE_AMBIENT)
        return quell_value_refuse("kind", kind, "\"sweep\", \"random\" or \"stops\"", err);
    return out->kind == QUELL_EXCITE_SWEEP    ? read_sweep(out, &numbers_read, root, err)
           : out->kind == QUELL_EXCITE_RANDOM ? read_random(out, &numbers_read, err)
                                              : QUELL_OK;
}

quell_status quell_shaking_read(quell_shaking *out, const quell_source *source, quell_error *err)
{
    quell_shaking made = {.stated = true, .why = "as stated", .sweep.acceleration_mps2 = 1};
    json_t *root;
    quell_status status = quell_object_read(&root, source, "plan", err);
    if (status != QUELL_OK)
        return status;
    status = read_plan(&made, root, err);
    json_decref(root);
    if (status == QUELL_OK)
        *out = made;
    else
        quell_error_set_file(err, source->name);
    return status;
}
