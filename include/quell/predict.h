/** \file predict.h — ringing that a move leaves, in closed form, and how far a shaper rounds a corner.

    For q'' + 2 z w q' + w^2 q = -c a(t), s = -z w + j wd, events at tau_i (velocity step g, acceleration step a,
    jerk step b) and a shaper A_j, t_j:

        A^ = sum_i exp(-s tau_i) (g_i + a_i/s + b_i/s^2) * sum_j A_j exp(-s t_j)
        q(t) = Re[R exp(s t)],  R = -c A^ / (j wd)        after the last event, if acceleration and jerk are zero */
#ifndef QUELL_PREDICT_H
#define QUELL_PREDICT_H

#include "quell/base.h"
#include "quell/modes.h"
#include "quell/motion.h"
#include "quell/shaping.h"

/** Complex amplitude R (m) of mode's ringing after motion through shaper (NULL: none); time origin as motion's.
    Where acceleration or jerk go on after the last event, this is the part that rings, about the static deflection.
    Infinite if z w times the last event's time exceeds 700; use quell_ringing_amplitude for long motion.
    mode: frequency_hz > 0, damping_ratio in [0, 1), participation are used. */
double complex quell_ringing_phasor(const quell_mode *mode, const quell_motion *motion, const quell_shaper *shaper);

/** Amplitude (m) of the ringing envelope at time_s: |R| exp(-z w time_s). Finite for any length of motion as long
    as time_s is not before the last event through the shaper. */
double quell_ringing_amplitude(const quell_mode *mode, const quell_motion *motion, const quell_shaper *shaper,
                               double time_s);

/** Motion through a shaper (NULL: none), as motion of its own: every event once for each impulse, in order of time. list starts as
    {0} and is the caller's to free, also after a failure; its end is that of the last event.
    QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_motion_shape(quell_motion_list *list, const quell_motion *motion, const quell_shaper *shaper, quell_error *err);

/** Deflection of all modes together at count times start_s + i step_s (step_s > 0), deflection_m[i] = sum of
    Re[R exp(s t)] - c (a / w^2 - 2 z b / w^3): what rings, and what acceleration a and jerk b hold meanwhile.
    envelope_m[i] (NULL: not wanted): the sum of |R exp(s t)|, which the ringing cannot exceed. Modes as for
    quell_ringing_phasor. held_mps2: acceleration held since long before the first event, whose deflection has come to
    rest; 0 for motion that begins at a steady speed. Exact at every time, whatever the step. */
void quell_ringing_series(const quell_mode *mode, size_t modes, const quell_motion *motion, double held_mps2, double start_s,
                          double step_s, size_t count, double *deflection_m, double *envelope_m);

/** A move that ends at a right-angled corner at time 0: the axis across brakes to corner_mps, which it loses in a step at the
    corner, and the wall is drawn along the other axis. */
typedef struct quell_corner_move {
    double from_mps;          /**< speed before braking; 0: it has braked since long before (the choice's reference move), or,
                                   without acceleration, come at corner_mps */
    double corner_mps;        /**< >= 0 */
    double acceleration_mps2; /**< of braking, and along the wall; 0: only the step, if from_mps is 0 or corner_mps */
    double jerk_mps3;         /**< 0: acceleration steps */
    double wall_mps;          /**< speed reached along the wall, >= corner_mps; > 0 */
} quell_corner_move;

/** Events of both axes; across is what makes the ringing, *held_mps2 as for quell_ringing_series. The lists start as {0} and are
    the caller's to free, also after a failure. QUELL_OK; QUELL_E_USAGE naming the value out of range; QUELL_E_MEMORY. */
quell_status quell_corner_move_build(const quell_corner_move *move, quell_motion_list *across, double *held_mps2,
                                     quell_motion_list *along, quell_error *err);

/** Ripple of one mode after a move. */
typedef struct quell_ripple {
    double amplitude_m;         /**< of the envelope when the last event has come, through the shaper if there is one */
    double amplitude_ci95_m[2]; /**< the range over the 95 % region of frequency, damping ratio and participation; NaN if the mode
                                     has no intervals */
    double spacing_m;           /**< speed along the wall by damped frequency */
} quell_ripple;

/** The interval is the range over a ball in ln f, ln z and c, each by its standard error (of its 95 % interval; where that is NaN the
    value is taken as exact), independent of each other, sampled at 1200 points. Its radius is 1.96 without a shaper: for a
    straight-line dependence the usual interval. With one it is 2.45, which holds two errors together: near a shaper's zero
    what is left is the distance in f and z, and 1.96 would hold the truth in 88 to 93 % only.
    mode, motion, shaper (NULL: none) as for quell_ringing_amplitude; wall_mps > 0. */
quell_ripple quell_ripple_predict(const quell_mode *mode, const quell_motion *motion, const quell_shaper *shaper, double wall_mps);

/** A corner between two straight moves. */
typedef struct quell_corner {
    double speed_mps;         /**< kept through the corner, >= 0 */
    double acceleration_mps2; /**< along each leg, > 0 */
    double cruise_mps;        /**< speed reached on the legs; 0: never reached within the shapers' length */
    double angle_rad;         /**< change of direction; pi/2 is a right angle */
} quell_corner;

