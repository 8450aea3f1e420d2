/* The search for the best setting of one family, in the controller's own terms. */
#ifndef QUELL_CHOOSE_SEARCH_PRIVATE_H
#define QUELL_CHOOSE_SEARCH_PRIVATE_H

#include "choose/needs_private.h"
#include "choose/setting_private.h"

/* Damping ratios are searched in steps of this, from 0 to QUELL_DAMPING_RATIO_MAX. */
#define SEARCH_DAMPING_STEP 0.001
enum { SEARCH_DAMPING_STEPS = 300, SEARCH_READINGS_MAX = 6 };

/* A family that may be used: built in, or the machine file's own. */
typedef struct search_family {
    const quell_family *built_in; /* NULL: own */
    const quell_own_family *own;
    const char *id, *title;
    /* Designs at 1 Hz, made when first asked for: one a step of damping, and one for the controller's own number. */
    const quell_shaper *unit[SEARCH_DAMPING_STEPS + 2];
    bool absent[SEARCH_DAMPING_STEPS + 2]; /* no such shaper */
} search_family;

typedef struct search_context {
    const quell_machine *machine;
    double tolerance;   /* V */
    quell_arena *arena; /* of the designs at 1 Hz */
    bool out_of_memory;
} search_context;

/* A setting as the controller would run it: a shaper for each reading that the machine file leaves open. */
typedef struct search_setting {
    setting_told told;
    size_t readings;
    quell_shaper shaper[SEARCH_READINGS_MAX]; /* the first is what is meant */
} search_setting;

typedef struct search_result {
    bool exists;  /* the family has a shaper here at all */
    bool meets;   /* R over U within the limit, in every reading */
    bool outside; /* designed outside the modes' ranges, since nothing within them meets the limit */
    double residual_worst, spread_s;
    search_setting setting;
} search_result;

/* The setting of least spread whose worst R meets needs->residual_limit; if there is none, that of least worst R.
   hint: damping ratios are sought near this result's first, and elsewhere only if that fails; NULL: all that are
   sensible.
   must_meet: a setting that misses the limit is of no interest (exists is false then).
   Want of memory shows in search->out_of_memory. */
void search_family_best(search_context *search, search_family *family, const axis_needs *needs,
                        const search_result *hint, bool must_meet, search_result *out);

/* What the controller makes of what it is told. False if the family has no shaper there. */
bool search_realise(search_context *search, search_family *family, const setting_told *told,
                    search_setting *out);

/* Worst R over all readings, given up above a value as needs_residual_worst does. */
double search_setting_residual(const axis_needs *needs, const search_setting *setting, double give_up_above);

double search_spread(const quell_shaper *shaper);

/* ---------------------------------------------------------------- between the search's own files */

/* One design damping ratio: the shapers at 1 Hz of every reading. */
typedef struct search_variants {
    size_t count;
    const quell_shaper *unit[SEARCH_READINGS_MAX];
    double factor[SEARCH_READINGS_MAX]; /* natural frequency in that reading, over the one meant */
    double unit_spread_s;               /* of the first */
} search_variants;

/* The variants of that many steps of damping. False if the family has no shaper there, or none with a spread. */
bool search_make_variants(search_context *search, search_family *family, int damping, search_variants *out);

/* Impulse times as multiples of a tick; what falls together is added. */
void search_round_to_ticks(quell_shaper *shaper, double tick_s);

/* The unit shaper moved to a natural frequency, its times rounded to ticks (0: none). */
void search_place(quell_shaper *out, const quell_shaper *unit, double hz, double tick_s);

/* A stretch of design frequencies to be searched. */
typedef struct search_scan {
    const search_context *search;
    const axis_needs *needs;
    const search_variants *made;
    double low_hz, high_hz;
} search_scan;

/* The highest frequency that meets the limit; NaN if none does. */
double search_highest_that_meets(const search_scan *scan);

/* The frequency of least worst R; NaN if it is not below bound. */
double search_frequency_of_least(const search_scan *scan, double bound, double *least);

#endif
