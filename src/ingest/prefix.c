/* What kind of stamps a recording has, from its first rows: fine (their resolution and scatter are below a
   step), coarse (whole milliseconds, several samples to one stamp) or bursty (many rows come at once and are
   stamped when they do).

   A lost sample shows in fine stamps as a step of two; in coarse ones steps of one and two alternate by
   themselves. */
#include "ingest/timeline_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>

enum { WINDOW = 256 };

#define SMALL 0.2      /* of the mean step: a row that follows sooner came together with the one before */
#define TOGETHER 0.4   /* share of such rows from which on the stamps come in batches */
#define FINE_GRID 0.55 /* of a step: the fine clock bears the scatter of 16 % that such a resolution makes */

/* What the steps between stamps look like. */
typedef struct steps {
    double median; /* of those that rise */
    double mean;   /* median over windows of the mean step */
    double zero;   /* share of equal stamps */
    double small;  /* share of rows that come together with the one before */
    double large;  /* median of the other steps */
    double grid;   /* resolution of the stamps: all steps are multiples of it; 0 if there is none */
    double odd;    /* share of rising steps that are not the median, where there is a grid */
    size_t batch;  /* most rows that came together */
} steps;

/* The smallest of the sorted steps and of the differences between them (two that differ by less than a
   millionth are the same, printed), if 95 % of them are whole multiples of it to 2 % of it; else 0. */
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

/* Median over windows of the mean step: pauses and losses touch few of them. work: n doubles. */
static double mean_step(const double *stamp, size_t n, double *work)
{
    size_t window = n - 1 < WINDOW ? n - 1 : WINDOW, count = 0;
    for (size_t i = 0; i + window < n; i++)
        work[count++] = (stamp[i + window] - stamp[i]) / (double)window;
    gsl_sort(work, 1, count);
    double median = work[count / 2];
    return median > 0 ? median : (stamp[n - 1] - stamp[0]) / (double)(n - 1);
}

/* Rows that came together, and the median of the steps between those that did not. */
static void look_at_batches(steps *out, const double *stamp, size_t n, double *work)
{
    size_t run = 1, small = 0, large = 0;
    out->batch = 1;
    for (size_t i = 1; i < n; i++) {
        double step = stamp[i] - stamp[i - 1];
        bool together = step < SMALL * out->mean;
        small += together;
        run = together ? run + 1 : 1;
        out->batch = run > out->batch ? run : out->batch;
        if (!together)
            work[large++] = step;
    }
    out->small = (double)small / (double)(n - 1);
    if (large > 0) {
        gsl_sort(work, 1, large);
        out->large = work[large / 2];
    }
}

/* work: n doubles. */
static steps look_at_steps(const double *stamp, size_t n, double *work)
{
    steps out = {.mean = mean_step(stamp, n, work)};
    look_at_batches(&out, stamp, n, work);
    size_t rises = 0, zeros = 0;
    for (size_t i = 1; i < n; i++) {
        double step = stamp[i] - stamp[i - 1];
        zeros += step == 0;
        if (step > 0)
            work[rises++] = step;
    }
    out.zero = (double)zeros / (double)(n - 1);
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

/* Are the stamps coarse? Certainly if many are equal. If they lie on a grid of about a step, steps of two
   kinds come from the grid when they follow each other evenly (the stamps stay near a line by row number),
   and from lost samples when they do not: over a window with 16 of the odd steps the random walk that
   losses make leaves an rms of about one step, the grid at most 0.3. */
static bool is_coarse(const double *stamp, size_t n, const steps *seen)
{
    if (seen->zero > 0.05)
        return true;
    if (seen->grid <= FINE_GRID * seen->median || seen->odd * (double)n < 8)
        return false;
    size_t window = (size_t)(16 / seen->odd);
    window = window < INGEST_ROWS_MIN ? INGEST_ROWS_MIN : window;
    window = window > n ? n : window;
    return rms_by_row(stamp, n, window) < 0.5 * seen->median;
}

/* Rows come at once, and the time between such batches is not merely the resolution of the stamps. */
static bool is_bursty(const steps *seen)
{
    return seen->small > TOGETHER && (seen->grid <= 0 || seen->large > 1.5 * seen->grid);
}

/* The median slope of lines from one batch's last row to that of a batch some way off: pauses and losses
   touch few of them. work: n doubles. */
static double step_of_batches(const double *stamp, size_t n, const steps *seen, double *work)
{
    double mean = seen->mean;
    size_t span = 8 * seen->batch > WINDOW ? 8 * seen->batch : WINDOW, count = 0, from = 0, to = 0;
    span = span < n / 2 ? span : n / 2;
    while (from < n - 1 && stamp[from + 1] - stamp[from] < SMALL * mean)
        from++;
    for (; from + span < n; from++) {
        if (stamp[from + 1] - stamp[from] < SMALL * mean)
            continue;
        to = to < from + span ? from + span : to;
        while (to < n - 1 && stamp[to + 1] - stamp[to] < SMALL * mean)
            to++;
        if (to == n - 1)
            break;
        work[count++] = (stamp[to] - stamp[from]) / (double)(to - from);
    }
    if (count == 0)
        return mean;
    gsl_sort(work, 1, count);
    return work[count / 2];
}

static ingest_prefix settle(const double *stamp, size_t n, double *work)
{
    steps seen = look_at_steps(stamp, n, work);
    ingest_prefix out = {.grid = seen.grid, .batch = seen.batch, .half_width = 0.03};
    out.bursty = is_bursty(&seen);
    out.coarse = out.bursty || is_coarse(stamp, n, &seen);
    out.step = seen.median > 0 && out.coarse ? step_of_batches(stamp, n, &seen, work) : seen.median;
    if (seen.grid <= FINE_GRID * out.step)
        out.half_width = fmax(out.half_width, FINE_GRID * seen.grid / out.step);
    return out;
}

quell_status ingest_prefix_look(ingest_prefix *out, const double *stamp, size_t n, quell_error *err)
{
    n = n < INGEST_PREFIX ? n : INGEST_PREFIX;
    double *work = n > 1 ? quell_memory_get(n * sizeof *work) : NULL;
    if (n > 1 && work == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the clock");
    ingest_prefix found = {0};
    if (n > 1)
        found = settle(stamp, n, work);
    quell_memory_free(work);
    if (!(found.step > 0) || !(stamp[n - 1] > stamp[0]))
        return quell_fail(err, QUELL_E_DATA,
                          "time does not rise over %zu rows, want stamps that do, or --rate HZ", n);
    if (!((stamp[n - 1] - stamp[0]) / found.step < 1e15))
        return quell_fail(err, QUELL_E_DATA,
                          "the stamps keep no steady step, want a recording at an even rate");
    *out = found;
    return QUELL_OK;
}
