/* Parts of pooling: which modes of several recordings are the same one, and the average of what was estimated. */
#ifndef QUELL_POOL_PRIVATE_H
#define QUELL_POOL_PRIVATE_H

#include "quell/modes.h"

/* Half the width of a 95 % interval in standard errors. */
#define POOL_Z95 1.959963984540054

/* ---------------------------------------------------------------- matching */

/* One mode in every recording that has it: its index there, -1 where it is lacking. */
typedef struct pool_track {
    double log_f, damping_ratio; /* means over the recordings so far */
    size_t members;
    int mode[QUELL_RECORDINGS_MAX];
} pool_track;

typedef struct pool_tracks {
    size_t count, dropped; /* dropped: modes without room */
    pool_track track[QUELL_MODES_MAX];
} pool_tracks;

/* Matches the modes of all recordings, begun with the one that has most (its index in *most). */
void pool_match(const quell_modes *each, size_t recordings, pool_tracks *out, size_t *most);

/* ---------------------------------------------------------------- averages */

/* A value with its standard error. */
typedef struct pool_estimate {
    double value, se;
} pool_estimate;

/* Random-effects average. */
typedef struct pool_average {
    double mean, se;
    double between_variance; /* tau^2: how far the true values scatter; 0 if the errors explain the scatter */
} pool_average;

/* R. DerSimonian, N. Laird, Controlled Clinical Trials 7, 1986 (from memory). count >= 1, every se > 0. */
pool_average pool_random_effects(const pool_estimate *each, size_t count);

/* What one recording says of a quantity: f or zeta as a logarithm, or c. */
typedef struct pool_sample {
    double value, low, high; /* 95 % interval; NaN: not known */
    size_t condition;        /* equal numbers: repeats of one condition */
} pool_sample;

typedef struct pool_result {
    double mean, mean_se; /* over the conditions; mean_se NaN if an error is not known */
    double low, high;     /* hold every condition, with its error */
    double lowest,
        highest;      /* of the values without errors: what low and high hold of a range over recordings */
    double within_se; /* root mean square of the recordings' own; NaN if one is not known */
} pool_result;

/* Repeats of a condition are taken to be of one value as far as their errors explain their scatter, which makes
   the interval shorter. count from 1 to QUELL_RECORDINGS_MAX. */
void pool_quantity(const pool_sample *sample, size_t count, pool_result *out);

#endif
