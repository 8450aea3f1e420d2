/* Standard errors of a fit. The plain inverse of the information I is too small, since Welch bins next to each other share
   data: the sandwich I^-1 S I^-1 counts that, S = I + sum_m rho^2_m (X_m + X_m^T), X_m = sum_i nu/2 J_i J_{i+m}^T (P. J. Huber,
   Proc. 5th Berkeley Symposium, 1967; rho^2_m: quell_welch_bin_correlation). */
#include "modes_private.h"

#include <math.h>
#include <string.h>

typedef double square[FIT_PARAMETERS_MAX][FIT_PARAMETERS_MAX];

/* Adds the shares of bins that lie `lag` apart, of the free parameters, to scatter. */
static void add_lag(const quell_fit_problem *problem, const size_t *index, size_t n, size_t lag, square scatter)
{
    const quell_model *model = &problem->model;
    double weight = problem->weight * model->spectrum->bin_correlation[lag];
    for (size_t b = 0; b + lag < model->bins; b++) {
        if (problem->masked[model->first + b] || problem->masked[model->first + b + lag])
            continue;
        for (size_t p = 0; p < n; p++)
            for (size_t q = 0; q < n; q++) {
                const double *of_p = problem->jacobian + index[p] * model->bins + b,
                             *of_q = problem->jacobian + index[q] * model->bins + b;
                scatter[p][q] += weight * (of_p[0] * of_q[lag] + of_p[lag] * of_q[0]);
            }
    }
}

/* Bins of a sweep do not scatter as chi-square has it: their errors are scaled to what is seen, sum e^2 nu/2 / (n - p),
   e = P/M - 1. */
static double seen_scatter(const quell_fit_problem *problem, size_t parameters)
{
    const quell_model *model = &problem->model;
    double sum = 0;
    size_t bins = quell_fit_bins(problem);
    for (size_t b = 0; b < model->bins; b++) {
        size_t bin = model->first + b;
        if (problem->masked[bin])
            continue;
        double e = problem->density[bin] * exp(-problem->log_model[b]) - 1;
        sum += e * e;
    }
    return bins > parameters ? sum * problem->weight / (double)(bins - parameters) : (double)INFINITY;
}

void quell_fit_variances(quell_fit_problem *problem, const quell_fit *fit, double variance[FIT_PARAMETERS_MAX])
{
    double gradient[FIT_PARAMETERS_MAX], inverse[FIT_PARAMETERS_MAX][FIT_PARAMETERS_MAX];
    static const size_t lags_that_count = 8; /* beyond, rho^2 of every window in the table is under 1e-6 */
    size_t index[FIT_PARAMETERS_MAX];
    square information, scatter;
    quell_model_evaluate(&problem->model, fit->parameter, fit->modes, problem->log_model, problem->jacobian);
    quell_fit_normal_equations(problem, fit, gradient, information);
    size_t n = quell_fit_free_parameters(problem, fit, gradient, index);
    for (size_t p = 0; p < FIT_PARAMETERS_MAX; p++)
        variance[p] = (double)NAN;
    double a[FIT_PARAMETERS_MAX * FIT_PARAMETERS_MAX];
    for (size_t p = 0; p < n; p++)
        for (size_t q = 0; q <= p; q++)
            a[p * n + q] = a[q * n + p] = scatter[p][q] = scatter[q][p] = information[index[p]][index[q]];
    for (size_t lag = 1; lag <= lags_that_count; lag++)
        add_lag(problem, index, n, lag, scatter);
    for (size_t p = 0; p < n; p++) { /* columns of the inverse, which is symmetric */
        double unit[FIT_PARAMETERS_MAX] = {0}, copy[FIT_PARAMETERS_MAX * FIT_PARAMETERS_MAX];
        unit[p] = 1;
        memcpy(copy, a, sizeof copy);
        if (!quell_linear_solve(copy, unit, inverse[p], n)) {
            for (size_t i = 0; i < n; i++)
                variance[index[i]] = (double)INFINITY;
            return;
        }
    }
    double scale = problem->swept ? seen_scatter(problem, n) : 1;
    for (size_t p = 0; p < n; p++) {
        double sum = 0;
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j < n; j++)
                sum += inverse[p][i] * scatter[i][j] * inverse[p][j];
        variance[index[p]] = sum * scale;
    }
}
