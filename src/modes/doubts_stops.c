/* Does a mode ring differently from stop to stop, or as it dies? Each free decay is fitted on its own, with the poles
   found for all of them as a start: its own ln f and ln zeta, and, where asked for, a frequency that comes back as
   the square of the amplitude dies, f(t) = f (1 - fall exp(-2 zeta w t)), as a softening spring's does (A. H. Nayfeh,
   D. T. Mook, Nonlinear Oscillations, 1979, by averaging). One Gauss-Newton step, linear in all but these. */
#include "modes_private.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

#define PER_PERIOD 12.0
#define CHANCE 0.00135 /* of a normal variable beyond 3 standard errors; few stops need more of Student's */
#define FALL_LEAST 0.005
#define FREQUENCY_LEAST 0.01
#define DAMPING_LEAST 0.1
#define STEP_MOST 0.15 /* of ln f or the fall: beyond, the decay is no such mode's */
#define DAMPING_STEP_MOST 1.0
#define SECONDS_BEFORE 3.0 /* of motion looked at before a stop */

enum {
    STOPS_LEAST = 4,
    STOPS_OF_GROUP = 3,
    STOPS_MOST = 64,
    CYCLES_LEAST = 3,
    COLUMNS_MOST = 2 * QUELL_MODES_MAX + 4,
    SHAPES_MOST = 2 * QUELL_MODES_MAX + 5
};

enum { BY_FREQUENCY, BY_DAMPING, BY_FALL, EXTRAS };
enum {
    T_COS,
    T_SIN,
    G_COS,
    G_SIN,
    OWN
}; /* the last of the shapes: time and growth times the mode's cos and sin */

/* One mode's part in the decays, seen along its direction. The shapes that a decay is made of are the same for each:
   exp(-zeta w t) cos and sin for every mode, an offset, and the OWN. */
typedef struct decay_view {
    const quell_recording *recording;
    const quell_decays *decays;
    size_t mode; /* of decays */
    double direction[3];
    size_t step, count; /* every step-th sample is used, count of them */
    size_t linear, shapes;
    double *shape; /* count rows of `shapes` */
    double gram[SHAPES_MOST * SHAPES_MOST];
} decay_view;

static void shapes_at(const decay_view *view, double t, double *shape)
{
    size_t n = 0;
    for (size_t m = 0; m < view->decays->count; m++) {
        const quell_decay *mode = &view->decays->mode[m];
        double w = QUELL_TAU * mode->frequency_hz, z = mode->damping_ratio, wd = w * sqrt(1 - z * z);
        shape[n++] = exp(-z * w * t) * cos(wd * t);
        shape[n++] = exp(-z * w * t) * sin(wd * t);
    }
    shape[n++] = 1;
    const quell_decay *own = &view->decays->mode[view->mode];
    double w = QUELL_TAU * own->frequency_hz, z = own->damping_ratio;
    double growth = expm1(-2 * z * w * t) / (2 * z * w);
    for (size_t k = 0; k < 2; k++) {
        shape[n + T_COS + k] = t * shape[2 * view->mode + k];
        shape[n + G_COS + k] = growth * shape[2 * view->mode + k];
    }
}

static bool make_shapes(decay_view *view)
{
    view->linear = 2 * view->decays->count + 1;
    view->shapes = view->linear + OWN;
    view->shape = quell_memory_get(view->count * view->shapes * sizeof *view->shape);
    if (view->shape == NULL)
        return false;
    for (size_t i = 0; i < view->count; i++) {
        double *row = view->shape + i * view->shapes;
        shapes_at(view, (double)(i * view->step) / view->recording->rate_hz, row);
        for (size_t r = 0; r < view->shapes; r++)
            for (size_t c = 0; c < view->shapes; c++)
                view->gram[r * view->shapes + c] += row[r] * row[c];
    }
    return true;
}

