/* The rule: among the rows that the controller takes and that keep to the residual limit, the least spread; within
   3 % of that, the wider coverage. If nothing keeps to it: the least worst ripple whose rounding is within its limit,
   else the least worst ripple. */
#include "choose/choose_private.h"

#include <math.h>

bool rule_meets(const quell_axis_choice *choice, const quell_candidate *row)
{
    return row->accepted && row->residual_worst <= choice->residual_limit;
}

bool rule_rounding_kept(const quell_machine *machine, const quell_candidate *row)
{
    return !(row->rounding_m > machine->rounding_limit_m); /* true if either is not known */
}

int rule_pick(const rule_entry *entry, size_t count, int except)
{
    double least = HUGE_VAL;
    for (size_t i = 0; i < count; i++)
        if ((int)i != except && entry[i].meets)
            least = fmin(least, entry[i].spread_s);
    int best = RULE_NOBODY;
    for (size_t i = 0; i < count; i++) {
        const rule_entry *one = &entry[i];
        if ((int)i == except || !one->meets || one->spread_s > least * (1 + CHOOSE_SPREAD_TIE))
            continue;
        if (best == RULE_NOBODY || one->coverage > entry[best].coverage ||
            (one->coverage == entry[best].coverage && one->spread_s < entry[best].spread_s))
            best = (int)i;
    }
    return best;
}

static double worst_ripple(const quell_candidate *row)
{
    return isnan(row->ripple_worst_m) ? row->residual_worst : row->ripple_worst_m;
}

/* What leaves the least, among rows that the controller takes. */
static int quietest(const choice_work *work, int except, bool rounding_kept)
{
    const quell_axis_choice *choice = work->out;
    int best = RULE_NOBODY;
    for (size_t i = 0; i < choice->count; i++) {
        const quell_candidate *row = &choice->candidate[i];
        if ((int)i == except || !row->accepted || (rounding_kept && !rule_rounding_kept(work->machine, row)))
            continue;
        if (best < 0 || worst_ripple(row) < worst_ripple(&choice->candidate[best]))
            best = (int)i;
    }
    return best;
}

int rule_choose(const choice_work *work, int except)
{
    const quell_axis_choice *choice = work->out;
    rule_entry entry[QUELL_CANDIDATES_MAX];
    for (size_t i = 0; i < choice->count; i++) {
        const quell_candidate *row = &choice->candidate[i];
        entry[i] =
            (rule_entry){rule_meets(choice, row), row->spread_s, candidate_coverage(&work->needs, row)};
    }
    int best = rule_pick(entry, choice->count, except);
    if (best == RULE_NOBODY)
        best = quietest(work, except, true);
    return best != RULE_NOBODY ? best : quietest(work, except, false);
}
