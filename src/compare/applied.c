/* A shaper that is said to be in effect, held against the ratio: as it is, at another frequency, not at all; or with a mode that has
   moved meanwhile, which multiplies the ratio by |G_after / G_before|^2. */
#include "compare/identify_private.h"

#include <math.h>

#define TELLS 10.0      /* of deviance */
#define SCALE_MOST 0.35 /* of ln frequency, to each side */
#define SCALE_STEP 0.004
#define SCALE_MATTERS 0.01
#define MOVE_MOST 0.12 /* of ln frequency of a mode */
#define MOVE_STEP 0.002
#define MOVE_MATTERS 0.005
#define DIFFERS_DB 1.5 /* our own judgement */
#define DB (10 / log(10))

typedef struct applied_state {
    fit_work work;
    const quell_shaper *shaper;
    double *moved; /* grid: |G_after / G_before|^2 */
    double none, as_is, gain_ln, none_gain_ln;
} applied_state;

/* ---------------------------------------------------------------- deviances */

static double deviance_none(applied_state *state, double *gain_ln)
{
    quell_shaper none;
    quell_shaper_identity(&none);
    return fit_deviance(&state->work, &none, gain_ln);
}

static double deviance_scaled(applied_state *state, double scale, double *gain_ln)
{
    quell_shaper at = *state->shaper;
    for (size_t i = 0; i < at.count; i++)
        at.time_s[i] /= scale;
    return fit_deviance(&state->work, &at, gain_ln);
}

static double deviance_moved(applied_state *state, const quell_mode *mode, double factor, double *gain_ln)
{
    const quell_ratio *ratio = state->work.ratio;
    quell_mode after = *mode;
    after.frequency_hz *= factor;
    ratio_power(ratio, state->shaper, state->work.power);
    for (size_t k = 0; k < ratio->grid; k++) {
        double hz = ratio->grid_low_hz + (double)k * ratio->grid_step_hz;
        double was = cabs(quell_response(mode, 1, hz)), is = cabs(quell_response(&after, 1, hz));
        state->work.power[k] *= was > 1e-6 ? is * is / (was * was) : 1;
    }
    ratio_smear(ratio, state->work.power, state->work.signal);
    return fit_deviance_of_signal(&state->work, gain_ln);
}

/* A minimum on a grid of factors, finer round the best, and its 95 % interval from the curvature. */
typedef struct factor_fit {
    double factor, deviance, ci95[2];
} factor_fit;

typedef double (*deviance_of)(applied_state *state, const quell_mode *mode, double factor, double *gain_ln);

static double scaled(applied_state *state, const quell_mode *mode, double factor, double *gain_ln)
{
    (void)mode;
    return deviance_scaled(state, factor, gain_ln);
}

static factor_fit best_factor(applied_state *state, deviance_of of, const quell_mode *mode, double most, double step)
{
    double gain_ln = 0, best = 0;
    factor_fit out = {1, of(state, mode, 1, &gain_ln), {(double)NAN, (double)NAN}};
    double span = most;
    for (int level = 0; level < 4; level++, span = step, step /= 8) {
        double middle = best;
        for (double x = middle - span; x <= middle + span + step / 2; x += step) {
            double deviance = of(state, mode, exp(x), &gain_ln);
            if (deviance < out.deviance) {
                out.deviance = deviance;
                best = x;
            }
        }
    }
    double h = 1e-3, curvature = 1;
    for (int pass = 0; pass < 2; pass++) {
        double sides = of(state, mode, exp(best - h), &gain_ln) + of(state, mode, exp(best + h), &gain_ln);
        curvature = fmax((sides - 2 * out.deviance) / (h * h), 1);
        h = fmin(fmax(sqrt(2 * FIT_95 / curvature), 1e-5), 0.02);
    }
    double reach = sqrt(2 * FIT_95 / curvature) + state->work.ratio->rate_relative_error;
    out.factor = exp(best);
    out.ci95[0] = exp(best - reach);
    out.ci95[1] = exp(best + reach);
    return out;
}

/* ---------------------------------------------------------------- judging */

static bool start(applied_state *state, const quell_ratio *ratio, const quell_shaper *shaper, quell_arena *arena,
                  quell_error *err)
{
    *state = (applied_state){.shaper = shaper};
    if (fit_work_make(&state->work, ratio, arena, err) != QUELL_OK)
        return false;
    for (int round = 0; round < 3; round++) {
        double gain_ln = 0;
        state->none = deviance_none(state, &gain_ln);
        double none2 = fit_scatter2(&state->work, gain_ln, 1);
        state->as_is = deviance_scaled(state, 1, &state->gain_ln);
        double as2 = fit_scatter2(&state->work, state->gain_ln, 1);
        fit_set_scatter(&state->work, fmin(none2, as2));
    }
    state->none = deviance_none(state, &state->none_gain_ln);
    state->as_is = deviance_scaled(state, 1, &state->gain_ln);
    return true;
}

