/* Where a mode more may be, once some are fitted: where the density stays above the fit over one, two or five bins, and where a
   mode may be two. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define ABOVE_CHANCE 2.5 /* standard errors of a mean over some bins; the criterion decides */
#define SAME_WITHIN 0.03 /* candidates closer than this are one */

static const size_t reaches[] = {1, 3, 8}; /* bins on either side that are averaged: 3, 7 and 17 */

/* Mean of ln P - ln M over the unmasked bins b - reach..b + reach of the band; 0 where most are masked. */
static double mean_excess(const quell_fit_problem *problem, size_t b, size_t reach)
{
    const quell_model *model = &problem->model;
    size_t from = b > reach ? b - reach : 0, to = b + reach < model->bins ? b + reach : model->bins - 1, count = 0;
    double sum = 0;
    for (size_t i = from; i <= to; i++) {
        if (problem->masked[model->first + i])
            continue;
        sum += problem->log_density[model->first + i] - problem->log_model[i];
        count++;
    }
    return count > reach ? sum / (double)count : 0;
}

static void enter(quell_candidates *to, double hz, double zeta, double weight)
{
    size_t at = to->count;
    for (size_t i = 0; i < to->count; i++)
        if (fabs(to->start[i].frequency_hz / hz - 1) < SAME_WITHIN) {
            if (to->weight[i] >= weight)
                return;
            at = i; /* takes its place */
        }
    if (at == to->count) {
        if (to->count == CANDIDATES_MAX)
            at--;
        else
            to->count++;
    }
    if (to->weight[at] > weight)
        return;
    while (at > 0 && to->weight[at - 1] < weight) {
        to->start[at] = to->start[at - 1];
        to->weight[at] = to->weight[at - 1];
        at--;
    }
    to->start[at] = (quell_mode_start){hz, zeta};
    to->weight[at] = weight;
}

void quell_candidates_find(quell_fit_problem *problem, const quell_fit *fit, quell_candidates *out)
{
    const quell_model *model = &problem->model;
    memset(out, 0, sizeof *out);
    quell_model_evaluate(model, fit->parameter, fit->modes, problem->log_model, NULL);
    double one = problem->swept ? fit->rms : sqrt(2 / model->spectrum->dof);
    for (size_t r = 0; r < sizeof reaches / sizeof reaches[0]; r++) {
        size_t reach = reaches[r];
        double chance = one * sqrt(1.5 / (double)(2 * reach + 1)), before = 0, here = mean_excess(problem, 0, reach);
        for (size_t b = 0; b < model->bins; b++) {
            double after = b + 1 < model->bins ? mean_excess(problem, b + 1, reach) : 0;
            if (here >= before && here > after && here > ABOVE_CHANCE * chance) {
                double hz = (double)(model->first + b) * model->spectrum->bin_hz;
                double width_hz = (double)(2 * reach + 1) * model->spectrum->bin_hz;
                enter(out, hz, fmin(width_hz / (3 * hz), 0.2), here / chance);
            }
            before = here;
            here = after;
        }
    }
}
