/* Where the one free decay of a recording without strokes may begin: after a blow, a sweep or random motion. The level of
   all axes falls for the last time below a share of its greatest; which share is right the fit will tell. */
#include "modes/decay_private.h"

#include <math.h>

#define BLOCK_S 0.02

static const double shares[] = {0.5, 0.25, 0.1, 0.05, 0.02};

/* Mean square about the mean of each block, all axes together. */
static void levels(const decay_data *data, size_t block, size_t blocks, double *out)
{
    for (size_t b = 0; b < blocks; b++) {
        out[b] = 0;
        for (size_t k = 0; k < data->axes; k++) {
            const double *a = data->accel_mps2[k] + b * block;
            double sum = 0, squares = 0;
            for (size_t i = 0; i < block; i++)
                sum += a[i];
            for (size_t i = 0; i < block; i++)
                squares += pow(a[i] - sum / (double)block, 2);
            out[b] += squares / (double)block;
        }
    }
}

quell_status decay_stops_by_level(const decay_data *data, decay_stops *out, quell_error *err)
{
    out->count = 0;
    size_t block = (size_t)fmax(2, round(BLOCK_S * data->rate_hz)), blocks = data->samples / block,
           last = SIZE_MAX;
    if (blocks < 4)
        return QUELL_OK;
    double *level = quell_memory_get(blocks * sizeof *level), greatest = 0;
    if (level == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu levels", blocks);
    levels(data, block, blocks, level);
    for (size_t b = 0; b < blocks; b++)
        greatest = fmax(greatest, level[b]);
    for (size_t i = 0; i < sizeof shares / sizeof shares[0] && greatest > 0; i++) {
        size_t b = blocks;
        while (b > 0 && level[b - 1] < shares[i] * shares[i] * greatest)
            b--;
        if (b == 0 || b + 2 >= blocks || b == last)
            continue;
        last = b;
        decay_stop stop = {.rest = b * block, .limit = data->samples, .latest = data->samples};
        decay_stop_clear_of_breaks(data, &stop);
        out->stop[out->count++] = stop;
    }
    quell_memory_free(level);
    return QUELL_OK;
}