static const quell_mode *strongest(const quell_modes *modes, const quell_ratio *ratio)
{
    const quell_mode *best = NULL;
    for (size_t i = 0; modes != NULL && i < modes->count; i++) {
        const quell_mode *mode = &modes->mode[i];
        bool inside = mode->frequency_hz > ratio->frequency_hz[0] && mode->frequency_hz < ratio->frequency_hz[ratio->bins - 1];
        if (inside && (best == NULL || fabs(mode->participation) > fabs(best->participation)))
            best = mode;
    }
    return best;
}

static quell_status try_other(const quell_ratio *other, const quell_shaper *shaper, quell_arena *arena, bool *acts,
                              quell_error *err)
{
    applied_state on_other;
    *acts = false;
    if (other == NULL)
        return QUELL_OK;
    if (!start(&on_other, other, shaper, arena, err))
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the other axis");
    *acts = on_other.as_is < on_other.none - TELLS;
    return QUELL_OK;
}

/* Are half of all bins near what the work's signal predicts? Random motion that is not repeated is allowed its own scatter. */
static bool scatters_little(const applied_state *state, double gain_ln)
{
    const quell_ratio *ratio = state->work.ratio;
    double limit = fmax(DIFFERS_DB / DB, 2 * sqrt(2 / ratio->dof_on + 2 / ratio->dof_off));
    return sqrt(fit_scatter2(&state->work, gain_ln, 1)) < limit;
}

/* The fit anew with no more scatter than it leaves itself. */
static factor_fit fit_again(applied_state *state, deviance_of of, const quell_mode *mode, factor_fit found, double most,
                            double step)
{
    double gain_ln;
    of(state, mode, found.factor, &gain_ln);
    double scatter2 = fit_scatter2(&state->work, gain_ln, 2);
    if (scatter2 >= state->work.scatter2)
        return found;
    fit_set_scatter(&state->work, scatter2);
    return best_factor(state, of, mode, most, step);
}

/* Has the mode moved? That must explain the ratio better than `least`, and leave little of it. */
static bool judge_mode(applied_state *state, const quell_mode *mode, double least, quell_applied *out)
{
    if (mode == NULL || isnan(mode->participation))
        return false;
    factor_fit moved = best_factor(state, deviance_moved, mode, MOVE_MOST, MOVE_STEP);
    double gain_ln;
    deviance_moved(state, mode, moved.factor, &gain_ln);
    if (!(moved.deviance < least - TELLS) || !(fabs(log(moved.factor)) > MOVE_MATTERS) || !scatters_little(state, gain_ln))
        return false;
    out->agreement = QUELL_APPLIED_MODE_MOVED;
    out->moved_hz = mode->frequency_hz * moved.factor;
    return true;
}

static void keep_scale(const factor_fit *at, quell_applied *out)
{
    out->scale = at->factor;
    out->scale_ci95[0] = at->ci95[0];
    out->scale_ci95[1] = at->ci95[1];
}

/* None explains the ratio as well as the shaper does: because neither is there, or because they cannot be told apart. That it
   explains little better is not enough: another shaper may act. */
static quell_agreement judge_none(applied_state *state)
{
    deviance_none(state, &state->none_gain_ln);
    if (!scatters_little(state, state->none_gain_ln))
        return QUELL_APPLIED_DIFFERS;
    return state->none < state->as_is - TELLS ? QUELL_APPLIED_NOT_IN_EFFECT : QUELL_APPLIED_UNCLEAR;
}

