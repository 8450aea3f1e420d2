/* What a fit minimises: the likelihood of Welch bins as independent gamma variables about the model, each with nu degrees
   of freedom (P. Whittle, Ark. Mat. 2, 1953), Q = sum nu/2 (P/M - 1 - ln P/M): half the deviance. */
#include "modes_private.h"

#include <math.h>

/* Spread of the input's slope b1 in the mind of who has not seen the data. Motion made to shake a machine
   has a flat input; a steep one trades against the participations, which then mean nothing. Data that know
   better overrule it. */
#define SLOPE_SPREAD 0.5

/* The same where a sweep was followed: its bins tell far more than their nominal degrees of freedom, and the prior must not pull
   what they tell. */
#define SLOPE_SPREAD_FOLLOWED 1.0

/* Likewise of d on an axis that is not driven: what a mounting that is off by 3 degrees lets through. */
#define LEAK_SPREAD 0.05

/* Bins that stand out by more than this many standard deviations, as lines do, pull with what they would have there. */
#define OUTLYING 4.0

/* P/M beyond which a bin is an outlier. */
static double outlying(const quell_fit_problem *problem)
{
    return 1 + OUTLYING / sqrt(problem->weight);
}

/* What is known of a common parameter beforehand: one over its spread; 0 if nothing. It is 0 on average. */
static double known(const quell_fit_problem *problem, size_t common)
{
    if (problem->held[common])
        return 0;
    bool followed = problem->swept && problem->model.command != NULL;
    double slope_spread = followed ? SLOPE_SPREAD_FOLLOWED : SLOPE_SPREAD;
    return common == FIT_B1 ? 1 / slope_spread : common == FIT_DIRECT ? 1 / LEAK_SPREAD : 0;
}

size_t quell_fit_bins(const quell_fit_problem *problem)
{
    size_t count = 0;
    for (size_t b = 0; b < problem->model.bins; b++)
        count += !problem->masked[problem->model.first + b];
    return count;
}

double quell_fit_misfit(const quell_fit_problem *problem, const quell_fit *fit, const double *log_model, double *rms)
{
    const quell_model *model = &problem->model;
    double sum = 0, squares = 0, most = outlying(problem);
    size_t count = 0;
    for (size_t b = 0; b < model->bins; b++) {
        size_t bin = model->first + b;
        if (problem->masked[bin])
            continue;
        double ratio = problem->density[bin] * exp(-log_model[b]), e = problem->log_density[bin] - log_model[b];
        double inner = fmin(ratio, most);
        sum += inner - 1 - log(inner) + (most - 1) * log(ratio / inner);
        squares += e * e;
        count++;
    }
    *rms = count > 0 ? sqrt(squares / (double)count) : 0;
    double q = problem->weight * sum;
    for (size_t i = 0; i < FIT_COMMON; i++) {
        double off = fit->parameter[FIT_PER_MODE * fit->modes + i] * known(problem, i);
        q += off * off / 2;
    }
    return q;
}

void quell_fit_excess(quell_fit_problem *problem, size_t modes)
{
    const quell_model *model = &problem->model;
    double most = outlying(problem);
    for (size_t b = 0; b < model->bins; b++) {
        size_t bin = model->first + b;
        problem->trial[b] = fmin(problem->density[bin] * exp(-problem->log_model[b]), most) - 1;
        for (size_t p = 0; p < FIT_PER_MODE * modes + FIT_COMMON && problem->masked[bin]; p++)
            problem->jacobian[p * model->bins + b] = 0;
    }
}

void quell_fit_normal_equations(quell_fit_problem *problem, const quell_fit *fit, double *gradient,
                                double information[][FIT_PARAMETERS_MAX])
{
    size_t common = FIT_PER_MODE * fit->modes, n = common + FIT_COMMON, bins = problem->model.bins;
    quell_fit_excess(problem, fit->modes);
    for (size_t p = 0; p < n; p++) {
        const double *row = problem->jacobian + p * bins;
        gradient[p] = problem->weight * quell_dot(problem->trial, row, bins);
        for (size_t q = 0; q <= p; q++)
            information[p][q] = problem->weight * quell_dot(row, problem->jacobian + q * bins, bins);
    }
    for (size_t i = 0; i < FIT_COMMON; i++) {
        double k2 = known(problem, i) * known(problem, i);
        gradient[common + i] -= fit->parameter[common + i] * k2;
        information[common + i][common + i] += k2;
    }
}
