/** \file ingest.h — from any log to evenly sampled acceleration in m/s2.

    A recording comes with findings: what was noticed in it, how large it is, and what to do about it. Poor but
    usable data is a finding; unusable data is QUELL_E_DATA with the place and the reason. */
#ifndef QUELL_INGEST_H
#define QUELL_INGEST_H

#include "quell/base.h"

#include <jansson.h>

/** Where bytes come from. Pure stages know no files: the command line wraps one. */
typedef struct quell_source {
    const char *name; /**< for messages */
    /** Up to size bytes into into, *got of them; *got = 0 at the end. QUELL_OK or QUELL_E_IO with err filled in. */
    quell_status (*read)(void *context, void *into, size_t size, size_t *got, quell_error *err);
    void *context;
} quell_source;

/** A source over bytes in memory; *state is the position, start with 0. */
typedef struct quell_memory_source {
    const void *bytes;
    size_t size, at;
} quell_memory_source;
quell_source quell_source_memory(quell_memory_source *state, const char *name);

/* ---------------------------------------------------------------- files that hold one JSON object */

enum { QUELL_VALUE_SHOWN = 64 };

/** Reads an object of at most 1 MiB without repeated keys; `what` names it in messages ("plan"). *out is the caller's:
    json_decref. QUELL_OK; QUELL_E_DATA naming file, line and column; QUELL_E_IO; QUELL_E_MEMORY. */
quell_status quell_object_read(json_t **out, const quell_source *source, const char *what, quell_error *err);

/** A value as it stands in the file, for a message; NULL is "nothing". Returns out, or a constant. */
const char *quell_value_show(const json_t *value, char out[QUELL_VALUE_SHOWN]);

/** QUELL_E_DATA: "KEY: found VALUE, want WANTED". */
quell_status quell_value_refuse(const char *key, const json_t *value, const char *wanted, quell_error *err);

/** Is it this text? */
bool quell_value_is(const json_t *value, const char *text);

/** The number under key of the object `in`, from low to high; `place` ("modes[0].") stands before the key in the message.
    QUELL_OK; QUELL_E_DATA, with *out undefined. */
quell_status quell_value_number(double *out, const json_t *in, const char *key, const char *place, double low, double high,
                                quell_error *err);

/** Are the count lists under these keys of the object `in`, named name in messages, as long as each other, 1 to most entries?
    *length: how long. QUELL_OK; QUELL_E_DATA. */
quell_status quell_value_lists(size_t *length, const json_t *in, const char *name, const char *const *key, size_t count, size_t most,
                               quell_error *err);

/** How to read a recording. Zeroed: everything from the file itself. Texts are as on the command line. */
typedef struct quell_read_options {
    const char *columns; /**< "t=1,x=2,y=3,z=4", numbers from 1 or header words; of channels in a sound file, of
                            datasets 58 in a universal file; NULL: found */
    const char
        *unit; /**< "g", "mg", "m/s2", "mm/s2", "counts:0.004g", "g:16" (full scale of a sound
                file's integers); NULL: from the header, or by gravity */
    const char *rate;      /**< "HZ" or "HZ:TOL%"; NULL: from the stamps */
    const char *time_unit; /**< "s", "ms", "us", "ns"; NULL: from the header, or by magnitude */
    const char *span;      /**< "A:B" seconds from the start of the recording; NULL: all */
    const char *mount;     /**< "up=+z,right=-y": fixed map from sensor to machine axes; NULL: found */
    size_t threads;    /**< 2 or more: rows are read ahead by a thread. The result is the same */
} quell_read_options;

typedef enum quell_severity { QUELL_NOTE, QUELL_WARN, QUELL_REFUSE } quell_severity;

/** Something noticed in a recording. */
typedef struct quell_finding {
    const char *kind; /**< short fixed word: "gaps", "jitter", "clipping", "unit", "short", ... */
    quell_severity severity;
    double value, limit; /**< in the unit that text states; NaN if there is none */
    const char *text;    /**< one sentence without full stop, with the size and unit */
    const char *remedy;  /**< what to do; "" if nothing */
} quell_finding;

