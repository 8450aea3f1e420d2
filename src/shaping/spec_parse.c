/* Reads shaper specifications: FAMILY:HZ[:ZETA[:V]], impulses:A@T,A@T,..., none, and products of these. */
#include "shaping/shaping_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* A stretch of the specification. */
typedef struct piece {
    const char *text;
    size_t length;
} piece;

static piece trim(piece from)
{
    while (from.length > 0 && (from.text[0] == ' ' || from.text[0] == '\t')) {
        from.text++;
        from.length--;
    }
    while (from.length > 0 && (from.text[from.length - 1] == ' ' || from.text[from.length - 1] == '\t'))
        from.length--;
    return from;
}

/* Takes the text before the next separator off `rest`; *more tells whether there was a separator. */
static piece take(piece *rest, char separator, bool *more)
{
    const char *end = memchr(rest->text, separator, rest->length);
    piece taken = {rest->text, end != NULL ? (size_t)(end - rest->text) : rest->length};
    *more = end != NULL;
    size_t used = taken.length + (end != NULL ? 1 : 0);
    rest->text += used;
    rest->length -= used;
    return trim(taken);
}

static bool is(piece p, const char *word)
{
    return p.length == strlen(word) && memcmp(p.text, word, p.length) == 0;
}

enum { SHOWN = 64 };

static const char *show(char out[SHOWN], piece p)
{
    return quell_printable(out, SHOWN, p.text, p.length);
}

/* The piece as a quantity. what: "frequency"; for the message. */
static quell_status read_value(piece p, const char *what, quell_dimension dimension, const char *bare_unit,
                               double *out, quell_error *err)
{
    char copy[SHOWN], shown[SHOWN];
    quell_error inner = {0};
    if (p.length >= sizeof copy)
        return quell_fail(err, QUELL_E_USAGE, "%s: found '%s', want a number", what, show(shown, p));
    memcpy(copy, p.text, p.length);
    copy[p.length] = '\0';
    if (quell_quantity_parse(copy, dimension, bare_unit, out, &inner) != QUELL_OK)
        return quell_fail(err, QUELL_E_USAGE, "%s: %s", what, inner.text);
    return QUELL_OK;
}

static quell_status unknown_family(piece name, quell_error *err)
{
    char known[256] = "", shown[SHOWN];
    size_t count, used = 0;
    const quell_family *family = quell_families(&count);
    for (size_t i = 0; i < count && used < sizeof known; i++) {
        int more = snprintf(known + used, sizeof known - used, "%s ", family[i].id);
        used += more > 0 ? (size_t)more : 0;
    }
    return quell_fail(err, QUELL_E_USAGE, "unknown family '%s', want one of %simpulses none",
                      show(shown, name), known);
}

/* What follows FAMILY: HZ[:ZETA[:V]]. */
static quell_status read_point(piece rest, bool present, const char *id, quell_design_point *out,
                               quell_error *err)
{
    static const struct {
        const char *what, *bare_unit;
        quell_dimension dimension;
    } fields[] = {{"frequency", "Hz", QUELL_FREQUENCY},
                  {"damping ratio", "", QUELL_RATIO},
                  {"tolerance", "", QUELL_RATIO}};
    double value[] = {0, 0, QUELL_TOLERANCE_DEFAULT}; /* a frequency there must be */
    if (!present)
        return quell_fail(err, QUELL_E_USAGE, "no frequency, want %s:HZ[:ZETA[:V]]", id);
    bool more = true;
    for (size_t i = 0; more; i++) {
        if (i == sizeof fields / sizeof fields[0])
            return quell_fail(err, QUELL_E_USAGE, "too many values, want %s:HZ[:ZETA[:V]]", id);
        piece field = take(&rest, ':', &more);
        if (field.length == 0)
            return quell_fail(err, QUELL_E_USAGE, "%s is empty, want %s:HZ[:ZETA[:V]]", fields[i].what, id);
        quell_status status =
            read_value(field, fields[i].what, fields[i].dimension, fields[i].bare_unit, &value[i], err);
        if (status != QUELL_OK)
            return status;
    }
    *out = (quell_design_point){value[0], value[1], value[2]};
    return QUELL_OK;
}

