/* What `quell choose` shows, shared by its files. */
#ifndef QUELL_CLI_CHOOSE_VIEW_H
#define QUELL_CLI_CHOOSE_VIEW_H

#include "cli/modes_view.h"

/* One axis: what was found on it, and what was chosen. */
typedef struct choose_axis_view {
    char name; /* 'x' or 'y' */
    const cli_list *files;
    modes_recording *recording; /* one a file */
    const quell_modes *modes;
    quell_mode_spread spread[QUELL_MODES_MAX]; /* of modes */
    double drift;                              /* of every mode at least */
    bool drift_stated;
    double *
        left; /* R of what was chosen at each recording's own estimates; NULL: a single recording, or nothing chosen */
    size_t worst;            /* the recording where that is most */
    quell_findings findings; /* of the recordings and of the analysis, each with its file */
    quell_axis_choice *choice;
    quell_status status;
} choose_axis_view;

typedef struct choose_view {
    quell_machine machine;
    bool has_old;
    quell_shaper old_setting;
    size_t axes;
    choose_axis_view axis[2];
    bool has_pair;
    quell_pair pair; /* of the two chosen, if both are */
} choose_view;

const quell_candidate *choose_row(const quell_axis_choice *choice, int index); /* NULL for -1 */
void choose_judge_pair(choose_view *view);
/* What the choice leaves in each recording's condition. */
void choose_judge_conditions(cli_run *run, const choose_view *view, choose_axis_view *axis,
                             const quell_need *need);
/* The drift of a mode; the largest over the modes; and where it comes from: "assumed (common practice, no source)". */
double choose_drift_of(const choose_axis_view *axis, size_t mode);
double choose_drift(const choose_axis_view *axis, size_t *mode);
/* "recordings", "stated" or "assumed". */
const char *choose_drift_source(const choose_axis_view *axis, size_t mode);
const char *choose_drift_words(cli_run *run, const choose_axis_view *axis, size_t mode);
double choose_ripple_sum_um(const quell_axis_choice *choice, const quell_candidate *row, double ci95_um[2]);

/* How a row is marked and called, and whether it has a design frequency and damping ratio to tell. */
char choose_mark(const quell_axis_choice *choice, int index);
const char *choose_short_title(const quell_candidate *row);
bool choose_has_design_point(const quell_candidate *row);

void choose_print_table(cli_run *run, const choose_axis_view *axis);
quell_status choose_print(cli_run *run, const choose_view *view);
quell_json choose_json(const choose_view *view); /* quell.choose/1 */

/* Reads the recordings of all axes, with one mounting for those of a sensor that stayed where it was. */
quell_status choose_load(cli_run *run, choose_view *view);

#endif
