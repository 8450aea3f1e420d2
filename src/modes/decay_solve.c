/* From rests to a fit: windows that begin late enough to be surely free, then as early as the decay allows. */
#include "modes/decay_private.h"

#include <math.h>
#include <stdlib.h>

#define MARGIN_LEAST_S 4e-3 /* of a window after the stop as found */
#define MARGIN_MOST_S 12e-3
#define MARGIN_PERIODS 0.25 /* motion may hide in the noise for this part of a period */
#define WINDOW_LEAST_S 0.08
#define WINDOW_MOST_S 4.0
#define FIRST_MOST_S 1.0
#define TIME_CONSTANTS 6.0 /* a longer window holds noise alone */
#define MUCH_LESS 0.75     /* of the first quartile of the room after the stops */
#define MOTION 10.0        /* times more left of earlier windows: there is motion in them */
#define UNEXPLAINED 0.2    /* of the mean square, at most */

enum { PASSES = 4, WINDOW_SAMPLES_MAX = 12000 };

/* After the velocity is seen at rest, a first window begins this much later: the earlier ones are for decays that are
   over by then. */
static const double first_s[] = {0.04, 0.02, 0.005, -0.01};

/* How much earlier a mode that is soon over is looked for. */
static const double earlier_s[] = {0.004, 0.012, 0.02, 0.032};

static int ascending(const void *a, const void *b)
{
    size_t x = *(const size_t *)a, y = *(const size_t *)b;
    return (x > y) - (x < y);
}

static int ascending_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

size_t decay_common_length(decay_solution *solution, double rate_hz)
{
    decay_stops *stops = &solution->stops;
    size_t room[DECAY_STOPS_MAX] = {0}, kept = 0, count = stops->count, shortest = 0;
    for (size_t s = 0; s < count; s++)
        room[s] = stops->stop[s].end > solution->start[s] ? stops->stop[s].end - solution->start[s] : 0;
    qsort(room, count, sizeof room[0], ascending);
    while (shortest < count / 4 && (double)room[shortest] < MUCH_LESS * (double)room[count / 4])
        shortest++;
    size_t length = count > 0 ? room[shortest] : 0;
    for (size_t s = 0; s < count; s++)
        if (stops->stop[s].end >= solution->start[s] + length) {
            stops->stop[kept] = stops->stop[s];
            solution->start[kept++] = solution->start[s];
        }
    stops->count = kept;
    double least = WINDOW_LEAST_S * rate_hz, most = fmin(WINDOW_MOST_S * rate_hz, WINDOW_SAMPLES_MAX);
    return (double)length < least ? 0 : (double)length > most ? (size_t)most : length;
}

/* No longer than the slowest mode needs. */
static size_t needed_length(const decay_fit *fit, const double band_hz[2], double rate_hz, size_t length)
{
    double slowest = (double)INFINITY;
    for (size_t k = 0; k < fit->terms; k++)
        if (decay_term_is_mode(fit, k, band_hz))
            slowest = fmin(slowest, QUELL_TAU * exp(fit->parameter[DECAY_PER_TERM * k + DECAY_LN_F] +
                                                    fit->parameter[DECAY_PER_TERM * k + DECAY_LN_ZETA]));
    double enough = fmax(TIME_CONSTANTS / slowest, 2 * WINDOW_LEAST_S) * rate_hz;
    return (double)length < enough ? length : (size_t)enough;
}

static bool has_mode(const decay_fit *fit, const double band_hz[2])
{
    for (size_t k = 0; k < fit->terms; k++)
        if (decay_term_is_mode(fit, k, band_hz))
            return true;
    return false;
}

/* Opens the window at solution->start and fits. */
static quell_status fit_window(const decay_data *data, decay_solution *solution, size_t length,
                               quell_error *err)
{
    decay_window_clear(&solution->window);
    quell_status status =
        decay_window_open(&solution->window, data, solution->start, solution->stops.count, length, err);
    return status == QUELL_OK ? decay_select(&solution->window, data->band_hz, &solution->fit, err) : status;
}

