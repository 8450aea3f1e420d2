/* What of the band a sweep excites, as far as it is flat there: what is searched. */
#include "modes_private.h"

#include <math.h>

#define RIPPLE 2.0          /* of the root of a sweep's rate: so far from its ends it is not flat ... */
#define RIPPLE_BINS 2.0     /* ... and so many bins */

/* The ends of what is excited round a peak, within what is searched. The density's steps may be modes' own, or hidden in
   their flanks: where the sweep was followed, it tells, up to the ripple next to where it begins and ends. */
static void find_ends(const quell_mode_search *search, size_t peak, size_t *low, size_t *high)
{
    double bin_hz = search->spectrum->bin_hz;
    *low = search->low;
    *high = search->high;
    if (!(search->seen.end_hz > 0)) {
        quell_excitation_ends(search->spectrum, search->axis, search->peak[peak].bin, low, high);
        return;
    }
    bool known = search->problem.held[FIT_B1]; /* and its ripple with it */
    double ripple_hz = known ? 0 : RIPPLE * sqrt(search->seen.rate_hz_per_s) + RIPPLE_BINS * bin_hz;
    *low = (size_t)fmax((search->seen.start_hz + ripple_hz) / bin_hz, (double)*low);
    *high = (size_t)fmin((search->seen.end_hz - ripple_hz) / bin_hz, (double)*high);
}

/* Is the peak within what the sweep is seen to run over? */
static bool swept_over(const quell_mode_search *search, const quell_peak *peak)
{
    const quell_sweep *seen = &search->seen;
    return !(seen->end_hz > 0) || (peak->frequency_hz > seen->start_hz && peak->frequency_hz < seen->end_hz);
}

/* Only what is excited together with the most prominent peak can be fitted together with it. */
void quell_search_keep_within_excitation(quell_mode_search *search)
{
    size_t first = 0, low, high;
    while (first < search->peaks && (search->used[first] || !swept_over(search, &search->peak[first])))
        first++;
    if (first == search->peaks)
        return;
    find_ends(search, first, &low, &high);
    search->low = low;
    search->high = high;
    for (size_t i = 0; i < search->peaks; i++)
        search->used[i] =
            search->used[i] || search->peak[i].bin < search->low || search->peak[i].bin > search->high;
}
