/** \file choose.h — from modes with their uncertainty and a machine file to one defended setting per axis. */
#ifndef QUELL_CHOOSE_H
#define QUELL_CHOOSE_H

#include "quell/base.h"
#include "quell/ingest.h"
#include "quell/modes.h"
#include "quell/shaping.h"

/* ---------------------------------------------------------------- machine file */

enum { QUELL_AXES_MAX = 3, QUELL_OWN_FAMILIES_MAX = 8, QUELL_FAMILIES_ACCEPTED_MAX = 32 };

/** What the planner does on one axis. NaN: not stated, or written as `unknown`. */
typedef struct quell_axis_limits {
    bool present;
    double acceleration_mps2, speed_mps, step_m;
    double moving_mass_kg;
    double load_kg[2]; /**< range; both 0 if not stated */
} quell_axis_limits;

typedef enum quell_reading { QUELL_NATURAL, QUELL_DAMPED, QUELL_READING_UNKNOWN } quell_reading;

/** A family of the controller's own: impulse i at times[i] damped periods, amplitude sum_k coefficient[i][k] K^k. */
typedef struct quell_own_family {
    char id[32];
    size_t count;
    double time_periods[8];
    double coefficient[8][8];
    size_t line; /**< where it stands in the file */
} quell_own_family;

typedef struct quell_controller {
    bool takes_shapers; /**< false: `shapers = none` */
    size_t accepted_count;
    char accepted[QUELL_FAMILIES_ACCEPTED_MAX][32]; /**< family ids, built-in or own */
    char name[QUELL_FAMILIES_ACCEPTED_MAX][32];     /**< what the controller calls each; "" if not stated */
    quell_reading frequency;                        /**< what it calls the shaper's frequency */
    char frequency_unit[8];                         /**< "Hz", "rad/s" or "s" */
    double frequency_step_hz;     /**< 0: any; in frequency_unit's own unit when that is s */
    double frequency_range_hz[2]; /**< both 0: not stated */
    double damping;               /**< fixed number; NaN: free, or unknown */
    bool damping_unknown;
    char damping_unit[8]; /**< "ratio", "percent" or "Q" */
    double tolerance;     /**< the V its EI shapers use; NaN: not stated */
    size_t impulses;      /**< longest impulse list; 0: takes none */
    bool impulse_times_are_differences;
    double tick_s;               /**< 0: none */
    char one_setting_for[3][16]; /**< "frequency", "family", "damping"; "" beyond */
    bool axis_delay;
    char setting[512]; /**< template; "" if not stated */
} quell_controller;

/** What a machine file says. A plain value. */
typedef struct quell_machine {
    char name[64];
    char kinematics[16]; /**< "cartesian", a motor per axis, or "coupled-belts"; "" if not stated */
    quell_axis_limits axis[QUELL_AXES_MAX]; /**< x y z */
    quell_controller controller;
    size_t own_count;
    quell_own_family own[QUELL_OWN_FAMILIES_MAX];
    double corner_speed_mps; /**< NaN: unknown */
    double rounding_limit_m; /**< NaN: not stated */
    double residual_limit;   /**< NaN: not stated */
    double ripple_limit_m;   /**< NaN: not stated */
    char notes[4096];        /**< "key: value" lines */
} quell_machine;

/** A machine of which nothing is known: every family may be used, frequencies are natural, damping is free. */
void quell_machine_unknown(quell_machine *out);

/** Reads a machine file. QUELL_OK; QUELL_E_DATA naming file, line, value found and value wanted: unknown key,
    section unknown or repeated, key repeated, unit missing or wrong, value out of range, quote not closed, indented
    line, line over 4096 bytes, file over 1 MiB, control character, bytes that are not UTF-8, family neither built in
    nor defined, name for a family not listed, unknown placeholder in the template; QUELL_E_IO; QUELL_E_MEMORY. Lines
    may end in LF or CR LF; `;` after a blank and outside quotes starts a comment, `;` or `#` at its start makes a
    line one. out untouched on failure. */
quell_status quell_machine_read(quell_machine *out, const quell_source *source, quell_error *err);

/** Designs a shaper of an own family; its family pointer is NULL, its design point is filled in.
    QUELL_OK; QUELL_E_USAGE if the point is out of range. out untouched on failure. */
