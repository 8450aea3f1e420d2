/* The command line: one table of commands, one table of options that both parses and prints the help. */
#ifndef QUELL_CLI_H
#define QUELL_CLI_H

#include "quell/quell.h"

#include <stdio.h>

enum { CLI_LIST_MAX = 64 };

/* Texts given for an option that may be repeated, or for operands; the texts belong to argv. After cli_labels_split
   the files of FILE@key=value,... and their labels, NULL where there is none. */
typedef struct cli_list {
    size_t count;
    const char *item[CLI_LIST_MAX], *label[CLI_LIST_MAX];
} cli_list;

/* Everything that any command can be told. A number not given is NaN; a text NULL. */
typedef struct cli_options {
    cli_list files;
    quell_read_options read;
    bool force;

    const char *idle;
    double segment_s, overlap, threads;
    const char *window, *band, *shaper_on, *excitation;
    cli_list ignore;

    bool json, quiet, help, version;
    const char *plot, *out, *spectrogram;

    cli_list x, y, after; /* recordings per axis; the after side */
    const char *axis, *applied;
    const char *machine, *old_setting, *old_machine, *new_machine;
    double residual_limit, drift;
    bool equal;

    cli_list at; /* shaper: HZ:ZETA */


    struct {
        cli_list on;
        const char *expected;
    } identify;

    struct {
        cli_list band;
        double tick_s, impulses, smooth;
        const char *verify;
    } tailor;

    struct {
        cli_list mode;
        const char *corner, *stop, *speed, *shaper, *rounding_limit;
        double acceleration_mps2;
    } predict;

    struct {
        cli_list travel;
        const char *kind, *dwell, *lowest, *plan;
        double speed_mps, acceleration_mps2, step_m, seconds, seed;
    } excite;

    struct {
        cli_list at;
        const char *heights, *calliper, *belt_pitch;
        double count, pulley_teeth, steps_per_turn;
        bool one_sided;
    } ripple;

    struct {
        cli_list mode, line;
        const char *axis, *excitation, *shaper, *rotation, *preamble, *noise, *motion;
        double seconds, rate_hz, clock_error, jitter, lost, step_mps2, range_mps2, oversample, seed;
    } simulate;
} cli_options;

typedef enum cli_kind {
    CLI_FLAG,   /* bool */
    CLI_TEXT,   /* const char * */
    CLI_REPEAT, /* cli_list, one text each time */
    CLI_FILES,  /* cli_list, this and the operands that follow */
    CLI_COUNT,  /* double holding a whole number >= 0 */
    CLI_RATIO,  /* doubles in SI from here on; see kinds[] in options.c for the unit of a bare number */
    CLI_HZ,
    CLI_SECONDS,
    CLI_METRES,
    CLI_MPS,
    CLI_MPS2
} cli_kind;

typedef struct cli_option {
    const char *name;     /* "--rate"; NULL ends a table */
    const char *argument; /* "HZ[:TOL%]"; NULL for flags */
    cli_kind kind;
    size_t offset; /* in cli_options */
    const char *help;
} cli_option;

/* A group of options under a heading of the help. */
typedef struct cli_group {
    const char *heading;
    const cli_option *option; /* ended by a NULL name */
} cli_group;

extern const cli_group cli_output_options, cli_undrawn_options /* without plots */, cli_reading_options, cli_analysis_options;

struct cli_run;

/* A row of the command table. Adding a command is a file cmd_<name>.c and a row in commands.c. */
typedef struct cli_command {
    const char *name, *operands, *summary;
    const char *about;             /* help: what it does and what it prints */
    const char *example;           /* help: lines, each starting "quell ..." */
    const cli_group *const *group; /* ended by NULL */
    quell_status (*run)(struct cli_run *run);
} cli_command;

extern const cli_command cli_check, cli_spectrum, cli_modes, cli_shaper, cli_tailor, cli_machine, cli_choose, cli_predict,
    cli_compare, cli_identify, cli_excite, cli_ripple, cli_simulate;

const cli_command *const *cli_commands(size_t *count);

/* One run of one command. */
typedef struct cli_run {
    const cli_command *command;
    cli_options given;
    quell_arena *arena;
    quell_error err;
    bool printed_json;     /* the command's own object is out */
    bool warned_of_shaper; /* that --shaper-on is unstated has been said */
    struct cli_idle *idle; /* of --idle, once it was read */
    const quell_shaking *excitation; /* of --excitation, likewise */
} cli_run;

