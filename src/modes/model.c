/* The response model S(x) = e^b0 (x/x_ref)^b1 |1 + sum c g|^2 + e^n and its derivatives, seen through the
   window.

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

/* The model without noise on the grid into row 0 of work; derivatives by each mode's parameters and by b0
   and b1 into the rows after it. */
static void fill_grid(const quell_model *model, const double *parameter, size_t modes, bool derivatives)
{
    const double *common = parameter + FIT_PER_MODE * modes;
    size_t offset = model->grid_first - model->grid_origin, room = model->grid_room;
    double f_hz[QUELL_MODES_MAX], zeta[QUELL_MODES_MAX];
    for (size_t k = 0; k < modes; k++) {
        f_hz[k] = exp(parameter[FIT_PER_MODE * k + FIT_LN_F]);
        zeta[k] = exp(parameter[FIT_PER_MODE * k + FIT_LN_ZETA]);
    }
    for (size_t i = 0; i < model->points; i++) {
        double x_hz = (double)(model->grid_first + i) * model->spectrum->bin_hz / FINE;
        double log_x = model->log_x[offset + i];
        double level = exp(common[FIT_B0] + common[FIT_B1] * log_x) * model->input[offset + i];
        quell_mode_term term[QUELL_MODES_MAX];
        double h[2] = {1, 0};
        for (size_t k = 0; k < modes; k++) {
            double c = parameter[FIT_PER_MODE * k + FIT_C];
            term[k] = quell_mode_term_at(x_hz / f_hz[k], zeta[k]);
            h[0] += c * term[k].g[0];
            h[1] += c * term[k].g[1];
        }
        double value = level * (h[0] * h[0] + h[1] * h[1]);
        model->work[i] = value;
        if (!derivatives)
            continue;
        double *row = model->work + room + i;
        for (size_t k = 0; k < modes; k++, row += FIT_PER_MODE * room) {
            double c = parameter[FIT_PER_MODE * k + FIT_C];
            row[FIT_LN_F * room] = 2 * level * c * (h[0] * term[k].by_ln_f[0] + h[1] * term[k].by_ln_f[1]);
            row[FIT_LN_ZETA * room] =
                2 * level * c * (h[0] * term[k].by_ln_zeta[0] + h[1] * term[k].by_ln_zeta[1]);
            row[FIT_C * room] = 2 * level * (h[0] * term[k].g[0] + h[1] * term[k].g[1]);
        }
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
    size_t smeared = FIT_PER_MODE * modes + FIT_NOISE; /* all parameters but the noise, which is last */
    for (size_t b = 0; b < model->bins; b++) {
        taps part = taps_at(model, model->first + b);
        const double *kernel = model->kernel + part.from;
        double value = dot(kernel, model->work + part.at, part.count) / part.norm + noise;
        log_model[b] = log(value);
        if (jacobian == NULL)
            continue;
        for (size_t p = 0; p < smeared; p++)
            jacobian[p * model->bins + b] =
                dot(kernel, model->work + (p + 1) * model->grid_room + part.at, part.count) /
                (part.norm * value);
        jacobian[smeared * model->bins + b] = noise / value;
    }
}
