/* What no estimator can beat: Cramer-Rao bounds from the information, computed from the density alone and by differences, so
   that nothing is shared with the fit under study. */
#include "study.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <string.h>

enum { PARAMETERS_MAX = 3 * STUDY_MODES_MAX + 2 };

/* The cast keeps -Wdouble-promotion quiet: the library's I is a float. */
static const double complex j = (double complex)I;

/* Parameters: ln f, ln zeta, c (incoherent: a) of each mode; then b0, b1 (not if incoherent). */
static size_t unpack(const study_spectrum *at, double *parameter)
{
    size_t n = 0;
    for (size_t k = 0; k < at->modes; k++) {
        parameter[n++] = log(at->f_hz[k]);
        parameter[n++] = log(at->zeta[k]);
        parameter[n++] = at->incoherent ? log(at->level_m2ps3) + 2 * log(fabs(at->c[k])) : at->c[k];
    }
    if (!at->incoherent) {
        parameter[n++] = log(at->level_m2ps3);
        parameter[n++] = 0;
    }
    return n;
}

static double log_density(const study_spectrum *at, const double *parameter, double x_hz)
{
    double complex h = 1;
    double sum = 0;
    for (size_t k = 0; k < at->modes; k++, parameter += 3) {
        double r = x_hz / exp(parameter[0]);
        double complex g = r * r / (1 - r * r + 2 * j * exp(parameter[1]) * r);
        double complex base = 1 + g;
        h += parameter[2] * g;
        sum += exp(parameter[2]) * (creal(base) * creal(base) + cimag(base) * cimag(base));
    }
    if (at->incoherent)
        return log(sum + at->noise_m2ps3);
    double middle_hz = sqrt(at->low_hz * at->high_hz);
    double input = exp(parameter[0] + parameter[1] * log(x_hz / middle_hz));
    return log(input * (creal(h) * creal(h) + cimag(h) * cimag(h)) + at->noise_m2ps3);
}

static void slopes(const study_spectrum *at, const double *parameter, size_t n, double x_hz, double *out)
{
    const double step = 1e-5;
    double moved[PARAMETERS_MAX];
    memcpy(moved, parameter, n * sizeof *moved);
    for (size_t p = 0; p < n; p++) {
        moved[p] = parameter[p] + step;
        double above = log_density(at, moved, x_hz);
        moved[p] = parameter[p] - step;
        out[p] = (above - log_density(at, moved, x_hz)) / (2 * step);
        moved[p] = parameter[p];
    }
}

/* Square roots of the diagonal of the inverse of the n x n information; it is brought to a unit diagonal first, since what
   is told of the parameters differs by many orders. */
static bool deviations(double *information, size_t n, double *sd)
{
    double scale[PARAMETERS_MAX];
    for (size_t p = 0; p < n; p++) {
        if (!(information[p * n + p] > 0))
            return false;
        scale[p] = 1 / sqrt(information[p * n + p]);
    }
    for (size_t p = 0; p < n; p++)
        for (size_t q = 0; q < n; q++)
            information[p * n + q] *= scale[p] * scale[q];
    gsl_matrix_view matrix = gsl_matrix_view_array(information, n, n);
    if (gsl_linalg_cholesky_decomp1(&matrix.matrix) != 0 || gsl_linalg_cholesky_invert(&matrix.matrix) != 0)
        return false;
    for (size_t p = 0; p < n; p++)
        sd[p] = scale[p] * sqrt(information[p * n + p]);
    return true;
}

bool study_bound_find(study_bound *out, const study_spectrum *spectrum)
{
    double parameter[PARAMETERS_MAX], information[PARAMETERS_MAX * PARAMETERS_MAX] = {0},
                                                                   slope[PARAMETERS_MAX], sd[PARAMETERS_MAX];
    size_t n = unpack(spectrum, parameter);
    double narrowest_hz = spectrum->high_hz - spectrum->low_hz;
    for (size_t k = 0; k < spectrum->modes; k++)
        narrowest_hz = fmin(narrowest_hz, spectrum->zeta[k] * spectrum->f_hz[k]);
    size_t intervals = 2 * (size_t)ceil(8 * (spectrum->high_hz - spectrum->low_hz) / narrowest_hz);
    double width_hz = (spectrum->high_hz - spectrum->low_hz) / (double)intervals;
    for (size_t i = 0; i <= intervals; i++) { /* Simpson's rule */
        double share = i == 0 || i == intervals ? 1 : i % 2 == 1 ? 4 : 2;
        double weight = spectrum->seconds * share * width_hz / 3;
        slopes(spectrum, parameter, n, spectrum->low_hz + (double)i * width_hz, slope);
        for (size_t p = 0; p < n; p++)
            for (size_t q = 0; q < n; q++)
                information[p * n + q] += weight * slope[p] * slope[q];
    }
    if (!deviations(information, n, sd))
        return false;
    for (size_t k = 0; k < spectrum->modes; k++)
        out[k] = (study_bound){sd[3 * k], sd[3 * k + 1], spectrum->incoherent ? (double)NAN : sd[3 * k + 2]};
    return true;
}

double study_tone_bound(double amplitude, double noise, double w, double phase, size_t samples)
{
    double information[9] = {0}, sd[3];
    for (size_t i = 0; i < samples; i++) {
        double t = (double)i, angle = w * t + phase;
        const double slope[3] = {cos(angle), -amplitude * t * sin(angle), -amplitude * sin(angle)};
        for (size_t p = 0; p < 3; p++)
            for (size_t q = 0; q < 3; q++)
                information[3 * p + q] += slope[p] * slope[q] / (noise * noise);
    }
    return deviations(information, 3, sd) ? sd[1] : (double)NAN;
}
