/* What `quell excite` shows, gathered once for program, JSON and plot. */
#ifndef QUELL_CLI_EXCITE_VIEW_H
#define QUELL_CLI_EXCITE_VIEW_H

#include "cli/cli.h"

typedef struct excite_view {
    quell_test_motion asked;
    bool range_is_default;
    quell_program program;
} excite_view;

/* The options, and what the machine file adds, as a test motion; refuses what is missing, and says why it is wanted. */
quell_status excite_read(cli_run *run, excite_view *view);

/* Refuses program, plan, plot and what --out writes at one place; file: of the program, NULL if it has none. */
quell_status excite_check_places(cli_run *run, const char *file);

/* The program with its comments. */
void excite_write(const excite_view *view, FILE *stream);

/* What the test is, the cautions and what must be set, on stderr. */
void excite_say(const cli_run *run, const excite_view *view);

quell_json excite_json(const excite_view *view);
quell_status excite_plot(cli_run *run, const excite_view *view);

#endif
