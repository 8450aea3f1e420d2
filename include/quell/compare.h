/** \file compare.h — did a change help, and is the difference real?

    Levels before and after are compared in 1/3-octave bands and at each mode. An estimated power is its true value
    times chi2(nu)/nu, so for independent recordings

        (after / before) / (true ratio) ~ F(nu_after, nu_before)

    which gives the interval and the two-sided p value of each change; Holm's correction keeps the chance of any
    false change among all bands and modes of one comparison at 5 %. This is the noise within one pair of recordings.
    How much two runs differ is not in it: a repeat tells.
    Sources: S. Holm, Scand. J. Statist. 6(2), 1979; IEC 61260-1:2014 (bands); the F distribution of a ratio of
    spectral estimates: J. S. Bendat and A. G. Piersol, Random Data (from memory). */
#ifndef QUELL_COMPARE_H
#define QUELL_COMPARE_H

#include "quell/base.h"
#include "quell/ingest.h"
#include "quell/choose.h"
#include "quell/modes.h"
#include "quell/shaping.h"
#include "quell/spectrum.h"

/* ---------------------------------------------------------------- bands */

/** A 1/3-octave band of IEC 61260-1, base ten. */
typedef struct quell_third_octave {
    double nominal_hz;      /**< the rounded name: 31.5 */
    double mid_hz;          /**< exact: 1000 * 10^(index/10) */
    double low_hz, high_hz; /**< exact edges: mid / G^(1/6), mid * G^(1/6), G = 10^(3/10) */
} quell_third_octave;

/** The band `index` steps above the one at 1 kHz (below, if negative); index from -60 to 60. */
quell_third_octave quell_third_octave_band(int index);

/* ---------------------------------------------------------------- statistics */

/** 95 % factors of a ratio of powers: the true after/before lies within [R * lo, R * hi] of the measured R.
    Both dof > 0; above 1e5 they count as 1e5. Quantiles are found by bisection on the distribution function:
    GSL's own inverse fails from some 5e4 degrees of freedom on. */
void quell_f_factors(double dof_before, double dof_after, double factor[2]);

/** Two-sided p value of the measured ratio after/before (> 0) when the true ratio is 1: twice the smaller tail. */
double quell_f_p_value(double ratio, double dof_before, double dof_after);

/** Holm's step-down correction: adjusted[i] for count p values in any order; adjusted may be p.
    QUELL_OK; QUELL_E_MEMORY (adjusted untouched). */
quell_status quell_holm(const double *p, double *adjusted, size_t count, quell_error *err);

/* ---------------------------------------------------------------- the comparison */

enum { QUELL_BANDS_MAX = 40 };

/** A change counts when it is significant at this level after correction, and at least this large. */
#define QUELL_CHANGE_ALPHA 0.05
#define QUELL_CHANGE_MIN_DB 3.0

/** Change of level in a band or at a mode; positive dB is more vibration after. */
typedef struct quell_level_change {
    double nominal_hz; /**< a band's name, or the mode's frequency */
    double low_hz, high_hz;
    double before_mps2, after_mps2; /**< rms between low and high */
    double before_dof, after_dof;
    double change_db, ci95_db[2]; /**< of the power ratio, from the F distribution */
    double p_value;               /**< two-sided, not corrected for many bands */
    double p_holm;                /**< Holm's correction over all bands and modes of this comparison */
    bool counts;                  /**< p_holm < 0.05 and |change| >= 3 dB */
} quell_level_change;

typedef struct quell_comparison {
    size_t axis; /**< index in both spectra */
    size_t bands, modes;
    quell_level_change band[QUELL_BANDS_MAX]; /**< 1/3 octaves of two bins at least, up to 0.4 of the rate */
    quell_level_change
        mode[QUELL_MODES_MAX]; /**< at each mode of the before side: f (1 +- max(zeta, 1.5 bins)) */
    quell_mode before_mode[QUELL_MODES_MAX];
    bool alike;          /**< all bands that carry the motion, and all modes, changed alike: motion, not ringing */
    double common_db;    /**< what all bands that carry the motion have in common: their mean change if alike, the least
                              one if all changed one way and count; else NaN */
    const char *verdict; /**< sentences: what fell, what rose, by how much, and what the statement covers */
} quell_comparison;

