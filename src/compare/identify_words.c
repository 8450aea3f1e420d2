/* What was identified, in words: what runs, how sure that is, and what the recordings cannot tell. */
#include "compare/compare_private.h"
#include "compare/identify_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define MOVED 3.0 /* misfit by scatter: a few bins are far off, most are not */

/* Decimals that leave two digits of half an interval. */
static int decimals_of(const double ci95[2])
{
    double half = (ci95[1] - ci95[0]) / 2;
    if (!(half > 0))
        return 3;
    int decimals = 1 - (int)floor(log10(half));
    return decimals < 0 ? 0 : decimals > 4 ? 4 : decimals;
}

static void add_interval(compare_text *to, double value, const double ci95[2], const char *unit)
{
    int decimals = decimals_of(ci95);
    compare_add(to, "%s%s (%s to %s)", quell_number_fixed(value, decimals).text, unit, quell_number_fixed(ci95[0], decimals).text,
        quell_number_fixed(ci95[1], decimals).text);
}

static bool is_list(const quell_identified *of)
{
    return strcmp(of->family_id, "impulses") == 0;
}

/* ---------------------------------------------------------------- what cannot be told */

static quell_status cannot(quell_identification *out, const compare_text *phrase, quell_error *err)
{
    if (phrase->text == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for words");
    if (out->cannot_tell_count < QUELL_CANNOT_TELL_MAX && phrase->text[0] != '\0')
        out->cannot_tell[out->cannot_tell_count++] = phrase->text;
    return QUELL_OK;
}

static void say_families(const quell_identification *of, compare_text *to)
{
    size_t named = 0;
    for (size_t i = 1; i < of->alike; i++) {
        const quell_identified *other = &of->candidate[i];
        if (is_list(other) && other->parameters >= of->candidate[0].parameters) /* which can be anything */
            continue;
        compare_add(to, "%s%s", named++ == 0 ? "" : ", ", other->title);
        if (other->has_point)
            compare_add(to, " at %s Hz", quell_number_fixed(other->shaper.at.frequency_hz, 1).text);
    }
    if (named > 0)
        compare_add(to, ": whether it is %s instead of %s", named == 1 ? "this" : "one of these", of->candidate[0].title);
}

static void say_damping(const quell_identified *best, compare_text *to)
{
    if (best->has_point && best->damping_ratio_ci95[1] - best->damping_ratio_ci95[0] > 0.05)
        compare_add(to, "the damping ratio: all from %s to %s fit", quell_number_fixed(best->damping_ratio_ci95[0], 2).text,
            quell_number_fixed(best->damping_ratio_ci95[1], 2).text);
}

static void say_reading(const quell_identification *of, const quell_expected *expected, compare_text *to)
{
    if (of->reading_known || expected == NULL || isnan(expected->told_hz) ||
        strcmp(expected->family_id, of->candidate[0].family_id) != 0)
        return;
    double zeta = expected->damping_ratio;
    if (!(zeta > 0)) {
        compare_add(to, "natural or damped: without damping entered both are the same");
        return;
    }
    const quell_identified *best = &of->candidate[0];
    bool natural = expected->told_hz >= best->frequency_ci95_hz[0] && expected->told_hz <= best->frequency_ci95_hz[1];
    bool damped = expected->told_hz >= best->damped_ci95_hz[0] && expected->told_hz <= best->damped_ci95_hz[1];
    if (of->reading_if_damping_known)
        compare_add(to, "natural or damped, unless the damping ratio entered is the one it uses: then %s",
            of->reading == QUELL_NATURAL ? "natural" : "damped");
    else if (natural || damped)
        compare_add(to, "natural or damped: the two readings of %s Hz differ by %s Hz only, less than is known of it",
            quell_number_short(expected->told_hz, 5).text,
            quell_number_fixed(expected->told_hz * (1 / sqrt(1 - zeta * zeta) - 1), 2).text);
}

static quell_status list_what_cannot_be_told(const quell_ratio *driven, const quell_ratio *other,
                                             const quell_identify_options *options, quell_arena *arena, quell_identification *out,
                                             quell_error *err)
{
    compare_text phrase[5];
    for (size_t i = 0; i < 5; i++)
        phrase[i] = (compare_text){arena, ""};
    const quell_identified *best = &out->candidate[0];
    if (out->in_effect == QUELL_TELLS_YES) {
        say_families(out, &phrase[0]);
        say_damping(best, &phrase[1]);
        say_reading(out, options->expected, &phrase[2]);
        if (is_list(best))
            compare_add(&phrase[3], "the order of the impulses: backwards they leave the same densities, and so do a few other lists");
    } else if (out->in_effect == QUELL_TELLS_NO && other == NULL) {
        compare_add(&phrase[4], "whether a shaper acts on axis %c, which these recordings do not move", driven->axis == 0 ? 'y' : 'x');
    }
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < 5 && status == QUELL_OK; i++)
        status = cannot(out, &phrase[i], err);
    return status;
}

