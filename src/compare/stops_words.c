/* The change of ringing after stops in words. */
#include "compare/stops_private.h"

#include <math.h>

static const char *number_um(double m, char out[64])
{
    double um = m * 1e6;
    return quell_number_print_fixed(out, 64, um, um < 0.095 ? 2 : 1);
}

/* A limit is never told as nothing. */
#define LIMIT_LEAST_M 1e-8
#define SHARE_LEAST 0.001

/* "46.1 um", "under 0.4 um". */
static const char *amplitude(const quell_stops_amplitude *of, quell_arena *arena)
{
    char at[64];
    if (of->seen || isnan(of->ci95_m[1]))
        return quell_arena_print(arena, "%s um", number_um(of->amplitude_m, at));
    return quell_arena_print(arena, "under %s um", number_um(fmax(of->ci95_m[1], LIMIT_LEAST_M), at));
}

/* "fell to 12 % (10 to 15 %)", "fell to under 3 %". */
static const char *change(const quell_stops_change *of, quell_arena *arena)
{
    if (isnan(of->ratio) || isnan(of->ratio_ci95[1]))
        return of->before.seen ? "" : ": too little was there before for a ratio";
    const char *low = quell_arena_print(arena, "%s", quell_number_percent(of->ratio_ci95[0]).text),
               *high = quell_arena_print(arena, "%s", quell_number_percent(fmax(of->ratio_ci95[1], SHARE_LEAST)).text);
    if (low == NULL || high == NULL)
        return NULL;
    if (!of->after.seen)
        return quell_arena_print(arena, ": under %s %% of what it was", high);
    return quell_arena_print(arena, ": %s %% of what it was (%s to %s %%)", quell_number_percent(of->ratio).text, low, high);
}

static const char *meaning(const quell_stops_comparison *of)
{
    if (isnan(of->all.p_value))
        return "One stop on a side tells nothing of their scatter: whether the change is real is not known";
    if (!of->alike)
        return "The strokes differ between the sides, in length or speed or both: the change is not the machine's alone";
    if (of->all.counts)
        return of->all.change_m < 0 ? "The change is real, and large enough to matter" : "It rings more now, by more than chance";
    if (of->all.p_holm < QUELL_CHANGE_ALPHA)
        return "The change is real, but under 5 um: it is not counted";
    return "No change is shown: what there is may be chance";
}

const char *stops_words(const quell_stops_comparison *of, quell_arena *arena)
{
    const char *before = amplitude(&of->all.before, arena), *after = amplitude(&of->all.after, arena),
               *by = change(&of->all, arena);
    if (before == NULL || after == NULL || by == NULL)
        return NULL;
    return quell_arena_print(
        arena,
        "Ringing where the commanded motion ends, root mean square over %zu stops before and %zu after%s: %s before, %s after%s. "
        "%s.%s%s",
        of->before_stops, of->after_stops, of->modes > 1 ? ", all modes together" : "", before, after, by, meaning(of),
        of->before_recordings == 1 || of->after_recordings == 1
            ? " How much two recordings differ is not in it: repeat both sides."
            : "",
        of->short_rests ? " The rests are shorter than the ringing takes to die: what rings anyway may be in it." : "");
}
