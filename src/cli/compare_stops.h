/* Ringing after stops in `quell compare`: measured from loaded recordings, as a table, as JSON. */
#ifndef QUELL_COMPARE_STOPS_H
#define QUELL_COMPARE_STOPS_H

#include "cli/cli.h"

/* Of axis index `axis` of the recordings of both sides, with --excitation and --band; known: modes found otherwise, or NULL. */
quell_status compare_stops_make(cli_run *run, const cli_recording *before, size_t befores, const cli_recording *after,
                                size_t afters, size_t axis, const quell_modes *known, quell_stops_comparison *out);

/* Of what was measured the table and the sentences below it, on stdout. */
void compare_stops_print(cli_run *run, const quell_stops_comparison *stops);
void compare_stops_words(cli_run *run, const quell_stops_comparison *stops);

/* `stops`: an object, or null with why. */
void compare_stops_json(quell_json *json, json_t *in, const quell_stops_comparison *stops);

#endif
