/* Reads a machine file: sections and keys through libinih, then what can only be checked at the end. */
#include "choose/machine_private.h"

#include <ini.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *const axis_names[QUELL_AXES_MAX] = {"x", "y", "z"};

void quell_machine_unknown(quell_machine *out)
{
    *out = (quell_machine){
        .controller = {.takes_shapers = true,
                       .frequency = QUELL_NATURAL,
                       .frequency_unit = "Hz",
                       .damping = (double)NAN,
                       .damping_unit = "ratio",
                       .tolerance = (double)NAN},
        .corner_speed_mps = (double)NAN,
        .rounding_limit_m = (double)NAN,
        .residual_limit = (double)NAN,
        .ripple_limit_m = (double)NAN,
    };
    for (size_t i = 0; i < QUELL_AXES_MAX; i++)
        out->axis[i] = (quell_axis_limits){.acceleration_mps2 = (double)NAN,
                                           .speed_mps = (double)NAN,
                                           .step_m = (double)NAN,
                                           .moving_mass_kg = (double)NAN};
}

/* ---------------------------------------------------------------- sections */

int machine_section_find(const char *name, const char **id)
{
    static const struct {
        const char *name;
        machine_section kind;
    } sections[] = {{"machine", IN_MACHINE},       {"x", IN_AXIS},    {"y", IN_AXIS},     {"z", IN_AXIS},
                    {"controller", IN_CONTROLLER}, {"part", IN_PART}, {"notes", IN_NOTES}};
    *id = NULL;
    for (size_t i = 0; i < sizeof sections / sizeof sections[0]; i++)
        if (strcmp(sections[i].name, name) == 0)
            return (int)sections[i].kind;
    if (strncmp(name, "family ", 7) != 0)
        return -1;
    *id = name + 7 + strspn(name + 7, " \t");
    return IN_FAMILY;
}

/* A new own family. Its id is a word of the command line, so it is held to small letters, digits and '-'. */
static quell_status start_family(machine_reader *reader, const char *id)
{
    quell_machine *machine = &reader->machine;
    quell_own_family *own = &machine->own[machine->own_count];
    size_t length = strlen(id);
    if (length == 0 || length >= sizeof own->id ||
        strspn(id, "abcdefghijklmnopqrstuvwxyz0123456789-") != length)
        return machine_refuse(reader, reader->line,
                              "found the family name '%s', want 1 to %zu of a-z, 0-9 and '-'", id,
                              sizeof own->id - 1);
    if (quell_family_find(id) != NULL || strcmp(id, "none") == 0 || strcmp(id, "impulses") == 0 ||
        strcmp(id, "tailored") == 0 || strcmp(id, "convolved") == 0)
        return machine_refuse(reader, reader->line, "found [family %s], want a name that is not built in",
                              id);
    if (machine->own_count == QUELL_OWN_FAMILIES_MAX)
        return machine_refuse(reader, reader->line, "more than %d families, which is the most taken",
                              QUELL_OWN_FAMILIES_MAX);
    *own = (quell_own_family){.line = reader->line};
    memcpy(own->id, id, length + 1);
    machine->own_count++;
    reader->base = own;
    return QUELL_OK;
}

static quell_status refuse_section(machine_reader *reader, const char *name)
{
    char shown[64];
    return machine_refuse(reader, reader->line,
                          "found [%s], want machine, x, y, z, controller, family NAME, part or notes",
                          quell_printable(shown, sizeof shown, name, strlen(name)));
}

quell_status machine_start_section(machine_reader *reader, const char *name)
{
    const char *id;
    quell_status status = machine_end_section(reader);
    if (status != QUELL_OK)
        return status;
    int kind = machine_section_find(name, &id);
    if (kind < 0 || strlen(name) > MACHINE_NAME_MAX)
        return refuse_section(reader, name);
    snprintf(reader->section, sizeof reader->section, "%s%s", id != NULL ? "family " : name,
             id != NULL ? id : "");
    for (size_t i = 0; i < reader->sections; i++)
        if (strcmp(reader->seen_section[i], reader->section) == 0)
            return machine_refuse(reader, reader->line,
                                  "found [%s] for the second time, want each section once", reader->section);
    reader->base = &reader->machine;
    for (size_t i = 0; i < QUELL_AXES_MAX; i++)
        if (strcmp(name, axis_names[i]) == 0) {
            reader->base = &reader->machine.axis[i];
            reader->machine.axis[i].present = true;
        }
    if (kind == IN_FAMILY && start_family(reader, id) != QUELL_OK)
        return reader->status;
    memcpy(reader->seen_section[reader->sections++], reader->section, sizeof reader->section);
    reader->kind = kind;
    reader->section_line = reader->line;
    reader->seen_keys = 0;
    return QUELL_OK;
}

static bool was_given(const machine_reader *reader, const char *key)
{
    size_t count;
    const machine_key *row = machine_keys(&count);
    for (size_t i = 0; i < count; i++)
        if ((int)row[i].section == reader->kind && strcmp(row[i].key, key) == 0)
            return (reader->seen_keys >> i & 1) != 0;
    return false;
}

