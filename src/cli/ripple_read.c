/* quell ripple: what was measured on the part, from the options. */
#include "cli/ripple_view.h"

#include <math.h>
#include <string.h>

enum { TEXT_MOST = 63 };

/* Part of a text as a text; false if it is empty or too long. */
static bool cut(const char *from, size_t length, char out[TEXT_MOST + 1])
{
    if (length == 0 || length > TEXT_MOST)
        return false;
    memcpy(out, from, length);
    out[length] = '\0';
    return true;
}

static quell_status refuse(cli_run *run, const char *option, const char *text, const char *wanted)
{
    char shown[64];
    return quell_fail(&run->err, QUELL_E_USAGE, "option %s: found '%s', want %s", option,
                      quell_printable(shown, sizeof shown, text, strlen(text)), wanted);
}

/* SPEED:LENGTH. */
static quell_status read_reading(cli_run *run, const char *text, quell_part_reading *out)
{
    quell_parts parts;
    if (!quell_split(&parts, text, ':') || parts.count != 2 ||
        quell_quantity_parse(parts.part[0], QUELL_SPEED, NULL, &out->speed_mps, NULL) != QUELL_OK ||
        quell_quantity_parse(parts.part[1], QUELL_LENGTH, NULL, &out->length_m, NULL) != QUELL_OK)
        return refuse(run, "--at", text, "SPEED:LENGTH with their units, such as 100mm/s:2.11mm");
    return QUELL_OK;
}

static quell_status read_readings(cli_run *run, ripple_view *view)
{
    const cli_list *at = &run->given.ripple.at;
    if (at->count > QUELL_PART_MAX)
        return quell_fail(&run->err, QUELL_E_USAGE, "option --at: given %zu times, want %d at most", at->count,
                          (int)QUELL_PART_MAX);
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < at->count && status == QUELL_OK; i++)
        status = read_reading(run, at->item[i], &view->part.reading[view->part.readings++]);
    return status;
}

/* "12,8,5um": the last one's unit serves those that have none. */
static quell_status read_heights(cli_run *run, ripple_view *view)
{
    static const char *const wanted = "heights of successive ripples from the corner on, such as 12,8,5um, 16 at most";
    const char *text = run->given.ripple.heights;
    if (text == NULL)
        return QUELL_OK;
    const char *last = strrchr(text, ',');
    last = last != NULL ? last + 1 : text;
    double unit_m = (double)NAN, value;
    size_t digits = quell_number_read(last, strlen(last), '.', &value);
    const char *name = last + digits + strspn(last + digits, " ");
    const quell_unit *unit = quell_unit_find(QUELL_LENGTH, name, strlen(name));
    if (digits == 0 || unit == NULL)
        return refuse(run, "--heights", text, wanted);
    unit_m = unit->si;
    for (const char *from = text;; from += strcspn(from, ",") + 1) {
        char one[TEXT_MOST + 1];
        double *to = &view->part.height_m[view->part.heights];
        if (view->part.heights == QUELL_PART_MAX || !cut(from, strcspn(from, ","), one))
            return refuse(run, "--heights", text, wanted);
        if (quell_number_parse(one, &value, NULL) == QUELL_OK)
            *to = value * unit_m;
        else if (quell_quantity_parse(one, QUELL_LENGTH, NULL, to, NULL) != QUELL_OK)
            return refuse(run, "--heights", text, wanted);
        view->part.heights++;
        if (from[strcspn(from, ",")] == '\0')
            return QUELL_OK;
    }
}

/* A length with its unit; out as it is where there is none. */
static quell_status read_length(cli_run *run, const char *option, const char *text, double *out)
{
    if (text == NULL)
        return QUELL_OK;
    if (quell_quantity_parse(text, QUELL_LENGTH, NULL, out, NULL) != QUELL_OK)
        return refuse(run, option, text, "a length with its unit, such as 0.05mm");
    return QUELL_OK;
}

quell_status ripple_read(cli_run *run, ripple_view *view)
{
    quell_part *part = &view->part;
    part->ripples = isnan(run->given.ripple.count) ? 1 : run->given.ripple.count;
    part->length_error_m = RIPPLE_CALLIPER_M;
    part->belt_pitch_m = (double)NAN;
    part->pulley_teeth = run->given.ripple.pulley_teeth;
    part->steps_per_turn = run->given.ripple.steps_per_turn;
    part->one_sided = run->given.ripple.one_sided;
    view->calliper_assumed = run->given.ripple.calliper == NULL;
    quell_status status = read_readings(run, view);
    if (status == QUELL_OK)
        status = read_heights(run, view);
    if (status == QUELL_OK)
        status = read_length(run, "--calliper", run->given.ripple.calliper, &part->length_error_m);
    if (status == QUELL_OK)
        status = read_length(run, "--belt-pitch", run->given.ripple.belt_pitch, &part->belt_pitch_m);
    if (status == QUELL_OK && part->readings == 0 && part->heights == 0 && !part->one_sided)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "nothing of the part is given, want --at SPEED:LENGTH at two speeds, --heights or --one-sided");
    return status;
}
