/* Where an excitation ends. A sweep's density falls by 10 dB or more from one bin to the next at its last
   frequency, and nothing a mode does looks like that: both sides run smoothly up to a step that is much
   steeper than either. A fit across such a step would need modes that are not there, so the search stays
   within it. */
#include "modes_private.h"

#include <math.h>

#define STEP_LEAST 1.6  /* of ln P: 7 dB */
#define SLOPE_MOST 0.18 /* of ln P a bin, on either side: 0.8 dB */
#define BEND_MOST 0.09  /* difference of the slopes: 0.4 dB a bin; a dip between modes turns more sharply */
#define ROUGH_MOST 0.16 /* rms about a straight line, besides what chance makes: 0.7 dB */

enum { SIDE_BINS = 8 };

/* A straight line through SIDE_BINS values of ln P, going outwards from bin `from`. */
typedef struct side {
    double slope, rms, near, far; /* near, far: the line at its first and last bin */
} side;

static double log_density(const double *density, size_t bin)
{
    return density[bin] > 0 ? log(density[bin]) : -700;
}

static side side_from(const double *density, size_t from, int outwards)
{
    double mean = 0, moment = 0, squares = 0, middle = (SIDE_BINS - 1) / 2.0, value[SIDE_BINS];
    for (size_t i = 0; i < SIDE_BINS; i++) {
        value[i] = log_density(density, outwards > 0 ? from + i : from - i);
        mean += value[i] / SIDE_BINS;
    }
    for (size_t i = 0; i < SIDE_BINS; i++) {
        moment += ((double)i - middle) * value[i];
        squares += ((double)i - middle) * ((double)i - middle);
    }
    side out = {.slope = moment / squares};
    for (size_t i = 0; i < SIDE_BINS; i++)
        out.rms += pow(value[i] - mean - out.slope * ((double)i - middle), 2) / SIDE_BINS;
    out.rms = sqrt(out.rms);
    out.near = mean - out.slope * middle;
    out.far = mean + out.slope * middle;
    return out;
}

static bool smooth(const side *part, double chance)
{
    return fabs(part->slope) <= SLOPE_MOST && part->rms <= ROUGH_MOST + chance;
}

/* Does the density step down outwards, over `gap` bins after bin k? */
static bool steps_down(const double *density, size_t k, size_t gap, int outwards, double chance)
{
    side inner = side_from(density, outwards > 0 ? k - SIDE_BINS + 1 : k + SIDE_BINS - 1, outwards);
    side outer = side_from(density, outwards > 0 ? k + gap : k - gap, outwards);
    double middle = (double)gap / 2;
    double step = inner.far + inner.slope * middle - (outer.near - outer.slope * middle);
    bool alike = fabs(inner.slope - outer.slope) <= BEND_MOST + 0.3 * chance;
    return step >= STEP_LEAST + 3 * chance && alike && smooth(&inner, chance) && smooth(&outer, chance);
}

/* The last bin, going outwards from `start`, before the excitation ends; `limit` if it does not. */
static size_t end_from(const quell_spectrum *spectrum, const double *density, size_t start, size_t limit,
                       int outwards)
{
    static const size_t gaps[] = {3, 6};
    double chance = sqrt(2 / spectrum->dof);
    for (size_t away = SIDE_BINS; away < (outwards > 0 ? limit - start : start - limit); away++)
        for (size_t g = 0; g < sizeof gaps / sizeof gaps[0]; g++) {
            size_t reach = away + gaps[g] + SIDE_BINS;
            bool fits = outwards > 0 ? start + reach < spectrum->bins : start > reach + 1;
            size_t k = outwards > 0 ? start + away : start - away;
            if (fits && steps_down(density, k, gaps[g], outwards, chance))
                return k;
        }
    return limit;
}

void quell_excitation_ends(const quell_spectrum *spectrum, size_t axis, size_t peak, size_t *low,
                           size_t *high)
{
    const double *density = spectrum->asd_m2ps3[axis];
    *low = end_from(spectrum, density, peak, *low, -1);
    *high = end_from(spectrum, density, peak, *high, 1);
}
