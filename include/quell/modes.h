/** \file modes.h — natural frequencies and damping ratios from an acceleration spectral density.

    Model of the axis under test, r = x/f_k:  g_k = r^2 / (1 - r^2 + 2 j zeta_k r),  H = 1 + sum c_k g_k,
    S(x) = e^b0 (x/x_ref)^b1 |H|^2 + e^n: commanded acceleration plus ringing, as an accelerometer sees it. */
#ifndef QUELL_MODES_H
#define QUELL_MODES_H

#include "quell/base.h"
#include "quell/ingest.h"
#include "quell/motion.h"
#include "quell/shaping.h"
#include "quell/spectrum.h"

enum { QUELL_MODES_MAX = 8, QUELL_DOUBTS_MAX = 8, QUELL_RECORDINGS_MAX = 64 };

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
    double decay_damping_ratio_ci95[2];
    double prominence_db; /**< of the peak over its surroundings */
    size_t seen_on;       /**< axis index whose density it was fitted to: another than the driven one if it moves across it */
    size_t doubts;
    const char *doubt[QUELL_DOUBTS_MAX];
} quell_mode;

/** What shook the machine during a recording, and what is known of it. */
/** Samples that are lost during a sweep, too many to be filled. */
typedef struct quell_sweep_gap {
    double at;          /**< samples from shaking->first, those lost before counted, at which they begin */
    double lost;
    double low_hz, high_hz; /**< what the sweep passed meanwhile, where it was followed; else NaN */
} quell_sweep_gap;

typedef struct quell_shaking {
    quell_excitation kind;
    bool stated;             /**< by the user or a plan; else found in the recording */
    bool blow;               /**< kind is QUELL_EXCITE_STOPS, and there is but one: a blow and its decay */
    bool sweep_known;        /**< kind is QUELL_EXCITE_SWEEP and sweep says which */
    quell_sweep sweep;       /**< acceleration_mps2 is 1 where it is not known */
    bool acceleration_known;
    bool random_known;       /**< kind is QUELL_EXCITE_RANDOM, of strokes drawn from random_hz as quell_motion_add_random does */
    double random_hz[2];
    double duration_s;       /**< of a known sweep's motion with its dwells; 0: the sweep's own */
    char axis;               /**< 'x' or 'y' as a plan says; 0: not said */
    bool diagonal;           /**< a plan says that X and Y move alike: each has 1 / sqrt 2 of the acceleration */
    size_t first, end;       /**< samples of the recording in which it lasts: first..end - 1. Of the rests around it, up to
                                  2 s on either side of a sweep, so that the segments of a spectrum see its ends
                                  whole, and up to 1 s after stops belong to it */
    size_t margin[2];        /**< samples of these rests, within first..end: before and after the motion */
    size_t bursts;           /**< that random motion or stops come in, with pauses between; 1: it does not pause. 0: not looked */
    double paused;           /**< share of the time that these pauses take, 0..1 */
    quell_sweep seen;        /**< of a sweep, known or not: what the recording shows it to run over, from low to high whichever
                                  way it runs; acceleration_mps2 is 1, and all are 0 where it is not told.
                                  quell_modes_measure fills it in */
    size_t seen_margin[2];   /**< with seen: samples before its lowest frequency and after its highest, within first..end, in the
                                  order in which it would rise */
    bool falls;              /**< with seen: it ran from high to low */
    size_t gap_count;
    const quell_sweep_gap *gap; /**< of a sweep, in the order of time; in the arena of quell_modes_measure */
    double harmonics;        /**< with seen: power of its odd harmonics over that of strokes of constant acceleration; 0 for a
                                  sine, 1 at most */
    const char *why;         /**< what speaks for the kind, in words with numbers; "as stated" */
} quell_shaking;

/** Finds what shook the machine, and when, from the stretches that fitness found; `stated` (NULL: nothing) overrules the
    kind, and then only the samples are found. A recording without motion is ambient. Where motion is of no kind that is
    told, it is taken for random, and why says so. QUELL_OK; QUELL_E_DATA where there is nothing of the kind that is stated
    (sweep or stops said of a recording without motion); QUELL_E_MEMORY. Texts live in arena; out untouched on failure. */
