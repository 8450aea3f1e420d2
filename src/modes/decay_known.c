/* Ringing after stops where the modes are known: no poles are searched, so that it works as well where a shaper has left next
   to nothing. What matters is the moment the commanded motion ends, since the amplitude is told for it. */
#include "modes/decay_known.h"

#include <math.h>

#define BAND_HZ 1000.0 /* working rate 6400 Hz or more: the end is seen to a fraction of a millisecond */
#define FIRST_S 0.02   /* after the velocity is seen at rest: a window to begin with */
#define MARGIN_S 2e-3  /* of a window after the end: motion may hide in the noise for as long */
#define TIME_CONSTANTS 6.0 /* a longer window holds noise alone */

/* ---------------------------------------------------------------- windows */

static void set_poles(decay_fit *fit, const quell_mode *mode, size_t modes)
{
    *fit = (decay_fit){.terms = modes};
    for (size_t k = 0; k < modes; k++) {
        fit->parameter[DECAY_PER_TERM * k + DECAY_LN_F] = log(mode[k].frequency_hz);
        fit->parameter[DECAY_PER_TERM * k + DECAY_LN_ZETA] = log(mode[k].damping_ratio);
    }
}

double known_decay_rate(const decay_fit *fit, size_t term)
{
    return QUELL_TAU * exp(fit->parameter[DECAY_PER_TERM * term + DECAY_LN_F] +
                           fit->parameter[DECAY_PER_TERM * term + DECAY_LN_ZETA]);
}

/* Of the acceleration at the window's start. */
double known_squared(const known_decays *of, size_t s, size_t term)
{
    const double *c = of->solution.window.coefficient + s * DECAY_COLUMNS_MAX + 2 * term;
    return c[0] * c[0] + c[1] * c[1];
}

/* As long as all stops allow, and no longer than the slowest mode needs. 0: too short. */
static size_t window_length(known_decays *of)
{
    double slowest = (double)INFINITY;
    for (size_t k = 0; k < of->solution.fit.terms; k++)
        slowest = fmin(slowest, known_decay_rate(&of->solution.fit, k));
    size_t length = decay_common_length(&of->solution, of->data.rate_hz);
    double enough = fmax(TIME_CONSTANTS / slowest, 0.16) * of->data.rate_hz;
    return (double)length < enough ? length : (size_t)enough;
}

/* Amplitudes and residuals of windows of that length. *solved: false if the modes cannot be told apart in them. */
static quell_status fit_windows(known_decays *of, size_t length, bool *solved, quell_error *err)
{
    decay_solution *solution = &of->solution;
    decay_normal normal;
    decay_window_clear(&solution->window);
    quell_status status = decay_window_open(&solution->window, &of->data, solution->start,
                                            solution->stops.count, length, err);
    *solved = status == QUELL_OK && decay_evaluate(&solution->window, &solution->fit, 0,
                                                   solution->stops.count, false, &normal, NULL);
    if (*solved)
        decay_residuals(&solution->window, &solution->fit);
    return status;
}

/* Moves the windows to just behind where each motion ends. */
static quell_status follow_ends(known_decays *of, bool *solved, quell_error *err)
{
    decay_solution *solution = &of->solution;
    size_t margin = (size_t)ceil(fmax(MARGIN_S * of->data.rate_hz, 2));
    for (size_t s = 0; s < solution->stops.count; s++)
        solution->start[s] = (size_t)ceil(solution->stops.stop[s].motion_end) + margin;
    size_t length = window_length(of);
    *solved = length > 0;
    return length > 0 ? fit_windows(of, length, solved, err) : QUELL_OK;
}

/* From windows that may be late, the begin of each decay; a block's length late at most. */
static void extend_all(known_decays *of)
{
    decay_solution *solution = &of->solution;
    double noise_mps2[3] = {0, 0, 0};
    decay_axis_noise(&solution->window, noise_mps2);
    for (size_t s = 0; s < solution->stops.count; s++)
        decay_extend(&of->data, &solution->fit, noise_mps2, solution->start[s], solution->window.length,
                     &solution->stops.stop[s]);
}

/* The begin that decay_extend found is late by a block's length at most; it is the first guess of the end. */
static void take_begins(known_decays *of)
{
    extend_all(of);
    for (size_t s = 0; s < of->solution.stops.count; s++)
        of->solution.stops.stop[s].motion_end = fmax((double)of->solution.stops.stop[s].begin - 1, 0);
}

