/* A controller that has one frequency, one family or one damping ratio for both axes: the settings of the two that share it, each
   within its limit, of the least sum of spreads. All that the controller can be told is tried on a grid. */
#include "choose/choose_private.h"

#include <math.h>
#include <string.h>

#define BELOW 0.45 /* design frequencies: from this times the lowest of all modes to ... */
#define ABOVE 1.7  /* ... this times the highest */

enum { FREQUENCIES_MOST = 400, DAMPINGS_MOST = 7, SCRATCH_BYTES = 64 << 20 };

typedef struct joint {
    const quell_need *need[2];
    const quell_machine *machine;
    quell_axis_choice *choice[2];
    choice_work work[2];
    bool shares_frequency, shares_family, shares_damping;
    size_t families, frequencies, dampings;
    search_family family[CHOOSE_FAMILIES_MAX];
    search_context search;
    double hz[FREQUENCIES_MOST], zeta[DAMPINGS_MOST];
    struct joint_best {
        bool there;
        double spread_s;
        size_t family;
        search_setting setting;
    } best[2], group[2]; /* of all groups, by their sum; of the present one */
} joint;

static bool shares(const quell_controller *controller, const char *what)
{
    for (size_t i = 0; i < 3; i++)
        if (strcmp(controller->one_setting_for[i], what) == 0)
            return true;
    return false;
}

static void lay_grid(joint *of)
{
    const quell_controller *controller = &of->machine->controller;
    double low_hz = HUGE_VAL, high_hz = 0, low = 1, high = 0;
    for (size_t a = 0; a < 2; a++) {
        const axis_needs *needs = &of->work[a].needs;
        low_hz = fmin(low_hz, BELOW * needs->low_hz);
        high_hz = fmax(high_hz, ABOVE * needs->high_hz);
        for (size_t k = 0; k < needs->modes; k++) {
            low = fmin(low, needs->mode[k].zeta[0]);
            high = fmax(high, fmin(needs->mode[k].zeta[NEEDS_DAMPINGS - 1], QUELL_DAMPING_RATIO_MAX));
        }
    }
    const double *range = controller->frequency_range_hz;
    if (range[1] > 0) {
        low_hz = fmax(low_hz, range[0]);
        high_hz = fmin(high_hz, range[1]);
    }
    of->frequencies = high_hz >= low_hz ? FREQUENCIES_MOST : 0;
    for (size_t i = 0; i < of->frequencies; i++)
        of->hz[i] = low_hz * pow(high_hz / low_hz, (double)i / (FREQUENCIES_MOST - 1));
    bool fixed = !isnan(controller->damping) || controller->damping_unknown;
    of->dampings = fixed || !(high > low) ? 1 : DAMPINGS_MOST;
    for (size_t z = 0; z < of->dampings; z++)
        of->zeta[z] = of->dampings == 1 ? fmin(low, high) : low + (high - low) * (double)z / (DAMPINGS_MOST - 1);
}

/* One setting, for each axis that it serves better than what the group has. */
static void try_setting(joint *of, size_t family, size_t frequency, size_t damping)
{
    setting_told told = setting_tell(&of->machine->controller, of->hz[frequency], of->zeta[damping], SETTING_NEAREST);
    search_setting setting;
    if (!search_realise(&of->search, &of->family[family], &told, &setting))
        return;
    double spread_s = search_spread(&setting.shaper[0]);
    for (size_t a = 0; a < 2; a++) {
        double limit = of->work[a].needs.residual_limit;
        struct joint_best *best = &of->group[a];
        if ((best->there && best->spread_s <= spread_s) ||
            !(search_setting_residual(&of->work[a].needs, &setting, limit) <= limit))
            continue;
        best->there = true;
        best->spread_s = spread_s;
        best->family = family;
        best->setting = setting;
    }
}

static void end_group(joint *of)
{
    bool both = of->group[0].there && of->group[1].there;
    double sum_s = of->group[0].spread_s + of->group[1].spread_s, before_s = of->best[0].spread_s + of->best[1].spread_s;
    if (both && (!of->best[0].there || sum_s < before_s))
        memcpy(of->best, of->group, sizeof of->best);
    of->group[0].there = of->group[1].there = false;
}

/* What is shared is in the outer loops; a group ends where a shared thing changes. */
static void try_all(joint *of)
{
    size_t outer[3] = {of->shares_family ? of->families : 1, of->shares_frequency ? of->frequencies : 1,
                       of->shares_damping ? of->dampings : 1};
    for (size_t f = 0; f < outer[0]; f++)
        for (size_t h = 0; h < outer[1]; h++)
            for (size_t z = 0; z < outer[2]; z++) {
                for (size_t i = f; i < (of->shares_family ? f + 1 : of->families); i++)
                    for (size_t j = h; j < (of->shares_frequency ? h + 1 : of->frequencies); j++)
                        for (size_t k = z; k < (of->shares_damping ? z + 1 : of->dampings); k++)
                            try_setting(of, i, j, k);
                end_group(of);
            }
}

