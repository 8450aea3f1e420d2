/* What shook the machine, as a person states it: a word, or a sweep with its numbers. */
#include "quell/modes.h"

#include <math.h>
#include <string.h>

enum { SWEEP_PARTS = 5 };

static quell_status refuse(const char *text, quell_error *err)
{
    char shown[64];
    return quell_fail(
        err, QUELL_E_USAGE,
        "found '%s', want sweep, sweep:F0:F1:RATE, sweep:F0:F1:RATE:ACCEL, random, stops or ambient",
        quell_printable(shown, sizeof shown, text, strlen(text)));
}

/* Hertz per second; the unit may be left out, as that of the frequencies beside it. */
static quell_status read_rate(double *out, const char *text, quell_error *err)
{
    size_t used = quell_number_read(text, strlen(text), '.', out);
    const char *rest = text + used + strspn(text + used, " ");
    if (used > 0 && isfinite(*out) && (rest[0] == '\0' || strcmp(rest, "Hz/s") == 0))
        return QUELL_OK;
    char shown[64];
    return quell_fail(err, QUELL_E_USAGE, "found '%s', want a sweep rate such as 2.5 Hz/s",
                      quell_printable(shown, sizeof shown, text, strlen(text)));
}

static quell_status read_sweep(quell_shaking *out, const quell_parts *parts, quell_error *err)
{
    char *const *part = parts->part;
    quell_sweep *sweep = &out->sweep;
    sweep->acceleration_mps2 = 1;
    quell_status status = quell_quantity_parse(part[1], QUELL_FREQUENCY, "Hz", &sweep->start_hz, err);
    if (status == QUELL_OK)
        status = quell_quantity_parse(part[2], QUELL_FREQUENCY, "Hz", &sweep->end_hz, err);
    if (status == QUELL_OK)
        status = read_rate(&sweep->rate_hz_per_s, part[3], err);
    if (status == QUELL_OK && parts->count == SWEEP_PARTS)
        status = quell_quantity_parse(part[4], QUELL_ACCELERATION, NULL, &sweep->acceleration_mps2, err);
    if (status == QUELL_OK)
        status = quell_motion_check_sweep(sweep, err);
    out->sweep_known = true;
    out->acceleration_known = parts->count == SWEEP_PARTS;
    return status;
}

quell_status quell_shaking_parse(quell_shaking *out, const char *text, quell_error *err)
{
    quell_parts parts;
    quell_shaking made = {.stated = true, .why = "as stated", .sweep.acceleration_mps2 = 1};
    if (!quell_split(&parts, text, ':') || !quell_excitation_find(&made.kind, parts.part[0]))
        return refuse(text, err);
    bool numbers = made.kind == QUELL_EXCITE_SWEEP && (parts.count == SWEEP_PARTS - 1 || parts.count == SWEEP_PARTS);
    quell_status status = numbers             ? read_sweep(&made, &parts, err)
                          : parts.count == 1 ? QUELL_OK
                                              : refuse(text, err);
    if (status == QUELL_OK)
        *out = made;
    return status;
}
