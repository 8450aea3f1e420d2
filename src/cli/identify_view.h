/* What `quell identify` shows, gathered once for table, JSON and plot. */
#ifndef QUELL_CLI_IDENTIFY_VIEW_H
#define QUELL_CLI_IDENTIFY_VIEW_H

#include "cli/cli.h"

/* One side: its recordings as the library takes them. */
typedef struct identify_side {
    const cli_list *files;
    cli_recording *loaded; /* one for each file */
    quell_side *side;      /* likewise */
} identify_side;

/* The recordings that were loaded, as sides. NULL: memory is out, and run->err says so. */
quell_side *identify_sides(cli_run *run, const cli_recording *loaded, size_t count);

typedef struct identify_view {
    identify_side off, on;
    char axis; /* driven: 'x' or 'y' */
    bool has_machine, has_expected, has_other;
    bool swapped;            /* the sides fit far better the other way round */
    quell_findings findings; /* where the sides differ */
    quell_machine machine;
    quell_expected expected;
    quell_ratio ratio, other; /* of the driven axis, of the other */
    quell_identification result;
    const char *machine_lines; /* for a machine file; NULL if nothing follows */
} identify_view;

/* Where the sides differ in what should be alike; *same_kind: of motion. */
quell_status identify_find_differences(cli_run *run, identify_view *view, bool *same_kind);
/* Sets view->swapped once there is a result. */
quell_status identify_try_swapped(cli_run *run, identify_view *view, size_t axis, const double band_hz[2]);
/* Says the findings, and begins the verdict with those that make the rest worth little, or replaces it. */
quell_status identify_lead_verdict(cli_run *run, identify_view *view, bool same_kind);

/* Lines of a machine file that follow from what was found, in the arena: *lines is NULL if none do. */
quell_status identify_machine_lines(cli_run *run, const identify_view *view, const char **lines);

/* The table and the verdict on stdout. */
void identify_print(cli_run *run, const identify_view *view);

/* The whole quell.identify/1 object. */
quell_json identify_json(const identify_view *view);

/* The measured ratio with the best curves, to the --plot file. */
quell_status identify_plot(cli_run *run, const identify_view *view);

#endif