enum { QUELL_FINDINGS_MAX = 64 };
typedef struct quell_findings {
    size_t count;
    quell_finding item[QUELL_FINDINGS_MAX];
} quell_findings;

/** Adds a finding; text is formatted into the arena, kind and remedy must outlive the findings. Beyond QUELL_FINDINGS_MAX the last entry is replaced by one
    that says how many more there were. QUELL_OK; QUELL_E_MEMORY if the arena is out (nothing is added). */
quell_status quell_findings_add(quell_findings *findings, quell_arena *arena, const char *kind,
                                quell_severity severity, double value, double limit, const char *remedy,
                                const char *format, ...) QUELL_PRINTF(8, 9);

/** All that mounting, segments, noise and verdict are judged by: sums over windows and some raw blocks, a few MB
    whatever the recording's length. */
struct ingest_digest;

/** One recording. Sample i of axis k is accel_mps2[k][i] at start_s + i / rate_hz, later by the samples in break_lost
    after each gap that was too long to fill. Lives in the arena. */
typedef struct quell_recording {
    const char *file;
    const char *format; /**< "delimited text", "delimited text, gzip", "WAV sound", ... */
    const char *unit;   /**< as in the file: "g", "m/s2", ...; "different units" if the axes have such */
    size_t axes;        /**< 1 to 3 */
    size_t samples;     /**< lost ones that were filled included */
    double *accel_mps2[3]; /**< NULL if it was streamed */
    double scale_mps2[3];  /**< one unit of the file, in m/s2 */
    const char *axis_name[3]; /**< the column's own words: "ax [g]" */
    double start_s;           /**< time of sample 0 on the file's own clock */
    double offset_s;          /**< of sample 0 from the file's first sample: 0 unless a span was asked for */
    double rate_hz, rate_ci95_hz[2];
    bool has_time; /**< stamps were read (not only --rate) */
    double
        jitter_fraction; /**< standard deviation of the stamps about the fit, in sample intervals; 0 without stamps */
    bool has_counter;    /**< the file counts its samples, and that settled which are lost */
    bool coarse_stamps;  /**< several samples share a stamp, or nearly: single losses cannot be seen */
    size_t least_loss;   /**< fewest samples whose loss at one place shows in the stamps: 1 unless they are coarse */
    double nominal_rate_hz; /**< as asked for by --rate or stated by the file beside stamps; 0 if neither */
    size_t lost_samples; /**< located in the stamps, filled or not */
    size_t gaps;         /**< places where samples were lost */
    size_t
        filled_samples; /**< lost samples that were filled: by a cubic, where they last less than 1/(8 * 100 Hz) or
                                  only one is lost */
    const size_t
        *break_at; /**< indices of the first sample after each gap too long to fill: no segment of a spectrum
                                  may straddle them */
    const size_t *break_lost; /**< samples missing at each of them */
    size_t break_count;
    double step_mps2[3];       /**< smallest change between sample values; 0 if none was seen */
    double resolution_mps2[3]; /**< largest step that explains all values read; 0 if none */
    double clipped_fraction[3];
    struct ingest_digest *digest; /**< NULL: made from the samples when it is first asked for */
    quell_findings findings;
} quell_recording;

/** Who takes the samples of a recording as they are read, so that none need be kept. All calls come from the thread
    that reads, in the order of the recording. A failure ends the reading and is handed on. */
typedef struct quell_sink {
    void *context;
    /** Before the first sample. rate_hz: as known by then; the recording has the final one. */
    quell_status (*begin)(void *context, size_t axes, double rate_hz, quell_error *err);
    /** n evenly spaced samples an axis, in the file's own units: recording->scale_mps2[k] turns them into m/s2. */
    quell_status (*take)(void *context, const double *const *value, size_t n, quell_error *err);
    /** `lost` samples are missing here, too many to fill. */
    quell_status (*gap)(void *context, size_t lost, quell_error *err);
} quell_sink;

