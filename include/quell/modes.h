/** \file modes.h — natural frequencies and damping ratios from an acceleration spectral density.

    Model of the axis under test, r = x/f_k:  g_k = r^2 / (1 - r^2 + 2 j zeta_k r),  H = 1 + sum c_k g_k,
    S(x) = e^b0 (x/x_ref)^b1 |H|^2 + e^n: commanded acceleration plus ringing, as an accelerometer sees it. */
#ifndef QUELL_MODES_H
#define QUELL_MODES_H

#include "quell/base.h"
#include "quell/shaping.h"
#include "quell/spectrum.h"

enum { QUELL_MODES_MAX = 8, QUELL_DOUBTS_MAX = 8 };

/** One mode. A value that is not known is NaN. */
typedef struct quell_mode {
    double frequency_hz; /**< natural, not damped */
    double frequency_ci95_hz[2];
    double damping_ratio;
    double damping_ratio_ci95[2];
    double participation; /**< c: ringing acceleration per driven acceleration; signed */
    double participation_ci95[2];
    double direction[3];             /**< unit vector in machine axes; NaN if the spectrum has one axis */
    double half_power_damping_ratio; /**< (r2 - r1) / (2 r_peak) on the density, uncorrected: a check only */
    double decay_damping_ratio;      /**< from free decays: a check only */
    double prominence_db;            /**< of the peak over its surroundings */
    bool interval_is_provisional;    /**< fixed at 1 % of f and 20 % of zeta, not estimated */
    size_t doubts;
    const char *doubt[QUELL_DOUBTS_MAX];
} quell_mode;

/** A frequency the user takes out, with the reason that every result repeats. */
typedef struct quell_ignored {
    double frequency_hz;
    const char *reason;
} quell_ignored;

/** A tone that is known to be there without motion, as a fan makes it. */
typedef struct quell_known_line {
    double frequency_hz;
    double amplitude_mps2; /**< of all axes together */
} quell_known_line;

typedef struct quell_modes_options {
    double band_hz[2];             /**< where modes are sought; both 0: quell_modes_default_band */
    const quell_ignored *ignored;
    size_t ignored_count;
    const quell_known_line *line;  /**< the bins they spoil are left out, unless far more is there than they explain */
    size_t line_count;
    const quell_shaper *shaper_on; /**< its |H|^2 is taken out of the input; where that is under 1e-3 the density is
                                        not used; NULL: none */
    double rate_relative_error;    /**< 95 %, added to the intervals of f */
} quell_modes_options;

/** What the fit came to. */
typedef struct quell_modes_fit {
    const char *objective; /**< "least squares of ln density", later "likelihood" */
    size_t parameters, iterations;
    double dof_per_bin, bin_hz;
    double rms_log_misfit;      /**< root mean square of ln(P/M) over the band, lines left out */
    double input_log_level;     /**< b0 */
    double input_slope;         /**< b1 */
    double noise_log_level;     /**< n */
    double reference_hz;        /**< x_ref */
} quell_modes_fit;

/** The modes of one axis. */
typedef struct quell_modes {
    size_t count;
    quell_mode mode[QUELL_MODES_MAX];
    double band_hz[2];      /**< of the fit; without modes, what was searched */
    double excited_hz[2];   /**< within this the density has no step such as the end of a sweep makes: peaks beyond it
                                 are not fitted */
    quell_modes_fit fit;
    const char *excitation; /**< what was assumed: "one input, its spectrum not known", ... */
    size_t left_out;        /**< modes that were found and fitted, but that the user ignores */
    quell_mode left_out_mode[QUELL_MODES_MAX];
    const char *left_out_reason[QUELL_MODES_MAX];
} quell_modes;

/** A peak that stands out of its local floor. */
typedef struct quell_peak {
    size_t bin;
    double frequency_hz;  /**< interpolated */
    double floor_ratio;   /**< P / local floor */
    double prominence_db;
    double half_power_damping_ratio;
    bool line;            /**< at most 3 bins wide and without skirts: a driven line, not a mode */
} quell_peak;

