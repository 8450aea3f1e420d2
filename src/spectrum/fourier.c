/* The one owner of FFTW plans: real-to-complex transforms with their own aligned buffers. */
#include "spectrum/spectrum_private.h"

#include <fftw3.h>
#include <pthread.h>
#include <stdint.h>
#include <string.h>

enum { ALIGN = 64 };

struct quell_fourier {
    fftw_plan plan;
    double *input;
    double complex *output;
    size_t length;
    void *block; /* holds both buffers */
};

static pthread_mutex_t planner = PTHREAD_MUTEX_INITIALIZER;

static size_t rounded_up(size_t bytes)
{
    return (bytes + ALIGN - 1) / ALIGN * ALIGN;
}

quell_fourier *quell_fourier_create(size_t length)
{
    /* FFTW takes int lengths; the limit keeps the byte counts far from overflow as well. */
    if (length == 0 || length > (size_t)1 << 30)
        return NULL;
    size_t input_bytes = rounded_up(length * sizeof(double));
    size_t output_bytes = (length / 2 + 1) * sizeof(double complex);
    quell_fourier *fourier = quell_memory_get(sizeof *fourier);
    void *block = quell_memory_get(ALIGN + input_bytes + output_bytes);
    if (fourier == NULL || block == NULL)
        goto failed;
    char *start = (char *)block + (ALIGN - (uintptr_t)block % ALIGN) % ALIGN;
    *fourier = (quell_fourier){.length = length, .block = block};
    fourier->input = (double *)(void *)start;
    fourier->output = (double complex *)(void *)(start + input_bytes);
    pthread_mutex_lock(&planner);
    fourier->plan =
        fftw_plan_dft_r2c_1d((int)length, fourier->input, (fftw_complex *)fourier->output, FFTW_ESTIMATE);
    pthread_mutex_unlock(&planner);
    if (fourier->plan == NULL)
        goto failed;
    memset(fourier->input, 0, length * sizeof(double));
    return fourier;
failed:
    quell_memory_free(block);
    quell_memory_free(fourier);
    return NULL;
}

void quell_fourier_destroy(quell_fourier *fourier)
{
    if (fourier == NULL)
        return;
    pthread_mutex_lock(&planner);
    fftw_destroy_plan(fourier->plan);
    pthread_mutex_unlock(&planner);
    quell_memory_free(fourier->block);
    quell_memory_free(fourier);
}

/* Eight sums side by side: an addition need not wait for the one before it, and rounding errors grow more slowly. */
static double sum_of(const double *samples, size_t count)
{
    enum { LANES = 8 };
    double lane[LANES] = {0};
    size_t whole = count / LANES * LANES;
    for (size_t n = 0; n < whole; n += LANES)
        for (size_t i = 0; i < LANES; i++)
            lane[i] += samples[n + i];
    double sum = 0;
    for (size_t i = 0; i < LANES; i++)
        sum += lane[i];
    for (size_t n = whole; n < count; n++)
        sum += samples[n];
    return sum;
}

/* Least-squares line a + b (n - middle); b is 0 when only the mean is wanted. */
static void trend(const double *samples, size_t count, quell_detrend detrend, double *mean, double *slope)
{
    double moment = 0, middle = ((double)count - 1) / 2;
    *mean = detrend == QUELL_DETREND_NONE ? 0 : sum_of(samples, count) / (double)count;
    *slope = 0;
    if (detrend != QUELL_DETREND_LINE || count < 2)
        return;
    for (size_t n = 0; n < count; n++)
        moment += ((double)n - middle) * (samples[n] - *mean);
    double squares = (double)count * ((double)count * (double)count - 1) / 12;
    *slope = moment / squares;
}

const double complex *quell_segment_transform(quell_fourier *fourier, const double *samples,
                                              const double *window, size_t segment, quell_detrend detrend)
{
    double mean, slope, middle = ((double)segment - 1) / 2;
    trend(samples, segment, detrend, &mean, &slope);
    double *restrict input = fourier->input;
    if (slope == 0)
        for (size_t n = 0; n < segment; n++)
            input[n] = (samples[n] - mean) * window[n];
    else
        for (size_t n = 0; n < segment; n++)
            input[n] = (samples[n] - mean - slope * ((double)n - middle)) * window[n];
    memset(input + segment, 0, (fourier->length - segment) * sizeof(double));
    fftw_execute(fourier->plan);
    return fourier->output;
}

double quell_bin_sides(size_t bin, size_t length)
{
    return bin == 0 || 2 * bin == length ? 1 : 2;
}
