/* The small languages of `quell simulate`. Every quantity in them has its unit, as everywhere. */
#include "cli/simulate_spec.h"

#include <math.h>
#include <string.h>

/* Text cut at each separator. Neither too many parts nor an overlong text is taken. */
static quell_status split(quell_parts *out, const char *text, char separator, const char *wanted, quell_error *err)
{
    char shown[64];
    return quell_split(out, text, separator)
               ? QUELL_OK
               : quell_fail(err, QUELL_E_USAGE, "found '%s' of %zu bytes, want %s",
                            quell_printable(shown, sizeof shown, text, strlen(text)), strlen(text), wanted);
}

static quell_status refuse(const char *text, const char *wanted, quell_error *err)
{
    char shown[64];
    return quell_fail(err, QUELL_E_USAGE, "found '%s', want %s",
                      quell_printable(shown, sizeof shown, text, strlen(text)), wanted);
}

/* "1,0,0.5": three numbers. */
static quell_status three_numbers(double out[3], const char *text, const char *wanted, quell_error *err)
{
    quell_parts parts;
    double value[3];
    quell_status status = split(&parts, text, ',', wanted, err);
    if (status == QUELL_OK && parts.count != 3)
        status = refuse(text, wanted, err);
    for (size_t k = 0; k < 3 && status == QUELL_OK; k++)
        status = quell_number_parse(parts.part[k], &value[k], err);
    if (status == QUELL_OK)
        memcpy(out, value, sizeof value);
    return status;
}

quell_status simulate_spec_mode(quell_simulation *setup, const char *text, quell_error *err)
{
    static const char wanted[] = "HZ:ZETA, HZ:ZETA:C or HZ:ZETA:CX,CY,CZ";
    quell_parts parts;
    if (setup->modes == sizeof setup->mode / sizeof setup->mode[0])
        return quell_fail(err, QUELL_E_USAGE, "more than %zu modes, which is the most taken", setup->modes);
    quell_simulated_mode mode = {0};
    double along = 1;
    quell_status status = split(&parts, text, ':', wanted, err);
    if (status == QUELL_OK && parts.count != 2 && parts.count != 3)
        status = refuse(text, wanted, err);
    if (status == QUELL_OK)
        status = quell_quantity_parse(parts.part[0], QUELL_FREQUENCY, "Hz", &mode.frequency_hz, err);
    if (status == QUELL_OK)
        status = quell_quantity_parse(parts.part[1], QUELL_RATIO, "", &mode.damping_ratio, err);
    bool three = status == QUELL_OK && parts.count == 3 && strchr(parts.part[2], ',') != NULL;
    if (three)
        status = three_numbers(mode.participation, parts.part[2], "three numbers CX,CY,CZ", err);
    else if (status == QUELL_OK && parts.count == 3)
        status = quell_number_parse(parts.part[2], &along, err);
    if (status != QUELL_OK)
        return status;
    const double *path = setup->motion != NULL ? setup->motion->path->along : NULL;
    for (size_t k = 0; k < 3 && !three; k++)
        mode.participation[k] = along * (path != NULL ? path[k] : k == (setup->axis == 'y') ? 1 : 0);
    setup->mode[setup->modes++] = mode;
    return QUELL_OK;
}

quell_status simulate_spec_line(quell_simulation *setup, const char *text, quell_error *err)
{
    static const char wanted[] = "HZ:ACCELERATION:X,Y,Z such as 112:0.05m/s2:0.3,0.2,0.9";
    quell_parts parts;
    if (setup->lines == sizeof setup->line / sizeof setup->line[0])
        return quell_fail(err, QUELL_E_USAGE, "more than %zu lines, which is the most taken", setup->lines);
    quell_line line = {0};
    quell_status status = split(&parts, text, ':', wanted, err);
    if (status == QUELL_OK && parts.count != 3)
        status = refuse(text, wanted, err);
    if (status == QUELL_OK)
        status = quell_quantity_parse(parts.part[0], QUELL_FREQUENCY, "Hz", &line.frequency_hz, err);
    if (status == QUELL_OK)
        status = quell_quantity_parse(parts.part[1], QUELL_ACCELERATION, NULL, &line.amplitude_mps2, err);
    if (status == QUELL_OK)
        status = three_numbers(line.direction, parts.part[2], "a direction X,Y,Z", err);
    if (status == QUELL_OK)
        setup->line[setup->lines++] = line;
    return status;
}