quell_status quell_own_family_design(quell_shaper *out, const quell_own_family *own,
                                     const quell_design_point *at, quell_error *err);

/** A setting of an earlier controller, written FAMILY:FREQUENCY[:DAMPING[:V]] as that controller was told it: in its units, in
    its reading of the frequency (one that is not known is taken as natural), with its own damping ratio and V where it
    has them. machine: that controller's. QUELL_OK; QUELL_E_USAGE naming what was found; QUELL_E_NO_SHAPER. */
quell_status quell_machine_old_setting(quell_shaper *out, const quell_machine *machine, const char *text, quell_error *err);

/** Expands the setting template. Values are those the controller wants to see (unit, reading, step applied):
    {axis} {family} {name} {frequency} {frequency_hz} {period_s} {damping_ratio} {residual_limit} {amplitudes}
    {times_s} {duration_s}; `{{` is a brace. Lists are joined by commas; times as differences each count from the
    impulse before. {frequency} and {damping_ratio} are in the controller's units, {frequency_hz} and {period_s} say
    the same frequency in Hz and s. shaper->at is used even where shaper->family is NULL.
    QUELL_OK; QUELL_E_USAGE for an unknown placeholder; QUELL_E_MEMORY. *text lives in arena. */
quell_status quell_machine_setting(const quell_machine *machine, char axis, const quell_shaper *shaper,
                                   const char *family_id, double residual_limit, quell_arena *arena,
                                   char **text, quell_error *err);

/* ---------------------------------------------------------------- the choice */

/** What one axis needs. */
typedef struct quell_need {
    char axis; /**< 'x' or 'y' */
    const quell_modes *modes;
    double
        drift; /**< d, of every mode: how far f may be off, relative; what recordings show of it is part of it */
    /** Half the range of f over the recordings, Hz, that the intervals of f already hold; 0: one recording, or no range.
        Where it is more than d of f, it is that mode's d. Either way it is not counted twice: an interval is widened by
        (1 - d) / (1 - h) and (1 + d) / (1 + h) at its ends, h = half range / f, so that every recording stays inside. */
    double half_range_hz[QUELL_MODES_MAX];
    double residual_limit;           /**< share of ripple allowed, in (0, 1); NaN: the machine file's */
    bool equal;                      /**< R = worst over the modes instead of the weighted sum */
    const quell_shaper *old_setting; /**< carried over unchanged; NULL: none */
} quell_need;

enum { QUELL_CANDIDATES_MAX = 48, QUELL_FRONT_MAX = 10 };

/** A row of the choice. Times s, lengths m. NaN where a value is not known. */
typedef struct quell_candidate {
    quell_shaper shaper;
    char family_id[48]; /**< "zvd", "none", "impulses", an own family's id */
    const char *title;  /**< for tables: "ZVD", "no shaper", "old setting: ZVD" */
    bool accepted;      /**< the controller takes it */
    bool is_old, is_none;
    double residual_nominal; /**< R with every mode at its estimate */
    double residual_worst;   /**< R over the uncertainty U */
    size_t
        covers_count; /**< stretches of the strongest mode's frequency, all modes scaled alike, with R <= limit */
    double covers_hz[4][2];
    double ripple_m[QUELL_MODES_MAX]; /**< nominal, per mode, after the reference move */
    double ripple_ci95_m[QUELL_MODES_MAX][2];
    double ripple_worst_m; /**< sum over modes at the worst of U */
    double spread_s;
    double rounding_m; /**< at the acceleration in use */
    double
        acceleration_limit_mps2; /**< NaN if the corner speed alone exceeds the rounding limit; infinite: none */
    double delay_s;
    const char *reason; /**< why it is in, out, or second; a few words */
} quell_candidate;

