/** \file compare.h — did a change help, and is the difference real?

    Modes found on both sides are matched: how far their frequency, damping ratio and level moved. Levels are compared in
    1/3-octave bands, too. An estimated power is its true value times chi2(nu)/nu, so for independent recordings

        (after / before) / (true ratio) ~ F(nu_after, nu_before)

    which gives the interval and the two-sided p value of each change of level; those of ln f and ln zeta follow from the
    modes' own standard errors. This is the noise within one pair of recordings. With two recordings or more that repeat
    others (four in all, or three against one) how much runs differ is in every interval instead: Student's t of the mean
    logarithms, see QUELL_REPEATS_LEAST. Holm's correction keeps the chance of any false change among all that is tested in one
    comparison at 5 %: half of it for the modes (level, frequency, damping ratio of each), half for the bands.
    F holds for random motion that is not the same on both sides. Motion that repeats, as a sweep or stops, differs by
    the sensor's noise only: the interval is then too wide, on the safe side.
    Sources: S. Holm, Scand. J. Statist. 6(2), 1979; B. L. Welch, Biometrika 34, 1947; F. E. Satterthwaite, Biometrics
    Bulletin 2, 1946; IEC 61260-1:2014 (bands); the F distribution of a ratio of spectral estimates: J. S. Bendat and A. G.
    Piersol, Random Data (all from memory). */
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
#define QUELL_CHANGE_MIN_FREQUENCY 0.01 /* relative */
#define QUELL_CHANGE_MIN_DAMPING                                                                             \
    0.2 /* relative: what a belt's tension or the temperature does anyway; by judgement */

/** How far apart in ln f the same mode may lie before and after a change (or 2 zeta, if that is more). */
#define QUELL_CHANGE_SAME_MODE 0.2

/** So many recordings must repeat others of their side (recordings less sides) before how much runs differ is told from
    them. One such repeat would leave Student's t with one degree of freedom, for which next to nothing is significant. */
#define QUELL_REPEATS_LEAST 2

/** Change of level in a band or at a mode; positive dB is more vibration after. */
typedef struct quell_level_change {
    double nominal_hz; /**< a band's name, or the mode's frequency */
    double low_hz, high_hz;
    double after_low_hz, after_high_hz; /**< the same, but of a mode that moved: around its frequency after */
    double before_mps2,
        after_mps2; /**< rms between low and high; of several recordings with run_to_run the geometric mean */
    double before_dof, after_dof; /**< of all recordings of the side together */
    double change_db, ci95_db[2];
    double error_db; /**< standard error of change_db */
    double p_value;  /**< two-sided, not corrected for many bands */
    double
        p_holm; /**< Holm's correction over all modes or all bands of this comparison; doubled for the other of the two */
    bool counts; /**< p_holm < 0.05 and |change| >= 3 dB */
} quell_level_change;

/** Change of a mode's frequency or damping ratio. All NaN where it is not tested. */
typedef struct quell_mode_shift {
    double before, after;   /**< geometric means of the recordings in which the mode was found */
    double share, ci95[2];  /**< after / before - 1 */
    double p_value, p_holm; /**< as of a level */
    bool counts;            /**< p_holm < 0.05 and |share| >= 1 % (frequency) or 20 % (damping ratio) */
} quell_mode_shift;

/** A mode of either side. */
typedef struct quell_mode_change {
    size_t before_found, after_found; /**< in how many recordings of each side; 0: not found there */
    quell_mode before, after;         /**< pooled over these; not set where 0 */
    quell_level_change
        level; /**< at the mode before, f (1 +- max(zeta, 1.5 bins)); at the mode after if it is new or moved */
    quell_mode_shift frequency; /**< Hz */
    quell_mode_shift damping;
    bool counts; /**< any of the three */
} quell_mode_change;

/** What was measured on one side. Arrays have `count` entries, one a recording. */
typedef struct quell_measured_side {
    size_t count; /**< 1 to QUELL_RECORDINGS_MAX */
    const quell_spectrum *spectrum;
    const quell_modes *modes; /**< NULL: not sought. Lowest frequency first */
    const double *mode_dof;   /**< degrees of freedom of the modes' standard errors; NULL: many */
    bool
        shaper_known; /**< it was said which shaper was active, and the modes are those with it divided out */
} quell_measured_side;

typedef struct quell_comparison {
    size_t axis;          /**< index in both spectra */
    size_t recordings[2]; /**< before, after */
    quell_spectrum
        spectrum[2];      /**< of each side, its recordings pooled; in the arena, or one of those given */
    bool run_to_run;      /**< how much runs differ is in every interval */
    bool repeated_motion; /**< all modes are from sweeps or stops: intervals of levels are on the safe side */
    bool sought[2], shaper_known[2];
    size_t bands, modes;
    quell_level_change band[QUELL_BANDS_MAX]; /**< 1/3 octaves of two bins at least, up to 0.4 of the rate */
    quell_mode_change mode[2 * QUELL_MODES_MAX]; /**< by frequency before, or after if it is new */
    bool alike; /**< all bands that carry the motion, and all modes, changed alike: motion, not ringing */
    double
        common_db; /**< what all bands that carry the motion have in common: their mean change if alike, the least
                              one if all changed one way and count; else NaN */
    const char *
        verdict; /**< sentences: what fell, what rose, by how much, what moved, and what the statement covers */
} quell_comparison;

/** Compares axis `axis` of two sides whose spectra were made with the same window and bin width (within 1 %).
    band_hz: only whole bands and modes inside [low, high]; NULL or both 0: all.
    Text lives in arena; out untouched on failure.
    QUELL_OK; QUELL_E_DATA if the spectra differ in kind, no band fits, or a side has no power somewhere;
    QUELL_E_USAGE if an axis is missing or a side has no recording, or too many; QUELL_E_MEMORY. */
quell_status quell_compare(const quell_measured_side *before, const quell_measured_side *after, size_t axis,
                           const double band_hz[2], quell_arena *arena, quell_comparison *out,
                           quell_error *err);

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

/** A finding where the sides were shaken otherwise: another kind, or a sweep over another range (10 %).
    QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_shaking_differ(const quell_shaking *before, const quell_shaking *after, quell_arena *arena,
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
    size_t parameters;    /**< fitted: 0 for no shaper, 2 for a family, 3 with its V, 2 (n - 1) for n impulses; the gain besides */
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
