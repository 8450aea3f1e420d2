/* The choice for one axis: what its files share. */
#ifndef QUELL_CHOOSE_CHOOSE_PRIVATE_H
#define QUELL_CHOOSE_CHOOSE_PRIVATE_H

#include "choose/search_private.h"

enum { CHOOSE_FAMILIES_MAX = QUELL_FAMILIES_ACCEPTED_MAX };

/* Candidates within this much of the least spread are told apart by what they cover. */
#define CHOOSE_SPREAD_TIE 0.03

/* One choice being made. The families' candidates come first in out, in the same order. */
typedef struct choice_work {
    const quell_need *need;
    const quell_machine *machine;
    axis_needs needs;
    search_context search;
    size_t families;
    search_family *family; /* families of them */
    search_result *result; /* parallel */
    bool families_assumed; /* all that are built in, since the machine file lists none */
    quell_arena *arena;    /* of the texts */
    quell_axis_choice *out;
    quell_tailored tailored;
    quell_textbook textbook; /* the best product, where a list of it can be set */
    const char *product;     /* as it is written */
    bool out_of_memory;
} choice_work;

/* Fills in work->family with those the controller has; work->family must have room for CHOOSE_FAMILIES_MAX. */
void choice_list_families(choice_work *work);

const quell_axis_limits *choice_limits(const choice_work *work);

/* Formatted text in the arena; "" and out_of_memory if that is out. */
const char *choice_say(choice_work *work, const char *format, ...) QUELL_PRINTF(2, 3);

/* ---------------------------------------------------------------- rows */

/* Fills a row's numbers from the shapers it may come to; the first is the one meant. */
void candidate_judge(const choice_work *work, quell_candidate *row, const quell_shaper *shaper, size_t count);

/* Fills the row's stretches covered by a shaper. */
void candidate_cover(const axis_needs *needs, const quell_shaper *shaper, quell_candidate *row);

/* How wide the stretch is that covers the estimate: ln(high / low); 0 if it is not covered. */
double candidate_coverage(const axis_needs *needs, const quell_candidate *row);

/* Whether an impulse of the row's shaper is negative. */
bool candidate_is_negative(const quell_candidate *row);

/* A new row, empty but for its names. */
quell_candidate *candidate_new(choice_work *work, const char *id, const char *title);

/* Adds the shaper made for this axis' modes, where one can be designed. */
void candidates_add_tailored(choice_work *work);

/* Adds all rows: families, tailored, old setting, no shaper. */
void candidates_add(choice_work *work);

/* ---------------------------------------------------------------- rule */

enum { RULE_NOBODY = -1 };

/* What the rule looks at. */
typedef struct rule_entry {
    bool meets;
    double spread_s, coverage;
} rule_entry;

/* The entry of least spread among those that meet the limit; within 3 % of it, of the widest coverage. One may be
   left out (RULE_NOBODY: none). RULE_NOBODY if none meets it. */
int rule_pick(const rule_entry *entry, size_t count, int except);

/* The row chosen among all but one: by the rule, and if nothing meets the limit by ripple. */
int rule_choose(const choice_work *work, int except);

/* A row that the controller takes and that keeps to the residual limit. */
bool rule_meets(const quell_axis_choice *choice, const quell_candidate *row);
bool rule_rounding_kept(const quell_machine *machine, const quell_candidate *row);

/* ---------------------------------------------------------------- words */

void choice_explain(choice_work *work);          /* reason of each row, why, ways out */
void choice_add_notes(choice_work *work);        /* what is not known, and what that costs */
void choice_add_would_change(choice_work *work); /* by choosing again */

#endif
