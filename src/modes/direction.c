/* In which direction a mode moves: frequency-domain decomposition of the cross-spectral matrix at the mode.
   Source of the idea: R. Brincker, L. Zhang and P. Andersen, Smart Mater. Struct. 10, 2001. */
#include "modes_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define APART 3.0        /* half-widths off a peak where its surroundings begin ... */
#define SURROUNDINGS 8.0 /* ... and end */
#define SINGULAR 1e-6    /* of the mean power: less on an axis is nothing */
#define TURN_GAIN 2.0    /* by which a peak must stand out more for the direction to be another than its own */

/* Real part of the cross-spectral matrix, summed over bins. */
static void sum_matrix(const quell_spectrum *spectrum, size_t first, size_t last, double matrix[9])
{
    for (size_t i = 0; i < 3; i++)
        for (size_t j = i; j < 3; j++) {
            double sum = 0;
            for (size_t k = first; k <= last; k++)
                sum += i == j ? spectrum->asd_m2ps3[i][k] : creal(spectrum->cross_m2ps3[i][j][k]);
            matrix[3 * i + j] = matrix[3 * j + i] = sum;
        }
}

void quell_direction_find(const quell_spectrum *spectrum, size_t first, size_t last, double direction[3])
{
    direction[0] = direction[1] = direction[2] = (double)NAN;
    if (spectrum->axes < 3 || spectrum->cross_m2ps3[0][1] == NULL)
        return;
    double matrix[9], power[3], vector[3][3];
    sum_matrix(spectrum, first, last, matrix);
    if (!quell_symmetric_eigen(matrix, power, vector) || !(power[0] > 0))
        return;
    size_t main = 0;
    for (size_t k = 1; k < 3; k++)
        if (fabs(vector[0][k]) > fabs(vector[0][main]))
            main = k;
    for (size_t k = 0; k < 3; k++)
        direction[k] = vector[0][main] < 0 ? -vector[0][k] : vector[0][k];
}

/* y = matrix x. */
static void multiply(const double matrix[9], const double x[3], double y[3])
{
    for (size_t i = 0; i < 3; i++)
        y[i] = matrix[3 * i] * x[0] + matrix[3 * i + 1] * x[1] + matrix[3 * i + 2] * x[2];
}

static double form(const double matrix[9], const double x[3])
{
    double y[3];
    multiply(matrix, x, y);
    return x[0] * y[0] + x[1] * y[1] + x[2] * y[2];
}

/* Unit length, the largest component positive. False if there is none. */
static bool normalise(double x[3])
{
    double size = sqrt(x[0] * x[0] + x[1] * x[1] + x[2] * x[2]);
    size_t main = 0;
    for (size_t k = 1; k < 3; k++)
        if (fabs(x[k]) > fabs(x[main]))
            main = k;
    if (!(size > 0 && isfinite(size)))
        return false;
    for (size_t k = 0; k < 3; k++)
        x[k] = copysign(1, x[main]) * x[k] / size;
    return true;
}

/* Adds the matrix over bins from..to, as many of them as there are; returns how many. */
static size_t add_bins(const quell_spectrum *spectrum, double from, double to, double matrix[9])
{
    double sum[9];
    size_t first = (size_t)fmax(from, 1), last = (size_t)fmax(fmin(to, (double)(spectrum->bins - 1)), 0);
    if (first > last)
        return 0;
    sum_matrix(spectrum, first, last, sum);
    for (size_t i = 0; i < 9; i++)
        matrix[i] += sum[i];
    return last - first + 1;
}

/* The unit vector u for which u^T peak u / u^T around u is greatest: with around = L L^T, u = L^-T v, v the principal
   direction of L^-1 peak L^-T. */
