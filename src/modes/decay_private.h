/* Parts of the search for free decays: samples at a working rate, ends of motion, starts from a matrix pencil, the fit,
   the number of its terms, and where a decay begins. Positions are working samples unless said otherwise. */
#ifndef QUELL_DECAY_PRIVATE_H
#define QUELL_DECAY_PRIVATE_H

#include "quell/modes.h"

/* ---------------------------------------------------------------- samples */

/* The stretch at the working rate: every `step`-th value of a low-pass, or the samples themselves. */
typedef struct decay_data {
    const quell_recording *recording;
    size_t axes, driven;
    double band_hz[2];
    size_t first, step; /* working sample i lies at sample first + i * step of the recording */
    size_t reach;       /* samples of the recording on either side that it is made of */
    size_t samples;
    double rate_hz;
    double *accel_mps2[3];
    double lag_one; /* correlation of neighbours that the low-pass gives white noise */
} decay_data;

/* Samples first..end - 1 of the recording. QUELL_OK; QUELL_E_MEMORY. Clear in either case. */
quell_status decay_data_prepare(decay_data *out, const quell_recording *recording, size_t driven,
                                size_t first, size_t end, const double band_hz[2], quell_error *err);
void decay_data_clear(decay_data *data);

/* ---------------------------------------------------------------- ends of motion */

enum { DECAY_STOPS_MAX = 200 };

/* One rest after motion. */
typedef struct decay_stop {
    size_t earliest;   /* a decay does not begin before this */
    size_t rest;       /* from here on the axis is slow */
    size_t limit;      /* before this it is */
    size_t latest;     /* a decay does not last beyond this */
    size_t begin, end; /* the free decay as found: begin..end - 1 */
    int direction;     /* of the motion before it: +1, -1; 0: not known */
    double motion_end; /* of known modes (decay_known.c): between which samples the motion ends */
} decay_stop;

typedef struct decay_stops {
    size_t count;
    decay_stop stop[DECAY_STOPS_MAX];
} decay_stops;

/* The rests after strokes, by the velocity of the driven axis. QUELL_OK; QUELL_E_MEMORY. */
quell_status decay_stops_by_velocity(const decay_data *data, decay_stops *out, quell_error *err);

/* Where the level last falls below one of several shares of its greatest: candidates for the one decay of a recording
   without strokes, earliest first. QUELL_OK; QUELL_E_MEMORY. */
quell_status decay_stops_by_level(const decay_data *data, decay_stops *out, quell_error *err);

/* Cuts the stop's bounds to what no break of the recording touches. */
void decay_stop_clear_of_breaks(const decay_data *data, decay_stop *stop);

/* ---------------------------------------------------------------- fit */

enum {
    DECAY_TERMS_MAX = 10,
    DECAY_COLUMNS_MAX = 2 * DECAY_TERMS_MAX + 1,
    DECAY_PARAMETERS_MAX = 2 * DECAY_TERMS_MAX
};
enum { DECAY_LN_F, DECAY_LN_ZETA, DECAY_PER_TERM }; /* offsets within a term */

/* Shared poles. A line does not decay: its ln zeta is no parameter. */
typedef struct decay_fit {
    size_t terms;
    double parameter[DECAY_PARAMETERS_MAX]; /* ln f, ln zeta of each term in turn */
    bool line[DECAY_TERMS_MAX];
    double rss;
} decay_fit;

/* The decays side by side: a row for each stop and axis. */
typedef struct decay_window {
    double rate_hz;
    size_t stops, axes, length;
    double *row;      /* [stop][axis][length] */
    double *power;    /* sum of squares of each row */
    double *residual; /* like row, of the last decay_residuals */
    double
        *coefficient; /* DECAY_COLUMNS_MAX a row, of the last evaluation; cos and sin of each term, offset */
    double *column;   /* scratch */
} decay_window;

/* `length` samples from `start` of each stop. QUELL_OK; QUELL_E_MEMORY. Clear in either case. */
quell_status decay_window_open(decay_window *out, const decay_data *data, const size_t *start, size_t stops,
                               size_t length, quell_error *err);
void decay_window_clear(decay_window *window);

/* Sum of squares and its normal equations at a point. */
typedef struct decay_normal {
    double rss;
    double gradient[DECAY_PARAMETERS_MAX]; /* -1/2 d rss / d parameter */
    double information[DECAY_PARAMETERS_MAX][DECAY_PARAMETERS_MAX];
} decay_normal;

