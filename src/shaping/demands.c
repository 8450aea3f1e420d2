/* What linear programs over the settings of a shaper ask of it: the maxima of its residual over bands. */
#include "shaping/tailor_private.h"

#include <math.h>

static void take_peak(void *into, const band_peak *peak)
{
    demand_list *list = into;
    if (list->count < DEMANDS_MOST)
        list->demand[list->count++] = (demand){list->band, peak->hz, peak->zeta, peak->residual};
}

double demands_list(demand_list *list, const quell_bands *bands, const quell_shaper *shaper, double least_share)
{
    double total = 0;
    list->count = 0;
    for (size_t k = 0; k < bands->count; k++) {
        double range[2];
        size_t first = list->count, kept = first;
        list->band = k;
        band_scan(&bands->band[k], shaper, NULL, take_peak, list, range);
        for (size_t i = first; i < list->count; i++)
            if (list->demand[i].residual >= least_share * range[1])
                list->demand[kept++] = list->demand[i];
        list->count = kept;
        total = bands->weighted ? total + bands->band[k].weight * range[1] : fmax(total, range[1]);
    }
    return total;
}
