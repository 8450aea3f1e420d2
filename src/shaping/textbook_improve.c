/* A textbook shaper, or a product of some, improved in all that may be set: a sequence of linear programs over the design
   frequencies, damping ratios and tolerances, each trusted within a small step. */
#include "shaping/tailor_private.h"

#include <math.h>
#include <string.h>

#define FIRST_STEP 0.02     /* of ln f and ln V; a quarter of it, of the damping ratio */
#define LAST_STEP 1e-7
#define DIFFERENCE 1e-5     /* of the derivatives */
#define WORTH_A_ROW 0.6     /* of the band's worst */
#define PENALTY 10.0        /* of R beyond the limit, both relative, against the measure */
#define MARGIN 1e-6         /* of the limit: rounding */
#define BELOW 5e-6          /* of the limit */
#define LATER_STEP 2e-3
#define WORTH_A_STEP 1e-8

enum { SETTINGS = 3 * TEXTBOOK_PARTS, STEPS_BACK = 12 };
enum { COLUMNS = SETTINGS + QUELL_TAILOR_BANDS_MAX + 1 /* settings, s of each band, what exceeds the limit */ };

typedef struct improvement {
    const quell_bands *bands;
    const quell_textbook_limits *limits;
    double limit, penalty; /* the limit a hair lower, so that rounding keeps it */
    size_t settings;
    struct {
        size_t part, what; /* 0 frequency, 1 damping ratio, 2 tolerance */
    } setting[SETTINGS];
    demand_list list;
    double slope[DEMANDS_MOST][SETTINGS], measure_slope[SETTINGS];
    double entry[(DEMANDS_MOST + QUELL_TAILOR_BANDS_MAX + 1) * COLUMNS], bound[DEMANDS_MOST + QUELL_TAILOR_BANDS_MAX + 1];
    double cost[COLUMNS], low[COLUMNS], high[COLUMNS], x[COLUMNS];
    lp_kind kind[DEMANDS_MOST + QUELL_TAILOR_BANDS_MAX + 1];
} improvement;

static void list_settings(improvement *work, const textbook_candidate *of)
{
    work->settings = 0;
    for (size_t p = 0; p < of->parts; p++)
        for (size_t what = 0; what < 3; what++) {
            bool humps = (of->family[p]->flags & QUELL_FAMILY_TOLERANCE) != 0;
            if (what == 2 && (!humps || work->limits->tolerance > 0))
                continue;
            work->setting[work->settings].part = p;
            work->setting[work->settings++].what = what;
        }
}

/* Sets one thing off by so much; false out of its range. */
static bool change(const improvement *work, textbook_candidate *of, size_t i, double by)
{
    quell_design_point *at = &of->at[work->setting[i].part];
    switch (work->setting[i].what) {
    case 0:
        at->frequency_hz *= exp(by);
        return true;
    case 1:
        at->damping_ratio += by / 4;
        return at->damping_ratio >= 0 && at->damping_ratio <= QUELL_DAMPING_RATIO_MAX;
    default:
        at->tolerance *= exp(by);
        return at->tolerance <= QUELL_TOLERANCE_MAX;
    }
}

static bool build(textbook_candidate *of, const quell_textbook_limits *limits)
{
    quell_shaper_identity(&of->made.shaper);
    of->made.parts = of->parts;
    for (size_t p = 0; p < of->parts; p++)
        if (quell_shaper_design(&of->made.part[p], of->family[p], &of->at[p], NULL) != QUELL_OK ||
            quell_shaper_convolve(&of->made.shaper, &of->made.shaper, &of->made.part[p], NULL) != QUELL_OK)
            return false;
    of->measure = textbook_measure(limits, &of->made.shaper);
    return true;
}

/* Derivatives of the demands and of the measure by every setting. */
static void differentiate(improvement *work, const textbook_candidate *of)
{
    for (size_t i = 0; i < work->settings; i++) {
        textbook_candidate moved = *of;
        double by = DIFFERENCE;
        if (!change(work, &moved, i, by) || !build(&moved, work->limits)) {
            moved = *of;
            by = -DIFFERENCE;
        }
        bool there = by > 0 || (change(work, &moved, i, by) && build(&moved, work->limits));
        work->measure_slope[i] = there ? (moved.measure / of->measure - 1) / by : 0;
        for (size_t j = 0; j < work->list.count; j++) {
            const demand *at = &work->list.demand[j];
            double now = quell_residual(&of->made.shaper, at->hz, at->zeta);
            work->slope[j][i] = there ? (quell_residual(&moved.made.shaper, at->hz, at->zeta) - now) / by : 0;
        }
    }
}

