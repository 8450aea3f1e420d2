/* ZV, ZVD, ZVDD, ZVDDD: the residual and its first n - 1 derivatives by frequency are 0 at the design mode.

   [1, K] / (1 + K) convolved n times, half a damped period apart: A_i = C(n, i) K^i / (1 + K)^n.
   Source: Singer and Seering, ASME J. Dyn. Syst. Meas. Control 112(1), 1990. */
#include "shaping/shaping_private.h"

#include <math.h>

double quell_half_period_decay(double damping_ratio)
{
    return exp(-QUELL_PI * damping_ratio / sqrt(1 - damping_ratio * damping_ratio));
}

static quell_status design(quell_shaper *out, size_t n, double damping_ratio)
{
    const double k = quell_half_period_decay(damping_ratio);
    const double half_period = 0.5 / sqrt(1 - damping_ratio * damping_ratio);
    double term = 1 / pow(1 + k, (double)n);
    out->count = n + 1;
    for (size_t i = 0; i <= n; i++) {
        out->amplitude[i] = term;
        out->time_s[i] = (double)i * half_period;
        term *= k * (double)(n - i) / (double)(i + 1);
    }
    return QUELL_OK;
}

quell_status quell_design_zv(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    (void)err;
    return design(out, 1, at->damping_ratio);
}

quell_status quell_design_zvd(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    (void)err;
    return design(out, 2, at->damping_ratio);
}

quell_status quell_design_zvdd(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    (void)err;
    return design(out, 3, at->damping_ratio);
}

quell_status quell_design_zvddd(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    (void)err;
    return design(out, 4, at->damping_ratio);
}
