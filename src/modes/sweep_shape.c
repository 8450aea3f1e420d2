/* The shape of the input that a sweep was, where its command is not known but it is seen what it ran over: the density of strokes
   over the same range, with the ripple next to its ends. Strokes have odd harmonics: the n-th, of 1/n of the acceleration (a
   square wave's Fourier series), passes a frequency n times as fast, so it adds 1/n^3 from n times the sweep's start on. Where the
   recording shows less of them, as of a sine, the rest is taken off. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define BLUR 0.01 /* of the frequency at which a harmonic sets in: how well the sweep's start is told */

enum { HIGHEST = 15 };

/* Of harmonics of that share, over a sine's 1. */
static double stairs(const quell_sweep *sweep, double share, double x_hz, double bin_hz)
{
    double sum = 1;
    for (size_t n = 3; n <= HIGHEST; n += 2) {
        double from_hz = (double)n * sweep->start_hz, blur_hz = BLUR * from_hz + bin_hz;
        sum += share / (double)(n * n * n) * (1 + tanh((x_hz - from_hz) / blur_hz)) / 2;
    }
    return sum;
}

quell_status quell_sweep_shape(const quell_shaking *shaking, const quell_spectrum *like, double *shape, quell_error *err)
{
    quell_shaking strokes = *shaking;
    strokes.sweep = shaking->seen;
    strokes.sweep_known = true;
    strokes.duration_s = 0;
    memcpy(strokes.margin, shaking->seen_margin, sizeof strokes.margin);
    quell_status status = quell_sweep_density(&strokes, like, shape, err);
    for (size_t k = 0; k < like->bins && status == QUELL_OK; k++) {
        double x_hz = (double)k * like->bin_hz;
        shape[k] *= stairs(&shaking->seen, shaking->harmonics, x_hz, like->bin_hz) / stairs(&shaking->seen, 1, x_hz, like->bin_hz);
    }
    return status;
}
