/* The response models of modes_private.h and their derivatives, seen through the window.

   g = r^2 / D, D = 1 - r^2 + 2 j zeta r, r = x / f;  dg/dln f = -2 r^2 (1 + j zeta r) / D^2,
   dg/dln zeta = -2 j zeta r^3 / D^2,  d|H|^2/dp = 2 Re(conj(H) dH/dp): exact mathematics. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

enum {
    FINE = 8,
    REACH = 6,
    TAPS = 2 * FINE * REACH + 1
}; /* grid points a bin; bins on either side of the kernel */

static double sinc(double x)
{
    return x == 0 ? 1 : sin(QUELL_PI * x) / (QUELL_PI * x);
}

double quell_window_kernel(const quell_window *window, double offset)
{
    double sum = window->coefficient[0] * sinc(offset);
    for (size_t k = 1; k < window->terms; k++) {
        double coefficient = k % 2 == 1 ? -window->coefficient[k] : window->coefficient[k];
        sum += coefficient / 2 * (sinc(offset - (double)k) + sinc(offset + (double)k));
    }
    return sum * sum;
}

quell_status quell_model_prepare(quell_model *model, const quell_spectrum *spectrum, size_t low, size_t high,
                                 double reference_hz, const quell_shaper *shaper, quell_error *err)
{
    *model = (quell_model){
        .spectrum = spectrum, .reference_hz = reference_hz, .prepared_first = low, .prepared_last = high};
    model->grid_origin = low > REACH ? (low - REACH) * FINE : 1;
    size_t end = high + REACH < spectrum->bins - 1 ? (high + REACH) * FINE : (spectrum->bins - 1) * FINE;
    model->grid_room = end - model->grid_origin + 1;
    model->log_x = quell_memory_get(model->grid_room * sizeof(double));
    model->input = quell_memory_get(model->grid_room * sizeof(double));
    model->kernel = quell_memory_get(TAPS * sizeof(double));
    model->work = quell_memory_get(model->grid_room * (FIT_PARAMETERS_MAX + 1) * sizeof(double));
    if (model->log_x == NULL || model->input == NULL || model->kernel == NULL || model->work == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a fit over %zu bins", high - low + 1);
    for (size_t i = 0; i < model->grid_room; i++) {
        double x_hz = (double)(model->grid_origin + i) * spectrum->bin_hz / FINE;
        model->log_x[i] = log(x_hz / reference_hz);
        double gain = shaper != NULL ? cabs(quell_shaper_response(shaper, x_hz)) : 1;
        model->input[i] = gain * gain;
    }
    for (size_t i = 0; i < TAPS; i++)
        model->kernel[i] = quell_window_kernel(spectrum->window, ((double)i - FINE * REACH) / FINE);
    quell_model_set_band(model, low, high);
    return QUELL_OK;
}

void quell_model_clear(quell_model *model)
{
    quell_memory_free(model->log_x);
    quell_memory_free(model->input);
    quell_memory_free(model->kernel);
    quell_memory_free(model->work);
    *model = (quell_model){0};
}

void quell_model_set_band(quell_model *model, size_t first, size_t last)
{
    size_t from = first > REACH ? (first - REACH) * FINE : 1;
    model->first = first;
    model->bins = last - first + 1;
    model->grid_first = from > model->grid_origin ? from : model->grid_origin;
    size_t end = model->grid_origin + model->grid_room, wanted = (last + REACH) * FINE + 1;
    model->points = (wanted < end ? wanted : end) - model->grid_first;
}

quell_mode_term quell_mode_term_at(double r, double zeta)
{
    double dr = 1 - r * r, di = 2 * zeta * r, size = dr * dr + di * di;
    double ir = dr / size, ii = -di / size;            /* 1 / D */
    double i2r = ir * ir - ii * ii, i2i = 2 * ir * ii; /* 1 / D^2 */
    double f = -2 * r * r, z = -2 * zeta * r * r * r;
    return (quell_mode_term){.g = {r * r * ir, r * r * ii},
                             .by_ln_f = {f * (i2r - zeta * r * i2i), f * (i2i + zeta * r * i2r)},
                             .by_ln_zeta = {-z * i2i, z * i2r}};
}

double complex quell_response(const quell_mode *mode, size_t count, double x_hz)
{
    double real = 1, imaginary = 0;
    for (size_t k = 0; k < count; k++) {
        quell_mode_term term = quell_mode_term_at(x_hz / mode[k].frequency_hz, mode[k].damping_ratio);
        real += mode[k].participation * term.g[0];
        imaginary += mode[k].participation * term.g[1];
    }
    double parts[2] = {real, imaginary};
    double complex h;
    memcpy(&h, parts, sizeof h); /* C lays a complex out as real, imaginary */
    return h;
}

/* What one evaluation needs at every grid point. */
typedef struct evaluation {
    const quell_model *model;
    const double *parameter, *common;
    size_t modes;
    double f_hz[QUELL_MODES_MAX], zeta[QUELL_MODES_MAX];
} evaluation;

/* Derivatives at one grid point into a column of rows `room` apart. h: what the mode's g adds up to; scale: what |h|^2 is
   multiplied by; c: what g is multiplied by in h. */
static void put_mode(double *row, size_t room, const quell_mode_term *term, const double h[2], double scale, double c)
{
    row[FIT_LN_F * room] = 2 * scale * c * (h[0] * term->by_ln_f[0] + h[1] * term->by_ln_f[1]);
    row[FIT_LN_ZETA * room] = 2 * scale * c * (h[0] * term->by_ln_zeta[0] + h[1] * term->by_ln_zeta[1]);
    row[FIT_C * room] = 2 * scale * (h[0] * term->g[0] + h[1] * term->g[1]);
}

/* One common input. row: NULL if no derivatives are wanted. */
static double point_driven(const evaluation *in, double x_hz, double level, double *row, size_t room)
{
    quell_mode_term term[QUELL_MODES_MAX];
    double h[2] = {in->common[FIT_DIRECT], 0};
    for (size_t k = 0; k < in->modes; k++) {
        double c = in->parameter[FIT_PER_MODE * k + FIT_C];
        term[k] = quell_mode_term_at(x_hz / in->f_hz[k], in->zeta[k]);
        h[0] += c * term[k].g[0];
        h[1] += c * term[k].g[1];
    }
    if (row == NULL)
        return level * (h[0] * h[0] + h[1] * h[1]);
    for (size_t k = 0; k < in->modes; k++)
        put_mode(row + FIT_PER_MODE * k * room, room, &term[k], h, level, in->parameter[FIT_PER_MODE * k + FIT_C]);
    row[(FIT_PER_MODE * in->modes + FIT_DIRECT) * room] = 2 * level * h[0];
    return level * (h[0] * h[0] + h[1] * h[1]);
}

/* Every mode has an input of its own. */
static double point_ambient(const evaluation *in, double x_hz, double level, double *row, size_t room)
{
    double sum = 0;
    for (size_t k = 0; k < in->modes; k++) {
        quell_mode_term term = quell_mode_term_at(x_hz / in->f_hz[k], in->zeta[k]);
        double own = level * exp(in->parameter[FIT_PER_MODE * k + FIT_C]);
        double h[2] = {1 + term.g[0], term.g[1]}, value = own * (h[0] * h[0] + h[1] * h[1]);
        sum += value;
        if (row == NULL)
            continue;
        put_mode(row + FIT_PER_MODE * k * room, room, &term, h, own, 1);
        row[(FIT_PER_MODE * k + FIT_C) * room] = value;
    }
    if (row != NULL)
        row[(FIT_PER_MODE * in->modes + FIT_DIRECT) * room] = 0;
    return sum;
}

/* The model without noise on the grid into row 0 of work; derivatives by each mode's parameters, b0, b1 and d into the
   rows after it (that of n stays unused). */
static void fill_grid(const quell_model *model, const double *parameter, size_t modes, bool derivatives)
{
    evaluation in = {model, parameter, parameter + FIT_PER_MODE * modes, modes, {0}, {0}};
    size_t offset = model->grid_first - model->grid_origin, room = model->grid_room;
    for (size_t k = 0; k < modes; k++) {
        in.f_hz[k] = exp(parameter[FIT_PER_MODE * k + FIT_LN_F]);
        in.zeta[k] = exp(parameter[FIT_PER_MODE * k + FIT_LN_ZETA]);
    }
    for (size_t i = 0; i < model->points; i++) {
        double x_hz = (double)(model->grid_first + i) * model->spectrum->bin_hz / FINE;
        double log_x = model->log_x[offset + i];
        double level = exp(in.common[FIT_B0] + in.common[FIT_B1] * log_x) * model->input[offset + i];
        double *row = derivatives ? model->work + room + i : NULL;
        double value = model->form == MODEL_AMBIENT ? point_ambient(&in, x_hz, level, row, room)
                                                    : point_driven(&in, x_hz, level, row, room);
        model->work[i] = value;
        if (row == NULL)
            continue;
        row += FIT_PER_MODE * modes * room;
        row[FIT_B0 * room] = value;
        row[FIT_B1 * room] = value * log_x;
    }
}

/* The kernel's part that lies on the grid round a bin: taps from..to, and the grid index of tap `from`. */
typedef struct taps {
    size_t from, count, at;
    double norm;
} taps;

static taps taps_at(const quell_model *model, size_t bin)
{
    size_t middle = bin * FINE, reach = FINE * REACH;
    size_t low = middle > model->grid_first + reach ? middle - reach : model->grid_first;
    size_t high = model->grid_first + model->points - 1;
    if (high > middle + reach)
        high = middle + reach;
    taps part = {.from = low + reach - middle, .count = high - low + 1, .at = low - model->grid_first};
    for (size_t i = 0; i < part.count; i++)
        part.norm += model->kernel[part.from + i];
    return part;
}

/* Four partial sums let the processor overlap the additions. */
static double dot(const double *a, const double *b, size_t n)
{
    double sum[4] = {0};
    size_t i = 0;
    for (; i + 4 <= n; i += 4)
        for (size_t j = 0; j < 4; j++)
            sum[j] += a[i + j] * b[i + j];
    for (; i < n; i++)
        sum[0] += a[i] * b[i];
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

void quell_model_evaluate(const quell_model *model, const double *parameter, size_t modes, double *log_model,
                          double *jacobian)
{
    fill_grid(model, parameter, modes, jacobian != NULL);
    double noise = exp(parameter[FIT_PER_MODE * modes + FIT_NOISE]);
    size_t parameters = FIT_PER_MODE * modes + FIT_COMMON, noise_row = FIT_PER_MODE * modes + FIT_NOISE;
    for (size_t b = 0; b < model->bins; b++) {
        taps part = taps_at(model, model->first + b);
        const double *kernel = model->kernel + part.from;
        double scale = (model->command != NULL ? model->command[model->first + b] : 1) / part.norm;
        double value = scale * dot(kernel, model->work + part.at, part.count) + noise;
        log_model[b] = log(value);
        for (size_t p = 0; p < parameters && jacobian != NULL; p++) {
            const double *row = model->work + (p + 1) * model->grid_room + part.at;
            jacobian[p * model->bins + b] =
                (p == noise_row ? noise : scale * dot(kernel, row, part.count)) / value;
        }
    }
}
