/* A change of speed, with steps of acceleration or with limited jerk. */
#include "motion/motion_private.h"

#include <math.h>

/* Acceleration steps: two events. */
static quell_status add_stepped(quell_motion_list *list, double change_mps, double acceleration_mps2, quell_error *err)
{
    double towards = copysign(acceleration_mps2, change_mps);
    quell_status status = quell_motion_add_event(list, 0, towards, 0, err);
    quell_motion_add_rest(list, fabs(change_mps) / acceleration_mps2);
    return status == QUELL_OK ? quell_motion_add_event(list, 0, -towards, 0, err) : status;
}

quell_status quell_motion_add_speed_change(quell_motion_list *list, double change_mps, double acceleration_mps2,
                                           double jerk_mps3, quell_error *err)
{
    quell_status status = quell_motion_require(acceleration_mps2, false, "acceleration of a change of speed", "m/s2", err);
    if (status == QUELL_OK)
        status = quell_motion_require(jerk_mps3, true, "jerk of a change of speed", "m/s3", err);
    if (status == QUELL_OK)
        status = quell_motion_require(fabs(change_mps), true, "change of speed", "m/s", err);
    if (status != QUELL_OK || change_mps == 0)
        return status;
    if (jerk_mps3 == 0)
        return add_stepped(list, change_mps, acceleration_mps2, err);
    /* a ramp of acceleration up, one down, and the full acceleration between, if it is reached: a^2 / jerk is what the ramps make */
    double change = fabs(change_mps), towards = copysign(jerk_mps3, change_mps);
    double ramp_s = fmin(acceleration_mps2 / jerk_mps3, sqrt(change / jerk_mps3));
    double full_s = fmax(0, change / (jerk_mps3 * ramp_s) - ramp_s);
    const double jerk[] = {towards, -towards, -towards, towards}, wait_s[] = {ramp_s, full_s, ramp_s, 0};
    for (size_t i = 0; i < 4 && status == QUELL_OK; i++) {
        status = quell_motion_add_event(list, 0, 0, jerk[i], err);
        quell_motion_add_rest(list, wait_s[i]);
    }
    return status;
}