/* Of the deviances: does it act, and where? */
static void judge(applied_state *state, const quell_mode *mode, quell_applied *out)
{
    factor_fit at = best_factor(state, scaled, NULL, SCALE_MOST, SCALE_STEP);
    deviance_scaled(state, 1, &state->gain_ln);
    out->misfit_db = fit_misfit_db(&state->work, state->gain_ln);
    if (state->none < fmin(state->as_is, at.deviance) + TELLS) {
        out->agreement = judge_none(state);
        return;
    }
    keep_scale(&at, out);
    bool elsewhere = at.deviance < state->as_is - TELLS && fabs(log(at.factor)) > SCALE_MATTERS;
    if (judge_mode(state, mode, elsewhere ? at.deviance : state->as_is, out))
        return;
    if (elsewhere) {
        at = fit_again(state, scaled, NULL, at, SCALE_MOST, SCALE_STEP);
        keep_scale(&at, out);
    }
    deviance_scaled(state, elsewhere ? at.factor : 1, &state->gain_ln);
    out->agreement = !scatters_little(state, state->gain_ln) ? QUELL_APPLIED_DIFFERS
                     : elsewhere                             ? QUELL_APPLIED_ELSEWHERE
                                                             : QUELL_APPLIED_WORKS;
}

/* ---------------------------------------------------------------- series */

static quell_status make_series(applied_state *state, quell_arena *arena, quell_applied *out, quell_error *err)
{
    const quell_ratio *ratio = state->work.ratio;
    double *room = QUELL_NEW(arena, double, 4 * ratio->bins);
    if (room == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the ratio's curves");
    double *measured = room, *low = room + ratio->bins, *high = low + ratio->bins, *predicted = high + ratio->bins;
    /* what scatters about a shaper that does not fit is no error of the measurement */
    double chance2 = fmax(QUELL_RATIO_SCATTER_MIN * QUELL_RATIO_SCATTER_MIN, 2 / ratio->dof_on + 2 / ratio->dof_off);
    fit_set_scatter(&state->work, fmin(state->work.scatter2, chance2));
    deviance_scaled(state, 1, &state->gain_ln);
    for (size_t i = 0; i < ratio->bins; i++) {
        double variance, signal = fmax(state->work.signal[i], 1e-12), whole = exp(state->gain_ln) * signal + ratio->noise[i];
        fit_residual(&state->work, i, exp(state->gain_ln), &variance);
        double reach = 1.96 * sqrt(variance) * (ratio->ratio[i] + state->work.offset);
        predicted[i] = DB * log(whole);
        measured[i] = DB * log(ratio->ratio[i]);
        low[i] = DB * log(fmax(ratio->ratio[i] - reach, 1e-6));
        high[i] = DB * log(ratio->ratio[i] + reach);
    }
    out->bins = ratio->bins;
    out->frequency_hz = ratio->frequency_hz;
    out->measured_db = measured;
    out->low_db = low;
    out->high_db = high;
    out->predicted_db = predicted;
    return QUELL_OK;
}

static void measure_at_mode(const quell_mode *mode, const quell_shaper *shaper, quell_applied *out)
{
    if (mode == NULL)
        return;
    size_t near = 0;
    for (size_t i = 1; i < out->bins; i++)
        if (fabs(out->frequency_hz[i] - mode->frequency_hz) < fabs(out->frequency_hz[near] - mode->frequency_hz))
            near = i;
    out->mode_hz = mode->frequency_hz;
    out->mode_predicted_db = out->predicted_db[near];
    out->mode_measured_db = out->measured_db[near];
    out->mode_residual = quell_residual(shaper, mode->frequency_hz, mode->damping_ratio);
}

quell_status quell_applied_judge(const quell_ratio *driven, const quell_ratio *other, const quell_shaper *shaper,
                                 const quell_modes *before, quell_arena *arena, quell_applied *out, quell_error *err)
{
    const double unknown = (double)NAN;
    applied_state state;
    quell_applied made = {.agreement = QUELL_APPLIED_UNCLEAR,
                          .scale = unknown,
                          .scale_ci95 = {unknown, unknown},
                          .mode_hz = unknown,
                          .mode_predicted_db = unknown,
                          .mode_measured_db = unknown,
                          .mode_residual = unknown,
                          .moved_hz = unknown};
    if (!start(&state, driven, shaper, arena, err))
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a fit");
    const quell_mode *mode = strongest(before, driven);
    judge(&state, mode, &made);
    quell_status status = QUELL_OK;
    if (made.agreement == QUELL_APPLIED_NOT_IN_EFFECT) {
        bool acts;
        status = try_other(other, shaper, arena, &acts, err);
        made.agreement = acts ? QUELL_APPLIED_WRONG_AXIS : QUELL_APPLIED_NOT_IN_EFFECT;
    }
    if (status == QUELL_OK)
        status = make_series(&state, arena, &made, err);
    if (status != QUELL_OK)
        return status;
    measure_at_mode(mode, shaper, &made);
    made.text = applied_words(&made, shaper, arena);
    if (made.text == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for words");
    *out = made;
    return QUELL_OK;
}
