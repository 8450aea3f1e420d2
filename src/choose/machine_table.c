/* The table of a machine file's keys: one row each says where it stands, how it is read and what is wanted. */
#include "choose/machine_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void *field_of(const machine_reader *reader, const machine_key *row)
{
    return (char *)reader->base + row->offset;
}

static quell_status refuse_value(machine_reader *reader, const machine_key *row, const char *value,
                                 const char *want)
{
    char shown[64];
    return machine_refuse(reader, reader->line, "[%s] %s: found '%s', want %s such as %s", reader->section,
                          row->key, quell_printable(shown, sizeof shown, value, strlen(value)), want,
                          row->example);
}

size_t machine_next_word(const char **at, char *out, size_t size)
{
    const char *from = *at + strspn(*at, " \t");
    size_t length = 0;
    bool quoted = false;
    for (; *from != '\0' && (quoted || (*from != ' ' && *from != '\t')); from++) {
        if (*from == '"') {
            quoted = !quoted;
            continue;
        }
        if (length + 1 < size)
            out[length] = *from;
        length++;
    }
    out[length < size ? length : size - 1] = '\0';
    *at = from;
    return length;
}

/* Text, with the quotes round it taken off; a quote elsewhere stays. */
static quell_status store_text(machine_reader *reader, const machine_key *row, const char *value)
{
    size_t length = strlen(value);
    if (length >= 2 && value[0] == '"' && value[length - 1] == '"') {
        value++;
        length -= 2;
    }
    if (length == 0 || length >= row->size)
        return machine_refuse(reader, reader->line, "[%s] %s: found %zu bytes, want 1 to %zu",
                              reader->section, row->key, length, row->size - 1);
    memcpy(field_of(reader, row), value, length);
    return QUELL_OK;
}

static quell_status store_template(machine_reader *reader, const machine_key *row, const char *value)
{
    quell_status status = store_text(reader, row, value);
    quell_error why = {0};
    if (status == QUELL_OK && setting_check(field_of(reader, row), &why) != QUELL_OK)
        return machine_refuse(reader, reader->line, "[%s] %s: %s", reader->section, row->key, why.text);
    return status;
}

static bool in_bounds(const machine_key *row, double value)
{
    return (value > row->low || (row->closed && value >= row->low)) && value <= row->high;
}

static quell_status refuse_bounds(machine_reader *reader, const machine_key *row, const char *value)
{
    char low[40], high[40] = "", shown[64];
    quell_number_print(low, sizeof low, row->low, 6);
    if (isfinite(row->high))
        quell_number_print(high, sizeof high, row->high, 6);
    const char *bare = row->dimension == QUELL_RATIO ? "" : "SI value ";
    return machine_refuse(reader, reader->line, "[%s] %s: found '%s', want %s%s %s%s%s, such as %s",
                          reader->section, row->key,
                          quell_printable(shown, sizeof shown, value, strlen(value)), bare,
                          row->closed ? "at least" : "more than", low, high[0] != '\0' ? " and at most " : "",
                          high, row->example);
}

static quell_status store_quantity(machine_reader *reader, const machine_key *row, const char *value)
{
    double si;
    quell_error why = {0};
    if (row->unknown_allowed && strcmp(value, "unknown") == 0)
        return QUELL_OK; /* NaN is there already */
    if (quell_quantity_parse(value, row->dimension, row->dimension == QUELL_RATIO ? "" : NULL, &si, &why) !=
        QUELL_OK)
        return machine_refuse(reader, reader->line, "[%s] %s: %s%s", reader->section, row->key, why.text,
                              row->unknown_allowed ? ", or unknown" : "");
    if (!in_bounds(row, si))
        return refuse_bounds(reader, row, value);
    *(double *)field_of(reader, row) = si;
    return QUELL_OK;
}

static quell_status store_range(machine_reader *reader, const machine_key *row, const char *value)
{
    double low, high;
    quell_error why = {0};
    if (quell_quantity_parse_range(value, row->dimension, &low, &high, &why) != QUELL_OK)
        return machine_refuse(reader, reader->line, "[%s] %s: %s", reader->section, row->key, why.text);
    if (!in_bounds(row, low) || !in_bounds(row, high))
        return refuse_bounds(reader, row, value);
    double *range = field_of(reader, row);
    range[0] = low;
    range[1] = high;
    return QUELL_OK;
}

