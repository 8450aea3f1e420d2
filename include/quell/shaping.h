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
#include "quell/ingest.h"

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
    QUELL_FAMILY_NEGATIVE = 2,  /**< has negative impulses: asks more of the drives, can excite higher modes */
    /** A continuous kernel, sampled: its first zero is at the design frequency, undamped; damped, its length is the one that
        leaves the design mode least. */
    QUELL_FAMILY_SMOOTH = 4
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
    Time: below 1 us for the ZV family and undamped points; 0.02 to 0.4 ms where humps or times are solved for, or the
    length of a smooth kernel; a few ms next to the end of a family and where it refuses. Many designs that differ in frequency alone are one design and
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

/* ---------------------------------------------------------------- tailored shapers */

/** The shortest non-negative shaper that keeps a set of modes within a residual limit, with a proof that
    none is shorter.

    For a duration T and a mode (w, z), wd = w sqrt(1 - z^2), g(t) = exp(z w (t - T) + j wd (t - T/2)). The shaper sought
    makes v = sum w_k s_k least (or the largest s_k) where |sum A_i g(t_i)| <= s_k for every (w, z) of band k, A_i >= 0,
    sum A_i = 1. Its dual is a handful of atoms (w_j, z_j, angle_j, weight u_j >= 0) whose weights sum to at most w_k over
    each band k: every non-negative shaper no longer than T leaves at least

        min over t in [0, T] of f(t) = sum u_j Re(exp(-j angle_j) g(t; w_j, z_j)).

    Sources: the exchange (cutting-plane) method and duality of semi-infinite linear programs, R. Hettich and K. O. Kortanek,
    SIAM Review 35(3), 1993 (from memory). Their use for shapers is our own. */

enum { QUELL_TAILOR_BANDS_MAX = 8, QUELL_ATOMS_MAX = 64 };

#define QUELL_BAND_HZ_MIN 0.01
#define QUELL_BAND_HZ_MAX 1e4
#define QUELL_BAND_RATIO_MAX 20.0     /**< of the highest frequency of all bands to the lowest: wider designs take minutes */
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

/** Makes one of bands that overlap and have the same range of damping ratios; weighted ones stay as they are. Returns how
    many there are less. */
size_t quell_bands_merge(quell_bands *bands);

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

/** The shortest smooth kernel that keeps the bands within the limit: non-negative, made of B-splines of that order (1 to 4; 2 or 3
    are usual) whose knots are `knot_share` of its length (rounded to whole steps of the list, at least 2; order times the share is
    at most 0.8), as a list of limits->impulses at even steps (16 to QUELL_SHAPER_MAX; 0: 121), as a controller with a fixed
    clock runs it. The kernel behind the list is one step longer than the list. limits->tick_s must be 0. Impulses of 0 are left
    out. The shaper's R is at most the limit times 1.001; nothing is proved (proved is false), though no list of the same make
    that is shorter by more than 1e-4 was found to meet it.
    QUELL_OK; QUELL_E_USAGE as quell_bands_check, or naming what is out of range; QUELL_E_NO_SHAPER if none is found;
    QUELL_E_MEMORY. out untouched on failure. Time: some 0.1 to 1 s where bands are wide. */
quell_status quell_tailor_smooth(quell_tailored *out, const quell_bands *bands, const quell_tailor_limits *limits,
                                 size_t order, double knot_share, quell_error *err);

/** Checks a proof without any of the designer's code: f is evaluated on a grid of step h, and min f - h^2/8 sum u_j w_j^2
    is the bound that is certain. *bound gets it. QUELL_OK if bound > residual_limit; QUELL_E_DATA naming what is wrong:
    a weight that is negative or not a number, weights of a band that exceed its share, an atom outside its band, a
    bound that does not exceed the limit. */
quell_status quell_certificate_verify(const quell_certificate *certificate, const quell_bands *bands, double *bound,
                                      quell_error *err);

/** A tailored shaper with its bands and proof, as `quell tailor --json` writes them. */
typedef struct quell_proof {
    quell_bands bands;
    quell_shaper shaper;
    quell_certificate certificate;
} quell_proof;

/** Reads one. QUELL_OK; QUELL_E_DATA naming the key, what was found and what is wanted; QUELL_E_IO; QUELL_E_MEMORY. out is
    untouched on failure. */
quell_status quell_proof_read(quell_proof *out, const quell_source *source, quell_error *err);

/** Checks that the shaper keeps the limit over its bands and that the proof holds, within 0.1 % of its duration. *bound as for
    quell_certificate_verify. QUELL_OK; QUELL_E_DATA naming what is wrong: amplitudes that are negative or do not sum to 1, a
    residual above the limit, a duration longer than the proof's, and all that quell_certificate_verify finds. */
quell_status quell_proof_verify(const quell_proof *proof, double *bound, quell_error *err);

/* ---------------------------------------------------------------- textbook shapers under the same guarantee */

/** What limits a search among textbook shapers. */
typedef struct quell_textbook_limits {
    double residual_limit;               /**< of R, in [QUELL_RESIDUAL_LIMIT_MIN, 1) */
    size_t parts;                        /**< 1: families alone; 2 or 3: also products of so many */
    bool by_spread;                      /**< least spread; else least duration */
    double tolerance;                    /**< V of families with humps; 0: free */
    size_t families;                     /**< of `family`; 0: all but negative and smooth ones */
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
