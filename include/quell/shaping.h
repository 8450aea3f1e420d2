/** \file shaping.h — input shapers: families, design, residual vibration, moments.

    A shaper is a sequence of impulses A_i at times t_i, t_1 = 0, times increasing, sum of A = 1; the command is
    convolved with it. For a mode of natural angular frequency w and damping ratio z, wd = w sqrt(1 - z^2), the
    residual vibration is the amplitude left at the last impulse relative to one unit impulse at its own time:

        V = exp(-z w t_n) | sum A_i exp(z w t_i) exp(j wd t_i) |

    Sources: N. C. Singer and W. P. Seering, ASME J. Dyn. Syst. Meas. Control 112(1), 1990 (ZV, ZVD, V);
    W. Singhose et al., ASME J. Mech. Design 116(2), 1994 (EI) and J. Dyn. Syst. Meas. Control 119(2), 1997
    (multi-hump EI); formula numbers from memory. */
#ifndef QUELL_SHAPING_H
#define QUELL_SHAPING_H

#include "quell/base.h"

#include <complex.h>

/** The most impulses a shaper may have (three convolved families, or a long list). */
enum { QUELL_SHAPER_MAX = 128 };

/** Ranges of a design point. */
#define QUELL_DAMPING_RATIO_MAX 0.3
#define QUELL_TOLERANCE_MAX 0.2
#define QUELL_TOLERANCE_DEFAULT 0.05

/** Where and how a textbook shaper is designed. */
typedef struct quell_design_point {
    double frequency_hz;  /**< natural frequency, > 0 */
    double damping_ratio; /**< 0 to QUELL_DAMPING_RATIO_MAX */
    double tolerance;     /**< V at the humps, in (0, QUELL_TOLERANCE_MAX]; families without humps ignore it */
} quell_design_point;

typedef struct quell_family quell_family;

/** An impulse sequence. A plain value: copying it copies everything. */
typedef struct quell_shaper {
    const quell_family *family; /**< NULL for a list of impulses or a convolution */
    quell_design_point at;      /**< meaningful if family is not NULL */
    size_t count;               /**< 1 to QUELL_SHAPER_MAX */
    double amplitude[QUELL_SHAPER_MAX];
    double time_s[QUELL_SHAPER_MAX];
} quell_shaper;

enum {
    QUELL_FAMILY_TOLERANCE = 1, /**< has humps of height V */
    QUELL_FAMILY_NEGATIVE = 2   /**< has negative impulses: asks more of the drives, can excite higher modes */
};

/** A row of the family table. Adding a family is a new file in src/shaping and a row: tests loop over the table. */
struct quell_family {
    const char *id;      /**< as on the command line: "zvd" */
    const char *title;   /**< as in tables: "ZVD" */
    const char *summary; /**< one line for help */
    unsigned flags;
    /** Designs the shaper; the point is within range. QUELL_OK, or QUELL_E_NO_SHAPER where it does not exist. */
    quell_status (*design)(quell_shaper *out, const quell_design_point *at, quell_error *err);
};

/** The built-in families, count of them in *count. */
const quell_family *quell_families(size_t *count);

/** The family of that id; NULL if there is none. */
const quell_family *quell_family_find(const char *id);

/** Designs a shaper of a family. Returns QUELL_OK; QUELL_E_USAGE if the point is out of range (frequency not
    finite and > 0, damping ratio not in [0, 0.3], tolerance not in (0, 0.2] where the family uses it);
    QUELL_E_NO_SHAPER where the family has no solution. out is untouched on failure. */
quell_status quell_shaper_design(quell_shaper *out, const quell_family *family, const quell_design_point *at,
                                 quell_error *err);

/** One impulse of 1 at time 0: no shaper. */
void quell_shaper_identity(quell_shaper *out);

/** Reads FAMILY:HZ[:ZETA[:V]], `impulses:A@T,A@T,...` (T in s), or several of these joined by `*`.
    ZETA defaults to 0 and V to QUELL_TOLERANCE_DEFAULT. "none" is the identity.
    Returns QUELL_OK; QUELL_E_USAGE naming the part that is wrong; QUELL_E_NO_SHAPER. out untouched on failure. */
quell_status quell_shaper_parse(quell_shaper *out, const char *spec, quell_error *err);

/** The specification that quell_shaper_parse reads back: "zvd:47.2:0.05". size >= 128; a shaper that came from
    no single family prints as an impulse list, cut with "..." if it does not fit. Returns out. */
const char *quell_shaper_format(const quell_shaper *shaper, char *out, size_t size);

/** out = a * b (convolution; impulses closer than 1e-12 s are merged). out may be a or b.
    Returns QUELL_OK; QUELL_E_USAGE if there would be more than QUELL_SHAPER_MAX impulses. */
quell_status quell_shaper_convolve(quell_shaper *out, const quell_shaper *a, const quell_shaper *b, quell_error *err);

/** Residual vibration V of one mode, >= 0. frequency_hz is the natural frequency; damping_ratio in [0, 1). */
double quell_residual(const quell_shaper *shaper, double frequency_hz, double damping_ratio);

/** Complex amplitude left, in V's sum before the modulus and decay: exp(-z w t_n) sum A_i exp((z w + j wd) t_i). */
double complex quell_residual_phasor(const quell_shaper *shaper, double frequency_hz, double damping_ratio);

/** Steady-state frequency response sum A_i exp(-j 2 pi f t_i) of the shaper as a filter. */
double complex quell_shaper_response(const quell_shaper *shaper, double frequency_hz);

/** Moments of the impulses as a distribution in time. */
typedef struct quell_shaper_moments {
    double mean_s;               /**< sum A t: the delay it adds */
    double spread_s;             /**< standard deviation, sqrt(sum A (t - mean)^2); 0 if that sum is negative */
    double mean_abs_deviation_s; /**< sum A |t - mean| */
    double duration_s;           /**< t_n */
} quell_shaper_moments;
quell_shaper_moments quell_shaper_measure(const quell_shaper *shaper);

/** The contiguous band of natural frequencies round frequency_hz, damping ratio held, where V <= tolerance. */
typedef struct quell_insensitivity {
    double tolerance;
    double low_hz, high_hz; /**< edges, within 1e-10 relative; both frequency_hz if V > tolerance there */
    double width;           /**< (high - low) / frequency_hz */
} quell_insensitivity;

/** A hump that touches the tolerance within 1e-9 counts as inside. tolerance in (0, 1).
    The band is sought up to 10 times the frequency and down to 0. */
quell_insensitivity quell_shaper_insensitivity(const quell_shaper *shaper, double frequency_hz, double damping_ratio,
                                               double tolerance);

#endif