/* Parses argv[0..] (after the command's name). QUELL_E_USAGE names the option, what was found and what is wanted. */
quell_status cli_parse(const cli_command *command, int count, char **argument, cli_options *out,
                       quell_error *err);
void cli_help(const cli_command *command, FILE *stream);

/* Words for the person, on stderr unless --quiet; wrapped at 80 columns. */
void cli_say(const cli_run *run, const char *format, ...) QUELL_PRINTF(2, 3);
/* The closing line: "next: ...". File names in it go through cli_word. */
void cli_next(const cli_run *run, const char *format, ...) QUELL_PRINTF(2, 3);
/* The reading options that were given, each with a blank before it: for commands that read the same file again. */
const char *cli_reading_again(const cli_run *run);
/* Findings of a recording, the serious first. */
void cli_say_findings(const cli_run *run, const char *file, const quell_findings *findings);
void cli_json_findings(quell_json *json, json_t *in, const quell_findings *findings);
/* Those that are no mere notes, on stdout beside the results that they throw doubt on. */
void cli_print_cautions(const quell_findings *findings, const char *indent);
/* The `shaper` object under key. */
void cli_json_shaper(quell_json *json, json_t *in, const char *key, const quell_shaper *shaper);
/* Prints the object and remembers that it is out. */
quell_status cli_print_json(cli_run *run, quell_json *json);

/* Progress on stderr for work over a second, only on a terminal; done = true clears the line. */
void cli_progress(const cli_run *run, const char *what, double share, bool done);

/* ---------------------------------------------------------------- the pipeline's front half, shared by commands */

/* One recording, read, mounted and judged. */
typedef struct cli_recording {
    quell_recording recording;
    quell_mounting mounting;
    quell_fitness fitness;
    char driven; /* 'x', 'y' or 0 if not known */
} cli_recording;

/* Reads, turns into machine axes and judges. driven: 'x', 'y' or 0. An unfit recording is QUELL_E_DATA unless
   --force. */
quell_status cli_recording_load(cli_run *run, const char *path, char driven, cli_recording *out);

/* Reads a file, showing progress: samples kept in memory, or handed to the sink (NULL: to nobody) as they come. No
   mounting and no refusal: what `check` looks at. */
quell_status cli_recording_open(cli_run *run, const char *path, const quell_sink *sink, bool keep,
                                quell_recording *out);
/* What cli_recording_load does once loaded->recording is read; loaded->driven must be set. */
quell_status cli_recording_judge(cli_run *run, cli_recording *loaded);
/* The two halves of cli_recording_load: reading and what the mounting is, which may still be joined with that of another
   recording; and turning and judging. */
quell_status cli_recording_sight(cli_run *run, const char *path, char driven, cli_recording *out);
quell_status cli_recording_settle(cli_run *run, cli_recording *loaded);

/* As cli_recording_load, but the spectrum is estimated while the file passes and no sample is kept. */
quell_status cli_spectrum_stream(cli_run *run, const char *path, char driven, cli_recording *out,
                                 quell_spectrum *spectrum);
/* The analysis options for a recording at rate_hz; segment 0 if --segment is not given. rate_hz 0: not known yet, the
   other options are checked. */
quell_status cli_welch_options(cli_run *run, double rate_hz, bool cross, quell_welch_options *out);
/* Fewer than four segments tell nothing of their scatter: QUELL_E_DATA, unless --force. */
quell_status cli_require_segments(cli_run *run, const quell_spectrum *spectrum);
/* Threads to use: --threads, or as many as there are processors, up to 16. */
size_t cli_threads(const cli_run *run);

/* The spectrum of a recording with the analysis options. zeta_f_hz as for quell_welch_segment. */
quell_status cli_spectrum_make(cli_run *run, const quell_recording *recording, double zeta_f_hz, bool cross,
                               quell_spectrum *out);

/* Modes of one axis index of one recording, and the spectrum of the stretch they are from, with --band, --ignore, --idle,
   --excitation and --shaper-on. how: may be NULL. */
quell_status cli_modes_make(cli_run *run, const cli_recording *loaded, size_t axis, quell_spectrum *spectrum,
                            quell_modes *out, quell_measured *how);

/* The density of a file in m/s2, sensor axes, while it passes: neither judged nor turned. */
quell_status cli_spectrum_pass(cli_run *run, const char *path, quell_recording *recording, quell_spectrum *spectrum);

