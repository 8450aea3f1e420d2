/* The verdict in plain words: what fell, what rose, by how much, and what the statement covers. */
#include "compare/compare_private.h"

#include <math.h>
#include <string.h>

/* ---------------------------------------------------------------- less motion, or less ringing? */

/* A change in how hard the machine was driven moves all bands alike that stand out of the sensor's noise; a shaper, or a
   stiffer part, moves some. A band is taken to carry motion if it holds a thousandth of the power before: for white
   motion and a mode of damping ratio zeta, a band beside it holds some 0.29 zeta of the mode's power. */
#define CARRIES_SHARE 1e-3
/* Alike: so many bands over half a decade at least agree with their mean change within so many dB or, if that is more,
   so many of their own standard errors (by chance 1 band in 16000 does not). */
enum { ALIKE_BANDS = 5 };
#define ALIKE_SPAN 3.0
#define ALIKE_DB 1.5
#define ALIKE_ERRORS 4.0

static bool agrees(const quell_level_change *change, double mean_db)
{
    return change->counts &&
           fabs(change->change_db - mean_db) <= fmax(ALIKE_DB, ALIKE_ERRORS * change->error_db);
}

static double power_before(const quell_level_change *change)
{
    return change->before_mps2 * change->before_mps2;
}

/* The bands that carry motion; their total in weights, frequency range and changes. */
typedef struct carriers {
    size_t count;
    const quell_level_change *band[QUELL_BANDS_MAX];
    double mean_db;           /* weighted with the inverse variance */
    double least_db, most_db; /* smallest and largest change, with sign */
    bool wide;                /* enough bands over a wide enough range */
} carriers;

static carriers find_carriers(const quell_comparison *comparison)
{
    carriers out = {.least_db = HUGE_VAL, .most_db = -HUGE_VAL};
    double total = 0, weights = 0, sum = 0;
    for (size_t i = 0; i < comparison->bands; i++)
        total += power_before(&comparison->band[i]);
    for (size_t i = 0; i < comparison->bands; i++) {
        const quell_level_change *change = &comparison->band[i];
        if (power_before(change) < CARRIES_SHARE * total)
            continue;
        double weight = 1 / (change->error_db * change->error_db);
        weights += weight;
        sum += weight * change->change_db;
        out.least_db = fmin(out.least_db, change->change_db);
        out.most_db = fmax(out.most_db, change->change_db);
        out.band[out.count++] = change;
    }
    out.mean_db = sum / weights; /* the strongest band always carries */
    out.wide =
        out.count >= ALIKE_BANDS && out.band[out.count - 1]->high_hz >= ALIKE_SPAN * out.band[0]->low_hz;
    return out;
}

void quell_compare_find_common(quell_comparison *comparison)
{
    carriers found = find_carriers(comparison);
    if (!found.wide)
        return;
    bool all_count = true, alike = true;
    for (size_t i = 0; i < found.count; i++) {
        all_count = all_count && found.band[i]->counts;
        alike = alike && agrees(found.band[i], found.mean_db);
    }
    for (size_t i = 0; i < comparison->modes; i++)
        alike = alike && agrees(&comparison->mode[i].level, found.mean_db);
    if (all_count && found.most_db < 0)
        comparison->common_db = found.most_db;
    else if (all_count && found.least_db > 0)
        comparison->common_db = found.least_db;
    comparison->alike = alike;
    if (alike)
        comparison->common_db = found.mean_db;
}

/* ---------------------------------------------------------------- words */

QUELL_PRINTF(2, 3)
void compare_add(compare_text *to, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    const char *piece = to->text != NULL ? quell_arena_print_list(to->arena, format, arguments) : NULL;
    va_end(arguments);
    to->text = piece != NULL ? quell_arena_print(to->arena, "%s%s", to->text, piece) : NULL;
}