/* Products of the shapes with the decay that starts at sample `start`. */
static void project(const decay_view *view, size_t start, double *product)
{
    for (size_t r = 0; r < view->shapes; r++)
        product[r] = 0;
    for (size_t i = 0; i < view->count; i++) {
        const double *row = view->shape + i * view->shapes;
        double y = 0;
        for (size_t a = 0; a < view->recording->axes; a++)
            y += view->direction[a] * view->recording->accel_mps2[a][start + i * view->step];
        for (size_t r = 0; r < view->shapes; r++)
            product[r] += row[r] * y;
    }
}

/* Least squares with n columns, column c the sum over the shapes of mix[c][shape] times the shape. */
static bool solve(const decay_view *view, const double *product, double mix[COLUMNS_MOST][SHAPES_MOST],
                  size_t n, double *out)
{
    double matrix[COLUMNS_MOST * COLUMNS_MOST], right[COLUMNS_MOST] = {0}, scale[COLUMNS_MOST] = {0};
    size_t shapes = view->shapes;
    for (size_t r = 0; r < n; r++) {
        double row[SHAPES_MOST];
        right[r] = 0;
        for (size_t s = 0; s < shapes; s++) {
            right[r] += mix[r][s] * product[s];
            row[s] = 0;
            for (size_t u = 0; u < shapes; u++)
                row[s] += mix[r][u] * view->gram[u * shapes + s];
        }
        for (size_t c = 0; c < n; c++) {
            matrix[r * n + c] = 0;
            for (size_t s = 0; s < shapes; s++)
                matrix[r * n + c] += row[s] * mix[c][s];
        }
        scale[r] = matrix[r * n + r] > 0 ? 1 / sqrt(matrix[r * n + r]) : 0;
    }
    for (size_t r = 0; r < n; r++) {
        right[r] *= scale[r];
        for (size_t c = 0; c < n; c++)
            matrix[r * n + c] *= scale[r] * scale[c];
    }
    if (!quell_linear_solve(matrix, right, out, n))
        return false;
    for (size_t r = 0; r < n; r++)
        out[r] *= scale[r];
    return true;
}

/* Derivatives by ln f, ln zeta and the fall of a cos + b sin, as sums of the shapes. */
static void derive(const decay_view *view, double a, double b, double mix[][SHAPES_MOST])
{
    const quell_decay *own = &view->decays->mode[view->mode];
    double w = QUELL_TAU * own->frequency_hz, z = own->damping_ratio, root = sqrt(1 - z * z);
    double *by_f = mix[BY_FREQUENCY] + view->linear, *by_z = mix[BY_DAMPING] + view->linear,
           *by_fall = mix[BY_FALL] + view->linear;
    by_f[T_COS] = -z * w * a + w * root * b;
    by_f[T_SIN] = -z * w * b - w * root * a;
    by_z[T_COS] = -z * w * a - z * z * w / root * b;
    by_z[T_SIN] = -z * w * b + z * z * w / root * a;
    by_fall[G_COS] = w * root * b;
    by_fall[G_SIN] = -w * root * a;
}

/* Steps of ln f, ln zeta and, with_fall, the fall, of one decay. False if they say nothing. */
static bool step_of(const decay_view *view, size_t start, bool with_fall, double step[EXTRAS])
{
    double product[SHAPES_MOST], out[COLUMNS_MOST], mix[COLUMNS_MOST][SHAPES_MOST] = {{0}};
    size_t linear = view->linear, extras = with_fall ? EXTRAS : BY_FALL;
    for (size_t c = 0; c < linear; c++)
        mix[c][c] = 1;
    project(view, start, product);
    if (!solve(view, product, mix, linear, out))
        return false;
    derive(view, out[2 * view->mode], out[2 * view->mode + 1], mix + linear);
    if (!solve(view, product, mix, linear + extras, out))
        return false;
    memcpy(step, out + linear, extras * sizeof *step);
    return fabs(step[BY_FREQUENCY]) < STEP_MOST && fabs(step[BY_DAMPING]) < DAMPING_STEP_MOST &&
           (!with_fall || fabs(step[BY_FALL]) < STEP_MOST);
}

