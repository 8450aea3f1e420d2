/* Amplitudes of known modes where the motion ends, what noise makes of them, and the errors that all stops share. */
#include "modes/decay_known.h"

#include <math.h>

#define OVER 3.0 /* time constants after which a decay is over, as far as noise is concerned ... */
#define PROBE 2.0 /* ... and of what noise is probed with */
#define END_SE 0.5    /* samples: of the end as found, shared by all stops */
#define NORMAL_95 1.959964

/* Seconds from the end of the motion to the window. */
static double lead_s(const known_decays *of, size_t s)
{
    return ((double)of->solution.start[s] - of->solution.stops.stop[s].motion_end) / of->data.rate_hz;
}

/* From acceleration at the window's start, squared, to displacement at the end of the motion. */
static double to_power(const known_decays *of, size_t s, size_t term)
{
    double w = QUELL_TAU * exp(of->solution.fit.parameter[DECAY_PER_TERM * term + DECAY_LN_F]);
    return exp(2 * known_decay_rate(&of->solution.fit, term) * lead_s(of, s)) / (w * w * w * w);
}

static double mean_power(const known_decays *of, size_t term)
{
    double sum = 0;
    for (size_t s = 0; s < of->solution.window.stops; s++)
        sum += known_squared(of, s, term) * to_power(of, s, term);
    return sum / (double)of->solution.window.stops;
}

/* Variance of a term's two amplitudes together where every sample has an error of variance 1: of the inverse of the basis'
   normal matrix. */
static double unit_variance(const decay_window *window, const decay_fit *fit, size_t term)
{
    double gram[DECAY_COLUMNS_MAX * DECAY_COLUMNS_MAX], sum = 0;
    size_t columns = 2 * fit->terms + 1, n = window->length;
    decay_columns(fit, window->rate_hz, n, window->column);
    for (size_t which = 0; which < 2; which++) {
        double unit[DECAY_COLUMNS_MAX] = {0}, out[DECAY_COLUMNS_MAX];
        for (size_t i = 0; i < columns; i++)
            for (size_t j = 0; j < columns; j++)
                gram[i * columns + j] = quell_dot(window->column + i * n, window->column + j * n, n);
        unit[2 * term + which] = 1;
        if (!quell_linear_solve(gram, unit, out, columns))
            return (double)NAN;
        sum += out[2 * term + which];
    }
    return sum;
}

/* Standard error of a parameter that is a logarithm, from its interval. */
static double log_se(const double ci95[2])
{
    double se = log(ci95[1] / ci95[0]) / (2 * NORMAL_95);
    return isfinite(se) && se > 0 ? se : 0;
}

/* How far the errors of the modes and of the moment of the end move the power, which they do at all stops alike. */
static double shared_error(known_decays *of, const quell_mode *mode, size_t term)
{
    double sum = pow(2 * known_decay_rate(&of->solution.fit, term) * END_SE / of->data.rate_hz, 2);
    size_t stops = of->solution.window.stops;
    for (size_t k = 0; k < of->solution.fit.terms; k++)
        for (size_t which = 0; which < DECAY_PER_TERM; which++) {
            double *parameter = &of->solution.fit.parameter[DECAY_PER_TERM * k + which], kept = *parameter,
                   ln_power[2];
            double se = log_se(which == DECAY_LN_F ? mode[k].frequency_ci95_hz : mode[k].damping_ratio_ci95);
            bool solved = se > 0;
            for (size_t side = 0; side < 2 && solved; side++) {
                decay_normal normal;
                *parameter = kept + (side == 0 ? -se : se);
                solved = decay_evaluate(&of->solution.window, &of->solution.fit, 0, stops, false, &normal, NULL);
                ln_power[side] = log(mean_power(of, term));
            }
            *parameter = kept;
            double moved = solved ? (ln_power[1] - ln_power[0]) / 2 : 0;
            sum += isfinite(moved) ? moved * moved : 0;
        }
    return sqrt(sum);
}

/* Squared amplitudes of one term, and an offset, in n samples: what the fit makes of them, noise as well. */
typedef struct probe {
    size_t n;
    double *column;     /* cos, sin, 1 */
    double inverse[3][3];
} probe;

static bool probe_open(probe *out, const decay_window *window, const decay_fit *fit, size_t term, size_t n)
{
    decay_fit one = {.terms = 1, .parameter = {fit->parameter[DECAY_PER_TERM * term + DECAY_LN_F],
                                               fit->parameter[DECAY_PER_TERM * term + DECAY_LN_ZETA]}};
    *out = (probe){.n = n, .column = window->column};
    decay_columns(&one, window->rate_hz, n, out->column);
    for (size_t i = 0; i < 3; i++) {
        double gram[9], unit[3] = {i == 0, i == 1, i == 2};
        for (size_t j = 0; j < 9; j++)
            gram[j] = quell_dot(out->column + j / 3 * n, out->column + j % 3 * n, n);
        if (!quell_linear_solve(gram, unit, out->inverse[i], 3))
            return false;
    }
    return true;
}

static double probe_power(const probe *by, const double *sample)
{
    double product[3];
    for (size_t j = 0; j < 3; j++)
        product[j] = quell_dot(by->column + j * by->n, sample, by->n);
    return pow(quell_dot(by->inverse[0], product, 3), 2) + pow(quell_dot(by->inverse[1], product, 3), 2);
}

/* Squared amplitude that the fit would make of what is there besides the decay, of each stop: the same fit, of what is left where
   the decay is all but over, so that ringing which something else keeps up counts as noise. False: the windows
   are too short for that. */
static bool late_noise(const known_decays *of, size_t term, double *out)
{
    const decay_window *window = &of->solution.window;
    double constant = window->rate_hz / known_decay_rate(&of->solution.fit, term);
    size_t n = (size_t)ceil(PROBE * constant), from = (size_t)ceil(OVER * constant);
    probe by;
    if (from + n > window->length || n < 8 || !probe_open(&by, window, &of->solution.fit, term, n))
        return false;
    for (size_t s = 0; s < window->stops; s++) {
        double sum = 0, windows = 0;
        for (size_t i = from; i + n <= window->length; i += n, windows++)
            sum += probe_power(&by, window->residual + s * window->length + i);
        out[s] = sum / windows;
    }
    return true;
}

void known_measure_mode(known_decays *of, const quell_mode *mode, size_t term, quell_stops *out, quell_stop *stop)
{
    decay_normal normal;
    double f = exp(of->solution.fit.parameter[DECAY_PER_TERM * term + DECAY_LN_F]), dof = 1, late[DECAY_STOPS_MAX];
    out->frequency_hz[term] = mode[term].frequency_hz;
    out->damping_ratio[term] = mode[term].damping_ratio;
    out->log_power_se[term] = shared_error(of, mode, term);
    decay_evaluate(&of->solution.window, &of->solution.fit, 0, of->solution.window.stops, false, &normal, NULL);
    decay_residuals(&of->solution.window, &of->solution.fit);
    double variance = decay_local_variance(&of->solution.window, f, &dof) *
                      unit_variance(&of->solution.window, &of->solution.fit, term);
    bool by_late = late_noise(of, term, late);
    out->short_rests = out->short_rests || !by_late;
    for (size_t s = 0; s < out->count; s++) {
        double noise = (by_late ? late[s] : variance) * to_power(of, s, term);
        stop[s].power_m2[term] = known_squared(of, s, term) * to_power(of, s, term) - noise;
        out->noise_m2[term] += noise / (double)out->count;
    }
}