/* "fell by 14.2 dB (95 %: 13.1 to 15.3), its amplitude 5.1 times smaller" */
static void add_change(compare_text *to, const quell_level_change *change)
{
    bool fell = change->change_db < 0;
    double sign = fell ? -1 : 1, near = change->ci95_db[fell ? 1 : 0], far = change->ci95_db[fell ? 0 : 1];
    double times = pow(10, fabs(change->change_db) / 20);
    compare_add(to, "%s by %s dB (95 %%: %s to %s), its amplitude %s times %s", fell ? "fell" : "rose",
                quell_number_fixed(sign * change->change_db, 1).text, quell_number_fixed(sign * near, 1).text,
                quell_number_fixed(sign * far, 1).text, quell_number_fixed(times, times < 10 ? 1 : 0).text,
                fell ? "smaller" : "larger");
}

static size_t count_bands(const quell_comparison *comparison, double sign)
{
    size_t changed = 0;
    for (size_t i = 0; i < comparison->bands; i++)
        changed += comparison->band[i].counts && sign * comparison->band[i].change_db > 0;
    return changed;
}

static size_t count_modes(const quell_comparison *comparison, double sign)
{
    size_t changed = 0;
    for (size_t k = 0; k < comparison->modes; k++)
        changed += comparison->mode[k].level.counts && sign * comparison->mode[k].level.change_db > 0;
    return changed;
}

static void add_modes(compare_text *to, const quell_comparison *comparison)
{
    for (size_t k = 0; k < comparison->modes; k++) {
        const quell_level_change *change = &comparison->mode[k].level;
        compare_add(to, "%s at %s Hz the level ", k == 0 ? ":" : ";",
                    quell_number_fixed(change->nominal_hz, 1).text);
        if (change->counts)
            add_change(to, change);
        else
            compare_add(to, "did not change by an amount that counts (%s dB, 95 %%: %s to %s)",
                        quell_number_fixed(change->change_db, 1).text,
                        quell_number_fixed(change->ci95_db[0], 1).text,
                        quell_number_fixed(change->ci95_db[1], 1).text);
    }
    compare_add(to, ".");
}

/* " Bands that fell: 40 to 100 Hz, 160 Hz (by 4.1 to 15.0 dB)." with neighbours run together; nothing if none did. */
static void add_bands(compare_text *to, const quell_comparison *comparison, double sign, const char *verb)
{
    size_t count = comparison->bands;
    double least = HUGE_VAL, most = 0;
    bool any = false;
    for (size_t i = 0; i < count;) {
        size_t end = i;
        for (; end < count && comparison->band[end].counts && sign * comparison->band[end].change_db > 0;
             end++) {
            least = fmin(least, sign * comparison->band[end].change_db);
            most = fmax(most, sign * comparison->band[end].change_db);
        }
        if (end > i) {
            compare_add(to, any ? ", %s" : " Bands that %s: ",
                        any ? quell_number_short(comparison->band[i].nominal_hz, 4).text : verb);
            if (!any)
                compare_add(to, "%s", quell_number_short(comparison->band[i].nominal_hz, 4).text);
            if (end > i + 1)
                compare_add(to, " to %s", quell_number_short(comparison->band[end - 1].nominal_hz, 4).text);
            compare_add(to, " Hz");
            any = true;
        }
        i = end > i ? end : i + 1;
    }
    if (any && strcmp(quell_number_fixed(least, 1).text, quell_number_fixed(most, 1).text) == 0)
        compare_add(to, " (by %s dB).", quell_number_fixed(most, 1).text);
    else if (any)
        compare_add(to, " (by %s to %s dB).", quell_number_fixed(least, 1).text,
                    quell_number_fixed(most, 1).text);
}

static void add_alike(compare_text *to, const quell_comparison *comparison)
{
    bool fell = comparison->common_db < 0;
    compare_add(to, "%s motion, not %s ringing: every band that carries the motion %s alike, by about %s dB.",
                fell ? "Less" : "More", fell ? "less" : "more", fell ? "fell" : "rose",
                quell_number_fixed(fabs(comparison->common_db), 1).text);
    compare_add(
        to,
        " A filter or a stiffer part changes some frequencies more than others; check that the moves, their"
        " acceleration, the length of rest and the sensor's place were the same.");
}

