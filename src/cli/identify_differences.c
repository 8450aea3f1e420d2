/* Where the sides of `quell identify` are not what they should be: unlike, the same, or swapped; and what the verdict says then. */
#include "cli/identify_view.h"
#include "cli/sides.h"

#include <string.h>

#define SWAPPED_FITS 0.5 /* of the scatter: fits far better the other way round */

/* Where the sides differ in what should be alike; *same_kind: of motion. */
quell_status identify_find_differences(cli_run *run, identify_view *view, bool *same_kind)
{
    quell_status status = quell_sides_differ(&view->off.side[0], &view->on.side[0], run->arena, &view->findings, &run->err);
    if (status == QUELL_OK)
        status = sides_share(run, view->off.loaded, view->off.files->count, view->on.loaded, view->on.files->count, &view->findings);
    if (status == QUELL_OK)
        status = sides_shaking(run, &view->off.loaded[0], &view->on.loaded[0], &view->findings, same_kind);
    return status;
}

/* The ratio is not a shaper's: nothing of what was found holds. */
static void tell_nothing(quell_identification *of)
{
    of->in_effect = of->agrees = of->uses_damping = QUELL_TELLS_NOT;
    of->cannot_tell_count = 0;
    of->reading_known = of->reading_if_damping_known = false;
}

/* Does the ratio the other way round show a shaper, where this way round nothing that is known explains it? A shaper's inverse is no
   shaper; a list of impulses may come near it. */
quell_status identify_try_swapped(cli_run *run, identify_view *view, size_t axis, const double band_hz[2])
{
    quell_ratio ratio;
    quell_identification *found = QUELL_NEW(run->arena, quell_identification, 1);
    const quell_identification *of = &view->result;
    const bool list = of->in_effect == QUELL_TELLS_YES && strcmp(of->candidate[0].family_id, "impulses") == 0;
    quell_error why = {0};
    if (found == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    if (of->in_effect != QUELL_TELLS_NOT && !list)
        return QUELL_OK;
    quell_status status = quell_ratio_measure(view->on.side, view->on.files->count, view->off.side, view->off.files->count, axis,
                                              run->given.segment_s, band_hz, run->arena, &ratio, &why);
    if (status == QUELL_OK) {
        const quell_identify_options options = {.machine = view->has_machine ? &view->machine : NULL};
        status = quell_identify(&ratio, NULL, &options, run->arena, found, &why);
    }
    if (status != QUELL_OK)
        return status == QUELL_E_DATA ? QUELL_OK : quell_fail(&run->err, status, "%s", why.text);
    view->swapped = found->in_effect == QUELL_TELLS_YES && found->scatter_db < SWAPPED_FITS * of->scatter_db;
    if (!view->swapped)
        return QUELL_OK;
    tell_nothing(&view->result);
    return quell_findings_add(&view->findings, run->arena, "swapped", QUELL_WARN, found->scatter_db, of->scatter_db,
                              "give the recordings with the shaper off first, those with it on after --on",
                              "the sides seem swapped: the other way round %s explains them",
                              found->candidate[0].title) == QUELL_OK
               ? QUELL_OK
               : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for findings");
}

/* What makes the rest of the verdict worth little comes before it, or instead of it. */
quell_status identify_lead_verdict(cli_run *run, identify_view *view, bool same_kind)
{
    const char *verdict = view->result.verdict;
    if (sides_have(&view->findings, "same")) {
        tell_nothing(&view->result);
        verdict = sides_share_words();
    } else if (view->swapped)
        verdict = "The sides seem swapped: what was recorded as on looks like a machine without the shaper, and what was recorded as "
                  "off like one with it.";
    else if (!same_kind || (view->result.in_effect == QUELL_TELLS_NOT && sides_have(&view->findings, "excitation")))
        verdict = quell_arena_print(run->arena, "The two sides were not shaken alike, so their ratio is not the shaper's. %s", verdict);
    if (verdict == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the verdict");
    view->result.verdict = verdict;
    cli_say_findings(run, "off and on", &view->findings);
    return QUELL_OK;
}
