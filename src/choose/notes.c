/* What the machine file leaves open, and what that costs: said beside the choice, never silently filled in. */
#include "choose/choose_private.h"

#include <math.h>
#include <string.h>

static void add(choice_work *work, const char *text)
{
    quell_axis_choice *out = work->out;
    const size_t room = sizeof out->note / sizeof out->note[0];
    if (out->notes_count < room)
        out->note[out->notes_count++] = text;
    else
        out->note[room - 1] = "more is left open than can be listed here; settle the notes above first";
}

static void note_motion(choice_work *work)
{
    const quell_machine *machine = work->machine;
    bool no_speed = isnan(machine->corner_speed_mps),
         no_acceleration = isnan(choice_limits(work)->acceleration_mps2);
    if (no_speed && no_acceleration)
        add(work, "corner-speed and acceleration are not known: modes are weighed by a velocity step alone, "
                  "and ripple, "
                  "rounding and stroke times have no size");
    else if (no_speed)
        add(work, "corner-speed is not known: ripple and rounding count only the acceleration's part, so "
                  "both are at "
                  "least what is shown");
    else if (no_acceleration)
        add(work, "acceleration is not known: ripple counts only the corner speed's part, and there is no "
                  "rounding");
    if (isnan(machine->rounding_limit_m))
        add(work, "rounding-limit is not stated: no setting is held against it, and there is no acceleration "
                  "limit");
}

static void note_families(choice_work *work)
{
    const quell_controller *controller = &work->machine->controller;
    if (work->families_assumed)
        add(work, "shapers is not stated: every built-in family is a candidate, save those with negative impulses and "
                  "smooth kernels, which have to be listed; the controller may not take the one chosen");
    for (size_t i = 0; i < work->families; i++)
        if (work->family[i].built_in != NULL &&
            (work->family[i].built_in->flags & QUELL_FAMILY_TOLERANCE) != 0 && isnan(controller->tolerance)) {
            add(work, "tolerance is not stated: families with humps are designed for V = 0.05; a controller "
                      "that uses "
                      "another V leaves another residual");
            return;
        }
}

/* Negative impulses have a price that no column shows. */
static void note_negative(choice_work *work)
{
    const quell_axis_choice *out = work->out;
    if (out->chosen >= 0 && candidate_is_negative(&out->candidate[out->chosen]))
        add(work, "the one chosen has negative impulses: it asks more of the drives than the command without a shaper, and "
                  "can excite higher modes than those listed; try it before relying on it");
}

static void note_load(choice_work *work)
{
    const quell_axis_limits *limits = choice_limits(work);
    if (limits->load_kg[1] > 0 && isnan(limits->moving_mass_kg))
        add(work, "moving-mass is not known: the load does not lower the band");
    if (work->needs.worst_mode && !work->needs.worst_mode_by_choice && work->needs.modes > 1)
        add(work, "a participation is not known: the mode that is left with most counts, as with --equal");
}

static void note_design(choice_work *work)
{
    int chosen = work->out->chosen;
    if (chosen >= 0 && (size_t)chosen < work->families && work->result[chosen].outside)
        add(work, "its design frequency lies outside the modes' ranges, since no frequency within them meets "
                  "the limit");
}

/* Whether it matters which way the controller takes what it is told. */
static void note_readings(choice_work *work)
{
    const quell_controller *controller = &work->machine->controller;
    int chosen = work->out->chosen;
    bool frequency = controller->frequency == QUELL_READING_UNKNOWN;
    if (chosen < 0 || (size_t)chosen >= work->families || (!frequency && !controller->damping_unknown))
        return;
    const search_setting *setting = &work->result[chosen].setting;
    double low = HUGE_VAL, high = 0;
    for (size_t i = 0; i < setting->readings; i++) {
        double residual = needs_residual_worst(&work->needs, &setting->shaper[i], HUGE_VAL);
        low = fmin(low, residual);
        high = fmax(high, residual);
    }
    bool matters = high > work->out->residual_limit ? low <= work->out->residual_limit : high - low > 0.01;
    add(work, choice_say(work, "%s not known: judged %s, residual at the worst %s to %s %%; that %s",
                         !frequency ? "the damping ratio that the controller uses is"
                         : controller->damping_unknown
                             ? "what the controller calls frequency, and its damping ratio, are"
                             : "whether the controller's frequency is natural or damped is",
                         !frequency                    ? "for 0, 0.05 and 0.1"
                         : controller->damping_unknown ? "both ways for 0, 0.05 and 0.1"
                                                       : "both ways",
                         quell_number_percent(low).text, quell_number_percent(high).text,
                         matters ? "matters" : "does not matter"));
}

/* Whether a list made for these modes is worth its trouble: our own judgement, as in `quell tailor`. */
static void note_tailored(choice_work *work)
{
    const quell_axis_choice *out = work->out;
    const quell_candidate *best = NULL, *list = out->tailored >= 0 ? &out->candidate[out->tailored] : NULL;
    for (size_t i = 0; i < work->families && i < out->count; i++) {
        const quell_candidate *row = &out->candidate[i];
        if (row->accepted && row->residual_worst <= out->residual_limit && (best == NULL || row->spread_s < best->spread_s))
            best = row;
    }
    if (list == NULL || best == NULL || list->shaper.count == 0)
        return;
    double gain = 1 - list->spread_s / best->spread_s;
    bool worth = gain >= CHOOSE_SPREAD_TIE;
    add(work, choice_say(work, "a list of %zu impulses made for these modes has %s %% %s spread than the best family, %s: %s",
                         list->shaper.count, quell_number_percent(fabs(gain)).text, gain >= 0 ? "less" : "more", best->title,
                         !worth              ? "not worth a list of its own"
                         : list->accepted    ? "worth entering"
                                             : "worth it only where a controller takes one"));
}

static void note_shared(choice_work *work)
{
    const char(*shared)[16] = work->machine->controller.one_setting_for;
    if (shared[0][0] == '\0')
        return;
    add(work, choice_say(work,
                         "the controller has one %s%s%s%s%s for both axes: with recordings of both, they are chosen together",
                         shared[0], shared[1][0] != '\0' ? ", one " : "", shared[1],
                         shared[2][0] != '\0' ? ", one " : "", shared[2]));
}

void choice_add_notes(choice_work *work)
{
    note_motion(work);
    note_families(work);
    note_negative(work);
    note_tailored(work);
    note_load(work);
    note_design(work);
    note_readings(work);
    note_shared(work);
}
