/* Bands that overlap are one design's one band where their damping ratios agree. */
#include "quell/shaping.h"

#include <math.h>
#include <string.h>

static bool agree(const quell_band *a, const quell_band *b)
{
    bool overlap = a->hz[0] <= b->hz[1] && b->hz[0] <= a->hz[1];
    return overlap && a->damping_ratio[0] == b->damping_ratio[0] && a->damping_ratio[1] == b->damping_ratio[1];
}

size_t quell_bands_merge(quell_bands *bands)
{
    size_t before = bands->count;
    for (bool merged = true; merged && !bands->weighted;) {
        merged = false;
        for (size_t j = 0; j < bands->count && !merged; j++)
            for (size_t k = j + 1; k < bands->count && !merged; k++) {
                quell_band *one = &bands->band[j], *other = &bands->band[k];
                if (!agree(one, other))
                    continue;
                one->hz[0] = fmin(one->hz[0], other->hz[0]);
                one->hz[1] = fmax(one->hz[1], other->hz[1]);
                memmove(other, other + 1, (--bands->count - k) * sizeof *other);
                merged = true;
            }
    }
    return before - bands->count;
}
