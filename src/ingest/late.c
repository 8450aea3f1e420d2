/* The sample index of coarse and bursty stamps. Such a stamp is never before its sample's time but for a
   constant, and often well after it: rows count as consecutive, and the line by which lateness is told is led
   by the least late row of each window, a low quantile of all.

   Lost samples make all rows that follow later, for good: they show in the least lateness of the rows in
   sight, as far as that stands out from its own scatter. */
#include "ingest/timeline_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>

enum {
    WINDOW = 256, /* rows whose least lateness corrects the line, at least */
    BATCHES = 8,  /* and so many of the longest batches */
    WINDOW_MAX = 1 << 16,
    LAG = INGEST_HELD / INGEST_BLOCK,
    LOOKED_AT = (INGEST_PREFIX - INGEST_HELD) / INGEST_BLOCK + 1
};

/* Losses show if the rows in sight are all late by LEAST steps and by BEYOND times the mean distance of
   their least lateness from its mean: where that is exponential, as with batches of exponential latency,
   e^-15 by chance. */
#define LEAST 0.75
#define BEYOND 20
#define SPREAD_LEAST 0.02 /* steps */
#define RISE 0.5          /* steps a stamp rises by where a batch begins */
#define PHASE_GAIN 0.3    /* of the line's loop, a window; with the gain below its damping is 0.87 */
#define STEP_GAIN 0.03

/* The least lateness of n rows: how many steps row j comes after the line's place for index j. Four at a
   time, since each comparison waits for the one before it. */
static double least_of(const ingest_course *line, const double *stamp, size_t n, double first)
{
    const double per_step = 1 / line->step, time = line->time;
    double least[4] = {INFINITY, INFINITY, INFINITY, INFINITY};
    for (size_t j = 0; j + 4 <= n; j += 4)
        for (size_t m = 0; m < 4; m++) {
            double late = (stamp[j + m] - time) * per_step - (first + (double)(j + m));
            least[m] = late < least[m] ? late : least[m];
        }
    for (size_t j = n - n % 4; j < n; j++)
        least[0] = fmin(least[0], (stamp[j] - time) * per_step - (first + (double)j));
    return fmin(fmin(least[0], least[1]), fmin(least[2], least[3]));
}

/* least[j] for the first `length` of n rows: the least lateness of this row and all in sight that follow
   it. */
static void look(const ingest_course *line, const double *stamp, size_t length, size_t n, double *least)
{
    const double per_step = 1 / line->step;
    double lowest = least_of(line, stamp + length, n - length, (double)length);
    for (size_t j = length; j-- > 0;) {
        lowest = fmin(lowest, (stamp[j] - line->time) * per_step - (double)j);
        least[j] = lowest;
    }
}

/* ---------------------------------------------------------------- the first rows */

/* From the least latenesses of all the first rows' sights: each against the one LAG blocks on, which
   shares no row with it. Their median change corrects the line's step, lost samples in a few of them or
   not; then the median size of the changes is the scatter. False if there are too few. */
static bool learn_step(ingest_late *late, ingest_course *line, const double *stamp, size_t n)
{
    double found[LOOKED_AT], change[LOOKED_AT];
    size_t count = 0;
    for (size_t i = 0; i + INGEST_HELD <= n && count < LOOKED_AT; i += INGEST_BLOCK)
        found[count++] = least_of(line, stamp + i, INGEST_HELD, (double)i);
    if (count < 2 * LAG)
        return false;
    for (size_t i = LAG; i < count; i++)
        change[i - LAG] = found[i] - found[i - LAG];
    gsl_sort(change, 1, count - LAG);
    double tilt = change[(count - LAG) / 2];
    line->step *= 1 + tilt / INGEST_HELD;
    for (size_t i = 0; i < count - LAG; i++)
        change[i] = fabs(change[i] - tilt);
    gsl_sort(change, 1, count - LAG);
    late->spread = change[(count - LAG) / 2] + SPREAD_LEAST;
    return true;
}

void ingest_late_begin(ingest_timeline *timeline, const double *stamp, size_t n)
{
    ingest_late *late = &timeline->late;
    ingest_course *line = &timeline->line;
    size_t batch = timeline->prefix.batch, window = BATCHES * batch;
    late->window = window < WINDOW ? WINDOW : window > WINDOW_MAX ? WINDOW_MAX : window;
    late->least = INFINITY;
    late->spread = (double)batch;
    *line = (ingest_course){stamp[0], 0, timeline->prefix.step};
    for (int round = 0; round < 2 && batch <= INGEST_HELD / 2; round++)
        if (!learn_step(late, line, stamp, n))
            break;
    line->time += line->step * least_of(line, stamp, n < late->window ? n : late->window, 0);
    late->floor = timeline->prefix.bursty ? 1.25 * timeline->prefix.grid / line->step : 0;
}