/** Compares axis `axis` of two spectra made with the same window and bin width (within 1 %).
    band_hz: only whole bands and modes inside [low, high]; NULL or both 0: all. before_modes: NULL for none.
    Text lives in arena; out untouched on failure.
    QUELL_OK; QUELL_E_DATA if the spectra differ in kind, no band fits, or a side has no power somewhere;
    QUELL_E_USAGE if an axis is missing; QUELL_E_MEMORY. */
quell_status quell_compare(const quell_spectrum *before, const quell_spectrum *after, size_t axis,
                           const quell_modes *before_modes, const double band_hz[2], quell_arena *arena,
                           quell_comparison *out, quell_error *err);

/** One spectrum from several recordings of one side: densities averaged with the number of segments as weight, degrees
    of freedom added. The spread between the recordings is not in the result. All must have the same axes, window and
    segment in samples, and rates within 1 %; the pooled rate is the weighted mean. Cross spectra are left out.
    QUELL_OK; QUELL_E_DATA naming what differs; QUELL_E_USAGE if count is 0; QUELL_E_MEMORY. out untouched on
    failure; it lives in arena. */
quell_status quell_spectra_pool(const quell_spectrum *each, size_t count, quell_arena *arena,
                                quell_spectrum *out, quell_error *err);

/** One side of a comparison as it was recorded. */
typedef struct quell_side {
    const quell_recording *recording;
    const quell_mounting *mounting;
    const quell_fitness *fitness;
} quell_side;

/** Findings where the sides differ in what a fair comparison keeps the same: rate (1 %), length (20 %), share of the
    recording in motion (20 %), mounting (5 degrees, or found on one side only), axes.
    QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_sides_differ(const quell_side *before, const quell_side *after, quell_arena *arena,
                                quell_findings *findings, quell_error *err);

/* ---------------------------------------------------------------- the shaper in effect */

/** What the same motion looks like with a controller's shaper off and on. A shaper H between the command and a linear machine
    changes nothing but the command, so whatever the machine is, the on side's energy spectrum is the off side's times |H|^2,
    seen through the window:

        E_on(f) = g integral E_off(u) |H(u)|^2 |W(f - u)|^2 du + noise,       g: how much more motion there was

    For a motion that is repeated (a sweep, stops) this is exact and holds for harmonics of strokes and for what rings on
    from one stroke to the next: the squared short-time transform, summed over a Hann window that steps by an eighth, is the
    energy spectrum convolved with |W|^2. Recordings are padded with zeros so that their ends count in full. For random motion that is
    not repeated both sides scatter by chi-square. Source: derived (P. Flandrin, Time-Frequency/Time-Scale Analysis, 1999,
    has the marginals of spectrograms; from memory).

    Errors of the ratio are relative, sqrt(v), found from the recordings and at least QUELL_RATIO_SCATTER_MIN; absolute,
    QUELL_RATIO_FLOOR: what machines that are nearly linear add to a notch; those of the sensor's noise, known from rest; and beside
    modes, which are not quite where they were when the other side was recorded: QUELL_RATIO_DRIFT times the slope of the off side's
    density, d ln E / d ln f. */
#define QUELL_RATIO_SCATTER_MIN 0.02
#define QUELL_RATIO_FLOOR 1e-3
#define QUELL_RATIO_DRIFT 0.003 /**< of frequencies: our own judgement of two runs, one straight after the other */

