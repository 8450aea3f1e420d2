/* The sample index of every stamp. Rounding about a line that follows the clock: never on the raw steps, since the
   stamps jitter about their places while the samples themselves are evenly spaced.

   The line is led by a loop over blocks of stamps: the circular mean of their fractional index corrects its phase
   (gain 0.6) and its step (gain 0.15 a block). */
#include "ingest/ingest_private.h"

#include <math.h>

enum { BLOCK = 64, LOOK_BACK = 32, FIRST = 256, LEARNT = 1024 };

/* |sum exp(2 pi i t / step)| over the stamps: largest where they fall on a grid of that step. */
static double coherence(const double *stamp, size_t n, double step)
{
    double re = 0, im = 0;
    for (size_t i = 0; i < n; i++) {
        double turns = (stamp[i] - stamp[0]) / step;
        double angle = QUELL_TAU * (turns - floor(turns));
        re += cos(angle);
        im += sin(angle);
    }
    return hypot(re, im);
}

/* The step within 3 % of the median on whose grid the first stamps fall best. */
static double refine_step(const double *stamp, size_t n, double median)
{
    size_t used = n < FIRST ? n : FIRST;
    double best = median, height = -1;
    double width = 0.03, grain = 0.25 / (double)used;
    for (int round = 0; round < 2; round++) {
        double centre = best;
        int steps = (int)(width / grain);
        for (int i = -steps; i <= steps; i++) {
            double step = centre * (1 + i * grain);
            double found = coherence(stamp, used, step);
            if (found > height) {
                height = found;
                best = step;
            }
        }
        width = grain;
        grain /= 16;
    }
    return best;
}

/* Mean of the fractional parts of index places on the circle, in steps; -0.5 to 0.5. */
static double circular_mean(const double *stamp, size_t n, double from, double step)
{
    double re = 0, im = 0;
    for (size_t i = 0; i < n; i++) {
        double place = (stamp[i] - from) / step;
        double angle = QUELL_TAU * (place - floor(place));
        re += cos(angle);
        im += sin(angle);
    }
    return atan2(im, re) / QUELL_TAU;
}

/* Rows i - back .. i - 1 are on consecutive indices with a hole before them, or begin the recording: moving them
   down by one makes room for row i. Returns back, 0 if there is no such hole near. */
static size_t rows_to_hole(const size_t *index, size_t i)
{
    for (size_t back = 1; back <= LOOK_BACK && back <= i; back++)
        if (back == i || index[i - back] - index[i - back - 1] > 1)
            return back;
    return 0;
}

/* The line: sample `index` is due at `time`, and one more every `step`. */
typedef struct course {
    double time, index, step;
} course;

static double place_of(const course *line, double stamp)
{
    return (stamp - line->time) / line->step + line->index;
}

/* Is it better to move the last `back` rows down than to push row i up? Squares of the distances to the line. */
static bool moving_is_better(const double *stamp, const size_t *index, size_t i, size_t back,
                             const course *line)
{
    double moved = 0;
    for (size_t j = i - back; j < i; j++) {
        double off = place_of(line, stamp[j]) - (double)index[j];
        moved += (off + 1) * (off + 1) - off * off;
    }
    double off = place_of(line, stamp[i]) - (double)index[i - 1];
    return moved < (off - 1) * (off - 1) - off * off;
}

/* How many of the stamps from i on belong to one block: up to BLOCK, ending at a gap of more than 100 steps. */
static size_t block_length(const double *stamp, size_t n, size_t i, double step)
{
    size_t length = 1;
    while (length < BLOCK && i + length < n && stamp[i + length] - stamp[i + length - 1] <= 100 * step)
        length++;
    return length;
}

/* Crosses a gap of more than 100 steps and takes the phase anew from the block after it. `mean`: the step to count
   the gap by. */
static void lock_on(course *line, const double *stamp, size_t length, double mean)
{
    double jump = floor((stamp[0] - line->time) / mean + 0.5);
    line->time += jump * mean;
    line->index += jump;
    line->time += line->step * circular_mean(stamp, length, line->time, line->step);
}

/* Places rows [i, i + length): each at the nearest index that is free. Returns the mean distance to the line. */
static double place_block(const course *line, const double *stamp, size_t *index, size_t i, size_t length)
{
    double sum = 0;
    for (size_t j = i; j < i + length; j++) {
        double place = place_of(line, stamp[j]);
        size_t at = place > 1 ? (size_t)(place + 0.5) : 1;
        if (j > 0 && at <= index[j - 1]) {
            size_t back = rows_to_hole(index, j);
            if (back > 0 && index[j - back] > 0 && moving_is_better(stamp, index, j, back, line))
                for (size_t m = j - back; m < j; m++)
                    index[m]--;
            at = at > index[j - 1] ? at : index[j - 1] + 1;
        }
        index[j] = at;
        sum += place - (double)at;
    }
    return sum / (double)length;
}

/* Corrects the line by a block, and starts it anew at its place for the block's last row, so that numbers stay
   small. */
static void follow(course *line, const double *stamp, const size_t *index, size_t i, size_t length,
                   double mean)
{
    if (mean < -0.75) /* one sample more than there were steps: the line gives way */
        line->index += 1;
    double error = circular_mean(stamp + i, length, line->time, line->step);
    double share = (double)length / BLOCK;
    double last = (double)index[i + length - 1];
    line->time += (last - line->index) * line->step + 0.6 * share * error * line->step;
    line->index = last;
    line->step += 0.15 * share * error * line->step / BLOCK;
}

void ingest_index_fine(const double *stamp, size_t n, double step, size_t *index)
{
    step = refine_step(stamp, n, step);
    course line = {stamp[0], LOOK_BACK, step},
           first = line; /* LOOK_BACK: the first rows can be moved down, too */
    bool lock = true;
    for (size_t i = 0; i < n;) {
        size_t length = block_length(stamp, n, i, line.step);
        if (lock) {
            /* over a long gap the mean step since the beginning counts better than the step of the moment */
            double rows = line.index - first.index;
            lock_on(&line, stamp + i, length, rows > LEARNT ? (line.time - first.time) / rows : line.step);
        }
        if (i == 0)
            first = line;
        follow(&line, stamp, index, i, length, place_block(&line, stamp, index, i, length));
        line.step = fmin(fmax(line.step, 0.9 * step), 1.1 * step);
        i += length;
        lock = i < n && stamp[i] - stamp[i - 1] > 100 * line.step;
    }
    size_t shift = index[0];
    for (size_t i = 0; i < n; i++)
        index[i] -= shift;
}

void ingest_index_coarse(const double *stamp, size_t n, double step, double slack, size_t *index)
{
    double from = stamp[0]; /* the line's time at the index of the row before */
    index[0] = 0;
    for (size_t i = 1; i < n; i++) {
        double late = (stamp[i] - from) / step - 1;
        size_t lost = late > slack ? (size_t)(late + 0.5) : 0;
        index[i] = index[i - 1] + 1 + lost;
        from += (double)(1 + lost) * step;
        if (lost > 100)
            from = stamp[i];
        else
            from += 0.02 * (stamp[i] - from);
    }
}
