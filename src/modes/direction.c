/* In which direction a mode moves: frequency-domain decomposition of the cross-spectral matrix at the mode.
   Source of the idea: R. Brincker, L. Zhang and P. Andersen, Smart Mater. Struct. 10, 2001. */
#include "modes_private.h"

#include <math.h>
#include <stdio.h>

/* Real part of the cross-spectral matrix, summed over bins. */
static void sum_matrix(const quell_spectrum *spectrum, size_t first, size_t last, double matrix[3][3])
{
    for (size_t i = 0; i < 3; i++)
        for (size_t j = i; j < 3; j++) {
            double sum = 0;
            for (size_t k = first; k <= last; k++)
                sum += i == j ? spectrum->asd_m2ps3[i][k] : creal(spectrum->cross_m2ps3[i][j][k]);
            matrix[i][j] = matrix[j][i] = sum;
        }
}

/* One rotation of Jacobi's method that clears matrix[p][q]; vectors collects the rotations as columns. */
static void rotate(double matrix[3][3], double vectors[3][3], size_t p, size_t q)
{
    if (matrix[p][q] == 0)
        return;
    double angle = 0.5 * atan2(2 * matrix[p][q], matrix[q][q] - matrix[p][p]), c = cos(angle), s = sin(angle);
    for (size_t k = 0; k < 3; k++) {
        double a = matrix[k][p], b = matrix[k][q];
        matrix[k][p] = c * a - s * b;
        matrix[k][q] = s * a + c * b;
    }
    for (size_t k = 0; k < 3; k++) {
        double a = matrix[p][k], b = matrix[q][k], u = vectors[k][p], v = vectors[k][q];
        matrix[p][k] = c * a - s * b;
        matrix[q][k] = s * a + c * b;
        vectors[k][p] = c * u - s * v;
        vectors[k][q] = s * u + c * v;
    }
}

void quell_direction_find(const quell_spectrum *spectrum, size_t first, size_t last, double direction[3])
{
    direction[0] = direction[1] = direction[2] = (double)NAN;
    if (spectrum->axes < 3 || spectrum->cross_m2ps3[0][1] == NULL)
        return;
    double matrix[3][3], vectors[3][3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    sum_matrix(spectrum, first, last, matrix);
    if (!(matrix[0][0] + matrix[1][1] + matrix[2][2] > 0))
        return;
    for (int sweep = 0; sweep < 12;
         sweep++) /* convergence is quadratic: a handful is enough for three rows */
        for (size_t p = 0; p < 2; p++)
            for (size_t q = p + 1; q < 3; q++)
                rotate(matrix, vectors, p, q);
    size_t principal = 0, main = 0;
    for (size_t k = 1; k < 3; k++)
        if (matrix[k][k] > matrix[principal][principal])
            principal = k;
    for (size_t k = 1; k < 3; k++)
        if (fabs(vectors[k][principal]) > fabs(vectors[main][principal]))
            main = k;
    for (size_t k = 0; k < 3; k++)
        direction[k] = vectors[main][principal] < 0 ? -vectors[k][principal] : vectors[k][principal];
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
