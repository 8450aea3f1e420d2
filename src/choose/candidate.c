/* The rows of the choice, and the numbers of one row. */
#include "choose/choose_private.h"
#include "quell/predict.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Above this acceleration (m/s2) nothing limits. */
#define ACCELERATION_UNLIMITED 1000.0
/* Coverage is looked at from 1/3 to 3 times the modes. */
#define COVER_RANGE 3.0
#define COVER_STEP 0.005

const quell_axis_limits *choice_limits(const choice_work *work)
{
    return &work->machine->axis[work->need->axis == 'y' ? 1 : 0];
}

/* ---------------------------------------------------------------- coverage */

static bool is_covered(const axis_needs *needs, const quell_shaper *shaper, double scale)
{
    return needs_residual_scaled(needs, shaper, scale) <= needs->residual_limit;
}

static double cover_edge(const axis_needs *needs, const quell_shaper *shaper, double inside, double outside)
{
    while (fabs(outside - inside) > 1e-6 * inside) {
        double middle = (inside + outside) / 2;
        if (is_covered(needs, shaper, middle))
            inside = middle;
        else
            outside = middle;
    }
    return inside;
}

/* The stretches of the strongest mode's frequency, all modes scaled alike, where R at the estimated damping ratios
   stays within the limit. The one that holds the estimate is kept whatever their number. */
void candidate_cover(const axis_needs *needs, const quell_shaper *shaper, quell_candidate *row)
{
    double strongest_hz = needs->mode[needs->strongest].frequency_hz, before = 1 / COVER_RANGE, low = before;
    bool inside = is_covered(needs, shaper, before);
    int steps = (int)(2 * log(COVER_RANGE) / COVER_STEP);
    row->covers_count = 0;
    for (int i = 1; i <= steps; i++) {
        double at = exp(COVER_STEP * i) / COVER_RANGE;
        bool now = i < steps && is_covered(needs, shaper, at);
        if (now && !inside)
            low = cover_edge(needs, shaper, at, before);
        if (!now && inside) {
            double high = cover_edge(needs, shaper, before, at);
            size_t place = row->covers_count < 4 ? row->covers_count++ : 3;
            if (place < 3 || row->covers_hz[3][1] == 0 || (low <= 1 && high >= 1)) {
                row->covers_hz[place][0] = low * strongest_hz;
                row->covers_hz[place][1] = high * strongest_hz;
            }
        }
        inside = now;
        before = at;
    }
}

double candidate_coverage(const axis_needs *needs, const quell_candidate *row)
{
    double hz = needs->mode[needs->strongest].frequency_hz;
    for (size_t i = 0; i < row->covers_count; i++)
        if (row->covers_hz[i][0] <= hz && row->covers_hz[i][1] >= hz)
            return log(row->covers_hz[i][1] / row->covers_hz[i][0]);
    return 0;
}

/* ---------------------------------------------------------------- numbers of a row */

static void judge_ripple(const axis_needs *needs, const quell_shaper *shaper, quell_candidate *row)
{
    row->ripple_worst_m = 0;
    for (size_t k = 0; k < needs->modes; k++) {
        const needs_mode *mode = &needs->mode[k];
        double inner[2], outer[2];
        needs_residual_range(mode, mode->interval_hz, shaper, inner);
        needs_residual_range(mode, mode->hz, shaper, outer);
        row->ripple_m[k] = mode->ripple_m * quell_residual(shaper, mode->frequency_hz, mode->damping_ratio);
        row->ripple_ci95_m[k][0] = mode->ripple_ci95_m[0] * inner[0];
        row->ripple_ci95_m[k][1] = mode->ripple_ci95_m[1] * inner[1];
        row->ripple_worst_m += mode->ripple_m * outer[1];
    }
}

/* At a right angle, this axis's shaper on both legs: the pair that is chosen in the end is judged together. */
static void judge_rounding(const choice_work *work, const quell_shaper *shaper, quell_candidate *row)
{
    const quell_axis_limits *limits = choice_limits(work);
    const quell_machine *machine = work->machine;
    quell_corner corner = {.speed_mps = isnan(machine->corner_speed_mps) ? 0 : machine->corner_speed_mps,
                           .acceleration_mps2 = limits->acceleration_mps2,
                           .cruise_mps = isnan(limits->speed_mps) ? 0 : limits->speed_mps,
                           .angle_rad = QUELL_PI / 2};
    row->rounding_m = row->acceleration_limit_mps2 = (double)NAN;
    if (!isnan(limits->acceleration_mps2))
        row->rounding_m = quell_rounding(&corner, shaper, shaper);
    if (isnan(machine->rounding_limit_m))
        return;
    row->acceleration_limit_mps2 =
        quell_acceleration_limit(&corner, shaper, shaper, machine->rounding_limit_m, ACCELERATION_UNLIMITED);
    if (row->acceleration_limit_mps2 >= ACCELERATION_UNLIMITED)
        row->acceleration_limit_mps2 = HUGE_VAL;
}