/** Reads a recording in one pass, in memory that does not grow with its length: the samples go to the sink (NULL: they
    are only judged), and accel_mps2, break_at and break_lost of out stay NULL. Everything else is as with
    quell_recording_read. out is untouched on failure, though the sink may have got samples by then. */
quell_status quell_recording_stream(quell_recording *out, const quell_source *source,
                                    const quell_read_options *options, const quell_sink *sink,
                                    quell_arena *arena, quell_error *err);

/** Reads a whole recording. out and what it points to live in arena; untouched on failure.
    QUELL_OK; QUELL_E_DATA (file, line, column, found, wanted); QUELL_E_USAGE for a wrong option; QUELL_E_IO;
    QUELL_E_MEMORY. */
quell_status quell_recording_read(quell_recording *out, const quell_source *source,
                                  const quell_read_options *options, quell_arena *arena, quell_error *err);

/** What samples that were lost, not noticed and so closed up do to a mode in a spectrum. */
typedef struct quell_clock_shift {
    double damping_ratio;     /**< added to the damping ratio */
    double frequency_nominal; /**< relative change of the frequency when it is read at the rate of sampling */
    double frequency_mean;    /**< the same when it is read at the mean rate of the rows, which losses lower */
} quell_clock_shift;

/** Predicts it for a lightly damped mode; of its own damping ratio, up to a share lost_fraction is missing from the rise.
    lost_fraction: lost samples by all that were taken, 0 to below 1.   mean_run: samples lost at a time, 1 or more; 0: each
    is lost by itself, at random.   frequency_hz: 0 to rate_hz / 2.   rate_hz: of sampling.
    All three are NaN where an argument is out of range.
    Source: derived. From row to row the correlation of the motion turns and decays by the mean of exp(j t n), n the samples
    gone by and t = 2 pi frequency / rate. For single losses of a small fraction l the damping ratio rises by
    l (1 - cos t) / t and the frequency by l sin(t) / t of itself, at the rate of sampling; at the mean rate it is 1 - l
    times that. Runs of m samples at low frequencies do about m times as much. A single free decay keeps its
    damping ratio: it is the average over many that is blurred. */
quell_clock_shift quell_clock_shift_predict(double lost_fraction, double mean_run, double frequency_hz,
                                            double rate_hz);

/** How the sensor sits: rows are the machine's x, y, z in sensor axes (machine = map * sensor). */
typedef struct quell_mounting {
    double map[3][3];
    bool up_known;        /**< gravity was seen (or given) */
    bool direction_known; /**< the driven axis was seen (or given), up to sign */
    bool sign_known;      /**< which way is + */
    double tilt_rad;      /**< between the sensor's nearest axis and up */
    double gravity_mps2;  /**< length of the static mean */
    const char *words;    /**< how it was found: "gravity and the slow strokes" */
    char driven_axis;     /**< 'x' or 'y', 0 if not known */
    double up[3], driven[3]; /**< unit vectors in sensor axes as they were seen, not yet at right angles; zero if not */
} quell_mounting;

/** Finds the mounting of a three-axis recording from gravity (static mean) and the driven axis ('x' or 'y'; 0: not
    known, the direction found is called the driven one) from slow motion and the largest motion.
    A fixed map in options->mount is used as given. One- and two-axis recordings get the identity and a finding.
    Findings are added to the recording's. The samples stay as they are: see quell_mounting_apply.
    QUELL_OK; QUELL_E_USAGE if mount is malformed; QUELL_E_MEMORY. out untouched on failure. */
quell_status quell_mounting_find(quell_mounting *out, quell_recording *recording, char driven_axis,
                                 const quell_read_options *options, quell_arena *arena, quell_error *err);

/** Whether two recordings tell of one mounting, and what came of it. */
typedef enum quell_join {
    QUELL_JOIN_DONE,
    QUELL_JOIN_NOTHING, /**< not both directions, gravity, and the axes x and y were seen: nothing to join */
    QUELL_JOIN_MOVED,   /**< gravity lies elsewhere in the sensor: it was moved in between (to the table, for y) */
    QUELL_JOIN_SKEWED,  /**< the directions are more than 8 degrees from a right angle */
    QUELL_JOIN_MIRRORED /**< + of one of the axes was seen the wrong way round */
} quell_join;

