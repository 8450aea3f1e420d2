/* The reading options that are numbers: --rate and --span; and all of them checked before anything is read. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

static quell_status refuse(const char *option, const char *found, const char *wanted, quell_error *err)
{
    char shown[64];
    return quell_fail(err, QUELL_E_USAGE, "%s: found '%s', want %s", option,
                      quell_printable(shown, sizeof shown, found, strlen(found)), wanted);
}

/* The part of text before the colon, terminated; false if it is too long. */
static bool head_of(char *out, size_t size, const char *text)
{
    size_t length = strcspn(text, ":");
    if (length >= size)
        return false;
    memcpy(out, text, length);
    out[length] = '\0';
    return true;
}

static quell_status read_rate(ingest_settings *out, const char *text, quell_error *err)
{
    static const char wanted[] = "a rate above 0 Hz such as 2000 or 2000:0.5%";
    char head[64];
    double rate_hz = 0, tolerance = 0;
    if (!head_of(head, sizeof head, text) ||
        quell_quantity_parse(head, QUELL_FREQUENCY, "Hz", &rate_hz, NULL) != QUELL_OK)
        return refuse("--rate", text, wanted, err);
    bool has_tolerance = text[strlen(head)] == ':';
    if (has_tolerance &&
        quell_quantity_parse(text + strlen(head) + 1, QUELL_RATIO, NULL, &tolerance, NULL) != QUELL_OK)
        return refuse("--rate", text, wanted, err);
    if (!(rate_hz >= 1e-3 && rate_hz <= 1e9) || !(tolerance >= 0 && tolerance < 1))
        return refuse("--rate", text, wanted, err);
    out->rate_hz = rate_hz;
    out->tolerance = tolerance;
    out->has_tolerance = has_tolerance;
    return QUELL_OK;
}

/* A:B; either side may be left empty. */
static quell_status read_span(ingest_settings *out, const char *text, quell_error *err)
{
    static const char wanted[] = "seconds from the start such as 3:40, the first below the second";
    const char *colon = strchr(text, ':');
    char head[64];
    if (colon == NULL || !head_of(head, sizeof head, text))
        return refuse("--span", text, wanted, err);
    double from_s = 0, to_s = INFINITY;
    if (head[0] != '\0' && quell_quantity_parse(head, QUELL_TIME, "s", &from_s, NULL) != QUELL_OK)
        return refuse("--span", text, wanted, err);
    if (colon[1] != '\0' && quell_quantity_parse(colon + 1, QUELL_TIME, "s", &to_s, NULL) != QUELL_OK)
        return refuse("--span", text, wanted, err);
    if (!(from_s >= 0 && from_s < to_s))
        return refuse("--span", text, wanted, err);
    out->span_s[0] = from_s;
    out->span_s[1] = to_s;
    return QUELL_OK;
}

quell_status ingest_settings_read(ingest_settings *out, const quell_read_options *options, quell_error *err)
{
    ingest_settings settings = {.span_s = {0, INFINITY}, .span = options->span, .threads = options->threads};
    quell_status status = QUELL_OK;
    if (options->rate != NULL)
        status = read_rate(&settings, options->rate, err);
    if (status == QUELL_OK && options->span != NULL)
        status = read_span(&settings, options->span, err);
    if (status == QUELL_OK)
        status = ingest_time_unit_option(&settings.time_unit, options, err);
    if (status == QUELL_OK)
        status = ingest_unit_option(&settings.unit, options, err);
    if (status == QUELL_OK && options->mount != NULL)
        status = ingest_mount_parse(&(quell_mounting){0}, options->mount, err);
    if (status == QUELL_OK)
        *out = settings;
    return status;
}
