/* The setting line: a scanner of our own expands the template, so that no text from a file is ever a format. */
#include "choose/machine_private.h"
#include "choose/setting_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* What the placeholders stand for. */
typedef struct setting_values {
    const quell_controller *controller;
    const quell_shaper *shaper;
    const char *family_id;
    char axis;
    double residual_limit;
    setting_told told;
    quell_arena *arena;
} setting_values;

static const char *fixed(const setting_values *values, double value, int decimals)
{
    char text[64];
    quell_number_print_fixed(text, sizeof text, value, decimals);
    return quell_arena_print(values->arena, "%s", text);
}

static const char *short_number(const setting_values *values, double value)
{
    char text[40];
    quell_number_print(text, sizeof text, value, 6);
    return quell_arena_print(values->arena, "%s", text);
}

static const char *put_axis(const setting_values *values)
{
    return quell_arena_print(values->arena, "%c", values->axis);
}

static const char *put_family(const setting_values *values)
{
    return values->family_id;
}

/* The controller's own name for the family; the family's id where it states none. */
static const char *put_name(const setting_values *values)
{
    const quell_controller *controller = values->controller;
    for (size_t i = 0; i < controller->accepted_count; i++)
        if (strcmp(controller->accepted[i], values->family_id) == 0 && controller->name[i][0] != '\0')
            return controller->name[i];
    return values->family_id;
}

static const char *put_frequency(const setting_values *values)
{
    return fixed(values, values->told.frequency, values->told.frequency_decimals);
}

static double told_hz(const setting_values *values)
{
    /* natural: the told number itself, in Hz, whatever it stands for */
    return setting_natural_hz(values->controller, &values->told, 0, QUELL_NATURAL);
}

static const char *put_frequency_hz(const setting_values *values)
{
    bool in_hz = strcmp(values->controller->frequency_unit, "Hz") == 0;
    return fixed(values, told_hz(values), in_hz ? values->told.frequency_decimals : 2);
}

static const char *put_period_s(const setting_values *values)
{
    return fixed(values, 1 / told_hz(values), 6);
}

static const char *put_damping_ratio(const setting_values *values)
{
    if (!isnan(values->controller->damping))
        return short_number(values, values->told.damping);
    return fixed(values, values->told.damping, values->told.damping_decimals);
}

static const char *put_residual_limit(const setting_values *values)
{
    return short_number(values, values->residual_limit);
}

/* Numbers joined by commas. */
static const char *put_list(const setting_values *values, const double *number, bool differences,
                            int decimals)
{
    const char *list = "";
    for (size_t i = 0; i < values->shaper->count && list != NULL; i++) {
        char text[64];
        quell_number_print_fixed(text, sizeof text,
                                 differences && i > 0 ? number[i] - number[i - 1] : number[i], decimals);
        list = quell_arena_print(values->arena, "%s%s%s", list, i > 0 ? "," : "", text);
    }
    return list;
}

static const char *put_amplitudes(const setting_values *values)
{
    return put_list(values, values->shaper->amplitude, false, 6);
}

static const char *put_times_s(const setting_values *values)
{
    return put_list(values, values->shaper->time_s, values->controller->impulse_times_are_differences, 6);
}

static const char *put_duration_s(const setting_values *values)
{
    return fixed(values, values->shaper->time_s[values->shaper->count - 1], 6);
}

static const struct {
    const char *name;
    const char *(*put)(const setting_values *values); /* NULL if memory is out */
} placeholders[] = {
    {"axis", put_axis},
    {"family", put_family},
    {"name", put_name},
    {"frequency", put_frequency},
    {"frequency_hz", put_frequency_hz},
    {"period_s", put_period_s},
    {"damping_ratio", put_damping_ratio},
    {"residual_limit", put_residual_limit},
    {"amplitudes", put_amplitudes},
    {"times_s", put_times_s},
    {"duration_s", put_duration_s},
};
enum { PLACEHOLDERS = sizeof placeholders / sizeof placeholders[0] };

static quell_status refuse(quell_error *err, const char *found, size_t length)
{
    char shown[48], want[256] = "";
    size_t used = 0;
    for (size_t i = 0; i < PLACEHOLDERS; i++)
        used += (size_t)snprintf(want + used, sizeof want - used, " {%s}", placeholders[i].name);
    return quell_fail(err, QUELL_E_USAGE, "found '%s' in the setting, want one of%s, or {{ for a brace",
                      quell_printable(shown, sizeof shown, found, length), want);
}

/* The placeholder at `at`, which stands on its '{': its row and its length with both braces. */
static quell_status find_placeholder(const char *at, size_t *row, size_t *length, quell_error *err)
{
    size_t name = strcspn(at + 1, "{}");
    if (at[1 + name] != '}')
        return refuse(err, at, 1 + name);
    *length = name + 2;
    for (*row = 0; *row < PLACEHOLDERS; (*row)++)
        if (strlen(placeholders[*row].name) == name && memcmp(placeholders[*row].name, at + 1, name) == 0)
            return QUELL_OK;
    return refuse(err, at, *length);
}

/* Walks the template; without values it is only checked. */
static quell_status expand(const char *text, const setting_values *values, const char **out, quell_error *err)
{
    const char *made = "";
    for (size_t length; *text != '\0' && made != NULL; text += length) {
        const char *piece = text;
        size_t piece_length = length = strcspn(text, "{");
        if (length == 0 && text[1] == '{') {
            length = 2;
            piece_length = 1;
        } else if (length == 0) {
            size_t row;
            quell_status status = find_placeholder(text, &row, &length, err);
            if (status != QUELL_OK)
                return status;
            piece = values != NULL ? placeholders[row].put(values) : "";
            piece_length = piece != NULL ? strlen(piece) : 0;
        }
        if (values != NULL)
            made = piece != NULL ? quell_arena_print(values->arena, "%s%.*s", made, (int)piece_length, piece)
                                 : NULL;
    }
    if (made == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the setting");
    *out = made;
    return QUELL_OK;
}

quell_status setting_check(const char *text, quell_error *err)
{
    const char *ignored;
    return expand(text, NULL, &ignored, err);
}

quell_status quell_machine_setting(const quell_machine *machine, char axis, const quell_shaper *shaper,
                                   const char *family_id, double residual_limit, quell_arena *arena,
                                   char **text, quell_error *err)
{
    setting_values values = {.controller = &machine->controller,
                             .shaper = shaper,
                             .family_id = family_id,
                             .axis = axis,
                             .residual_limit = residual_limit,
                             .arena = arena};
    values.told = setting_tell(&machine->controller, shaper->at.frequency_hz, shaper->at.damping_ratio,
                               SETTING_NEAREST);
    const char *made = "";
    quell_status status = expand(machine->controller.setting, &values, &made, err);
    if (status != QUELL_OK)
        return status;
    char *copy = quell_arena_copy(arena, made, strlen(made));
    if (copy == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the setting");
    *text = copy;
    return QUELL_OK;
}