/* --idle: the lines of a recording at rest, lowest first. Without the option there are none, and file is NULL. */
enum { CLI_IDLE_LINES = 32 };
typedef struct cli_idle {
    const char *file;
    size_t count;
    quell_known_line line[CLI_IDLE_LINES];
} cli_idle;
/* Read once a run. */
quell_status cli_idle_find(cli_run *run, const cli_idle **out);
/* The line at that frequency; NULL if there is none. */
const quell_known_line *cli_idle_line_at(const cli_idle *idle, double hz, double bin_hz);
/* `idle_lines`: frequency and amplitude of each. */
void cli_json_idle(quell_json *json, json_t *in, const cli_idle *idle);
/* "the lines at rest at 63.0 Hz (0.041 m/s2), 112.0 Hz (0.097 m/s2) are no modes"; "" if memory is out. */
const char *cli_idle_words(cli_run *run, const cli_idle *idle);
#define CLI_IDLE_REASON "line of the idle recording"

/* A mode at more of the rate than this is not to be relied on: cli_modes_make refuses it, unless --force. */
#define CLI_SAMPLING_REFUSE 0.4

/* The index of the axis under test in a loaded recording: the driven one, or the one with most motion. */
size_t cli_axis_under_test(const cli_recording *loaded);

/* --band LO:HI into band (0, 0 if not given). */
quell_status cli_band(const cli_run *run, double band_hz[2], quell_error *err);

/* A file name as it must be typed at a shell: quoted where needed, `./` before a dash, control characters as `?`. In
   the arena; `FILE` when memory is out. */
const char *cli_word(const cli_run *run, const char *name);

/* Takes the labels off a list of recordings. A text that is a file as a whole, '@' and all, is that file.
   QUELL_E_USAGE for a label that is none behind a file that is there, or one of over 200 bytes. */
quell_status cli_labels_split(cli_run *run, cli_list *list);
/* What a recording is called where conditions are compared: its label, or its file without one. */
const char *cli_condition(const char *file, const char *label);
/* "FILE (LABEL)", or the file alone. */
const char *cli_shown_name(const cli_run *run, const char *file, const char *label);
/* The recordings as they must be typed at a shell, with their labels, four at most. */
const char *cli_labelled_words(const cli_run *run, const cli_list *list);
/* `label`, null without one. */
void cli_json_label(quell_json *json, json_t *item, const char *label);
/* `spread_across_recordings` of the k-th mode; names of the recordings from the list. */
void cli_json_spread(quell_json *json, json_t *item, const quell_mode_spread *spread, const cli_list *files);

/* --out: prints the object into <DIR>/<name>.json, making DIR. Takes the object over, whatever happens. */
quell_status cli_keep_json(cli_run *run, const char *name, quell_json *json);

/* A recording's file name without folder and endings, for results and plots named after it; NULL: out of memory. */
char *cli_short_name(cli_run *run, const char *path);

/* --axis as 'x' or 'y', else the axis that a plan in --excitation moves, which must not contradict it, or 0; --ignore as a
   list in the arena; --shaper-on, the identity where it is `none` or not stated. Errors name the option. */
quell_status cli_driven_axis(cli_run *run, char *axis);
quell_status cli_ignored(cli_run *run, quell_ignored **out, size_t *count);
quell_status cli_shaper_on(cli_run *run, quell_shaper *out, bool *stated);

/* --excitation, in words or a plan's file, read once a run; *given = false, out untouched, where it is not there. */
quell_status cli_excitation(cli_run *run, bool *given, quell_shaking *out);

/* Refuses a plan in --excitation that moves another axis than `axis`, which is what `said` says. */
quell_status cli_plan_agrees(cli_run *run, const char *said, char axis);

/* Modes of the files given, one at least: recordings, pooled, with their findings said, or one file that `quell modes` wrote. *axis:
   'x' or 'y', 0 if nothing says. */
quell_status cli_modes_given(cli_run *run, quell_modes *modes, char *axis);

/* A machine file; path NULL: a machine of which nothing is known. */
quell_status cli_machine_read(cli_run *run, const char *path, quell_machine *machine);

/* What is said where --shaper-on is not stated: cli_modes_make says it once a run. */
#define CLI_SHAPER_UNSTATED                                                                                  \
    "whether a shaper was active during the recording is not stated, and an active one hides or distorts "   \
    "modes"
#define CLI_SHAPER_UNSTATED_REMEDY                                                                           \
    "say --shaper-on none if shaping was off, or --shaper-on SPEC with what was active"

/* The keys of `mode` into item. */
void cli_json_mode(quell_json *json, json_t *item, const quell_mode *mode);

#endif
