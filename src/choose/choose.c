/* The choice for one axis: candidates, rule, words. */
#include "choose/choose_private.h"

#include <math.h>
#include <string.h>

/* The designs at 1 Hz that all families may need together. */
enum { SCRATCH_BYTES = 64 << 20 };

static const quell_own_family *find_own(const quell_machine *machine, const char *id)
{
    for (size_t i = 0; i < machine->own_count; i++)
        if (strcmp(machine->own[i].id, id) == 0)
            return &machine->own[i];
    return NULL;
}

/* Families that are tried unasked: those with negative impulses load the drives, and few controllers run smooth kernels. */
static bool is_ordinary(const quell_family *family)
{
    return (family->flags & (QUELL_FAMILY_NEGATIVE | QUELL_FAMILY_SMOOTH)) == 0;
}

/* The families listed; where none are, the ordinary ones that are built in. */
void choice_list_families(choice_work *work)
{
    const quell_controller *controller = &work->machine->controller;
    size_t count;
    const quell_family *built_in = quell_families(&count);
    if (!controller->takes_shapers) { /* acceleration that rises steadily is one that steps, through a box */
        work->family[work->families++] =
            (search_family){.built_in = quell_family_find("box"), .id = "box", .title = "ramp"};
        return;
    }
    work->families_assumed = controller->accepted_count == 0;
    for (size_t i = 0; i < controller->accepted_count; i++) {
        search_family *family = &work->family[work->families++];
        family->id = controller->accepted[i];
        family->built_in = quell_family_find(family->id);
        family->own = find_own(work->machine, family->id);
        family->title =
            family->built_in != NULL ? family->built_in->title : choice_say(work, "%s", family->id);
    }
    for (size_t i = 0; work->families_assumed && i < count && work->families < CHOOSE_FAMILIES_MAX; i++) {
        if (!is_ordinary(&built_in[i]))
            continue;
        search_family *family = &work->family[work->families++];
        family->id = built_in[i].id;
        family->built_in = &built_in[i];
        family->title = built_in[i].title;
    }
}

/* The limit asked for, else the machine file's: a share, or what its ripple in length comes to. */
static quell_status settle_limit(choice_work *work, quell_error *err)
{
    const quell_machine *machine = work->machine;
    double limit = isnan(work->need->residual_limit) ? machine->residual_limit : work->need->residual_limit,
           ripple = 0;
    for (size_t k = 0; k < work->needs.modes; k++)
        ripple += work->needs.mode[k].ripple_m;
    char found[40];
    if (!isnan(limit) && !(limit > 0 && limit < 1))
        return quell_fail(err, QUELL_E_USAGE, "residual limit is %s, want more than 0 and less than 1",
                          quell_number_print(found, sizeof found, limit, 6));
    if (isnan(limit) && isnan(machine->ripple_limit_m))
        return quell_fail(err, QUELL_E_USAGE,
                          "the residual limit is not stated, want the share of ripple that may be left, or a "
                          "ripple-limit in "
                          "the machine file");
    if (isnan(limit) && work->needs.modes > 0 && !(ripple > 0))
        return quell_fail(
            err, QUELL_E_USAGE,
            "ripple-limit is stated, but the ripple is not known: want corner-speed or acceleration, and "
            "the modes' participations");
    work->needs.residual_limit = !isnan(limit)           ? limit
                                 : work->needs.modes > 0 ? machine->ripple_limit_m / ripple
                                                         : (double)NAN;
    return QUELL_OK;
}

static quell_status check_need(const quell_need *need, quell_error *err)
{
    char found[40];
    if (!(need->drift >= 0 && need->drift < 1))
        return quell_fail(err, QUELL_E_USAGE, "drift is %s, want at least 0 and less than 1",
                          quell_number_print(found, sizeof found, need->drift, 6));
    for (size_t k = 0; k < need->modes->count; k++) {
        const quell_mode *mode = &need->modes->mode[k];
        if (!(mode->frequency_hz > 0 && isfinite(mode->frequency_hz) && mode->damping_ratio >= 0 &&
              mode->damping_ratio < 1))
            return quell_fail(err, QUELL_E_USAGE, "mode %zu has no usable frequency and damping ratio",
                              k + 1);
        if (!(need->half_range_hz[k] >= 0 && need->half_range_hz[k] < mode->frequency_hz))
            return quell_fail(
                err, QUELL_E_USAGE,
                "mode %zu: half the range over recordings is %s Hz, want at least 0 and less than its "
                "frequency",
                k + 1, quell_number_print(found, sizeof found, need->half_range_hz[k], 6));
    }
    return QUELL_OK;
}

static void begin_result(choice_work *work)
{
    quell_axis_choice *out = work->out;
    out->axis = work->need->axis;
    out->modes = work->needs.modes;
    out->strongest = work->needs.strongest;
    out->residual_limit = work->needs.residual_limit;
    out->chosen = out->runner_up = out->old = out->none = out->tailored = -1;
    out->why = "";
    for (size_t k = 0; k < out->modes; k++) {
        const needs_mode *mode = &work->needs.mode[k];
        out->weight[k] = mode->weight;
        out->unshaped_ripple_m[k] = mode->ripple_m;
        out->drift[k] = mode->drift;
        memcpy(out->uncertainty_hz[k], mode->hz, sizeof mode->hz);
        out->uncertainty_zeta[k][0] = mode->zeta[0];
        out->uncertainty_zeta[k][1] = mode->zeta[NEEDS_DAMPINGS - 1];
    }
}