/* Hertz per second; the unit may be left out, as that of the frequencies beside it. */
static quell_status sweep_rate(double *out, const char *text, quell_error *err)
{
    static const char unit[] = "Hz/s";
    size_t used = quell_number_read(text, strlen(text), '.', out);
    const char *rest = text + used + strspn(text + used, " ");
    if (used == 0 || !isfinite(*out) || (rest[0] != '\0' && strcmp(rest, unit) != 0))
        return refuse(text, "a sweep rate such as 2.5 Hz/s", err);
    return QUELL_OK;
}

static quell_status parse_sweep(quell_simulation *setup, const quell_parts *parts, quell_error *err)
{
    quell_sweep *sweep = &setup->sweep;
    setup->excitation = QUELL_EXCITE_SWEEP;
    quell_status status = quell_quantity_parse(parts->part[1], QUELL_FREQUENCY, "Hz", &sweep->start_hz, err);
    if (status == QUELL_OK)
        status = quell_quantity_parse(parts->part[2], QUELL_FREQUENCY, "Hz", &sweep->end_hz, err);
    if (status == QUELL_OK)
        status = sweep_rate(&sweep->rate_hz_per_s, parts->part[3], err);
    if (status == QUELL_OK)
        status =
            quell_quantity_parse(parts->part[4], QUELL_ACCELERATION, NULL, &sweep->acceleration_mps2, err);
    return status;
}

static quell_status parse_stops(quell_simulation *setup, const quell_parts *parts, quell_error *err)
{
    setup->excitation = QUELL_EXCITE_STOPS;
    quell_status status = quell_quantity_parse(parts->part[1], QUELL_LENGTH, NULL, &setup->stroke_m, err);
    if (status == QUELL_OK)
        status = quell_quantity_parse(parts->part[2], QUELL_SPEED, NULL, &setup->speed_mps, err);
    if (status == QUELL_OK)
        status =
            quell_quantity_parse(parts->part[3], QUELL_ACCELERATION, NULL, &setup->acceleration_mps2, err);
    if (status == QUELL_OK)
        status = quell_quantity_parse(parts->part[4], QUELL_TIME, NULL, &setup->dwell_s, err);
    return status;
}

static quell_status parse_random(quell_simulation *setup, const quell_parts *parts, quell_error *err)
{
    setup->excitation = QUELL_EXCITE_RANDOM;
    return quell_quantity_parse(parts->part[1], QUELL_ACCELERATION, NULL, &setup->random_rms_mps2, err);
}

static quell_status parse_ambient(quell_simulation *setup, const quell_parts *parts, quell_error *err)
{
    quell_status status = parse_random(setup, parts, err);
    setup->excitation = QUELL_EXCITE_AMBIENT;
    return status;
}

static const struct {
    const char *word;
    size_t parts;
    const char *wanted;
    quell_status (*parse)(quell_simulation *setup, const quell_parts *parts, quell_error *err);
} excitations[] = {
    {"sweep", 5, "sweep:START:END:RATE:ACCELERATION such as sweep:12:115:2.5:5m/s2", parse_sweep},
    {"random", 2, "random:LEVEL such as random:3m/s2", parse_random},
    {"stops", 5, "stops:LENGTH:SPEED:ACCELERATION:DWELL such as stops:60mm:200mm/s:4m/s2:0.5s", parse_stops},
    {"ambient", 2, "ambient:LEVEL such as ambient:20mm/s2", parse_ambient},
};

quell_status simulate_spec_excitation(quell_simulation *setup, const char *text, quell_error *err)
{
    static const char wanted[] = "sweep:..., random:..., stops:... or ambient:...";
    quell_parts parts;
    quell_status status = split(&parts, text, ':', wanted, err);
    if (status != QUELL_OK)
        return status;
    for (size_t i = 0; i < sizeof excitations / sizeof excitations[0]; i++)
        if (strcmp(excitations[i].word, parts.part[0]) == 0)
            return parts.count == excitations[i].parts ? excitations[i].parse(setup, &parts, err)
                                                       : refuse(text, excitations[i].wanted, err);
    return refuse(text, wanted, err);
}

const quell_preamble simulate_default_preamble = {
    .rest_s = 3, .strokes = 2, .length_m = 0.06, .speed_mps = 0.12, .acceleration_mps2 = 0.4, .dwell_s = 0.5};