static bool greatest_ratio(const double peak[9], const double around[9], double u[3])
{
    double root[9], white[9], power[3], vector[3][3], floor = SINGULAR * (around[0] + around[4] + around[8]) / 3;
    double l00 = sqrt(around[0] + floor), l10 = around[3] / l00, l20 = around[6] / l00;
    double l11 = sqrt(around[4] + floor - l10 * l10), l21 = (around[7] - l20 * l10) / l11;
    double l22 = sqrt(around[8] + floor - l20 * l20 - l21 * l21);
    /* the rows of L^-1 */
    memcpy(root, (double[9]){1 / l00, 0, 0, -l10 / (l00 * l11), 1 / l11, 0,
                             (l10 * l21 - l20 * l11) / (l00 * l11 * l22), -l21 / (l11 * l22), 1 / l22},
           sizeof root);
    for (size_t j = 0; j < 3; j++) {
        double column[3];
        multiply(peak, root + 3 * j, column);
        for (size_t i = 0; i < 3; i++)
            white[3 * i + j] = root[3 * i] * column[0] + root[3 * i + 1] * column[1] + root[3 * i + 2] * column[2];
    }
    for (size_t i = 0; i < 9; i++)
        if (!isfinite(white[i]))
            return false;
    if (!quell_symmetric_eigen(white, power, vector))
        return false;
    for (size_t i = 0; i < 3; i++)
        u[i] = root[i] * vector[0][0] + root[3 + i] * vector[0][1] + root[6 + i] * vector[0][2];
    return normalise(u);
}

bool quell_direction_stands_out(const quell_spectrum *spectrum, size_t bin, double half_width_bins, double u[3])
{
    double reach = fmax(half_width_bins, 1), at = (double)bin, peak[9] = {0}, around[9] = {0}, other[3];
    double lobe = (double)spectrum->window->terms; /* as far as a peak is spread by the window */
    quell_direction_find(spectrum, (size_t)fmax(at - reach, 1), (size_t)fmin(at + reach, (double)(spectrum->bins - 1)), u);
    if (!isfinite(u[0]))
        return false;
    double inner = fmax(APART * reach, lobe + 1), outer = fmax(SURROUNDINGS * reach, inner + 4);
    size_t count = add_bins(spectrum, at - outer, at - inner, around) + add_bins(spectrum, at + inner, at + outer, around);
    size_t own = add_bins(spectrum, at - reach, at + reach, peak);
    if (count > 0 && own > 0 && greatest_ratio(peak, around, other) &&
        form(peak, other) / form(around, other) > TURN_GAIN * form(peak, u) / form(around, u))
        memcpy(u, other, 3 * sizeof *u);
    return true;
}

void quell_direction_along(const quell_spectrum *spectrum, quell_mode *mode, const double along[3])
{
    double at = mode->frequency_hz / spectrum->bin_hz, reach = fmax(mode->damping_ratio * at, 1), peak[9] = {0};
    if (add_bins(spectrum, at - reach + 0.5, at + reach + 0.5, peak) == 0)
        return;
    multiply(peak, along, mode->direction);
    if (!normalise(mode->direction))
        mode->direction[0] = mode->direction[1] = mode->direction[2] = (double)NAN;
}

const char *quell_direction_words(const double direction[3], char *out, size_t size)
{
    out[0] = '\0';
    if (!(isfinite(direction[0]) && isfinite(direction[1]) && isfinite(direction[2])))
        return out;
    size_t main = 0;
    for (size_t k = 1; k < 3; k++)
        if (fabs(direction[k]) > fabs(direction[main]))
            main = k;
    size_t next = main == 0 ? 1 : 0, third = 3 - main - next;
    if (fabs(direction[third]) > fabs(direction[next]))
        next = third;
    double across = sqrt(fmax(1 - direction[main] * direction[main], 0));
    double degrees = atan2(across, fabs(direction[main])) * 360 / QUELL_TAU;
    if (degrees < 1.5)
        snprintf(out, size, "along %c", "XYZ"[main]);
    else
        snprintf(out, size, "along %c, %.0f deg towards %s%c", "XYZ"[main], degrees,
                 direction[next] * direction[main] < 0 ? "-" : "", "XYZ"[next]);
    return out;
}