/* ---------------------------------------------------------------- the verdict */

static void say_list(compare_text *to, const quell_shaper *list)
{
    compare_add(to, "a list of %zu impulses:", list->count);
    for (size_t i = 0; i < list->count; i++)
        compare_add(to, "%s %s at %s ms", i == 0 ? "" : ",", quell_number_fixed(list->amplitude[i], 3).text,
            quell_number_fixed(1e3 * list->time_s[i], 2).text);
}

static void say_what_runs(const quell_identification *of, compare_text *to)
{
    const quell_identified *best = &of->candidate[0];
    compare_add(to, "On axis %c it runs ", "xyz"[of->axis]);
    if (is_list(best)) {
        say_list(to, &best->shaper);
        compare_add(to, "; no family known here explains it as well.");
        return;
    }
    compare_add(to, "%s", best->title);
    if (best->shaper.family != NULL && (best->shaper.family->flags & QUELL_FAMILY_TOLERANCE) != 0)
        compare_add(to, " with V %s", quell_number_short(best->shaper.at.tolerance, 3).text);
    compare_add(to, " at a natural frequency of ");
    add_interval(to, best->shaper.at.frequency_hz, best->frequency_ci95_hz, " Hz");
    compare_add(to, ", which is a damped one of ");
    double zeta = best->shaper.at.damping_ratio;
    add_interval(to, best->shaper.at.frequency_hz * sqrt(1 - zeta * zeta), best->damped_ci95_hz, " Hz");
    compare_add(to, "; damping ratio ");
    add_interval(to, zeta, best->damping_ratio_ci95, "");
    compare_add(to, ".");
}

/* Of the same family: which of its numbers are read how. */
static void say_numbers_entered(const quell_identification *of, const quell_expected *expected, compare_text *to)
{
    double zeta = expected->damping_ratio, hz = expected->told_hz, root = sqrt(1 - zeta * zeta);
    const char *told = "";
    if (of->reading_known && of->reading == QUELL_NATURAL)
        compare_add(to, " The %s Hz entered are its natural frequency; read as damped it would run %s Hz.",
            quell_number_short(hz, 6).text, quell_number_fixed(hz / root, 2).text);
    else if (of->reading_known)
        compare_add(to, " The %s Hz entered are its damped frequency, not the natural one: read so, the damped one would be %s Hz.",
            quell_number_short(hz, 6).text, quell_number_fixed(hz * root, 2).text);
    else if (of->agrees == QUELL_TELLS_NO && !of->reading_if_damping_known)
        told = " Its frequency is not the one entered, in either reading.";
    compare_add(to, "%s", told);
    if (of->uses_damping == QUELL_TELLS_NO)
        compare_add(to, " It does not use the damping ratio of %s entered.", quell_number_short(zeta, 4).text);
    else if (of->uses_damping == QUELL_TELLS_YES && zeta > 0)
        compare_add(to, " Its damping ratio agrees with the one entered.");
}

