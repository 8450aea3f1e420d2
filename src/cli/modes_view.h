/* What `quell modes` shows, shared by its table and its JSON. */
#ifndef QUELL_CLI_MODES_VIEW_H
#define QUELL_CLI_MODES_VIEW_H

#include "cli/cli.h"

/* One recording's modes. */
typedef struct modes_recording {
    const char *file, *label; /* label: NULL if there is none */
    cli_recording loaded;
    size_t axis; /* index of the axis under test */
    quell_spectrum spectrum;
    quell_modes modes;
    quell_measured how;
    bool sweep_checked; /* a sweep that is known, and no shaper was on */
    quell_sweep_check sweep_check;
} modes_recording;

typedef struct modes_view {
    size_t recordings;
    const cli_list *files;
    modes_recording *recording;
    quell_modes modes; /* of all recordings together */
    quell_mode_spread spread[QUELL_MODES_MAX];
    size_t dropped; /* modes of single recordings for which there was no room */
    size_t ignored_count;
    quell_ignored *ignored;
    const cli_idle *idle; /* what is there at rest */
    quell_shaper shaper_on;
    bool shaper_stated, mount_given;
    quell_findings findings; /* of the analysis and of every recording */
} modes_view;

/* Reads the recordings given, finds the modes of each and pools them; view starts empty. */
quell_status modes_gather(cli_run *run, modes_view *view);

/* The letter of the axis under test; 0 if nobody said which was shaken. */
char modes_axis_letter(const modes_view *view);

/* Are the modes those of a density? Else of free decays, or there are none. */
bool modes_fits_density(const quell_modes *modes);

/* What the analysis of one recording has to say beside its modes: a sweep that was not run, a poor fit, peaks left out. */
quell_status modes_recording_findings(cli_run *run, modes_recording *of, quell_findings *findings);

/* Does random motion pause, or are stops none, or so few that nothing tells how they differ? */
quell_status modes_check_excitation(cli_run *run, const modes_recording *of, quell_findings *findings);
/* What may be hidden from the fit: in a sweep's gaps, in a shaper's notches, at a sweep's ends. */
quell_status modes_hidden_findings(cli_run *run, const modes_recording *of, quell_findings *findings);

/* Did the machine run the sweep that was stated? Fills in of->sweep_check. */
quell_status modes_check_sweep(cli_run *run, modes_recording *of, quell_findings *findings);
/* "recorded 3.1 of 6.0 m/s2, 12.0 to 60.0 Hz of 12.0 to 115.0 Hz"; only what is off, or all. "" if not checked. */
enum { MODES_SWEEP_WORDS = 640 };
const char *modes_sweep_words(const modes_recording *of, bool only_off, char out[MODES_SWEEP_WORDS]);
/* Is hz at the end of a sweep where the response still rises: then a peak there is the edge of the sweep. */
bool modes_at_sweep_end(const modes_recording *of, double hz);
/* sweep.check of quell.modes/1 */
void modes_json_sweep_check(quell_json *json, json_t *sweep, const modes_recording *of);

/* Fills in the findings. */
quell_status modes_find_findings(cli_run *run, modes_view *view);

/* What a person reads, on standard output. */
void modes_print(cli_run *run, const modes_view *view);
/* The table alone. */
void modes_table_print(cli_run *run, const quell_modes *modes);
const char *modes_why_no_participation(const quell_modes *modes);

/* The pictures of --plot. */
quell_status modes_draw(cli_run *run, const modes_view *view);

/* How the k-th mode differs between the recordings, in lines below it; nothing for a single one. */
void modes_print_spread(const modes_view *view, size_t k);

/* quell.modes/1 */
quell_json modes_json(const modes_view *view);

#endif
