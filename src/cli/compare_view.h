/* What `quell compare` shows, gathered once for table, JSON and plot. */
#ifndef QUELL_CLI_COMPARE_VIEW_H
#define QUELL_CLI_COMPARE_VIEW_H

#include "cli/cli.h"

/* One side: its recordings, and their spectrum (pooled, if there are several). */
typedef struct compare_side {
    const char *name; /* "before", "after" */
    const cli_list *files;
    cli_recording *loaded; /* one for each file */
    quell_spectrum spectrum;
    double duration_s; /* of all its recordings */
} compare_side;

typedef struct compare_view {
    compare_side before, after;
    char axis;               /* 'x', 'y', or 0 if not given */
    const char *axis_words;  /* "axis x", "the direction of most motion" */
    size_t index;            /* of the axis in the spectra */
    quell_modes modes;       /* of the first recording before */
    const char *no_modes;    /* why there are none; NULL if there are */
    quell_findings findings; /* where the sides differ */
    quell_comparison result;
} compare_view;

/* The tables and the verdict on stdout. */
void compare_print(cli_run *run, const compare_view *view);

/* The whole quell.compare/1 object. */
quell_json compare_json(const compare_view *view);

/* Both densities above their ratio, to the --plot file. */
quell_status compare_plot(cli_run *run, const compare_view *view);

#endif
