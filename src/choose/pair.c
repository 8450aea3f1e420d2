/* The two axes' settings together: what their unequal delays do to a corner, and the delay that would mend it. */
#include "quell/choose.h"
#include "quell/predict.h"

#include <math.h>

static double worse_way_round(const quell_corner *corner, const quell_shaper *x, const quell_shaper *y)
{
    return fmax(quell_rounding(corner, x, y), quell_rounding(corner, y, x));
}

static quell_shaper delayed(const quell_shaper *shaper, double delay_s)
{
    quell_shaper late = *shaper;
    for (size_t i = 0; i < late.count; i++)
        late.time_s[i] += delay_s;
    return late;
}

/* The axes may differ in what they can do: the larger acceleration rounds more, and the lower cruising speed is reached
   first. */
static quell_corner corner_of(const quell_machine *machine)
{
    const quell_axis_limits *x = &machine->axis[0], *y = &machine->axis[1];
    double cruise = fmin(x->speed_mps, y->speed_mps);
    return (quell_corner){.speed_mps = isnan(machine->corner_speed_mps) ? 0 : machine->corner_speed_mps,
                          .acceleration_mps2 = fmax(x->acceleration_mps2, y->acceleration_mps2),
                          .cruise_mps = isnan(cruise) ? 0 : cruise,
                          .angle_rad = QUELL_PI / 2};
}

quell_pair quell_pair_judge(const quell_machine *machine, const quell_shaper *x, const quell_shaper *y)
{
    double x_late_s = quell_shaper_measure(x).mean_s, y_late_s = quell_shaper_measure(y).mean_s;
    quell_pair pair = {.axis_delay_s = {fmax(y_late_s - x_late_s, 0), fmax(x_late_s - y_late_s, 0)},
                       .acceleration_mps2 = (double)NAN,
                       .rounding_m = (double)NAN,
                       .rounding_aligned_m = (double)NAN,
                       .corner_error_m = (double)NAN};
    if (machine == NULL)
        return pair;
    quell_corner corner = corner_of(machine);
    if (isnan(corner.acceleration_mps2))
        return pair;
    quell_shaper late_x = delayed(x, pair.axis_delay_s[0]), late_y = delayed(y, pair.axis_delay_s[1]);
    pair.acceleration_mps2 = corner.acceleration_mps2;
    pair.rounding_m = worse_way_round(&corner, x, y);
    pair.rounding_aligned_m = worse_way_round(&corner, &late_x, &late_y);
    pair.corner_error_m = fmax(pair.rounding_m - pair.rounding_aligned_m, 0);
    return pair;
}
