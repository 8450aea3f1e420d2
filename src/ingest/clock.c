/* The clock of a recording: which sample each stamp belongs to, the rate by regression, and its uncertainty.

   Stamps come fine (their resolution is far below a step; they jitter about a steady clock) or coarse (whole
   milliseconds, several samples to one stamp). A lost sample shows in fine stamps as a step of two; in coarse ones
   steps of one and two alternate by themselves, so there rows count as consecutive. */
#include "ingest/ingest_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>

enum { LOOKED_AT = 4096, WINDOW = 256, BLOCK = 64 };

/* What the steps between stamps look like. */
typedef struct steps {
    size_t count;       /* looked at, in chunks all over the recording */
    double median;      /* of those that rise */
    double zero;        /* share of equal stamps */
    double grid;        /* resolution of the stamps: all steps are multiples of it; 0 if there is none */
    double odd;         /* share of rising steps that are not the median, where there is a grid */
    size_t longest_run; /* of equal stamps */
} steps;

static size_t longest_equal_run(const double *stamp, size_t n)
{
    size_t longest = 1, run = 1;
    for (size_t i = 1; i < n; i++) {
        run = stamp[i] == stamp[i - 1] ? run + 1 : 1;
        longest = run > longest ? run : longest;
    }
    return longest;
}

/* The smallest of the sorted steps and of the differences between them (two that differ by less than a millionth
   are the same, printed), if 95 % of them are whole multiples of it to 2 % of it; else 0. */
static double find_grid(const double *sorted, size_t count)
{
    const double same = 1e-6 * sorted[count / 2];
    double grid = sorted[0];
    for (size_t i = 1; i < count; i++)
        if (sorted[i] - sorted[i - 1] > same)
            grid = fmin(grid, sorted[i] - sorted[i - 1]);
    size_t fits = 0;
    for (size_t i = 0; i < count; i++) {
        double multiple = sorted[i] / grid;
        fits += fabs(multiple - floor(multiple + 0.5)) < 0.02;
    }
    return fits * 20 >= count * 19 ? grid : 0;
}

/* work: LOOKED_AT doubles. */
static steps look_at_steps(const double *stamp, size_t n, double *work)
{
    steps out = {.longest_run = longest_equal_run(stamp, n)};
    size_t chunks = n - 1 > LOOKED_AT ? LOOKED_AT / WINDOW : 1;
    size_t length = n - 1 > LOOKED_AT ? WINDOW : n - 1;
    size_t rises = 0, zeros = 0;
    for (size_t c = 0; c < chunks; c++) {
        size_t from = chunks > 1 ? c * ((n - 1 - length) / (chunks - 1)) : 0;
        for (size_t i = from; i < from + length; i++) {
            double step = stamp[i + 1] - stamp[i];
            out.count++;
            zeros += step == 0;
            if (step > 0)
                work[rises++] = step;
        }
    }
    out.zero = (double)zeros / (double)out.count;
    if (rises == 0)
        return out;
    gsl_sort(work, 1, rises);
    out.median = work[rises / 2];
    out.grid = find_grid(work, rises);
    for (size_t i = 0; i < rises; i++)
        out.odd += fabs(work[i] - out.median) > 0.5 * out.grid;
    out.odd /= (double)rises;
    return out;
}

/* Root mean square, over windows, of the stamps about a line drawn by row number. */
static double rms_by_row(const double *stamp, size_t n, size_t window)
{
    double sum = 0;
    size_t counted = 0;
    for (size_t from = 0; from + window <= n; from += window) {
        double mean = 0, slope = 0, square = 0;
        double middle = 0.5 * (double)(window - 1);
        for (size_t i = 0; i < window; i++)
            mean += stamp[from + i] - stamp[from];
        mean /= (double)window;
        for (size_t i = 0; i < window; i++) {
            slope += ((double)i - middle) * (stamp[from + i] - stamp[from]);
            square += ((double)i - middle) * ((double)i - middle);
        }
        slope /= square;
        for (size_t i = 0; i < window; i++) {
            double off = stamp[from + i] - stamp[from] - mean - slope * ((double)i - middle);
            sum += off * off;
        }
        counted += window;
    }
    return counted > 0 ? sqrt(sum / (double)counted) : 0;
}

/* Median over windows of the mean step: gaps and losses touch few of them. */
static double mean_step(const double *stamp, size_t n, double *work)
{
    size_t window = n - 1 < WINDOW ? n - 1 : WINDOW, count = 0;
    size_t stride = (n - 1 - window) / LOOKED_AT + 1;
    for (size_t i = 0; i + window < n && count < LOOKED_AT; i += stride)
        work[count++] = (stamp[i + window] - stamp[i]) / (double)window;
    gsl_sort(work, 1, count);
    return work[count / 2];
}

