/* The strokes before the stops. */
#include "modes/decay_known.h"

#include <math.h>

#define BEFORE_MOST_S 3.0 /* of motion looked at before the first stop */

/* Length and mean speed of the stroke before a rest, which begins in the rest before that. The mean acceleration from rest
   to rest is 0. */
static void measure_stroke(const known_decays *of, size_t rest, quell_stop *out)
{
    const decay_stops *rests = &of->rests;
    const double *a = of->data.accel_mps2[0];
    double rate_hz = of->data.rate_hz;
    size_t end = rests->stop[rest].limit, most = (size_t)(BEFORE_MOST_S * rate_hz), from = 0;
    if (rest > 0)
        from = rests->stop[rest - 1].limit;
    else if (rests->stop[rest].rest > most)
        from = rests->stop[rest].rest - most;
    double mean = 0, velocity = 0, way = 0, squares = 0;
    for (size_t i = from; i < end; i++)
        mean += a[i] / (double)(end - from);
    for (size_t i = from; i < end; i++) {
        velocity += (a[i] - mean) / rate_hz;
        way += velocity / rate_hz;
        squares += velocity * velocity / rate_hz;
    }
    out->stroke_m = fabs(way);
    out->speed_mps = way != 0.0 ? squares / fabs(way) : 0;
    out->direction = rests->stop[rest].direction;
}

void known_measure_strokes(const known_decays *of, quell_stop *stop)
{
    for (size_t s = 0, rest = 0; s < of->solution.window.stops; s++) {
        while (rest + 1 < of->rests.count && of->rests.stop[rest].rest != of->solution.stops.stop[s].rest)
            rest++;
        measure_stroke(of, rest, &stop[s]);
        stop[s].end_s = ((double)of->data.first + of->solution.stops.stop[s].motion_end * (double)of->data.step) /
                        of->data.recording->rate_hz;
    }
}