static quell_status store_count(machine_reader *reader, const machine_key *row, const char *value)
{
    double number;
    if (quell_number_parse(value, &number, NULL) != QUELL_OK || number != floor(number) ||
        !in_bounds(row, number)) {
        char want[48];
        snprintf(want, sizeof want, "a whole number from %.0f to %.0f", row->low, row->high);
        return refuse_value(reader, row, value, want);
    }
    *(size_t *)field_of(reader, row) = (size_t)number;
    return QUELL_OK;
}

/* The place of a word in the row's list, -1 if it is not there. */
static int place_of(const machine_key *row, const char *word)
{
    for (int i = 0; row->words[i] != NULL; i++)
        if (strcmp(row->words[i], word) == 0)
            return i;
    return -1;
}

static quell_status refuse_word(machine_reader *reader, const machine_key *row, const char *value)
{
    char want[128] = "";
    size_t used = 0;
    for (int i = 0; row->words[i] != NULL; i++) {
        const char *gap = i == 0 ? "" : row->words[i + 1] == NULL ? " or " : ", ";
        used += (size_t)snprintf(want + used, sizeof want - used, "%s%s", gap, row->words[i]);
    }
    return refuse_value(reader, row, value, want);
}

static quell_status store_reading(machine_reader *reader, const machine_key *row, const char *value)
{
    int place = place_of(row, value);
    if (place < 0)
        return refuse_word(reader, row, value);
    *(quell_reading *)field_of(reader, row) = (quell_reading)place;
    return QUELL_OK;
}

/* A choice whose second word means true. */
static quell_status store_either(machine_reader *reader, const machine_key *row, const char *value)
{
    int place = place_of(row, value);
    if (place < 0)
        return refuse_word(reader, row, value);
    *(bool *)field_of(reader, row) = place == 1;
    return QUELL_OK;
}

static quell_status store_word(machine_reader *reader, const machine_key *row, const char *value)
{
    int place = place_of(row, value);
    if (place < 0)
        return refuse_word(reader, row, value);
    memcpy(field_of(reader, row), row->words[place], strlen(row->words[place]) + 1);
    return QUELL_OK;
}

/* none, or some of the row's other words, each once. */
static quell_status store_several(machine_reader *reader, const machine_key *row, const char *value)
{
    char(*list)[16] = field_of(reader, row), word[16];
    size_t count = 0, seen = 0;
    for (const char *at = value; machine_next_word(&at, word, sizeof word) > 0; count++) {
        int place = place_of(row, word);
        if (place < 0 || (seen >> place & 1) != 0 || ((seen & 1) != 0 && count > 0) ||
            (place == 0 && count > 0))
            return refuse_word(reader, row, value);
        seen |= (size_t)1 << place;
        if (place > 0)
            memcpy(list[count], word, sizeof word);
    }
    return QUELL_OK;
}

static quell_status store_late(machine_reader *reader, const machine_key *row, const char *value)
{
    machine_late_value *late = &reader->late[row->late];
    late->line = reader->line;
    memcpy(late->text, value, strlen(value) + 1);
    return QUELL_OK;
}

static const char *const readings[] = {
    [QUELL_NATURAL] = "natural", [QUELL_DAMPED] = "damped", [QUELL_READING_UNKNOWN] = "unknown", NULL};
static const char *const frequency_units[] = {"Hz", "rad/s", "s", NULL};
static const char *const damping_units[] = {"ratio", "percent", "Q", NULL};
static const char *const impulse_times[] = {"absolute", "differences", NULL};
static const char *const no_yes[] = {"no", "yes", NULL};
static const char *const kinematics[] = {"cartesian", "coupled-belts", NULL};
static const char *const shared_settings[] = {"none", "frequency", "family", "damping", NULL};

#define AT(type, field) .offset = offsetof(type, field), .size = sizeof(((type *)NULL)->field)
#define MACHINE(field) AT(quell_machine, field)
#define AXIS(field) AT(quell_axis_limits, field)
#define CONTROLLER(field) AT(quell_machine, controller.field)
#define POSITIVE .low = 0, .high = HUGE_VAL
#define FROM_ZERO .low = 0, .closed = true, .high = HUGE_VAL
#define UNKNOWN .unknown_allowed = true

