/* Free decays of a recording, from samples to modes. */
#include "modes/decay_private.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#define LN_ZETA_SE_MOST 0.5 /* a damping ratio known no better than by its half is not reported */
#define FEW_SE_MOST 0.2     /* nor, of one or two decays, by its fifth ... */
#define SINGLE_SE_MOST 0.05 /* ... or its twentieth where no stroke came before and noise may pass for a decay */
#define SINGLE_CLEAR                                                                                         \
    8.0 /* amplitude of a single decay over what is left: noise through a mode rises and falls, too */

static double parameter(const decay_fit *fit, size_t term, size_t which)
{
    return fit->parameter[DECAY_PER_TERM * term + which];
}

/* Root mean square over the stops of the amplitude at the stop, and the principal direction of the motion. */
static double amplitude_and_direction(const decay_solution *solution, const decay_data *data, size_t term,
                                      double direction[3])
{
    const decay_window *window = &solution->window;
    const decay_fit *fit = &solution->fit;
    double alpha = QUELL_TAU * exp(parameter(fit, term, DECAY_LN_F) + parameter(fit, term, DECAY_LN_ZETA));
    double matrix[9] = {0}, power[3], vector[3][3];
    for (size_t s = 0; s < window->stops; s++) {
        double lead_s = (double)(solution->start[s] - solution->stops.stop[s].begin) / data->rate_hz;
        double grown = exp(2 * alpha * lead_s) / (double)window->stops;
        const double *c = window->coefficient + s * window->axes * DECAY_COLUMNS_MAX + 2 * term;
        for (size_t i = 0; i < window->axes; i++)
            for (size_t k = 0; k < window->axes; k++)
                matrix[3 * i + k] += grown * (c[i * DECAY_COLUMNS_MAX] * c[k * DECAY_COLUMNS_MAX] +
                                              c[i * DECAY_COLUMNS_MAX + 1] * c[k * DECAY_COLUMNS_MAX + 1]);
    }
    bool known = window->axes == 3 && quell_symmetric_eigen(matrix, power, vector);
    size_t main = 0;
    for (size_t k = 1; known && k < 3; k++)
        if (fabs(vector[0][k]) > fabs(vector[0][main]))
            main = k;
    for (size_t k = 0; k < 3; k++)
        direction[k] = !known ? (double)NAN : vector[0][main] < 0 ? -vector[0][k] : vector[0][k];
    return sqrt(matrix[0] + matrix[4] + matrix[8]);
}

static quell_decay mode_of(const decay_solution *solution, const decay_data *data, size_t term,
                           const double *se, double t)
{
    double f = exp(parameter(&solution->fit, term, DECAY_LN_F));
    double zeta = exp(parameter(&solution->fit, term, DECAY_LN_ZETA));
    double f_se = se[DECAY_PER_TERM * term + DECAY_LN_F], zeta_se = se[DECAY_PER_TERM * term + DECAY_LN_ZETA];
    quell_decay out = {.frequency_hz = f,
                       .frequency_ci95_hz = {f * exp(-t * f_se), f * exp(t * f_se)},
                       .damping_ratio = zeta,
                       .damping_ratio_ci95 = {zeta * exp(-t * zeta_se), zeta * exp(t * zeta_se)},
                       .log_damping_se = zeta_se};
    out.amplitude_mps2 = amplitude_and_direction(solution, data, term, out.direction);
    return out;
}

/* Enters a mode in order of frequency. */
static void enter(quell_decays *out, const quell_decay *mode, size_t term, size_t *strongest, double *most)
{
    if (out->count == QUELL_MODES_MAX)
        return;
    size_t at = out->count++;
    for (; at > 0 && out->mode[at - 1].frequency_hz > mode->frequency_hz; at--)
        out->mode[at] = out->mode[at - 1];
    out->mode[at] = *mode;
    if (mode->amplitude_mps2 > *most) {
        *most = mode->amplitude_mps2;
        *strongest = term;
    }
}

/* What a perfect model would leave: half the mean square of differences of neighbours, for noise whose neighbours the
   low-pass has made alike. */
static double noise_of(const decay_window *window, double lag_one)
{
    double sum = 0;
    for (size_t r = 0; r < window->stops * window->axes; r++)
        for (size_t i = 1; i < window->length; i++) {
            const double *rest = window->residual + r * window->length + i;
            sum += (rest[0] - rest[-1]) * (rest[0] - rest[-1]);
        }
    double pairs = (double)(window->stops * window->axes * (window->length - 1));
    return sqrt(sum / pairs / (2 * (1 - lag_one)));
}

