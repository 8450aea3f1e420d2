/* In which direction a mode moves: frequency-domain decomposition of the cross-spectral matrix at the mode.
   Source of the idea: R. Brincker, L. Zhang and P. Andersen, Smart Mater. Struct. 10, 2001. */
#include "modes_private.h"

#include <math.h>
#include <stdio.h>

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