quell_status quell_shaking_find(quell_shaking *out, const quell_shaking *stated, const quell_recording *recording,
                                const quell_fitness *fitness, quell_arena *arena, quell_error *err);

/** Reads "sweep", "sweep:F0:F1:RATE", "sweep:F0:F1:RATE:ACCEL" (RATE in Hz/s, ACCEL in m/s2 or mm/s2), "random", "stops"
    or "ambient" into the stated part of *out. QUELL_OK; QUELL_E_USAGE saying what was found and wanted; out untouched on
    failure. */
quell_status quell_shaking_parse(quell_shaking *out, const char *text, quell_error *err);

/** Reads the plan that `quell excite` wrote, the JSON object quell.excite/1, into the stated part of *out. QUELL_OK;
    QUELL_E_DATA naming the file, the key, what was found and wanted: over 1 MiB, no JSON (with its line), a key twice, of
    a wrong type or out of range, or one that a sweep needs missing; lists of moves of different length; keys it does not know are passed over; QUELL_E_IO;
    QUELL_E_MEMORY. out untouched on failure. */
quell_status quell_shaking_read(quell_shaking *out, const quell_source *source, quell_error *err);

/** The Welch density (m2/s3) that a known sweep commands, at the bins of `like`, with its window, segment and hop over the
    sweep's duration with its dwells and its gaps, and rest around it as long as shaking->margin tells, every sample the mean acceleration over its interval. density has like->bins entries.
    QUELL_OK; QUELL_E_USAGE if the sweep is out of range or shorter than a segment; QUELL_E_MEMORY. */
quell_status quell_sweep_density(const quell_shaking *shaking, const quell_spectrum *like, double *density,
                                 quell_error *err);

/** Did the machine run the sweep that was planned? */
typedef struct quell_sweep_check {
    double recorded_mps2;  /**< acceleration of the strokes, from the density below the lowest mode; where the density still
                                rises towards a mode that is not fitted, its limit at 0 Hz; NaN: not known */
    double planned_mps2;   /**< NaN if the plan does not say */
    double reached_hz[2];  /**< the part of the plan's range where what was recorded has no less than a quarter of the
                                energy, 6 dB, that recorded_mps2 would leave; NaN: nowhere */
    double rise;           /**< of the acceleration in the last tenth of the sweep, the fitted modes' response taken off, over
                                recorded_mps2: above 1 where a mode that is not fitted lies near the end or above; NaN: not known */
    bool ran;              /**< neither is off by more than 10 % */
} quell_sweep_check;

struct quell_modes;

/** Compares the density of axis `axis`, the fitted modes' response taken off, to the plan's: what compares is the
    energy, density times the segments that it is the mean of. The spectrum is that of shaking's first..end.
    QUELL_OK; QUELL_E_USAGE if the sweep is not known; QUELL_E_MEMORY. */
quell_status quell_sweep_verify(quell_sweep_check *out, const quell_spectrum *spectrum, size_t axis,
                                const struct quell_modes *modes, const quell_shaking *shaking,
                                quell_error *err);

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
    const quell_shaking *shaking;  /**< what the recording's motion was; NULL: a sweep that is not known */
} quell_modes_options;

/** What the fit came to. */
typedef struct quell_modes_fit {
    const char *objective; /**< "Whittle likelihood of the Welch density" */
    size_t parameters, iterations;
    double dof_per_bin, bin_hz;
    double rms_log_misfit;      /**< root mean square of ln(P/M) over the band, lines left out */
    double split_ratio; /**< twice the gain in ln likelihood, per independent bin, of the best fit of random motion that puts
                             two modes where one was found, and was not worth its parameters; 0: none was tried */
    double split_hz;    /**< where that is */
    double input_log_level; /**< b0 */
    double input_slope;     /**< b1 */
} quell_modes_fit;

/** The density that was fitted to one axis, for pictures: all modes that take part, also those ignored. */
typedef struct quell_density_fit {
    size_t modes; /**< 0: none was fitted */
    bool ambient; /**< every mode has an input of its own */
    double frequency_hz[QUELL_MODES_MAX], damping_ratio[QUELL_MODES_MAX];
    double participation[QUELL_MODES_MAX]; /**< on this axis; ambient: ln of the density that shakes the mode */
    double input_log_level, input_slope, noise_log_level, direct, reference_hz; /**< b0, b1, n, d, x_ref */
    double band_hz[2];
    double along[3]; /**< ambient: unit vector along which the density was taken; else zeros: the axis itself */
} quell_density_fit;

