/* A setting of an earlier controller, in that controller's own numbers. */
#include "choose/setting_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { PARTS = 4, PART_BYTES = 48 };

static quell_status refuse(const char *text, quell_error *err)
{
    char shown[64];
    return quell_fail(err, QUELL_E_USAGE,
                      "found '%s', want FAMILY:FREQUENCY[:DAMPING[:V]] in the controller's own units and meaning",
                      quell_printable(shown, sizeof shown, text, strlen(text)));
}

static bool split(const char *text, char part[PARTS][PART_BYTES], size_t *parts)
{
    for (*parts = 0;; text++) {
        size_t length = strcspn(text, ":");
        if (*parts == PARTS || length == 0 || length >= PART_BYTES)
            return false;
        memcpy(part[*parts], text, length);
        part[(*parts)++][length] = '\0';
        text += length;
        if (*text == '\0')
            return *parts >= 2;
    }
}

static bool read_plain(const char *text, double *out)
{
    size_t length = strlen(text);
    return quell_number_read(text, length, '.', out) == length && isfinite(*out);
}

/* What is told of the damping as a ratio; the controller's own number where it has one. */
static bool read_damping(const quell_controller *controller, const char *text, double *out)
{
    setting_told told = {0};
    *out = isnan(controller->damping) ? 0 : controller->damping;
    if (text == NULL)
        return true;
    if (!read_plain(text, &told.damping) || !(told.damping >= 0) ||
        (strcmp(controller->damping_unit, "Q") == 0 && !(told.damping > 0)))
        return false;
    *out = setting_damping_ratio(controller, &told);
    return *out >= 0 && *out <= QUELL_DAMPING_RATIO_MAX;
}

static const quell_own_family *own_family(const quell_machine *machine, const char *id)
{
    for (size_t i = 0; i < machine->own_count; i++)
        if (strcmp(machine->own[i].id, id) == 0)
            return &machine->own[i];
    return NULL;
}

quell_status quell_machine_old_setting(quell_shaper *out, const quell_machine *machine, const char *text, quell_error *err)
{
    const quell_controller *controller = &machine->controller;
    char part[PARTS][PART_BYTES];
    size_t parts;
    setting_told told = {0};
    double damping_ratio, tolerance = isnan(controller->tolerance) ? QUELL_TOLERANCE_DEFAULT : controller->tolerance;
    if (!split(text, part, &parts) || !read_plain(part[1], &told.frequency) || !(told.frequency > 0) ||
        !read_damping(controller, parts > 2 ? part[2] : NULL, &damping_ratio) ||
        (parts > 3 && (!read_plain(part[3], &tolerance) || !(tolerance > 0 && tolerance <= QUELL_TOLERANCE_MAX))))
        return refuse(text, err);
    const quell_own_family *own = own_family(machine, part[0]);
    const quell_family *built_in = quell_family_find(part[0]);
    if (own == NULL && built_in == NULL)
        return quell_fail(err, QUELL_E_USAGE, "found the family '%s', want one built in or of the machine's file", part[0]);
    quell_design_point at = {setting_natural_hz(controller, &told, damping_ratio, controller->frequency), damping_ratio,
                             tolerance};
    return own != NULL ? quell_own_family_design(out, own, &at, err) : quell_shaper_design(out, built_in, &at, err);
}
