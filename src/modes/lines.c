/* Lines told from modes: a tone, as of a fan or a motor, fills the window's main lobe and nothing beyond; a
   mode, however narrow, has skirts. Chance alone can make a mode's peak look narrow, so the skirts are
   asked, too. */
#include "modes_private.h"

#include <math.h>

#define WIDER 0.6 /* bins by which a line may be wider at half power than the window makes a tone: 2.5 for Hann */
#define SKIRTS_LEAST                                                                                         \
    1.4 /* density near the peak over that farther out, on either side, from which there are skirts */
#define LEAKAGE_MOST 4 /* times the window's own leakage: below this what is near the peak is leakage */

enum { RING_BINS = 3, FAR_AWAY = 6, FAR_BINS = 6, EXTENT_BEYOND = 4 };

/* The most that a tone's half-power width comes to in bins, wherever between two of them it lies. */
static double tone_width(const quell_window *window)
{
    enum { AWAY = 10, SHOWN = 2 * AWAY + 1, STEPS = 8 };
    double most = 0;
    for (int step = 0; step <= STEPS; step++) {
        double offset = 0.5 * step / STEPS, shown[SHOWN], width;
        for (int i = 0; i < SHOWN; i++)
            shown[i] = quell_window_kernel(window, i - AWAY - offset);
        quell_half_power(shown, SHOWN, AWAY, NULL, &width);
        most = fmax(most, width);
    }
    return most;
}

/* The most that a tone leaks into the bins from..from + RING_BINS - 1 away, relative to its largest bin: the
   tone lies anywhere within half a bin of it. */
static double leakage(const quell_window *window, size_t from)
{
    double most = 0;
    for (int step = 0; step <= 4; step++) {
        double offset = step / 8.0, sum = 0;
        for (size_t d = from; d < from + RING_BINS; d++)
            sum += quell_window_kernel(window, (double)d - offset) / RING_BINS;
        most = fmax(most, sum / quell_window_kernel(window, offset));
    }
    return most;
}

/* Mean density of `count` bins from `from` away on one side of a peak. */
static double ring(const double *density, size_t bins, size_t peak, int side, size_t from, size_t count)
{
    double sum = 0;
    for (size_t d = from; d < from + count; d++)
        sum += side < 0 ? density[peak > d ? peak - d : 1] : density[peak + d < bins ? peak + d : bins - 1];
    return sum / (double)count;
}

bool quell_is_line(const quell_spectrum *spectrum, const double *density, size_t bin, double width_bins)
{
    const quell_window *window = spectrum->window;
    size_t lobe =
        window->terms + 1; /* the first bin beyond the main lobe, wherever in its bin the tone lies */
    if (!(width_bins <= tone_width(window) + WIDER))
        return false;
    double leaked = LEAKAGE_MOST * leakage(window, lobe) * density[bin];
    for (int side = -1; side <= 1; side += 2) {
        double near = ring(density, spectrum->bins, bin, side, lobe, RING_BINS);
        double far = ring(density, spectrum->bins, bin, side, lobe + FAR_AWAY, FAR_BINS);
        if (!(near > SKIRTS_LEAST * far && near > leaked))
            return true;
    }
    return false;
}

void quell_line_extent(const quell_spectrum *spectrum, const double *density, size_t bin, size_t *first,
                       size_t *last)
{
    size_t lobe = spectrum->window->terms, reach = lobe + EXTENT_BEYOND, bins = spectrum->bins;
    *first = *last = bin;
    while (*first > 0 && bin - *first < reach &&
           (bin - *first < lobe || density[*first - 1] < density[*first]))
        (*first)--;
    while (*last + 1 < bins && *last - bin < reach &&
           (*last - bin < lobe || density[*last + 1] < density[*last]))
        (*last)++;
}