/** Local noise floor: geometric mean of the running medians on the left and the right (0.6 octave), times
    nu / chi2(.5). floor has spectrum->bins entries. QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_noise_floor(const quell_spectrum *spectrum, size_t axis, double *floor, quell_error *err);

/** Peaks in [low_hz, high_hz] that pass the test of the design (level over the floor at 1 % over the whole band,
    prominence >= 3.5 * 4.343 * sqrt(2 / nu) dB within 0.6 octave and >= 1.5 dB over the floor), the most prominent
    first, at most max of them. QUELL_OK with *count; QUELL_E_MEMORY. */
quell_status quell_peaks_find(const quell_spectrum *spectrum, size_t axis, double low_hz, double high_hz,
                              quell_peak *peaks, size_t max, size_t *count, quell_error *err);

/** Does a known line make up what the spectrum has there: at the highest bin within 1 % of its frequency no more than four
    times the density of its tone? *bin (may be NULL): that bin; 0 if the spectrum does not reach there. */
bool quell_known_line_explains(const quell_spectrum *spectrum, size_t axis, const quell_known_line *line, size_t *bin);

/** H of the response model at x Hz for count modes (frequency_hz, damping_ratio, participation used). */
double complex quell_response(const quell_mode *mode, size_t count, double x_hz);

/** Finds the modes of axis `axis` of the spectrum, lowest frequency first. A mode is taken in if a peak stands out,
    the fit keeps it near that peak, wider than a line, with |c| >= 0.02, and the rms misfit falls by 20 %.
    No mode found is QUELL_OK with count 0. QUELL_E_USAGE if the axis or the band is out of range; QUELL_E_DATA if
    the band holds too few bins for a fit; QUELL_E_MEMORY. Text lives in arena; out untouched on failure. */
quell_status quell_modes_find(const quell_spectrum *spectrum, size_t axis, const quell_modes_options *options,
                              quell_arena *arena, quell_modes *out, quell_error *err);

/** The band searched when none is given: 5 Hz to the lower of 250 Hz and 0.4 of the rate. Ringing in um falls with the
    square of frequency: above 250 Hz a mode leaves a twenty-fifth of what one at 50 Hz does. */
void quell_modes_default_band(double rate_hz, double band_hz[2]);

/** The fitted density as the window shows it, for each bin of the spectrum; NaN outside the band of the fit.
    model has spectrum->bins entries. QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_modes_density(const quell_modes *modes, const quell_spectrum *spectrum,
                                 const quell_shaper *shaper_on, double *model, quell_error *err);

/** A direction in words: "along X", "along X, 8 deg towards -Z"; "" if it is not known. size >= 48. Returns out. */
const char *quell_direction_words(const double direction[3], char *out, size_t size);

/** How a mode differs between recordings of one axis. */
typedef struct quell_mode_spread {
    size_t recordings;          /**< in which the mode was found */
    double frequency_hz;        /**< standard deviation; NaN if found in one only */
    double damping_ratio;       /**< likewise */
    size_t lowest, highest;     /**< which recordings had the lowest and the highest frequency, from 0 */
} quell_mode_spread;

/** Modes of several recordings of one axis pooled: those of the recording with the most modes, and those that only
    others have (at most QUELL_MODES_MAX in all), each sought in every recording within 5 % (or its half-power width);
    frequency and damping ratio are averaged as logarithms, and the intervals are widened to hold every recording's
    own. spread has out->count entries. */
void quell_modes_pool(const quell_modes *each, size_t recordings, quell_modes *out,
                      quell_mode_spread spread[QUELL_MODES_MAX]);

/** Damping ratio of a free decay whose amplitude falls by exp(-decrement) a period: d = 2 pi z / sqrt(1 - z^2).
    Textbook relation (e.g. W. T. Thomson, Theory of Vibration with Applications). decrement >= 0; z in [0, 1). */
double quell_damping_from_decrement(double decrement);
double quell_decrement_from_damping(double damping_ratio);

#endif
