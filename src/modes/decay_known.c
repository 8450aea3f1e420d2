/* Ringing after stops where the modes are known: no poles are searched, so that it works as well where a shaper has left next
   to nothing. What matters is the moment the commanded motion ends, since the amplitude is told for it. */
#include "modes/decay_private.h"

#include <math.h>

#define BAND_HZ 1000.0 /* working rate 6400 Hz or more: the end is seen to a fraction of a millisecond */
#define FIRST_S 0.02   /* after the velocity is seen at rest: a window to begin with */
#define MARGIN_S 2e-3  /* of a window after the end: motion may hide in the noise for as long */
#define TIME_CONSTANTS 6.0 /* a longer window holds noise alone */
#define OVER 3.0 /* time constants after which a decay is over, as far as noise is concerned ... */
#define PROBE 2.0 /* ... and of what noise is probed with */
#define LOOK_BACK_S 5e-3 /* motion that the end is found from ... */
#define LOOK_BACK_PERIODS 0.3 /* ... before which a shaper's next impulse may lie */
#define END_STEP 0.25 /* samples */
#define END_SE 0.5    /* samples: of the end as found, shared by all stops */
#define NORMAL_95 1.959964
#define BEFORE_MOST_S 3.0 /* of motion looked at before the first stop */

typedef struct known {
    decay_data data;
    decay_stops rests;       /* as the velocity shows them */
    decay_solution solution; /* of those that can be measured */
    size_t loudest;          /* the mode of most acceleration */
} known;

/* ---------------------------------------------------------------- windows */

static void set_poles(decay_fit *fit, const quell_mode *mode, size_t modes)
{
    *fit = (decay_fit){.terms = modes};
    for (size_t k = 0; k < modes; k++) {
        fit->parameter[DECAY_PER_TERM * k + DECAY_LN_F] = log(mode[k].frequency_hz);
        fit->parameter[DECAY_PER_TERM * k + DECAY_LN_ZETA] = log(mode[k].damping_ratio);
    }
}

static double decay_rate(const decay_fit *fit, size_t term)
{
    return QUELL_TAU * exp(fit->parameter[DECAY_PER_TERM * term + DECAY_LN_F] +
                           fit->parameter[DECAY_PER_TERM * term + DECAY_LN_ZETA]);
}

/* Of the acceleration at the window's start. */
static double squared(const known *of, size_t s, size_t term)
{
    const double *c = of->solution.window.coefficient + s * DECAY_COLUMNS_MAX + 2 * term;
    return c[0] * c[0] + c[1] * c[1];
}

/* As long as all stops allow, and no longer than the slowest mode needs. 0: too short. */
static size_t window_length(known *of)
{
    double slowest = (double)INFINITY;
    for (size_t k = 0; k < of->solution.fit.terms; k++)
        slowest = fmin(slowest, decay_rate(&of->solution.fit, k));
    size_t length = decay_common_length(&of->solution, of->data.rate_hz);
    double enough = fmax(TIME_CONSTANTS / slowest, 0.16) * of->data.rate_hz;
    return (double)length < enough ? length : (size_t)enough;
}

/* Amplitudes and residuals of windows of that length. *solved: false if the modes cannot be told apart in them. */
static quell_status fit_windows(known *of, size_t length, bool *solved, quell_error *err)
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
static quell_status follow_ends(known *of, bool *solved, quell_error *err)
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
static void extend_all(known *of)
{
    decay_solution *solution = &of->solution;
    double noise_mps2[3] = {0, 0, 0};
    decay_axis_noise(&solution->window, noise_mps2);
    for (size_t s = 0; s < solution->stops.count; s++)
        decay_extend(&of->data, &solution->fit, noise_mps2, solution->start[s], solution->window.length,
                     &solution->stops.stop[s]);
}

/* The begin that decay_extend found is late by a block's length at most; it is the first guess of the end. */
static void take_begins(known *of)
{
    extend_all(of);
    for (size_t s = 0; s < of->solution.stops.count; s++)
        of->solution.stops.stop[s].motion_end = (double)of->solution.stops.stop[s].begin - 1;
}