/* One A@T appended to out, checked against the one before it. */
static quell_status add_impulse(quell_shaper *out, piece entry, quell_error *err)
{
    char shown[SHOWN], before[32];
    const size_t i = out->count;
    if (i == QUELL_SHAPER_MAX)
        return quell_fail(err, QUELL_E_USAGE, "more than %d impulses, which is the most taken",
                          QUELL_SHAPER_MAX);
    if (memchr(entry.text, '@', entry.length) == NULL)
        return quell_fail(err, QUELL_E_USAGE, "impulse %zu: found '%s', want A@T such as 0.5@0.0125", i + 1,
                          show(shown, entry));
    bool more;
    piece time = entry;
    piece amplitude = take(&time, '@', &more);
    char what[40];
    double a, t;
    snprintf(what, sizeof what, "amplitude of impulse %zu", i + 1);
    quell_status status = read_value(amplitude, what, QUELL_RATIO, "", &a, err);
    snprintf(what, sizeof what, "time of impulse %zu", i + 1);
    if (status == QUELL_OK)
        status = read_value(trim(time), what, QUELL_TIME, "s", &t, err);
    if (status != QUELL_OK)
        return status;
    if (fabs(a) > QUELL_IMPULSE_MAX)
        return quell_fail(err, QUELL_E_USAGE, "amplitude of impulse %zu is %s, want at most %g in magnitude",
                          i + 1, show(shown, amplitude), QUELL_IMPULSE_MAX);
    if (i == 0 && t != 0)
        return quell_fail(err, QUELL_E_USAGE, "time of the first impulse is %s, want 0",
                          show(shown, trim(time)));
    if (i > 0 && !(t > out->time_s[i - 1]))
        return quell_fail(
            err, QUELL_E_USAGE, "time of impulse %zu is %s, want more than the %s s of the one before", i + 1,
            show(shown, trim(time)), quell_number_print(before, sizeof before, out->time_s[i - 1], 6));
    if (t > QUELL_IMPULSE_TIME_MAX_S)
        return quell_fail(err, QUELL_E_USAGE, "time of impulse %zu is %s, want at most %g s", i + 1,
                          show(shown, trim(time)), QUELL_IMPULSE_TIME_MAX_S);
    out->amplitude[i] = a;
    out->time_s[i] = t;
    out->count++;
    return QUELL_OK;
}

static quell_status read_impulses(quell_shaper *out, piece rest, bool present, quell_error *err)
{
    *out = (quell_shaper){0};
    if (!present || rest.length == 0)
        return quell_fail(err, QUELL_E_USAGE, "no impulses, want impulses:A@T,A@T,... (T in s)");
    for (bool more = true; more;) {
        quell_status status = add_impulse(out, take(&rest, ',', &more), err);
        if (status != QUELL_OK)
            return status;
    }
    double sum = 0;
    for (size_t i = 0; i < out->count; i++)
        sum += out->amplitude[i];
    char shown[32];
    if (!(fabs(sum - 1) <= 1e-6))
        return quell_fail(err, QUELL_E_USAGE, "amplitudes sum to %s, want 1",
                          quell_number_print(shown, sizeof shown, sum, 9));
    for (size_t i = 0; i < out->count; i++)
        out->amplitude[i] /= sum;
    return QUELL_OK;
}

/* One factor of the product. */
static quell_status read_part(quell_shaper *out, piece part, quell_error *err)
{
    if (part.length == 0)
        return quell_fail(err, QUELL_E_USAGE, "nothing there, want FAMILY:HZ[:ZETA[:V]]");
    bool more;
    piece name = take(&part, ':', &more);
    if (is(name, "impulses"))
        return read_impulses(out, part, more, err);
    if (is(name, "none")) {
        if (more)
            return quell_fail(err, QUELL_E_USAGE, "'none' is no shaper and takes no values");
        quell_shaper_identity(out);
        return QUELL_OK;
    }
    char id[SHOWN] = "";
    if (name.length < sizeof id)
        memcpy(id, name.text, name.length);
    id[name.length < sizeof id ? name.length : 0] = '\0';
    const quell_family *family = quell_family_find(id);
    if (family == NULL)
        return unknown_family(name, err);
    quell_design_point at;
    quell_status status = read_point(part, more, family->id, &at, err);
    return status == QUELL_OK ? quell_shaper_design(out, family, &at, err) : status;
}

quell_status quell_shaper_parse(quell_shaper *out, const char *spec, quell_error *err)
{
    quell_shaper product, factor;
    quell_shaper_identity(&product);
    piece rest = {spec, strlen(spec)};
    const bool single = strchr(spec, '*') == NULL;
    bool more = true;
    for (size_t i = 1; more; i++) {
        quell_error inner = {0};
        char shown[SHOWN];
        piece part = take(&rest, '*', &more);
        quell_status status = read_part(&factor, part, &inner);
        if (status == QUELL_OK)
            status = quell_shaper_convolve(&product, &product, &factor, &inner);
        if (status != QUELL_OK && single)
            return quell_fail(err, status, "shaper '%s': %s", show(shown, part), inner.text);
        if (status != QUELL_OK)
            return quell_fail(err, status, "factor %zu of the shaper, '%s': %s", i, show(shown, part),
                              inner.text);
    }
    *out = product;
    return QUELL_OK;
}