/* The quantities of a preamble; `strokes` is a count and stands apart. */
static const struct {
    const char *word;
    quell_dimension dimension;
    size_t offset;
} preamble_words[] = {
    {"rest", QUELL_TIME, offsetof(quell_preamble, rest_s)},
    {"length", QUELL_LENGTH, offsetof(quell_preamble, length_m)},
    {"speed", QUELL_SPEED, offsetof(quell_preamble, speed_mps)},
    {"acceleration", QUELL_ACCELERATION, offsetof(quell_preamble, acceleration_mps2)},
    {"dwell", QUELL_TIME, offsetof(quell_preamble, dwell_s)},
};

static quell_status preamble_strokes(quell_preamble *preamble, const char *value, quell_error *err)
{
    double count;
    quell_status status = quell_number_parse(value, &count, err);
    if (status != QUELL_OK)
        return status;
    if (!(count >= 0 && count <= 1000 && count == floor(count)))
        return refuse(value, "a whole number of strokes from 0 to 1000", err);
    preamble->strokes = (size_t)count;
    return QUELL_OK;
}

/* "rest=3s" */
static quell_status preamble_part(quell_preamble *preamble, const char *part, quell_error *err)
{
    static const char wanted[] = "rest=, strokes=, length=, speed=, acceleration= or dwell=";
    part += strspn(part, " ");
    const char *equals = strchr(part, '=');
    if (equals == NULL)
        return refuse(part, wanted, err);
    size_t length = (size_t)(equals - part);
    if (length == 7 && memcmp(part, "strokes", 7) == 0)
        return preamble_strokes(preamble, equals + 1, err);
    for (size_t i = 0; i < sizeof preamble_words / sizeof preamble_words[0]; i++)
        if (strlen(preamble_words[i].word) == length && memcmp(part, preamble_words[i].word, length) == 0)
            return quell_quantity_parse(equals + 1, preamble_words[i].dimension, NULL,
                                        (double *)(void *)((char *)preamble + preamble_words[i].offset), err);
    return refuse(part, wanted, err);
}

quell_status simulate_spec_preamble(quell_preamble *preamble, const char *text, quell_error *err)
{
    if (strcmp(text, "none") == 0) {
        *preamble = (quell_preamble){0};
        return QUELL_OK;
    }
    quell_parts parts;
    quell_status status = split(&parts, text, ',', "none or rest=3s,strokes=2,length=60mm,...", err);
    for (size_t i = 0; status == QUELL_OK && i < parts.count; i++)
        status = preamble_part(preamble, parts.part[i], err);
    return status;
}

quell_status simulate_spec_rotation(double rotation_rad[3], const char *text, quell_error *err)
{
    static const char wanted[] = "three angles RX,RY,RZ with a unit such as 12,-7,31 deg";
    quell_parts parts;
    double value[3];
    quell_status status = split(&parts, text, ',', wanted, err);
    if (status != QUELL_OK)
        return status;
    if (parts.count != 3 ||
        quell_quantity_parse(parts.part[2], QUELL_ANGLE, NULL, &value[2], NULL) != QUELL_OK)
        return refuse(text, wanted, err);
    /* the unit stands once, after the third number */
    const char *last = parts.part[2] + strspn(parts.part[2], " ");
    double number;
    size_t used = quell_number_read(last, strlen(last), '.', &number);
    const char *name = last + used + strspn(last + used, " ");
    const quell_unit *unit = quell_unit_find(QUELL_ANGLE, name, strcspn(name, " "));
    for (size_t k = 0; k < 2 && status == QUELL_OK; k++)
        status = quell_number_parse(parts.part[k], &value[k], err);
    if (status != QUELL_OK || unit == NULL)
        return refuse(text, wanted, err);
    rotation_rad[0] = value[0] * unit->si;
    rotation_rad[1] = value[1] * unit->si;
    rotation_rad[2] = value[2];
    return QUELL_OK;
}

quell_status simulate_spec_noise(double *noise_mps2_per_rthz, const char *text, quell_error *err)
{
    static const char wanted[] = "a noise density such as 120ug/rtHz";
    static const char per_root[] = "/rtHz";
    char level[200];
    size_t length = strlen(text), tail = sizeof per_root - 1;
    if (length <= tail || length >= sizeof level || strcmp(text + length - tail, per_root) != 0)
        return refuse(text, wanted, err);
    memcpy(level, text, length - tail);
    level[length - tail] = '\0';
    if (quell_quantity_parse(level, QUELL_ACCELERATION, NULL, noise_mps2_per_rthz, NULL) != QUELL_OK)
        return refuse(text, wanted, err);
    return QUELL_OK;
}
