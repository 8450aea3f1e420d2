/* The sweep of strokes that shakes a machine, and the reference move of the choice. */
#include "motion/motion_private.h"

#include <math.h>

#define CYCLES_MAX 1e6

quell_status quell_motion_check_sweep(const quell_sweep *sweep, quell_error *err)
{
    quell_status status = quell_motion_require(sweep->start_hz, false, "start of the sweep", "Hz", err);
    if (status == QUELL_OK)
        status = quell_motion_require(sweep->end_hz, false, "end of the sweep", "Hz", err);
    if (status == QUELL_OK)
        status = quell_motion_require(sweep->rate_hz_per_s, false, "rate of the sweep", "Hz/s", err);
    if (status == QUELL_OK)
        status =
            quell_motion_require(sweep->acceleration_mps2, false, "acceleration of the sweep", "m/s2", err);
    if (status != QUELL_OK)
        return status;
    char start[32], end[32], found[32];
    quell_number_print(start, sizeof start, sweep->start_hz, 6);
    quell_number_print(end, sizeof end, sweep->end_hz, 6);
    if (sweep->end_hz <= sweep->start_hz)
        return quell_fail(err, QUELL_E_USAGE, "sweep runs from %s Hz to %s Hz, want the end above the start",
                          start, end);
    /* Cycles are the integral of frequency over time: (f1^2 - f0^2) / (2 rate). */
    double cycles =
        (sweep->end_hz - sweep->start_hz) * (sweep->end_hz + sweep->start_hz) / (2 * sweep->rate_hz_per_s);
    if (!(cycles <= CYCLES_MAX))
        return quell_fail(err, QUELL_E_USAGE, "sweep from %s Hz to %s Hz has %s cycles, want at most 1000000",
                          start, end, quell_number_print(found, sizeof found, cycles, 6));
    return QUELL_OK;
}

quell_status quell_motion_add_sweep(quell_motion_list *list, const quell_sweep *sweep, quell_error *err)
{
    quell_status status = quell_motion_check_sweep(sweep, err);
    if (status != QUELL_OK)
        return status;
    double start = list->end_s, elapsed = 0, acceleration = sweep->acceleration_mps2,
           frequency = sweep->start_hz;
    status = quell_motion_step(list, start, acceleration, err);
    /* A cycle ends at +a and the next begins at +a: only the two reversals within each are events. */
    while (status == QUELL_OK && frequency <= sweep->end_hz) {
        double period = 1 / frequency;
        status = quell_motion_step(list, start + elapsed + period / 4, -2 * acceleration, err);
        if (status == QUELL_OK)
            status = quell_motion_step(list, start + elapsed + 3 * period / 4, 2 * acceleration, err);
        elapsed += period;
        frequency = sweep->start_hz + sweep->rate_hz_per_s * elapsed;
    }
    if (status == QUELL_OK)
        status = quell_motion_step(list, start + elapsed, -acceleration, err);
    if (status == QUELL_OK)
        list->end_s = start + elapsed;
    return status;
}

quell_event quell_motion_corner_stop(double corner_speed_mps, double acceleration_mps2)
{
    return (quell_event){.velocity_mps = -corner_speed_mps, .acceleration_mps2 = acceleration_mps2};
}