/* Do the terms explain what is there? Asked of the windows' beginning: later there is little but noise. */
static bool explained(const decay_solution *solution, const double band_hz[2])
{
    const decay_window *window = &solution->window;
    size_t n = (size_t)(WINDOW_LEAST_S / 2 * window->rate_hz) + 1;
    double power = 0, rest = 0;
    for (size_t r = 0; r < window->stops * window->axes; r++) {
        power += quell_dot(window->row + r * window->length, window->row + r * window->length, n);
        rest += quell_dot(window->residual + r * window->length, window->residual + r * window->length, n);
    }
    return has_mode(&solution->fit, band_hz) && rest < UNEXPLAINED * power;
}

/* A first fit, from windows that are late. */
static quell_status first_fit(const decay_data *data, const decay_stops *rests, decay_solution *out,
                              quell_error *err)
{
    for (size_t i = 0; i < sizeof first_s / sizeof first_s[0]; i++) {
        out->stops = *rests;
        out->fit = (decay_fit){0};
        for (size_t s = 0; s < rests->count; s++) {
            double start = (double)rests->stop[s].rest + first_s[i] * data->rate_hz;
            out->stops.stop[s].end = rests->stop[s].limit;
            out->start[s] = (size_t)fmax(start, (double)rests->stop[s].earliest);
        }
        size_t length = decay_common_length(out, data->rate_hz), most = (size_t)(FIRST_MOST_S * data->rate_hz);
        if (length == 0)
            continue;
        length = length < most ? length : most;
        quell_status status = fit_window(data, out, length, err);
        if (status != QUELL_OK || explained(out, data->band_hz))
            return status;
    }
    out->fit = (decay_fit){0};
    return QUELL_OK;
}

void decay_axis_noise(const decay_window *window, double noise_mps2[3])
{
    size_t half = window->length / 2;
    for (size_t k = 0; k < window->axes; k++) {
        double sum = 0;
        for (size_t s = 0; s < window->stops; s++) {
            const double *rest =
                window->residual + (s * window->axes + k) * window->length + window->length - half;
            sum += quell_dot(rest, rest, half);
        }
        noise_mps2[k] = sqrt(sum / (double)(window->stops * half)) + 1e-12;
    }
}

/* How long after the stop as found a window begins. */
static size_t margin(const decay_data *data, const decay_fit *fit)
{
    double lowest = (double)INFINITY;
    for (size_t k = 0; k < fit->terms; k++)
        if (decay_term_is_mode(fit, k, data->band_hz))
            lowest = fmin(lowest, exp(fit->parameter[DECAY_PER_TERM * k + DECAY_LN_F]));
    double seconds = fmin(fmax(MARGIN_PERIODS / lowest, MARGIN_LEAST_S), MARGIN_MOST_S);
    double reach = (double)data->reach / (double)data->step;
    return (size_t)ceil(fmax(seconds * data->rate_hz, reach));
}

/* Moves every window to where its decay begins; false if none moved. */
static bool move_windows(const decay_data *data, decay_solution *solution)
{
    double noise_mps2[3] = {0, 0, 0};
    bool moved = false;
    size_t after = margin(data, &solution->fit);
    decay_axis_noise(&solution->window, noise_mps2);
    for (size_t s = 0; s < solution->stops.count; s++) {
        size_t start = solution->start[s];
        decay_extend(data, &solution->fit, noise_mps2, start, solution->window.length,
                     &solution->stops.stop[s]);
        solution->start[s] = solution->stops.stop[s].begin + after;
        moved = moved || solution->start[s] + 1 < start || solution->start[s] > start + 1;
    }
    return moved;
}

/* Windows from where the decays were found to begin, and a fit of them; moved again until they stay. */
static quell_status settle(const decay_data *data, decay_solution *out, quell_error *err)
{
    quell_status status = QUELL_OK;
    for (size_t pass = 0; pass < PASSES && status == QUELL_OK && out->fit.terms > 0; pass++) {
        if (!move_windows(data, out) && pass > 0)
            break;
        size_t length = decay_common_length(out, data->rate_hz);
        length = needed_length(&out->fit, data->band_hz, data->rate_hz, length);
        if (length > 0)
            status = fit_window(data, out, length, err);
        if (length == 0 || (status == QUELL_OK && !explained(out, data->band_hz)))
            out->fit = (decay_fit){0};
    }
    return status;
}