/** On one axis. Arrays have `bins` entries and live in the arena it was made in. */
typedef struct quell_ratio {
    size_t axis;
    size_t bins;                 /**< those with signal; lines at rest are left out */
    const double *frequency_hz;  /**< of the on side's bins, rising */
    const double *ratio;         /**< E_on / E_off through the same window, the sensor's noise in the former included */
    const double *noise;         /**< share of the ratio that is the sensor's noise, where |H| is 1 */
    const double *noise_off;     /**< the same of the off side */
    const double *slope;         /**< |d ln E_off / d ln f|, the steeper side */
    double dof_on, dof_off;      /**< of the noise */
    double bin_hz;
    double correlation;          /**< bins that count as one: 1 + 2 sum rho^2_m of the window */
    double off_level;            /**< mean energy density of the off side over the bins, (m/s2)^2 s/Hz */
    double motion;               /**< length of the on side by that of the off side; 1 within 30 % */
    double rate_relative_error;  /**< of frequencies, from the intervals of both rates: half of 95 % */
    double grid_low_hz, grid_step_hz; /**< frequencies at which |H|^2 is wanted */
    size_t grid, taps;
    const size_t *first;         /**< of each bin: its first point of the grid */
    const double *weight;        /**< taps of each bin: what |H|^2 there adds to the ratio; sum 1 */
} quell_ratio;

/** Measures it on machine axis `axis` of recordings with their samples kept, turned into machine axes and judged.
    segment_s: of the window; 0: 1 s.   band_hz: bins only inside [low, high]; NULL or both 0: all between 4 bins and 0.2 of the
    rate, the lowest 320 of them, that are 13 dB above the noise at rest and within 50 dB of the largest.
    QUELL_OK; QUELL_E_DATA if too few bins have signal (12), or a recording is shorter than four segments, or rates differ by
    over 1 %; QUELL_E_USAGE if a side has no recording, the segment is out of range or the axis missing; QUELL_E_MEMORY.
    out untouched on failure. */
quell_status quell_ratio_measure(const quell_side *off, size_t off_count, const quell_side *on, size_t on_count, size_t axis,
                                 double segment_s, const double band_hz[2], quell_arena *arena, quell_ratio *out,
                                 quell_error *err);

/** The ratio that a shaper would show at every bin, noise included; gain: of the motion. predicted has ratio->bins entries.
    QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_ratio_predict(const quell_ratio *ratio, const quell_shaper *shaper, double gain, double *predicted,
                                 quell_error *err);

enum { QUELL_IDENTIFIED_MAX = 48, QUELL_CANNOT_TELL_MAX = 8 };

/** Explanations whose BIC differ by less than this are not told apart. */
#define QUELL_BIC_TELLS 6.0

typedef enum quell_tells { QUELL_TELLS_NO, QUELL_TELLS_YES, QUELL_TELLS_NOT } quell_tells; /**< NOT: the data cannot tell */

/** What was entered into the controller. */
typedef struct quell_expected {
    quell_shaper shaper;  /**< as the machine file reads it; natural without one */
    char family_id[48];   /**< "zv", an own family's id; "impulses" for lists and products, which have no frequency */
    double told_hz;       /**< the frequency that was entered, Hz; NaN for lists */
    double damping_ratio; /**< that was entered, or that the machine file says it uses */
} quell_expected;

/** Reads what was entered: as quell_shaper_parse, or with a machine file (NULL: none) as quell_machine_old_setting, in that
    controller's units and reading. QUELL_OK; QUELL_E_USAGE; QUELL_E_NO_SHAPER. */
quell_status quell_expected_parse(quell_expected *out, const char *spec, const quell_machine *machine, quell_error *err);

/** A shaper that may be the one in effect. */
typedef struct quell_identified {
    quell_shaper shaper;  /**< frequency natural, whatever the controller calls it */
    char family_id[48];   /**< "none", "impulses", a family's or own family's id */
    const char *title;
    size_t parameters;    /**< fitted: 0 for no shaper, 2 for a family, 2 (n - 1) for n impulses; the gain besides */
    double bic;
    double misfit_db;     /**< rms of measured / predicted over the bins where |H|^2 is above the floor */
    double gain;          /**< of energy: 1 where the motion was the same */
    bool has_point;       /**< a family with the intervals below, 95 %; lists have none */
    double frequency_ci95_hz[2], damped_ci95_hz[2], damping_ratio_ci95[2];
} quell_identified;

