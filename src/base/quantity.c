/* Quantities: a number and a unit. One table of units serves the command line, the machine file and column heads. */
#include "quell/base.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const quell_unit units[] = {
    {"", QUELL_RATIO, 1},
    {"%", QUELL_RATIO, 0.01},
    {"Hz", QUELL_FREQUENCY, 1},
    {"kHz", QUELL_FREQUENCY, 1e3},
    {"rad/s", QUELL_FREQUENCY, 1 / QUELL_TAU},
    {"s", QUELL_TIME, 1},
    {"ms", QUELL_TIME, 1e-3},
    {"us", QUELL_TIME, 1e-6},
    {"ns", QUELL_TIME, 1e-9},
    {"mm", QUELL_LENGTH, 1e-3},
    {"um", QUELL_LENGTH, 1e-6},
    {"m", QUELL_LENGTH, 1},
    {"mm/s", QUELL_SPEED, 1e-3},
    {"m/s", QUELL_SPEED, 1},
    {"mm/min", QUELL_SPEED, 1e-3 / 60},
    {"mm/s2", QUELL_ACCELERATION, 1e-3},
    {"m/s2", QUELL_ACCELERATION, 1},
    {"g", QUELL_ACCELERATION, QUELL_STANDARD_GRAVITY_MPS2},
    {"mg", QUELL_ACCELERATION, QUELL_STANDARD_GRAVITY_MPS2 * 1e-3},
    {"ug", QUELL_ACCELERATION, QUELL_STANDARD_GRAVITY_MPS2 * 1e-6},
    {"g", QUELL_MASS, 1e-3},
    {"kg", QUELL_MASS, 1},
    {"deg", QUELL_ANGLE, QUELL_PI / 180},
    {"rad", QUELL_ANGLE, 1},
    {"mm/s3", QUELL_JERK, 1e-3},
    {"m/s3", QUELL_JERK, 1},
};

static const struct {
    const char *noun, *example;
} dimensions[] = {
    [QUELL_RATIO] = {"a ratio", "5% or 0.05"},
    [QUELL_FREQUENCY] = {"a frequency with its unit", "47.3 Hz"},
    [QUELL_TIME] = {"a time with its unit", "0.05 ms"},
    [QUELL_LENGTH] = {"a length with its unit", "0.15 mm"},
    [QUELL_SPEED] = {"a speed with its unit", "200 mm/s"},
    [QUELL_ACCELERATION] = {"an acceleration with its unit", "6000 mm/s2"},
    [QUELL_MASS] = {"a mass with its unit", "900 g"},
    [QUELL_ANGLE] = {"an angle with its unit", "90 deg"},
    [QUELL_JERK] = {"a jerk with its unit", "100 m/s3"},
};

/* name in the one spelling the table uses: micro sign or Greek mu as u, superscript two or ^2 as 2, the degree
   sign as deg. Returns false if it cannot be a unit. */
static bool plain_spelling(char *out, size_t size, const char *name, size_t length)
{
    static const struct {
        const char *from, *to;
    } spelling[] = {{"\xc2\xb5", "u"},   {"\xce\xbc", "u"}, {"\xc2\xb2", "2"}, {"^2", "2"},
                    {"\xc2\xb3", "3"},   {"^3", "3"}, {"\xb3", "3"}, {"\xc2\xb0", "deg"}, {"\xb5", "u"},     {"\xb2", "2"},     {"\xb0", "deg"}};
    size_t used = 0;
    if (memchr(name, '\0', length) != NULL)
        return false;
    for (size_t i = 0; i < length;) {
        const char *piece = NULL;
        for (size_t s = 0; s < sizeof spelling / sizeof spelling[0] && piece == NULL; s++) {
            size_t n = strlen(spelling[s].from);
            if (n <= length - i && memcmp(name + i, spelling[s].from, n) == 0) {
                piece = spelling[s].to;
                i += n;
            }
        }
        char single[2] = {piece == NULL ? name[i++] : '\0', '\0'};
        const char *add = piece != NULL ? piece : single;
        if (used + strlen(add) >= size)
            return false;
        memcpy(out + used, add, strlen(add));
        used += strlen(add);
    }
    out[used] = '\0';
    if (strcmp(out, "hz") == 0 || strcmp(out, "HZ") == 0)
        memcpy(out, "Hz", 3);
    return true;
}

const quell_unit *quell_unit_find(quell_dimension dimension, const char *name, size_t length)
{
    char plain[16];
    if (!plain_spelling(plain, sizeof plain, name, length))
        return NULL;
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
        if (units[i].dimension == dimension && strcmp(units[i].name, plain) == 0)
            return &units[i];
    return NULL;
}

static size_t blanks(const char *text)
{
    return strspn(text, " \t");
}

static size_t trimmed_length(const char *text)
{
    size_t length = strlen(text);
    while (length > 0 && (text[length - 1] == ' ' || text[length - 1] == '\t'))
        length--;
    return length;
}

static quell_status refuse(quell_error *err, const char *text, quell_dimension dimension, const char *shape)
{
    char shown[64];
    return quell_fail(err, QUELL_E_USAGE, "found '%s', want %s%s such as %s",
                      quell_printable(shown, sizeof shown, text, strlen(text)), shape,
                      dimensions[dimension].noun, dimensions[dimension].example);
}

quell_status quell_quantity_parse(const char *text, quell_dimension dimension, const char *bare_unit,
                                  double *si, quell_error *err)
{
    const char *at = text + blanks(text);
    double value;
    size_t used = quell_number_read(at, strlen(at), '.', &value);
    if (used == 0 || !isfinite(value))
        return refuse(err, text, dimension, "");
    at += used;
    at += blanks(at);
    size_t length = trimmed_length(at);
    const quell_unit *unit = length == 0 && bare_unit != NULL
                                 ? quell_unit_find(dimension, bare_unit, strlen(bare_unit))
                                 : quell_unit_find(dimension, at, length);
    if (unit == NULL || !isfinite(value * unit->si))
        return refuse(err, text, dimension, "");
    *si = value * unit->si;
    return QUELL_OK;
}

quell_status quell_quantity_parse_range(const char *text, quell_dimension dimension, double *low_si,
                                        double *high_si, quell_error *err)
{
    const char *at = text + blanks(text);
    double low, high;
    size_t used = quell_number_read(at, strlen(at), '.', &low);
    /* "10..150": the first point of the two was read as a decimal point */
    if (used > 0 && at[used - 1] == '.')
        used--;
    const char *dots = at + used + blanks(at + used);
    if (used == 0 || strncmp(dots, "..", 2) != 0)
        return refuse(err, text, dimension, "LOW..HIGH of ");
    const quell_unit *unit = NULL;
    const char *second = dots + 2 + blanks(dots + 2);
    size_t second_used = quell_number_read(second, strlen(second), '.', &high);
    if (second_used > 0) {
        const char *name = second + second_used + blanks(second + second_used);
        unit = quell_unit_find(dimension, name, trimmed_length(name));
    }
    if (unit == NULL || !isfinite(low * unit->si) || !isfinite(high * unit->si))
        return refuse(err, text, dimension, "LOW..HIGH of ");
    if (low > high)
        return refuse(err, text, dimension, "the lower number first: LOW..HIGH of ");
    *low_si = low * unit->si;
    *high_si = high * unit->si;
    return QUELL_OK;
}
