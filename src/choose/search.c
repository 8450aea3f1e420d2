/* The best setting of one family: for each damping ratio the scan along frequency, then the controller's steps. */
#include "choose/search_private.h"

#include <math.h>

/* How far beyond the modes' ranges a design is tried when nothing between them meets the limit. */
#define OUTSIDE_ABOVE 1.6
#define OUTSIDE_BELOW 0.4
/* A relative gain that counts: above the scan's own tolerance, below what any controller's step can tell. */
#define WORTH_WHILE 1e-4
enum { COARSE_DAMPINGS = 8, HINT_STEP = 4, STEPS_DOWN_MAX = 40 };

/* A search over damping ratios, and the best found so far: by spread, or by R where nothing meets the limit. */
typedef struct damping_hunt {
    search_context *search;
    search_family *family;
    const axis_needs *needs;
    double low_hz, high_hz;
    bool for_spread;
    int least_damping, most_damping; /* steps that are sensible for the modes */
    int damping;                     /* of the best */
    double hz;                       /* NaN: nothing yet */
    double spread_s, residual;
} damping_hunt;

static bool try_for_spread(damping_hunt *hunt, search_scan *scan)
{
    /* Spread falls as 1/f: only frequencies above this one better the best. */
    double unit_spread_s = scan->made->unit_spread_s;
    scan->low_hz = fmax(scan->low_hz, unit_spread_s / hunt->spread_s * (1 + WORTH_WHILE));
    double hz = search_highest_that_meets(scan);
    if (isnan(hz))
        return false;
    hunt->spread_s = unit_spread_s / hz;
    hunt->hz = hz;
    return true;
}

static bool try_for_residual(damping_hunt *hunt, search_scan *scan)
{
    double least, hz = search_frequency_of_least(scan, hunt->residual * (1 - WORTH_WHILE), &least);
    if (isnan(hz))
        return false;
    hunt->residual = least;
    hunt->hz = hz;
    return true;
}

/* Tries one damping ratio; true if it is better than the best so far. */
static bool try_damping(damping_hunt *hunt, int damping)
{
    search_variants made;
    if (damping < hunt->least_damping || damping > hunt->most_damping ||
        !search_make_variants(hunt->search, hunt->family, damping, &made))
        return false;
    search_scan scan = {hunt->search, hunt->needs, &made, hunt->low_hz, hunt->high_hz};
    if (!(hunt->for_spread ? try_for_spread(hunt, &scan) : try_for_residual(hunt, &scan)))
        return false;
    hunt->damping = damping;
    return true;
}

/* The modes' own range, as for the frequency: a setting away from every mode would gain next to nothing and ask for an
   explanation. */
static void set_sensible_dampings(damping_hunt *hunt)
{
    double low = 1, high = 0;
    for (size_t k = 0; k < hunt->needs->modes; k++) {
        low = fmin(low, hunt->needs->mode[k].zeta[0]);
        high = fmax(high, hunt->needs->mode[k].zeta[NEEDS_DAMPINGS - 1]);
    }
    hunt->least_damping = (int)fmin(floor(low / SEARCH_DAMPING_STEP), SEARCH_DAMPING_STEPS);
    hunt->most_damping = (int)fmin(ceil(high / SEARCH_DAMPING_STEP), SEARCH_DAMPING_STEPS);
}

static bool improve(damping_hunt *hunt, int step)
{
    int from = hunt->damping;
    return try_damping(hunt, from + step) || try_damping(hunt, from - step);
}

static bool run(damping_hunt *hunt, const search_result *hint)
{
    const quell_controller *controller = &hunt->search->machine->controller;
    if (!isnan(controller->damping) || controller->damping_unknown)
        return try_damping(hunt, 0);
    set_sensible_dampings(hunt);
    int step = HINT_STEP;
    if (hint != NULL)
        try_damping(hunt, (int)lround(hint->setting.shaper[0].at.damping_ratio / SEARCH_DAMPING_STEP));
    if (isnan(hunt->hz)) {
        int coarse = (hunt->most_damping - hunt->least_damping) / (COARSE_DAMPINGS - 1) + 1;
        for (int at = hunt->least_damping; at <= hunt->most_damping; at += coarse)
            try_damping(hunt, at);
        step = coarse / 2;
    }
    for (; !isnan(hunt->hz) && step >= 1; step /= 2)
        while (improve(hunt, step)) {
        }
    return !isnan(hunt->hz);
}

