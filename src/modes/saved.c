/* Modes as they were printed in JSON and kept: read again, hostile like any file. */
#include "quell/modes.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define SCHEMA "quell.modes/1"
#define HZ_MAX 1e6
#define PARTICIPATION_MAX 1e3
#define ROUNDING 1e-9 /* an interval's end may be its value, printed with other digits */

enum { PLACE_MAX = 48, DOUBT_BYTES_MAX = 1000 };

/* [low, high] around value, or null: not known. */
static quell_status read_interval(double out[2], const json_t *in, const char *key, const char *place, double value,
                                  quell_error *err)
{
    const json_t *list = json_object_get(in, key);
    char name[PLACE_MAX + 40];
    out[0] = out[1] = (double)NAN;
    if (list == NULL || json_is_null(list))
        return QUELL_OK;
    const json_t *low = json_array_get(list, 0), *high = json_array_get(list, 1);
    double slack = ROUNDING * fabs(value);
    if (json_array_size(list) == 2 && json_is_number(low) && json_is_number(high) &&
        json_number_value(low) <= value + slack && json_number_value(high) >= value - slack) {
        out[0] = json_number_value(low);
        out[1] = json_number_value(high);
        return QUELL_OK;
    }
    snprintf(name, sizeof name, "%s%s", place, key);
    return quell_value_refuse(name, list, "null, or two numbers with the value between them", err);
}

static quell_status read_participation(quell_mode *mode, const json_t *item, const char *place, quell_error *err)
{
    const json_t *value = json_object_get(item, "participation");
    mode->participation = mode->participation_ci95[0] = mode->participation_ci95[1] = (double)NAN;
    if (value == NULL || json_is_null(value))
        return QUELL_OK;
    quell_status status =
        quell_value_number(&mode->participation, item, "participation", place, -PARTICIPATION_MAX, PARTICIPATION_MAX, err);
    return status == QUELL_OK
               ? read_interval(mode->participation_ci95, item, "participation_ci95", place, mode->participation, err)
               : status;
}

/* Three numbers of length 1, or null. */
static quell_status read_direction(quell_mode *mode, const json_t *item, const char *place, quell_error *err)
{
    const json_t *list = json_object_get(item, "direction");
    double length = 0;
    char name[PLACE_MAX + 16];
    for (size_t i = 0; i < 3; i++)
        mode->direction[i] = (double)NAN;
    if (list == NULL || json_is_null(list))
        return QUELL_OK;
    bool numbers = json_array_size(list) == 3;
    for (size_t i = 0; i < 3 && numbers; i++) {
        numbers = json_is_number(json_array_get(list, i));
        mode->direction[i] = json_number_value(json_array_get(list, i));
        length = hypot(length, mode->direction[i]);
    }
    if (numbers && fabs(length - 1) < 0.01)
        return QUELL_OK;
    snprintf(name, sizeof name, "%sdirection", place);
    return quell_value_refuse(name, list, "null, or three numbers of length 1", err);
}

static const char *copy_text(const json_t *value, quell_arena *arena)
{
    char shown[DOUBT_BYTES_MAX];
    return quell_arena_print(arena, "%s",
                             quell_printable(shown, sizeof shown, json_string_value(value), json_string_length(value)));
}

static quell_status read_doubts(quell_mode *mode, const json_t *item, const char *place, quell_arena *arena, quell_error *err)
{
    const json_t *list = json_object_get(item, "doubts");
    char name[PLACE_MAX + 16];
    if (list == NULL)
        return QUELL_OK;
    snprintf(name, sizeof name, "%sdoubts", place);
    if (!json_is_array(list) || json_array_size(list) > QUELL_DOUBTS_MAX)
        return quell_value_refuse(name, list, "a list of at most 8 texts", err);
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *text = json_array_get(list, i);
        if (!json_is_string(text))
            return quell_value_refuse(name, text, "texts", err);
        if ((mode->doubt[mode->doubts++] = copy_text(text, arena)) == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory for saved modes");
    }
    return QUELL_OK;
}

static quell_status read_mode(quell_mode *out, const json_t *item, size_t k, quell_arena *arena, quell_error *err)
{
    char place[PLACE_MAX];
    const double unknown = (double)NAN;
    snprintf(place, sizeof place, "modes[%zu].", k);
    *out = (quell_mode){.half_power_damping_ratio = unknown, .decay_damping_ratio = unknown,
                        .decay_damping_ratio_ci95 = {unknown, unknown}, .prominence_db = unknown};
    quell_status status = quell_value_number(&out->frequency_hz, item, "frequency_hz", place, 1e-3, HZ_MAX, err);
    if (status == QUELL_OK)
        status = read_interval(out->frequency_ci95_hz, item, "frequency_ci95_hz", place, out->frequency_hz, err);
    if (status == QUELL_OK)
        status = quell_value_number(&out->damping_ratio, item, "damping_ratio", place, 0, 0.99, err);
    if (status == QUELL_OK)
        status = read_interval(out->damping_ratio_ci95, item, "damping_ratio_ci95", place, out->damping_ratio, err);
    if (status == QUELL_OK)
        status = read_participation(out, item, place, err);
    if (status == QUELL_OK)
        status = read_direction(out, item, place, err);
    return status == QUELL_OK ? read_doubts(out, item, place, arena, err) : status;
}

static quell_status read_modes(quell_modes *out, char *axis, const json_t *root, quell_arena *arena, quell_error *err)
{
    const json_t *list = json_object_get(root, "modes"), *letter = json_object_get(root, "axis"),
                 *excitation = json_object_get(root, "excitation");
    if (!quell_value_is(json_object_get(root, "schema"), SCHEMA))
        return quell_value_refuse("schema", json_object_get(root, "schema"), "\"" SCHEMA "\"", err);
    if (letter != NULL && !json_is_null(letter) && !quell_value_is(letter, "x") && !quell_value_is(letter, "y"))
        return quell_value_refuse("axis", letter, "\"x\", \"y\" or null", err);
    if (!json_is_array(list) || json_array_size(list) > QUELL_MODES_MAX)
        return quell_value_refuse("modes", list, "a list of at most 8", err);
    *axis = json_is_string(letter) ? json_string_value(letter)[0] : 0;
    out->excitation = json_is_string(excitation) ? copy_text(excitation, arena) : "not said";
    if (out->excitation == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for saved modes");
    out->participation_known = true;
    for (size_t k = 0; k < json_array_size(list); k++) {
        quell_status status = read_mode(&out->mode[k], json_array_get(list, k), k, arena, err);
        if (status != QUELL_OK)
            return status;
        out->participation_known = out->participation_known && isfinite(out->mode[k].participation);
        out->count++;
    }
    return QUELL_OK;
}

quell_status quell_modes_read(quell_modes *out, char *axis, const quell_source *source, quell_arena *arena, quell_error *err)
{
    json_t *root;
    char letter = 0;
    quell_modes made = {.count = 0};
    quell_status status = quell_object_read(&root, source, "result of quell modes", err);
    if (status != QUELL_OK)
        return status;
    status = read_modes(&made, &letter, root, arena, err);
    json_decref(root);
    if (status == QUELL_OK) {
        *out = made;
        *axis = letter;
    } else {
        quell_error_set_file(err, source->name);
    }
    return status;
}
