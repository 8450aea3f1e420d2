/* What `quell ripple` shows, gathered once for the table and JSON. */
#ifndef QUELL_CLI_RIPPLE_VIEW_H
#define QUELL_CLI_RIPPLE_VIEW_H

#include "cli/cli.h"

/* What a ripple's place is taken to be good to where --calliper does not say: read by eye against a calliper's jaws. */
#define RIPPLE_CALLIPER_M 1e-4

typedef struct ripple_view {
    quell_part part;
    bool calliper_assumed;
    quell_part_finding found;
    const char *file; /* of the recording; NULL: none */
    quell_modes modes;
    bool matched;
    quell_part_match match;
} ripple_view;

/* --at, --count, --calliper, --heights and the drive into view->part. */
quell_status ripple_read(cli_run *run, ripple_view *view);

/* The natural frequency, by the damping ratio that the heights or the mode that agrees tell; NaN without. */
double ripple_natural_hz(const ripple_view *view);

void ripple_print(cli_run *run, const ripple_view *view);
void ripple_say(const cli_run *run, const ripple_view *view);
quell_json ripple_json(const ripple_view *view);

#endif
