/* Building blocks of the compare stage. */
#ifndef QUELL_COMPARE_PRIVATE_H
#define QUELL_COMPARE_PRIVATE_H

#include "quell/compare.h"

/* ---------------------------------------------------------------- differences of logarithms */

/* What the recordings of one side say of the logarithm of a quantity. */
typedef struct compare_estimates {
    size_t count;
    double value[QUELL_RECORDINGS_MAX];
    double variance[QUELL_RECORDINGS_MAX]; /* within the recording */
    double dof[QUELL_RECORDINGS_MAX];      /* of that variance; infinite: known */
} compare_estimates;

typedef struct compare_difference {
    double before, after, change; /* means, and after - before */
    double error, ci95[2], p_value;
} compare_difference;

/* Difference of the means. run_to_run: the recordings' scatter is in the error; false is returned, and nothing done, with less
   than QUELL_REPEATS_LEAST repeats. Without it the errors within the recordings alone. Counts > 0. */
bool compare_difference_find(const compare_estimates *before, const compare_estimates *after, bool run_to_run,
                             compare_difference *out);

/* ---------------------------------------------------------------- levels */

/* The two sides, in the order before, after. */
typedef struct compare_sides {
    const quell_measured_side *side[2];
    size_t axis;
    bool run_to_run;
    double range_hz[2]; /* in which levels are compared */
} compare_sides;

/* Fills in all of a change but what depends on the others, from its frequencies. *fits is false if too few bins lie inside. */
quell_status compare_level(const compare_sides *sides, const quell_comparison *pooled,
                           quell_level_change *change, bool *fits, quell_error *err);

/* All modes of both sides: which are the same, how far they moved, and their levels. */
quell_status compare_modes(const compare_sides *sides, quell_comparison *out, quell_error *err);

/* ---------------------------------------------------------------- verdict */

/* Fills in alike and common_db once bands and modes are judged. */
void quell_compare_find_common(quell_comparison *comparison);

/* The verdict of a judged comparison in words, in the arena; NULL if memory is out. */
const char *quell_compare_words(const quell_comparison *comparison, quell_arena *arena);

/* A text that grows in an arena. */
typedef struct compare_text {
    quell_arena *arena;
    const char *text; /* NULL once memory is out */
} compare_text;

void compare_add(compare_text *to, const char *format, ...) QUELL_PRINTF(2, 3);

/* Sentences on how far modes moved, came or went; and on what the statement covers. */
void compare_add_shifts(compare_text *to, const quell_comparison *comparison);
void compare_add_scope(compare_text *to, const quell_comparison *comparison);

#endif
