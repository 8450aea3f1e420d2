/* The sample index of fine stamps, whose resolution and jitter are below a step: by rounding about a line
   that follows the clock, never on the raw steps, and by the likeliest path where rounding errs.

   The line is led by a loop over blocks of stamps: their mean distance corrects its phase (gain 0.6) and
   its step (gain 0.15 a block). Where all rows of a block round to consecutive indices the mean is the
   plain one; else it is taken on the circle, where a whole step more or less does not count. Simulated
   blocks of 64 with a jitter of 5, 10 and 20 % of a step: the two differ by 0.0002, 0.002 and 0.014 steps
   rms, the plain one scatters by 0.006, 0.012 and 0.024. */
#include "ingest/timeline_private.h"

#include <math.h>

enum {
    FIRST = 256,    /* rows whose coherence tells the step */
    PAUSE = 100,    /* steps without a row: the phase is taken anew after them */
    AHEAD = 64,     /* rows looked at beyond a block, at least */
    BELOW = 3,      /* offsets below the one that rounding gives that are tried (and as many above) */
    FREE_SLIPS = 16 /* rows too many that are always borne */
};

#define CLEAR 0.25         /* steps from its place within which a row is beyond doubt */
#define WEAK 0.35          /* coherence that chance may come near; four times the rows are asked then */
#define LATE 1.0           /* steps after its place from which on a row says nothing of the clock */
#define LEAST_SCATTER 0.02 /* steps: stamps may look better than they are */
#define LEAST_STEADY 0.14  /* mean coherence of 64 random stamps: 0.11; at a jitter of 30 % of a step: 0.2 */

/* ---------------------------------------------------------------- the first step */

/* The first FIRST rows that no pause divides; the very first if there are none. */
static const double *undivided(const double *stamp, size_t n, double step)
{
    size_t from = 0;
    for (size_t i = 1; i < n; i++) {
        if (!(stamp[i] - stamp[i - 1] <= PAUSE * step))
            from = i;
        if (i + 1 - from == FIRST)
            return stamp + from;
    }
    return stamp;
}

void ingest_fine_begin(ingest_timeline *timeline, const double *stamp, size_t n)
{
    ingest_fine *fine = &timeline->fine;
    const ingest_prefix *prefix = &timeline->prefix;
    size_t used = n < FIRST ? n : FIRST;
    double height;
    const double *rows = undivided(stamp, n, prefix->step);
    fine->first_step = ingest_coherent_step(rows, used, prefix->step, prefix->half_width, &height);
    if (height < WEAK && (size_t)(rows - stamp) + 4 * FIRST <= n)
        fine->first_step = ingest_coherent_step(rows, 4 * FIRST, prefix->step, prefix->half_width, &height);
    /* normal scatter s leaves a coherence of exp(-(2 pi s)^2 / 2) */
    double scatter = sqrt(-2 * log(fmin(fmax(height, 0.1), 1))) / QUELL_TAU;
    fine->variance = fmax(scatter * scatter, LEAST_SCATTER * LEAST_SCATTER);
    fine->steady = 1;
    timeline->line = (ingest_course){stamp[0], 0, fine->first_step};
}

/* ---------------------------------------------------------------- the line */

/* Corrects the line by a block's mean distance, and starts it anew at its place for the block's last row,
   so that numbers stay small. */
static void follow(ingest_timeline *timeline, double last, double error, double rows)
{
    ingest_course *line = &timeline->line;
    double share = rows / INGEST_BLOCK, first = timeline->fine.first_step;
    line->time += last * line->step + 0.6 * share * error * line->step;
    line->index += last;
    line->step += 0.15 * share * error * line->step / INGEST_BLOCK;
    line->step = fmin(fmax(line->step, 0.9 * first), 1.1 * first);
}

/* ---------------------------------------------------------------- blocks without any doubt */

/* Do all n rows lie nearest to the next indices, the last of them beyond doubt? Then no other path is
   likelier, whatever follows: one that jumps sooner is farther off in every row from there on, the last
   included. Their sums. first: of the indices, from the line's own. */
static bool is_smooth(const ingest_course *line, const double *stamp, size_t n, double first,
                      ingest_residuals *out)
{
    const double per_step = 1 / line->step, time = line->time, middle = 0.5 * (double)(n - 1);
    double sum = 0, both = 0, square = 0;
    bool near = true;
    for (size_t j = 0; j < n; j++) {
        double off = (stamp[j] - time) * per_step - (first + (double)j);
        near &= (off <= 0.5) & (off >= -0.5);
        sum += off;
        both += off * ((double)j - middle);
        square += off * off;
    }
    double rows = (double)n, mean = sum / rows;
    *out = (ingest_residuals){.rows = rows,
                              .at = first + middle,
                              .off = mean,
                              .at2 = rows * (rows * rows - 1) / 12,
                              .both = both,
                              .off2 = fmax(square - sum * mean, 0)};
    return near && fabs((stamp[n - 1] - time) * per_step - (first + (double)(n - 1))) <= CLEAR;
}

