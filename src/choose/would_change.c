/* What would change the choice, found by choosing again under other drifts and residual limits. */
#include "choose/choose_private.h"

#include <math.h>

/* Halvings of the stretch in which the winner changes. */
enum { BISECTIONS = 6 };

/* The two things that are changed. */
typedef struct altered {
    double drift, residual_limit;
} altered;

/* The family that the rule chooses under these: its place, RULE_NOBODY if none meets the limit. Quick, since damping
   ratios are sought near those already found. */
static int winner(choice_work *work, altered what)
{
    quell_need need = *work->need;
    axis_needs needs;
    need.drift = what.drift;
    need.residual_limit = what.residual_limit;
    needs_prepare(&needs, &need, work->machine);
    rule_entry entry[CHOOSE_FAMILIES_MAX] = {0};
    for (size_t i = 0; i < work->families; i++) {
        search_result found;
        if (!work->result[i].exists)
            continue;
        search_family_best(&work->search, &work->family[i], &needs, &work->result[i], true, &found);
        if (!found.meets)
            continue;
        quell_candidate row = {0};
        candidate_cover(&needs, &found.setting.shaper[0], &row);
        entry[i] = (rule_entry){true, found.spread_s, candidate_coverage(&needs, &row)};
    }
    return rule_pick(entry, work->families, RULE_NOBODY);
}

static altered between(altered a, altered b)
{
    return (altered){(a.drift + b.drift) / 2, (a.residual_limit + b.residual_limit) / 2};
}

/* A change in one direction: where to look, and how to say what was found there. */
typedef struct direction {
    altered (*far)(altered now);
    bool of_drift;
    const char *wins, *meets, *nobody; /* family and value, in that order; nobody: value only */
} direction;

static altered less_drift(altered now)
{
    return (altered){0, now.residual_limit};
}

static altered more_drift(altered now)
{
    return (altered){fmax(now.drift, fmin(2 * now.drift + 0.03, 0.3)), now.residual_limit};
}

static altered higher_limit(altered now)
{
    double far = fmin(fmax(2 * now.residual_limit, now.residual_limit + 0.1), 0.9);
    return (altered){now.drift, fmax(now.residual_limit, far)};
}

static altered lower_limit(altered now)
{
    return (altered){now.drift, now.residual_limit / 2};
}

static const char wins_below[] = "wins if the drift stays below";
static const direction directions[] = {
    {less_drift, true, wins_below, "meets the limit if the drift stays below", ""},
    {more_drift, true, "wins from a drift of", "meets the limit from a drift of",
     "nothing meets the limit from a drift of"},
    {higher_limit, false, "wins from a residual limit of", "meets a residual limit of", ""},
    {lower_limit, false, "wins if the residual limit is at or below", "",
     "nothing meets a residual limit at or below"},
};

static void say_change(choice_work *work, const direction *way, int from, int to, altered at)
{
    quell_axis_choice *out = work->out;
    const char *words = to == RULE_NOBODY ? way->nobody : from == RULE_NOBODY ? way->meets : way->wins;
    if (words[0] == '\0' || out->would_change_count == sizeof out->would_change / sizeof out->would_change[0])
        return;
    const char *family = to == RULE_NOBODY ? "" : work->family[to].title;
    double value = way->of_drift ? at.drift : at.residual_limit;
    quell_number_text percent =
        value < 1e-3 ? quell_number_percent(value) : quell_number_fixed(100 * value, 1);
    out->would_change[out->would_change_count++] =
        choice_say(work, "%s%s%s %s %%", family, family[0] != '\0' ? " " : "", words, percent.text);
}

/* The change nearest to now in one direction, if there is one: bisected between now and the far end. */
static void look(choice_work *work, const direction *way, int now_wins)
{
    altered now = {work->need->drift, work->needs.residual_limit}, far = way->far(now);
    int far_wins = winner(work, far);
    if (far_wins == now_wins)
        return;
    for (int i = 0; i < BISECTIONS; i++) {
        altered middle = between(now, far);
        int middle_wins = winner(work, middle);
        if (middle_wins == now_wins) {
            now = middle;
        } else {
            far = middle;
            far_wins = middle_wins;
        }
    }
    say_change(work, way, now_wins, far_wins, far);
}

void choice_add_would_change(choice_work *work)
{
    const quell_axis_choice *out = work->out;
    if (work->families == 0)
        return;
    int now_wins = winner(work, (altered){work->need->drift, work->needs.residual_limit});
    if (out->meets_residual && now_wins != out->chosen)
        return; /* the old setting or no shaper was chosen: the families have no say */
    for (size_t i = 0; i < sizeof directions / sizeof directions[0]; i++)
        look(work, &directions[i], now_wins);
}