/* Fills in everything but the picture. */
static quell_status fill(decay_solution *solution, const decay_data *data, quell_arena *arena,
                         quell_decays *out, size_t *strongest, quell_error *err)
{
    decay_window *window = &solution->window;
    double se[DECAY_PARAMETERS_MAX], dof, most = 0;
    quell_status status = decay_errors(solution, data, se, &dof, err);
    if (status != QUELL_OK)
        return status;
    decay_residuals(window, &solution->fit);
    out->rms_misfit_mps2 = sqrt(solution->fit.rss / (double)(window->stops * window->axes * window->length));
    out->noise_mps2 = noise_of(window, data->lag_one);
    double t = gsl_cdf_tdist_Pinv(0.975, dof);
    for (size_t k = 0; k < solution->fit.terms; k++) {
        quell_decay mode = mode_of(solution, data, k, se, t);
        bool few = window->stops < DECAY_JACKKNIFE_LEAST, after_stroke = solution->stops.stop[0].direction != 0;
        double most_se = !few ? LN_ZETA_SE_MOST : after_stroke ? FEW_SE_MOST : SINGLE_SE_MOST;
        bool clear = mode.log_damping_se < most_se &&
                     (!few || mode.amplitude_mps2 > SINGLE_CLEAR * out->rms_misfit_mps2);
        if (decay_term_is_mode(&solution->fit, k, data->band_hz) && clear &&
            decay_term_stands_out(window, &solution->fit, k, mode.frequency_hz))
            enter(out, &mode, k, strongest, &most);
    }
    size_t *stop = QUELL_NEW(arena, size_t, window->stops);
    if (stop == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu stops", window->stops);
    for (size_t s = 0; s < window->stops; s++)
        stop[s] = data->first + solution->start[s] * data->step;
    out->stop = stop;
    out->stops = window->stops;
    out->window = (window->length - 1) * data->step + 1;
    return QUELL_OK;
}

static quell_status report(decay_solution *solution, const decay_data *data, quell_arena *arena,
                           quell_decays *out, quell_error *err)
{
    quell_decays found = {0};
    size_t strongest = 0;
    quell_status status = fill(solution, data, arena, &found, &strongest, err);
    if (status != QUELL_OK || found.count == 0)
        return status;
    status = decay_show(solution, data, arena, &found, err);
    if (status != QUELL_OK)
        return status;
    quell_decay_stop *each = QUELL_NEW(arena, quell_decay_stop, found.stops);
    if (each == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu stops", found.stops);
    decay_each_stop(solution, data, strongest, each);
    found.each = each;
    *out = found;
    return QUELL_OK;
}

/* Strokes first; without, the one decay after whatever there was. */
static quell_status search(const decay_data *data, decay_stops *rests, decay_solution *solution,
                           quell_arena *arena, quell_decays *out, quell_error *err)
{
    quell_status status = decay_stops_by_velocity(data, rests, err);
    if (status == QUELL_OK && rests->count > 0)
        status = decay_solve(data, rests, solution, err);
    if (status == QUELL_OK && solution->fit.terms > 0)
        status = report(solution, data, arena, out, err);
    if (status != QUELL_OK || out->count > 0)
        return status;
    decay_solution_clear(solution);
    status = decay_stops_by_level(data, rests, err);
    size_t candidates = status == QUELL_OK ? rests->count : 0;
    for (size_t i = 0; i < candidates && status == QUELL_OK && out->count == 0; i++) {
        rests->stop[0] = rests->stop[i];
        rests->count = 1;
        status = decay_solve(data, rests, solution, err);
        if (status == QUELL_OK && solution->fit.terms > 0)
            status = report(solution, data, arena, out, err);
    }
    return status;
}

quell_status quell_decays_find(const quell_recording *recording, size_t axis, size_t first, size_t end,
                               const double band_hz[2], quell_arena *arena, quell_decays *out,
                               quell_error *err)
{
    double band[2] = {band_hz[0], band_hz[1]};
    bool own = band[0] == 0.0 && band[1] == 0.0;
    if (own)
        quell_modes_default_band(recording->rate_hz, band);
    else if (!(band[0] >= 0 && band[1] > band[0] && isfinite(band[1])))
        return quell_fail(err, QUELL_E_USAGE, "band is %g to %g Hz, want it to rise from 0 or more", band[0],
                          band[1]);
    if (recording->accel_mps2[0] == NULL || axis >= recording->axes || first > end ||
        end > recording->samples)
        return quell_fail(err, QUELL_E_USAGE,
                          "samples %zu to %zu of axis %zu, want them within the recording and kept", first,
                          end, axis);
    quell_decays found = {0};
    if (own && !(band[1] > band[0])) { /* so slow a recording has no band */
        *out = found;
        return QUELL_OK;
    }
    decay_data data = {0};
    decay_stops *rests = quell_memory_get(sizeof *rests);
    decay_solution *solution = quell_memory_get_cleared(sizeof *solution);
    quell_status status;
    if (rests == NULL || solution == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory");
    else
        status = decay_data_prepare(&data, recording, axis, first, end, band, err);
    if (rests != NULL && solution != NULL && status == QUELL_OK) {
        status = search(&data, rests, solution, arena, &found, err);
        decay_solution_clear(solution);
    }
    quell_memory_free(solution);
    quell_memory_free(rests);
    decay_data_clear(&data);
    if (status == QUELL_OK)
        *out = found;
    return status;
}
