/* The choice in words: the reason of each row, why the chosen one, and both ways out where it rounds too much. */
#include "choose/choose_private.h"

#include <math.h>
#include <string.h>

const char *choice_say(choice_work *work, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    const char *text = quell_arena_print_list(work->arena, format, arguments);
    va_end(arguments);
    work->out_of_memory = work->out_of_memory || text == NULL;
    return text != NULL ? text : "";
}

/* "EI at 59.8 Hz, damping ratio 0.046" */
static const char *name_row(choice_work *work, const quell_candidate *row)
{
    if (row->is_none || strcmp(row->family_id, "impulses") == 0)
        return row->title;
    if (!work->machine->controller.takes_shapers && !row->is_old)
        return choice_say(work, "an acceleration ramp of %s ms",
                          quell_number_fixed(1e3 * quell_shaper_measure(&row->shaper).duration_s * (double)row->shaper.count /
                                                 (double)(row->shaper.count - 1), 2).text);
    if (strcmp(row->family_id, "convolved") == 0)
        return choice_say(work, "the list of %zu impulses of %s", row->shaper.count, work->product);
    if (strcmp(row->family_id, "tailored") == 0)
        return choice_say(work, "the tailored list of %zu impulses", row->shaper.count);
    return choice_say(work, "%s at %s Hz, damping ratio %s", row->title,
                      quell_number_fixed(row->shaper.at.frequency_hz, 1).text,
                      quell_number_fixed(row->shaper.at.damping_ratio, 3).text);
}

/* Whether another row with less spread lost for its coverage. */
static bool won_by_coverage(const quell_axis_choice *choice)
{
    const quell_candidate *chosen = &choice->candidate[choice->chosen];
    for (size_t i = 0; i < choice->count; i++)
        if (rule_meets(choice, &choice->candidate[i]) && choice->candidate[i].spread_s < chosen->spread_s)
            return true;
    return false;
}

/* A row that keeps to the limit but was not chosen. */
static const char *reason_not_chosen(choice_work *work, const quell_candidate *row)
{
    const quell_candidate *chosen = &work->out->candidate[work->out->chosen];
    double more = row->spread_s / chosen->spread_s - 1;
    if (more < 0)
        return choice_say(work, "meets the limit with %s %% less spread, but covers less",
                          quell_number_percent(-more).text);
    return choice_say(work, "meets the limit, but with %s %% more spread", quell_number_percent(more).text);
}

/* "6.5 to 12.4 % left, the limit is 10 %" */
static const char *reason_too_much(choice_work *work, const quell_candidate *row)
{
    quell_number_text nominal = quell_number_percent(row->residual_nominal),
                      worst = quell_number_percent(row->residual_worst);
    bool alike = strcmp(nominal.text, worst.text) == 0;
    return choice_say(work, "%s%s%s %% left, the limit is %s %%", nominal.text, alike ? "" : " to ",
                      alike ? "" : worst.text, quell_number_percent(work->out->residual_limit).text);
}

static const char *judgement_of(choice_work *work, size_t i)
{
    const quell_axis_choice *out = work->out;
    const quell_candidate *row = &out->candidate[i];
    if (row->shaper.count == 0)
        return "the family has no shaper for these damping ratios";
    bool list = strcmp(row->family_id, "tailored") == 0 || strcmp(row->family_id, "convolved") == 0;
    const char *cannot = row->accepted ? "" : list ? "; the controller takes no list" : "; the controller cannot be set to it";
    if (row->residual_worst > out->residual_limit)
        return choice_say(work, "%s%s%s", reason_too_much(work, row),
                          (int)i == out->chosen ? "; the least there is" : "", cannot);
    if (!row->accepted)
        return choice_say(work, "meets the limit%s", cannot);
    if ((int)i != out->chosen)
        return reason_not_chosen(work, row);
    return won_by_coverage(out) ? "meets the limit; widest within 3 % of the least spread"
                                : "least spread that meets the limit";
}

static const char *reason_of(choice_work *work, size_t i)
{
    const char *judgement = judgement_of(work, i);
    if (!candidate_is_negative(&work->out->candidate[i]))
        return judgement;
    return choice_say(work, "%s; negative impulses ask more of the drives and can excite higher modes", judgement);
}

static size_t count_meeting(const quell_axis_choice *choice)
{
    size_t count = 0;
    for (size_t i = 0; i < choice->count; i++)
        count += rule_meets(choice, &choice->candidate[i]);
    return count;
}

/* "of the 3 that keep the residual within 10 %; 9.9 % at the worst" */
static const char *among_how_many(choice_work *work, const quell_candidate *row)
{
    size_t count = count_meeting(work->out);
    const char *those =
        count == 1 ? "the only one that keeps" : choice_say(work, "of the %zu that keep", count);
    return choice_say(work, "%s the residual within %s %%; %s %% at the worst", those,
                      quell_number_percent(work->out->residual_limit).text,
                      quell_number_percent(row->residual_worst).text);
}

static void explain_choice(choice_work *work)
{
    quell_axis_choice *out = work->out;
    const quell_candidate *row = &out->candidate[out->chosen];
    const char *name = name_row(work, row),
               *spread = choice_say(work, "%s ms", quell_number_fixed(row->spread_s * 1e3, 2).text);
    bool rounding_kept = row->rounding_m <= work->machine->rounding_limit_m; /* known to be */
    if (!out->meets_residual)
        out->why =
            choice_say(work,
                       "%s: nothing meets the residual limit of %s %%; this leaves the least ripple%s, %s %% "
                       "at the worst",
                       name, quell_number_percent(out->residual_limit).text,
                       rounding_kept ? " within the rounding limit" : "",
                       quell_number_percent(row->residual_worst).text);
    else if (won_by_coverage(out))
        out->why =
            choice_say(work, "%s: covers the widest band with a spread (%s) within 3 %% of the least, %s",
                       name, spread, among_how_many(work, row));
    else
        out->why = choice_say(work, "%s: the least spread (%s), %s", name, spread, among_how_many(work, row));
}

static const char *in_mps2(choice_work *work, double mps2)
{
    return choice_say(work, "%s mm/s2", quell_number_fixed(floor(mps2 * 1e3 + 1e-6), 0).text);
}

static void add_way_out(quell_axis_choice *out, const char *text)
{
    out->way_out[out->ways_out_count++] = text;
}

static void explain_ways_out(choice_work *work)
{
    quell_axis_choice *out = work->out;
    const quell_candidate *row = &out->candidate[out->chosen];
    const quell_machine *machine = work->machine;
    if (out->meets_rounding)
        return;
    const char *limit =
        choice_say(work, "%s um", quell_number_fixed(machine->rounding_limit_m * 1e6, 0).text);
    add_way_out(out, choice_say(work, "keeps %s: rounds corners by %s um, the limit is %s",
                                in_mps2(work, work->needs.acceleration_mps2),
                                quell_number_fixed(row->rounding_m * 1e6, 0).text, limit));
    if (isnan(row->acceleration_limit_mps2))
        add_way_out(
            out, choice_say(
                     work,
                     "keeps %s: at no acceleration, since the corner speed alone rounds more; a lower corner "
                     "speed is needed",
                     limit));
    else
        add_way_out(out, choice_say(work, "keeps %s: acceleration %s", limit,
                                    in_mps2(work, row->acceleration_limit_mps2)));
}

void choice_explain(choice_work *work)
{
    for (size_t i = 0; i < work->out->count; i++)
        work->out->candidate[i].reason = reason_of(work, i);
    explain_choice(work);
    explain_ways_out(work);
}