static void find_loudest(known *of)
{
    double most = -1;
    for (size_t k = 0; k < of->solution.fit.terms; k++) {
        double sum = 0;
        for (size_t s = 0; s < of->solution.window.stops; s++)
            sum += squared(of, s, k);
        if (sum > most) {
            most = sum;
            of->loudest = k;
        }
    }
}

/* What is there before the window, less the decay as it is foretold backwards: samples first..start - 1. */
static void foretell_back(const known *of, size_t s, size_t first, double *out)
{
    const decay_window *window = &of->solution.window;
    const double *a = of->data.accel_mps2[0], *c = window->coefficient + s * DECAY_COLUMNS_MAX;
    size_t start = of->solution.start[s];
    double mean = a[start] - window->row[s * window->length];
    for (size_t i = first; i < start; i++) {
        double basis[DECAY_COLUMNS_MAX];
        size_t n = decay_basis_at(&of->solution.fit, ((double)i - (double)start) / of->data.rate_hz, basis);
        out[i - first] = a[i] - mean - quell_dot(basis, c, n);
    }
}

/* Sum of squares left where the motion, at an acceleration A until `end` (samples from first), sets the samples apart from the
   decay by b0 + b1 g, t s before the end: b0 is what does not ring of A, and b1 what rings with the mode, whose
   g = 1 - exp(z w t) (cos wd t + z w / wd sin wd t) follows from its equation of motion. */
static double left_with_end(const known *of, const double *off, size_t n, double end)
{
    double rate_hz = of->data.rate_hz, alpha = decay_rate(&of->solution.fit, of->loudest);
    double w = QUELL_TAU * exp(of->solution.fit.parameter[DECAY_PER_TERM * of->loudest + DECAY_LN_F]),
           wd = sqrt(fmax(w * w - alpha * alpha, 0)) + 1e-9;
    double ff = 0, fg = 0, gg = 0, fe = 0, ge = 0, ee = 0;
    for (size_t i = 0; i < n; i++) {
        double ahead = end - (double)i, t = fmax(ahead, 0) / rate_hz;
        double f = fmin(fmax(ahead + 0.5, 0), 1),
               g = 1 - exp(alpha * t) * (cos(wd * t) + alpha / wd * sin(wd * t)), e = off[i];
        ff += f * f;
        fg += f * g;
        gg += g * g;
        fe += f * e;
        ge += g * e;
        ee += e * e;
    }
    double det = ff * gg - fg * fg;
    if (!(det > 1e-9 * ff * gg))
        return ff > 0 ? ee - fe * fe / ff : ee;
    return ee - (gg * fe * fe - 2 * fg * fe * ge + ff * ge * ge) / det;
}

/* The end that leaves least. */
static double best_end(const known *of, const double *off, size_t n)
{
    double best = 0, least = (double)INFINITY;
    for (double end = 2; end < (double)n; end += END_STEP) {
        double left = left_with_end(of, off, n, end);
        if (left < least) {
            least = left;
            best = end;
        }
    }
    return best;
}

/* The end of each motion to a part of a sample, from windows that are just behind. */
static quell_status sharpen_ends(known *of, quell_error *err)
{
    decay_solution *solution = &of->solution;
    find_loudest(of);
    double f = exp(solution->fit.parameter[DECAY_PER_TERM * of->loudest + DECAY_LN_F]);
    size_t back = (size_t)(fmin(LOOK_BACK_S, LOOK_BACK_PERIODS / f) * of->data.rate_hz) + 4, most = 0;
    for (size_t s = 0; s < solution->stops.count; s++) {
        size_t room = solution->start[s] - (size_t)solution->stops.stop[s].motion_end + back;
        most = room > most ? room : most;
    }
    double *off = quell_memory_get(most * sizeof *off);
    if (off == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu samples", most);
    for (size_t s = 0; s < solution->stops.count; s++) {
        decay_stop *stop = &solution->stops.stop[s];
        size_t guess = (size_t)stop->motion_end, first = guess > back ? guess - back : 0;
        foretell_back(of, s, first, off);
        stop->motion_end = (double)first + best_end(of, off, solution->start[s] - first);
    }
    quell_memory_free(off);
    return QUELL_OK;
}

/* The rests after strokes, their decays' begins, and the amplitudes in windows behind these. *solved: false if no stop can
   be measured. */
static quell_status solve(known *of, bool *solved, quell_error *err)
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
        status = sharpen_ends(of, err);
    if (status == QUELL_OK && *solved)
        status = follow_ends(of, solved, err);
    return status;
}

