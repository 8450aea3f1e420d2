/* quell check: is a recording fit to analyse? */
#include "cli/check_view.h"

#include <string.h>

static quell_status look_at(cli_run *run, check_view *view)
{
    quell_recording *recording = &view->recording;
    quell_status status = cli_recording_open(run, view->path, NULL, false, recording);
    if (status == QUELL_OK)
        status = quell_mounting_find(&view->mounting, recording, 0, &run->given.read, run->arena, &run->err);
    if (status == QUELL_OK)
        status = quell_recording_judge(&view->fitness, recording, -1, run->arena, &run->err);
    view->readable = status == QUELL_OK;
    return status;
}

static bool is_unfit(const check_view *view)
{
    return !view->readable || strcmp(view->fitness.verdict, "unfit") == 0;
}

/* All recordings are looked at; the first trouble decides how the command ends. A wrong option or no memory would
   meet the others, too. */
static quell_status look_at_all(cli_run *run, check_view *views, size_t count, quell_error *first)
{
    quell_status outcome = QUELL_OK;
    for (size_t i = 0; i < count; i++) {
        check_view *view = &views[i];
        view->path = run->given.files.item[i];
        run->err = (quell_error){0};
        quell_status status = look_at(run, view);
        if (status == QUELL_E_USAGE || status == QUELL_E_MEMORY)
            return status;
        if (status == QUELL_OK && is_unfit(view)) {
            quell_error_set_file(&run->err, view->path);
            status = quell_fail(&run->err, QUELL_E_DATA, "unfit: %s%s%s", view->fitness.reason,
                                view->fitness.remedy[0] != '\0' ? "; " : "", view->fitness.remedy);
        }
        if (!view->readable)
            quell_error_format(&run->err, view->why, sizeof view->why);
        if (status != QUELL_OK && outcome == QUELL_OK) {
            outcome = status;
            *first = run->err;
        }
    }
    return outcome;
}

static void say_next(const cli_run *run, const check_view *views, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (!is_unfit(&views[i])) {
            cli_next(run, "quell spectrum %s%s", cli_word(run, views[i].path), cli_reading_again(run));
            return;
        }
    cli_next(run, "record again as said above, then quell check %s%s", cli_word(run, views[0].path),
             cli_reading_again(run));
}

static quell_json build_json(const check_view *views, size_t count)
{
    quell_json json = quell_json_begin("quell.check/1");
    json_t *list = quell_json_array(&json, json.root, "recordings");
    for (size_t i = 0; i < count; i++)
        check_json(&json, quell_json_item(&json, list), &views[i]);
    return json;
}

static quell_status show(cli_run *run, const check_view *views, size_t count)
{
    if (run->given.json) {
        quell_json json = build_json(views, count);
        quell_status status = cli_print_json(run, &json);
        if (status != QUELL_OK)
            return status;
    }
    for (size_t i = 0; i < count; i++) {
        if (!run->given.json) {
            fputs(i > 0 ? "\n" : "", stdout);
            check_print(run, &views[i]);
        }
        if (views[i].readable)
            cli_say_findings(run, views[i].recording.file, &views[i].recording.findings);
    }
    return QUELL_OK;
}

static quell_status run_check(cli_run *run)
{
    size_t count = run->given.files.count;
    if (count == 0)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "no recording given, want one or more files, or - for standard input");
    check_view *views = QUELL_NEW(run->arena, check_view, count);
    if (views == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu recordings", count);
    quell_error first = {0};
    const cli_idle *idle;
    quell_status found = cli_idle_find(run, &idle);
    if (found != QUELL_OK)
        return found;
    for (size_t i = 0; i < count; i++)
        views[i].idle = idle;
    quell_status outcome = look_at_all(run, views, count, &first);
    if (outcome == QUELL_E_USAGE || outcome == QUELL_E_MEMORY)
        return outcome;
    if (count == 1 && !views[0].readable) /* nothing to show but the error */
        return outcome;
    quell_status shown = show(run, views, count);
    if (shown == QUELL_OK && run->given.out != NULL) {
        quell_json json = build_json(views, count);
        shown = cli_keep_json(run, "check", &json);
    }
    if (shown != QUELL_OK)
        return shown;
    say_next(run, views, count);
    run->err = first;
    return outcome;
}

#define AT(field) offsetof(cli_options, field)

static const cli_option output_rows[] = {
    {"--json", NULL, CLI_FLAG, AT(json), "print one JSON object on one line instead of a table"},
    {"--out", "DIR", CLI_TEXT, AT(out), "keep the JSON object in this folder, as check.json"},
    {"--quiet", NULL, CLI_FLAG, AT(quiet), "no words, only data and errors"},
    {"--help", NULL, CLI_FLAG, AT(help), "this text (also -h)"},
    {"--version", NULL, CLI_FLAG, AT(version), "print the version"},
    {0},
};
static const cli_group output_group = {"Output", output_rows};

static const cli_group *const groups[] = {&cli_reading_options, &output_group, NULL};

const cli_command cli_check = {
    .name = "check",
    .operands = "RECORDING...",
    .summary = "is a recording fit to analyse? rate, losses, noise, orientation",
    .about = "Looks at recordings without analysing them: rate with its 95 % interval, lost samples and "
             "jitter of the stamps, "
             "clipping, gravity and tilt, sensor noise and step, and the stretches of rest, slow strokes and "
             "motion, each "
             "with the --span that selects it. The verdict is fit, care (usable, with the reason) or unfit, "
             "and says what "
             "to do about it.\n"
             "A recording is delimited text, plain or gzip: a column of time and up to three of "
             "acceleration. Columns and "
             "units are found by their heads or their content.\n"
             "Exit code 3 if a recording is unfit.",
    .example = "  quell check before-x.csv.gz before-y.csv.gz\n"
               "  quell check log.txt --columns t=1,x=4,y=5,z=6 --unit mg\n"
               "  zcat log.gz | quell check - --rate 3200:0.5% --unit g\n",
    .group = groups,
    .run = run_check,
};
