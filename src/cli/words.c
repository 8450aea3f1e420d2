/* Words for the person, on stderr, wrapped, silenced by --quiet; and JSON objects, on stdout or kept. */
#include "cli/cli.h"

#include <stdarg.h>
#include <string.h>
#include <unistd.h>

QUELL_PRINTF(4, 0)
static void say(const cli_run *run, const char *first_indent, const char *indent, const char *format,
                va_list arguments)
{
    if (run->given.quiet)
        return;
    char words[4096], text[4096];
    vsnprintf(words, sizeof words, format, arguments);
    quell_printable(text, sizeof text, words, strlen(words)); /* file names may hold anything */
    fflush(stdout); /* words follow the data they are about, on a terminal and in a common file */
    quell_words_print(stderr, first_indent, indent, 79, text);
}

void cli_say(const cli_run *run, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    say(run, "", "", format, arguments);
    va_end(arguments);
}

void cli_next(const cli_run *run, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    say(run, "next: ", "      ", format, arguments);
    va_end(arguments);
}

const char *cli_reading_again(const cli_run *run)
{
    const quell_read_options *read = &run->given.read;
    const struct {
        const char *name, *value;
    } option[] = {{"--columns", read->columns},     {"--unit", read->unit}, {"--rate", read->rate},
                  {"--time-unit", read->time_unit}, {"--span", read->span}, {"--mount", read->mount}};
    const char *words = "";
    for (size_t i = 0; i < sizeof option / sizeof option[0] && words != NULL; i++)
        if (option[i].value != NULL)
            words = quell_arena_print(run->arena, "%s %s %s", words, option[i].name,
                                      cli_word(run, option[i].value));
    return words != NULL ? words : "";
}

static const char *const severity_words[] = {
    [QUELL_NOTE] = "note", [QUELL_WARN] = "warning", [QUELL_REFUSE] = "unfit"};
static const char *const severity_ids[] = {
    [QUELL_NOTE] = "note", [QUELL_WARN] = "warn", [QUELL_REFUSE] = "refuse"};

void cli_say_findings(const cli_run *run, const char *file, const quell_findings *findings)
{
    for (int severity = QUELL_REFUSE; severity >= QUELL_NOTE; severity--)
        for (size_t i = 0; i < findings->count; i++) {
            const quell_finding *finding = &findings->item[i];
            if ((int)finding->severity == severity)
                cli_say(run, "%s: %s: %s%s%s", file, severity_words[severity], finding->text,
                        finding->remedy[0] != '\0' ? "; " : "", finding->remedy);
        }
}

void cli_print_cautions(const quell_findings *findings, const char *indent)
{
    char first[32], text[1024], clean[1024];
    for (size_t i = 0; i < findings->count; i++) {
        const quell_finding *finding = &findings->item[i];
        if (finding->severity == QUELL_NOTE)
            continue;
        snprintf(first, sizeof first, "%s%s: ", indent, finding->severity == QUELL_REFUSE ? "unfit" : "care");
        snprintf(text, sizeof text, "%s", finding->text);
        quell_words_print(stdout, first, indent, 79,
                          quell_printable(clean, sizeof clean, text, strlen(text)));
    }
}

void cli_json_findings(quell_json *json, json_t *in, const quell_findings *findings)
{
    json_t *list = quell_json_array(json, in, "findings");
    for (size_t i = 0; i < findings->count; i++) {
        const quell_finding *finding = &findings->item[i];
        json_t *item = quell_json_item(json, list);
        quell_json_text(json, item, "kind", finding->kind);
        quell_json_text(json, item, "severity", severity_ids[finding->severity]);
        quell_json_number(json, item, "value", finding->value, "no single number");
        quell_json_number(json, item, "limit", finding->limit, "no limit");
        quell_json_text(json, item, "text", finding->text);
        quell_json_text(json, item, "remedy", finding->remedy);
    }
}

quell_status cli_print_json(cli_run *run, quell_json *json)
{
    quell_status status = quell_json_print(json, stdout, &run->err);
    run->printed_json = status == QUELL_OK;
    return status;
}

quell_status cli_keep_json(cli_run *run, const char *name, quell_json *json)
{
    quell_status status = quell_folder_make(run->given.out, &run->err);
    const char *path = quell_arena_print(run->arena, "%s/%s.json", run->given.out, name);
    if (status == QUELL_OK && path == NULL)
        status = quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    quell_output output;
    if (status == QUELL_OK)
        status = quell_output_open(&output, path, &run->err);
    if (status != QUELL_OK) {
        quell_json_discard(json);
        return status;
    }
    status = quell_json_print(json, output.stream, &run->err);
    if (status == QUELL_OK)
        return quell_output_commit(&output, &run->err);
    quell_error_set_file(&run->err, path);
    quell_output_abandon(&output);
    return status;
}

void cli_progress(const cli_run *run, const char *what, double share, bool done)
{
    if (run->given.quiet || isatty(STDERR_FILENO) == 0)
        return;
    if (done)
        fputs("\r\033[K", stderr);
    else
        fprintf(stderr, "\r%s %3.0f %%\033[K", what, 100 * share);
}
