/* The response models of modes_private.h and their derivatives, seen through the window. */
#include "modes_private.h"

#include <math.h>

/* Grid points a bin, and bins on either side that the kernel reaches: fine, and coarse, whose reach goes with the window's main
   lobe. A mode as narrow as a bin still has four points there, enough for the sum over the kernel (an analytic function on an
   even grid) to be good to 1e-4. */
enum { FINE = 8, FINE_REACH = 6, COARSE = 4, LOBES_BEYOND = 2 };

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

static quell_status prepare_grid(quell_model_grid *grid, const quell_model *model, const quell_shaper *shaper, quell_error *err)
{
    const quell_spectrum *spectrum = model->spectrum;
    size_t low = model->prepared_first, high = model->prepared_last, taps = 2 * grid->per_bin * grid->reach + 1;
    grid->origin = low > grid->reach ? (low - grid->reach) * grid->per_bin : 1;
    size_t end = high + grid->reach < spectrum->bins - 1 ? high + grid->reach : spectrum->bins - 1;
    grid->room = end * grid->per_bin - grid->origin + 1;
    grid->x_hz = quell_memory_get(grid->room * sizeof(double));
    grid->log_x = quell_memory_get(grid->room * sizeof(double));
    grid->input = quell_memory_get(grid->room * sizeof(double));
    grid->kernel = quell_memory_get(taps * sizeof(double));
    if (grid->x_hz == NULL || grid->log_x == NULL || grid->input == NULL || grid->kernel == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a fit over %zu bins", high - low + 1);
    for (size_t i = 0; i < grid->room; i++) {
        grid->x_hz[i] = (double)(grid->origin + i) * spectrum->bin_hz / (double)grid->per_bin;
        grid->log_x[i] = log(grid->x_hz[i] / model->reference_hz);
        double gain = shaper != NULL ? cabs(quell_shaper_response(shaper, grid->x_hz[i])) : 1;
        grid->input[i] = gain * gain;
    }
    grid->kernel_sum = 0;
    for (size_t i = 0; i < taps; i++) {
        double offset = ((double)i - (double)(grid->per_bin * grid->reach)) / (double)grid->per_bin;
        grid->kernel[i] = quell_window_kernel(spectrum->window, offset);
        grid->kernel_sum += grid->kernel[i];
    }
    return QUELL_OK;
}

quell_status quell_model_prepare(quell_model *model, const quell_spectrum *spectrum, size_t low, size_t high,
                                 double reference_hz, const quell_shaper *shaper, quell_error *err)
{
    size_t lobes = spectrum->window->terms + LOBES_BEYOND;
    *model = (quell_model){.spectrum = spectrum,
                           .reference_hz = reference_hz,
                           .prepared_first = low,
                           .prepared_last = high,
                           .fine = {.per_bin = FINE, .reach = FINE_REACH},
                           .coarse = {.per_bin = COARSE, .reach = lobes < FINE_REACH ? lobes : FINE_REACH}};
    quell_status status = prepare_grid(&model->fine, model, shaper, err);
    if (status == QUELL_OK)
        status = prepare_grid(&model->coarse, model, shaper, err);
    if (status != QUELL_OK)
        return status;
    model->work = quell_memory_get(model->fine.room * RESPONSE_ROWS * sizeof(double));
    if (model->work == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a fit over %zu bins", high - low + 1);
    quell_model_set_band(model, low, high);
    return QUELL_OK;
}

static void clear_grid(quell_model_grid *grid)
{
    quell_memory_free(grid->x_hz);
    quell_memory_free(grid->log_x);
    quell_memory_free(grid->input);
    quell_memory_free(grid->kernel);
}

void quell_model_clear(quell_model *model)
{
    clear_grid(&model->fine);
    clear_grid(&model->coarse);
    quell_memory_free(model->work);
    *model = (quell_model){0};
}

static void set_grid(quell_model_grid *grid, size_t first, size_t last)
{
    size_t from = first > grid->reach ? (first - grid->reach) * grid->per_bin : 1;
    grid->first = from > grid->origin ? from : grid->origin;
    size_t end = grid->origin + grid->room, wanted = (last + grid->reach) * grid->per_bin + 1;
    grid->points = (wanted < end ? wanted : end) - grid->first;
}

void quell_model_set_band(quell_model *model, size_t first, size_t last)
{
    model->first = first;
    model->bins = last - first + 1;
    set_grid(&model->fine, first, last);
    set_grid(&model->coarse, first, last);
}

/* The kernel's part that lies on the grid round a bin: its taps from..from + count - 1, and the grid index of tap `from`. */
typedef struct taps {
    size_t from, count, at;
    double sum;
} taps;

static taps taps_at(const quell_model_grid *grid, size_t bin)
{
    size_t middle = bin * grid->per_bin, reach = grid->per_bin * grid->reach;
    size_t low = middle > grid->first + reach ? middle - reach : grid->first, high = grid->first + grid->points - 1;
    if (high > middle + reach)
        high = middle + reach;
    taps part = {.from = low + reach - middle, .count = high - low + 1, .at = low - grid->first};
    if (part.count == 2 * reach + 1) {
        part.sum = grid->kernel_sum;
        return part;
    }
    for (size_t i = 0; i < part.count; i++)
        part.sum += grid->kernel[part.from + i];
    return part;
}

/* A row of grid values as the window shows it at the bins of the band, over what was commanded. */
static void smear(const quell_model *model, const quell_model_grid *grid, const double *row, double *out)
{
    for (size_t b = 0; b < model->bins; b++) {
        taps part = taps_at(grid, model->first + b);
        double command = model->command != NULL ? model->command[model->first + b] : 1;
        out[b] = command / part.sum * quell_dot(grid->kernel + part.from, row + part.at, part.count);
    }
}

void quell_model_evaluate(const quell_model *model, const double *parameter, size_t modes, double *log_model, double *jacobian)
{
    const quell_model_grid *of_value = model->precision == MODEL_ROUGH ? &model->coarse : &model->fine;
    const quell_model_grid *of_slopes = model->precision == MODEL_EXACT ? &model->fine : &model->coarse;
    size_t parameters = FIT_PER_MODE * modes + FIT_COMMON, noise_row = FIT_PER_MODE * modes + FIT_NOISE, bins = model->bins;
    double noise = exp(parameter[noise_row]);
    quell_response_rows(model, of_value, parameter, modes, of_value == of_slopes && jacobian != NULL);
    smear(model, of_value, model->work, log_model);
    if (jacobian != NULL && of_value != of_slopes)
        quell_response_rows(model, of_slopes, parameter, modes, true);
    for (size_t p = 0; p < parameters && jacobian != NULL; p++) {
        double *slope = jacobian + p * bins;
        if (p != noise_row)
            smear(model, of_slopes, model->work + (p + 1) * of_slopes->room, slope);
        for (size_t b = 0; b < bins; b++)
            slope[b] = (p == noise_row ? noise : slope[b]) / (log_model[b] + noise);
    }
    for (size_t b = 0; b < bins; b++)
        log_model[b] = log(log_model[b] + noise);
}
