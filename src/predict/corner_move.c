/* The move that leaves ripple on a wall: one axis brakes and stops at a corner, the other begins there. */
#include "quell/predict.h"

#include <math.h>

#define SPEED_MAX 100.0       /* m/s; beyond these nothing is a machine */
#define ACCELERATION_MAX 1e4  /* m/s2 */
#define JERK_MAX 1e8          /* m/s3 */

static quell_status check(const quell_corner_move *move, quell_error *err)
{
    const struct {
        const char *name, *unit;
        double value, least, most, shown; /* shown: what one unit of the message is */
    } values[] = {{"speed before braking", "mm/s", move->from_mps, 0, SPEED_MAX, 1e-3},
                  {"corner speed", "mm/s", move->corner_mps, 0, SPEED_MAX, 1e-3},
                  {"acceleration", "mm/s2", move->acceleration_mps2, 0, ACCELERATION_MAX, 1e-3},
                  {"jerk", "m/s3", move->jerk_mps3, 0, JERK_MAX, 1},
                  {"speed along the wall", "mm/s", move->wall_mps, move->corner_mps, SPEED_MAX, 1e-3}};
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++)
        if (!(values[i].value >= values[i].least && values[i].value <= values[i].most))
            return quell_fail(err, QUELL_E_USAGE, "%s is %s %s, want %s to %s", values[i].name,
                              quell_number_short(values[i].value / values[i].shown, 6).text, values[i].unit,
                              quell_number_short(values[i].least / values[i].shown, 6).text,
                              quell_number_short(values[i].most / values[i].shown, 6).text);
    if (move->wall_mps == 0)
        return quell_fail(err, QUELL_E_USAGE, "speed along the wall is 0 mm/s, want more");
    if (move->from_mps > 0 && move->from_mps < move->corner_mps)
        return quell_fail(err, QUELL_E_USAGE, "speed before braking is %s mm/s, want the corner's %s mm/s or more",
                          quell_number_short(1e3 * move->from_mps, 6).text, quell_number_short(1e3 * move->corner_mps, 6).text);
    if (move->acceleration_mps2 == 0 && move->from_mps > move->corner_mps)
        return quell_fail(err, QUELL_E_USAGE, "acceleration is 0 for braking from %s to %s mm/s, want more",
                          quell_number_short(1e3 * move->from_mps, 6).text, quell_number_short(1e3 * move->corner_mps, 6).text);
    return QUELL_OK;
}

/* Shifts all events so that the last braking ends at time 0. */
static void end_at_zero(quell_motion_list *list)
{
    for (size_t i = 0; i < list->count; i++)
        list->event[i].time_s -= list->end_s;
    list->end_s = 0;
}

quell_status quell_corner_move_build(const quell_corner_move *move, quell_motion_list *across, double *held_mps2,
                                     quell_motion_list *along, quell_error *err)
{
    quell_status status = check(move, err);
    if (status != QUELL_OK)
        return status;
    *held_mps2 = 0;
    if (move->from_mps > 0 && move->acceleration_mps2 > 0) {
        status = quell_motion_add_speed_change(across, move->corner_mps - move->from_mps, move->acceleration_mps2,
                                               move->jerk_mps3, err);
        end_at_zero(across);
    } else if (move->acceleration_mps2 > 0) {
        *held_mps2 = -move->acceleration_mps2;
    }
    if (status == QUELL_OK && (move->corner_mps > 0 || *held_mps2 != 0))
        status = quell_motion_add_event(across, -move->corner_mps, -*held_mps2, 0, err);
    if (status == QUELL_OK)
        status = quell_motion_add_event(along, move->acceleration_mps2 > 0 ? move->corner_mps : move->wall_mps, 0, 0, err);
    if (status == QUELL_OK && move->acceleration_mps2 > 0)
        status = quell_motion_add_speed_change(along, move->wall_mps - move->corner_mps, move->acceleration_mps2,
                                               move->jerk_mps3, err);
    return status;
}
