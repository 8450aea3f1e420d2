/* How well the poles are known. From three stops on the stops tell, each with its own noise, phase and friction: the
   jackknife that leaves out one at a time (B. Efron and R. J. Tibshirani, An Introduction to the Bootstrap, 1993, ch. 11,
   from memory),

       se^2 = (n - 1) / n  sum (p_(-s) - mean)^2,

   p_(-s) by one Gauss-Newton step from the fit to all, which is exact to the second order in what one stop moves. With
   fewer stops: the inverse of the information, times the density near each mode of what is left or, if it is more, of what
   there is once the decay is over: noise that the mode itself passes on hides in the decay. */
#include "modes/decay_private.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#define NEAR 0.15 /* of a frequency: within this the density of the residuals counts */

#define CHANCE 0.01
#define TAIL_PERIODS 5.0 /* after a decay tell what there is without it */
#define UNKNOWN 16.0     /* times what is left, where that is not told: machines shaken by 0.2 m/s2 besides */

enum { BINS_LEAST = 16, POINTS_MOST = 40, TAIL_POINTS = 5 };

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

/* The direction in which a term moves. */
static void direction_of(const decay_window *window, size_t term, double out[3])
{
    double sum = 0;
    for (size_t k = 0; k < window->axes; k++) {
        out[k] = 0;
        for (size_t s = 0; s < window->stops; s++) {
            const double *c = window->coefficient + (s * window->axes + k) * DECAY_COLUMNS_MAX + 2 * term;
            out[k] += c[0] * c[0] + c[1] * c[1];
        }
        sum += out[k];
    }
    for (size_t k = 0; k < window->axes; k++)
        out[k] = sum > 0 ? out[k] / sum : 0;
}

/* Mean of the periodogram of samples first..end - 1 behind a stop's window, less the mean and what the decay leaves there, within
   half_hz of a frequency; axes by their share. */
static double density_behind(const decay_solution *solution, const decay_data *data, size_t stop, size_t end,
                             double f_hz, double half_hz, const double share[3])
{
    const decay_window *window = &solution->window;
    double re[3][TAIL_POINTS] = {{0}}, im[3][TAIL_POINTS] = {{0}}, sum = 0;
    double cosines[TAIL_POINTS], sines[TAIL_POINTS], all_re[TAIL_POINTS] = {0}, all_im[TAIL_POINTS] = {0},
                                                     mean[3] = {0};
    size_t start = solution->start[stop];
    double n = (double)(end - start - window->length);
    for (size_t i = window->length; start + i < end; i++) {
        double t = (double)i / data->rate_hz, basis[DECAY_COLUMNS_MAX];
        size_t columns = decay_basis_at(&solution->fit, t, basis);
        for (size_t p = 0; p < TAIL_POINTS; p++) {
            double turn = QUELL_TAU * t * (f_hz + half_hz * (2.0 * (double)p / (TAIL_POINTS - 1) - 1));
            cosines[p] = cos(turn);
            sines[p] = sin(turn);
            all_re[p] += cosines[p];
            all_im[p] += sines[p];
        }
        for (size_t k = 0; k < data->axes; k++) {
            const double *c = window->coefficient + (stop * window->axes + k) * DECAY_COLUMNS_MAX;
            double value = data->accel_mps2[k][start + i] - quell_dot(c, basis, columns);
            mean[k] += value / n;
            for (size_t p = 0; p < TAIL_POINTS; p++) {
                re[k][p] += value * cosines[p];
                im[k][p] += value * sines[p];
            }
        }
    }
    for (size_t k = 0; k < data->axes; k++)
        for (size_t p = 0; p < TAIL_POINTS; p++)
            sum +=
                share[k] * (pow(re[k][p] - mean[k] * all_re[p], 2) + pow(im[k][p] - mean[k] * all_im[p], 2));
    return sum / (n * TAIL_POINTS);
}

/* The variance by what there is between the windows' ends and the next motion, if that is more than what is left by more than
   chance. Too little of it: what is left is multiplied, as far as it was off in the study. */
static double tail_variance(const decay_solution *solution, const decay_data *data, size_t term, double left,
                            double *dof)
{
    const decay_window *window = &solution->window;
    double f_hz = exp(solution->fit.parameter[DECAY_PER_TERM * term + DECAY_LN_F]), share[3], sum = 0,
           seconds = 0, tails = 0;
    double half_hz = fmin(exp(solution->fit.parameter[DECAY_PER_TERM * term + DECAY_LN_ZETA]), 0.5) * f_hz;
    direction_of(window, term, share);
    for (size_t s = 0; s < window->stops; s++) {
        size_t first = solution->start[s] + window->length, end = solution->stops.stop[s].limit;
        end = end < data->samples ? end : data->samples;
        double long_s = end > first ? (double)(end - first) / data->rate_hz : 0;
        if (long_s * f_hz < TAIL_PERIODS)
            continue;
        sum += long_s * density_behind(solution, data, s, end, f_hz, half_hz, share);
        seconds += long_s;
        tails++;
    }
    double values = tails > 0 ? 2 * (tails + 2 * half_hz * seconds) : 2; /* that are independent */
    double tail = tails > 0 ? sum / seconds : UNKNOWN * left;
    if (tails > 0 && tail * values < left * gsl_cdf_chisq_Pinv(1 - CHANCE, values))
        return left;
    *dof = fmin(*dof, values);
    return tail;
}

static bool linearised(decay_solution *solution, const decay_data *data, const decay_normal *sum, double *se,
                       double *dof)
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
        double variance = decay_local_variance(window, f_hz, dof);
        variance = tail_variance(solution, data, i / DECAY_PER_TERM, variance, dof);
        se[i] = sqrt(fmax(variance * column[i], 0));
    }
    return true;
}

quell_status decay_errors(decay_solution *solution, const decay_data *data, double *se, double *dof,
                          quell_error *err)
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
        solved = linearised(solution, data, &sum, se, dof);
    }
    quell_memory_free(each);
    if (!solved) {
        *dof = 1;
        for (size_t i = 0; i < DECAY_PARAMETERS_MAX; i++)
            se[i] = (double)INFINITY;
    }
    return QUELL_OK;
}