/** The modes of one axis. */
typedef struct quell_modes {
    size_t count;
    quell_mode mode[QUELL_MODES_MAX];
    double band_hz[2];      /**< of the fit; without modes, what was searched */
    double excited_hz[2];   /**< within this the density has no step such as the end of a sweep makes: peaks beyond it
                                 are not fitted */
    quell_modes_fit fit;
    quell_density_fit density[3]; /**< of each axis of the spectrum */
    const char *excitation; /**< what was assumed: "a sweep, its command not known", ... */
    quell_excitation kind;
    bool sweep_known;
    bool sweep_followed;    /**< known, or followed in the recording: the input's density is known up to a slope */
    bool participation_known; /**< false: no common input, as in ambient recordings and free decays; c is NaN */
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

/** Is what stands out at a frequency, known to half a bin, a tone that something drives? Then it keeps its phase over samples
    first..end - 1 of the axis, where ringing of a damping ratio of 0.001 or more does not. False, too, where they are too
    few cycles to tell, or have gaps. QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_tone_is_steady(bool *out, const quell_recording *recording, size_t axis, size_t first, size_t end,
                                  double frequency_hz, double bin_hz, quell_error *err);

/** H of the response model at x Hz for count modes (frequency_hz, damping_ratio, participation used). */
double complex quell_response(const quell_mode *mode, size_t count, double x_hz);

/** Finds the modes of axis `axis` of the spectrum, lowest frequency first, with those that move only across it (from the
    other axes' densities). A mode is taken in if the fit keeps it in its place, wider than a line, with |c| >= 0.02, and
    the information criterion of the excitation's kind wants it. Intervals: sandwich covariance, in ln f and ln zeta.
    No mode found is QUELL_OK with count 0. QUELL_E_USAGE if the axis or the band is out of range; QUELL_E_DATA if
    the band holds too few bins for a fit; QUELL_E_MEMORY. Text lives in arena; out untouched on failure. */
quell_status quell_modes_find(const quell_spectrum *spectrum, size_t axis, const quell_modes_options *options,
                              quell_arena *arena, quell_modes *out, quell_error *err);

/** The band searched when none is given: 5 Hz to the lower of 250 Hz and 0.4 of the rate. Ringing in um falls with the
    square of frequency: above 250 Hz a mode leaves a twenty-fifth of what one at 50 Hz does. */
void quell_modes_default_band(double rate_hz, double band_hz[2]);

/** The density fitted to axis `axis` as the window shows it, for each bin of the spectrum; NaN outside the band of the fit, and
    everywhere if there is none. options: shaper_on and shaking as they were for the fit. model has spectrum->bins
    entries. QUELL_OK; QUELL_E_USAGE for an axis the spectrum does not have; QUELL_E_MEMORY. */
quell_status quell_modes_density(const quell_modes *modes, const quell_spectrum *spectrum, size_t axis,
                                 const quell_modes_options *options, double *model, quell_error *err);

/** What a sweep moved beside the band of the fit, up to where the sweep begins and ends. */
typedef struct quell_sweep_beyond {
    double range_hz[2];  /**< of the sweep */
    double below, above; /**< ln of the density over what the fitted modes make of the sweep, where it is off most, below the
                              band and above it; 0: it is as they have it, but for little */
} quell_sweep_beyond;

/** Holds the density of axis `axis` against the modes where they were not fitted. All 0 where there is no fit, or the excitation is
    no sweep that is known or was followed. options: shaper_on and shaking as they were for the fit. QUELL_OK;
    QUELL_E_USAGE; QUELL_E_MEMORY. */
quell_status quell_sweep_beyond_find(quell_sweep_beyond *out, const quell_modes *modes, const quell_spectrum *spectrum,
                                     size_t axis, const quell_modes_options *options, quell_error *err);

/** The root mean square of ln(P/M) that chance alone makes: sqrt(psi_1(nu/2)), psi_1 the trigamma function, exactly that of
    the logarithm of chi-square (e.g. M. S. Bartlett, D. G. Kendall, J. R. Stat. Soc. Suppl. 8, 1946). 0 under a sweep,
    where chance plays no part. spectrum: what the modes were found in. */
double quell_modes_chance_misfit(const quell_modes *modes, const quell_spectrum *spectrum);

/** A misfit above which something besides the modes moves: three standard errors over chance's, whose relative error is
    1 / sqrt(2 n / kappa) for n bins in the fit, of which kappa count as one; at least 0.1. Under a sweep 0.1; where that is known or was
    followed 0.05, and 0.03 for three modes and more, which together make up for much. */
double quell_modes_misfit_limit(const quell_modes *modes, const quell_spectrum *spectrum);

/* ---------------------------------------------------------------- free decays */

/** A mode of the free decays. */
typedef struct quell_decay {
    double frequency_hz; /**< natural */
    double frequency_ci95_hz[2];
    double damping_ratio;
    double damping_ratio_ci95[2];
    double log_damping_se;  /**< standard error of ln zeta, by the jackknife */
    double amplitude_mps2;  /**< root mean square over the stops of the acceleration it rings with when the motion ends,
                                 all axes together */
    double direction[3];    /**< unit vector, machine axes; NaN if the recording has one axis */
} quell_decay;

/** The mode that rings most, at one stop: its frequency fitted there alone, its damping ratio and the other modes as they
    are over all stops. A value that is not known is NaN. */
typedef struct quell_decay_stop {
    double frequency_hz;
    double amplitude_mps2; /**< when the motion ends, all axes together */
    int direction;         /**< of the motion before, along the driven axis: +1, -1; 0 if it is not known */
} quell_decay_stop;

/** How the frequency of that mode goes with level and direction, by straight lines through the stops. NaN and a p-value
    of 1 with fewer than four stops, or where all are alike. */
typedef struct quell_decay_trend {
    double per_octave;         /**< relative change of frequency as the amplitude doubles */
    double level_p_value;      /**< of a slope as large by chance: Student's t */
    double between_directions; /**< frequency after motion towards + less that towards -, relative */
    double direction_p_value;
} quell_decay_trend;

/** Free decays of a recording, fitted together: sum over modes of exp(-zeta w t) (a cos wd t + b sin wd t) + offset for
    each stop and axis, the poles shared. Arrays live in the arena. */
typedef struct quell_decays {
    size_t count;
    quell_decay mode[QUELL_MODES_MAX]; /**< lowest frequency first */
    size_t stops;
    const size_t *stop;     /**< first sample of each decay's window */
    size_t window;          /**< samples */
    const quell_decay_stop *each; /**< the strongest mode at each stop */
    double rms_misfit_mps2; /**< over all stops and axes */
    double noise_mps2;      /**< what a perfect model would leave, from differences of neighbouring residuals; NaN unknown */
    /** The stop that rings most, for a picture: samples of the driven axis from before the stop to the window's end. */
    double *shown_mps2, *fitted_mps2; /**< fitted: NaN before the window */
    size_t shown, shown_before;       /**< samples of both, and how many lie before the window */
    size_t shown_motion_end;          /**< of these samples, the one at which the commanded motion ends; 0: not known */
    size_t shown_stop;
} quell_decays;

/** Finds the ends of commanded motion in samples first..end - 1 and fits the free decays after them: variable projection
    (G. H. Golub, V. Pereyra, SIAM J. Numer. Anal. 10, 1973), started from a matrix pencil (Y. Hua, T. K. Sarkar, IEEE
    Trans. ASSP 38, 1990), for the number of modes that pays; from three stops on, standard errors by leaving one stop
    out at a time, intervals by Student's t. A recording without strokes and rests (a blow; a sweep or random motion and
    what follows, if the samples reach into it) has one decay at most: then, and with two stops, the errors are those of
    the linearised fit with the residuals' density near each mode, and tell nothing of how the stops differ.
    Tones and modes beyond the band are fitted, too, but not reported. band_hz: where modes are sought; both 0:
    quell_modes_default_band. The first 200 stops are used. No stop found, or no mode in them that stands out of the
    noise, is QUELL_OK with count 0. QUELL_E_USAGE if axis, samples or band are out of range; QUELL_E_MEMORY. out lives in
    arena, untouched on failure. */
quell_status quell_decays_find(const quell_recording *recording, size_t axis, size_t first, size_t end,
                               const double band_hz[2], quell_arena *arena, quell_decays *out, quell_error *err);

/** Does the strongest mode's frequency go with the level, or with the direction? For decays with count > 0. */
void quell_decays_each(const quell_decays *decays, quell_decay_trend *out);

/* ---------------------------------------------------------------- ringing after stops, of known modes */

enum { QUELL_STOPS_MAX = 200 };

/** One stop: where the commanded motion ends, and what rings along the driven axis from there. */
typedef struct quell_stop {
    double end_s;     /**< the end of the motion that the sensor sees, from the recording's first sample: through a shaper, after
                           its last impulse */
    int direction;    /**< of the stroke before: +1, -1; 0: not known */
    double stroke_m;  /**< length of the stroke before, from the acceleration: known to some per cent */
    double speed_mps; /**< mean of the speed over that way: below the cruising speed by what it takes to reach it */
    double power_m2[QUELL_MODES_MAX]; /**< squared amplitude of each mode's displacement at end_s, less what noise makes of
                                           it on the average: can be negative */
} quell_stop;

typedef struct quell_stops {
    size_t modes;
    double frequency_hz[QUELL_MODES_MAX], damping_ratio[QUELL_MODES_MAX];
    double noise_m2[QUELL_MODES_MAX];      /**< what was taken off, mean over the stops */
    double log_power_se[QUELL_MODES_MAX]; /**< standard error of ln power that all stops share: from the modes' own errors and the
                                               moment of the end, known to half a sample */
    bool short_rests; /**< under 5 / (zeta w) of a mode: what rings anyway, kept up from outside, is then not told from it; only
                           noise of even density is taken off */
    size_t count;            /**< 0: there are none, or none that can be measured */
    const quell_stop *stop;  /**< in the order of time */
    double window_s;         /**< how much of each decay was used */
} quell_stops;

/** Displacement amplitudes, along axis `axis`, of the modes given at the moment that each commanded motion in samples
    first..end - 1 ends: acceleration by the square of the natural frequency. Only strokes with rests of some 0.1 s
    between them count. The modes' frequencies, damping ratios and intervals (95 %; NaN: taken as exact) are used as
    they are; the amplitudes follow by linear least squares from just after the end, where that is seen: the
    decay is foretold backwards sample by sample, and ends where the samples are another thing. So it works as well where
    next to nothing rings. No stop is QUELL_OK with count 0. QUELL_E_USAGE if axis or samples are out of range,
    or there is no mode or one out of range; QUELL_E_MEMORY. out lives in arena, untouched on failure. */
quell_status quell_stops_measure(const quell_recording *recording, size_t axis, size_t first, size_t end,
                                 const quell_mode *mode, size_t modes, quell_arena *arena, quell_stops *out,
                                 quell_error *err);

/** What a measurement went by. */
typedef struct quell_measured {
    quell_shaking shaking; /**< what shook the machine, and the samples that were taken */
    quell_decays decays;   /**< count is 0 where there are none */
} quell_measured;

/** Modes from a recording: the stretch of the excitation is cut out, its spectrum estimated, its modes found; where the
    narrowest mode is less than four bins wide, again with longer segments (up to a sixth of the stretch), unless
    welch->segment is given. For stops see quell_decays_find, whose values are entered as checks wherever the recording
    has free decays, and as the modes where the excitation is stops. fitness: NULL takes the whole recording and
    options->shaking as it is. `how` (may be NULL) gets what was taken. The spectrum (of the stretch) and out live in
    arena, untouched on failure. Errors as quell_spectrum_estimate, quell_shaking_find and quell_modes_find. */
quell_status quell_modes_measure(const quell_recording *recording, size_t axis, const quell_fitness *fitness,
                                 const quell_welch_options *welch, const quell_modes_options *options,
                                 quell_arena *arena, quell_spectrum *spectrum, quell_modes *out, quell_measured *how,
                                 quell_error *err);

/** Reads what `quell modes --json` printed, the object quell.modes/1: frequencies, damping ratios, participations, their
    intervals, directions and doubts, and what was said of the excitation; what the fit came to is not taken. *axis: 'x' or 'y',
    0 where it is not stated. QUELL_OK; QUELL_E_DATA naming the file, the key, what was found and wanted: over 1 MiB, no
    JSON (with its line), another object, more than QUELL_MODES_MAX modes, a value of a wrong type or out of range, an
    interval that does not hold its value; QUELL_E_IO; QUELL_E_MEMORY. Texts live in arena; out untouched on failure. */
quell_status quell_modes_read(quell_modes *out, char *axis, const quell_source *source, quell_arena *arena, quell_error *err);

/** A direction in words: "along X", "along X, 8 deg towards -Z"; "" if it is not known. size >= 48. Returns out. */
const char *quell_direction_words(const double direction[3], char *out, size_t size);

/** How a mode differs between recordings of one axis. Frequencies Hz. Indices count recordings from 0. */
typedef struct quell_mode_spread {
    size_t recordings;                   /**< in which the mode was found */
    double frequency_hz;                 /**< standard deviation of their estimates; NaN if found in one only */
    double damping_ratio;                /**< likewise */
    double within_frequency_hz;          /**< standard error of one recording (root mean square); NaN: not known */
    double within_damping_ratio;         /**< likewise */
    double mean_frequency_hz;            /**< standard error of the pooled value as the mean over conditions */
    double mean_damping_ratio;           /**< likewise */
    double half_range_hz;                /**< half the range of f over recordings that their errors do not explain */
    size_t lowest, highest;              /**< which recordings had the lowest and the highest frequency */
    size_t farthest;                     /**< the worst condition: whose frequency is farthest from the pooled one */
    bool found_in[QUELL_RECORDINGS_MAX]; /**< for each recording */
    double found_hz[QUELL_RECORDINGS_MAX]; /**< its own frequency there; NaN where it is lacking */
} quell_mode_spread;

/** Modes of several recordings of one axis pooled, lowest frequency first.

    The same mode in two recordings lies within max(5 %, 2 zeta) in ln f; each mode of a recording is taken once and modes
    keep their order, as when a load lowers them all: most pairs first, then the nearest. At most QUELL_MODES_MAX in all.

    label: the condition of each recording ("z=180,spool=full"); NULL, or NULL entries: not labelled. Recordings with the
    same label, or without, are repeats of one condition. ln f, ln zeta and c are averaged over the repeats of a
    condition, then over conditions, with weights 1 / (se^2 + tau^2): se from each recording's 95 % interval, tau^2 the
    variance between the true values, 0 where the errors explain the scatter. Source: R. DerSimonian, N. Laird, Controlled
    Clinical Trials 7, 1986 (from memory).

    The pooled 95 % intervals say what the machine may have been in any of the conditions recorded, not how well their
    mean is known (which is in spread): they hold every condition's value with its error, and so never shrink by
    adding conditions. Within a condition repeats are taken to be of one value as far as their errors explain their
    scatter, so that they do shrink the error; as far as they do not, each keeps its own value. (An error that all repeats
    share, such as a wrong clock, does not shrink and is not seen.)

    c is pooled over the recordings that know it, NaN if none does. Checks are averaged, doubts of all recordings carried
    over once each, left_out likewise. band_hz, excited_hz, fit and kind are those of the recording with the most modes.

    recordings: 1 to QUELL_RECORDINGS_MAX. spread has out->count entries. out must not be among each. Returns how many
    modes were dropped for want of room. */
size_t quell_modes_pool(const quell_modes *each, size_t recordings, const char *const *label, quell_modes *out,
                        quell_mode_spread spread[QUELL_MODES_MAX]);

/** Which modes of two lists, each lowest frequency first, are the same one: pair[k] is the index in second of mode k of
    first, or -1 (also beyond first->count). A pair lies within max(within, 2 zeta) in ln f; each mode is taken once, and
    modes keep their order: most pairs first, then the nearest. */
void quell_modes_match(const quell_modes *first, const quell_modes *second, double within,
                       int pair[QUELL_MODES_MAX]);

/** Damping ratio of a free decay whose amplitude falls by exp(-decrement) a period: d = 2 pi z / sqrt(1 - z^2).
    Textbook relation (e.g. W. T. Thomson, Theory of Vibration with Applications). decrement >= 0; z in [0, 1). */
double quell_damping_from_decrement(double decrement);
double quell_decrement_from_damping(double damping_ratio);

#endif
