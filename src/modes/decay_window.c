/* Decays side by side, and what is left of them. */
#include "modes/decay_private.h"

#include <math.h>
#include <string.h>

/* Correlation is summed up to LAGS_MOST, beyond LAGS_EACH over every LAGS_STEP-th lag, of some stops where there are many. */
enum { INFLATION_SAMPLES = 5000, LAGS_MOST = 256, LAGS_EACH = 16, LAGS_STEP = 3 };

quell_status decay_window_open(decay_window *out, const decay_data *data, const size_t *start, size_t stops,
                               size_t length, quell_error *err)
{
    size_t rows = stops * data->axes, columns = DECAY_COLUMNS_MAX + 2 * DECAY_TERMS_MAX;
    *out = (decay_window){.rate_hz = data->rate_hz, .stops = stops, .axes = data->axes, .length = length};
    out->row = quell_memory_get(rows * length * sizeof(double));
    out->residual = quell_memory_get(rows * length * sizeof(double));
    out->power = quell_memory_get(rows * sizeof(double));
    out->coefficient = quell_memory_get_cleared(rows * DECAY_COLUMNS_MAX * sizeof(double));
    out->column = quell_memory_get(columns * length * sizeof(double));
    if (out->row == NULL || out->residual == NULL || out->power == NULL || out->coefficient == NULL ||
        out->column == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu decays of %zu samples", rows, length);
    for (size_t s = 0; s < stops; s++)
        for (size_t k = 0; k < data->axes; k++) {
            double *row = out->row + (s * data->axes + k) * length;
            double mean = 0; /* the offset is fitted; taking most of it off keeps digits */
            for (size_t i = 0; i < length; i++)
                mean += data->accel_mps2[k][start[s] + i] / (double)length;
            for (size_t i = 0; i < length; i++)
                row[i] = data->accel_mps2[k][start[s] + i] - mean;
            out->power[s * data->axes + k] = quell_dot(row, row, length);
        }
    memcpy(out->residual, out->row, rows * length * sizeof(double));
    return QUELL_OK;
}

void decay_window_clear(decay_window *window)
{
    quell_memory_free(window->row);
    quell_memory_free(window->residual);
    quell_memory_free(window->power);
    quell_memory_free(window->coefficient);
    quell_memory_free(window->column);
    *window = (decay_window){0};
}

/* Decay rate and damped angular frequency of a term. */
static void rates(const decay_fit *fit, size_t term, double *alpha, double *damped)
{
    double w = QUELL_TAU * exp(fit->parameter[DECAY_PER_TERM * term + DECAY_LN_F]);
    double zeta = fit->line[term] ? 0 : exp(fit->parameter[DECAY_PER_TERM * term + DECAY_LN_ZETA]);
    *alpha = zeta * w;
    *damped = w * sqrt(1 - zeta * zeta);
}

size_t decay_basis_at(const decay_fit *fit, double t_s, double *out)
{
    for (size_t k = 0; k < fit->terms; k++) {
        double alpha, damped;
        rates(fit, k, &alpha, &damped);
        double size = exp(-alpha * t_s);
        out[2 * k] = size * cos(damped * t_s);
        out[2 * k + 1] = size * sin(damped * t_s);
    }
    out[2 * fit->terms] = 1;
    return 2 * fit->terms + 1;
}

void decay_columns(const decay_fit *fit, double rate_hz, size_t n, double *out)
{
    for (size_t k = 0; k < fit->terms; k++) {
        double alpha, damped, re = 1, im = 0;
        rates(fit, k, &alpha, &damped);
        double size = exp(-alpha / rate_hz), turn_re = size * cos(damped / rate_hz),
               turn_im = size * sin(damped / rate_hz);
        for (size_t i = 0; i < n; i++) {
            out[2 * k * n + i] = re;
            out[(2 * k + 1) * n + i] = im;
            double next = re * turn_re - im * turn_im;
            im = re * turn_im + im * turn_re;
            re = next;
        }
    }
    for (size_t i = 0; i < n; i++)
        out[2 * fit->terms * n + i] = 1;
}

void decay_residuals(decay_window *window, const decay_fit *fit)
{
    size_t n = window->length, columns = 2 * fit->terms + 1;
    decay_columns(fit, window->rate_hz, n, window->column);
    memcpy(window->residual, window->row, window->stops * window->axes * n * sizeof(double));
    for (size_t r = 0; r < window->stops * window->axes; r++)
        for (size_t j = 0; j < columns; j++) {
            double share = window->coefficient[r * DECAY_COLUMNS_MAX + j], *rest = window->residual + r * n;
            for (size_t i = 0; i < n; i++)
                rest[i] -= share * window->column[j * n + i];
        }
}

/* Product of the residuals with themselves `lag` samples later, of some of the stops. */
static double lagged(const decay_window *window, size_t lag, size_t stride)
{
    size_t n = window->length;
    double sum = 0;
    for (size_t s = 0; s < window->stops; s += stride)
        for (size_t r = s * window->axes; r < (s + 1) * window->axes; r++)
            sum += quell_dot(window->residual + r * n, window->residual + r * n + lag, n - lag);
    return sum;
}

double decay_inflation(const decay_window *window)
{
    size_t n = window->length, samples = window->stops * window->axes * n;
    size_t stride = samples / INFLATION_SAMPLES + 1, lags = n / 4 < LAGS_MOST ? n / 4 : LAGS_MOST;
    double sum = 1, power = lagged(window, 0, stride),
           taken = (double)((window->stops + stride - 1) / stride);
    double chance =
        1 / (taken * (double)(window->axes * n)); /* mean square of the correlation of white noise */
    for (size_t lag = 1, step = 1; lag <= lags && power > 0; lag += step) {
        double correlation = lagged(window, lag, stride) / power;
        sum += 2 * (double)step * (correlation * correlation - chance);
        step = lag < LAGS_EACH ? 1 : LAGS_STEP;
    }
    return fmax(sum, 1);
}
