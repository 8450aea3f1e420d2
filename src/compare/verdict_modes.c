/* The verdict's sentences on modes that moved, came or went, and on what it covers. */
#include "compare/compare_private.h"

#include <math.h>

/* A shift over this may as well be one mode that went and another that came. */
#define SURE_SAME 0.1

/* "+5.0 %, 95 %: 4.1 to 5.9" */
static void add_share(compare_text *to, const quell_mode_shift *shift, int decimals)
{
    quell_number_text share = quell_number_fixed(100 * shift->share, decimals);
    compare_add(to, "%s%s %%, 95 %%: %s to %s", 100 * shift->share >= 0.5 * pow(10, -decimals) ? "+" : "",
                share.text, quell_number_fixed(100 * shift->ci95[0], decimals).text,
                quell_number_fixed(100 * shift->ci95[1], decimals).text);
}

/* Of a frequency's change in %: as many as its interval has to say. */
static int decimals_of(const quell_mode_shift *f)
{
    double width = 100 * (f->ci95[1] - f->ci95[0]);
    return width < 0.02 ? 3 : width < 0.2 ? 2 : 1;
}

static bool on_both(const quell_mode_change *mode)
{
    return mode->before_found > 0 && mode->after_found > 0;
}

static bool shaper_unstated(const quell_comparison *comparison)
{
    return !comparison->shaper_known[0] || !comparison->shaper_known[1];
}

static void add_moved(compare_text *to, const quell_comparison *comparison)
{
    bool any = false, seems = shaper_unstated(comparison);
    for (size_t k = 0; k < comparison->modes; k++) {
        const quell_mode_change *mode = &comparison->mode[k];
        const quell_mode_shift *f = &mode->frequency, *zeta = &mode->damping;
        if (f->counts) {
            compare_add(to, " The mode at %s Hz %s to %s Hz (", quell_number_fixed(f->before, 1).text,
                        seems ? "seems to have moved" : "moved", quell_number_fixed(f->after, 1).text);
            add_share(to, f, decimals_of(f));
            compare_add(to, fabs(f->share) > SURE_SAME
                                ? "), if it is one mode and not one that went and another that came."
                                : ").");
        }
        if (zeta->counts) {
            compare_add(to, " The damping ratio of the mode at %s Hz %s%s from %s to %s (",
                        quell_number_fixed(mode->before.frequency_hz, 1).text, seems ? "seems to have " : "",
                        zeta->share < 0 ? (seems ? "fallen" : "fell")
                        : seems         ? "risen"
                                        : "rose",
                        quell_number_fixed(zeta->before, 3).text, quell_number_fixed(zeta->after, 3).text);
            add_share(to, zeta, 0);
            compare_add(to, ").");
        }
        any = any || f->counts || zeta->counts;
    }
    if (any && seems)
        compare_add(to,
                    " Which shaper was active is not stated %s, and one that was active on one side only "
                    "makes a mode seem to"
                    " move: say --shaper-on and --applied.",
                    comparison->shaper_known[0]   ? "after the change"
                    : comparison->shaper_known[1] ? "before the change"
                                                  : "on either side");
}

/* Large enough to matter, and likely by itself, but not among so many tests. */
static bool perhaps(const quell_mode_shift *shift)
{
    return !shift->counts && fabs(shift->share) >= QUELL_CHANGE_MIN_FREQUENCY &&
           (shift->ci95[0] > 0 || shift->ci95[1] < 0);
}

/* " Not moved by an amount that counts: the mode at 47.3 Hz (0.0 %, 95 %: -0.2 to 0.2), 83.5 Hz (...)." */
static void add_unmoved(compare_text *to, const quell_comparison *comparison, bool likely)
{
    bool any = false;
    for (size_t k = 0; k < comparison->modes; k++) {
        const quell_mode_shift *f = &comparison->mode[k].frequency;
        if (isnan(f->p_value) || f->counts || perhaps(f) != likely)
            continue;
        compare_add(to, "%s %s Hz (",
                    any      ? ","
                    : likely ? " May have moved, but is not significant among all that is tested: the mode at"
                             : " Not moved by an amount that counts: the mode at",
                    quell_number_fixed(f->before, 1).text);
        add_share(to, f, decimals_of(f));
        compare_add(to, ")");
        any = true;
    }
    if (any)
        compare_add(to, ".");
}

/* " 47.3 and 83.5 Hz"; returns how many there are on that side only. */
static size_t add_only(compare_text *to, const quell_comparison *comparison, bool before, const char *lead)
{
    size_t count = 0, told = 0;
    for (size_t k = 0; k < comparison->modes; k++)
        count += !on_both(&comparison->mode[k]) && (comparison->mode[k].before_found > 0) == before;
    for (size_t k = 0; k < comparison->modes; k++) {
        const quell_mode_change *mode = &comparison->mode[k];
        if (on_both(mode) || (mode->before_found > 0) != before)
            continue;
        compare_add(to, "%s%s",
                    told == 0           ? lead
                    : told + 1 == count ? " and "
                                        : ", ",
                    quell_number_fixed(mode->level.nominal_hz, 1).text);
        told++;
    }
    return count;
}

static void add_untested(compare_text *to, const quell_comparison *comparison)
{
    for (size_t k = 0; k < comparison->modes; k++) {
        const quell_mode_change *mode = &comparison->mode[k];
        if (on_both(mode) && isnan(mode->frequency.p_value))
            compare_add(to,
                        " Whether the mode at %s Hz moved cannot be told: found in %zu of %zu recordings "
                        "before and %zu of %zu after.",
                        quell_number_fixed(mode->level.nominal_hz, 1).text, mode->before_found,
                        comparison->recordings[0], mode->after_found, comparison->recordings[1]);
    }
}

void compare_add_shifts(compare_text *to, const quell_comparison *comparison)
{
    add_moved(to, comparison);
    add_unmoved(to, comparison, true);
    add_unmoved(to, comparison, false);
    add_untested(to, comparison);
    if (!comparison->sought[1])
        return;
    if (add_only(to, comparison, true, " Not found after: ") > 0)
        compare_add(to, " Hz. Whether that moved, or is damped otherwise, cannot be told%s.",
                    comparison->shaper_known[1] ? "" : ": a shaper that quiets a mode hides it, too");
    if (comparison->sought[0] && add_only(to, comparison, false, " Found after only: ") > 0)
        compare_add(to, " Hz.");
}

void compare_add_scope(compare_text *to, const quell_comparison *comparison)
{
    const size_t *count = comparison->recordings;
    if (comparison->run_to_run) {
        compare_add(
            to,
            " The intervals hold how much runs differ, from %zu recordings before and %zu after: of what was"
            " set up anew for each of them.",
            count[0], count[1]);
        if (count[0] == 1 || count[1] == 1)
            compare_add(
                to, " The side with one recording is taken to scatter as the other does: repeat it, too.");
        else if (count[0] == 2 || count[1] == 2)
            compare_add(to, " Two a side tell little of that, so that only large changes count; a third "
                            "makes the intervals"
                            " far shorter.");
        return;
    }
    if (comparison->repeated_motion)
        compare_add(to, " The motion repeats, so noise makes less than the intervals of levels say: they are "
                        "made for random motion.");
    compare_add(
        to,
        " This holds for these recordings only: how much two runs differ is not in the intervals. Fix the"
        " sensor anew and repeat %s to learn that.",
        count[0] + count[1] == 2 ? "both sides, twice,"
        : count[0] == 1          ? "the side before"
                                 : "the side after");
}
