/* The table of windows. */
#include "quell/spectrum.h"

#include <math.h>
#include <string.h>

/* Signs belong to the coefficients: the maximum lies in the middle, at n = N / 2. Hann, Hamming, 4-term
   Blackman-Harris (92 dB): F. J. Harris, Proc. IEEE 66(1), 1978. The flat-top's five terms are the set in
   common use (G. Heinzel, A. Ruediger and R. Schilling, 2002, discuss its kind). */
static const quell_window table[] = {
    {"hann", "Hann", 2, {0.5, -0.5}},
    {"hamming", "Hamming", 2, {0.54, -0.46}},
    {"blackman-harris", "Blackman-Harris, 4 terms", 4, {0.35875, -0.48829, 0.14128, -0.01168}},
    {"flat-top", "flat-top", 5, {0.21557895, -0.41663158, 0.277263158, -0.083578947, 0.006947368}},
    {"rectangular", "rectangular", 1, {1}},
};

const quell_window *quell_windows(size_t *count)
{
    *count = sizeof table / sizeof table[0];
    return table;
}

const quell_window *quell_window_find(const char *id)
{
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (strcmp(table[i].id, id) == 0)
            return &table[i];
    return NULL;
}

void quell_window_fill(const quell_window *window, double *out, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        double sum = window->coefficient[0];
        for (size_t k = 1; k < window->terms; k++)
            sum += window->coefficient[k] * cos(QUELL_TAU * (double)(k * i % n) / (double)n);
        out[i] = sum;
    }
}

double quell_window_enbw_bins(const double *samples, size_t n)
{
    double sum = 0, squares = 0;
    for (size_t i = 0; i < n; i++) {
        sum += samples[i];
        squares += samples[i] * samples[i];
    }
    return (double)n * squares / (sum * sum);
}