/* Are the stamps coarse? Certainly if many are equal. If they lie on a grid of about a step, steps of two kinds
   come from the grid when they follow each other evenly (the stamps stay near a line by row number), and from lost
   samples when they do not: over a window with 16 of the odd steps the random walk that losses make leaves an rms
   of about one step, the grid at most 0.3. */
static bool is_coarse(const double *stamp, size_t n, const steps *seen)
{
    if (seen->zero > 0.05)
        return true;
    if (seen->grid <= 0 || seen->median > 40 * seen->grid || seen->odd * (double)n < 8)
        return false;
    size_t window = (size_t)(16 / seen->odd);
    window = window < INGEST_ROWS_MIN ? INGEST_ROWS_MIN : window;
    window = window > n ? n : window;
    return rms_by_row(stamp, n, window) < 0.5 * seen->median;
}

/* ---------------------------------------------------------------- regression on the indices */

static double residual(const ingest_clock *clock, const double *stamp, const size_t *index, size_t i)
{
    return (stamp[i] - clock->origin) / clock->step - (double)index[i];
}

static void regress(ingest_clock *clock, const double *stamp, size_t n, const size_t *index)
{
    double mean_index = 0, mean_stamp = 0;
    for (size_t i = 0; i < n; i++) {
        mean_index += (double)index[i] / (double)n;
        mean_stamp += (stamp[i] - stamp[0]) / (double)n;
    }
    double both = 0, square = 0;
    for (size_t i = 0; i < n; i++) {
        double off = (double)index[i] - mean_index;
        both += off * (stamp[i] - stamp[0] - mean_stamp);
        square += off * off;
    }
    clock->step = both / square;
    clock->origin = stamp[0] + mean_stamp - clock->step * mean_index;
}

/* The jitter is what is left within blocks; the step's standard error comes from the blocks' means (so that a slow
   wander of the clock widens it), or from the jitter if that gives more: sqrt(12) sigma / N^1.5 for N stamps with
   independent errors (the variance of a regression slope). */
static void measure_scatter(ingest_clock *clock, const double *stamp, size_t n, const size_t *index)
{
    size_t blocks = n / BLOCK > 2 ? n / BLOCK : 1;
    double within = 0, between = 0;
    for (size_t b = 0; b < blocks; b++) {
        size_t from = b * n / blocks, to = (b + 1) * n / blocks;
        double mean = 0;
        for (size_t i = from; i < to; i++)
            mean += residual(clock, stamp, index, i) / (double)(to - from);
        for (size_t i = from; i < to; i++) {
            double off = residual(clock, stamp, index, i) - mean;
            within += off * off;
        }
        between += mean * mean;
    }
    clock->jitter = sqrt(within / (double)(n - blocks));
    double rows = (double)n, count = (double)blocks, span = (double)index[n - 1] + 1;
    double by_stamps = clock->jitter * sqrt(12) / (sqrt(rows) * span);
    double by_blocks = blocks > 2 ? sqrt(between / (count - 2)) * sqrt(12) / (sqrt(count) * span) : 0;
    clock->step_error = clock->step * fmax(by_stamps, by_blocks);
}

static quell_status fit(ingest_clock *out, const double *stamp, size_t n, size_t *index, double *work,
                        quell_error *err)
{
    steps seen = look_at_steps(stamp, n, work);
    ingest_clock clock = {.coarse = is_coarse(stamp, n, &seen)};
    double step = clock.coarse ? mean_step(stamp, n, work) : seen.median;
    double length = stamp[n - 1] - stamp[0];
    if (!(step > 0) || !(length > 0))
        return quell_fail(err, QUELL_E_DATA,
                          "time does not rise over %zu rows, want stamps that do, or --rate HZ", n);
    if (!(length / step < 1e15))
        return quell_fail(err, QUELL_E_DATA,
                          "the stamps keep no steady step, want a recording at an even rate");
    double slack = 1 + fmax(seen.grid / step, (double)seen.longest_run);
    if (clock.coarse)
        ingest_index_coarse(stamp, n, step, slack, index);
    else
        ingest_index_fine(stamp, n, step, index);
    regress(&clock, stamp, n, index);
    if (!(clock.step > 0))
        return quell_fail(err, QUELL_E_DATA,
                          "the stamps keep no steady step, want a recording at an even rate");
    measure_scatter(&clock, stamp, n, index);
    *out = clock;
    return QUELL_OK;
}

quell_status ingest_clock_fit(ingest_clock *out, const double *stamp, size_t n, size_t *index,
                              quell_error *err)
{
    double *work = quell_memory_get(LOOKED_AT * sizeof *work);
    if (work == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the clock");
    quell_status status = fit(out, stamp, n, index, work, err);
    quell_memory_free(work);
    return status;
}
