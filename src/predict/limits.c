/* What rounding and a shaper cost: the acceleration that keeps a rounding limit, and the time of a stroke. */
#include "quell/predict.h"

#include <math.h>

/* Rounding grows with the acceleration, nearly in proportion: false position with the kept end's excess halved when
   it stays (Illinois; M. Dowell and P. Jarratt, BIT 11, 1971) needs a handful of steps. */
double quell_acceleration_limit(const quell_corner *corner, const quell_shaper *first,
                                const quell_shaper *second, double limit_m, double max_mps2)
{
    quell_corner trial = *corner;
    trial.acceleration_mps2 = 0;
    double low = 0, high = max_mps2;
    double low_excess = quell_rounding(&trial, first, second) - limit_m;
    if (!(low_excess <= 0))
        return (double)NAN;
    trial.acceleration_mps2 = max_mps2;
    double high_excess = quell_rounding(&trial, first, second) - limit_m;
    if (high_excess <= 0)
        return max_mps2;
    int kept = 0;
    for (int step = 0; step < 100 && high - low > 1e-12 * high; step++) {
        double guess = low - low_excess * (high - low) / (high_excess - low_excess);
        if (!(guess > low && guess < high))
            guess = (low + high) / 2;
        trial.acceleration_mps2 = guess;
        double excess = quell_rounding(&trial, first, second) - limit_m;
        if (fabs(excess) <= 1e-13 * limit_m)
            return guess;
        if (excess > 0) {
            high = guess;
            high_excess = excess;
            low_excess /= kept == 1 ? 2 : 1;
            kept = 1;
        } else {
            low = guess;
            low_excess = excess;
            high_excess /= kept == -1 ? 2 : 1;
            kept = -1;
        }
    }
    return low;
}

double quell_stroke_time(double length_m, double speed_mps, double acceleration_mps2,
                         const quell_shaper *shaper)
{
    double distance = fabs(length_m);
    /* The speed is reached after v^2 / (2 a), and again for braking. */
    double seconds = distance * acceleration_mps2 > speed_mps * speed_mps
                         ? distance / speed_mps + speed_mps / acceleration_mps2
                         : 2 * sqrt(distance / acceleration_mps2);
    return seconds + (shaper != NULL ? shaper->time_s[shaper->count - 1] : 0);
}
