/* What `quell compare` shows, gathered once for table, JSON and plot. */
#ifndef QUELL_CLI_COMPARE_VIEW_H
#define QUELL_CLI_COMPARE_VIEW_H

#include "cli/cli.h"
#include "cli/compare_applied.h"
#include "cli/compare_stops.h"

/* One side: its recordings, and what was measured on each. */
typedef struct compare_side {
    const char *name; /* "before", "after" */
    const cli_list *files;
    const char *shaper;    /* what was active, as stated; NULL: not stated */
    const char *divided;   /* what is divided out when modes are sought; NULL: nothing is known */
    cli_recording *loaded; /* one for each file, as the arrays below */
    quell_spectrum *spectrum;
    quell_modes *modes;
    quell_shaking *shaking;
    double *mode_dof;
    double duration_s;    /* of all its recordings */
    bool shaken;          /* how the machine was shaken is known of all of them */
    bool sought;          /* modes could be sought in all of them, and are those of the machine */
    const char *no_modes; /* why there are none; NULL if there are */
} compare_side;

typedef struct compare_view {
    compare_side before, after;
    char axis;               /* 'x', 'y', or 0 if not given */
    const char *axis_words;  /* "axis x", "the direction of most motion" */
    size_t index;            /* of the axis in the spectra */
    quell_findings findings; /* where the sides differ */
    bool shaken_alike;       /* by one kind of motion; else levels differ for that alone */
    quell_comparison result;
    quell_stops_comparison stops;
    compare_applied applied;
} compare_view;

/* Reads both sides, measures them and compares them, into a view whose sides have their files and shapers. */
quell_status compare_gather(cli_run *run, compare_view *view);

/* Findings where recordings differ that should be alike, said and kept. */
quell_status compare_differences(cli_run *run, compare_view *view);

/* The tables and the verdict on stdout. */
void compare_print(cli_run *run, const compare_view *view);

/* The whole quell.compare/1 object. */
quell_json compare_json(const compare_view *view);

/* Both densities above their ratio, to the --plot file. */
quell_status compare_plot(cli_run *run, const compare_view *view);

#endif
