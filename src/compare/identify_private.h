/* Building blocks of the identification: how well a shaper explains a ratio, families and lists fitted to it. */
#ifndef QUELL_COMPARE_IDENTIFY_PRIVATE_H
#define QUELL_COMPARE_IDENTIFY_PRIVATE_H

#include "compare/ratio_private.h"

#define FIT_95 3.841458821 /* of chi2(1) */

enum { FIT_LIST_MOST = 5, FIT_FREE_MOST = 2 * (FIT_LIST_MOST - 1) }; /* impulses of a list, and what is free in it */

/* A ratio and what is needed to try shapers on it. */
typedef struct fit_work {
    const quell_ratio *ratio;
    double scatter2;      /* v */
    double *power;        /* grid */
    double *signal;       /* bins */
    double *off_variance; /* bins: of the off side's noise, and of modes that drift */
    double offset;        /* added to ratios before their logarithm: floor / sqrt(v) */
    double *measured_ln;  /* bins: ln(ratio + offset) */
    double *scratch;      /* two of bins */
    double *slopes;       /* of grid and bins each, as many as a list has free numbers */
} fit_work;

quell_status fit_work_make(fit_work *out, const quell_ratio *ratio, quell_arena *arena, quell_error *err);

/* Sets v and what follows from it. */
void fit_set_scatter(fit_work *work, double scatter2);

/* -2 ln likelihood of the bins, up to a constant, with the gain that makes it least, which *gain_ln gets; Student's t of five
   degrees of freedom, so that a line or two says little. Correlated bins count as one. */
double fit_deviance(fit_work *work, const quell_shaper *shaper, double *gain_ln);
/* The same once work->signal is made. */
double fit_deviance_of_signal(fit_work *work, double *gain_ln);

/* Residual ln(measured / predicted) and its variance at a bin, from work->signal. */
double fit_residual(const fit_work *work, size_t bin, double gain, double *variance);

/* v from the residuals of work->signal: robust, less what noise explains, of p parameters. */
double fit_scatter2(const fit_work *work, double gain_ln, size_t parameters);

/* Rms of the residuals over the bins where the signal is above the floor, dB. */
double fit_misfit_db(const fit_work *work, double gain_ln);

/* Bins that count. */
double fit_count(const fit_work *work);

/* ---------------------------------------------------------------- families */

/* A family to be tried: built in or the machine file's. */
typedef struct fit_family {
    const quell_family *built_in; /* NULL: own */
    const quell_own_family *own;
    double tolerance;
    bool smooth;
} fit_family;

bool fit_design(const fit_family *family, double hz, double zeta, quell_shaper *out);

/* The best of a family, and how well it is known. */
typedef struct fit_point {
    bool found;
    double hz, zeta, gain_ln, deviance;
} fit_point;

/* From a scan of frequencies, in steps that are coarse. */
fit_point fit_family_scan(fit_work *work, const fit_family *family, double low_hz, double high_hz);
/* From there, to the best. */
fit_point fit_family_refine(fit_work *work, const fit_family *family, fit_point start);

/* At a damping ratio that is given: the best frequency near hz, and d2 deviance / d (ln hz)2. */
fit_point fit_family_at(fit_work *work, const fit_family *family, double zeta, double near_hz, double *curvature);

enum { FIT_PROFILE = 31 }; /* damping ratios 0, 0.01 ... 0.3 */

/* The deviance's profile over damping ratios. */
typedef struct fit_profile {
    fit_point at[FIT_PROFILE];
    double curvature[FIT_PROFILE];
} fit_profile;
void fit_family_profile(fit_work *work, const fit_family *family, fit_point best, fit_profile *out);

/* 95 % intervals from the profile: of the natural frequency, of the damped one, of the damping ratio. */
void fit_intervals(const fit_profile *profile, fit_point best, double best_curvature, double natural_hz[2], double damped_hz[2],
                   double zeta[2]);

/* ---------------------------------------------------------------- lists */

/* Moves a list of impulses that sum to 1 to where the deviance is least, which it returns; *gain_ln gets the gain there. */
double fit_list_improve(fit_work *work, quell_shaper *list, double *gain_ln);

/* The list without one of its impulses, the others scaled to a sum of 1. */
bool fit_list_without(const quell_shaper *from, size_t without, quell_shaper *out);

/* The best list of count impulses, from seeds and from the best list of one impulse less; HUGE_VAL, out untouched, if none. */
double fit_list_best(fit_work *work, size_t count, const quell_shaper *seed, size_t seeds, const quell_shaper *smaller,
                     quell_shaper *out, double *gain_ln);

/* ---------------------------------------------------------------- the search */

enum { IDENTIFY_FAMILIES_MOST = 64 };

/* A family with a V, and its fit. */
typedef struct identify_trial {
    fit_family family;
    const char *id, *title;
    size_t parameters; /* 2, or 3 where V was fitted, too */
    bool dropped;      /* far behind in the scan: not followed */
    fit_point point;
} identify_trial;

typedef struct identify_state {
    fit_work work;
    const quell_identify_options *options;
    quell_arena *arena;
    size_t trials;
    identify_trial trial[IDENTIFY_FAMILIES_MOST];
    size_t lists;
    quell_shaper list[FIT_LIST_MOST + 1];
    double list_deviance[FIT_LIST_MOST + 1], list_gain_ln[FIT_LIST_MOST + 1];
    double none_deviance, none_gain_ln;
} identify_state;

/* Fills in what is tried: all families of the table and the machine file, each with its V. */
void identify_list_trials(identify_state *state);

/* Fits all of it. */
void identify_search(identify_state *state);
/* Fits all of it anew after the scatter has changed. */
void identify_search_again(identify_state *state);

/* Fills in the candidates, best first, and how many are not told apart. */
void identify_rank(identify_state *state, quell_identification *out);
/* The intervals of those that are not far behind. */
void identify_add_intervals(identify_state *state, quell_identification *out);
/* Adds V that are not told from the best one's to cannot_tell. QUELL_OK; QUELL_E_MEMORY. */
quell_status identify_note_tolerances(const identify_state *state, quell_identification *out, quell_error *err);

/* ---------------------------------------------------------------- answers */

/* Compares what was entered with what runs: agrees, reading, uses_damping. families: what was tried. */
void identify_judge_expected(fit_work *work, const fit_family *entered_as, const quell_machine *machine,
                             const quell_expected *expected, quell_identification *out);

/* How far frequencies may be off for other reasons than scatter: clocks, and impulse times on ticks. */
double identify_frequency_error(const quell_ratio *ratio, const quell_machine *machine, const quell_shaper *shaper);

/* cannot_tell and verdict in words. other: NULL if nothing is known of the other axis. QUELL_OK; QUELL_E_MEMORY. */
quell_status identify_words(const quell_ratio *driven, const quell_ratio *other, const quell_identify_options *options,
                            quell_arena *arena, quell_identification *out, quell_error *err);

/* The words of a judged agreement, in the arena; NULL if memory is out. */
const char *applied_words(const quell_applied *of, const quell_shaper *shaper, quell_arena *arena);

#endif
