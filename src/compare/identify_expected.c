/* What was entered into a controller against what it runs: does it agree, is its frequency natural or damped, is the damping ratio
   its own? */
#include "compare/identify_private.h"

#include <math.h>
#include <string.h>

#define TOLD_APART 10.0 /* of deviance or BIC: beyond, one of two readings is out */
#define ACCEPTED 6.63   /* chi2(1), 99 %: a reading that fits this much worse than the best is out, too */
#define NARROW 0.05     /* width of the damping ratio's interval above which it is not called known */
#define GOLDEN 0.3819660112501051

enum { GRID = 30, SECTIONS = 16 };

/* ---------------------------------------------------------------- reading what was entered */

static bool is_family(const char *spec, const quell_machine *machine, char id[48])
{
    size_t length = strcspn(spec, ":");
    if (strchr(spec, '*') != NULL || length == 0 || length >= 48)
        return false;
    memcpy(id, spec, length);
    id[length] = '\0';
    for (size_t i = 0; machine != NULL && i < machine->own_count; i++)
        if (strcmp(machine->own[i].id, id) == 0)
            return true;
    return quell_family_find(id) != NULL;
}

quell_status quell_expected_parse(quell_expected *out, const char *spec, const quell_machine *machine, quell_error *err)
{
    quell_expected made = {.told_hz = (double)NAN, .damping_ratio = (double)NAN};
    bool family = is_family(spec, machine, made.family_id);
    quell_status status = family && machine != NULL ? quell_machine_old_setting(&made.shaper, machine, spec, err)
                                                    : quell_shaper_parse(&made.shaper, spec, err);
    if (status != QUELL_OK)
        return status;
    if (family) {
        double zeta = made.shaper.at.damping_ratio;
        bool damped = machine != NULL && machine->controller.frequency == QUELL_DAMPED;
        made.told_hz = made.shaper.at.frequency_hz * (damped ? sqrt(1 - zeta * zeta) : 1);
        made.damping_ratio = zeta;
    } else {
        strcpy(made.family_id, made.shaper.count == 1 ? "none" : "impulses");
    }
    *out = made;
    return QUELL_OK;
}

/* ---------------------------------------------------------------- judging it */

double identify_frequency_error(const quell_ratio *ratio, const quell_machine *machine, const quell_shaper *shaper)
{
    double tick_s = machine != NULL ? machine->controller.tick_s : 0, last_s = shaper->time_s[shaper->count - 1];
    return hypot(ratio->rate_relative_error, last_s > 0 ? tick_s / 2 / last_s : 0);
}

/* A reading of the frequency that was told, tried at a damping ratio. */
typedef struct told_reading {
    const fit_family *family;
    double hz;
    bool damped;
    double error; /* relative, that the frequency may be off for free */
} told_reading;

static double deviance_at(fit_work *work, const told_reading *of, double zeta)
{
    quell_shaper unit, scaled;
    double least = HUGE_VAL, gain_ln = 0;
    if (!fit_design(of->family, 1, zeta, &unit))
        return HUGE_VAL;
    double hz = of->hz / (of->damped ? sqrt(1 - zeta * zeta) : 1);
    for (int off = -1; off <= 1; off++) {
        quell_shaper_scale(&scaled, &unit, hz * (1 + off * of->error));
        least = fmin(least, fit_deviance(work, &scaled, &gain_ln));
    }
    return least;
}

/* The least over all damping ratios. */
static double least_deviance(fit_work *work, const told_reading *of)
{
    double best = 0, least = HUGE_VAL;
    const double step = QUELL_DAMPING_RATIO_MAX / GRID;
    for (int i = 0; i <= GRID; i++) {
        double deviance = deviance_at(work, of, step * i);
        if (deviance < least) {
            least = deviance;
            best = step * i;
        }
    }
    double low = fmax(best - step, 0), high = fmin(best + step, QUELL_DAMPING_RATIO_MAX);
    for (int i = 0; i < SECTIONS; i++) {
        double a = low + GOLDEN * (high - low), b = high - GOLDEN * (high - low);
        double at_a = deviance_at(work, of, a), at_b = deviance_at(work, of, b);
        least = fmin(least, fmin(at_a, at_b));
        if (at_a < at_b)
            high = b;
        else
            low = a;
    }
    return least;
}

/* Which of two readings is told: QUELL_READING_UNKNOWN if neither. */
static quell_reading told_apart(double natural, double damped, double best)
{
    if (natural < best + ACCEPTED && damped > natural + TOLD_APART)
        return QUELL_NATURAL;
    if (damped < best + ACCEPTED && natural > damped + TOLD_APART)
        return QUELL_DAMPED;
    return QUELL_READING_UNKNOWN;
}

static void judge_reading(fit_work *work, const fit_family *family, const quell_expected *expected, double error, double best,
                          quell_identification *out)
{
    told_reading natural = {family, expected->told_hz, false, error}, damped = {family, expected->told_hz, true, error};
    out->reading = told_apart(least_deviance(work, &natural), least_deviance(work, &damped), best);
    out->reading_known = out->reading != QUELL_READING_UNKNOWN;
    if (out->reading_known)
        return;
    double zeta = expected->damping_ratio;
    out->reading = told_apart(deviance_at(work, &natural, zeta), deviance_at(work, &damped, zeta), best);
    out->reading_if_damping_known = out->reading != QUELL_READING_UNKNOWN;
}

static void judge_damping(fit_work *work, const fit_family *family, const quell_expected *expected, const quell_identified *run,
                          double best, quell_identification *out)
{
    double zeta = expected->damping_ratio, root = sqrt((1 - run->shaper.at.damping_ratio) * (1 + run->shaper.at.damping_ratio));
    fit_point at = fit_family_at(work, family, zeta, run->shaper.at.frequency_hz * root / sqrt(1 - zeta * zeta), NULL);
    double worse = at.found ? at.deviance - best : HUGE_VAL;
    if (worse > TOLD_APART)
        out->uses_damping = QUELL_TELLS_NO;
    else if (worse < FIT_95 && run->damping_ratio_ci95[1] - run->damping_ratio_ci95[0] < NARROW)
        out->uses_damping = QUELL_TELLS_YES;
}

void identify_judge_expected(fit_work *work, const fit_family *family, const quell_machine *machine,
                             const quell_expected *expected, quell_identification *out)
{
    double error = identify_frequency_error(work->ratio, machine, &expected->shaper), gain_ln = 0, as_entered = HUGE_VAL;
    for (int off = -1; off <= 1; off++) {
        quell_shaper moved = expected->shaper;
        for (size_t i = 0; i < moved.count; i++)
            moved.time_s[i] *= 1 + off * error;
        as_entered = fmin(as_entered, fit_deviance(work, &moved, &gain_ln));
    }
    double worse = as_entered - out->candidate[0].bic;
    out->agrees = worse < QUELL_BIC_TELLS ? QUELL_TELLS_YES : worse > TOLD_APART ? QUELL_TELLS_NO : QUELL_TELLS_NOT;
    if (family == NULL || out->in_effect != QUELL_TELLS_YES)
        return;
    for (size_t i = 0; i < out->alike; i++) {
        const quell_identified *run = &out->candidate[i];
        if (strcmp(run->family_id, expected->family_id) != 0 || !run->has_point)
            continue;
        double best = run->bic - (double)run->parameters * log(fit_count(work));
        judge_reading(work, family, expected, error, best, out);
        judge_damping(work, family, expected, run, best, out);
    }
}
