/* The density of random strokes whose range is known: that of many more of them than a recording holds, so that it has next to
   none of their chance. */
#include "modes_private.h"

#include <math.h>

#define SEGMENTS 1000.0   /* one after the other: 2.2 % of scatter in each bin, with their overlap */
#define SAMPLES_MOST 4e6 /* but no more than this ... */
#define SEGMENTS_LEAST 50.0
#define STROKES_MOST 1e6 /* a plan may state frequencies that no machine reaches ... */
#define SEGMENTS_FEWEST 4.0

quell_status quell_random_density(const quell_shaking *shaking, const quell_spectrum *like, double *density, quell_error *err)
{
    double segment = (double)like->segment, samples = fmax(fmin(SEGMENTS * segment, SAMPLES_MOST), SEGMENTS_LEAST * segment);
    samples = fmax(fmin(samples, STROKES_MOST / (2 * shaking->random_hz[1]) * like->rate_hz), SEGMENTS_FEWEST * segment);
    const quell_shaking no_gaps = {.kind = QUELL_EXCITE_RANDOM};
    quell_motion_list list = {0};
    quell_status status = quell_motion_add_random(&list, shaking->random_hz, 1, samples / like->rate_hz, 1, err);
    if (status == QUELL_OK)
        status = quell_command_density(&list, &no_gaps, like, samples, density, err);
    quell_motion_list_free(&list);
    return status;
}