/* The rests after strokes, their decays' begins, and the amplitudes in windows behind these. *solved: false if no stop can
   be measured. */
static quell_status solve(known_decays *of, bool *solved, quell_error *err)
{
    quell_status status = decay_stops_by_velocity(&of->data, &of->rests, err);
    *solved = false;
    if (status != QUELL_OK || of->rests.count == 0)
        return status;
    of->solution.stops = of->rests;
    for (size_t s = 0; s < of->rests.count; s++) {
        decay_stop *stop = &of->solution.stops.stop[s];
        stop->end = stop->limit;
        of->solution.start[s] = stop->rest + (size_t)(FIRST_S * of->data.rate_hz);
    }
    size_t length = window_length(of);
    if (length == 0)
        return QUELL_OK;
    status = fit_windows(of, length, solved, err);
    if (status == QUELL_OK && *solved) {
        take_begins(of);
        status = follow_ends(of, solved, err);
    }
    if (status == QUELL_OK && *solved)
        status = known_find_ends(of, err);
    if (status == QUELL_OK && *solved)
        status = follow_ends(of, solved, err);
    return status;
}

/* ---------------------------------------------------------------- the whole */

static quell_status report(known_decays *of, const quell_mode *mode, size_t modes, quell_arena *arena, quell_stops *out,
                           quell_error *err)
{
    out->count = of->solution.window.stops;
    out->modes = modes;
    out->window_s = (double)of->solution.window.length / of->data.rate_hz;
    quell_stop *stop = QUELL_NEW(arena, quell_stop, out->count);
    if (stop == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu stops", out->count);
    known_measure_strokes(of, stop);
    for (size_t k = 0; k < modes; k++)
        known_measure_mode(of, mode, k, out, stop);
    out->stop = stop;
    return QUELL_OK;
}

static quell_status check(const quell_recording *recording, size_t axis, size_t first, size_t end,
                          const quell_mode *mode, size_t modes, quell_error *err)
{
    if (axis >= recording->axes || recording->accel_mps2[axis] == NULL || first > end || end > recording->samples)
        return quell_fail(err, QUELL_E_USAGE,
                          "samples %zu to %zu of axis %zu, want them within the recording and kept", first, end,
                          axis);
    if (modes == 0 || modes > QUELL_MODES_MAX)
        return quell_fail(err, QUELL_E_USAGE, "found %zu modes, want 1 to %d", modes, (int)QUELL_MODES_MAX);
    for (size_t k = 0; k < modes; k++)
        if (!(mode[k].frequency_hz > 0 && mode[k].frequency_hz < recording->rate_hz / 2 &&
              mode[k].damping_ratio > 0 && mode[k].damping_ratio < 1))
            return quell_fail(err, QUELL_E_USAGE,
                              "a mode is at %g Hz with a damping ratio of %g, want it below %g Hz and the ratio between 0 and 1",
                              mode[k].frequency_hz, mode[k].damping_ratio, recording->rate_hz / 2);
    return QUELL_OK;
}

quell_status quell_stops_measure(const quell_recording *recording, size_t axis, size_t first, size_t end,
                                 const quell_mode *mode, size_t modes, quell_arena *arena, quell_stops *out,
                                 quell_error *err)
{
    quell_status status = check(recording, axis, first, end, mode, modes, err);
    if (status != QUELL_OK)
        return status;
    quell_recording alone = *recording; /* across the driven axis nothing tells when the motion ends */
    alone.axes = 1;
    alone.accel_mps2[0] = recording->accel_mps2[axis];
    const double band_hz[2] = {0, BAND_HZ};
    quell_stops found = {0};
    known_decays *of = quell_memory_get_cleared(sizeof *of);
    if (of == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory");
    set_poles(&of->solution.fit, mode, modes);
    bool solved = false;
    status = decay_data_prepare(&of->data, &alone, 0, first, end, band_hz, err);
    if (status == QUELL_OK)
        status = solve(of, &solved, err);
    if (status == QUELL_OK && solved)
        status = report(of, mode, modes, arena, &found, err);
    decay_solution_clear(&of->solution);
    decay_data_clear(&of->data);
    quell_memory_free(of);
    if (status == QUELL_OK)
        *out = found;
    return status;
}
