/* quell: finds the command, runs it, and leaves by one exit path that checks that the output was really written. */
#include "cli/cli.h"

#include <errno.h>
#include <gsl/gsl_errno.h>
#include <signal.h>
#include <string.h>

static const char overview[] =
    "quell finds the resonances of a motion machine in accelerometer recordings,\n"
    "picks the input shaper that cancels them, and shows with numbers whether it\n"
    "helped.\n"
    "\n"
    "The whole job, in eight steps:\n"
    "  1. Fix an accelerometer to what moves (tool head for X, table for Y), with the\n"
    "     controller's shaping switched off. Cautions: README.md, \"Safety\".\n"
    "  2. Record a rest, two slow strokes, then a sweep of strokes along each axis;\n"
    "     `quell excite` writes the motion program, with its cautions.\n"
    "  3. Is the recording fit to use?        quell check x.csv y.csv\n"
    "  4. Look at it:                         quell spectrum x.csv --plot x.png\n"
    "  5. Which frequencies ring?             quell modes x.csv --shaper-on none\n"
    "  6. Which shaper, in the controller's terms?\n"
    "       quell choose --x x.csv --y y.csv --machine machine.ini --shaper-on none\n"
    "  7. What will it leave on the part, in um?\n"
    "       quell predict x.csv --axis x --machine machine.ini --shaper SPEC\n"
    "  8. Record again with it on; did it help, and is it what really runs?\n"
    "       quell compare x.csv --after x-on.csv --axis x --applied SPEC\n"
    "       quell identify x.csv --on x-on.csv --axis x --expected SPEC\n"
    "\n"
    "Commands (quell COMMAND --help tells all of one):\n";

static void print_overview(FILE *stream)
{
    fputs(overview, stream);
    size_t count;
    const cli_command *const *commands = cli_commands(&count);
    for (size_t i = 0; i < count; i++)
        fprintf(stream, "  %-10s %s\n", commands[i]->name, commands[i]->summary);
    fputs("\nnext: quell check RECORDING\n", stream);
}

static const cli_command *find_command(const char *name)
{
    size_t count;
    const cli_command *const *commands = cli_commands(&count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(commands[i]->name, name) == 0)
            return commands[i];
    return NULL;
}

/* The error in words on stderr, and as an object on stdout when JSON was asked for and no result is out. */
static void report_error(cli_run *run, quell_status status)
{
    char text[1200];
    quell_error_format(&run->err, text, sizeof text);
    fprintf(stderr, "quell%s%s: %s\n", run->command != NULL ? " " : "",
            run->command != NULL ? run->command->name : "", text);
    if (!run->given.json || run->printed_json)
        return;
    quell_json json = quell_json_begin("quell.error/1");
    quell_json_text(&json, json.root, "status", quell_status_describe(status)->name);
    if (run->err.file[0] != '\0')
        quell_json_text(&json, json.root, "file", run->err.file);
    else
        quell_json_null(&json, json.root, "file", "no file is concerned");
    const struct {
        const char *key;
        size_t value;
    } place[] = {{"line", run->err.line}, {"column", run->err.column}};
    for (size_t i = 0; i < 2; i++) {
        if (place[i].value > 0)
            quell_json_integer(&json, json.root, place[i].key, (long long)place[i].value);
        else
            quell_json_null(&json, json.root, place[i].key, "not at one place");
    }
    quell_json_text(&json, json.root, "text", run->err.text);
    quell_json_print(&json, stdout, NULL);
}

/* What can be refused for every command before any work. */
static quell_status check_files(cli_run *run)
{
    const cli_options *given = &run->given;
    const char *const plots[] = {given->plot, given->spectrogram};
    for (size_t i = 0; i < 2; i++)
        if (plots[i] != NULL && quell_plot_check_name(plots[i], &run->err) != QUELL_OK)
            return run->err.status;
    const cli_list *const lists[] = {&given->files, &given->x, &given->y, &given->after};
    const char *const single[] = {given->machine, given->idle, given->excitation, given->simulate.motion};
    size_t dashes = 0;
    for (size_t i = 0; i < sizeof single / sizeof single[0]; i++)
        dashes += single[i] != NULL && strcmp(single[i], "-") == 0 ? 1 : 0;
    for (size_t k = 0; k < sizeof lists / sizeof lists[0]; k++)
        for (size_t i = 0; i < lists[k]->count; i++)
            dashes += strcmp(lists[k]->item[i], "-") == 0 ? 1 : 0;
    if (dashes > 1)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "- is given %zu times, want it once: standard input can be read but once", dashes);
    return QUELL_OK;
}

static quell_status run_command(cli_run *run, int count, char **argument)
{
    quell_status status = cli_parse(run->command, count, argument, &run->given, &run->err);
    for (int i = 0; i < count && status != QUELL_OK;
         i++) /* a usage error, too, is told in JSON when that was asked for */
        run->given.json = run->given.json || strcmp(argument[i], "--json") == 0;
    if (status != QUELL_OK)
        return status;
    if (run->given.help) {
        cli_help(run->command, stdout);
        return QUELL_OK;
    }
    if (run->given.version) {
        puts("quell " QUELL_VERSION);
        return QUELL_OK;
    }
    status = check_files(run);
    if (status != QUELL_OK)
        return status;
    run->arena = quell_arena_create((size_t)8 << 30);
    if (run->arena == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    return run->command->run(run);
}

/* Standard output must have reached its file: a full disk is an error even when the command went well. */
static quell_status flush_output(cli_run *run, quell_status status)
{
    bool failed = ferror(stdout) != 0;
    errno = 0;
    if (fflush(stdout) != 0 || fclose(stdout) != 0 || failed) {
        const char *why = errno != 0 ? strerror(errno) : "the disk may be full, or nobody reads it";
        if (status == QUELL_OK || status == QUELL_E_NOT_MET) {
            run->err = (quell_error){0};
            status = quell_fail(&run->err, QUELL_E_IO, "standard output could not be written: %s", why);
        }
        fprintf(stderr, "quell: standard output could not be written: %s\n", why);
    }
    return status;
}

int main(int count, char **argument)
{
    gsl_set_error_handler_off();
    signal(SIGPIPE, SIG_IGN);
    static cli_run run; /* large, and one per process */
    if (count < 2 || strcmp(argument[1], "--help") == 0 || strcmp(argument[1], "-h") == 0) {
        print_overview(stdout);
        return quell_status_describe(flush_output(&run, QUELL_OK))->exit_code;
    }
    if (strcmp(argument[1], "--version") == 0) {
        puts("quell " QUELL_VERSION);
        return quell_status_describe(flush_output(&run, QUELL_OK))->exit_code;
    }
    quell_status status;
    run.command = find_command(argument[1]);
    if (run.command == NULL) {
        char shown[64];
        status = quell_fail(&run.err, QUELL_E_USAGE, "unknown command '%s'; `quell` alone lists them",
                            quell_printable(shown, sizeof shown, argument[1], strlen(argument[1])));
    } else {
        status = run_command(&run, count - 2, argument + 2);
    }
    if (status != QUELL_OK)
        report_error(&run, status);
    quell_arena_destroy(run.arena);
    return quell_status_describe(flush_output(&run, status))->exit_code;
}
