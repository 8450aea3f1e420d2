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

/** Ranges of a design point. The frequencies are wide of any machine and keep all times finite. */
#define QUELL_DESIGN_HZ_MIN 0.001
#define QUELL_DESIGN_HZ_MAX 1e6
#define QUELL_DAMPING_RATIO_MAX 0.3
#define QUELL_TOLERANCE_MAX 0.2
#define QUELL_TOLERANCE_DEFAULT 0.05

/** Where and how a textbook shaper is designed. */
typedef struct quell_design_point {
    double frequency_hz;  /**< natural frequency, QUELL_DESIGN_HZ_MIN to QUELL_DESIGN_HZ_MAX */
    double damping_ratio; /**< 0 to QUELL_DAMPING_RATIO_MAX */
    /** V at the humps, in (0, QUELL_TOLERANCE_MAX]; less than 1e-12 is taken as that. For families without humps it
        changes nothing but the height at which insensitivity is stated. */
    double tolerance;
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
    /** Fills count, amplitude and time_s for a natural frequency of 1 Hz; the point is within range and its
        frequency is for messages only. QUELL_OK, or QUELL_E_NO_SHAPER where there is none. */
    quell_status (*design)(quell_shaper *out, const quell_design_point *at, quell_error *err);
};

/** The built-in families, count of them in *count. */
const quell_family *quell_families(size_t *count);

/** The family of that id; NULL if there is none. */
const quell_family *quell_family_find(const char *id);

/** Designs a shaper of a family from the constraints that define it: exact to rounding (residuals within 1e-11), not
    from fitted tables. Returns QUELL_OK; QUELL_E_USAGE if the point is out of range (frequency, damping ratio in
    [0, 0.3], tolerance in (0, 0.2]); QUELL_E_NO_SHAPER naming the largest damping ratio at which the family has a
    solution for that tolerance. out is untouched on failure.
    Time: below 1 us for the ZV family and undamped points; 0.02 to 0.4 ms where humps are solved for; a few ms next to
    the end of a family and where it refuses. Many designs that differ in frequency alone are one design and
    quell_shaper_scale. */
quell_status quell_shaper_design(quell_shaper *out, const quell_family *family, const quell_design_point *at,
                                 quell_error *err);

/** The same shaper at another design frequency (same damping ratio and tolerance): times scale by the ratio.
    in->family must not be NULL; frequency_hz within the design range. out may be in. */
void quell_shaper_scale(quell_shaper *out, const quell_shaper *in, double frequency_hz);

/** One impulse of 1 at time 0: no shaper. */
void quell_shaper_identity(quell_shaper *out);

/** Reads FAMILY:HZ[:ZETA[:V]], `impulses:A@T,A@T,...` (T in s), or several of these joined by `*`.
    ZETA defaults to 0 and V to QUELL_TOLERANCE_DEFAULT. "none" is the identity. Units may be written ("47.2Hz",
    "5%", "8.5ms"); blanks are allowed round parts and numbers. Of impulses: the first time is 0, times increase and
    are at most QUELL_IMPULSE_TIME_MAX_S, amplitudes (negative ones too) are at most QUELL_IMPULSE_MAX in magnitude
    and sum to 1 within 1e-6; what is left of the 1e-6 is divided out.
    Returns QUELL_OK; QUELL_E_USAGE naming the part that is wrong, what was found and what is wanted;
    QUELL_E_NO_SHAPER. out untouched on failure. */
#define QUELL_IMPULSE_MAX 100.0
#define QUELL_IMPULSE_TIME_MAX_S 10000.0
quell_status quell_shaper_parse(quell_shaper *out, const char *spec, quell_error *err);

/** The specification that quell_shaper_parse reads back: "zvd:47.2:0.05", "ei:60:0.05:0.05", "none"; numbers have as
    many digits as they need to be read back as they are. size >= 128; a shaper that came from no single family
    prints as an impulse list, cut between two impulses with "..." if it does not fit. Returns out. */
const char *quell_shaper_format(const quell_shaper *shaper, char *out, size_t size);

/** out = a * b (convolution; impulses closer than 1e-12 s are merged). out may be a or b. With the identity, out is
    the other one, family and all.
    Returns QUELL_OK; QUELL_E_USAGE if there would be more than QUELL_SHAPER_MAX impulses. */
quell_status quell_shaper_convolve(quell_shaper *out, const quell_shaper *a, const quell_shaper *b, quell_error *err);

/** Residual vibration V of one mode, >= 0. frequency_hz is the natural frequency, 0 to 1e9; damping_ratio in [0, 1).
    Made for inner loops: no checks, some 15 ns an impulse. */
double quell_residual(const quell_shaper *shaper, double frequency_hz, double damping_ratio);

/** Complex amplitude left, in V's sum before the modulus and decay: exp(-z w t_n) sum A_i exp((z w + j wd) t_i). */
double complex quell_residual_phasor(const quell_shaper *shaper, double frequency_hz, double damping_ratio);

/** Steady-state frequency response sum A_i exp(-j 2 pi f t_i) of the shaper as a filter. */
double complex quell_shaper_response(const quell_shaper *shaper, double frequency_hz);

/** K = exp(-pi z / sqrt(1 - z^2)), z in [0, 1): what is left of a free decay after half a damped period (textbook
    relation). The textbook shapers' amplitudes are written in it, and so are those of a machine file's own families. */
double quell_half_period_decay(double damping_ratio);

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

/** A hump that touches the tolerance within 1e-9 counts as inside. tolerance in (0, 1), frequency_hz within the design
    range. The band is sought up to 10 times the frequency and down to 0; what rises above the tolerance for less
    than 2e-5 of the frequency may be missed. */
quell_insensitivity quell_shaper_insensitivity(const quell_shaper *shaper, double frequency_hz, double damping_ratio,
                                               double tolerance);

/** The tolerance at which a family's shaper states its insensitivity: the tolerance it was designed for, or the height
    of the hump at the design mode where that is higher. Only damped EI makes the difference: it holds V at the design
    mode itself, and its hump, a little to the side, reaches 1.0001 V at a damping ratio of 0.05 and V = 0.05,
    1.014 V at 0.3 and 0.1. Of lists of impulses: QUELL_TOLERANCE_DEFAULT. */
double quell_shaper_tolerance(const quell_shaper *shaper);

#endif
