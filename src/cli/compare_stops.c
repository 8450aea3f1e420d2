/* Ringing after stops in `quell compare`. */
#include "cli/compare_stops.h"

#include <math.h>

enum { WIDTH = 79 };

static const quell_side *sides_of(const cli_run *run, const cli_recording *loaded, size_t count)
{
    quell_side *side = QUELL_NEW(run->arena, quell_side, count);
    for (size_t i = 0; side != NULL && i < count; i++)
        side[i] = (quell_side){&loaded[i].recording, &loaded[i].mounting, &loaded[i].fitness};
    return side;
}

quell_status compare_stops_make(cli_run *run, const cli_recording *before, size_t befores, const cli_recording *after,
                                size_t afters, size_t axis, const quell_modes *known, quell_stops_comparison *out)
{
    double band_hz[2];
    bool given = false;
    quell_shaking stated = {0};
    quell_status status = cli_band(run, band_hz, &run->err);
    if (status == QUELL_OK)
        status = cli_excitation(run, &given, &stated);
    if (status != QUELL_OK)
        return status;
    const quell_side *was = sides_of(run, before, befores), *is = sides_of(run, after, afters);
    if (was == NULL || is == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu recordings", befores + afters);
    return quell_stops_compare(was, befores, is, afters, axis, given ? &stated : NULL, band_hz, known, run->arena, out,
                               &run->err);
}

/* ---------------------------------------------------------------- table */

static int decimals_um(double um)
{
    return um < 0.95 ? 2 : um < 95 ? 1 : 0;
}

static void add_amplitude(quell_table *table, const quell_stops_amplitude *of)
{
    double um = 1e6 * of->amplitude_m, low = 1e6 * of->ci95_m[0], high = 1e6 * of->ci95_m[1];
    if (isnan(high))
        quell_table_cell(table, "%s", quell_number_fixed(um, decimals_um(um)).text);
    else if (!of->seen)
        quell_table_cell(table, "under %s", quell_number_fixed(fmax(high, 0.01), decimals_um(high)).text);
    else
        quell_table_cell(table, "%s (%s..%s)", quell_number_fixed(um, decimals_um(um)).text,
                         quell_number_fixed(low, decimals_um(um)).text, quell_number_fixed(high, decimals_um(um)).text);
}

static void add_row(quell_table *table, const char *name, const quell_stops_change *change)
{
    quell_table_cell(table, "%s", name);
    add_amplitude(table, &change->before);
    add_amplitude(table, &change->after);
    double low = 1e6 * change->change_ci95_m[0], high = 1e6 * change->change_ci95_m[1], um = 1e6 * change->change_m;
    int decimals = decimals_um(fabs(um));
    if (isnan(low) || isnan(high))
        quell_table_cell(table, "%s", quell_number_fixed(um, decimals).text);
    else
        quell_table_cell(table, "%s..%s", quell_number_fixed(low, decimals).text, quell_number_fixed(high, decimals).text);
    quell_table_cell(table, "%s", isnan(change->p_holm) ? "-" : change->p_holm < 0.001 ? "< 0.001" : quell_number_fixed(change->p_holm, 3).text);
    quell_table_cell(table, "%s", change->counts ? "yes" : "no");
}

static void add_mode(quell_table *table, const quell_stops_change *change)
{
    char name[96], was[32], is[32];
    quell_number_print_fixed(was, sizeof was, change->before.frequency_hz, 1);
    quell_number_print_fixed(is, sizeof is, change->after.frequency_hz, 1);
    bool moved = fabs(change->after.frequency_hz - change->before.frequency_hz) > 0.005 * change->before.frequency_hz;
    snprintf(name, sizeof name, moved ? "%s Hz, then %s" : "%s Hz", was, is);
    add_row(table, name, change);
}

/* "p < 0.001" and yet "no" wants a reason. */
static bool shown_but_small(const quell_stops_change *change)
{
    return change->p_holm < QUELL_CHANGE_ALPHA && !change->counts && fabs(change->change_m) < QUELL_CHANGE_MIN_M;
}

void compare_stops_print(cli_run *run, const quell_stops_comparison *stops)
{
    static const quell_column columns[] = {{"after stops", "", true}, {"before", "um", false}, {"after", "um", false},
                                           {"change", "um", false},   {"p", "Holm", false},    {"counts", "", false}};
    quell_table *table = quell_table_create(run->arena, columns, 6);
    if (stops->modes > 1)
        add_row(table, "all modes", &stops->all);
    for (size_t k = 0; k < stops->modes; k++)
        add_mode(table, &stops->mode[k]);
    size_t small = shown_but_small(&stops->all);
    for (size_t k = 0; k < stops->modes; k++)
        small += shown_but_small(&stops->mode[k]);
    quell_table_print(table, stdout, 0);
    if (small > 0)
        printf("a change counts from %s um on\n", quell_number_short(1e6 * QUELL_CHANGE_MIN_M, 3).text);
}

void compare_stops_words(cli_run *run, const quell_stops_comparison *stops)
{
    const char *text = stops->text;
    if (stops->groups > 1)
        text = quell_arena_print(run->arena, "%s Strokes of %zu kinds, by direction, length and speed, are compared each with its like.",
                                 text, stops->groups);
    if (!stops->alike && text != NULL)
        text = quell_arena_print(run->arena, "%s Strokes before are %s mm at %s mm/s on the average, after %s mm at %s mm/s.", text,
                                 quell_number_fixed(1e3 * stops->before_stroke_m, 0).text,
                                 quell_number_fixed(1e3 * stops->before_speed_mps, 0).text,
                                 quell_number_fixed(1e3 * stops->after_stroke_m, 0).text,
                                 quell_number_fixed(1e3 * stops->after_speed_mps, 0).text);
    quell_words_print(stdout, "", "", WIDTH, text != NULL ? text : stops->text);
    quell_words_print(stdout, "", "", WIDTH,
                      "It is motion of the carriage at the sensor, along the driven axis: nozzle, bead and extrusion smooth it "
                      "further.");
}

/* ---------------------------------------------------------------- JSON */

static void add_interval(quell_json *json, json_t *in, const char *key, const double ci95[2], double factor)
{
    const double scaled[2] = {factor * ci95[0], factor * ci95[1]};
    quell_json_interval(json, in, key, scaled);
}

static void add_change(quell_json *json, json_t *in, const quell_stops_change *change)
{
    const double share[2] = {change->ratio_ci95[0] - 1, change->ratio_ci95[1] - 1};
    quell_json_number(json, in, "before_um", 1e6 * change->before.amplitude_m, "not known");
    add_interval(json, in, "before_ci95_um", change->before.ci95_m, 1e6);
    quell_json_bool(json, in, "before_seen", change->before.seen);
    quell_json_number(json, in, "after_um", 1e6 * change->after.amplitude_m, "not known");
    add_interval(json, in, "after_ci95_um", change->after.ci95_m, 1e6);
    quell_json_bool(json, in, "after_seen", change->after.seen);
    quell_json_number(json, in, "change", change->ratio - 1, "too little is seen before");
    quell_json_interval(json, in, "change_ci95", share);
    quell_json_number(json, in, "change_um", 1e6 * change->change_m, "not known");
    add_interval(json, in, "change_ci95_um", change->change_ci95_m, 1e6);
    quell_json_number(json, in, "p_value", change->p_value, "one stop on a side");
    quell_json_number(json, in, "p_holm", change->p_holm, "one stop on a side");
    quell_json_bool(json, in, "counts", change->counts);
}

void compare_stops_json(quell_json *json, json_t *in, const quell_stops_comparison *stops)
{
    if (!stops->measured) {
        quell_json_null(json, in, "stops", stops->why);
        return;
    }
    json_t *object = quell_json_object(json, in, "stops");
    add_change(json, object, &stops->all);
    json_t *modes = quell_json_array(json, object, "modes");
    for (size_t k = 0; k < stops->modes; k++) {
        json_t *item = quell_json_item(json, modes);
        quell_json_number(json, item, "before_hz", stops->mode[k].before.frequency_hz, "");
        quell_json_number(json, item, "after_hz", stops->mode[k].after.frequency_hz, "");
        add_change(json, item, &stops->mode[k]);
    }
    quell_json_integer(json, object, "before_stops", (long long)stops->before_stops);
    quell_json_integer(json, object, "after_stops", (long long)stops->after_stops);
    quell_json_integer(json, object, "before_recordings", (long long)stops->before_recordings);
    quell_json_integer(json, object, "after_recordings", (long long)stops->after_recordings);
    quell_json_integer(json, object, "stroke_kinds", (long long)stops->groups);
    quell_json_bool(json, object, "strokes_alike", stops->alike);
    quell_json_bool(json, object, "short_rests", stops->short_rests);
    quell_json_text(json, object, "text", stops->text);
}
