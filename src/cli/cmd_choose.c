/* quell choose: from recordings of each axis to one setting per axis, with the reason. */
#include "cli/choose_view.h"
#include "cli/modes_view.h"

#include "report/plot_choose.h"

#include <math.h>
#include <string.h>

#define AT(field) offsetof(cli_options, field)

static const cli_option choice_rows[] = {
    {"--x", "RECORDING...", CLI_FILES, AT(x),
     "recordings of the x axis being shaken; FILE@z=180,spool=full says the condition of each"},
    {"--y", "RECORDING...", CLI_FILES, AT(y), "recordings of the y axis being shaken"},
    {"--machine", "FILE", CLI_TEXT, AT(machine), "what the controller takes and what the part asks for"},
    {"--residual-limit", "%", CLI_RATIO, AT(residual_limit),
     "share of the ripple that may be left, if not in the file"},
    {"--drift", "%", CLI_RATIO, AT(drift),
     "how far frequencies may be off until the next measurement, what the recordings show of it included "
     "(default: "
     "3%, or half the range over the recordings if that is more)"},
    {"--equal", NULL, CLI_FLAG, AT(equal), "every mode counts alike: the limit holds for the worst of them"},
    {"--old", "SPEC", CLI_TEXT, AT(old_setting), "the setting in use until now, as a row beside the others"},
    {"--old-machine", "FILE", CLI_TEXT, AT(old_machine),
     "the machine file of the controller that had it: the numbers of --old are in its units and its meaning"},
    {0},
};
static const cli_group choice_group = {"Choice", choice_rows};

static const cli_group *const groups[] = {&choice_group, &cli_reading_options, &cli_analysis_options,
                                          &cli_output_options, NULL};

/* What frequencies are taken to move by until the next measurement, where nobody says: common practice, no source. */
#define LEAST_DRIFT 0.03
/* ---------------------------------------------------------------- inputs */

/* What can be refused before any recording is read. */
static quell_status check_words(cli_run *run, choose_view *view)
{
    const cli_options *given = &run->given;
    if (given->files.count > 0)
        return quell_fail(&run->err, QUELL_E_USAGE, "found '%.80s', want recordings after --x or --y",
                          given->files.item[0]);
    if (given->x.count == 0 && given->y.count == 0)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "no recording given, want --x FILE..., --y FILE... or both");
    if (!isnan(given->drift) && !(given->drift >= 0 && given->drift < 1))
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "option --drift: found %s %%, want at least 0 and less than 100 %%",
                          quell_number_short(100 * given->drift, 4).text);
    if (given->old_setting == NULL && given->old_machine != NULL)
        return quell_fail(&run->err, QUELL_E_USAGE, "option --old-machine gives the numbers of --old their meaning, want --old");
    if (given->old_setting == NULL)
        return QUELL_OK;
    view->has_old = true;
    quell_status status = QUELL_OK;
    if (given->old_machine != NULL) {
        quell_machine *old = QUELL_NEW(run->arena, quell_machine, 1);
        status = old != NULL ? cli_machine_read(run, given->old_machine, old)
                             : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a machine");
        if (status != QUELL_OK)
            return status;
        status = quell_machine_old_setting(&view->old_setting, old, given->old_setting, &run->err);
    } else {
        status = quell_shaper_parse(&view->old_setting, given->old_setting, &run->err);
    }
    return status == QUELL_OK ? status : quell_fail(&run->err, status, "option --old: %s", run->err.text);
}

static quell_status check_limit(cli_run *run, const choose_view *view)
{
    double limit = run->given.residual_limit;
    if (isnan(limit) && isnan(view->machine.residual_limit) && isnan(view->machine.ripple_limit_m))
        return quell_fail(
            &run->err, QUELL_E_USAGE,
            "the residual limit is not stated; how much of the ripple may be left is yours to say: want "
            "--residual-limit 10%%, or residual-limit or ripple-limit under [part] of the machine file");
    if (!isnan(limit) && !(limit > 0 && limit < 1))
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "option --residual-limit: found %s %%, want more than 0 and less than 100 %%",
                          quell_number_short(100 * limit, 4).text);
    return QUELL_OK;
}

/* ---------------------------------------------------------------- one axis */

static quell_status keep_findings(cli_run *run, const char *path, const quell_findings *from,
                                  quell_findings *into)
{
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < from->count && status == QUELL_OK; i++) {
        const quell_finding *one = &from->item[i];
        status = quell_findings_add(into, run->arena, one->kind, one->severity, one->value, one->limit,
                                    one->remedy, "%s: %s", path, one->text);
    }
    return status == QUELL_OK ? status : quell_fail(&run->err, status, "out of memory for findings");
}