/* ---------------------------------------------------------------- losses */

static double threshold(const ingest_late *late)
{
    return fmax(fmax(LEAST, late->floor), BEYOND * late->spread);
}

size_t ingest_late_least_loss(const ingest_timeline *timeline)
{
    double least = floor(threshold(&timeline->late) + 0.5);
    return least > 1 ? (size_t)fmin(least, 1e9) : 1;
}

/* Places of the first n rows; `first`: of the first of them if nothing is lost, from the line's own index. */
static void decide(ingest_late *late, const double *stamp, size_t n, size_t in_sight, double before,
                   double step, double first, const double *least, double *at)
{
    double lost = 0;
    bool learnt = false;
    for (size_t j = 0; j < n; before = stamp[j], j++) {
        at[j] = first + (double)j + lost;
        if (stamp[j] - before < RISE * step)
            continue;
        double over = least[j] + (double)j - at[j] - late->level;
        double few = fmax(1, (double)(INGEST_HELD - INGEST_BLOCK) / (double)(in_sight - j));
        if (over > threshold(late) * few) {
            double more = floor(over + 0.5);
            lost += more;
            at[j] += more;
        } else if (!learnt && few <= 1) {
            /* eight sights in a row share rows: these are means over 8 and 16 of them */
            late->level += fmin(over, 3 * late->spread) / 64;
            late->spread += (fmin(fabs(over), 4 * late->spread) + SPREAD_LEAST - late->spread) / 128;
            learnt = true;
        }
    }
}

/* At the end of a window the line moves towards its least late row. */
static void follow(ingest_timeline *timeline)
{
    ingest_late *late = &timeline->late;
    ingest_course *line = &timeline->line;
    ingest_cell lowest = {.rows = 1, .index = late->least_index};
    lowest.late = (late->least_stamp - timeline->lowest.from) / timeline->lowest.step - late->least_index;
    ingest_slope_add(&timeline->lowest, &lowest, 0);
    line->time += PHASE_GAIN * late->least * line->step;
    double bound = 2 * late->spread; /* what lost samples that were not seen may do to the step */
    line->step *= 1 + STEP_GAIN * fmin(fmax(late->least, -bound), bound) / (double)late->in_window;
    line->step = fmin(fmax(line->step, 0.5 * timeline->prefix.step), 2 * timeline->prefix.step);
    late->level -= PHASE_GAIN * late->least;
    late->in_window = 0;
    late->least = INFINITY;
}

/* Keeps the least late of n rows, and counts how long no stamp has risen. */
static void keep_least(ingest_timeline *timeline, const double *stamp, const double *at, size_t n)
{
    ingest_late *late = &timeline->late;
    const ingest_course *line = &timeline->line;
    for (size_t j = 0; j < n; j++) {
        double off = (stamp[j] - line->time) / line->step - at[j];
        if (off < late->least) {
            late->least = off;
            late->least_stamp = stamp[j];
            late->least_index = line->index + at[j];
        }
        late->run = stamp[j] > late->risen ? 0 : late->run + 1;
        late->risen = stamp[j] > late->risen ? stamp[j] : late->risen;
    }
    late->in_window += n;
}

quell_status ingest_late_place(ingest_timeline *timeline, const double *stamp, const double *counter,
                               size_t n, size_t *index, size_t *took, quell_error *err)
{
    (void)counter;
    ingest_late *late = &timeline->late;
    ingest_course *line = &timeline->line;
    quell_status status = ingest_timeline_check(timeline, stamp, n, err);
    if (status != QUELL_OK)
        return status;
    double least[INGEST_BLOCK], at[INGEST_BLOCK];
    size_t length = n < INGEST_BLOCK ? n : INGEST_BLOCK;
    bool start = timeline->rows == 0;
    if (start)
        late->risen = stamp[0];
    look(line, stamp, length, n, least);
    decide(late, stamp, length, n, start ? stamp[0] : timeline->last_stamp, line->step,
           timeline->next - line->index, least, at);
    ingest_residuals sums;
    ingest_timeline_enter(timeline, stamp, at, length, INFINITY, index, &sums);
    keep_least(timeline, stamp, at, length);
    double last = at[length - 1];
    if (late->run > 8 * timeline->prefix.batch + INGEST_HELD)
        return quell_fail(err, QUELL_E_DATA, "time stops rising after %zu samples, want stamps that rise",
                          timeline->rows + length - late->run);
    if (late->in_window >= late->window)
        follow(timeline);
    line->time += last * line->step;
    line->index += last;
    *took = length;
    return QUELL_OK;
}
