/* How well the poles are known. From three stops on the stops tell, each with its own noise, phase and friction: the
   jackknife that leaves out one at a time (B. Efron and R. J. Tibshirani, An Introduction to the Bootstrap, 1993, ch. 11,
   from memory),

       se^2 = (n - 1) / n  sum (p_(-s) - mean)^2,

   p_(-s) by one Gauss-Newton step from the fit to all, which is exact to the second order in what one stop moves. With
   fewer stops: the inverse of the information, times the density of what is left near each mode. */
#include "modes/decay_private.h"

#include <math.h>

#define NEAR 0.15 /* of a frequency: within this the density of the residuals counts */

enum { BINS_LEAST = 16, POINTS_MOST = 40 };

/* The normal equations of all stops but one. */
static decay_normal without(const decay_normal *sum, const decay_normal *one, size_t parameters)
{
    decay_normal out = *sum;
    for (size_t i = 0; i < parameters; i++) {
        out.gradient[i] -= one->gradient[i];
        for (size_t j = 0; j < parameters; j++)
            out.information[i][j] -= one->information[i][j];
    }
    return out;
}

static bool jackknife(const decay_solution *solution, const decay_normal *sum, const decay_normal *each,
                      double *se)
{
    size_t stops = solution->window.stops, parameters = DECAY_PER_TERM * solution->fit.terms;
    double mean[DECAY_PARAMETERS_MAX] = {0}, squares[DECAY_PARAMETERS_MAX] = {0}, step[DECAY_PARAMETERS_MAX];
    for (size_t s = 0; s < stops; s++) {
        decay_normal rest = without(sum, &each[s], parameters);
        if (!decay_step(&solution->fit, &rest, SIZE_MAX, 0, step))
            return false;
        for (size_t i = 0; i < parameters; i++) {
            double off = step[i] - mean[i]; /* B. P. Welford, Technometrics 4(3), 1962 */
            mean[i] += off / (double)(s + 1);
            squares[i] += off * (step[i] - mean[i]);
        }
    }
    for (size_t i = 0; i < parameters; i++)
        se[i] = sqrt((double)(stops - 1) / (double)stops * squares[i]);
    return true;
}

/* Mean of the residuals' periodogram, sum of squares over n, at a frequency. */
static double periodogram(const decay_window *window, double turn_rad)
{
    size_t n = window->length, rows = window->stops * window->axes;
    double *cosine = window->column, *sine = window->column + n, sum = 0;
    for (size_t i = 0; i < n; i++) {
        cosine[i] = cos(turn_rad * (double)i);
        sine[i] = sin(turn_rad * (double)i);
    }
    for (size_t r = 0; r < rows; r++) {
        double re = quell_dot(window->residual + r * n, cosine, n),
               im = quell_dot(window->residual + r * n, sine, n);
        sum += re * re + im * im;
    }
    return sum / (double)(n * rows);
}

/* The term's amplitudes have taken one frequency in `bins` with them. */
double decay_local_variance(const decay_window *window, double f_hz, double *dof)
{
    double bin_hz = window->rate_hz / (double)window->length,
           half_hz = fmax(NEAR * f_hz, BINS_LEAST / 2.0 * bin_hz);
    double low = fmax(f_hz - half_hz, bin_hz), high = fmin(f_hz + half_hz, 0.5 * window->rate_hz), sum = 0;
    double bins = fmax((high - low) / bin_hz, 2);
    size_t points = (size_t)fmin(bins, POINTS_MOST);
    for (size_t i = 0; i < points; i++)
        sum += periodogram(window, QUELL_TAU * (low + (high - low) * ((double)i + 0.5) / (double)points) /
                                       window->rate_hz);
    *dof = fmin(*dof, fmax(2 * (double)(window->stops * window->axes) * (double)(points - 1), 1));
    return sum / (double)points * bins / (bins - 1);
}

static bool linearised(decay_solution *solution, const decay_normal *sum, double *se, double *dof)
{
    decay_window *window = &solution->window;
    const decay_fit *fit = &solution->fit;
    decay_residuals(window, fit);
    *dof = 1e6;
    for (size_t i = 0; i < DECAY_PER_TERM * fit->terms; i++) {
        decay_normal unit = *sum;
        double column[DECAY_PARAMETERS_MAX], f_hz = exp(fit->parameter[i - i % DECAY_PER_TERM + DECAY_LN_F]);
        for (size_t j = 0; j < DECAY_PARAMETERS_MAX; j++)
            unit.gradient[j] = i == j ? 1 : 0;
        if (!decay_step(fit, &unit, SIZE_MAX, 0, column))
            return false;
        se[i] = sqrt(fmax(decay_local_variance(window, f_hz, dof) * column[i], 0));
    }
    return true;
}

quell_status decay_errors(decay_solution *solution, double *se, double *dof, quell_error *err)
{
    decay_window *window = &solution->window;
    decay_normal sum;
    decay_normal *each = quell_memory_get(window->stops * sizeof *each);
    if (each == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu stops", window->stops);
    bool solved = decay_evaluate(window, &solution->fit, 0, window->stops, true, &sum, each);
    if (solved && window->stops >= DECAY_JACKKNIFE_LEAST) {
        *dof = (double)(window->stops - 1);
        solved = jackknife(solution, &sum, each, se);
    } else if (solved) {
        solved = linearised(solution, &sum, se, dof);
    }
    quell_memory_free(each);
    if (!solved) {
        *dof = 1;
        for (size_t i = 0; i < DECAY_PARAMETERS_MAX; i++)
            se[i] = (double)INFINITY;
    }
    return QUELL_OK;
}
