/* What one axis needs of a shaper, in numbers: weights, uncertainty, and the residual R of a shaper under them. */
#ifndef QUELL_CHOOSE_NEEDS_PRIVATE_H
#define QUELL_CHOOSE_NEEDS_PRIVATE_H

#include "quell/choose.h"

enum { NEEDS_DAMPINGS = 3 };

/* One mode: U = hz x zeta, and the ringing it is left with after the reference move without a shaper. */
typedef struct needs_mode {
    double weight; /* sum over modes 1; 1 each if the worst mode counts */
    double frequency_hz, damping_ratio;
    double drift; /* d: the need's, or the half range over recordings where that is more */
    double hz[2]; /* with drift and load */
    double zeta[NEEDS_DAMPINGS];
    double interval_hz[2];             /* without them */
    double ripple_m, ripple_ci95_m[2]; /* NaN if participation or the move is not known */
} needs_mode;

typedef struct axis_needs {
    size_t modes;
    needs_mode mode[QUELL_MODES_MAX];
    size_t order[QUELL_MODES_MAX];              /* by weight, the heaviest first: it decides soonest */
    size_t strongest;                           /* the mode of the largest weight or ringing */
    bool worst_mode;                            /* R = max over the modes, not the weighted sum */
    bool worst_mode_by_choice;                  /* asked for, not for want of participations */
    double corner_speed_mps, acceleration_mps2; /* of the reference move; NaN if not known */
    double low_hz, high_hz;                     /* lowest and highest frequency of all U */
    double residual_limit;
} axis_needs;

/* machine: never NULL. */
void needs_prepare(axis_needs *out, const quell_need *need, const quell_machine *machine);

/* R at the estimates; R over U. The latter stops as soon as it is known to exceed give_up_above, and returns a value
   above that; pass HUGE_VAL for the exact one. */
double needs_residual_at_estimate(const axis_needs *needs, const quell_shaper *shaper);
double needs_residual_worst(const axis_needs *needs, const quell_shaper *shaper, double give_up_above);

/* Least and greatest V of one mode over hz x its dampings. */
void needs_residual_range(const needs_mode *mode, const double hz[2], const quell_shaper *shaper,
                          double range[2]);

/* R at the estimates with every natural frequency multiplied by scale. */
double needs_residual_scaled(const axis_needs *needs, const quell_shaper *shaper, double scale);

#endif
