/* Building motion: rests, strokes and the preamble that fixes gravity, direction and sign. */
#include "motion/motion_private.h"

#include <math.h>

enum { EVENTS_MAX = 200000000 };

void quell_motion_list_free(quell_motion_list *list)
{
    quell_memory_free(list->event);
    *list = (quell_motion_list){0};
}

quell_motion quell_motion_view(const quell_motion_list *list)
{
    return (quell_motion){list->count, list->event};
}

static quell_status append(quell_motion_list *list, quell_event event, quell_error *err)
{
    void *items = list->event;
    quell_status status =
        quell_memory_grow(&items, &list->capacity, list->count + 1, sizeof event, EVENTS_MAX, err);
    if (status != QUELL_OK)
        return status;
    list->event = items;
    list->event[list->count++] = event;
    return QUELL_OK;
}

quell_status quell_motion_require(double value, bool zero_allowed, const char *name, const char *unit,
                                  quell_error *err)
{
    if (isfinite(value) && (value > 0 || (zero_allowed && value == 0)))
        return QUELL_OK;
    char shown[32];
    return quell_fail(err, QUELL_E_USAGE, "%s is %s %s, want %s", name,
                      quell_number_print(shown, sizeof shown, value, 6), unit, zero_allowed ? ">= 0" : "> 0");
}

quell_status quell_motion_step(quell_motion_list *list, double time_s, double acceleration_mps2,
                               quell_error *err)
{
    return append(list, (quell_event){.time_s = time_s, .acceleration_mps2 = acceleration_mps2}, err);
}

void quell_motion_add_rest(quell_motion_list *list, double seconds)
{
    list->end_s += seconds;
}

quell_status quell_motion_add_event(quell_motion_list *list, double velocity_mps, double acceleration_mps2,
                                    double jerk_mps3, quell_error *err)
{
    return append(list, (quell_event){list->end_s, velocity_mps, acceleration_mps2, jerk_mps3}, err);
}

quell_status quell_motion_add_stroke(quell_motion_list *list, double length_m, double speed_mps,
                                     double acceleration_mps2, quell_error *err)
{
    quell_status status = quell_motion_require(speed_mps, false, "speed of a stroke", "m/s", err);
    if (status == QUELL_OK)
        status = quell_motion_require(acceleration_mps2, false, "acceleration of a stroke", "m/s2", err);
    if (status == QUELL_OK)
        status = quell_motion_require(fabs(length_m), true, "length of a stroke", "m", err);
    if (status != QUELL_OK || length_m == 0)
        return status;
    double distance = fabs(length_m), towards = length_m > 0 ? acceleration_mps2 : -acceleration_mps2;
    /* The speed is reached after v^2 / (2 a); a shorter stroke brakes half way. */
    bool cruises = distance * acceleration_mps2 > speed_mps * speed_mps;
    double ramp_s = cruises ? speed_mps / acceleration_mps2 : sqrt(distance / acceleration_mps2);
    double cruise_s = cruises ? distance / speed_mps - ramp_s : 0;
    double start = list->end_s, brake = start + ramp_s + cruise_s, end = brake + ramp_s;
    status = quell_motion_step(list, start, towards, err);
    if (status == QUELL_OK && cruises)
        status = quell_motion_step(list, start + ramp_s, -towards, err);
    if (status == QUELL_OK)
        status = quell_motion_step(list, brake, cruises ? -towards : -2 * towards, err);
    if (status == QUELL_OK)
        status = quell_motion_step(list, end, towards, err);
    if (status == QUELL_OK)
        list->end_s = end;
    return status;
}

quell_status quell_motion_add_preamble(quell_motion_list *list, const quell_preamble *preamble,
                                       quell_error *err)
{
    quell_status status = quell_motion_require(preamble->rest_s, true, "rest of the preamble", "s", err);
    if (status == QUELL_OK)
        status = quell_motion_require(preamble->dwell_s, true, "dwell of the preamble", "s", err);
    if (status != QUELL_OK)
        return status;
    quell_motion_add_rest(list, preamble->rest_s);
    for (size_t half = 0; half < 2 * preamble->strokes && status == QUELL_OK; half++) {
        double length = half % 2 == 0 ? preamble->length_m : -preamble->length_m;
        status = quell_motion_add_stroke(list, length, preamble->speed_mps, preamble->acceleration_mps2, err);
        quell_motion_add_rest(list, preamble->dwell_s);
    }
    quell_motion_add_rest(list, preamble->rest_s);
    return status;
}
