/* What lost samples that were closed up do to a mode. */
#include "quell/ingest.h"

#include <complex.h>
#include <math.h>

quell_clock_shift quell_clock_shift_predict(double lost_fraction, double mean_run, double frequency_hz,
                                            double rate_hz)
{
    const quell_clock_shift unknown = {(double)NAN, (double)NAN, (double)NAN};
    double turn = QUELL_TAU * frequency_hz / rate_hz, kept = 1 - lost_fraction;
    if (!(lost_fraction >= 0 && lost_fraction < 1 && turn >= 0 && turn <= QUELL_PI))
        return unknown;
    if (mean_run != 0 && !(mean_run >= 1 && isfinite(mean_run)))
        return unknown;
    if (turn == 0) /* the limit: only the number of samples changes */
        return (quell_clock_shift){0, lost_fraction / kept, 0};
    double complex z = cos(turn) + (double complex)I * sin(turn), factor = kept / (1 - lost_fraction * z);
    if (mean_run > 0) { /* after a sample that is kept, a run of lost ones follows with probability p */
        double p = fmin(lost_fraction / (kept * mean_run), 1), run = turn * mean_run;
        factor = 1 - p + p * (cos(run) + (double complex)I * sin(run));
    }
    double phase = carg(factor) / turn;
    return (quell_clock_shift){.damping_ratio = -log(cabs(factor)) / turn,
                               .frequency_nominal = phase,
                               .frequency_mean = (1 + phase) * kept - 1};
}
