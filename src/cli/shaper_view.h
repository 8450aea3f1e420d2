/* What `quell shaper` shows, gathered once for table, JSON and plot. */
#ifndef QUELL_CLI_SHAPER_VIEW_H
#define QUELL_CLI_SHAPER_VIEW_H

#include "cli/cli.h"

/* A mode asked about with --at, and what the shaper leaves of it. */
typedef struct shaper_point {
    double frequency_hz, damping_ratio, residual;
} shaper_point;

typedef struct shaper_view {
    quell_shaper shaper;
    char name[160]; /* "ZVD for 47.2 Hz, damping ratio 0.05" */
    char spec[128]; /* as quell_shaper_format writes it; cut if long */
    quell_shaper_moments moments;
    bool has_mode;       /* there is a mode to state the insensitivity at: the design's, or the first --at */
    double frequency_hz; /* of that mode; without one, of half a period between impulses on the average */
    double damping_ratio;
    quell_insensitivity insensitivity; /* if has_mode */
    size_t points;
    shaper_point point[CLI_LIST_MAX];
} shaper_view;

/* Residual against frequency above the impulses in time, to the --plot file. */
quell_status cli_shaper_plot(cli_run *run, const shaper_view *view);

#endif