static const char *shared_words(choice_work *work, const joint *of)
{
    const char *words = "";
    const struct {
        bool shared;
        const char *what;
    } all[] = {{of->shares_frequency, "frequency"}, {of->shares_family, "family"}, {of->shares_damping, "damping ratio"}};
    for (size_t i = 0; i < 3; i++)
        if (all[i].shared)
            words = choice_say(work, "%s%sone %s", words, words[0] != '\0' ? ", " : "", all[i].what);
    return words;
}

/* Adds the row to an axis and makes it the one chosen. */
static quell_status take(joint *of, size_t a, quell_error *err)
{
    choice_work *work = &of->work[a];
    quell_axis_choice *choice = of->choice[a];
    const struct joint_best *best = &of->best[a];
    const quell_candidate *alone = choice->chosen >= 0 ? &choice->candidate[choice->chosen] : NULL;
    double alone_s = alone != NULL ? alone->spread_s : (double)NAN;
    const char *alone_title = alone != NULL ? alone->title : "nothing";
    if (choice->count == QUELL_CANDIDATES_MAX)
        return QUELL_OK;
    const search_family *family = &of->family[best->family];
    choice->runner_up = choice->chosen;
    choice->chosen = (int)choice->count;
    quell_candidate *row = candidate_new(work, family->id, choice_say(work, "shared %s", family->title));
    row->accepted = true;
    candidate_judge(work, row, best->setting.shaper, best->setting.readings);
    row->reason = choice_say(work, "the controller has %s for both axes", shared_words(work, of));
    choice->meets_residual = true;
    choice->meets_rounding = rule_rounding_kept(of->machine, row);
    choice->why = choice_say(work,
                             "%s at %s Hz, damping ratio %s: the controller has %s for both axes, and of what keeps both within "
                             "their limits this has the least spread in sum; its %s ms here cost %s ms more than %s alone",
                             family->title, quell_number_fixed(row->shaper.at.frequency_hz, 1).text,
                             quell_number_fixed(row->shaper.at.damping_ratio, 3).text, shared_words(work, of),
                             quell_number_fixed(1e3 * row->spread_s, 2).text,
                             quell_number_fixed(1e3 * fmax(row->spread_s - alone_s, 0), 2).text, alone_title);
    choice->ways_out_count = 0;
    choice->would_change_count = 0;
    choice->setting = NULL;
    char *text;
    if (of->machine->controller.setting[0] == '\0')
        return QUELL_OK;
    quell_status status = quell_machine_setting(of->machine, choice->axis, &row->shaper, row->family_id, choice->residual_limit,
                                                work->arena, &text, err);
    if (status == QUELL_OK)
        choice->setting = text;
    return status;
}

static void note_none(joint *of)
{
    for (size_t a = 0; a < 2; a++) {
        quell_axis_choice *choice = of->choice[a];
        if (choice->notes_count < sizeof choice->note / sizeof choice->note[0])
            choice->note[choice->notes_count++] =
                choice_say(&of->work[a], "no setting with %s for both axes keeps both within their limits",
                           shared_words(&of->work[a], of));
    }
}

quell_status quell_choose_joint(const quell_need *x, const quell_need *y, const quell_machine *machine, quell_arena *arena,
                                quell_axis_choice *x_choice, quell_axis_choice *y_choice, quell_error *err)
{
    const quell_controller *controller = &machine->controller;
    if (controller->one_setting_for[0][0] == '\0' || x_choice->modes == 0 || y_choice->modes == 0)
        return QUELL_OK;
    quell_arena *scratch = quell_arena_create(SCRATCH_BYTES);
    joint *of = scratch != NULL ? QUELL_NEW(scratch, joint, 1) : NULL;
    if (of == NULL) {
        quell_arena_destroy(scratch);
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a choice of both axes");
    }
    double tolerance = isnan(controller->tolerance) ? QUELL_TOLERANCE_DEFAULT : controller->tolerance;
    of->machine = machine;
    of->choice[0] = x_choice;
    of->choice[1] = y_choice;
    of->search = (search_context){.machine = machine, .tolerance = tolerance, .arena = scratch};
    of->shares_frequency = shares(controller, "frequency");
    of->shares_family = shares(controller, "family");
    of->shares_damping = shares(controller, "damping");
    for (size_t a = 0; a < 2; a++) {
        choice_work *work = &of->work[a];
        const quell_need *need = a == 0 ? x : y;
        *work = (choice_work){.need = need, .machine = machine, .family = of->family, .arena = arena, .out = of->choice[a],
                              .search = of->search};
        needs_prepare(&work->needs, need, machine);
        work->needs.residual_limit = of->choice[a]->residual_limit;
    }
    choice_list_families(&of->work[0]);
    of->families = of->work[0].families;
    lay_grid(of);
    try_all(of);
    quell_status status = QUELL_OK;
    if (of->best[0].there)
        for (size_t a = 0; a < 2 && status == QUELL_OK; a++)
            status = take(of, a, err);
    else
        note_none(of);
    bool no_memory = of->search.out_of_memory || of->work[0].out_of_memory || of->work[1].out_of_memory;
    quell_arena_destroy(scratch);
    return no_memory ? quell_fail(err, QUELL_E_MEMORY, "out of memory for a choice of both axes") : status;
}
