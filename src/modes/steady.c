/* Tones that something drives: unlike ringing, they keep their phase for as long as they are recorded. */
#include "modes_private.h"

#include <math.h>

#define STEADY 0.8       /* of what there is near the frequency lies within the resolution of the whole recording */
#define BINS_OF_TONE 1.5 /* on either side: all of a Hann window's tone */
#define NO_MODE 1e-3     /* damping ratio: less has no mode of a machine */

#define LONG_ENOUGH 2.0      /* times what tells a tone from ringing of that damping ratio: more would only cost time */

enum { OFFSETS = 8 /* trial frequencies a bin */ };

/* Power at an offset from the frequency z is turned back by, through a Hann window. */
static double power_at(const quell_ringing *of, double offset_hz)
{
    double real = 0, imaginary = 0;
    for (size_t k = 0; k < of->count; k++) {
        double weight = 1 - cos(QUELL_TAU * ((double)k + 0.5) / (double)of->count);
        double turn = QUELL_TAU * offset_hz * (double)k / of->rate_hz, x = creal(of->z[k]), y = cimag(of->z[k]);
        real += weight * (x * cos(turn) + y * sin(turn));
        imaginary += weight * (y * cos(turn) - x * sin(turn));
    }
    double count = (double)of->count;
    return (real * real + imaginary * imaginary) / (count * count);
}

/* The share of the power, windowed, that a tone at the best frequency within reach_hz makes up. */
static double tone_share(const quell_ringing *of, double reach_hz)
{
    double bin_hz = of->rate_hz / (double)of->count, most = 0, all = 0;
    for (double offset_hz = -reach_hz; offset_hz <= reach_hz; offset_hz += bin_hz / OFFSETS)
        most = fmax(most, power_at(of, offset_hz));
    for (size_t k = 0; k < of->count; k++) {
        double weight = 1 - cos(QUELL_TAU * ((double)k + 0.5) / (double)of->count), size = cabs(of->z[k]);
        all += weight * size * size / (double)of->count; /* a tone of amplitude A: A^2 here and there */
    }
    return most / all;
}

quell_status quell_tone_is_steady(bool *out, const quell_recording *recording, size_t axis, size_t first, size_t end,
                                  double frequency_hz, double bin_hz, quell_error *err)
{
    *out = false;
    if (axis >= recording->axes || recording->accel_mps2[axis] == NULL || first >= end || end > recording->samples ||
        !(frequency_hz > 0 && bin_hz > 0))
        return QUELL_OK;
    double seconds = (double)(end - first) / recording->rate_hz, least_s = BINS_OF_TONE / (NO_MODE * frequency_hz);
    if (seconds < least_s)
        return QUELL_OK;
    if (seconds > LONG_ENOUGH * least_s)
        end = first + (size_t)(LONG_ENOUGH * least_s * recording->rate_hz);
    quell_ringing ringing;
    if (quell_ringing_get(&ringing, recording, axis, first, end, frequency_hz, bin_hz) != QUELL_OK)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a tone of %g Hz", frequency_hz);
    double kept_s = ringing.count > 0 ? (double)ringing.count / ringing.rate_hz : 0;
    /* a gap makes the share not a number */
    *out = kept_s >= least_s && tone_share(&ringing, bin_hz / 2) > STEADY;
    quell_memory_free(ringing.z);
    return QUELL_OK;
}
