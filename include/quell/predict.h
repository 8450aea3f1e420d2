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

#endif
