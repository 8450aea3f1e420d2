/* Means on the circle of fractional places, where a whole step more or less does not count, and the step
   that makes them agree best. */
#include "ingest/timeline_private.h"

#include <math.h>

/* sin(2 pi x) for -0.5 <= x <= 0.5, to 0.0011: a parabola, and a second one that takes most of its error
   away. An exact sine would take a third of all time here, for nothing: the error is odd, and 64 stamps
   scatter by ten times more. */
static double sine_of_turns(double x)
{
    double rough = 8 * x - 16 * x * fabs(x);
    return rough + 0.225 * (rough * fabs(rough) - rough);
}

/* Sums of the cosines and sines of angles in turns. */
typedef struct vector {
    double re, im;
} vector;

static void add_angle(vector *sum, double turns)
{
    double x = turns - floor(turns + 0.5), quarter = x + (x > 0.25 ? -0.75 : 0.25);
    sum->re += sine_of_turns(quarter);
    sum->im += sine_of_turns(x);
}

ingest_circle ingest_circle_mean(const double *place, size_t n)
{
    vector sum = {0, 0};
    for (size_t i = 0; i < n; i++)
        add_angle(&sum, place[i]);
    return (ingest_circle){atan2(sum.im, sum.re) / QUELL_TAU, hypot(sum.re, sum.im) / (double)n};
}

/* |mean of exp(2 pi i t / step)| over the stamps: 1 where they fall on a grid of that step. */
static double coherence(const double *stamp, size_t n, double step)
{
    vector sum = {0, 0};
    for (size_t i = 0; i < n; i++)
        add_angle(&sum, (stamp[i] - stamp[0]) / step);
    return hypot(sum.re, sum.im) / (double)n;
}

double ingest_coherent_step(const double *stamp, size_t n, double step, double width, double *height)
{
    double grain = 0.25 / (double)n;
    *height = -1;
    for (int round = 0; round < 2; round++) {
        double centre = step;
        int steps = (int)(width / grain);
        for (int i = -steps; i <= steps; i++) {
            double tried = centre * (1 + i * grain), found = coherence(stamp, n, tried);
            if (found > *height) {
                *height = found;
                step = tried;
            }
        }
        width = grain;
        grain /= 16;
    }
    return step;
}
