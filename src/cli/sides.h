/* What `quell compare` and `quell identify` have in common: two sides of recordings that should be alike. */
#ifndef QUELL_CLI_SIDES_H
#define QUELL_CLI_SIDES_H

#include "cli/cli.h"

/* " a.csv b.csv" for a next line, then " NAME-3" for each that is lacking of `want` recordings. */
const char *sides_files_again(const cli_run *run, const cli_list *files, size_t want, const char *name);

/* " --axis x --band 10:200": options as they were given, those of reading last; shapers: with --shaper-on, --applied and --expected. */
const char *sides_options_again(const cli_run *run, bool shapers);

/* Is there a finding of this kind? */
bool sides_have(const quell_findings *findings, const char *kind);

/* Leaves out recordings whose samples are there already, under whatever name: a copy tells nothing of how runs differ. *files: those left,
   in the arena. `side` of the finding: "before the change". */
quell_status sides_drop_copies(cli_run *run, const char *side, cli_recording *loaded, const cli_list **files,
                               quell_findings *findings);

/* A finding "same" where one recording is on both sides. */
quell_status sides_share(cli_run *run, const cli_recording *before, size_t before_count, const cli_recording *after,
                         size_t after_count, quell_findings *findings);

/* What a verdict begins with then. */
const char *sides_share_words(void);

/* Findings where the first recordings were shaken otherwise. *same_kind: by motion of one kind, whatever its range, which a shaper
   may seem to narrow. */
quell_status sides_shaking(cli_run *run, const cli_recording *before, const cli_recording *after, quell_findings *findings,
                           bool *same_kind);

#endif
