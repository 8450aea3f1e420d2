/* One free decay fitted on its own, the poles found for all of them a start: its own ln f and ln zeta, and, where asked for,
   a frequency that comes back as the square of the amplitude dies, f(t) = f (1 - fall exp(-2 zeta w t)), as a softening
   spring's does (A. H. Nayfeh, D. T. Mook, Nonlinear Oscillations, 1979, by averaging). One Gauss-Newton step, linear in
   all but these. The shapes it is linear in are the same for each decay, so that each costs a row of products. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define PER_PERIOD 12.0 /* samples of the highest mode's period that are used */
#define STEP_MOST 0.15  /* of ln f or the fall: beyond, the decay is no such mode's */
#define DAMPING_STEP_MOST 1.0

enum { CYCLES_LEAST = 3, COLUMNS_MOST = 2 * QUELL_MODES_MAX + 4 };
enum { T_COS, T_SIN, G_COS, G_SIN }; /* of STOP_OWN: time and growth times the mode's cos and sin */

static void shapes_at(const quell_stop_view *view, double t, double *shape)
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

static bool make_shapes(quell_stop_view *view)
{
    view->linear = 2 * view->decays->count + 1;
    view->shapes = view->linear + STOP_OWN;
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
static void project(const quell_stop_view *view, size_t start, double *product)
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
static bool solve(const quell_stop_view *view, const double *product,
                  double mix[COLUMNS_MOST][STOP_SHAPES_MOST], size_t n, double *out)
{
    double matrix[COLUMNS_MOST * COLUMNS_MOST], right[COLUMNS_MOST] = {0}, scale[COLUMNS_MOST] = {0};
    size_t shapes = view->shapes;
    for (size_t r = 0; r < n; r++) {
        double row[STOP_SHAPES_MOST];
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
static void derive(const quell_stop_view *view, double a, double b, double mix[][STOP_SHAPES_MOST])
{
    const quell_decay *own = &view->decays->mode[view->mode];
    double w = QUELL_TAU * own->frequency_hz, z = own->damping_ratio, root = sqrt(1 - z * z);
    double *by_f = mix[STOP_BY_FREQUENCY] + view->linear, *by_z = mix[STOP_BY_DAMPING] + view->linear,
           *by_fall = mix[STOP_BY_FALL] + view->linear;
    by_f[T_COS] = -z * w * a + w * root * b;
    by_f[T_SIN] = -z * w * b - w * root * a;
    by_z[T_COS] = -z * w * a - z * z * w / root * b;
    by_z[T_SIN] = -z * w * b + z * z * w / root * a;
    by_fall[G_COS] = w * root * b;
    by_fall[G_SIN] = -w * root * a;
}

bool quell_stop_step(const quell_stop_view *view, size_t start, bool with_fall, double step[STOP_STEPS])
{
    double product[STOP_SHAPES_MOST], out[COLUMNS_MOST], mix[COLUMNS_MOST][STOP_SHAPES_MOST] = {{0}};
    size_t linear = view->linear, extras = with_fall ? STOP_STEPS : STOP_BY_FALL;
    for (size_t c = 0; c < linear; c++)
        mix[c][c] = 1;
    project(view, start, product);
    if (!solve(view, product, mix, linear, out))
        return false;
    derive(view, out[2 * view->mode], out[2 * view->mode + 1], mix + linear);
    if (!solve(view, product, mix, linear + extras, out))
        return false;
    memcpy(step, out + linear, extras * sizeof *step);
    return fabs(step[STOP_BY_FREQUENCY]) < STEP_MOST && fabs(step[STOP_BY_DAMPING]) < DAMPING_STEP_MOST &&
           (!with_fall || fabs(step[STOP_BY_FALL]) < STEP_MOST);
}

bool quell_stop_look(quell_stop_view *out, quell_doubter *in, const quell_mode *mode)
{
    const quell_decays *decays = in->decays;
    if (in->recording == NULL || decays == NULL || decays->stops < STOP_VIEW_LEAST)
        return false;
    *out = (quell_stop_view){.recording = in->recording, .decays = decays, .mode = decays->count};
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
          out->count > 2 * (2 * decays->count + 1 + STOP_STEPS)))
        return false;
    in->failed = !make_shapes(out) || in->failed;
    return out->shape != NULL;
}