/** What the controller runs. */
typedef struct quell_identification {
    size_t axis;                 /**< on which it acts: the driven one, or the other */
    size_t count;
    quell_identified candidate[QUELL_IDENTIFIED_MAX]; /**< least BIC first; one of each family */
    size_t alike;                /**< how many of them are not told from the first, itself included */
    quell_tells in_effect;
    double scatter_db;           /**< per bin, of measured / predicted, beyond what noise explains */
    double motion_db;            /**< how much more motion the on side has, for its length */
    quell_tells agrees;          /**< with what was entered, in the reading that was given; NOT without an expectation, too */
    bool reading_known;          /**< natural or damped is told, whatever the damping ratio */
    bool reading_if_damping_known; /**< is told provided that it uses the damping ratio entered */
    quell_reading reading;       /**< of either; else QUELL_READING_UNKNOWN */
    quell_tells uses_damping;    /**< does it use the damping ratio entered? */
    size_t cannot_tell_count;
    const char *cannot_tell[QUELL_CANNOT_TELL_MAX]; /**< phrases */
    const char *verdict;         /**< sentences */
    const char *tried;           /**< a phrase: what V were tried */
} quell_identification;

typedef struct quell_identify_options {
    const quell_machine *machine;   /**< own families, V and tick; NULL: not known */
    const quell_expected *expected; /**< NULL: not stated */
    void (*progress)(void *context, double share); /**< NULL: none */
    void *context;
} quell_identify_options;

/** Which shaper explains the ratio best: every family of the table and of the machine file, lists of up to five impulses, none.
    driven: of the axis that was moved; other: of the other axis where it has signal, or NULL. Texts live in arena.
    QUELL_OK, whatever it finds; QUELL_E_MEMORY. out untouched on failure. */
quell_status quell_identify(const quell_ratio *driven, const quell_ratio *other, const quell_identify_options *options,
                            quell_arena *arena, quell_identification *out, quell_error *err);

/** How the measured ratio agrees with a shaper that is said to be in effect. */
typedef enum quell_agreement {
    QUELL_APPLIED_WORKS,         /**< "works-as-predicted" */
    QUELL_APPLIED_NOT_IN_EFFECT, /**< "not-in-effect" */
    QUELL_APPLIED_WRONG_AXIS,    /**< "wrong-axis": not on the driven one, but on the other */
    QUELL_APPLIED_ELSEWHERE,     /**< "notch-elsewhere": the same shaper at another frequency */
    QUELL_APPLIED_MODE_MOVED,    /**< "mode-moved": the shaper works, but the machine's mode is elsewhere than before */
    QUELL_APPLIED_DIFFERS,       /**< "differs": something acts, and it is not this shaper */
    QUELL_APPLIED_UNCLEAR        /**< "unclear" */
} quell_agreement;

typedef struct quell_applied {
    quell_agreement agreement;
    double misfit_db;        /**< rms of measured / predicted where the prediction is above the floor */
    double scale, scale_ci95[2]; /**< frequency at which it acts by the one it was made for; NaN unless it acts */
    double mode_hz;          /**< strongest mode before; NaN if none is known. At its frequency: */
    double mode_predicted_db, mode_measured_db, mode_residual; /**< the ratio, and V, which is what is left after the motion */
    double moved_hz;         /**< where that mode is after, for QUELL_APPLIED_MODE_MOVED; else NaN */
    const char *text;        /**< sentences */
    size_t bins;             /**< series for a plot, dB against Hz */
    const double *frequency_hz, *measured_db, *low_db, *high_db, *predicted_db;
} quell_applied;

/** The word of an agreement, as above. */
const char *quell_agreement_word(quell_agreement agreement);

/** Holds a shaper against the ratio. other: of the other axis, or NULL; before: modes of the before side, or NULL. What it points to
    lives in arena. QUELL_OK; QUELL_E_MEMORY. out untouched on failure. */
quell_status quell_applied_judge(const quell_ratio *driven, const quell_ratio *other, const quell_shaper *shaper,
                                 const quell_modes *before, quell_arena *arena, quell_applied *out, quell_error *err);

#endif