static void choose_row(choice_work *work)
{
    quell_axis_choice *out = work->out;
    out->chosen = rule_choose(work, RULE_NOBODY);
    out->runner_up = rule_choose(work, out->chosen);
    if (out->runner_up == out->none)
        out->runner_up = RULE_NOBODY; /* doing nothing is no rival */
    const quell_candidate *row = &out->candidate[out->chosen];
    out->meets_residual = rule_meets(out, row);
    out->meets_rounding = rule_rounding_kept(work->machine, row);
    choice_explain(work);
    choice_add_notes(work);
    choice_add_would_change(work);
}

/* A list of impulses, where the controller's own line has no place for one: in whole microseconds, which no machine can tell
   from it, and amplitudes that still sum to 1. */
static quell_status list_setting(choice_work *work, const quell_shaper *made, quell_error *err)
{
    enum { SIZE = 4096 };
    quell_shaper rounded = *made, *shaper = &rounded;
    double sum = 0;
    for (size_t i = 0; i < shaper->count; i++) {
        shaper->time_s[i] = round(made->time_s[i] * 1e6) / 1e6;
        shaper->amplitude[i] = round((i + 1 < shaper->count ? made->amplitude[i] : 1 - sum) * 1e5) / 1e5;
        sum += shaper->amplitude[i];
    }
    char *text = QUELL_NEW(work->arena, char, SIZE);
    if (text == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the setting");
    work->out->setting = quell_shaper_format(shaper, text, SIZE);
    return QUELL_OK;
}

static quell_status make_setting(choice_work *work, quell_error *err)
{
    quell_axis_choice *out = work->out;
    const quell_candidate *row = &out->candidate[out->chosen];
    const char *line = work->machine->controller.setting;
    char *text;
    bool list = out->chosen == out->tailored || strcmp(row->family_id, "convolved") == 0;
    if (list && (strstr(line, "{amplitudes}") == NULL || strstr(line, "{times_s}") == NULL))
        return list_setting(work, &row->shaper, err);
    if (line[0] == '\0' || row->is_none)
        return QUELL_OK;
    quell_status status = quell_machine_setting(work->machine, out->axis, &row->shaper, row->family_id,
                                                out->residual_limit, work->arena, &text, err);
    if (status == QUELL_OK)
        out->setting = text;
    return status;
}

static quell_status choose(choice_work *work, quell_error *err)
{
    quell_axis_choice *out = work->out;
    if (out->modes == 0) {
        out->why = "no mode was found, so there is nothing to cancel";
        return quell_fail(err, QUELL_E_NOT_MET,
                          "no mode was found on this axis, so there is nothing to choose");
    }
    candidates_add(work);
    choose_row(work);
    quell_status status = make_setting(work, err);
    if (status == QUELL_OK && !out->meets_residual)
        status =
            quell_fail(err, QUELL_E_NOT_MET, "nothing meets the residual limit of %s %%; the least is %s %%",
                       quell_number_percent(out->residual_limit).text,
                       quell_number_percent(out->candidate[out->chosen].residual_worst).text);
    return status;
}

static quell_status run(choice_work *work, quell_error *err)
{
    quell_status status = check_need(work->need, err);
    if (status != QUELL_OK)
        return status;
    needs_prepare(&work->needs, work->need, work->machine);
    status = settle_limit(work, err);
    if (status != QUELL_OK)
        return status;
    begin_result(work);
    choice_list_families(work);
    status = choose(work, err);
    if (work->out_of_memory || work->search.out_of_memory)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the choice");
    return status;
}

quell_status quell_choose_axis(const quell_need *need, const quell_machine *machine, quell_arena *arena,
                               quell_axis_choice *out, quell_error *err)
{
    quell_status status = QUELL_E_MEMORY;
    quell_arena *scratch = quell_arena_create(SCRATCH_BYTES);
    quell_machine *unknown = scratch != NULL ? QUELL_NEW(scratch, quell_machine, 1) : NULL;
    choice_work *work = scratch != NULL ? QUELL_NEW(scratch, choice_work, 1) : NULL;
    if (work == NULL || unknown == NULL)
        goto no_memory;
    quell_machine_unknown(unknown);
    work->need = need;
    work->machine = machine != NULL ? machine : unknown;
    double tolerance = work->machine->controller.tolerance;
    work->search = (search_context){.machine = work->machine,
                                    .tolerance = isnan(tolerance) ? QUELL_TOLERANCE_DEFAULT : tolerance,
                                    .arena = scratch};
    work->arena = arena;
    work->family = QUELL_NEW(scratch, search_family, CHOOSE_FAMILIES_MAX);
    work->result = QUELL_NEW(scratch, search_result, CHOOSE_FAMILIES_MAX);
    work->out = QUELL_NEW(scratch, quell_axis_choice, 1);
    if (work->family == NULL || work->result == NULL || work->out == NULL)
        goto no_memory;
    status = run(work, err);
    if (status == QUELL_OK || status == QUELL_E_NOT_MET)
        *out = *work->out;
    quell_arena_destroy(scratch);
    return status;
no_memory:
    quell_arena_destroy(scratch);
    return quell_fail(err, QUELL_E_MEMORY, "out of memory for the choice");
}
