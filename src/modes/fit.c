/* The fit: Fisher scoring, damped (K. Levenberg, Q. Appl. Math. 2, 1944; D. W. Marquardt, J. SIAM 11, 1963), on analytic
   derivatives. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define SLOPE_MAX 3.0 /* of b1 */

/* Where there is no noise, nothing holds its level: it may move by this much a step. */
#define NOISE_STEP 2.0

/* The range of a parameter that has one. */
static bool bounds(const quell_fit_problem *problem, size_t modes, size_t p, double range[2])
{
    if (p == FIT_PER_MODE * modes + FIT_B1) {
        range[0] = -SLOPE_MAX;
        range[1] = SLOPE_MAX;
        return true;
    }
    if (p == FIT_PER_MODE * modes + FIT_NOISE) {
        memcpy(range, problem->noise_bounds, sizeof problem->noise_bounds);
        return true;
    }
    if (p % FIT_PER_MODE == FIT_C && p < FIT_PER_MODE * modes && problem->model.form != MODEL_AMBIENT) {
        range[0] = -FIT_PARTICIPATION_MAX;
        range[1] = FIT_PARTICIPATION_MAX;
        return true;
    }
    return false;
}

size_t quell_fit_free_parameters(const quell_fit_problem *problem, const quell_fit *fit, const double *gradient,
                                 size_t *index)
{
    size_t common = FIT_PER_MODE * fit->modes, n = common + FIT_COMMON, count = 0;
    for (size_t p = 0; p < n; p++) {
        double range[2];
        bool held = (p >= common && problem->held[p - common]) ||
                    (bounds(problem, fit->modes, p, range) && ((fit->parameter[p] <= range[0] && gradient[p] < 0) ||
                                                               (fit->parameter[p] >= range[1] && gradient[p] > 0)));
        if (!held)
            index[count++] = p;
    }
    return count;
}

/* One damped step from fit into moved. Returns the largest component, NaN if the equations have no solution;
   *gain = g^T delta. */
static double step(const quell_fit_problem *problem, const quell_fit *fit, const double *gradient,
                   double information[][FIT_PARAMETERS_MAX], double damping, quell_fit *moved, double *gain)
{
    size_t index[FIT_PARAMETERS_MAX], n = quell_fit_free_parameters(problem, fit, gradient, index);
    double a[FIT_PARAMETERS_MAX * FIT_PARAMETERS_MAX], right[FIT_PARAMETERS_MAX], delta[FIT_PARAMETERS_MAX];
    for (size_t i = 0; i < n; i++) {
        right[i] = gradient[index[i]];
        for (size_t j = 0; j <= i; j++)
            a[i * n + j] = a[j * n + i] = information[index[i]][index[j]];
        a[i * n + i] = a[i * n + i] * (1 + damping) + 1e-12;
    }
    *moved = *fit;
    *gain = 0;
    if (!quell_linear_solve(a, right, delta, n))
        return (double)NAN;
    double largest = 0;
    for (size_t i = 0; i < n; i++) {
        double *value = &moved->parameter[index[i]], range[2];
        if (index[i] == FIT_PER_MODE * fit->modes + FIT_NOISE)
            delta[i] = fmin(fmax(delta[i], -NOISE_STEP), NOISE_STEP);
        *value += delta[i];
        if (bounds(problem, fit->modes, index[i], range))
            *value = fmin(fmax(*value, range[0]), range[1]);
        *gain += right[i] * delta[i];
        largest = fmax(largest, fabs(delta[i]));
    }
    return largest;
}

/* Q of a fit's parameters, the model's precision as it is; with_slopes: the derivatives, too. */
static void judge(quell_fit_problem *problem, quell_fit *fit, bool with_slopes)
{
    quell_model_evaluate(&problem->model, fit->parameter, fit->modes, problem->log_model,
                         with_slopes ? problem->jacobian : NULL);
    fit->misfit = quell_fit_misfit(problem, fit, problem->log_model, &fit->rms);
}

/* The steps. Where a step ends the next mostly begins: derivatives are taken along at once. */
static void go(quell_fit_problem *problem, quell_fit *fit, size_t max_iterations, double enough)
{
    double gradient[FIT_PARAMETERS_MAX], information[FIT_PARAMETERS_MAX][FIT_PARAMETERS_MAX];
    double damping = 1e-2;
    bool settled = false;
    judge(problem, fit, true);
    quell_fit_normal_equations(problem, fit, gradient, information);
    for (size_t i = 0; i < max_iterations && !settled && damping < 1e12; i++) {
        quell_fit moved;
        double gain, largest = step(problem, fit, gradient, information, damping, &moved, &gain);
        settled = fabs(gain) < enough;
        bool last = settled || i + 1 == max_iterations;
        moved.misfit = (double)INFINITY;
        if (largest < 3) /* false, too, for NaN */
            judge(problem, &moved, !last);
        bool better = moved.misfit <= fit->misfit; /* false, too, for NaN */
        if (better)
            *fit = moved;
        if (better && !last)
            quell_fit_normal_equations(problem, fit, gradient, information);
        fit->iterations++;
        damping = better ? damping / 5 : damping * 6;
    }
}

void quell_fit_improve(quell_fit_problem *problem, quell_fit *fit, size_t max_iterations, double enough)
{
    quell_model_precision before = problem->model.precision;
    problem->model.precision = before == MODEL_EXACT ? MODEL_SEARCH : before;
    go(problem, fit, max_iterations, enough);
    problem->model.precision = before;
}

bool quell_fit_plausible(const quell_fit_problem *problem, const quell_fit *fit)
{
    const quell_model *model = &problem->model;
    double bin_hz = model->spectrum->bin_hz;
    double low = 0.9 * (double)model->first * bin_hz,
           high = 1.1 * (double)(model->first + model->bins - 1) * bin_hz;
    for (size_t k = 0; k < fit->modes; k++) {
        const double *mode = fit->parameter + FIT_PER_MODE * k;
        double f_hz = exp(mode[FIT_LN_F]), zeta = exp(mode[FIT_LN_ZETA]);
        bool takes_part = model->form == MODEL_AMBIENT || fabs(mode[FIT_C]) < FIT_PARTICIPATION_MAX;
        if (!(f_hz >= low && f_hz <= high && zeta >= 2e-4 && zeta <= 0.4 && takes_part))
            return false;
    }
    double slope = fit->parameter[FIT_PER_MODE * fit->modes + FIT_B1];
    return isfinite(fit->misfit) && fabs(slope) < SLOPE_MAX;
}
