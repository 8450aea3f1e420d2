/* quell choose: what several recordings of an axis tell beside its modes: drift, and the worst condition. */
#include "cli/choose_view.h"

#include <math.h>

/* A stated drift is what it is, though no interval shrinks below what was recorded. */
double choose_drift_of(const choose_axis_view *axis, size_t mode)
{
    return axis->drift_stated || mode >= axis->choice->modes ? axis->drift : axis->choice->drift[mode];
}

double choose_drift(const choose_axis_view *axis, size_t *mode)
{
    *mode = 0;
    for (size_t k = 1; k < axis->choice->modes; k++)
        if (axis->choice->drift[k] > axis->choice->drift[*mode])
            *mode = k;
    return choose_drift_of(axis, *mode);
}

/* Do the recordings of a mode differ by more than what would be allowed for without them? */
static bool recordings_differ(const choose_axis_view *axis, size_t mode)
{
    return mode < axis->choice->modes && axis->choice->drift[mode] > axis->drift;
}

const char *choose_drift_source(const choose_axis_view *axis, size_t mode)
{
    return axis->drift_stated ? "stated" : recordings_differ(axis, mode) ? "recordings" : "assumed";
}

const char *choose_drift_words(cli_run *run, const choose_axis_view *axis, size_t mode)
{
    const char *words;
    if (!recordings_differ(axis, mode))
        return axis->drift_stated ? "as stated" : "assumed (common practice, no source)";
    if (axis->drift_stated)
        words = quell_arena_print(
            run->arena, "as stated (half the range over %zu recordings is %s %%, which is kept)",
            axis->spread[mode].recordings, quell_number_percent(axis->choice->drift[mode]).text);
    else
        words = quell_arena_print(run->arena, "half the range over %zu recordings",
                                  axis->spread[mode].recordings);
    return words != NULL ? words : "";
}

void choose_judge_conditions(cli_run *run, const choose_view *view, choose_axis_view *axis,
                             const quell_need *need)
{
    const quell_candidate *row = choose_row(axis->choice, axis->choice->chosen);
    const size_t count = axis->files->count;
    if (row == NULL || count < 2 || row->shaper.count == 0)
        return;
    axis->left = QUELL_NEW(run->arena, double, count);
    if (axis->left == NULL)
        return; /* the choice does without */
    for (size_t i = 0; i < count; i++) {
        quell_need own = *need;
        own.modes = &axis->recording[i].modes;
        axis->left[i] = own.modes->count == 0 ? (double)NAN
                                              : quell_need_residual(&own, &view->machine, &row->shaper, true);
        if (isnan(axis->left[axis->worst]) || axis->left[i] > axis->left[axis->worst])
            axis->worst = i;
    }
}
