/* How a mode differs from stop to stop: with level, and with the direction of the motion before. */
#include "modes/decay_private.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

enum { ITERATIONS = 6, TREND_LEAST = 4 };

/* Amplitude, all axes together, of a term at the stop. */
static double amplitude(const decay_window *window, size_t stop, size_t term, double alpha, double lead_s)
{
    double squares = 0;
    for (size_t k = 0; k < window->axes; k++) {
        const double *c = window->coefficient + (stop * window->axes + k) * DECAY_COLUMNS_MAX + 2 * term;
        squares += c[0] * c[0] + c[1] * c[1];
    }
    return sqrt(squares) * exp(alpha * lead_s);
}

void decay_each_stop(decay_solution *solution, const decay_data *data, size_t term, quell_decay_stop *each)
{
    size_t parameter = DECAY_PER_TERM * term + DECAY_LN_F;
    for (size_t s = 0; s < solution->window.stops; s++) {
        decay_fit own = solution->fit;
        const decay_stop *stop = &solution->stops.stop[s];
        double alpha = QUELL_TAU * exp(own.parameter[parameter] + own.parameter[parameter + DECAY_LN_ZETA]);
        double lead_s = ((double)solution->start[s] - (double)stop->begin) / data->rate_hz;
        bool solved = decay_improve(&solution->window, &own, s, s + 1, parameter, ITERATIONS);
        each[s] = (quell_decay_stop){
            .frequency_hz = solved ? exp(own.parameter[parameter]) : (double)NAN,
            .amplitude_mps2 = solved ? amplitude(&solution->window, s, term, alpha, lead_s) : (double)NAN,
            .direction = stop->direction};
    }
}

/* Means and moments of a slope, y over x. */
typedef struct line_sums {
    double n, x, y, xx, xy, yy;
} line_sums;

static void add_point(line_sums *sums, double x, double y)
{
    double n = ++sums->n, dx = x - sums->x, dy = y - sums->y;
    sums->x += dx / n;
    sums->y += dy / n;
    sums->xx += dx * (x - sums->x);
    sums->xy += dx * (y - sums->y);
    sums->yy += dy * (y - sums->y);
}

/* The slope and the probability of one as large by chance (Student's t). */
static double slope(const line_sums *sums, double *p_value)
{
    *p_value = 1;
    if (!(sums->n >= TREND_LEAST && sums->xx > 0))
        return (double)NAN;
    double value = sums->xy / sums->xx, rest = fmax(sums->yy - value * sums->xy, 0), dof = sums->n - 2;
    double se = sqrt(rest / dof / sums->xx);
    if (value != 0.0)
        *p_value = se > 0 ? 2 * gsl_cdf_tdist_Q(fabs(value) / se, dof) : 0;
    return value;
}

void quell_decays_each(const quell_decays *decays, quell_decay_trend *out)
{
    line_sums level = {0}, direction = {0};
    for (size_t s = 0; s < decays->stops; s++) {
        const quell_decay_stop *at = &decays->each[s];
        if (!(at->amplitude_mps2 > 0) || !isfinite(at->frequency_hz))
            continue;
        add_point(&level, log(at->amplitude_mps2), log(at->frequency_hz));
        if (at->direction != 0)
            add_point(&direction, at->direction > 0 ? 0.5 : -0.5, log(at->frequency_hz));
    }
    *out = (quell_decay_trend){0};
    out->per_octave = slope(&level, &out->level_p_value) * log(2);
    out->between_directions = slope(&direction, &out->direction_p_value);
}