/* The largest change of all, to show how little that was. */
static void add_none(compare_text *to, const quell_comparison *comparison, bool moved)
{
    const quell_level_change *largest = &comparison->band[0];
    for (size_t i = 0; i < comparison->bands; i++)
        if (fabs(comparison->band[i].change_db) > fabs(largest->change_db))
            largest = &comparison->band[i];
    for (size_t k = 0; k < comparison->modes; k++)
        if (fabs(comparison->mode[k].level.change_db) > fabs(largest->change_db))
            largest = &comparison->mode[k].level;
    compare_add(to,
                "%s that counts: no band and no mode differs by %s dB or more beyond what chance explains.",
                moved ? " No change of level" : "No change", quell_number_fixed(QUELL_CHANGE_MIN_DB, 0).text);
    compare_add(
        to, " The largest difference is %s dB (95 %%: %s to %s) at %s Hz.",
        quell_number_fixed(largest->change_db, 1).text, quell_number_fixed(largest->ci95_db[0], 1).text,
        quell_number_fixed(largest->ci95_db[1], 1).text, quell_number_short(largest->nominal_hz, 4).text);
}

/* "Less ringing at 1 of 2 modes", and at each how much; then, once the shifts are told, the bands. */
static void add_ringing(compare_text *to, const quell_comparison *comparison)
{
    size_t fell = count_modes(comparison, -1), rose = count_modes(comparison, 1);
    if (fell > 0 && rose > 0)
        compare_add(to, "Less ringing at some modes and more at others");
    else if (fell > 0 || rose > 0)
        compare_add(to, "%s ringing", fell > 0 ? "Less" : "More");
    else
        compare_add(to, "Levels changed");
    if ((fell > 0) != (rose > 0) && fell + rose < comparison->modes)
        compare_add(to, " at %zu of %zu modes", fell + rose, comparison->modes);
    if (comparison->modes > 0)
        add_modes(to, comparison);
    else
        compare_add(to, "; %s.",
                    comparison->sought[0] || comparison->sought[1] ? "no mode was found on either side"
                                                                   : "modes were not sought");
}

static void add_all_bands(compare_text *to, const quell_comparison *comparison)
{
    add_bands(to, comparison, -1, "fell");
    add_bands(to, comparison, 1, "rose");
    if (isfinite(comparison->common_db))
        compare_add(to,
                    " Every band that carries the motion %s, by %s dB at least: that much may be %s motion.",
                    comparison->common_db < 0 ? "fell" : "rose",
                    quell_number_fixed(fabs(comparison->common_db), 1).text,
                    comparison->common_db < 0 ? "less" : "more");
}

static bool any_moved(const quell_comparison *comparison)
{
    for (size_t k = 0; k < comparison->modes; k++)
        if (comparison->mode[k].frequency.counts || comparison->mode[k].damping.counts)
            return true;
    return false;
}

const char *quell_compare_words(const quell_comparison *comparison, quell_arena *arena)
{
    compare_text to = {.arena = arena, .text = ""};
    bool changed = false, moved = any_moved(comparison);
    for (int sign = -1; sign <= 1; sign += 2)
        changed = changed || count_bands(comparison, sign) + count_modes(comparison, sign) > 0;
    if (!changed && moved) { /* what changed comes first */
        compare_add_shifts(&to, comparison);
        add_none(&to, comparison, true);
    } else {
        if (comparison->alike)
            add_alike(&to, comparison);
        else if (changed)
            add_ringing(&to, comparison);
        else
            add_none(&to, comparison, false);
        compare_add_shifts(&to, comparison);
        if (changed && !comparison->alike)
            add_all_bands(&to, comparison);
    }
    compare_add_scope(&to, comparison);
    return to.text != NULL && to.text[0] == ' ' ? to.text + 1 : to.text;
}
