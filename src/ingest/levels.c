/* The smallest step between values, the resolution behind it, and clipping, measured while the values pass. The first
   65536 values are held until the resolution is fitted on them; the rest is checked against it. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

enum {
    HELD = 1 << 16,
    PART = 64,   /* values looked at together: a power of two */
    CHECKED = 8, /* of so many parts one is checked against the resolution */
    LANES = 4,   /* values compared side by side */
    CLIPPED_RUN = 3
};

#define FITS_WITHIN 0.15 /* of a step: values nearer than that to a multiple lie on it */
#define FITS_SHARE 0.99

/* What lies at the extreme on one side. */
typedef struct pile {
    double sign, extreme; /* of sign * value */
    size_t at_extreme, in_runs, runs, run;
    size_t below; /* values up to 1.5 steps inwards */
} pile;

/* One axis. */
typedef struct axis {
    double *held;
    size_t held_count;
    bool fitted, waited;
    double last;   /* held last before, if it has waited */
    double change; /* smallest between neighbours; infinite before there is any */
    double step;   /* fitted; 0: none, or not yet */
    size_t seen, fitting;
    pile high, low;
    double pile_step; /* what counts as one step at the piles */
} axis;

struct ingest_levels {
    size_t axes, count; /* values an axis */
    axis axis[3];
};

static void find_change(axis *a, size_t n)
{
    double before = a->waited ? a->last : a->held[0];
    for (size_t i = 0; i < n; i++) {
        double change = fabs(a->held[i] - before);
        before = a->held[i];
        if (change > 0 && change < a->change)
            a->change = change;
    }
    a->last = before;
    a->waited = true;
}

/* The nearest whole number, for |x| < 2^51: adding 1.5 * 2^52 leaves no room for a fraction. */
static double nearest(double x)
{
    const double big = 6755399441055744.0;
    return (x + big) - big;
}

static void check_step(axis *a, const double *value, size_t n)
{
    size_t fits = 0;
    double per_step = 1 / a->step, from = a->held[0];
    for (size_t i = 0; i < n; i++) {
        double multiple = (value[i] - from) * per_step;
        fits += fabs(multiple - nearest(multiple)) < FITS_WITHIN;
    }
    a->fitting += fits;
    a->seen += n;
}

/* The step on whose multiples the values lie. Values are printed to some digits, so the smallest change is only near
   it: the step is fitted on ever larger multiples. 0 if that leads away from the smallest change. */
static double fit_step(const axis *a, size_t n)
{
    static const double reach[] = {64, 4096, 1e9};
    double step = a->change;
    for (size_t round = 0; round < INGEST_COUNT(reach); round++) {
        double both = 0, square = 0;
        for (size_t i = 1; i < n; i++) {
            double off = a->held[i] - a->held[0], multiple = nearest(off / step);
            if (fabs(multiple) > reach[round])
                continue;
            both += multiple * off;
            square += multiple * multiple;
        }
        if (square > 0)
            step = both / square;
        if (!(step > 0.5 * a->change && step < 2 * a->change))
            return 0;
    }
    return step;
}

/* A new extreme: what lay at the old one lies below it, if it is near enough. */
static void start_pile(pile *p, double extreme, double step)
{
    p->below = extreme - p->extreme < 1.5 * step ? p->at_extreme : 0;
    p->extreme = extreme;
    p->at_extreme = p->in_runs = p->runs = p->run = 0;
}

static void scan_pile(pile *p, const double *value, size_t n, double step)
{
    for (size_t i = 0; i < n; i++) {
        double off = p->extreme - p->sign * value[i];
        if (off < 0) {
            start_pile(p, p->sign * value[i], step);
            off = 0;
        }
        p->run = off <= 0 ? p->run + 1 : 0;
        p->at_extreme += off <= 0;
        p->below += off > 0 && off < 1.5 * step;
        p->runs += p->run == CLIPPED_RUN;
        p->in_runs += p->run == CLIPPED_RUN ? CLIPPED_RUN : p->run > CLIPPED_RUN;
    }
}

static void find_range(const double *value, size_t n, double *smallest, double *largest)
{
    double low[LANES], high[LANES];
    for (size_t j = 0; j < LANES; j++)
        low[j] = high[j] = value[0];
    size_t whole = n / LANES * LANES;
    for (size_t i = 0; i < whole; i += LANES)
        for (size_t j = 0; j < LANES; j++) {
            low[j] = value[i + j] < low[j] ? value[i + j] : low[j];
            high[j] = value[i + j] > high[j] ? value[i + j] : high[j];
        }
    for (size_t i = whole; i < n; i++) {
        low[0] = value[i] < low[0] ? value[i] : low[0];
        high[0] = value[i] > high[0] ? value[i] : high[0];
    }
    *smallest = fmin(fmin(low[0], low[1]), fmin(low[2], low[3]));
    *largest = fmax(fmax(high[0], high[1]), fmax(high[2], high[3]));
}

