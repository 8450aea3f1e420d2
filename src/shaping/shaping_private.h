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
quell_status quell_design_um_zv(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_um_zvd(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_um_ei(quell_shaper *out, const quell_design_point *at, quell_error *err);

quell_status quell_design_box(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_raised_cosine(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_spline2(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_spline3(quell_shaper *out, const quell_design_point *at, quell_error *err);
quell_status quell_design_spline4(quell_shaper *out, const quell_design_point *at, quell_error *err);

/* The cardinal B-spline of an order from 1: that many boxes of length 1 convolved, on [0, order]. */
double quell_b_spline(size_t order, double x);

/* Says up to which damping ratio a family reaches; QUELL_E_NO_SHAPER. what: "three-hump EI shaper with a tolerance of
   0.05". */
quell_status quell_refuse_damping(quell_error *err, const char *what, double asked, double reached);

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

enum { HUMP_ZEROS_MAX = 4, HUMP_IMPULSES_MAX = 5 };

/* n zeros of the residual and n - 1 humps of height V between them. Frequencies are relative to the design frequency, less
   1, in units of `spacing`; times are in radians of the design frequency. */
typedef struct hump_problem {
    size_t zeros;        /* n: 2 (EI), 3 (two-hump), 4 (three-hump) */
    size_t impulses;     /* n + 1, or as many as there are fixed amplitudes */
    const double *fixed; /* amplitudes that are given; NULL: they are unknowns */
    bool last_at_period; /* EI: last impulse after one damped period, instead of a stationary hump */
    double damping_ratio;
    double tolerance;
    double spacing;
    double middle; /* of the undamped shaper in time: angles are taken from there */
} hump_problem;

/* Places in the vector of unknowns: amplitudes of all impulses (unless they are fixed), times of all but the first, zeros,
   humps. */
static inline size_t hump_time_at(const hump_problem *problem, size_t impulse)
{
    return (problem->fixed == NULL ? problem->impulses : 0) + impulse - 1;
}

static inline size_t hump_zero_at(const hump_problem *problem, size_t zero)
{
    return hump_time_at(problem, problem->impulses) + zero;
}

static inline size_t hump_peak_at(const hump_problem *problem, size_t peak)
{
    return hump_zero_at(problem, problem->zeros) + peak;
}

static inline size_t hump_size(const hump_problem *problem)
{
    return hump_peak_at(problem, problem->zeros - 1);
}

static inline double hump_amplitude(const hump_problem *problem, const double *x, size_t impulse)
{
    return problem->fixed != NULL ? problem->fixed[impulse] : x[impulse];
}

/* The undamped solution in closed form, for the problem's zeros and tolerance; sets its spacing. */
void quell_hump_undamped(hump_problem *problem, double *x);

/* newton_system's functions; the problem is a hump_problem. */
bool quell_hump_evaluate(const void *problem, const double *x, double *f, double *jacobian);
double quell_hump_trust(const void *problem, const double *x, const double *step);

/* Takes an undamped solution x (room for NEWTON_MAX) to the damping ratio asked for and writes the shaper. */
quell_status quell_hump_continue(quell_shaper *out, hump_problem *problem, double *x, const char *title,
                                 const quell_design_point *at, quell_error *err);

/* Residuals are sums of doubles of order 1: a smaller tolerance cannot be told from this one. */
#define HUMP_TOLERANCE_LEAST 1e-12

/* Designs a shaper with humps. QUELL_OK, or QUELL_E_NO_SHAPER naming the largest damping ratio that has one.
   title: for the message. */
quell_status quell_hump_design(quell_shaper *out, size_t zeros, bool last_at_period, const char *title,
                               const quell_design_point *at, quell_error *err);

#endif