/** Joins what recordings along x and along y, of a sensor that stayed where it was, tell of its mounting: the rotation
    nearest to 2 g z' + vx x' + vy y' (g: up, v: the directions of motion, as seen in the sensor). If that can be done,
    both maps become the joint one; else they stay as they are. *off_deg (may be NULL): for DONE and SKEWED, how far the
    directions are from a right angle; for MOVED, between the directions of gravity. */
quell_join quell_mounting_join(quell_mounting *x, quell_mounting *y, double *off_deg);

/** Turns the recording into machine axes, in place: the samples, if it holds them, and its digest (three-axis
    recordings; nothing to do for others). */
void quell_mounting_apply(const quell_mounting *mounting, quell_recording *recording);

/** Variances and covariances of the whole recording, (m/s2)2, in the axes that it is in; zero for axes it does not have.
    The recording has a digest, as all that were read have. */
void quell_recording_scatter(const quell_recording *recording, double out[3][3]);

/** What a stretch of a recording is. */
typedef enum quell_stretch {
    QUELL_REST,
    QUELL_STROKES, /**< the preamble's slow strokes */
    QUELL_SWEEP,   /**< motion whose frequency rises or falls steadily */
    QUELL_STOPS,   /**< repeated short bursts with pauses: strokes with stops */
    QUELL_MOTION   /**< any other */
} quell_stretch;

/** "rest", "slow strokes", "sweep", "stops", "motion". */
const char *quell_stretch_word(quell_stretch kind);

/** Rest, preamble strokes, sweep or other excitation, found in the level of motion. */
typedef struct quell_segment {
    quell_stretch kind;
    double start_s, end_s;
    double trend; /**< of a sweep: rank correlation of frequency with time, -1 to 1; else 0 */
} quell_segment;

enum { QUELL_SEGMENTS_MAX = 64 };

/** Is a recording fit to analyse? */
typedef struct quell_fitness {
    const char *verdict;         /**< "fit", "care", "unfit" */
    const char *reason, *remedy; /**< sentences; "" if there is nothing to say */
    double duration_s;
    double mean_mps2[3];
    double noise_mps2_per_rthz
        [3]; /**< sensor noise floor, sqrt of the density, from the rests; without any, of what lies
                                        above 0.3 of the rate; NaN if it is too short to tell */
    double dominant_hz; /**< where the motion has its largest density; NaN without motion */
    double motion_s;    /**< of excitation: neither rest nor slow strokes */
    double damping_ci95_share; /**< what that gives: half the 95 % interval of a damping ratio of 0.05 at dominant_hz, of
                                    it, by its standard error zeta / sqrt(2 pi zeta f T), which is optimistic by up to a
                                    third; NaN without motion */
    double wanted_s;           /**< motion that would give 5 % */
    size_t segments;
    quell_segment segment[QUELL_SEGMENTS_MAX]; /**< times from the file's first sample: ready for --span */
} quell_fitness;

/** Judges a recording and adds findings to it: lost samples (over 1 % care, 10 % unfit), what lost ones whose place is not
    known would add to a damping ratio (2 %, 10 % of it), jitter of fine stamps (10 %, 25 % of a sample without a counter),
    most motion against the rate (a fifth, two fifths of it), clipping (any, 1 % of the samples), length without gaps (under 10 s, 2 s), dead and stuck axes,
    gravity off by 5 %, strokes that do not carry the sensor, lines at rest, motion near half the rate (10 % of its power). driven: index (0-2) of the axis
    whose death alone makes it unfit, or -1. QUELL_OK; QUELL_E_MEMORY (out is untouched, findings may be added). */
quell_status quell_recording_judge(quell_fitness *out, quell_recording *recording, int driven,
                                   quell_arena *arena, quell_error *err);

#endif