/* Most parts come nowhere near the extremes. */
static void find_piles(axis *a, const double *value, size_t n)
{
    double smallest, largest, reach = 1.5 * a->pile_step;
    find_range(value, n, &smallest, &largest);
    if (largest > a->high.extreme - reach)
        scan_pile(&a->high, value, n, a->pile_step);
    else
        a->high.run = 0;
    if (-smallest > a->low.extreme - reach)
        scan_pile(&a->low, value, n, a->pile_step);
    else
        a->low.run = 0;
}

static void pass(axis *a, const double *value, size_t n)
{
    for (size_t at = 0, part; at < n; at += part) {
        part = n - at < PART ? n - at : PART;
        find_piles(a, value + at, part);
    }
}

/* The values held: the resolution is fitted on them, then they pass like all others. An axis that has not changed yet
   goes on waiting. */
static void fit(axis *a, size_t n)
{
    if (n > 0)
        find_change(a, n);
    a->held_count = 0;
    if (!isfinite(a->change))
        return;
    a->fitted = true;
    a->step = fit_step(a, n);
    a->pile_step = a->step > 0 ? a->step : a->change;
    if (a->step > 0)
        check_step(a, a->held, n);
    pass(a, a->held, n);
}

quell_status ingest_levels_create(ingest_levels **out, size_t axes, quell_arena *arena, quell_error *err)
{
    ingest_levels *made = QUELL_NEW(arena, ingest_levels, 1);
    bool all = made != NULL;
    for (size_t k = 0; k < axes && all; k++) {
        made->axis[k] = (axis){.change = HUGE_VAL,
                               .held = QUELL_NEW(arena, double, HELD),
                               .high = {.sign = 1, .extreme = -HUGE_VAL},
                               .low = {.sign = -1, .extreme = -HUGE_VAL}};
        all = made->axis[k].held != NULL;
    }
    if (!all)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for measuring steps");
    made->axes = axes;
    *out = made;
    return QUELL_OK;
}

static void hold(axis *a, const double *value, size_t n)
{
    memcpy(a->held + a->held_count, value, n * sizeof *value);
    a->held_count += n;
    if (a->held_count == HELD)
        fit(a, HELD);
}

/* Not all of a long recording needs to be held against the resolution. */
static void take(axis *a, const double *value, size_t n)
{
    if (a->step > 0)
        for (size_t at = 0; at < n; at += (size_t)CHECKED * PART)
            check_step(a, value + at, n - at < PART ? n - at : PART);
    pass(a, value, n);
}

void ingest_levels_add(ingest_levels *levels, const double *const *value, size_t n)
{
    for (size_t k = 0; k < levels->axes; k++) {
        axis *a = &levels->axis[k];
        size_t at = 0;
        while (at < n && !a->fitted) {
            size_t room = HELD - a->held_count, part = n - at < room ? n - at : room;
            hold(a, value[k] + at, part);
            at += part;
        }
        if (at < n)
            take(a, value[k] + at, n - at);
    }
    levels->count += n;
}

/* Samples in runs of three or more at the extreme on one side, if there are two such runs. The crests of a coarsely
   stepped tone make runs, too: at most 1/(sqrt(2) - 1) = 2.4 times as many values as one step inwards (arcsine law).
   So they count only where values pile up threefold. */
static size_t clipped(const pile *p)
{
    return p->runs >= 2 && p->at_extreme > 3 * p->below ? p->in_runs : 0;
}

void ingest_levels_finish(ingest_levels *levels, const double scale[3], quell_recording *recording)
{
    for (size_t k = 0; k < levels->axes; k++) {
        axis *a = &levels->axis[k];
        if (!a->fitted)
            fit(a, a->held_count);
        bool fits = (double)a->fitting >= FITS_SHARE * (double)a->seen;
        recording->step_mps2[k] = a->fitted ? a->change * fabs(scale[k]) : 0;
        recording->resolution_mps2[k] = a->fitted && fits ? a->step * fabs(scale[k]) : 0;
        recording->clipped_fraction[k] =
            a->fitted ? (double)(clipped(&a->high) + clipped(&a->low)) / (double)levels->count : 0;
    }
}
