/* What `quell tailor` shows, gathered once for table, JSON and plot. */
#ifndef QUELL_CLI_TAILOR_VIEW_H
#define QUELL_CLI_TAILOR_VIEW_H

#include "cli/cli.h"

typedef struct tailor_view {
    quell_bands bands;
    size_t merged; /* bands that were made one with another */
    bool damping_unknown;
    quell_tailor_limits limits;
    size_t smooth; /* order of the kernel's B-splines; 0: impulses */
    quell_tailored made;
    quell_shaper_moments moments;
    bool has_textbook;
    quell_textbook textbook;
    quell_shaper_moments textbook_moments;
    char textbook_name[256];
} tailor_view;

/* Where a band's damping ratio is not stated, all from 0 to this are designed for. */
#define TAILOR_DAMPING_UNKNOWN 0.2

/* --band LO:HI[:ZLO:ZHI], all of them. */
quell_status tailor_bands(cli_run *run, tailor_view *view);

quell_json tailor_json(const tailor_view *view);
quell_status tailor_plot(cli_run *run, const tailor_view *view);

/* --verify: checks a file that `quell tailor --json` wrote. */
quell_status tailor_verify(cli_run *run);

#endif
