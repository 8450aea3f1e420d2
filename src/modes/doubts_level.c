/* Does a mode's frequency fall with level while the machine is shaken at random?

   z is the mode's ringing as a rotating vector (ringing.c). For a linear machine and Gaussian shaking z is Gaussian
   and circular, so z[n+1] = rho z[n] + what does not depend on z[n], and E(conj(z[n]) z[n+1] | |z[n]|) = rho |z[n]|^2:
   the mean rotation (pulse pairs: K. S. Miller, M. M. Rochwarger, IEEE Trans. Inf. Theory 18, 1972) is the same at any
   level, whatever the spectrum. So the rotation while |z| is large is compared to that while it is small, the border such
   that both hold half of the energy; the standard error comes of leaving out one part of the time after the other.

   The filter and the mode's own width draw the rotation towards the middle: it moves by a share of the frequency's
   move, which the fitted response tells.

   Where z is not as Gaussian shaking makes it, nothing is said: in strokes level and frequency go together in any
   machine, as they do while a sweep passes a mode (doubts_sweep.c). */
#include "modes_private.h"

#include <math.h>
#include <stdlib.h>

#define FALL_LEAST 0.005
#define FALL_ERRORS 3.5
#define SPREAD_WIDTHS 3.0 /* of the filter, in half-widths of the mode: narrower, it mixes levels in time */
#define SPREAD_LEAST 0.02 /* of its frequency */
#define SPREAD_MOST 0.15
#define SPREAD_NEIGHBOUR 0.4 /* of the way to the next mode */
#define FOURTH_OFF 0.5       /* how far the moments below may be from those of Gaussian shaking */
#define LOGARITHM_OFF 0.25
#define SKEWNESS_MOST 0.35
#define EULER 0.57721566490153286

enum { PARTS_MOST = 32, PARTS_LEAST = 12, PERIODS_OF_PART = 20 };

typedef struct part {
    double complex pair[2]; /* sum of conj(z[n]) z[n+1], weak and strong */
    double energy[2];       /* of |z|^2 */
    size_t count[2];
} part;

typedef struct levels {
    size_t parts;
    part part[PARTS_MOST];
    double rate_hz;
} levels;

