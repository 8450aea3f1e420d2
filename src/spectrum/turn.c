/* Spectra in other units and other axes, from the cross-spectral matrix. */
#include "spectrum/spectrum_private.h"

void quell_spectrum_scale(quell_spectrum *spectrum, const double scale[3])
{
    for (size_t i = 0; i < spectrum->axes; i++) {
        for (size_t k = 0; k < spectrum->bins; k++)
            spectrum->asd_m2ps3[i][k] *= scale[i] * scale[i];
        for (size_t j = i + 1; j < spectrum->axes && spectrum->cross_m2ps3[i][j] != NULL; j++)
            for (size_t k = 0; k < spectrum->bins; k++)
                spectrum->cross_m2ps3[i][j][k] *= scale[i] * scale[j];
    }
}

/* out = map * in * map^T of one bin; in is Hermitian: in[j][i] is the conjugate of in[i][j]. */
static void turn(double complex out[3][3], double complex in[3][3], const double map[3][3])
{
    for (size_t a = 0; a < 3; a++)
        for (size_t b = a; b < 3; b++) {
            out[a][b] = 0;
            for (size_t i = 0; i < 3; i++)
                for (size_t j = 0; j < 3; j++)
                    out[a][b] += map[a][i] * map[b][j] * in[i][j];
        }
}

bool quell_spectrum_turn(quell_spectrum *spectrum, const double map[3][3])
{
    if (spectrum->axes != 3 || spectrum->cross_m2ps3[0][1] == NULL)
        return false;
    for (size_t k = 0; k < spectrum->bins; k++) {
        double complex in[3][3], out[3][3];
        for (size_t i = 0; i < 3; i++) {
            in[i][i] = spectrum->asd_m2ps3[i][k];
            for (size_t j = i + 1; j < 3; j++) {
                in[i][j] = spectrum->cross_m2ps3[i][j][k];
                in[j][i] = conj(in[i][j]);
            }
        }
        turn(out, in, map);
        for (size_t i = 0; i < 3; i++) {
            double power = creal(out[i][i]);
            spectrum->asd_m2ps3[i][k] = power > 0 ? power : 0; /* rounding may leave less than nothing */
            for (size_t j = i + 1; j < 3; j++)
                spectrum->cross_m2ps3[i][j][k] = out[i][j];
        }
    }
    return true;
}

void quell_spectrum_along(const quell_spectrum *spectrum, const double u[3], double *density)
{
    for (size_t k = 0; k < spectrum->bins; k++) {
        double sum = 0;
        for (size_t i = 0; i < 3; i++) {
            sum += u[i] * u[i] * spectrum->asd_m2ps3[i][k];
            for (size_t j = i + 1; j < 3; j++)
                sum += 2 * u[i] * u[j] * creal(spectrum->cross_m2ps3[i][j][k]);
        }
        density[k] = sum;
    }
}