/* The decay's mode that is this one, seen along its own direction; false if there is none. The shapes are for
   quell_memory_free. */
static bool look(decay_view *out, quell_doubter *in, const quell_mode *mode)
{
    const quell_decays *decays = in->decays;
    if (in->recording == NULL || decays == NULL || decays->stops < STOPS_LEAST)
        return false;
    *out = (decay_view){.recording = in->recording, .decays = decays, .mode = decays->count};
    double within = fmax(0.05, mode->damping_ratio), highest_hz = 0;
    for (size_t k = 0; k < decays->count; k++) {
        double off = fabs(log(decays->mode[k].frequency_hz / mode->frequency_hz));
        highest_hz = fmax(highest_hz, decays->mode[k].frequency_hz);
        if (off < within) {
            within = off;
            out->mode = k;
        }
    }
    if (out->mode == decays->count)
        return false;
    const quell_decay *own = &decays->mode[out->mode];
    for (size_t a = 0; a < in->recording->axes; a++) {
        if (in->recording->accel_mps2[a] == NULL)
            return false;
        out->direction[a] = isfinite(own->direction[a]) ? own->direction[a] : a == mode->seen_on;
    }
    out->step = (size_t)fmax(in->recording->rate_hz / (PER_PERIOD * highest_hz), 1);
    out->count = decays->window / out->step;
    if (!(own->damping_ratio > 0 && own->damping_ratio < 1 &&
          (double)decays->window * own->frequency_hz > CYCLES_LEAST * in->recording->rate_hz &&
          out->count > 2 * (2 * decays->count + 1 + EXTRAS)))
        return false;
    in->failed = !make_shapes(out) || in->failed;
    return out->shape != NULL;
}

/* ---------------------------------------------------------------- samples of few stops */

typedef struct sample_of_stops {
    size_t n;
    double value[STOPS_MOST];
} sample_of_stops;

static void add(sample_of_stops *to, double value)
{
    if (to->n < STOPS_MOST)
        to->value[to->n++] = value;
}

static double mean_of(const sample_of_stops *of)
{
    double sum = 0;
    for (size_t i = 0; i < of->n; i++)
        sum += of->value[i];
    return sum / (double)of->n;
}

/* Of the mean, squared. */
static double variance_of(const sample_of_stops *of)
{
    double mean = mean_of(of), sum = 0;
    for (size_t i = 0; i < of->n; i++)
        sum += (of->value[i] - mean) * (of->value[i] - mean);
    return sum / (double)(of->n - 1) / (double)of->n;
}

static bool beyond_chance(double errors, size_t degrees)
{
    return errors > gsl_cdf_tdist_Qinv(CHANCE, (double)degrees);
}

/* ---------------------------------------------------------------- falling with level */

const char *quell_doubt_falling_stops(quell_doubter *in, const quell_mode *mode)
{
    decay_view view;
    sample_of_stops fall = {0}, off = {0};
    if (!look(&view, in, mode))
        return NULL;
    for (size_t s = 0; s < in->decays->stops; s++) {
        double step[EXTRAS];
        if (!step_of(&view, in->decays->stop[s], true, step))
            continue;
        add(&fall, step[BY_FALL]);
        add(&off, step[BY_FREQUENCY]);
    }
    quell_memory_free(view.shape);
    if (fall.n < STOPS_LEAST)
        return NULL;
    double by = mean_of(&fall), errors = by / sqrt(variance_of(&fall));
    if (!(by > FALL_LEAST && beyond_chance(errors, fall.n - 1)))
        return NULL;
    double end_hz = in->decays->mode[view.mode].frequency_hz * exp(mean_of(&off));
    return quell_doubt_print(in,
                             "its frequency falls with level: %s Hz when a stop makes it ring, %s Hz as that "
                             "dies, %s standard errors "
                             "apart over %zu stops: a joint that slips? check the screws and belt clamps",
                             quell_number_fixed(end_hz * (1 - by), 1).text,
                             quell_number_fixed(end_hz, 1).text, quell_doubt_errors(errors).text, fall.n);
}

