/* Damped least squares on the poles (K. Levenberg, Q. Appl. Math. 2, 1944; D. W. Marquardt, J. SIAM 11, 1963), in the
   logarithms of frequency and damping ratio. */
#include "modes/decay_private.h"

#include <math.h>

#define STEP_MOST 0.7
#define ZETA_LEAST 1e-6
#define ZETA_MOST 0.7
#define ENOUGH 1e-7 /* of the sum of squares: a step that promises less is the last */

/* Does the parameter move? */
static bool is_free(const decay_fit *fit, size_t parameter, size_t only)
{
    if (only != SIZE_MAX)
        return parameter == only;
    return parameter % DECAY_PER_TERM == DECAY_LN_F || !fit->line[parameter / DECAY_PER_TERM];
}

bool decay_step(const decay_fit *fit, const decay_normal *normal, size_t only, double damping, double *out)
{
    size_t index[DECAY_PARAMETERS_MAX] = {0}, n = 0, all = DECAY_PER_TERM * fit->terms;
    double a[DECAY_PARAMETERS_MAX * DECAY_PARAMETERS_MAX], right[DECAY_PARAMETERS_MAX] = {0},
                                                           delta[DECAY_PARAMETERS_MAX] = {0};
    for (size_t i = 0; i < all; i++) {
        out[i] = 0;
        if (is_free(fit, i, only))
            index[n++] = i;
    }
    for (size_t i = 0; i < n; i++) {
        right[i] = normal->gradient[index[i]];
        for (size_t j = 0; j < n; j++)
            a[i * n + j] = normal->information[index[i]][index[j]];
        a[i * n + i] *= 1 + damping;
    }
    if (!quell_linear_solve(a, right, delta, n))
        return false;
    for (size_t i = 0; i < n; i++)
        out[index[i]] = delta[i];
    return true;
}

/* Poles stay where the model means something; false if the step is too long to be trusted. */
static bool move(const decay_window *window, const decay_fit *from, const double *step, decay_fit *to)
{
    *to = *from;
    for (size_t i = 0; i < DECAY_PER_TERM * from->terms; i++) {
        if (!(fabs(step[i]) < STEP_MOST * (i % DECAY_PER_TERM == DECAY_LN_ZETA ? 3 : 1)))
            return false;
        to->parameter[i] += step[i];
    }
    for (size_t k = 0; k < to->terms; k++) {
        double *ln_f = &to->parameter[DECAY_PER_TERM * k + DECAY_LN_F];
        double *ln_zeta = &to->parameter[DECAY_PER_TERM * k + DECAY_LN_ZETA];
        *ln_zeta = fmin(fmax(*ln_zeta, log(ZETA_LEAST)), log(ZETA_MOST));
        *ln_f = fmin(fmax(*ln_f, log(0.2 * window->rate_hz / (double)window->length)),
                     log(0.48 * window->rate_hz));
    }
    return true;
}

bool decay_improve(decay_window *window, decay_fit *fit, size_t first, size_t end, size_t only,
                   size_t iterations)
{
    decay_normal normal, trial;
    double damping = 1e-3;
    if (!decay_evaluate(window, fit, first, end, true, &normal, NULL))
        return false;
    fit->rss = normal.rss;
    for (size_t i = 0; i < iterations && damping < 1e10; i++) {
        double step[DECAY_PARAMETERS_MAX] = {0}, gain = 0;
        decay_fit moved;
        bool solved = decay_step(fit, &normal, only, damping, step);
        for (size_t j = 0; solved && j < DECAY_PER_TERM * fit->terms; j++)
            gain += step[j] * normal.gradient[j];
        if (solved && gain <= ENOUGH * fit->rss)
            break;
        bool better = solved && move(window, fit, step, &moved) &&
                      decay_evaluate(window, &moved, first, end, true, &trial, NULL) && trial.rss <= fit->rss;
        damping = better ? damping / 10 : damping * 8;
        if (!better)
            continue;
        moved.rss = trial.rss;
        *fit = moved;
        normal = trial;
    }
    return decay_evaluate(window, fit, first, end, false, &trial,
                          NULL); /* leaves the coefficients of the best */
}
