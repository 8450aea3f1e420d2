/* Damped Newton iteration for small dense systems. */
#include "shaping/shaping_private.h"

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
    double f[NEWTON_MAX], jacobian[NEWTON_MAX * NEWTON_MAX], step[NEWTON_MAX], right[NEWTON_MAX];
    if (!system->evaluate(system->problem, x, f, jacobian))
        return false;
    for (int i = 0; i < ITERATIONS; i++) {
        for (size_t k = 0; k < n; k++)
            right[k] = -f[k];
        if (!quell_linear_solve(jacobian, right, step, n))
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
