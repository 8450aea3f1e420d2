/* Motion below about 10 Hz: the path of the carriage, without the ringing on top. Three running means of 30 ms in a
   row: flat to a few hertz, -3 dB near 8 Hz, and 36 dB or more down from 33 Hz on. */
#include "ingest/ingest_private.h"

#include <string.h>

#define MEAN_S 0.030

/* out[i] = mean of in over `width` samples (odd) about i, less at the ends. */
static void running_mean(const double *in, double *out, size_t n, size_t width)
{
    size_t half = width / 2, from = 0, to = 0;
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        size_t want = i + half + 1 < n ? i + half + 1 : n;
        while (to < want)
            sum += in[to++];
        size_t keep = i > half ? i - half : 0;
        while (from < keep)
            sum -= in[from++];
        out[i] = sum / (double)(to - from);
    }
}

void ingest_slow_motion(const double *in, double *out, double *work, size_t n, double rate_hz)
{
    size_t width = 2 * (size_t)(0.5 * MEAN_S * rate_hz) + 1;
    width = width < n ? width : 1;
    running_mean(in, out, n, width);
    running_mean(out, work, n, width);
    running_mean(work, out, n, width);
}
