/* What quell check shows of one recording, as tables and as JSON. */
#ifndef QUELL_CLI_CHECK_VIEW_H
#define QUELL_CLI_CHECK_VIEW_H

#include "cli/cli.h"

typedef struct check_view {
    const char *path;
    const cli_idle *idle; /* lines that are there at rest */
    bool readable; /* false: only why is set */
    char why[1200];
    quell_recording recording;
    quell_mounting mounting;
    quell_fitness fitness;
} check_view;

void check_print(cli_run *run, const check_view *view);
void check_json(quell_json *json, json_t *in, const check_view *view);

#endif
