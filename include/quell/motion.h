/** \file motion.h — commanded motion of one axis as events, and the sweep of strokes that shakes a machine.

    A move is a list of events: at its time, velocity, acceleration and jerk each change by a step. Between events
    jerk is constant, so position is a cubic and every integral is exact. */
#ifndef QUELL_MOTION_H
#define QUELL_MOTION_H

#include "quell/base.h"

/** Steps at time_s; an event with all three zero is allowed and does nothing. */
typedef struct quell_event {
    double time_s;
    double velocity_mps;
    double acceleration_mps2;
    double jerk_mps3;
} quell_event;

/** Events in order of time (equal times allowed). The axis is at rest at position 0 before the first. */
typedef struct quell_motion {
    size_t count;
    const quell_event *event;
} quell_motion;

/** Where the axis is and how it moves; at an event's own time, after the event. */
typedef struct quell_motion_state {
    double position_m, velocity_mps, acceleration_mps2, jerk_mps3;
} quell_motion_state;

/** The state at time_s, at rest at 0 before the first event. Walks the events from the start: for one-off use; see quell_motion_cursor for series. */
quell_motion_state quell_motion_at(const quell_motion *motion, double time_s);

/** A walk along a motion in order of time. Start with {.motion = &m}. */
typedef struct quell_motion_cursor {
    const quell_motion *motion;
    size_t next;   /**< first event not yet passed */
    double time_s; /**< of the state held */
    quell_motion_state state;
} quell_motion_cursor;

/** Advances to time_s (not earlier than the cursor's time) and returns the state there. */
quell_motion_state quell_motion_advance(quell_motion_cursor *cursor, double time_s);

/** What shakes a machine. */
typedef enum quell_excitation {
    QUELL_EXCITE_SWEEP,  /**< linear sweep of strokes */
    QUELL_EXCITE_RANDOM, /**< random motion of one axis */
    QUELL_EXCITE_STOPS,  /**< strokes at speed with dwells */
    QUELL_EXCITE_AMBIENT /**< no motion commanded: what is there anyway */
} quell_excitation;

/** A linear sweep of back-and-forth strokes at constant acceleration: each cycle of period p = 1/f accelerates at
    +a for p/4, -a for p/2, +a for p/4, with f = start + rate (t - t0) taken at the cycle's start. */
typedef struct quell_sweep {
    double start_hz, end_hz;  /**< 0 < start < end */
    double rate_hz_per_s;     /**< > 0 */
    double acceleration_mps2; /**< a > 0 */
} quell_sweep;

/** What is commanded before a test: rest, slow strokes towards + with slow returns, rest. */
typedef struct quell_preamble {
    double rest_s;            /**< before and after the strokes */
    size_t strokes;           /**< 0: only the two rests */
    double length_m;          /**< of one stroke */
    double speed_mps;         /**< cruising speed of strokes and returns */
    double acceleration_mps2; /**< of strokes and returns */
    double dwell_s;           /**< rest after each stroke and each return */
} quell_preamble;

/** Builders append events to this list. Start with {0}; free with quell_motion_list_free, also after a failure, which
    may leave part of a piece in it. */
typedef struct quell_motion_list {
    quell_event *event;
    size_t count, capacity;
    double end_s; /**< time at which the last appended piece ends */
} quell_motion_list;

/** Frees the events and empties the list. */
void quell_motion_list_free(quell_motion_list *list);

/** The list as a motion; valid until the list changes. */
quell_motion quell_motion_view(const quell_motion_list *list);

/** Nothing for seconds (>= 0, finite: not checked). */
void quell_motion_add_rest(quell_motion_list *list, double seconds);

/** One event at the list's end: for motion that no other builder makes. Ends no later than it began.
    Returns QUELL_OK; QUELL_E_MEMORY (more than 2e8 events). The same limit holds for every builder. */
quell_status quell_motion_add_event(quell_motion_list *list, double velocity_mps, double acceleration_mps2,
                                    double jerk_mps3, quell_error *err);

/** A stroke of signed length with trapezoidal speed (triangular if the speed is not reached), from rest to rest.
    A length of 0 adds nothing.
    Returns QUELL_OK; QUELL_E_USAGE if speed or acceleration is not > 0 or the length not finite; QUELL_E_MEMORY. */
quell_status quell_motion_add_stroke(quell_motion_list *list, double length_m, double speed_mps,
                                     double acceleration_mps2, quell_error *err);

/** A change of speed by change_mps, at that acceleration (> 0); jerk_mps3: the acceleration rises and falls at this rate, and where
    the change is too small for it, does not reach its full value; 0: it steps. No change adds nothing.
    Returns as quell_motion_add_stroke; QUELL_E_USAGE also if jerk is negative or not finite. */
quell_status quell_motion_add_speed_change(quell_motion_list *list, double change_mps, double acceleration_mps2,
                                           double jerk_mps3, quell_error *err);

/** Rest; strokes towards + at slow speed, each with its return; rest. Ends where it began.
    Returns as quell_motion_add_stroke; QUELL_E_USAGE also if a time is negative or not finite. */
quell_status quell_motion_add_preamble(quell_motion_list *list, const quell_preamble *preamble,
                                       quell_error *err);

/** Is it a sweep that can be made: all values finite and > 0, the end above the start, at most 1e6 cycles?
    Returns QUELL_OK; QUELL_E_USAGE saying what was found and wanted. */
quell_status quell_motion_check_sweep(const quell_sweep *sweep, quell_error *err);

/** The whole sweep, cycle by cycle until the frequency passes end_hz. At most 1e6 cycles. Every cycle begins and
    ends at rest at the same place; its stroke is a / (16 f^2), its greatest speed a / (4 f).
    Returns QUELL_OK; QUELL_E_USAGE if a value is out of range; QUELL_E_MEMORY. */
quell_status quell_motion_add_sweep(quell_motion_list *list, const quell_sweep *sweep, quell_error *err);

/** The reference move of the choice: the axis brakes at `acceleration` and stops at the corner from corner_speed:
    one event at time 0 with a velocity step of -corner_speed and an acceleration step of +acceleration. */
quell_event quell_motion_corner_stop(double corner_speed_mps, double acceleration_mps2);

#endif