/* Within what the controller can be told; false if nothing is left. */
static bool keep_in_range(damping_hunt *hunt)
{
    const double *range = hunt->search->machine->controller.frequency_range_hz;
    if (range[1] > 0) {
        hunt->low_hz = fmax(hunt->low_hz, range[0]);
        hunt->high_hz = fmin(hunt->high_hz, range[1]);
    }
    return hunt->low_hz <= hunt->high_hz;
}

static bool in_range(const quell_controller *controller, double hz)
{
    const double *range = controller->frequency_range_hz;
    return !(range[1] > 0) || (hz >= range[0] * (1 - 1e-9) && hz <= range[1] * (1 + 1e-9));
}

static void set_result(search_result *out, const axis_needs *needs)
{
    out->exists = true;
    out->residual_worst = search_setting_residual(needs, &out->setting, HUGE_VAL);
    out->meets = out->residual_worst <= needs->residual_limit;
    out->spread_s = search_spread(&out->setting.shaper[0]);
}

/* The highest frequency that the controller can be told and that meets the limit as the controller runs it. */
static bool settle_on_step(const damping_hunt *hunt, search_result *out)
{
    const quell_controller *controller = &hunt->search->machine->controller;
    double limit = hunt->needs->residual_limit;
    setting_told told = setting_tell(controller, hunt->hz, hunt->damping * SEARCH_DAMPING_STEP, SETTING_DOWN);
    for (int i = 0; i < STEPS_DOWN_MAX; i++, told = setting_step_down(controller, told)) {
        double hz = setting_natural_hz(controller, &told, 0, QUELL_NATURAL);
        if (!in_range(controller, hz) || hz < 0.95 * hunt->hz ||
            !search_realise(hunt->search, hunt->family, &told, &out->setting))
            return false;
        if (search_setting_residual(hunt->needs, &out->setting, limit) <= limit) {
            set_result(out, hunt->needs);
            return true;
        }
    }
    return false;
}

/* Hunts for the least spread that meets the limit between two frequencies. */
static bool find_spread(damping_hunt hunt, double low_hz, double high_hz, const search_result *hint,
                        search_result *out)
{
    hunt.low_hz = low_hz;
    hunt.high_hz = high_hz;
    hunt.for_spread = true;
    return keep_in_range(&hunt) && run(&hunt, hint) && settle_on_step(&hunt, out);
}

static bool find_residual(damping_hunt hunt, const search_result *hint, search_result *out)
{
    const quell_controller *controller = &hunt.search->machine->controller;
    hunt.low_hz = hunt.needs->low_hz;
    hunt.high_hz = hunt.needs->high_hz;
    if (!keep_in_range(&hunt)) /* the modes lie outside of what it can be told: its nearest end */
        hunt.low_hz = hunt.high_hz = hunt.low_hz > controller->frequency_range_hz[1]
                                         ? controller->frequency_range_hz[1]
                                         : controller->frequency_range_hz[0];
    if (!run(&hunt, hint))
        return false;
    setting_told told =
        setting_tell(controller, hunt.hz, hunt.damping * SEARCH_DAMPING_STEP, SETTING_NEAREST);
    if (!search_realise(hunt.search, hunt.family, &told, &out->setting))
        return false;
    set_result(out, hunt.needs);
    return true;
}

void search_family_best(search_context *search, search_family *family, const axis_needs *needs,
                        const search_result *hint, bool must_meet, search_result *out)
{
    damping_hunt start = {.search = search,
                          .family = family,
                          .needs = needs,
                          .hz = (double)NAN,
                          .spread_s = HUGE_VAL,
                          .residual = HUGE_VAL};
    double low = needs->low_hz, high = needs->high_hz;
    out->exists = out->meets = out->outside = false;
    if (find_spread(start, low, high, hint, out))
        return;
    out->outside = find_spread(start, high, OUTSIDE_ABOVE * high, hint, out) ||
                   find_spread(start, OUTSIDE_BELOW * low, low, hint, out);
    if (!out->outside && !must_meet)
        find_residual(start, hint, out);
}