/* ---------------------------------------------------------------- differing by direction */

/* Which way the axis went before the stop: the sign of the largest velocity since the stop before, from the
   acceleration, whose mean over a stroke from rest to rest is 0. */
static int way_of(const quell_doubter *in, size_t stop)
{
    const quell_recording *recording = in->recording;
    const double *sample = recording->accel_mps2[in->axis];
    size_t end = in->decays->stop[stop], before = (size_t)(SECONDS_BEFORE * recording->rate_hz);
    size_t from = stop > 0 ? in->decays->stop[stop - 1] + in->decays->window : in->first;
    if (end > before && from < end - before)
        from = end - before;
    double mean = 0, velocity = 0, most = 0;
    for (size_t i = from; i < end; i++)
        mean += sample[i] / (double)(end - from);
    for (size_t i = from; i < end; i++) {
        velocity += sample[i] - mean;
        most = fabs(velocity) > fabs(most) ? velocity : most;
    }
    return (most > 0) - (most < 0);
}

/* Do two groups differ by more than chance and `least`? */
static bool differ(const sample_of_stops group[2], double least, double *by, double *errors)
{
    *by = mean_of(&group[1]) - mean_of(&group[0]);
    *errors = fabs(*by) / sqrt(variance_of(&group[0]) + variance_of(&group[1]));
    size_t degrees = (group[0].n < group[1].n ? group[0].n : group[1].n) - 1; /* on the safe side */
    return fabs(*by) > least && beyond_chance(*errors, degrees);
}

const char *quell_doubt_direction(quell_doubter *in, const quell_mode *mode)
{
    decay_view view;
    sample_of_stops frequency[2] = {{0}, {0}}, damping[2] = {{0}, {0}};
    if (!look(&view, in, mode))
        return NULL;
    for (size_t s = 0; s < in->decays->stops; s++) {
        double step[EXTRAS];
        int way = way_of(in, s);
        if (way == 0 || !step_of(&view, in->decays->stop[s], false, step))
            continue;
        add(&frequency[way > 0], step[BY_FREQUENCY]);
        add(&damping[way > 0], step[BY_DAMPING]);
    }
    quell_memory_free(view.shape);
    if (frequency[0].n < STOPS_OF_GROUP || frequency[1].n < STOPS_OF_GROUP)
        return NULL;
    const quell_decay *own = &in->decays->mode[view.mode];
    double by, errors;
    if (differ(frequency, FREQUENCY_LEAST, &by, &errors))
        return quell_doubt_print(in,
                                 "differs by direction: %s Hz after motion towards +, %s Hz towards -, %s "
                                 "standard errors apart over "
                                 "%zu stops: play? check the belt's tension and the bearings",
                                 quell_number_fixed(own->frequency_hz * exp(mean_of(&frequency[1])), 1).text,
                                 quell_number_fixed(own->frequency_hz * exp(mean_of(&frequency[0])), 1).text,
                                 quell_doubt_errors(errors).text, frequency[0].n + frequency[1].n);
    if (differ(damping, DAMPING_LEAST, &by, &errors))
        return quell_doubt_print(in,
                                 "differs by direction: a damping ratio of %s after motion towards +, %s "
                                 "towards -, %s standard errors "
                                 "apart over %zu stops: friction? check the rails and what drags along",
                                 quell_number_short(own->damping_ratio * exp(mean_of(&damping[1])), 2).text,
                                 quell_number_short(own->damping_ratio * exp(mean_of(&damping[0])), 2).text,
                                 quell_doubt_errors(errors).text, damping[0].n + damping[1].n);
    return NULL;
}