quell_status machine_end_section(machine_reader *reader)
{
    if (reader->kind == IN_FAMILY) {
        const char *missing = !was_given(reader, "times")        ? "times"
                              : !was_given(reader, "amplitudes") ? "amplitudes"
                                                                 : NULL;
        if (missing != NULL)
            return machine_refuse(reader, reader->section_line,
                                  "[%s] lacks %s, want both times and amplitudes", reader->section, missing);
    }
    if (reader->kind == IN_AXIS && was_given(reader, "load") && !was_given(reader, "moving-mass"))
        return machine_refuse(reader, reader->section_line,
                              "[%s] states a load, want the moving-mass it is added to", reader->section);
    return QUELL_OK;
}

/* ---------------------------------------------------------------- keys */

static quell_status refuse_key(machine_reader *reader, const char *key)
{
    char want[400] = "", shown[64];
    size_t count, used = 0;
    const machine_key *row = machine_keys(&count);
    for (size_t i = 0; i < count; i++) {
        if ((int)row[i].section != reader->kind)
            continue;
        bool last = i + 1 == count || (int)row[i + 1].section != reader->kind;
        const char *gap = used == 0 ? "" : last ? " or " : ", ";
        used += (size_t)snprintf(want + used, sizeof want - used, "%s%s", gap, row[i].key);
    }
    return machine_refuse(reader, reader->line, "[%s] found the key '%s', want %s", reader->section,
                          quell_printable(shown, sizeof shown, key, strlen(key)), want);
}

/* Notes take any key: "key: value" lines, in order. */
static quell_status store_note(machine_reader *reader, const char *key)
{
    char *notes = reader->machine.notes;
    size_t used = strlen(notes), key_length = strlen(key), room = sizeof reader->machine.notes;
    for (const char *line = notes; line != NULL && *line != '\0'; line = strchr(line, '\n') + 1)
        if (strncmp(line, key, key_length) == 0 && line[key_length] == ':')
            return machine_refuse(reader, reader->line,
                                  "[notes] found '%s' for the second time, want each key once", key);
    if (used + key_length + strlen(reader->value) + 4 > room)
        return machine_refuse(reader, reader->line,
                              "[notes] is longer than %zu bytes, which is the most taken", room - 1);
    snprintf(notes + used, room - used, "%s: %s\n", key, reader->value);
    return QUELL_OK;
}

quell_status machine_store(machine_reader *reader, const char *key)
{
    if (reader->kind == IN_NOTES)
        return store_note(reader, key);
    size_t count;
    const machine_key *row = machine_keys(&count);
    for (size_t i = 0; i < count; i++) {
        if ((int)row[i].section != reader->kind || strcmp(row[i].key, key) != 0)
            continue;
        if ((reader->seen_keys >> i & 1) != 0)
            return machine_refuse(reader, reader->line,
                                  "[%s] found %s for the second time, want each key once", reader->section,
                                  key);
        reader->seen_keys |= UINT64_C(1) << i;
        return row[i].store(reader, &row[i], reader->value);
    }
    return refuse_key(reader, key);
}

/* What libinih calls for each key; the value it passes is the feeder's "@". */
static int take_key(void *context, const char *section, const char *key, const char *value)
{
    machine_reader *reader = context;
    (void)section;
    (void)value;
    return reader->status == QUELL_OK && machine_store(reader, key) == QUELL_OK;
}

/* ---------------------------------------------------------------- reading */

static quell_status read_all(machine_reader *reader)
{
    int result = ini_parse_stream(machine_feed, reader, take_key, reader);
    if (reader->status != QUELL_OK)
        return reader->status;
    if (result == -2)
        return reader->status = quell_fail(&reader->err, QUELL_E_MEMORY, "out of memory");
    if (result !=
        0) /* the feeder lets nothing through that the library refuses: a change of the library would show here */
        return machine_refuse(reader, (size_t)(result > 0 ? result : 0), "the line is not key = value");
    if (reader->sections == 0)
        return machine_refuse(reader, 0,
                              "found no section, want at least [controller] and one section per axis");
    if (machine_end_section(reader) != QUELL_OK)
        return reader->status;
    return machine_finish(reader);
}

quell_status quell_machine_read(quell_machine *out, const quell_source *source, quell_error *err)
{
    machine_reader *reader = quell_memory_get(sizeof *reader);
    if (reader == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the machine file");
    memset(reader, 0, sizeof *reader);
    reader->source = source;
    reader->kind = -1;
    quell_machine_unknown(&reader->machine);
    quell_status status = read_all(reader);
    if (status == QUELL_OK) {
        *out = reader->machine;
    } else if (err != NULL) {
        quell_error_set_file(&reader->err, source->name);
        *err = reader->err;
    }
    quell_memory_free(reader);
    return status;
}
