/* The data of a fit: ln P with its bias taken off, what is masked, and the bounds of the noise level. */
#include "modes_private.h"

#include <gsl/gsl_sf_psi.h>
#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

#define SWEPT_DOF 20.0   /* nominal, of a sweep's bins: errors are scaled to what is seen */
#define LEAST_INPUT 1e-3 /* |H|^2 of a shaper below which what is recorded is not its input */

static bool get_buffers(quell_fit_problem *problem, size_t bins, size_t most)
{
    problem->log_density = quell_memory_get(bins * sizeof(double));
    problem->masked = quell_memory_get(bins * sizeof(bool));
    problem->log_model = quell_memory_get(most * sizeof(double));
    problem->trial = quell_memory_get(bins * sizeof(double));
    problem->jacobian = quell_memory_get(most * FIT_PARAMETERS_MAX * sizeof(double));
    return problem->log_density != NULL && problem->masked != NULL && problem->log_model != NULL &&
           problem->trial != NULL && problem->jacobian != NULL;
}

/* n lies in [ln(1e-4 min P), ln(median P)] and starts at the 5th percentile, over the bins searched. */
static void bound_noise(quell_fit_problem *problem, size_t low, size_t high)
{
    size_t count = 0;
    for (size_t k = low; k <= high; k++)
        if (!problem->masked[k])
            problem->trial[count++] = problem->log_density[k];
    if (count == 0)
        return;
    gsl_sort(problem->trial, 1, count);
    problem->noise_bounds[0] = problem->trial[0] + log(1e-4);
    problem->noise_bounds[1] = problem->trial[count / 2];
    problem->noise_start = problem->trial[count / 20];
}

quell_status quell_fit_prepare(quell_fit_problem *problem, const quell_spectrum *spectrum, size_t axis,
                               size_t low, size_t high, double reference_hz, const quell_shaper *shaper,
                               bool swept, quell_error *err)
{
    *problem = (quell_fit_problem){0};
    if (!get_buffers(problem, spectrum->bins, high - low + 1))
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a fit over %zu bins", high - low + 1);
    const double *density = spectrum->asd_m2ps3[axis];
    double nu = spectrum->dof, bias = swept ? 0 : gsl_sf_psi(nu / 2) - log(nu / 2); /* mean of ln(chi2 / nu) */
    for (size_t k = 0; k < spectrum->bins; k++) {
        double gain = shaper != NULL ? cabs(quell_shaper_response(shaper, (double)k * spectrum->bin_hz)) : 1;
        problem->masked[k] = !(density[k] > 0) || gain * gain < LEAST_INPUT;
        problem->log_density[k] = density[k] > 0 ? log(density[k]) - bias : 0;
    }
    problem->density = density;
    problem->held[FIT_DIRECT] = true;
    problem->swept = swept;
    problem->weight = (swept ? SWEPT_DOF : nu) / 2;
    bound_noise(problem, low, high);
    return quell_model_prepare(&problem->model, spectrum, low, high, reference_hz, shaper, err);
}

void quell_fit_release(quell_fit_problem *problem)
{
    quell_model_clear(&problem->model);
    quell_memory_free(problem->log_density);
    quell_memory_free(problem->masked);
    quell_memory_free(problem->log_model);
    quell_memory_free(problem->trial);
    quell_memory_free(problem->jacobian);
    *problem = (quell_fit_problem){0};
}
