/* Can a mode more pay at all? What it could lower the misfit by is told, without a fit, by the slope of the misfit at a
   participation of 0: the score test (C. R. Rao, Proc. Camb. Phil. Soc. 44, 1948), for modes all over the band. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

/* Damping ratios of the modes tried; they stand as far apart as they are wide, or half a bin. */
static const double widths[] = {0.015, 0.06};
enum { WIDTHS = sizeof widths / sizeof widths[0] };

#define BEFORE_IT_IS 1e-20 /* own input of a mode that is not there yet, over that of the others: ambient */
#define OWN_LEAST 1e-6     /* of the information on a participation: less is left if the other parameters do the same */

/* The fit as it is: what its parameters know. */
typedef struct known {
    quell_fit_problem *problem;
    size_t n, index[FIT_PARAMETERS_MAX]; /* free parameters */
    double gradient[FIT_PARAMETERS_MAX];
    double information[FIT_PARAMETERS_MAX * FIT_PARAMETERS_MAX];
} known;

static void know(quell_fit_problem *problem, const quell_fit *fit, known *out)
{
    double gradient[FIT_PARAMETERS_MAX], information[FIT_PARAMETERS_MAX][FIT_PARAMETERS_MAX];
    out->problem = problem;
    quell_model_evaluate(&problem->model, fit->parameter, fit->modes, problem->log_model, problem->jacobian);
    quell_fit_normal_equations(problem, fit, gradient, information);
    out->n = quell_fit_free_parameters(problem, fit, gradient, out->index);
    for (size_t i = 0; i < out->n; i++) {
        out->gradient[i] = gradient[out->index[i]];
        for (size_t j = 0; j <= i; j++)
            out->information[i * out->n + j] = out->information[j * out->n + i] = information[out->index[i]][out->index[j]];
    }
}

/* By how much Q falls, to the second order, if a parameter whose derivative is `row` moves, and the known ones with it.
   shift: the known ones' places in the jacobian are those of a fit with so many parameters more before the common ones. */
static double fall(const known *of, const double *row, size_t modes, size_t shift)
{
    const quell_fit_problem *problem = of->problem;
    size_t bins = problem->model.bins;
    double matrix[FIT_PARAMETERS_MAX * FIT_PARAMETERS_MAX], shared[FIT_PARAMETERS_MAX], taken[FIT_PARAMETERS_MAX];
    double gradient = problem->weight * quell_dot(row, problem->trial, bins);
    double own = problem->weight * quell_dot(row, row, bins), left = own;
    for (size_t i = 0; i < of->n; i++) {
        size_t at = of->index[i] < FIT_PER_MODE * modes ? of->index[i] : of->index[i] + shift;
        shared[i] = problem->weight * quell_dot(row, problem->jacobian + at * bins, bins);
    }
    memcpy(matrix, of->information, of->n * of->n * sizeof *matrix);
    if (of->n > 0 && !quell_linear_solve(matrix, shared, taken, of->n))
        return 0;
    for (size_t i = 0; i < of->n; i++) {
        gradient -= taken[i] * of->gradient[i];
        left -= taken[i] * shared[i];
    }
    bool wrong_way = problem->model.form == MODEL_AMBIENT && gradient < 0; /* no input is less than none */
    return left > OWN_LEAST * own && !wrong_way ? gradient * gradient / (2 * left) : 0;
}

/* The fit with modes from *f_hz on, of participation 0, as many as there is room for up to high_hz. */
static quell_fit with_more(const quell_fit_problem *problem, const quell_fit *fit, double zeta, double *f_hz, double high_hz)
{
    quell_fit out = {.modes = fit->modes};
    size_t old = FIT_PER_MODE * fit->modes;
    double bin_hz = problem->model.spectrum->bin_hz;
    memcpy(out.parameter, fit->parameter, old * sizeof(double));
    while (out.modes < QUELL_MODES_MAX && *f_hz <= high_hz) {
        double *mode = out.parameter + FIT_PER_MODE * out.modes++, half_width = fmax(zeta, bin_hz / 2 / *f_hz);
        mode[FIT_LN_F] = log(*f_hz);
        mode[FIT_LN_ZETA] = log(half_width);
        mode[FIT_C] = problem->model.form == MODEL_AMBIENT ? fit->parameter[FIT_C] + log(BEFORE_IT_IS) : 0;
        *f_hz *= 1 + half_width;
    }
    memcpy(out.parameter + FIT_PER_MODE * out.modes, fit->parameter + old, FIT_COMMON * sizeof(double));
    return out;
}

double quell_fit_score(quell_fit_problem *problem, const quell_fit *fit)
{
    quell_model *model = &problem->model;
    quell_model_precision before = model->precision;
    double bin_hz = model->spectrum->bin_hz, high_hz = (double)(model->first + model->bins - 1) * bin_hz, most = 0;
    known now;
    model->precision = MODEL_ROUGH;
    know(problem, fit, &now);
    for (size_t w = 0; w < WIDTHS; w++)
        for (double f_hz = (double)model->first * bin_hz; f_hz <= high_hz && fit->modes < QUELL_MODES_MAX;) {
            quell_fit more = with_more(problem, fit, widths[w], &f_hz, high_hz);
            size_t added = FIT_PER_MODE * (more.modes - fit->modes);
            quell_model_evaluate(model, more.parameter, more.modes, problem->log_model, problem->jacobian);
            quell_fit_excess(problem, more.modes);
            for (size_t k = fit->modes; k < more.modes; k++) {
                const double *row = problem->jacobian + (FIT_PER_MODE * k + FIT_C) * model->bins;
                most = fmax(most, fall(&now, row, fit->modes, added));
            }
        }
    model->precision = before;
    return most;
}
