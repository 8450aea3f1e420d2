/* Where an axis is at a time: the events walked in order, each stretch between them integrated exactly. */
#include "quell/motion.h"

/* Jerk is constant between events, so the Taylor series ends after the cubic term. */
static void coast(quell_motion_state *state, double seconds)
{
    double velocity = state->velocity_mps, acceleration = state->acceleration_mps2, jerk = state->jerk_mps3;
    state->position_m += seconds * (velocity + seconds * (acceleration / 2 + seconds * jerk / 6));
    state->velocity_mps += seconds * (acceleration + seconds * jerk / 2);
    state->acceleration_mps2 += seconds * jerk;
}

quell_motion_state quell_motion_advance(quell_motion_cursor *cursor, double time_s)
{
    const quell_motion *motion = cursor->motion;
    while (cursor->next < motion->count && motion->event[cursor->next].time_s <= time_s) {
        const quell_event *event = &motion->event[cursor->next];
        if (cursor->next > 0) /* before the first event the axis rests, whatever the cursor's time */
            coast(&cursor->state, event->time_s - cursor->time_s);
        cursor->state.velocity_mps += event->velocity_mps;
        cursor->state.acceleration_mps2 += event->acceleration_mps2;
        cursor->state.jerk_mps3 += event->jerk_mps3;
        cursor->time_s = event->time_s;
        cursor->next++;
    }
    if (cursor->next > 0)
        coast(&cursor->state, time_s - cursor->time_s);
    cursor->time_s = time_s;
    return cursor->state;
}

quell_motion_state quell_motion_at(const quell_motion *motion, double time_s)
{
    quell_motion_cursor cursor = {.motion = motion};
    return quell_motion_advance(&cursor, time_s);
}