/* Do most decays begin well before the windows of `early`, by its fit from the later starts on? */
static bool early_is_free(const decay_data *data, const decay_solution *early, const size_t *later)
{
    double noise_mps2[3] = {0, 0, 0};
    size_t free_ones = 0, after = margin(data, &early->fit);
    decay_axis_noise(&early->window, noise_mps2);
    for (size_t s = 0; s < early->stops.count; s++) {
        decay_stop stop = early->stops.stop[s];
        size_t late = later[s] - early->start[s];
        if (late >= early->window.length)
            continue;
        decay_extend(data, &early->fit, noise_mps2, later[s], early->window.length - late, &stop);
        free_ones += stop.begin + after / 2 <= early->start[s];
    }
    return 2 * free_ones > early->stops.count;
}

/* How much later than the velocity comes to rest most windows begin: the first quartile, in samples. */
static double usual_delay(const decay_solution *solution)
{
    double delay[DECAY_STOPS_MAX] = {0};
    size_t count = solution->stops.count;
    for (size_t s = 0; s < count; s++)
        delay[s] = (double)solution->start[s] - (double)solution->stops.stop[s].rest;
    qsort(delay, count, sizeof delay[0], ascending_value);
    return delay[count / 4];
}

/* Windows that begin a good deal earlier, all as long after the velocity came to rest. False if a stop leaves no room. */
static bool start_earlier(const decay_data *data, const decay_solution *from, double by_s,
                          decay_solution *early)
{
    double delay = usual_delay(from) - by_s * data->rate_hz;
    early->stops = from->stops;
    early->fit = from->fit;
    for (size_t s = 0; s < from->stops.count; s++) {
        double start = (double)from->stops.stop[s].rest + delay;
        if (start < (double)from->stops.stop[s].earliest)
            return false;
        early->start[s] = (size_t)fmin(start, (double)from->start[s]);
    }
    return true;
}

/* A mode that is over soon stands in the way: no window reaches back to where it could be seen well. Windows from before
   the beginning are tried; if a term more explains what is there, and before, they are free decays. */
static quell_status try_earlier(const decay_data *data, decay_solution *out, bool *found, quell_error *err)
{
    decay_solution *early = quell_memory_get_cleared(sizeof *early);
    if (early == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory");
    quell_status status = QUELL_OK;
    *found = false;
    for (size_t i = 0; i < sizeof earlier_s / sizeof earlier_s[0] && status == QUELL_OK && !*found; i++) {
        if ((i > 0 && early->fit.rss > MOTION * out->fit.rss) ||
            !start_earlier(data, out, earlier_s[i], early))
            break;
        status = fit_window(data, early, out->window.length, err);
        *found = status == QUELL_OK && early->fit.terms > out->fit.terms && explained(early, data->band_hz) &&
                 early_is_free(data, early, out->start);
    }
    if (*found) {
        decay_window_clear(&out->window);
        *out = *early;
    } else {
        decay_window_clear(&early->window);
    }
    quell_memory_free(early);
    return status;
}

quell_status decay_solve(const decay_data *data, const decay_stops *rests, decay_solution *out,
                         quell_error *err)
{
    bool again = true;
    quell_status status = first_fit(data, rests, out, err);
    for (size_t i = 0; i < PASSES && status == QUELL_OK && again && out->fit.terms > 0; i++) {
        status = settle(data, out, err);
        again = false;
        if (status == QUELL_OK && out->fit.terms > 0)
            status = try_earlier(data, out, &again, err);
    }
    return status;
}

void decay_solution_clear(decay_solution *solution)
{
    decay_window_clear(&solution->window);
    solution->fit.terms = 0;
}
