/* quell machine: a machine file to fill in. */
#include "cli/cli.h"

#include <string.h>
#include <unistd.h>

/* Every key with its meaning and none with a number: what is not known stays out, and `choose` says what that costs. */
static const char *const lines[] = {
    "; What quell needs to know of a machine and its controller. Lines that begin with `;` are not read: take the",
    "; `;` off and fill in what you know. Every value has a unit. What is not stated is asked for, or its effect said.",
    "",
    "[machine]",
    ";name =                       ; for tables and plots",
    ";kinematics =                 ; cartesian (a motor per axis) or coupled-belts (two motors share X and Y)",
    "",
    "[x]                           ; one section per axis",
    ";acceleration =               ; what you print with, such as 3000 mm/s2",
    ";speed =                      ; and how fast, in mm/s",
    ";step =                       ; one motor step (microstep) of travel, in mm",
    ";moving-mass =                ; with load: carried parts lower the frequencies; in g",
    ";load =                       ; from..to, in g",
    "",
    "[y]",
    ";acceleration =",
    ";speed =",
    ";step =",
    ";moving-mass =",
    ";load =",
    "",
    "[controller]",
    ";shapers =                    ; the families it has, of: zv zvd zvdd zvddd ei ei-two-hump ei-three-hump um-zv um-zvd",
    ";                             ; um-ei box raised-cosine spline2 spline3 spline4, or your own below; none: only its",
    ";                             ; acceleration ramp can be set",
    ";frequency =                  ; what it calls a shaper's frequency: natural, damped or unknown",
    ";frequency-unit =             ; Hz, rad/s or s (it wants the period)",
    ";frequency-step =             ; what it rounds to",
    ";frequency-range =            ; from..to",
    ";damping =                    ; free, the one ratio it uses, or unknown",
    ";damping-unit =               ; ratio, percent or Q",
    ";tolerance =                  ; the V of its EI shapers, a ratio",
    ";impulses =                   ; the longest list of impulses it takes; 0 if none",
    ";impulse-times =              ; absolute or differences",
    ";tick =                       ; impulse times are rounded to this, in ms; 0 ms if not",
    ";one-setting-for =            ; none, or what serves both axes at once: frequency, family, damping",
    ";axis-delay =                 ; yes or no: can it delay one axis?",
    ";setting =                    ; its own line, in quotes, with {axis} {name} {frequency} {damping_ratio} {amplitudes}",
    ";                             ; {times_s} and others in their places",
    ";names =                      ; what it calls each family, such as zv=A zvd=B",
    "",
    ";[family twin]                ; a family of its own: times in damped periods, amplitudes as polynomials in K,",
    ";times =                      ; K = exp(-pi zeta / sqrt(1 - zeta^2)): `0 0.5 1`",
    ";amplitudes =                 ; `1 | 0 2 | 0 0 1` is 1, 2 K, K^2; they are made to sum to 1",
    "",
    "[part]",
    ";corner-speed =               ; the speed the planner keeps through a corner, in mm/s, or unknown",
    ";rounding-limit =             ; how far corners may be cut, in mm",
    ";residual-limit =             ; the share of ripple that may be left, in %; or ripple-limit in um",
    "",
    "[notes]                       ; free text for the write-up: sensor place, belts, temperature, spool",
    ";sensor =",
};

static quell_status write_new(cli_run *run)
{
    const char *path = run->given.new_machine;
    quell_output out;
    if (strcmp(path, "-") == 0) {
        for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
            puts(lines[i]);
        return QUELL_OK;
    }
    if (access(path, F_OK) == 0)
        return quell_fail(&run->err, QUELL_E_USAGE, "%s is there already, want a name that is free", path);
    quell_status status = quell_output_open(&out, path, &run->err);
    if (status != QUELL_OK)
        return status;
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
        fprintf(out.stream, "%s\n", lines[i]);
    return quell_output_commit(&out, &run->err);
}

static quell_status check_file(cli_run *run, const char *path)
{
    quell_machine *machine = QUELL_NEW(run->arena, quell_machine, 1);
    if (machine == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a machine");
    quell_status status = cli_machine_read(run, path, machine);
    if (status == QUELL_OK)
        printf("%s can be used\n", cli_word(run, path));
    return status;
}

static quell_status run_machine(cli_run *run)
{
    if (run->given.new_machine != NULL && run->given.files.count == 0) {
        quell_status status = write_new(run);
        if (status == QUELL_OK && strcmp(run->given.new_machine, "-") != 0)
            cli_next(run, "fill it in, then quell machine %s to check it", cli_word(run, run->given.new_machine));
        return status;
    }
    if (run->given.new_machine != NULL || run->given.files.count != 1)
        return quell_fail(&run->err, QUELL_E_USAGE, "want --new FILE to write a machine file, or one machine file to check");
    quell_status status = check_file(run, run->given.files.item[0]);
    if (status == QUELL_OK)
        cli_next(run, "quell choose --x RECORDING --y RECORDING --machine %s", cli_word(run, run->given.files.item[0]));
    return status;
}

static const cli_option machine_rows[] = {
    {"--new", "FILE", CLI_TEXT, offsetof(cli_options, new_machine), "write a commented machine file to fill in; - for stdout"},
    {"--quiet", NULL, CLI_FLAG, offsetof(cli_options, quiet), "no words, only data and errors"},
    {"--help", NULL, CLI_FLAG, offsetof(cli_options, help), "this text (also -h)"},
    {"--version", NULL, CLI_FLAG, offsetof(cli_options, version), "print the version"},
    {0},
};
static const cli_group machine_group = {"Machine file", machine_rows};

static const cli_group *const groups[] = {&machine_group, NULL};

const cli_command cli_machine = {
    "machine",
    "[FILE]",
    "a machine file to fill in, or whether one can be used",
    "Writes a machine file with every key and its meaning and no numbers, which are yours to know; or reads one and says "
    "whether it can be used, or which line is wrong.",
    "  quell machine --new mine.ini\n"
    "  quell machine mine.ini\n",
    groups,
    run_machine,
};