static void say_expected(const quell_identification *of, const quell_expected *expected, compare_text *to)
{
    bool same = !isnan(expected->told_hz) && strcmp(expected->family_id, of->candidate[0].family_id) == 0;
    if (of->agrees == QUELL_TELLS_YES)
        compare_add(to, " That agrees with what was entered.");
    else if (of->agrees == QUELL_TELLS_NOT)
        compare_add(to, " Whether that is what was entered cannot be told.");
    else if (!same)
        compare_add(to, "%s", strcmp(expected->family_id, "none") == 0 ? " That contradicts what was entered: no shaper."
                                                             : " That is not what was entered.");
    if (same)
        say_numbers_entered(of, expected, to);
}

static void say_not_in_effect(const quell_ratio *driven, const quell_ratio *other, const quell_identification *of, compare_text *to)
{
    double low = driven->frequency_hz[0], high = driven->frequency_hz[driven->bins - 1];
    compare_add(to, "No shaper is in effect on axis %c: from %.0f to %.0f Hz both sides are alike within %s dB.", "xyz"[driven->axis],
        low, high, quell_number_fixed(fmax(of->candidate[0].misfit_db, 0.1), 1).text);
    if (of->candidate[0].misfit_db > MOVED * of->scatter_db)
        compare_add(to, " They differ in narrow stretches, as where a mode has moved.");
    if (other != NULL)
        compare_add(to, " Nor is one on axis %c, as far as that was moved.", "xyz"[other->axis]);
}

static void say_unclear(const quell_identification *of, compare_text *to)
{
    compare_add(to, "Whether a shaper is in effect on axis %c cannot be told: ", "xyz"[of->axis]);
    if (of->scatter_db > 1.5)
        compare_add(to,
            "no shaper and no list of impulses explains how the two sides differ (%s dB a bin). Was the motion the same, and the "
            "machine not touched?",
            quell_number_fixed(of->scatter_db, 1).text);
    else
        compare_add(to, "one that changes as little as these recordings show, and none, explain them alike.");
}

quell_status identify_words(const quell_ratio *driven, const quell_ratio *other, const quell_identify_options *options,
                            quell_arena *arena, quell_identification *out, quell_error *err)
{
    compare_text verdict = {arena, ""};
    quell_status status = list_what_cannot_be_told(driven, other, options, arena, out, err);
    if (status != QUELL_OK)
        return status;
    if (out->in_effect == QUELL_TELLS_YES) {
        if (out->axis != driven->axis)
            compare_add(&verdict, "No shaper is in effect on axis %c, but one on axis %c. ", "xyz"[driven->axis], "xyz"[out->axis]);
        say_what_runs(out, &verdict);
        if (options->expected != NULL)
            say_expected(out, options->expected, &verdict);
        if (out->candidate[0].misfit_db > MOVED * out->scatter_db)
            compare_add(&verdict,
                " In narrow stretches the ratio is off by more than that, as where a mode has moved between the sides.");
    } else if (out->in_effect == QUELL_TELLS_NO) {
        say_not_in_effect(driven, other, out, &verdict);
        if (options->expected != NULL && out->agrees != QUELL_TELLS_NOT)
            compare_add(&verdict, " That %s what was entered.", out->agrees == QUELL_TELLS_YES ? "agrees with" : "contradicts");
    } else {
        say_unclear(out, &verdict);
    }
    if (fabs(out->motion_db) > 1 && out->in_effect != QUELL_TELLS_NOT) /* else it is not the same at all frequencies */
        compare_add(&verdict, " The on side has %s dB %s motion, at all frequencies.", quell_number_fixed(fabs(out->motion_db), 1).text,
            out->motion_db > 0 ? "more" : "less");
    out->verdict = verdict.text;
    return out->verdict != NULL ? QUELL_OK : quell_fail(err, QUELL_E_MEMORY, "out of memory for the verdict");
}
