/** \file tailor.h — the shortest non-negative shaper that keeps a set of modes within a residual limit, with a proof that
    none is shorter.

    For a duration T and a mode (w, z), wd = w sqrt(1 - z^2), g(t) = exp(z w (t - T) + j wd (t - T/2)). The shaper sought
    makes v = sum w_k s_k least (or the largest s_k) where |sum A_i g(t_i)| <= s_k for every (w, z) of band k, A_i >= 0,
    sum A_i = 1. Its dual is a handful of atoms (w_j, z_j, angle_j, weight u_j >= 0) whose weights sum to at most w_k over
    each band k: every non-negative shaper no longer than T leaves at least

        min over t in [0, T] of f(t) = sum u_j Re(exp(-j angle_j) g(t; w_j, z_j)).

    Sources: the exchange (cutting-plane) method and duality of semi-infinite linear programs, R. Hettich and K. O. Kortanek,
    SIAM Review 35(3), 1993; residual vibration as in shaping.h. The combination is our own. */
#ifndef QUELL_TAILOR_H
#define QUELL_TAILOR_H

#include "quell/shaping.h"

enum { QUELL_TAILOR_BANDS_MAX = 8, QUELL_ATOMS_MAX = 64 };

#define QUELL_BAND_HZ_MIN 0.01
#define QUELL_BAND_HZ_MAX 1e4
#define QUELL_BAND_RATIO_MAX 50.0     /**< of the highest frequency of all bands to the lowest */
#define QUELL_RESIDUAL_LIMIT_MIN 1e-3 /**< of a design */

/** A mode that may lie anywhere in a range of natural frequency and damping ratio. */
typedef struct quell_band {
    double hz[2];            /**< low, high: QUELL_BAND_HZ_MIN to QUELL_BAND_HZ_MAX */
    double damping_ratio[2]; /**< low, high: 0 to QUELL_DAMPING_RATIO_MAX */
    double weight;           /**< its share of R, >= 0; of no meaning where the largest counts */
} quell_band;

/** Bands and how their residuals make up R: the sum of weight times worst residual, or the largest of them. */
typedef struct quell_bands {
    size_t count;
    bool weighted;
    quell_band band[QUELL_TAILOR_BANDS_MAX];
} quell_bands;

/** QUELL_OK if the bands can be designed for: 1 to QUELL_TAILOR_BANDS_MAX, ranges in order and within bounds, weights that sum to 1
    within 1e-6 if they are weighted; else QUELL_E_USAGE naming the band, what was found and what is wanted. */
quell_status quell_bands_check(const quell_bands *bands, quell_error *err);

/** The greatest V over a band: on a grid of 61 or more frequencies, 16 or more to an oscillation of V, and three damping
    ratios, ends included, with a parabola at each maximum. *least (may be NULL): the least on the grid. */
double quell_band_residual(const quell_band *band, const quell_shaper *shaper, double *least);

/** R over all bands. */
double quell_bands_residual(const quell_bands *bands, const quell_shaper *shaper);

/** Part of a proof. */
typedef struct quell_atom {
    size_t band; /**< which it is of, from 0 */
    double frequency_hz, damping_ratio;
    double angle_rad;
    double weight; /**< >= 0 */
} quell_atom;

/** Proof that no non-negative shaper of duration_s or less leaves less than `bound`. */
typedef struct quell_certificate {
    double duration_s;
    double bound;          /**< by quell_certificate_bound */
    double residual_limit; /**< below the bound: so none of that duration meets it */
    size_t count;          /**< 0: there is none */
    quell_atom atom[QUELL_ATOMS_MAX];
} quell_certificate;

/** What limits a tailored design. */
typedef struct quell_tailor_limits {
    double residual_limit; /**< of R, in [QUELL_RESIDUAL_LIMIT_MIN, 1) */
    double tick_s;         /**< times are multiples of this; 0: any */
    size_t impulses;       /**< at most so many; 0: any number */
} quell_tailor_limits;

typedef struct quell_tailored {
    quell_shaper shaper;           /**< family NULL; times on ticks */
    double residual_worst;         /**< its R */
    bool proved;                   /**< none shorter than (1 - 0.001) of it meets the limit, on any time grid */
    quell_certificate certificate; /**< of that */
    size_t programs, exchanges;    /**< durations tried, and linear programs solved */
} quell_tailored;

/** Designs it. QUELL_OK; QUELL_E_USAGE as quell_bands_check, or if a limit is out of range; QUELL_E_NO_SHAPER if none of that
    many impulses or on such ticks meets the limit; QUELL_E_MEMORY. out untouched on failure. Time: some 10 to 100 ms. */
quell_status quell_tailor(quell_tailored *out, const quell_bands *bands, const quell_tailor_limits *limits, quell_error *err);

/** Checks a proof without any of the designer's code: f is evaluated on a grid of step h, and min f - h^2/8 sum u_j w_j^2
    is the bound that is certain. *bound gets it. QUELL_OK if bound > residual_limit; QUELL_E_DATA naming what is wrong:
    a weight that is negative or not a number, weights of a band that exceed its share, an atom outside its band, a
    bound that does not exceed the limit. */
quell_status quell_certificate_verify(const quell_certificate *certificate, const quell_bands *bands, double *bound,
                                      quell_error *err);

/* ---------------------------------------------------------------- textbook shapers under the same guarantee */

/** What limits a search among textbook shapers. */
typedef struct quell_textbook_limits {
    double residual_limit;               /**< of R, in [QUELL_RESIDUAL_LIMIT_MIN, 1) */
    size_t parts;                        /**< 1: families alone; 2 or 3: also products of so many */
    bool by_spread;                      /**< least spread; else least duration */
    double tolerance;                    /**< V of families with humps; 0: free */
    size_t families;                     /**< of `family`; 0: all without negative impulses */
    const quell_family *const *family;
} quell_textbook_limits;

typedef struct quell_textbook {
    quell_shaper shaper; /**< the product of its parts */
    size_t parts;
    quell_shaper part[3];
    double residual_worst;
} quell_textbook;

/** The textbook shaper of least duration (or spread) whose R keeps the limit, its design frequencies, damping ratios and
    tolerances free. QUELL_OK; QUELL_E_USAGE as quell_bands_check; QUELL_E_NO_SHAPER if none does; QUELL_E_MEMORY. */
quell_status quell_textbook_best(quell_textbook *out, const quell_bands *bands, const quell_textbook_limits *limits,
                                 quell_error *err);

#endif
