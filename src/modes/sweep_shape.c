/* The shape of the input that a sweep of strokes is, where its command is not known. A linear sweep is flat over its range, but
   strokes have odd harmonics: the n-th, of 1/n of the acceleration (a square wave's Fourier series), passes a frequency n times
   as fast, so it adds 1/n^3 from n times the sweep's start on. */
#include "modes_private.h"

#include <math.h>

#define BLUR 0.02 /* of the frequency at which a harmonic sets in: how well the sweep's start is told */

enum { HIGHEST = 15 };

void quell_sweep_shape(const quell_shaking *shaking, const quell_spectrum *like, double *shape)
{
    for (size_t k = 0; k < like->bins; k++) {
        double x_hz = (double)k * like->bin_hz, sum = 1;
        for (size_t n = 3; n <= HIGHEST; n += 2) {
            double from_hz = (double)n * shaking->swept_hz[0], blur_hz = BLUR * from_hz + like->bin_hz;
            sum += shaking->harmonics / (double)(n * n * n) * (1 + tanh((x_hz - from_hz) / blur_hz)) / 2;
        }
        shape[k] = sum;
    }
}
