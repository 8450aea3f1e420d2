/* UM-ZV and UM-ZVD: impulses of 1, -1, 1 (-1, 1), whose residual, and for UM-ZVD its derivative by frequency too, is 0 at the
   design mode. All that can be chosen is their times: two or four of them, for as many real equations.

   Source: Singhose, Singer and Seering, ASME J. Dyn. Syst. Meas. Control 119(2):198-205, 1997. */
#include "shaping/shaping_private.h"

#include <math.h>
#include <string.h>

#define STEP_LARGEST 0.02 /* in damping ratio, from one solution to the next */
#define STEP_LEAST 1e-6
#define NEWTON_BETWEEN 1e-4
#define NEWTON_FINAL 1e-9 /* what is left is its square */
#define ONE_MOVE 0.1      /* of a time in one step of Newton's method, in radians of the design frequency */

enum { DERIVATIVES_MAX = 2 };

static const double complex j = (double complex)I;

typedef struct unity_problem {
    size_t derivatives; /* that are 0, the residual itself among them */
    double damping_ratio;
} unity_problem;

/* Sum over the impulses of A phi^k exp(p phi), k = 0 to derivatives - 1: the residual and its slope by frequency. */
static bool evaluate(const void *given, const double *x, double *f, double *jacobian)
{
    const unity_problem *problem = given;
    const size_t size = 2 * problem->derivatives;
    const double zeta = problem->damping_ratio;
    const double complex p = zeta + sqrt(1 - zeta * zeta) * j;
    for (size_t k = 0; k < problem->derivatives; k++) {
        double complex sum = k == 0 ? 1 : 0; /* the first impulse, at 0 */
        for (size_t i = 0; i < size; i++) {
            const double sign = i % 2 == 0 ? -1 : 1, power = k == 0 ? 1 : x[i];
            const double complex turned = sign * cexp(p * x[i]), slope = turned * (p * power + (double)k);
            sum += turned * power;
            jacobian[2 * k * size + i] = creal(slope);
            jacobian[(2 * k + 1) * size + i] = cimag(slope);
        }
        f[2 * k] = creal(sum);
        f[2 * k + 1] = cimag(sum);
    }
    return true;
}

static double trust(const void *given, const double *x, const double *step)
{
    const unity_problem *problem = given;
    double most = ONE_MOVE;
    (void)x;
    for (size_t i = 0; i < 2 * problem->derivatives; i++)
        most = fmax(most, fabs(step[i]));
    return ONE_MOVE / most;
}

static bool in_order(const double *x, size_t size)
{
    for (size_t i = 0; i < size; i++)
        if (!(x[i] > (i > 0 ? x[i - 1] : 0)))
            return false;
    return true;
}

/* From near the undamped solution to the damping ratio asked for; returns the one reached. */
static double continue_to(unity_problem *problem, double *x, double goal)
{
    const size_t size = 2 * problem->derivatives;
    const newton_system system = {size, problem, evaluate, trust};
    double reached = -1, next = 0, step = STEP_LARGEST, trial[2 * DERIVATIVES_MAX];
    while (reached < goal) {
        problem->damping_ratio = next;
        memcpy(trial, x, sizeof trial);
        if (quell_newton_solve(&system, trial, next >= goal ? NEWTON_FINAL : NEWTON_BETWEEN) && in_order(trial, size)) {
            memcpy(x, trial, sizeof trial);
            reached = next;
        } else {
            step /= 2;
            if (reached < 0 || step < STEP_LEAST)
                break;
        }
        next = fmin(reached + step, goal);
    }
    return reached;
}

/* Undamped, the times are symmetric, and with halves a and b of the outer and the inner gaps the equations are
   1 - 2 cos b + 2 cos a = 0 and a sin a = b sin b; UM-ZV's are sixths of a period. These start Newton's method. */
static const double undamped_zv[] = {QUELL_PI / 3, 2 * QUELL_PI / 3};
static const double undamped_zvd[] = {0.5624, 2.3011, 4.0398, 4.6022};

static quell_status design(quell_shaper *out, size_t derivatives, const double *start, const char *what,
                           const quell_design_point *at, quell_error *err)
{
    unity_problem problem = {.derivatives = derivatives};
    double x[2 * DERIVATIVES_MAX] = {0};
    const size_t size = 2 * derivatives;
    memcpy(x, start, size * sizeof *x);
    const double reached = continue_to(&problem, x, at->damping_ratio);
    if (reached < at->damping_ratio)
        return quell_refuse_damping(err, what, at->damping_ratio, fmax(reached, 0));
    out->count = size + 1;
    for (size_t i = 0; i <= size; i++) {
        out->amplitude[i] = i % 2 == 0 ? 1 : -1;
        out->time_s[i] = i > 0 ? x[i - 1] / QUELL_TAU : 0;
    }
    return QUELL_OK;
}

quell_status quell_design_um_zv(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    return design(out, 1, undamped_zv, "UM-ZV shaper", at, err);
}

quell_status quell_design_um_zvd(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    return design(out, 2, undamped_zvd, "UM-ZVD shaper", at, err);
}