/** The choice for one axis. Indices into candidate, or -1. */
typedef struct quell_axis_choice {
    char axis;
    size_t modes;
    size_t
        strongest; /**< the mode that rings most after the reference move: covers_hz are of its frequency */
    double weight
        [QUELL_MODES_MAX]; /**< of each mode in R: sum 1; 1 each where R is the largest over the modes */
    double unshaped_ripple_m[QUELL_MODES_MAX];
    double drift[QUELL_MODES_MAX]; /**< d of each: the need's, or the half range where that is more */
    double uncertainty_hz[QUELL_MODES_MAX][2]; /**< U_k, frequencies */
    double uncertainty_zeta[QUELL_MODES_MAX][2];
    double residual_limit;
    size_t count;
    quell_candidate candidate[QUELL_CANDIDATES_MAX]; /**< families as listed, the old setting, no shaper */
    int chosen, runner_up, old, none, tailored;
    bool meets_residual, meets_rounding; /**< of the chosen one; rounding that is not known counts as kept */
    const char *setting;                 /**< the controller's own line; NULL if there is no template */
    const char *why;                     /**< sentence */
    size_t would_change_count;
    const char *would_change[6];
    size_t ways_out_count; /**< "keeps 6000 mm/s2: rounds 181 um"; "keeps 0.15 mm: acceleration 4100 mm/s2" */
    const char *way_out[4];
    size_t notes_count;
    const char *note[8];
    size_t front_count; /**< filled by quell_choose_front alone: tailored shapers of other residual limits, the strictest first */
    double front_spread_s[QUELL_FRONT_MAX], front_residual[QUELL_FRONT_MAX];
} quell_axis_choice;

/** Weighted worst residual R of a shaper for a need: weights |c| |gamma + alpha/s| / wd of the reference move (the axis
    brakes at its acceleration and stops at the corner), normalised; 61 frequencies x 3 damping ratios a mode over its
    95 % intervals, widened by drift (as far as recordings have not shown it) and load; a parabola at each maximum. at_estimate: only at the estimates.
    The largest over the modes instead of the weighted sum if need->equal or a participation is not known.
    machine: NULL if nothing is known. need->modes must have at least one mode. */
double quell_need_residual(const quell_need *need, const quell_machine *machine, const quell_shaper *shaper,
                           bool at_estimate);

/** Ranks all candidates and chooses. The rule: among candidates that the controller takes and whose worst R is within
    the residual limit, the least spread; within 3 % of that, the one that covers the wider band. If none is: the least
    worst ripple whose rounding is within its limit, else the least worst ripple.
    need->residual_limit: NaN takes the machine file's residual-limit or ripple-limit. machine: NULL if nothing is
    known: all built-in families are candidates that have no negative impulses and are no smooth kernels; those have
    to be listed. The choice does not refer to need and machine afterwards.
    QUELL_OK; QUELL_E_NOT_MET with out filled in (the best chosen; or no modes, or a controller that takes no shapers:
    chosen is -1 and why says so); QUELL_E_USAGE if no limit is stated, or a number of the need is out of range;
    QUELL_E_MEMORY. Texts live in arena; out is untouched on failures but QUELL_E_NOT_MET. */
quell_status quell_choose_axis(const quell_need *need, const quell_machine *machine, quell_arena *arena,
                               quell_axis_choice *out, quell_error *err);

/** For a controller that has one frequency, family or damping ratio for both axes: changes both choices, made by quell_choose_axis,
    to settings that share it, each within its residual limit, of the least sum of spreads; the price is in `why`. Without
    such a controller, or modes on both axes, nothing changes; if no such setting keeps both limits, a note says so.
    machine: not NULL. QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_choose_joint(const quell_need *x, const quell_need *y, const quell_machine *machine, quell_arena *arena,
                                quell_axis_choice *x_choice, quell_axis_choice *y_choice, quell_error *err);

/** Designs tailored shapers for residual limits from a fourth of the choice's to four times it: what any shaper without negative
    impulses can reach, more or less, for plots. need, machine: as for quell_choose_axis. None is no error. */
void quell_choose_front(const quell_need *need, const quell_machine *machine, quell_axis_choice *choice);

/** The settings of both axes together at a right-angled corner. Times s, lengths m; NaN where not known. */
typedef struct quell_pair {
    double axis_delay_s[2];    /**< of x and y, so that both are equally late: 0 for the slower one */
    double acceleration_mps2;  /**< the larger of the axes' */
    double rounding_m;         /**< as they are: the worse of x into y and y into x */
    double rounding_aligned_m; /**< with the delays */
    double corner_error_m;     /**< what unequal delays add: rounding_m - rounding_aligned_m, at least 0 */
} quell_pair;

/** Judges x and y together. machine: NULL if nothing is known. */
quell_pair quell_pair_judge(const quell_machine *machine, const quell_shaper *x, const quell_shaper *y);

#endif
