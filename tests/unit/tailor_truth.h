/* Random sets of modes to make shapers for, and what a shaper leaves of one by another way than V's formula. Shared by the suite
   `tailor` and tests/study/tailor_study.c. */
#ifndef QUELL_TESTS_TAILOR_TRUTH_H
#define QUELL_TESTS_TAILOR_TRUTH_H

#include "quell/shaping.h"

#include <math.h>

static const double tailor_limits[] = {.02, .05, .1, .2};

/* Amplitude left by a shaper, relative to one unit impulse: state (x, v) of an oscillator, each impulse adds to v, and between
   them the state turns by the exact solution of x'' + 2 zeta w x' + w^2 x = 0. */
static double left_by_marching(const quell_shaper *shaper, double hz, double zeta)
{
    double w = QUELL_TAU * hz, wd = w * sqrt(1 - zeta * zeta), x = 0, v = 0, t = 0;
    for (size_t i = 0; i < shaper->count; i++) {
        double dt = shaper->time_s[i] - t, shrunk = exp(-zeta * w * dt), c = cos(wd * dt), s = sin(wd * dt);
        double next_x = shrunk * (x * c + (v + zeta * w * x) / wd * s);
        double next_v = shrunk * (v * c - (zeta * w * v + w * w * x) / wd * s);
        x = next_x;
        v = next_v + shaper->amplitude[i];
        t = shaper->time_s[i];
    }
    return hypot(x * wd, v + zeta * w * x);
}

static double uniform(quell_random *random, double low, double high)
{
    return low + (high - low) * quell_random_uniform(random);
}

static void draw(quell_bands *out, quell_random *random, size_t i)
{
    double sum = 0;
    *out = (quell_bands){.count = 1 + i % 3, .weighted = i / 3 % 2 == 1};
    for (size_t k = 0; k < out->count; k++) {
        double f = 20 * pow(7.5, uniform(random, 0, 1)), half = uniform(random, .02, .15), zeta = uniform(random, .01, .1);
        out->band[k] = (quell_band){{f * (1 - half), f * (1 + half)}, {.7 * zeta, 1.4 * zeta}, uniform(random, .1, 1.1)};
        sum += out->band[k].weight;
    }
    for (size_t k = 0; k < out->count; k++)
        out->band[k].weight /= sum;
}

#endif