static quell_status find_modes(cli_run *run, modes_recording *of, choose_axis_view *axis)
{
    quell_findings findings = {0};
    bool three = of->loaded.recording.axes == 3;
    of->axis = three ? (axis->name == 'y' ? 1 : 0) : cli_axis_under_test(&of->loaded);
    quell_status status = cli_modes_make(run, &of->loaded, of->axis, &of->spectrum, &of->modes, &of->how);
    if (status == QUELL_OK)
        status = modes_recording_findings(run, of, &findings);
    if (status != QUELL_OK)
        return status;
    cli_say_findings(run, of->file, &findings);
    status = keep_findings(run, of->file, &of->loaded.recording.findings, &axis->findings);
    return status == QUELL_OK ? keep_findings(run, of->file, &findings, &axis->findings) : status;
}

/* A mode that one recording lacks is a doubt about that recording, or about the mode. */
static quell_status add_lacking(cli_run *run, choose_axis_view *axis, size_t k)
{
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < axis->files->count && status == QUELL_OK; i++) {
        quell_findings findings = {0};
        const char *name = cli_shown_name(run, axis->recording[i].file, axis->recording[i].label);
        double hz = axis->modes->mode[k].frequency_hz;
        if (axis->spread[k].found_in[i])
            continue;
        status = quell_findings_add(&findings, run->arena, "lacking", QUELL_WARN, hz, (double)NAN,
                                    "see whether it was shaken there, or is none",
                                    "no mode near %s Hz, unlike the other recordings of its axis",
                                    quell_number_short(hz, 4).text);
        cli_say_findings(run, name, &findings);
        if (status == QUELL_OK)
            status = keep_findings(run, name, &findings, &axis->findings);
    }
    return status;
}

static quell_status pool(cli_run *run, const quell_modes *each, quell_modes *pooled, choose_axis_view *axis)
{
    quell_status status = QUELL_OK;
    size_t dropped = quell_modes_pool(each, axis->files->count, axis->files->label, pooled, axis->spread);
    axis->modes = pooled;
    axis->drift = isnan(run->given.drift) ? LEAST_DRIFT : run->given.drift;
    axis->drift_stated = !isnan(run->given.drift);
    for (size_t k = 0; k < pooled->count && status == QUELL_OK; k++)
        status = add_lacking(run, axis, k);
    if (status == QUELL_OK && dropped > 0)
        status = quell_findings_add(
            &axis->findings, run->arena, "dropped", QUELL_WARN, (double)dropped, QUELL_MODES_MAX,
            "narrow --band", "the recordings have more than %d different modes together: %zu are not judged",
            QUELL_MODES_MAX, dropped);
    return status == QUELL_OK || run->err.status != QUELL_OK
               ? status
               : quell_fail(&run->err, status, "out of memory for findings");
}

