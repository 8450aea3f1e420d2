/* --applied SPEC of `quell compare`: the shaper said to be in effect, held against what was measured. To be made once both sides
   are loaded and the modes before are known; then printed, added to the JSON object and drawn as a panel. */
#ifndef QUELL_CLI_COMPARE_APPLIED_H
#define QUELL_CLI_COMPARE_APPLIED_H

#include "cli/cli.h"

typedef struct compare_applied {
    bool given; /* with a shaper; the others mean something only then */
    quell_shaper shaper;
    const char *not_judged; /* why there is no result; NULL: there is one */
    quell_applied result;
} compare_applied;

/* Reads the option, `none` or a shaper: refuses a wrong one before any recording is read. */
quell_status compare_applied_read(cli_run *run, compare_applied *out);

/* Measures and judges, unless a shaper was active before, too, or too little has signal; axis: index of the driven one; before_modes: may be NULL. Nothing to do where the option is not given. */
quell_status compare_applied_make(cli_run *run, const cli_recording *before, size_t before_count, const cli_recording *after,
                                  size_t after_count, size_t axis, const quell_modes *before_modes, compare_applied *out);

/* Does it act as it was said to, as far as that was judged? Modes that moved meanwhile are another matter. */
bool compare_applied_as_stated(const compare_applied *of);

/* The shaper to be divided out of the after side when its modes are sought: the stated one only if it works, scaled where it acts at
   another frequency, "none" where none acts; *words is NULL where it is not known what acts, and modes would be guesses.
   QUELL_OK; QUELL_E_MEMORY. */
quell_status compare_applied_divide(cli_run *run, const compare_applied *of, const char *stated, const char **words);

/* The verdict, led by its words unless the shaper works as predicted: what follows is then of something else. NULL: memory is out. */
const char *compare_applied_lead(cli_run *run, const compare_applied *of, const char *verdict);

/* Its words on stdout, unless they lead the verdict. */
void compare_applied_print(const compare_applied *of);

/* The key "applied" of the object: null where there is no result. */
void compare_applied_json(quell_json *json, json_t *in, const compare_applied *of);

/* A panel of the plot: predicted over measured ratio. */
void compare_applied_panel(quell_plot *plot, const compare_applied *of);

#endif