/* ---------------------------------------------------------------- amplitudes */

/* Seconds from the end of the motion to the window. */
static double lead_s(const known *of, size_t s)
{
    return ((double)of->solution.start[s] - of->solution.stops.stop[s].motion_end) / of->data.rate_hz;
}

/* From acceleration at the window's start, squared, to displacement at the end of the motion. */
static double to_power(const known *of, size_t s, size_t term)
{
    double w = QUELL_TAU * exp(of->solution.fit.parameter[DECAY_PER_TERM * term + DECAY_LN_F]);
    return exp(2 * decay_rate(&of->solution.fit, term) * lead_s(of, s)) / (w * w * w * w);
}

static double mean_power(const known *of, size_t term)
{
    double sum = 0;
    for (size_t s = 0; s < of->solution.window.stops; s++)
        sum += squared(of, s, term) * to_power(of, s, term);
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
static double shared_error(known *of, const quell_mode *mode, size_t term)
{
    double sum = pow(2 * decay_rate(&of->solution.fit, term) * END_SE / of->data.rate_hz, 2);
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
static bool late_noise(const known *of, size_t term, double *out)
{
    const decay_window *window = &of->solution.window;
    double constant = window->rate_hz / decay_rate(&of->solution.fit, term);
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

static void measure_mode(known *of, const quell_mode *mode, size_t term, quell_stops *out, quell_stop *stop)
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
        stop[s].power_m2[term] = squared(of, s, term) * to_power(of, s, term) - noise;
        out->noise_m2[term] += noise / (double)out->count;
    }
}

/* ---------------------------------------------------------------- strokes */

/* Length and mean speed of the stroke before a rest, which begins in the rest before that. The mean acceleration from rest
   to rest is 0. */
static void measure_stroke(const known *of, size_t rest, quell_stop *out)
{
    const decay_stops *rests = &of->rests;
    const double *a = of->data.accel_mps2[0];
    double rate_hz = of->data.rate_hz;
    size_t end = rests->stop[rest].limit, most = (size_t)(BEFORE_MOST_S * rate_hz), from = 0;
    if (rest > 0)
        from = rests->stop[rest - 1].limit;
    else if (rests->stop[rest].rest > most)
        from = rests->stop[rest].rest - most;
    double mean = 0, velocity = 0, way = 0, squares = 0;
    for (size_t i = from; i < end; i++)
        mean += a[i] / (double)(end - from);
    for (size_t i = from; i < end; i++) {
        velocity += (a[i] - mean) / rate_hz;
        way += velocity / rate_hz;
        squares += velocity * velocity / rate_hz;
    }
    out->stroke_m = fabs(way);
    out->speed_mps = way != 0.0 ? squares / fabs(way) : 0;
    out->direction = rests->stop[rest].direction;
}

static void measure_strokes(const known *of, quell_stop *stop)
{
    for (size_t s = 0, rest = 0; s < of->solution.window.stops; s++) {
        while (rest + 1 < of->rests.count && of->rests.stop[rest].rest != of->solution.stops.stop[s].rest)
            rest++;
        measure_stroke(of, rest, &stop[s]);
        stop[s].end_s = ((double)of->data.first + of->solution.stops.stop[s].motion_end * (double)of->data.step) /
                        of->data.recording->rate_hz;
    }
}

/* ---------------------------------------------------------------- the whole */

static quell_status report(known *of, const quell_mode *mode, size_t modes, quell_arena *arena, quell_stops *out,
                           quell_error *err)
{
    out->count = of->solution.window.stops;
    out->modes = modes;
    out->window_s = (double)of->solution.window.length / of->data.rate_hz;
    quell_stop *stop = QUELL_NEW(arena, quell_stop, out->count);
    if (stop == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu stops", out->count);
    measure_strokes(of, stop);
    for (size_t k = 0; k < modes; k++)
        measure_mode(of, mode, k, out, stop);
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
    known *of = quell_memory_get_cleared(sizeof *of);
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
