/* quell choose: the recordings of both axes, and the one mounting of a sensor that stayed where it was. */
#include "cli/choose_view.h"

#include <math.h>

#define SKEW_DEG 2.0 /* between the two directions of motion, from a right angle */

static quell_status sight(cli_run *run, choose_axis_view *axis)
{
    axis->recording = QUELL_NEW(run->arena, modes_recording, axis->files->count);
    if (axis->recording == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu recordings", axis->files->count);
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < axis->files->count && status == QUELL_OK; i++) {
        axis->recording[i].file = axis->files->item[i];
        axis->recording[i].label = axis->files->label[i];
        status = cli_recording_sight(run, axis->files->item[i], axis->name, &axis->recording[i].loaded);
    }
    return status;
}

/* What came of joining, in words, for one of the two recordings. */
static quell_status tell(cli_run *run, quell_recording *recording, const char *other, quell_join outcome,
                         double off_deg, bool strokes)
{
    quell_findings *to = &recording->findings;
    bool skewed = off_deg > SKEW_DEG && strokes;
    switch (outcome) {
    case QUELL_JOIN_NOTHING:
        return QUELL_OK;
    case QUELL_JOIN_DONE:
        return quell_findings_add(
            to, run->arena, "joint", skewed ? QUELL_WARN : QUELL_NOTE, off_deg, SKEW_DEG,
            skewed ? "check that the axes are square and the sensor sat firmly in both runs" : "",
            "how the sensor sits is told by this recording and %s together; their motion is %.1f deg from a "
            "right angle",
            other, off_deg);
    case QUELL_JOIN_MOVED:
        return quell_findings_add(
            to, run->arena, "joint", QUELL_NOTE, off_deg, (double)NAN, "",
            "the sensor was moved between this recording and %s, where gravity lies %.1f deg "
            "elsewhere: how it sits is told by each alone",
            other, off_deg);
    case QUELL_JOIN_SKEWED:
        return quell_findings_add(
            to, run->arena, "joint", QUELL_WARN, off_deg, (double)NAN,
            "check that --x and --y are not mixed up, and that the sensor sat on what moved",
            "the motion here and in %s is %.1f deg from a right angle: how the sensor sits is told by each "
            "alone",
            other, off_deg);
    default:
        return quell_findings_add(
            to, run->arena, "joint", QUELL_WARN, (double)NAN, (double)NAN,
            "begin the slow strokes of both axes towards +",
            "the slow strokes here and in %s do not both begin towards +: x, y and up would make "
            "a left hand; how the sensor sits is told by each alone",
            other);
    }
}

/* The i-th recording of x with the i-th of y; the last one of the axis that has fewer serves the rest. */
static quell_status join(cli_run *run, choose_axis_view *x, choose_axis_view *y)
{
    size_t nx = x->files->count, ny = y->files->count;
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < (nx > ny ? nx : ny) && status == QUELL_OK; i++) {
        cli_recording *a = &x->recording[i < nx ? i : nx - 1].loaded,
                      *b = &y->recording[i < ny ? i : ny - 1].loaded;
        quell_mounting with_x = a->mounting, with_y = b->mounting;
        bool strokes = with_x.sign_known && with_y.sign_known;
        double off_deg;
        quell_join outcome = quell_mounting_join(&with_x, &with_y, &off_deg);
        if (i < nx) {
            a->mounting = with_x;
            status = tell(run, &a->recording, b->recording.file, outcome, off_deg, strokes);
        }
        if (i < ny && status == QUELL_OK) {
            b->mounting = with_y;
            if (i >= nx) /* the other one has told it */
                status = tell(run, &b->recording, a->recording.file, outcome, off_deg, strokes);
        }
    }
    return status == QUELL_OK ? status : quell_fail(&run->err, status, "out of memory for findings");
}

quell_status choose_load(cli_run *run, choose_view *view)
{
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < view->axes && status == QUELL_OK; i++)
        status = cli_plan_agrees(run, "recordings are given for", view->axis[i].name);
    for (size_t i = 0; i < view->axes && status == QUELL_OK; i++)
        status = sight(run, &view->axis[i]);
    if (status == QUELL_OK && view->axes == 2)
        status = join(run, &view->axis[0], &view->axis[1]);
    for (size_t i = 0; i < view->axes; i++)
        for (size_t k = 0; k < view->axis[i].files->count && status == QUELL_OK; k++)
            status = cli_recording_settle(run, &view->axis[i].recording[k].loaded);
    return status;
}