void candidate_judge(const choice_work *work, quell_candidate *row, const quell_shaper *shaper, size_t count)
{
    const axis_needs *needs = &work->needs;
    const quell_shaper *worst = shaper;
    row->shaper = shaper[0];
    row->residual_worst = row->residual_nominal = 0;
    for (size_t i = 0; i < count; i++) {
        double residual = needs_residual_worst(needs, &shaper[i], HUGE_VAL);
        row->residual_nominal = fmax(row->residual_nominal, needs_residual_at_estimate(needs, &shaper[i]));
        if (residual > row->residual_worst)
            worst = &shaper[i];
        row->residual_worst = fmax(row->residual_worst, residual);
    }
    judge_ripple(needs, worst, row);
    candidate_cover(needs, worst, row);
    judge_rounding(work, shaper, row);
    quell_shaper_moments moments = quell_shaper_measure(shaper);
    row->spread_s = moments.spread_s;
    row->delay_s = moments.mean_s;
}

bool candidate_is_negative(const quell_candidate *row)
{
    for (size_t i = 0; i < row->shaper.count; i++)
        if (row->shaper.amplitude[i] < 0)
            return true;
    return false;
}

/* ---------------------------------------------------------------- rows */

quell_candidate *candidate_new(choice_work *work, const char *id, const char *title)
{
    quell_candidate *row = &work->out->candidate[work->out->count++];
    *row = (quell_candidate){.title = title, .reason = ""};
    snprintf(row->family_id, sizeof row->family_id, "%s", id);
    return row;
}

/* Whether the controller can be told exactly this shaper. */
static bool can_be_set(choice_work *work, const quell_shaper *shaper)
{
    for (size_t i = 0; i < work->families && shaper->family != NULL; i++) {
        search_family *family = &work->family[i];
        if (family->built_in != shaper->family)
            continue;
        setting_told told = setting_tell(&work->machine->controller, shaper->at.frequency_hz,
                                         shaper->at.damping_ratio, SETTING_NEAREST);
        search_setting setting;
        if (!search_realise(&work->search, family, &told, &setting) ||
            setting.shaper[0].count != shaper->count)
            return false;
        double last_s = shaper->time_s[shaper->count - 1];
        for (size_t j = 0; j < shaper->count; j++)
            if (fabs(setting.shaper[0].time_s[j] - shaper->time_s[j]) > 1e-6 * last_s ||
                fabs(setting.shaper[0].amplitude[j] - shaper->amplitude[j]) > 1e-6)
                return false;
        return true;
    }
    return false;
}

static void add_old(choice_work *work)
{
    const quell_shaper *old = work->need->old_setting;
    if (old == NULL)
        return;
    bool list = old->family == NULL;
    work->out->old = (int)work->out->count;
    quell_candidate *row = candidate_new(work, list ? "impulses" : old->family->id, "");
    row->title = choice_say(work, "old setting: %s", list ? "impulses" : old->family->title);
    row->is_old = true;
    row->accepted = can_be_set(work, old);
    candidate_judge(work, row, old, 1);
}

static void add_none(choice_work *work)
{
    quell_shaper identity;
    quell_shaper_identity(&identity);
    work->out->none = (int)work->out->count;
    quell_candidate *row = candidate_new(work, "none", "no shaper");
    row->is_none = row->accepted = true;
    candidate_judge(work, row, &identity, 1);
}

void candidates_add(choice_work *work)
{
    for (size_t i = 0; i < work->families; i++) {
        search_result *result = &work->result[i];
        search_family_best(&work->search, &work->family[i], &work->needs, NULL, false, result);
        quell_candidate *row = candidate_new(work, work->family[i].id, work->family[i].title);
        row->accepted = result->exists;
        if (result->exists) {
            candidate_judge(work, row, result->setting.shaper, result->setting.readings);
        } else {
            row->shaper.count = 0;
            row->residual_nominal = row->residual_worst = row->ripple_worst_m = row->spread_s =
                row->rounding_m = row->acceleration_limit_mps2 = row->delay_s = (double)NAN;
        }
    }
    candidates_add_tailored(work);
    add_old(work);
    add_none(work);
}
