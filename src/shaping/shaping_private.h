/* What the files of the shaping stage share: the designs behind the family table, and the solver of shapers with
   humps. */
#ifndef QUELL_SHAPING_PRIVATE_H
#define QUELL_SHAPING_PRIVATE_H

#include "quell/shaping.h"

/* ---------------------------------------------------------------- designs, see quell_family.design */

quell_status quell_design_zv(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_zvd(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_zvdd(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_zvddd(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_ei(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_two_hump(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_three_hump(quell_shaper *out, const quell_design_point *at, quell_error *err);

/* ---------------------------------------------------------------- damped Newton iteration */

enum { NEWTON_MAX = 16 };

/* `size` equations f(x) = 0 in as many unknowns, all scaled to be of order 1. */
typedef struct newton_system {
    size_t size; /* at most NEWTON_MAX */
    const void *problem;
    /* f and its Jacobian (row by row) at x; false where the equations make no sense. */
    bool (*evaluate)(const void *problem, const double *x, double *f, double *jacobian);
    /* The largest share of the step from x for which the linear picture can be trusted, in (0, 1]. */
    double (*trust)(const void *problem, const double *x, const double *step);
} newton_system;

/* Improves x until a step is below step_tolerance in every unknown, and takes that step too: what is left is its
   square. False if it does not get there; x is then of no use. */
bool quell_newton_solve(const newton_system *system, double *x, double step_tolerance);

/* ---------------------------------------------------------------- shapers with humps */

enum { HUMP_ZEROS_MAX = 4 };

/* n zeros of the residual, n - 1 humps of height V between them, n + 1 impulses. Frequencies are relative to the
   design frequency, less 1, in units of `spacing`; times are in radians of the design frequency. */
typedef struct hump_problem {
    size_t zeros;        /* n: 2 (EI), 3 (two-hump), 4 (three-hump) */
    bool last_at_period; /* EI: last impulse after one damped period, instead of a stationary hump */
    double damping_ratio;
    double tolerance;
    double spacing;
} hump_problem;

/* Places in the vector of the 4n unknowns: amplitudes at 0 to n, times of impulses 1 to n, zeros, humps. */
static inline size_t hump_time_at(size_t n, size_t impulse)
{
    return n + impulse;
}

static inline size_t hump_zero_at(size_t n, size_t zero)
{
    return 2 * n + 1 + zero;
}

static inline size_t hump_peak_at(size_t n, size_t peak)
{
    return 3 * n + 1 + peak;
}

/* The undamped solution in closed form, for the problem's zeros and tolerance; sets its spacing. */
void quell_hump_undamped(hump_problem *problem, double *x);

/* newton_system's functions; the problem is a hump_problem. */
bool quell_hump_evaluate(const void *problem, const double *x, double *f, double *jacobian);
double quell_hump_trust(const void *problem, const double *x, const double *step);

/* Designs a shaper with humps. QUELL_OK, or QUELL_E_NO_SHAPER naming the largest damping ratio that has one.
   title: for the message. */
quell_status quell_hump_design(quell_shaper *out, size_t zeros, bool last_at_period, const char *title,
                               const quell_design_point *at, quell_error *err);

#endif