static int order(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Is z as Gaussian shaking makes it? |z| has Rayleigh's distribution then, so that E|z|^4 = 2 (E|z|^2)^2 and E ln |z|^2 is
   0.577 (Euler) below ln E|z|^2; and it rises as it falls, where one that is struck rises fast and rings down slowly,
   which shows in the skewness of |z|'s steps. Strokes that repeat pass neither. */
static bool as_gaussian(const quell_ringing *ringing)
{
    double sum = 0, fourth = 0, logarithm = 0, squares = 0, cubes = 0, n = 0;
    for (size_t i = 0; i + 1 < ringing->count; i++) {
        double e = creal(ringing->z[i] * conj(ringing->z[i])),
               step = cabs(ringing->z[i + 1]) - cabs(ringing->z[i]);
        if (!(e > 0 && isfinite(step)))
            continue;
        sum += e;
        fourth += e * e;
        logarithm += log(e);
        squares += step * step;
        cubes += step * step * step;
        n++;
    }
    return fabs(fourth * n / (sum * sum) - 2) < FOURTH_OFF &&
           fabs(logarithm / n - log(sum / n) + EULER) < LOGARITHM_OFF &&
           fabs(cubes / n / pow(squares / n, 1.5)) < SKEWNESS_MOST;
}

/* The |z|^2 below and above which lies half of the energy; NaN if there is none. energy: scratch, ringing->count
   long. */
static double border(const quell_ringing *ringing, double *energy)
{
    double sum = 0, below = 0;
    size_t n = 0;
    for (size_t i = 0; i < ringing->count; i++) {
        double e = creal(ringing->z[i] * conj(ringing->z[i]));
        if (!isfinite(e))
            continue;
        energy[n++] = e;
        sum += e;
    }
    qsort(energy, n, sizeof *energy, order);
    for (size_t i = 0; i < n; i++) {
        below += energy[i];
        if (below > sum / 2)
            return energy[i];
    }
    return (double)NAN;
}

static void collect(levels *out, const quell_ringing *ringing, double limit)
{
    for (size_t i = 0; i + 1 < ringing->count; i++) {
        double complex pair = conj(ringing->z[i]) * ringing->z[i + 1];
        double e = creal(ringing->z[i] * conj(ringing->z[i]));
        if (!isfinite(creal(pair)))
            continue;
        part *at = &out->part[i * out->parts / ringing->count];
        size_t strong = e > limit;
        at->pair[strong] += pair;
        at->energy[strong] += e;
        at->count[strong]++;
    }
}

/* Rotation in Hz, one part left out (out->parts: none). */
static double rotation_hz(const levels *in, size_t group, size_t left_out)
{
    double complex sum = 0;
    for (size_t p = 0; p < in->parts; p++)
        if (p != left_out)
            sum += in->part[p].pair[group];
    return carg(sum) * in->rate_hz / QUELL_TAU;
}

/* Jackknife over the parts of the difference strong - weak. */
static double standard_error_hz(const levels *in)
{
    double value[PARTS_MOST], mean = 0, sum = 0, n = (double)in->parts;
    for (size_t p = 0; p < in->parts; p++) {
        value[p] = rotation_hz(in, 1, p) - rotation_hz(in, 0, p);
        mean += value[p] / n;
    }
    for (size_t p = 0; p < in->parts; p++)
        sum += (value[p] - mean) * (value[p] - mean);
    return sqrt((n - 1) / n * sum);
}

/* ---------------------------------------------------------------- the doubt */

static double spread_for(const quell_modes *modes, const quell_mode *mode)
{
    double share = fmin(fmax(SPREAD_WIDTHS * mode->damping_ratio, SPREAD_LEAST), SPREAD_MOST);
    double spread = share * mode->frequency_hz;
    for (size_t k = 0; k < modes->count; k++)
        if (&modes->mode[k] != mode)
            spread = fmin(spread, SPREAD_NEIGHBOUR * fabs(modes->mode[k].frequency_hz - mode->frequency_hz));
    return spread;
}

static const char *judge(quell_doubter *in, const quell_mode *mode, const levels *found, double spread_hz)
{
    double share = quell_ringing_share(in->modes, mode, spread_hz);
    double weak = rotation_hz(found, 0, found->parts), strong = rotation_hz(found, 1, found->parts);
    double errors = (weak - strong) / standard_error_hz(found);
    double fall = (weak - strong) / share / mode->frequency_hz;
    if (!(share > RINGING_SHARE_LEAST && fall > FALL_LEAST && errors > FALL_ERRORS))
        return NULL;
    double energy[2] = {0}, count[2] = {0};
    for (size_t p = 0; p < found->parts; p++)
        for (size_t g = 0; g < 2; g++) {
            energy[g] += found->part[p].energy[g];
            count[g] += (double)found->part[p].count[g];
        }
    double middle = (weak + strong) / 2; /* both hold the same energy */
    return quell_doubt_print(in,
                             "its frequency falls with level: %s Hz, and %s Hz where it rings %s times as "
                             "much, %s standard errors "
                             "apart: a joint that slips? check the screws and belt clamps",
                             quell_number_fixed(mode->frequency_hz + (weak - middle) / share, 1).text,
                             quell_number_fixed(mode->frequency_hz + (strong - middle) / share, 1).text,
                             quell_number_fixed(sqrt(energy[1] / count[1] * count[0] / energy[0]), 1).text,
                             quell_doubt_errors(errors).text);
}

const char *quell_doubt_level(quell_doubter *in, const quell_mode *mode)
{
    const quell_recording *recording = in->recording;
    if (recording == NULL || recording->accel_mps2[mode->seen_on] == NULL || in->shaking == NULL ||
        (in->shaking->kind != QUELL_EXCITE_RANDOM && in->shaking->kind != QUELL_EXCITE_AMBIENT))
        return NULL;
    double seconds = (double)(in->end - in->first) / recording->rate_hz;
    double parts = fmin(floor(seconds * mode->frequency_hz / PERIODS_OF_PART), PARTS_MOST);
    if (parts < PARTS_LEAST)
        return NULL;
    levels found = {.parts = (size_t)parts};
    quell_ringing ringing;
    double spread_hz = spread_for(in->modes, mode);
    if (quell_ringing_get(&ringing, recording, mode->seen_on, in->first, in->end, mode->frequency_hz,
                          spread_hz) != QUELL_OK) {
        in->failed = true;
        return NULL;
    }
    const char *text = NULL;
    double *energy = quell_memory_get(ringing.count * sizeof *energy);
    double limit = energy != NULL && as_gaussian(&ringing) ? border(&ringing, energy) : (double)NAN;
    in->failed = in->failed || energy == NULL;
    if (isfinite(limit)) {
        found.rate_hz = ringing.rate_hz;
        collect(&found, &ringing, limit);
        text = judge(in, mode, &found, spread_hz);
    }
    quell_memory_free(energy);
    quell_memory_free(ringing.z);
    return text;
}
