/* Damped Newton iteration for small dense systems; the linear solves are GSL's. */
#include "shaping/shaping_private.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <string.h>

enum { ITERATIONS = 40, HALVINGS = 8 };

static double norm(const double *v, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += v[i] * v[i];
    return sqrt(sum);
}

static double largest(const double *v, size_t n)
{
    double most = 0;
    for (size_t i = 0; i < n; i++)
        most = fmax(most, fabs(v[i]));
    return most;
}

/* matrix * out = -right; matrix is overwritten. GSL tells of a singular matrix through its error handler, which may
   abort the process: so the pivots are looked at first. */
static bool solve_linear(double *matrix, const double *right, double *out, size_t n)
{
    gsl_matrix_view a = gsl_matrix_view_array(matrix, n, n);
    size_t order[NEWTON_MAX];
    gsl_permutation permutation = {n, order};
    int sign;
    if (gsl_linalg_LU_decomp(&a.matrix, &permutation, &sign) != 0)
        return false;
    for (size_t i = 0; i < n; i++)
        if (!isfinite(matrix[i * n + i]) || matrix[i * n + i] == 0.0)
            return false;
    for (size_t i = 0; i < n; i++)
        out[i] = -right[i];
    gsl_vector_view x = gsl_vector_view_array(out, n);
    gsl_linalg_LU_svx(&a.matrix, &permutation, &x.vector);
    for (size_t i = 0; i < n; i++)
        if (!isfinite(out[i]))
            return false;
    return true;
}

/* x + share * step, with the share halved until the equations are nearer to being met; f and jacobian are those of
   the new x. */
static bool take_step(const newton_system *system, double *x, const double *step, double *f, double *jacobian)
{
    const size_t n = system->size;
    const double before = norm(f, n);
    double share = system->trust(system->problem, x, step), trial[NEWTON_MAX];
    for (int halving = 0; halving < HALVINGS; halving++, share /= 2) {
        for (size_t i = 0; i < n; i++)
            trial[i] = x[i] + share * step[i];
        if (system->evaluate(system->problem, trial, f, jacobian) &&
            norm(f, n) <= (1 - 1e-4 * share) * before) {
            memcpy(x, trial, n * sizeof *x);
            return true;
        }
    }
    return false;
}

bool quell_newton_solve(const newton_system *system, double *x, double step_tolerance)
{
    const size_t n = system->size;
    double f[NEWTON_MAX], jacobian[NEWTON_MAX * NEWTON_MAX], step[NEWTON_MAX];
    if (!system->evaluate(system->problem, x, f, jacobian))
        return false;
    for (int i = 0; i < ITERATIONS; i++) {
        if (!solve_linear(jacobian, f, step, n))
            return false;
        if (largest(step, n) < step_tolerance) {
            for (size_t k = 0; k < n; k++)
                x[k] += step[k];
            return true;
        }
        if (!take_step(system, x, step, f, jacobian))
            return false;
    }
    return false;
}