/* Stops first..end - 1 at the fit's poles; each (NULL: not wanted): one a stop. False if the poles cannot be told apart. */
bool decay_evaluate(decay_window *window, const decay_fit *fit, size_t first, size_t end, bool derivatives,
                    decay_normal *sum, decay_normal *each);

/* Residuals of all rows at the coefficients of the last evaluation. */
void decay_residuals(decay_window *window, const decay_fit *fit);

/* Values at time t_s from the window's start: cos and sin of each term, then 1. Returns how many. */
size_t decay_basis_at(const decay_fit *fit, double t_s, double *out);

/* The same at n samples, a column each. */
void decay_columns(const decay_fit *fit, double rate_hz, size_t n, double *out);

/* Improves the poles by damped least squares on stops first..end - 1. only: one parameter to move, or SIZE_MAX: all. */
bool decay_improve(decay_window *window, decay_fit *fit, size_t first, size_t end, size_t only,
                   size_t iterations);

/* Solves information * out = gradient for the parameters that move. False if there is no solution. */
bool decay_step(const decay_fit *fit, const decay_normal *normal, size_t only, double damping, double *out);

/* ---------------------------------------------------------------- starts and number of terms */

typedef struct decay_pole {
    double frequency_hz, damping_ratio;
} decay_pole;

/* Oscillating poles of rows (window->row or ->residual) by a matrix pencil of the given order on every `stride`-th sample.
    QUELL_OK with *count <= max; QUELL_E_MEMORY. */
quell_status decay_pencil(const decay_window *window, const double *rows, size_t stride, size_t order,
                          decay_pole *out, size_t max, size_t *count, quell_error *err);

/* One over the share of independent samples: 1 + 2 sum rho^2 of the residuals. */
double decay_inflation(const decay_window *window);

/* Adds terms to the fit for as long as they pay. QUELL_OK; QUELL_E_MEMORY. */
quell_status decay_select(decay_window *window, const double band_hz[2], decay_fit *fit, quell_error *err);

/* Is the term one to report: in the band, damped, not a line? */
bool decay_term_is_mode(const decay_fit *fit, size_t term, const double band_hz[2]);

/* ---------------------------------------------------------------- begin and end */

/* Moves begin and end of a stop outwards from start..start + length - 1 for as long as the samples are what the decay
    foretells, noise_mps2 of each axis apart. */
void decay_extend(const decay_data *data, const decay_fit *fit, const double noise_mps2[3], size_t start,
                  size_t length, decay_stop *stop);

/* ---------------------------------------------------------------- the whole */

/* A solution: what was fitted to which stops. */
typedef struct decay_solution {
    decay_stops stops; /* those in use */
    size_t start[DECAY_STOPS_MAX];
    decay_window window;
    decay_fit fit;
} decay_solution;

/* From rests to a fit; solution->fit.terms is 0 if nothing decays freely there. */
quell_status decay_solve(const decay_data *data, const decay_stops *rests, decay_solution *out,
                         quell_error *err);
void decay_solution_clear(decay_solution *solution);

/* The length of window that all stops have room for but those with much less than most: these are left out. 0: too short. */
size_t decay_common_length(decay_solution *solution, double rate_hz);

/* Root mean square of what is left of each axis in the later half of the windows: what a large amplitude leaves early on,
   where frequency or damping goes with it, is no noise. */
void decay_axis_noise(const decay_window *window, double noise_mps2[3]);

enum { DECAY_JACKKNIFE_LEAST = 3 }; /* stops */

/* Standard errors of the parameters: by the jackknife from three stops on, else from the residuals.
    *dof: of Student's t. QUELL_OK; QUELL_E_MEMORY. */
quell_status decay_errors(decay_solution *solution, const decay_data *data, double *se, double *dof, quell_error *err);

/* Variance that white noise would have with the residuals' density near f_hz: what lies far from it does not move a term there.
   *dof, of that variance, is made no more than it has. */
double decay_local_variance(const decay_window *window, double f_hz, double *dof);

/* Does a term of that frequency take more energy with it than noise as loud as what is left near it would? Leaves residuals
   and coefficients of the whole fit. */
bool decay_term_stands_out(decay_window *window, const decay_fit *fit, size_t term, double f_hz);

/* Frequency and level of a mode at each stop, its damping and all other terms as they are in the fit. */
void decay_each_stop(decay_solution *solution, const decay_data *data, size_t term, quell_decay_stop *each);

/* The stop that rings most, for a picture. */
quell_status decay_show(const decay_solution *solution, const decay_data *data, quell_arena *arena,
                        quell_decays *out, quell_error *err);

#endif