static quell_status gather_axis(cli_run *run, choose_axis_view *axis)
{
    const cli_list *files = axis->files;
    quell_modes *each = QUELL_NEW(run->arena, quell_modes, files->count),
                *pooled = QUELL_NEW(run->arena, quell_modes, 1);
    axis->choice = QUELL_NEW(run->arena, quell_axis_choice, 1);
    if (each == NULL || pooled == NULL || axis->choice == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the modes");
    for (size_t i = 0; i < files->count; i++) {
        quell_status status = find_modes(run, &axis->recording[i], axis);
        if (status != QUELL_OK)
            return status;
        each[i] = axis->recording[i].modes;
    }
    return pool(run, each, pooled, axis);
}

static quell_need need_of(const cli_run *run, const choose_view *view, const choose_axis_view *axis)
{
    quell_need need = {.axis = axis->name,
                       .modes = axis->modes,
                       .drift = axis->drift,
                       .residual_limit = run->given.residual_limit,
                       .equal = run->given.equal,
                       .old_setting = view->has_old ? &view->old_setting : NULL};
    for (size_t k = 0; k < axis->modes->count; k++)
        need.half_range_hz[k] = axis->spread[k].half_range_hz;
    return need;
}

/* Where the controller has one setting for both axes. */
static quell_status choose_jointly(cli_run *run, choose_view *view)
{
    if (view->axes < 2)
        return QUELL_OK;
    quell_need x = need_of(run, view, &view->axis[0]), y = need_of(run, view, &view->axis[1]);
    return quell_choose_joint(&x, &y, &view->machine, run->arena, view->axis[0].choice, view->axis[1].choice, &run->err);
}

/* QUELL_E_NOT_MET leaves a result, which is shown before the command ends with that status. */
static quell_status choose_axis(cli_run *run, const choose_view *view, choose_axis_view *axis)
{
    quell_need need = need_of(run, view, axis);
    quell_error why = {0};
    axis->status = quell_choose_axis(&need, &view->machine, run->arena, axis->choice, &why);
    if (axis->status == QUELL_OK || axis->status == QUELL_E_NOT_MET)
        choose_judge_conditions(run, view, axis, &need);
    if (run->given.plot != NULL && (axis->status == QUELL_OK || axis->status == QUELL_E_NOT_MET))
        quell_choose_front(&need, &view->machine, axis->choice);
    if (axis->status == QUELL_OK)
        return QUELL_OK;
    if (axis->status == QUELL_E_NOT_MET && run->err.status == QUELL_E_NOT_MET) {
        /* both axes: one error tells of both */
        char first[sizeof run->err.text + 80];
        quell_error_format(&run->err, first, sizeof first);
        run->err = (quell_error){0};
        return quell_fail(&run->err, axis->status, "%s; axis %c: %s", first, axis->name, why.text);
    }
    why.axis = axis->name;
    run->err = why;
    return axis->status;
}

/* ---------------------------------------------------------------- results */

static bool has_result(quell_status status)
{
    return status == QUELL_OK || status == QUELL_E_NOT_MET;
}

static quell_status draw(cli_run *run, const choose_view *view)
{
    const quell_axis_choice *choice[2];
    const quell_modes *modes[2];
    for (size_t i = 0; i < view->axes; i++) {
        choice[i] = view->axis[i].choice;
        modes[i] = view->axis[i].modes;
    }
    if (run->given.plot == NULL)
        return QUELL_OK;
    return quell_plot_choice(choice, modes, view->axes, &view->machine, run->given.plot, run->given.out, &run->err);
}

static quell_status show(cli_run *run, const choose_view *view)
{
    if (!run->given.json)
        return choose_print(run, view);
    quell_json json = choose_json(view);
    return cli_print_json(run, &json);
}

static quell_status keep(cli_run *run, const choose_view *view)
{
    if (run->given.out == NULL)
        return QUELL_OK;
    quell_json json = choose_json(view);
    return cli_keep_json(run, "choose", &json);
}

static void say_what_next(const cli_run *run, const choose_view *view)
{
    const choose_axis_view *axis = &view->axis[0];
    if (axis->modes->count == 0)
        cli_next(run, "quell spectrum %s --plot spectrum.png   (is there a peak at all?)",
                 cli_word(run, axis->name == 'x' ? run->given.x.item[0] : run->given.y.item[0]));
    else if (axis->choice->chosen < 0)
        cli_next(run,
                 "lower the acceleration, record again, then quell compare BEFORE --after AFTER --axis %c",
                 axis->name);
    else
        cli_next(run, "set it, record again with it on, then quell compare BEFORE --after AFTER --axis %c",
                 axis->name);
}

static quell_status run_choose(cli_run *run)
{
    choose_view *view = QUELL_NEW(run->arena, choose_view, 1);
    if (view == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    quell_status status = check_words(run, view);
    if (status == QUELL_OK)
        status = cli_machine_read(run, run->given.machine, &view->machine);
    if (status == QUELL_OK)
        status = check_limit(run, view);
    const cli_list *const files[2] = {&run->given.x, &run->given.y};
    for (size_t i = 0; i < 2; i++)
        if (files[i]->count > 0)
            view->axis[view->axes++] = (choose_axis_view){.name = "xy"[i], .files = files[i]};
    if (status == QUELL_OK)
        status = cli_labels_split(run, &run->given.x);
    if (status == QUELL_OK)
        status = cli_labels_split(run, &run->given.y);
    if (status == QUELL_OK)
        status = choose_load(run, view);
    for (size_t i = 0; i < view->axes && status == QUELL_OK; i++)
        status = gather_axis(run, &view->axis[i]);
    quell_status worst = status;
    for (size_t i = 0; i < view->axes && has_result(status); i++) {
        status = choose_axis(run, view, &view->axis[i]);
        worst = status != QUELL_OK ? status : worst;
    }
    if (!has_result(worst))
        return worst;
    status = choose_jointly(run, view);
    if (status != QUELL_OK)
        return status;
    quell_error not_met = run->err;
    choose_judge_pair(view);
    status = show(run, view);
    if (status == QUELL_OK)
        status = keep(run, view);
    if (status == QUELL_OK)
        status = draw(run, view);
    say_what_next(run, view);
    if (status == QUELL_OK)
        run->err = not_met;
    return status != QUELL_OK ? status : worst;
}

const cli_command cli_choose = {
    "choose",
    "--x RECORDING... --y RECORDING... [options]",
    "rank shapers, pick one per axis, give the setting",
    "Finds the modes of each axis, designs every family that the controller takes for them and for how far "
    "they may be "
    "off, and picks by a rule: of those that keep the residual within the limit, the least spread; within 3 "
    "% of that, the "
    "one that covers the wider band. The table has a row for each, for the old setting and for no shaper: R "
    "is the share of "
    "the ripple that a stop at a corner leaves, at the modes' estimates and at the worst; covers is how far "
    "the modes may "
    "lie with R within the limit; rounds is how far a right-angled corner is cut at the acceleration in use, "
    "and limit the "
    "acceleration at which it is cut by the rounding limit. --plot draws, for each axis, the residual "
    "vibration against "
    "frequency and the residual against spread.",
    "  quell choose --x before-x.csv --y before-y.csv --shaper-on none --machine heron.ini --old "
    "zvd:43.5:0.07\n",
    groups,
    run_choose,
};
