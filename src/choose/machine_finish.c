/* The end of a machine file: values that depend on others, and what must agree across sections. */
#include "choose/machine_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static bool is_own(const quell_machine *machine, const char *id)
{
    for (size_t i = 0; i < machine->own_count; i++)
        if (strcmp(machine->own[i].id, id) == 0)
            return true;
    return false;
}

static int place_of(const quell_controller *controller, const char *id)
{
    for (size_t i = 0; i < controller->accepted_count; i++)
        if (strcmp(controller->accepted[i], id) == 0)
            return (int)i;
    return -1;
}

static quell_status finish_shapers(machine_reader *reader)
{
    const machine_late_value *late = &reader->late[LATE_SHAPERS];
    quell_controller *controller = &reader->machine.controller;
    if (late->line == 0)
        return QUELL_OK;
    if (strcmp(late->text, "none") == 0) {
        controller->takes_shapers = false;
        return QUELL_OK;
    }
    char id[32], shown[40];
    const char *at = late->text;
    for (size_t length; (length = machine_next_word(&at, id, sizeof id)) > 0;) {
        quell_printable(shown, sizeof shown, id, strlen(id));
        if (length >= sizeof id || (quell_family_find(id) == NULL && !is_own(&reader->machine, id)))
            return machine_refuse(
                reader, late->line,
                "[controller] shapers: found '%s', want a family that is built in or has its own "
                "[family NAME] section, or none alone",
                shown);
        if (place_of(controller, id) >= 0)
            return machine_refuse(reader, late->line,
                                  "[controller] shapers: found %s twice, want each family once", id);
        if (controller->accepted_count == QUELL_FAMILIES_ACCEPTED_MAX)
            return machine_refuse(reader, late->line,
                                  "[controller] shapers: more than %d families, which is the most taken",
                                  QUELL_FAMILIES_ACCEPTED_MAX);
        memcpy(controller->accepted[controller->accepted_count++], id, sizeof id);
    }
    return QUELL_OK;
}

/* family=NAME pairs; the name may be quoted. */
static quell_status finish_names(machine_reader *reader)
{
    const machine_late_value *late = &reader->late[LATE_NAMES];
    quell_controller *controller = &reader->machine.controller;
    char pair[96], shown[64];
    const char *at = late->text;
    for (size_t length; late->line > 0 && (length = machine_next_word(&at, pair, sizeof pair)) > 0;) {
        quell_printable(shown, sizeof shown, pair, strlen(pair));
        char *equals = strchr(pair, '=');
        if (length >= sizeof pair || equals == NULL || equals == pair || equals[1] == '\0')
            return machine_refuse(reader, late->line, "[controller] names: found '%s', want FAMILY=NAME",
                                  shown);
        *equals = '\0';
        int place = place_of(controller, pair);
        if (place < 0)
            return machine_refuse(
                reader, late->line,
                "[controller] names: found a name for '%.40s', want only families listed in shapers", pair);
        char *name = controller->name[place];
        if (name[0] != '\0' || strlen(equals + 1) >= sizeof controller->name[place])
            return machine_refuse(
                reader, late->line,
                "[controller] names: found '%s', want one name of at most %zu bytes for each family", shown,
                sizeof controller->name[place] - 1);
        memcpy(name, equals + 1, strlen(equals + 1) + 1);
    }
    return QUELL_OK;
}

/* A number the controller uses, in its own damping-unit; free; or unknown. */
static quell_status finish_damping(machine_reader *reader)
{
    const machine_late_value *late = &reader->late[LATE_DAMPING];
    quell_controller *controller = &reader->machine.controller;
    if (late->line == 0 || strcmp(late->text, "free") == 0)
        return QUELL_OK;
    if (strcmp(late->text, "unknown") == 0) {
        controller->damping_unknown = true;
        return QUELL_OK;
    }
    double value = (double)NAN, bare;
    char shown[64];
    if (quell_number_parse(late->text, &bare, NULL) == QUELL_OK) {
        const char *unit = controller->damping_unit;
        value = strcmp(unit, "percent") == 0 ? bare / 100 : strcmp(unit, "Q") == 0 ? 1 / (2 * bare) : bare;
    } else {
        quell_quantity_parse(late->text, QUELL_RATIO, "", &value, NULL);
    }
    if (!(value >= 0 && value <= QUELL_DAMPING_RATIO_MAX))
        return machine_refuse(
            reader, late->line,
            "[controller] damping: found '%s', want free, unknown, or the damping ratio it uses (0 to 0.3, "
            "written in its damping-unit, %s)",
            quell_printable(shown, sizeof shown, late->text, strlen(late->text)), controller->damping_unit);
    controller->damping = value;
    return QUELL_OK;
}

/* The step is in Hz unless the controller counts in periods. */
static quell_status finish_frequency_step(machine_reader *reader)
{
    const machine_late_value *late = &reader->late[LATE_FREQUENCY_STEP];
    quell_controller *controller = &reader->machine.controller;
    if (late->line == 0)
        return QUELL_OK;
    bool in_seconds = strcmp(controller->frequency_unit, "s") == 0;
    quell_error why = {0};
    double step = 0;
    if (quell_quantity_parse(late->text, in_seconds ? QUELL_TIME : QUELL_FREQUENCY, NULL, &step, &why) !=
        QUELL_OK)
        return machine_refuse(reader, late->line, "[controller] frequency-step: %s%s", why.text,
                              in_seconds ? ", since frequency-unit is s" : "");
    if (!(step >= 0))
        return machine_refuse(reader, late->line,
                              "[controller] frequency-step: found '%.40s', want 0 or more", late->text);
    controller->frequency_step_hz = step;
    return QUELL_OK;
}

static quell_status finish_part(machine_reader *reader)
{
    const quell_machine *machine = &reader->machine;
    if (!isnan(machine->residual_limit) && !isnan(machine->ripple_limit_m))
        return machine_refuse(reader, 0,
                              "[part] states both residual-limit and ripple-limit, want one of them");
    return QUELL_OK;
}

quell_status machine_finish(machine_reader *reader)
{
    static quell_status (*const step[])(machine_reader *) = {finish_shapers, finish_names, finish_damping,
                                                             finish_frequency_step, finish_part};
    for (size_t i = 0; i < sizeof step / sizeof step[0] && reader->status == QUELL_OK; i++)
        step[i](reader);
    return reader->status;
}
