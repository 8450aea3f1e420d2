/* The stop that rings most, at the recording's own rate, for a picture. */
#include "modes/decay_private.h"

#include <math.h>

#define BEFORE_S 0.05

/* The stop with the greatest mean square in its window. */
static size_t loudest(const decay_window *window)
{
    size_t best = 0;
    double most = -1;
    for (size_t s = 0; s < window->stops; s++) {
        double power = 0;
        for (size_t k = 0; k < window->axes; k++)
            power += window->power[s * window->axes + k];
        if (power > most) {
            most = power;
            best = s;
        }
    }
    return best;
}

/* The driven axis' samples of one stop, fitted with the poles of all. */
static quell_status fit_shown(const decay_solution *solution, const decay_data *data, size_t first,
                              size_t length, double *fitted, quell_error *err)
{
    double *sample = data->recording->accel_mps2[data->driven];
    decay_data raw = {.axes = 1, .rate_hz = data->recording->rate_hz, .accel_mps2 = {sample}};
    decay_window window;
    quell_status status = decay_window_open(&window, &raw, &first, 1, length, err);
    decay_normal normal;
    if (status == QUELL_OK && decay_evaluate(&window, &solution->fit, 0, 1, false, &normal, NULL)) {
        decay_residuals(&window, &solution->fit);
        for (size_t i = 0; i < length; i++)
            fitted[i] = sample[first + i] - window.residual[i];
    } else {
        for (size_t i = 0; i < length; i++)
            fitted[i] = (double)NAN;
    }
    decay_window_clear(&window);
    return status;
}

quell_status decay_show(const decay_solution *solution, const decay_data *data, quell_arena *arena,
                        quell_decays *out, quell_error *err)
{
    size_t s = loudest(&solution->window), first = out->stop[s];
    double rate_hz = data->recording->rate_hz;
    size_t since = (solution->start[s] - solution->stops.stop[s].begin) * data->step; /* the motion's end */
    size_t lead = since + (size_t)(BEFORE_S * rate_hz);
    out->shown_stop = s;
    out->shown_before = lead < first ? lead : first;
    out->shown_motion_end = out->shown_before > since ? out->shown_before - since : 0;
    out->shown = out->shown_before + out->window;
    out->shown_mps2 = QUELL_NEW(arena, double, out->shown);
    out->fitted_mps2 = QUELL_NEW(arena, double, out->shown);
    if (out->shown_mps2 == NULL || out->fitted_mps2 == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu samples", 2 * out->shown);
    for (size_t i = 0; i < out->shown; i++) {
        out->shown_mps2[i] = data->recording->accel_mps2[data->driven][first - out->shown_before + i];
        out->fitted_mps2[i] = (double)NAN;
    }
    return fit_shown(solution, data, first, out->window, out->fitted_mps2 + out->shown_before, err);
}
