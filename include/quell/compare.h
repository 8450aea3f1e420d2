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
#include "quell/modes.h"
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

/* ---------------------------------------------------------------- ringing after stops */

#define QUELL_CHANGE_MIN_M 5e-6 /* a change of the amplitude after stops counts from here on */

/** Amplitude of displacement at the moment the commanded motion ends: root mean square over the stops, what noise makes of it
    on the average taken off. */
typedef struct quell_stops_amplitude {
    double frequency_hz, damping_ratio; /**< the mode as it was taken to be on this side; NaN for all modes together */
    double amplitude_m;                 /**< 0 where noise explains all there is */
    double ci95_m[2];                   /**< NaN with a single stop; the upper end is the limit where nothing is seen */
    bool seen;                          /**< it stands out of the noise: the lower end is above 0 */
} quell_stops_amplitude;

typedef struct quell_stops_change {
    quell_stops_amplitude before, after;
    double change_m, change_ci95_m[2]; /**< after - before */
    double ratio, ratio_ci95[2];       /**< after / before; NaN where nothing is seen before: the upper end alone where that
                                            is not bounded */
    double p_value;                    /**< two-sided, Student's t; NaN with a single stop on a side */
    double p_holm;                     /**< Holm's correction over all modes together and each of them */
    bool counts;                       /**< p_holm < 0.05 and 5 um or more, between sides whose strokes are alike */
} quell_stops_change;

typedef struct quell_stops_comparison {
    bool measured;          /**< false: why says what is lacking, and nothing else is set */
    const char *why;
    quell_stops_change all; /**< root of the sum of the modes' squared amplitudes: what the largest displacement would be
                                 with a quarter of a turn between modes; it is their sum where they meet in phase */
    size_t modes;
    quell_stops_change mode[QUELL_MODES_MAX]; /**< lowest frequency before first */
    size_t before_stops, after_stops, before_recordings, after_recordings;
    size_t groups;          /**< kinds of strokes, by direction, length and speed, that are compared each with its like and
                                 weigh the same; 1: all stops together */
    bool alike;             /**< both sides have the same kinds of strokes, or at least on the average the same lengths and
                                 speeds, within 10 % */
    bool short_rests;       /**< see quell_stops */
    double before_stroke_m, after_stroke_m, before_speed_mps, after_speed_mps; /**< means */
    const char *text;       /**< sentences: what it is, by how much it changed, what the statement covers */
} quell_stops_comparison;

/** Ringing after stops, in metres along axis `axis`, before and after a change. Only recordings whose motion is strokes with
    stops are used: a sweep's end leaves what its phase happens to be there. Modes and their damping are those of each
    recording's own free decays; where a mode rings too little for that, those of another recording, this side's first; known
    (may be NULL) where none has any. Amplitudes are of the moment the commanded motion ends on each side, later with a
    shaper.
    Scatter: between the stops of a recording, within each kind of stroke; with several recordings a side between them too,
    where they differ by more; and the errors of the modes. Ratios by the logarithm, and by Fieller's theorem (E. C.
    Fieller, J. R. Stat. Soc. B 16, 1954, from memory) where one side is hardly seen; differences by the limits of both (G. Y.
    Zou, A. Donner, Stat. Med. 27, 2008, from memory); degrees of freedom by Welch and Satterthwaite.
    stated: the excitation if it was said, or NULL. band_hz as for quell_decays_find. At most QUELL_RECORDINGS_MAX recordings a
    side. Text lives in arena; out untouched on failure. QUELL_OK; QUELL_E_USAGE if a side is empty or the axis is missing;
    QUELL_E_MEMORY. */
quell_status quell_stops_compare(const quell_side *before, size_t befores, const quell_side *after, size_t afters,
                                 size_t axis, const quell_shaking *stated, const double band_hz[2],
                                 const quell_modes *known, quell_arena *arena, quell_stops_comparison *out,
                                 quell_error *err);

#endif