static const machine_key keys[] = {
    {IN_MACHINE, "name", "Heron", store_text, MACHINE(name)},
    {IN_MACHINE, "kinematics", "coupled-belts", store_word, MACHINE(kinematics), .words = kinematics},
    {IN_AXIS, "acceleration", "6000 mm/s2", store_quantity, AXIS(acceleration_mps2), QUELL_ACCELERATION,
     POSITIVE, UNKNOWN},
    {IN_AXIS, "speed", "200 mm/s", store_quantity, AXIS(speed_mps), QUELL_SPEED, POSITIVE, UNKNOWN},
    {IN_AXIS, "step", "0.0125 mm", store_quantity, AXIS(step_m), QUELL_LENGTH, POSITIVE, UNKNOWN},
    {IN_AXIS, "moving-mass", "900 g", store_quantity, AXIS(moving_mass_kg), QUELL_MASS, POSITIVE, UNKNOWN},
    {IN_AXIS, "load", "0..300 g", store_range, AXIS(load_kg), QUELL_MASS, FROM_ZERO},
    {IN_CONTROLLER, "shapers", "zv zvd ei", store_late, .late = LATE_SHAPERS},
    {IN_CONTROLLER, "frequency", "natural", store_reading, CONTROLLER(frequency), .words = readings},
    {IN_CONTROLLER, "frequency-unit", "Hz", store_word, CONTROLLER(frequency_unit), .words = frequency_units},
    {IN_CONTROLLER, "frequency-step", "0.1 Hz", store_late, .late = LATE_FREQUENCY_STEP},
    {IN_CONTROLLER, "frequency-range", "10..150 Hz", store_range, CONTROLLER(frequency_range_hz),
     QUELL_FREQUENCY, POSITIVE},
    {IN_CONTROLLER, "damping", "free", store_late, .late = LATE_DAMPING},
    {IN_CONTROLLER, "damping-unit", "ratio", store_word, CONTROLLER(damping_unit), .words = damping_units},
    {IN_CONTROLLER, "tolerance", "0.05", store_quantity, CONTROLLER(tolerance), QUELL_RATIO, .low = 0,
     .high = QUELL_TOLERANCE_MAX, UNKNOWN},
    {IN_CONTROLLER, "impulses", "5", store_count, CONTROLLER(impulses), .low = 0, .high = QUELL_SHAPER_MAX,
     .closed = true},
    {IN_CONTROLLER, "impulse-times", "absolute", store_either, CONTROLLER(impulse_times_are_differences),
     .words = impulse_times},
    {IN_CONTROLLER, "tick", "0.05 ms", store_quantity, CONTROLLER(tick_s), QUELL_TIME, FROM_ZERO},
    {IN_CONTROLLER, "one-setting-for", "none", store_several, CONTROLLER(one_setting_for),
     .words = shared_settings},
    {IN_CONTROLLER, "axis-delay", "no", store_either, CONTROLLER(axis_delay), .words = no_yes},
    {IN_CONTROLLER, "setting", "\"axis {axis} type {name} at {frequency} damping {damping_ratio}\"",
     store_template, CONTROLLER(setting)},
    {IN_CONTROLLER, "names", "zv=A zvd=B ei=C", store_late, .late = LATE_NAMES},
    {IN_FAMILY, "times", "0 0.5 1", .store = machine_store_times},
    {IN_FAMILY, "amplitudes", "1 | 0 2 | 0 0 1", .store = machine_store_amplitudes},
    {IN_PART, "corner-speed", "8 mm/s", store_quantity, MACHINE(corner_speed_mps), QUELL_SPEED, FROM_ZERO,
     UNKNOWN},
    {IN_PART, "rounding-limit", "0.15 mm", store_quantity, MACHINE(rounding_limit_m), QUELL_LENGTH, POSITIVE,
     UNKNOWN},
    {IN_PART, "residual-limit", "10 %", store_quantity, MACHINE(residual_limit), QUELL_RATIO, .low = 0,
     .high = 0.99},
    {IN_PART, "ripple-limit", "5 um", store_quantity, MACHINE(ripple_limit_m), QUELL_LENGTH, POSITIVE},
};

const machine_key *machine_keys(size_t *count)
{
    *count = sizeof keys / sizeof keys[0];
    return keys;
}