static void learn(ingest_fine *fine, double rows, double places, double samples, double variance)
{
    ingest_losses *seen = &fine->losses;
    const double kept = 1 - 1.0 / 4096;
    seen->rows = kept * seen->rows + rows;
    seen->places = kept * seen->places + places;
    seen->samples = kept * seen->samples + samples;
    fine->variance += (fmax(variance, LEAST_SCATTER * LEAST_SCATTER) - fine->variance) / 16;
}

static void take_smooth(ingest_timeline *timeline, const double *stamp, size_t n, size_t *index,
                        const ingest_residuals *sums)
{
    size_t next = (size_t)timeline->next;
    for (size_t j = 0; j < n; j++)
        index[j] = next + j;
    ingest_timeline_regress(&timeline->slope, &timeline->line, sums);
    learn(&timeline->fine, sums->rows, 0, 0, sums->off2 / sums->rows);
    timeline->fine.steady += (1 - timeline->fine.steady) / 16;
    follow(timeline, timeline->next + (double)(n - 1) - timeline->line.index, sums->off, sums->rows);
    timeline->next += (double)n;
    timeline->last_stamp = stamp[n - 1];
}

/* ---------------------------------------------------------------- blocks that need care */

/* The rows in sight: their places from the line's index, and the lowest offset (index less row) each may
   have. */
typedef struct sight {
    size_t length;  /* rows of the block */
    size_t rows;    /* and those after it that are looked at */
    size_t settled; /* none from here on is late */
    double place[INGEST_HELD];
    int nearest[INGEST_HELD]; /* offset by rounding */
    int least
        [INGEST_HELD]; /* of the nearest offsets from this row on: stamps that come late catch up later */
    int low[INGEST_HELD];
} sight;

/* Does row j come after a pause? No if the rows that follow catch up: then it was only stamped late. */
static bool is_pause(double before, const double *stamp, size_t j, size_t n, double step)
{
    if (stamp[j] - before <= PAUSE * step)
        return false;
    for (size_t i = j; i < n; i++)
        if (stamp[i] - before < ((double)(i - j) + 2.5) * step)
            return false;
    return true;
}

static size_t until_pause(const double *stamp, size_t from, size_t most, size_t n, double step)
{
    size_t j = from;
    while (j < most && !is_pause(stamp[j - 1], stamp, j, n, step))
        j++;
    return j;
}

/* Crosses a pause and takes the phase anew from the block after it. The mean step so far counts the
   samples lost in it. */
static void lock_on(ingest_timeline *timeline, const double *stamp, size_t n)
{
    ingest_course *line = &timeline->line;
    double mean = ingest_slope_step(&timeline->slope), place[INGEST_BLOCK];
    double jump = floor((stamp[0] - line->time) / mean + 0.5);
    line->time += jump * mean;
    line->index += jump;
    for (size_t j = 0; j < n; j++)
        place[j] = (stamp[j] - line->time) / line->step;
    line->time += line->step * ingest_circle_mean(place, n).mean;
}

static void round_places(sight *seen, const ingest_course *line, const double *stamp, size_t from, size_t to)
{
    for (size_t j = from; j < to; j++) {
        seen->place[j] = (stamp[j] - line->time) / line->step;
        seen->nearest[j] = (int)fmin(fmax(floor(seen->place[j] + 0.5), -1e8), 1e8) - (int)j;
    }
}

/* before: the offset of the row before the block. Late rows are looked after for as long as they may take
   to catch up. */
static void look(sight *seen, const ingest_course *line, const double *stamp, size_t n, int before)
{
    round_places(seen, line, stamp, 0, seen->length);
    int late = 1;
    for (size_t j = 0; j < seen->length; j++)
        late = seen->nearest[j] - before > late ? seen->nearest[j] - before : late;
    size_t ahead = late < INGEST_HELD ? (size_t)(2 * late) + AHEAD : INGEST_HELD;
    size_t most = seen->length + ahead < n ? seen->length + ahead : n;
    seen->rows = until_pause(stamp, seen->length, most, n, line->step);
    round_places(seen, line, stamp, seen->length, seen->rows);
    int least = seen->nearest[seen->rows - 1];
    seen->settled = 0;
    for (size_t j = seen->rows; j-- > 0;) {
        least = seen->nearest[j] < least ? seen->nearest[j] : least;
        if (seen->nearest[j] > least + 1 && seen->settled == 0)
            seen->settled = j + 1;
        seen->least[j] = least;
        seen->low[j] = least - BELOW;
    }
}

/* Rounding is beyond doubt: every row is near its place, and none of them is late. */
static bool is_clear(const sight *seen, int before)
{
    bool clear = seen->nearest[0] >= before;
    for (size_t j = 0; clear && j < seen->length; j++) {
        double off = seen->place[j] - (double)j - seen->nearest[j];
        clear = seen->least[j] == seen->nearest[j] && fabs(off) <= CLEAR;
    }
    return clear;
}