static void set_up(improvement *work, const textbook_candidate *of, double step, lp_problem *out)
{
    const quell_bands *bands = work->bands;
    size_t n = work->settings, slacks = bands->count, columns = n + slacks + 1, rows = work->list.count;
    double limit = work->limit;
    size_t limit_rows = bands->weighted ? 1 : bands->count;
    *out = (lp_problem){.rows = rows + limit_rows, .columns = columns, .cost = work->cost, .entry = work->entry,
                        .bound = work->bound, .kind = work->kind, .low = work->low, .high = work->high};
    memset(work->entry, 0, out->rows * columns * sizeof *work->entry);
    for (size_t i = 0; i < n; i++) {
        const quell_design_point *at = &of->at[work->setting[i].part];
        work->cost[i] = work->measure_slope[i];
        work->low[i] = work->setting[i].what == 1 ? -fmin(step, 4 * at->damping_ratio) : -step;
        work->high[i] = work->setting[i].what == 2 ? fmin(step, log(QUELL_TOLERANCE_MAX / at->tolerance)) : step;
    }
    for (size_t k = n; k < columns; k++) {
        work->cost[k] = k + 1 == columns ? work->penalty / limit : 0;
        work->low[k] = 0;
        work->high[k] = HUGE_VAL;
    }
    for (size_t j = 0; j < rows; j++) {
        double *row = work->entry + j * columns;
        memcpy(row, work->slope[j], n * sizeof *row);
        row[n + work->list.demand[j].band] = -1;
        work->bound[j] = -work->list.demand[j].residual;
        work->kind[j] = LP_AT_MOST;
    }
    for (size_t r = 0; r < limit_rows; r++) {
        double *row = work->entry + (rows + r) * columns;
        for (size_t k = 0; k < slacks; k++)
            row[n + k] = bands->weighted ? bands->band[k].weight : k == r;
        row[columns - 1] = -1;
        work->bound[rows + r] = limit;
        work->kind[rows + r] = LP_AT_MOST;
    }
}

static double merit(const textbook_candidate *of, double limit, double penalty)
{
    return of->measure * (1 + penalty * fmax(0, of->made.residual_worst / limit - 1));
}

typedef enum outcome { WENT, WENT_FAR, STAYED } outcome;

static outcome try_step(improvement *work, textbook_candidate *of, double step)
{
    lp_problem problem;
    double least, limit = work->limit;
    set_up(work, of, step, &problem);
    if (!lp_solve(&problem, work->x, NULL, &least))
        return STAYED;
    textbook_candidate moved = *of;
    for (size_t i = 0; i < work->settings; i++)
        if (!change(work, &moved, i, work->x[i]))
            return STAYED;
    if (!build(&moved, work->limits))
        return STAYED;
    moved.made.residual_worst = quell_bands_residual(work->bands, &moved.made.shaper);
    double before = merit(of, limit, work->penalty), gained = before - merit(&moved, limit, work->penalty);
    double promised = before - of->measure * (1 + least); /* least: of the change, and of what exceeds the limit */
    if (!(gained > WORTH_A_STEP * before))
        return STAYED;
    *of = moved;
    return gained > 0.7 * promised ? WENT_FAR : WENT;
}

static void go(improvement *work, textbook_candidate *of, double step, size_t steps)
{
    outcome last = WENT;
    for (size_t i = 0; i < steps && step > LAST_STEP; i++) {
        if (last != STAYED) {
            of->made.residual_worst = demands_list(&work->list, work->bands, &of->made.shaper, WORTH_A_ROW);
            differentiate(work, of);
        }
        last = try_step(work, of, step);
        step *= last == WENT_FAR ? 2 : last == WENT ? 1 : 1.0 / 3;
    }
    of->made.residual_worst = quell_bands_residual(work->bands, &of->made.shaper);
    of->keeps = of->made.residual_worst <= work->limits->residual_limit * (1 + MARGIN);
}

void textbook_improve(textbook_candidate *of, const quell_bands *bands, const quell_textbook_limits *limits, size_t steps)
{
    improvement *work = quell_memory_get(sizeof *work);
    of->keeps = false;
    of->merit = work == NULL ? (double)NAN : HUGE_VAL;
    if (work == NULL || !build(of, limits)) {
        quell_memory_free(work);
        return;
    }
    work->bands = bands;
    work->limits = limits;
    work->limit = limits->residual_limit * (1 - BELOW);
    work->penalty = PENALTY;
    list_settings(work, of);
    go(work, of, FIRST_STEP, steps);
    if (!of->keeps) {
        work->penalty *= 100;
        go(work, of, LATER_STEP, STEPS_BACK);
    }
    of->merit = merit(of, limits->residual_limit, PENALTY);
    quell_memory_free(work);
}
