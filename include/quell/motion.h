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

/** Its word: "sweep", "random", "stops", "ambient". */
const char *quell_excitation_word(quell_excitation kind);

/** The kind of a word; false if there is none of that name, *out then untouched. */
bool quell_excitation_find(quell_excitation *out, const char *word);

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

/** Is it a range that random strokes can be drawn from: 0 < low < high, finite? QUELL_OK; QUELL_E_USAGE. */
quell_status quell_motion_check_random(const double range_hz[2], quell_error *err);

/** The frequency of a random stroke, drawn so that the density of the acceleration is nearly even over the range: P(f < x) goes by
    x to the power 1.5. By simulation: within 2 dB from 1.5 times the low end to 0.7 of the high end. */
double quell_motion_draw_hz(const double range_hz[2], quell_random *random);

/** Random strokes there and back, without rounding and whatever the travel, until seconds are used up. At most 1e7 strokes.
    QUELL_OK; QUELL_E_USAGE if a value is out of range; QUELL_E_MEMORY. */
quell_status quell_motion_add_random(quell_motion_list *list, const double range_hz[2], double acceleration_mps2, double seconds,
                                     uint64_t seed, quell_error *err);

/** The reference move of the choice: the axis brakes at `acceleration` and stops at the corner from corner_speed:
    one event at time 0 with a velocity step of -corner_speed and an acceleration step of +acceleration. */
quell_event quell_motion_corner_stop(double corner_speed_mps, double acceleration_mps2);

/* ---------------------------------------------------------------- test motion */

/** Along what a test moves: one axis, or a diagonal, which on a machine with coupled belts turns one motor alone. */
typedef struct quell_path {
    const char *id;  /**< "x", "y", "x+y" or "x-y" */
    int sign[2];     /**< of X and Y as it goes towards +; 0: this coordinate stays */
    double along[3]; /**< unit vector in machine axes */
} quell_path;

/** The row of that id; NULL if there is none. */
const quell_path *quell_path_find(const char *id);

/** A test as it is asked for. All lengths and limits are the user's to state; nothing has a default here. */
typedef struct quell_test_motion {
    quell_excitation kind;            /**< sweep, random or stops */
    const quell_path *path;
    double travel_m[2][2];            /**< X and Y, lowest and highest position allowed; of a coordinate that moves */
    double speed_mps;                 /**< not exceeded; along the path */
    double acceleration_mps2;         /**< what the controller is set to; along the path */
    double step_m;                    /**< one motor step of travel, both motors turning where belts are coupled */
    double range_hz[2], rate_hz_per_s; /**< of the sweep; random strokes are drawn from the range */
    double lowest_hz, lowest_damping_ratio; /**< stops: of the mode that rings longest, which the dwells wait for */
    double seconds;                   /**< stops and random: at least so long */
    uint64_t seed;                    /**< of random strokes */
    bool dwell_in_seconds;            /**< G4 P counts seconds; else milliseconds */
} quell_test_motion;

/** Coordinates are written in units of 0.1 um, four decimals of a millimetre. */
#define QUELL_WRITTEN_M 1e-7

enum { QUELL_MOVES_MAX = 20000, QUELL_MOVES_MAX_S = 1200, QUELL_STROKE_STEPS_MIN = 10 };

/** One straight move from rest to rest, and the rest after it. */
typedef struct quell_move {
    double to_m;      /**< along the path from the program's start */
    double speed_mps; /**< as written: not exceeded */
    double rest_s;    /**< after it; 0: the next one follows at once */
} quell_move;

/** What moves lead to on a planner of constant acceleration, as events: strokes from rest to rest, but moves that go on the
    same way without a rest between them keep the lower of their speeds, as far as the way to brake before the next stop
    lets them. Appends to the list. At position 0 before the first.
    QUELL_OK; QUELL_E_USAGE if a number is not finite, a speed or the acceleration not > 0, a rest negative; QUELL_E_MEMORY. */
quell_status quell_motion_add_moves(quell_motion_list *list, const quell_move *move, size_t count, double acceleration_mps2,
                                    quell_error *err);

/** A program of test motion: a preamble of rest, two slow strokes towards + with returns and rest; the excitation; rest.
    Its coordinates are whole motor steps, rounded to what is written, and its moves are what these coordinates give. */
typedef struct quell_program {
    quell_test_motion asked;
    int32_t start[2];          /**< X and Y where it begins and ends, in units of QUELL_WRITTEN_M */
    size_t count;
    quell_move *move;          /**< in the arena */
    int32_t (*at)[2];          /**< X and Y of each, as written */
    size_t first, last;        /**< moves of the excitation, both inclusive */
    double before_s;           /**< rest before the first move */
    double start_s, end_s;     /**< of the excitation, from the start of that rest on; stops end with the last dwell */
    double duration_s;         /**< of everything */
    double range_hz[2], rate_hz_per_s; /**< of the sweep as it came out: f = sqrt(a / (16 d)) of its first and last stroke */
    double peak_speed_mps, extent_m;   /**< of the excitation */
    double dwell_s;            /**< after each stop */
} quell_program;

/** The frequencies that a sweep or random strokes can have: from a / (4 speed), and what fits the travel, to where a stroke has
    QUELL_STROKE_STEPS_MIN motor steps; within 5 to 150 Hz. Empty (high < low) where there are none. */
void quell_program_range(const quell_test_motion *asked, double range_hz[2]);

/** What would let strokes reach hz: an acceleration at the motor step that is stated, or a motor step (m) at the acceleration that
    is stated. NaN both where asked is out of range. */
void quell_program_reach(const quell_test_motion *asked, double hz, double *acceleration_mps2, double *step_m);

/** Plans a test. QUELL_OK; QUELL_E_USAGE naming what is out of range, or what would have to change: strokes of fewer motor
    steps than QUELL_STROKE_STEPS_MIN, a speed or travel exceeded, more than QUELL_MOVES_MAX moves or QUELL_MOVES_MAX_S seconds;
    QUELL_E_MEMORY. out untouched on failure; what it points to lives in arena. */
quell_status quell_program_make(quell_program *out, const quell_test_motion *asked, quell_arena *arena, quell_error *err);

/** Lines of the program, ISO 6983 words: those before the first move (units, absolute positions, to the start, the first rest),
    and those of the i-th move and its rest; each line ends in \n. size >= QUELL_PROGRAM_WORDS. Returns out. */
enum { QUELL_PROGRAM_WORDS = 256 };
const char *quell_program_head(const quell_program *program, char *out, size_t size);
const char *quell_program_words(const quell_program *program, size_t i, char *out, size_t size);

#endif