static ingest_costs costs_of(const ingest_fine *fine)
{
    const ingest_losses *seen = &fine->losses;
    return (ingest_costs){.weight = 0.5 / fine->variance,
                          .gap = -log((seen->places + 0.5) / (seen->rows + 50)),
                          .more = -log((seen->samples - seen->places + 0.5) / (seen->samples + 1))};
}

/* Gives the block's rows their places. True if that took more than rounding: then *error is the line's, on
   the circle. */
static bool decide(ingest_timeline *timeline, sight *seen, bool first, int before, double *at, double *error)
{
    int offset[INGEST_BLOCK];
    const int *chosen = seen->nearest;
    ingest_fine *fine = &timeline->fine;
    ingest_circle mean = {0, 1};
    size_t near = 0;
    if (!is_clear(seen, first ? seen->nearest[0] : before)) {
        ingest_costs costs = costs_of(fine);
        for (size_t j = 0; !first && j < seen->rows; j++)
            seen->low[j] = seen->low[j] > before ? seen->low[j] : before;
        ingest_viterbi(seen->place, seen->low, seen->rows, seen->settled, seen->length,
                       first ? NULL : &before, &costs, offset);
        chosen = offset;
        double kept[INGEST_BLOCK];
        for (size_t j = 0; j < seen->length; j++) {
            kept[near] = seen->place[j];
            near += seen->place[j] - (double)j - offset[j] <= LATE;
        }
        if (near >= INGEST_BLOCK / 4)
            mean = ingest_circle_mean(kept, near);
    }
    for (size_t j = 0; j < seen->length; j++)
        at[j] = (double)j + chosen[j];
    if (near == 0 || near >= INGEST_BLOCK / 2)
        fine->steady += (mean.coherence - fine->steady) / 16;
    *error = mean.mean;
    return chosen == offset;
}

/* One sample more than there were steps: the line gives way. */
static void give_way(ingest_timeline *timeline, double mean)
{
    if (mean >= -0.75)
        return;
    double slip = floor(0.5 - mean);
    timeline->line.index += slip;
    timeline->fine.slipped += slip;
}

static quell_status check_steady(const ingest_timeline *timeline, quell_error *err)
{
    const ingest_fine *fine = &timeline->fine;
    if (fine->steady < LEAST_STEADY || fine->slipped > FREE_SLIPS + 0.02 * (double)timeline->rows)
        return quell_fail(
            err, QUELL_E_DATA,
            "the stamps keep no steady step (%.4g at first) after %zu samples, want a recording "
            "at an even rate",
            fine->first_step, timeline->rows);
    return QUELL_OK;
}

static quell_status take_rough(ingest_timeline *timeline, const double *stamp, size_t n, size_t *index,
                               size_t *took, quell_error *err)
{
    sight seen;
    bool first = timeline->rows == 0;
    ingest_course *line = &timeline->line;
    size_t most = n < INGEST_BLOCK ? n : INGEST_BLOCK;
    quell_status status = ingest_timeline_check(timeline, stamp, n, err);
    if (status != QUELL_OK)
        return status;
    if (n == INGEST_HELD && stamp[n - 1] <= stamp[0])
        return quell_fail(err, QUELL_E_DATA, "time stops rising after %zu samples, want stamps that rise",
                          timeline->rows);
    seen.length = until_pause(stamp, 1, most, n, line->step);
    if (first || is_pause(timeline->last_stamp, stamp, 0, n, line->step))
        lock_on(timeline, stamp, seen.length);
    int before = (int)fmax(timeline->next - line->index, -1e8);
    look(&seen, line, stamp, n, before);
    double at[INGEST_BLOCK], error;
    bool on_circle = decide(timeline, &seen, first, before, at, &error);
    if (first) {
        line->index = -at[0];
        timeline->next = 0;
    }
    ingest_residuals sums;
    size_t gaps = timeline->gaps, lost = timeline->lost;
    ingest_timeline_enter(timeline, stamp, at, seen.length, LATE, index, &sums);
    double variance =
        sums.rows >= INGEST_BLOCK / 4 ? sums.off2 / sums.rows + sums.off * sums.off : timeline->fine.variance;
    learn(&timeline->fine, (double)seen.length, (double)(timeline->gaps - gaps),
          (double)(timeline->lost - lost), variance);
    follow(timeline, at[seen.length - 1], on_circle ? error : sums.off, sums.rows);
    give_way(timeline, sums.off);
    *took = seen.length;
    return check_steady(timeline, err);
}

quell_status ingest_fine_place(ingest_timeline *timeline, const double *stamp, const double *counter,
                               size_t n, size_t *index, size_t *took, quell_error *err)
{
    (void)counter;
    const ingest_course *line = &timeline->line;
    ingest_residuals sums;
    size_t length = n < INGEST_BLOCK ? n : INGEST_BLOCK;
    if (timeline->rows == 0 || !is_smooth(line, stamp, length, timeline->next - line->index, &sums))
        return take_rough(timeline, stamp, n, index, took, err);
    take_smooth(timeline, stamp, length, index, &sums);
    *took = length;
    return QUELL_OK;
}
