/* Moves as a planner of constant acceleration runs them. Where one move goes on as another went, it need not stop: the speed
   between them is the lower of both, as far as it can be reached from the stop before and left for the stop after. */
#include "motion/motion_private.h"

#include <math.h>

static quell_status check(const quell_move *move, double from_m, quell_error *err)
{
    quell_status status = quell_motion_require(fabs(move->to_m), true, "position of a move", "m", err);
    if (status == QUELL_OK)
        status = quell_motion_require(fabs(move->to_m - from_m), true, "length of a move", "m", err);
    if (status == QUELL_OK)
        status = quell_motion_require(move->speed_mps, false, "speed of a move", "m/s", err);
    if (status == QUELL_OK)
        status = quell_motion_require(move->rest_s, true, "rest after a move", "s", err);
    return status;
}

static double length_of(const quell_move *move, size_t i)
{
    return move[i].to_m - (i > 0 ? move[i - 1].to_m : 0);
}

/* Speeds at the end of each move, look-ahead from both sides. */
static void join(const quell_move *move, size_t count, double acceleration, double *leave)
{
    for (size_t i = 0; i < count; i++) {
        bool goes_on = i + 1 < count && move[i].rest_s == 0 && length_of(move, i) * length_of(move, i + 1) > 0;
        leave[i] = goes_on ? fmin(move[i].speed_mps, move[i + 1].speed_mps) : 0;
        double enter = i > 0 ? leave[i - 1] : 0;
        leave[i] = fmin(leave[i], sqrt(enter * enter + 2 * acceleration * fabs(length_of(move, i))));
    }
    for (size_t i = count; i-- > 1;)
        leave[i - 1] =
            fmin(leave[i - 1], sqrt(leave[i] * leave[i] + 2 * acceleration * fabs(length_of(move, i))));
}

static quell_status run(quell_motion_list *list, double length_m, double enter, double leave, double speed,
                        double acceleration, quell_error *err)
{
    double distance = fabs(length_m), towards = length_m > 0 ? acceleration : -acceleration;
    if (distance == 0)
        return QUELL_OK;
    double peak = sqrt(acceleration * distance + (enter * enter + leave * leave) / 2);
    double top = fmax(fmin(peak, speed), fmax(enter, leave));
    double rise_s = (top - enter) / acceleration, fall_s = (top - leave) / acceleration;
    double ramps_m = rise_s * (top + enter) / 2 + fall_s * (top + leave) / 2;
    double cruise_s = peak > speed ? fmax(distance - ramps_m, 0) / top : 0;
    double start = list->end_s, brake = start + rise_s + cruise_s, end = brake + fall_s;
    quell_status status = quell_motion_step(list, start, towards, err);
    if (status == QUELL_OK && cruise_s > 0)
        status = quell_motion_step(list, start + rise_s, -towards, err);
    if (status == QUELL_OK)
        status = quell_motion_step(list, brake, cruise_s > 0 ? -towards : -2 * towards, err);
    if (status == QUELL_OK)
        status = quell_motion_step(list, end, towards, err);
    if (status == QUELL_OK)
        list->end_s = end;
    return status;
}

quell_status quell_motion_add_moves(quell_motion_list *list, const quell_move *move, size_t count, double acceleration_mps2,
                                    quell_error *err)
{
    quell_status status = quell_motion_require(acceleration_mps2, false, "acceleration of the moves", "m/s2", err);
    for (size_t i = 0; i < count && status == QUELL_OK; i++)
        status = check(&move[i], i > 0 ? move[i - 1].to_m : 0, err);
    if (status != QUELL_OK || count == 0)
        return status;
    double *leave = quell_memory_get(count * sizeof *leave);
    if (leave == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu moves", count);
    join(move, count, acceleration_mps2, leave);
    for (size_t i = 0; i < count && status == QUELL_OK; i++) {
        status = run(list, length_of(move, i), i > 0 ? leave[i - 1] : 0, leave[i], move[i].speed_mps, acceleration_mps2, err);
        quell_motion_add_rest(list, move[i].rest_s);
    }
    quell_memory_free(leave);
    return status;
}