/** Rounding (m): the largest distance of the shaped path from the programmed one, first leg's axis shaped by
    `first`, second leg's by `second` (for a right angle the two legs are the two axes; otherwise each machine axis
    keeps its shaper and the first leg runs along the first axis). NULL: no shaper. Integrated exactly from the
    motion (events times impulses). Closed form for symmetric equal shapers at 90 degrees, cruise not reached:
    v_c MAD / 2 + a sigma^2 / 4.
    The path is looked at from the corner until the last impulse has passed it: unequal shapers at an angle that is
    not right leave an error that goes on growing with the speed. An acceleration of 0 (steady speed) is allowed. */
double quell_rounding(const quell_corner *corner, const quell_shaper *first, const quell_shaper *second);

/** The acceleration at which the rounding is limit_m, up to max_mps2 (returned if even that keeps the limit).
    corner->acceleration_mps2 is not used. NaN if the corner speed alone exceeds it. */
double quell_acceleration_limit(const quell_corner *corner, const quell_shaper *first, const quell_shaper *second,
                                double limit_m, double max_mps2);

/** Time (s) of a stroke of length_m, from rest to rest at the speed and acceleration given (all > 0), the shaper's
    duration added (NULL: none). */
double quell_stroke_time(double length_m, double speed_mps, double acceleration_mps2, const quell_shaper *shaper);

/* ---------------------------------------------------------------- ripple seen on a part

   All of this is common practice in the trade, no source: ringing of frequency f leaves ripples v / f apart, whatever repeats
   with the machine's travel leaves them as far apart at every speed, and an excess of material leaves a bulge on one side. */

enum { QUELL_PART_MAX = 16, QUELL_PART_PITCHES = 4 };

typedef enum quell_part_cause { QUELL_PART_RINGING, QUELL_PART_PITCH, QUELL_PART_EXTRUSION, QUELL_PART_UNCLEAR } quell_part_cause;

/** "ringing", "machine-pitch", "extrusion", "unclear". */
const char *quell_part_cause_word(quell_part_cause cause);

/** Standard error of a spacing, of itself, besides the calliper's: material shrinks, and the speed is not quite what was asked. */
#define QUELL_PART_RELATIVE_ERROR 0.01

/** What was seen on a part. */
typedef struct quell_part_reading {
    double speed_mps; /**< of travel where it was measured, > 0 */
    double length_m;  /**< over so many ripples, > 0 */
} quell_part_reading;

typedef struct quell_part {
    size_t readings;
    quell_part_reading reading[QUELL_PART_MAX];
    double ripples;         /**< that each length spans, >= 1 */
    double length_error_m;  /**< 95 %, of each length, > 0 */
    size_t heights;
    double height_m[QUELL_PART_MAX]; /**< of successive ripples from the corner on, > 0 */
    bool one_sided;         /**< a bulge on one side of the corners: the user's word */
    double belt_pitch_m, pulley_teeth, steps_per_turn; /**< of the drive; NaN: not known */
} quell_part;

/** A repeat that the drive has in itself. */
typedef struct quell_part_pitch {
    const char *name; /**< "belt tooth", ... */
    double length_m;
    bool agrees;      /**< with the spacing found, within its interval or 2 % */
} quell_part_pitch;

typedef struct quell_part_finding {
    quell_part_cause cause;
    const char *why;            /**< one sentence without full stop */
    double frequency_hz, frequency_ci95_hz[2]; /**< v / spacing over all readings, as if it were ringing: the damped frequency; NaN
                                                    without readings */
    double spacing_m, spacing_ci95_m[2];       /**< mean, as if it were constant; NaN without readings */
    double misfit_ringing, misfit_pitch;       /**< chi-square of each, of readings - 1 degrees of freedom */
    double damping_ratio, damping_ratio_ci95[2]; /**< from the heights; NaN if not known, the interval with less than 3 too */
    const char *damping_why;    /**< why it is NaN */
    size_t pitches;
    quell_part_pitch pitch[QUELL_PART_PITCHES]; /**< those that the drive's data give */
} quell_part_finding;

/** Is it ringing? Two straight lines through the readings, with their errors: spacing in proportion to the speed, or constant.
    One is taken where it explains the readings (chi-square at 1 %) and is 20 times as likely as the other. Extrusion is only
    taken on the user's word and without readings. The damping ratio is from the straight line through the logarithms of the
    heights. QUELL_OK; QUELL_E_USAGE naming the value out of range. */
quell_status quell_part_judge(const quell_part *part, quell_part_finding *out, quell_error *err);

/** How a frequency found on a part goes with a mode: both damped. */
typedef struct quell_part_match {
    size_t mode;      /**< index of the nearest */
    double damped_hz; /**< of that mode */
    double off;       /**< part / mode - 1 */
    bool agrees;      /**< within both intervals together */
} quell_part_match;

/** False without modes or frequency. */
bool quell_part_compare(const quell_part_finding *finding, const quell_modes *modes, quell_part_match *out);

#endif
