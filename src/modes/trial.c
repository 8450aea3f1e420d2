/* A trial: modes fitted from starts, on the band that they explain, and whether they are worth having. */
#include "modes_private.h"

#include <gsl/gsl_sf_psi.h>
#include <math.h>

#define LEAST_PARTICIPATION 0.02
#define LEAST_SIGNIFICANCE 2.0 /* standard errors of a participation */
#define LEAST_CUT 0.2          /* share of the rms misfit, under a sweep */
#define LEAST_WIDTH 0.8        /* half-power width in bins: narrower is a line, or cannot be told from one */
#define LEAST_SKIRTS 0.15      /* of a mode with a peak that has skirts, as no line has; the model's grid is not finer */
#define LEAST_RESPONSE 0.4     /* ringing acceleration at resonance over what drives it */
#define CANCELLED 0.8          /* of the smaller participation left by both together, ... */
#define CANCELLED_SWEPT 0.3    /* ... under a sweep, which leaves little to chance that two modes could make up for */
#define RMS_FLOOR 0.05         /* of ln P: what a sweep's own ripple makes */
#define SPLIT_WITHIN 3.0     /* of the sum of their half-widths: two modes where one was found */
#define LEAST_SCORE 0.35 /* of a price: modes worth it promise more than twice that, and two taken for one, as doubts are about, this */
#define STAYS_WITHIN 0.1       /* how far the fit may move a mode from its peak, as a share of f */
#define ADEQUATE 1.25          /* rms misfit of ln P, as a multiple of chance */

enum { BINS_PER_PARAMETER = 2 };

/* Does every mode stay near its start? */
static bool stayed(const quell_fit *fit, const quell_mode_start *start)
{
    for (size_t k = 0; k < fit->modes; k++) {
        double moved = exp(fit->parameter[FIT_PER_MODE * k + FIT_LN_F]) / start[k].frequency_hz - 1;
        if (!(fabs(moved) <= STAYS_WITHIN))
            return false;
    }
    return true;
}

/* Is what the fit leaves no more than chance makes? */
static bool adequate(const quell_fit_problem *problem, const quell_fit *fit)
{
    double chance = sqrt(gsl_sf_psi_1(problem->model.spectrum->dof / 2)); /* of ln P, exactly */
    return fit->rms <= (problem->swept ? RMS_FLOOR : ADEQUATE * chance);
}

/* Fits modes from starts, on the widest band if they explain it, else on one that is found on the way; it is left in *first
   and *last, and in *whole, whether it is the widest. */
static quell_fit fit_and_grow(quell_mode_search *search, const quell_mode_start *start, size_t modes,
                              const quell_fit *from, size_t *first, size_t *last, bool *whole)
{
    quell_fit_problem *problem = &search->problem;
    double lowest = (double)INFINITY, highest = 0, bin_hz = search->spectrum->bin_hz;
    for (size_t k = 0; k < modes; k++) {
        lowest = fmin(lowest, start[k].frequency_hz);
        highest = fmax(highest, start[k].frequency_hz);
    }
    *first = (size_t)fmax(FIT_LOW * lowest / bin_hz, (double)search->low);
    *last = (size_t)fmin(FIT_HIGH * highest / bin_hz, (double)search->high);
    size_t low = *first, high = *last;
    quell_model_set_band(&problem->model, *first, *last);
    quell_fit fit = quell_fit_from_starts(problem, start, modes, from);
    *whole = isfinite(fit.misfit) && stayed(&fit, start) && adequate(problem, &fit);
    if (*whole) {
        quell_fit_improve(problem, &fit, FIT_ALL_STEPS, FIT_FULLY);
        return fit;
    }
    quell_band_near(problem, start, modes, low, high, first, last);
    quell_model_set_band(&problem->model, *first, *last);
    fit = quell_fit_from_starts(problem, start, modes, from);
    if (!isfinite(fit.misfit) || !stayed(&fit, start))
        return fit;
    quell_band_grow(problem, &fit, low, high);
    /* Near the modes alone the input's level is hard to tell: the band found may show another start to be
       better. */
    quell_fit again = quell_fit_from_starts(problem, start, modes, from);
    if (again.misfit < fit.misfit) {
        fit = again;
        quell_band_grow(problem, &fit, low, high);
    }
    quell_fit_improve(problem, &fit, FIT_ALL_STEPS, FIT_FULLY);
    *first = problem->model.first;
    *last = *first + problem->model.bins - 1;
    return fit;
}

/* Is the mode well within what is searched, or else there to see? Without a peak it may be no more than the flank of what lies
   outside. */
static bool within(const quell_mode_search *search, double f_hz, double width_hz)
{
    double bin_hz = search->spectrum->bin_hz, margin_hz = fmax(width_hz / 2, bin_hz);
    for (size_t i = 0; i < search->peaks; i++)
        if (fabs(search->peak[i].frequency_hz - f_hz) <= width_hz)
            margin_hz = 0;
    return f_hz - margin_hz >= (double)search->low * bin_hz && f_hz + margin_hz <= (double)search->high * bin_hz;
}

/* Do two modes next to each other only cancel? Between them they make any narrow shape, and mean none. */
static bool cancelling(const quell_fit *fit, double cancelled)
{
    for (size_t j = 0; j < fit->modes; j++)
        for (size_t k = 0; k < j; k++) {
            const double *a = fit->parameter + FIT_PER_MODE * j, *b = fit->parameter + FIT_PER_MODE * k;
            double zeta = exp(fmax(a[FIT_LN_ZETA], b[FIT_LN_ZETA]));
            bool close = fabs(a[FIT_LN_F] - b[FIT_LN_F]) < zeta;
            double smaller = fmin(fabs(a[FIT_C]), fabs(b[FIT_C]));
            if (close && a[FIT_C] * b[FIT_C] < 0 && fabs(a[FIT_C] + b[FIT_C]) < cancelled * smaller)
                return true;
        }
    return false;
}

/* Is the fit one that means something? The model's band is the fit's. */
/* The width in bins from which it is no line. In ambient vibration alone, where segments are as long as a machine at rest
   allows, is a peak's shape trusted that much. */
static double least_width(const quell_mode_search *search, double f_hz)
{
    double bin_hz = search->spectrum->bin_hz;
    for (size_t i = 0; i < search->peaks && search->problem.model.form == MODEL_AMBIENT; i++)
        if (!search->peak[i].line && fabs(search->peak[i].frequency_hz - f_hz) < bin_hz)
            return LEAST_SKIRTS;
    return LEAST_WIDTH;
}

bool quell_fit_worth_having(const quell_mode_search *search, const quell_fit *fit, const quell_mode_start *start)
{
    const quell_fit_problem *problem = &search->problem;
    size_t used = 0;
    for (size_t b = 0; b < problem->model.bins; b++)
        used += !problem->masked[problem->model.first + b];
    if (used < BINS_PER_PARAMETER * (FIT_PER_MODE * fit->modes + FIT_COMMON))
        return false;
    for (size_t k = 0; k < fit->modes; k++) {
        const double *mode = fit->parameter + FIT_PER_MODE * k;
        double f_hz = exp(mode[FIT_LN_F]), width_hz = 2 * exp(mode[FIT_LN_ZETA]) * f_hz;
        if (!within(search, f_hz, width_hz))
            return false;
        double response = fabs(mode[FIT_C]) / (2 * exp(mode[FIT_LN_ZETA]));
        bool driven = search->problem.model.form != MODEL_AMBIENT;
        if (driven && (fabs(mode[FIT_C]) < LEAST_PARTICIPATION || response < LEAST_RESPONSE))
            return false;
        if (width_hz < least_width(search, f_hz) * search->spectrum->bin_hz)
            return false;
    }
    bool cancels = problem->model.form != MODEL_AMBIENT && cancelling(fit, problem->swept ? CANCELLED_SWEPT : CANCELLED);
    return !cancels && stayed(fit, start) && quell_fit_plausible(problem, fit);
}

/* Is every mode's participation known to be there? Two modes that only cancel each other are none. The model's band is the
   fit's. */
bool quell_fit_significant(quell_mode_search *search, const quell_fit *fit)
{
    double variance[FIT_PARAMETERS_MAX];
    if (search->problem.model.form == MODEL_AMBIENT || search->problem.swept)
        return true;
    quell_fit_variances(&search->problem, fit, variance);
    for (size_t k = 0; k < fit->modes; k++) {
        size_t c = FIT_PER_MODE * k + FIT_C;
        if (!(fabs(fit->parameter[c]) > LEAST_SIGNIFICANCE * sqrt(variance[c])))
            return false;
    }
    return true;
}

/* Fits `modes` starts and compares with one mode less on the same band. */
quell_trial quell_try_starts(quell_mode_search *search, const quell_mode_start *start, size_t modes)
{
    quell_fit_problem *problem = &search->problem;
    const quell_fit *best = search->best.modes > 0 ? &search->best : NULL;
    quell_trial made = {.gain = -1};
    made.fit = fit_and_grow(search, start, modes, best, &made.first, &made.last, &made.whole);
    if (!isfinite(made.fit.misfit) || !quell_fit_worth_having(search, &made.fit, start))
        return made;
    quell_fit without = best != NULL ? *best : quell_fit_from_starts(problem, NULL, 0, NULL);
    quell_fit_improve(problem, &without, FIT_ALL_STEPS, FIT_NEARLY);
    made.gain = quell_fit_criterion(problem, &without) - quell_fit_criterion(problem, &made.fit);
    made.ratio = 2 * (without.misfit - made.fit.misfit) / quell_bins_shared(search->spectrum);
    bool counts = !problem->swept || fmax(made.fit.rms, RMS_FLOOR) <= (1 - LEAST_CUT) * without.rms;
    if (made.gain > 0 && !(counts && quell_fit_significant(search, &made.fit)))
        made.gain = -1;
    return made;
}

void quell_note_split(quell_mode_search *search, const quell_trial *made)
{
    if (search->problem.swept || search->problem.model.form != MODEL_DRIVEN || !(made->ratio > search->split_ratio))
        return;
    double nearest = SPLIT_WITHIN;
    for (size_t j = 0; j < made->fit.modes; j++)
        for (size_t k = 0; k < j; k++) {
            const double *a = made->fit.parameter + FIT_PER_MODE * j, *b = made->fit.parameter + FIT_PER_MODE * k;
            double apart = fabs(a[FIT_LN_F] - b[FIT_LN_F]) / (exp(a[FIT_LN_ZETA]) + exp(b[FIT_LN_ZETA]));
            if (!(apart < nearest))
                continue;
            nearest = apart;
            search->split_ratio = made->ratio;
            search->split_hz = exp((a[FIT_LN_F] + b[FIT_LN_F]) / 2);
        }
}

bool quell_mode_may_pay(quell_mode_search *search)
{
    quell_fit_problem *problem = &search->problem;
    const quell_fit *best = &search->best;
    double lowest = (double)INFINITY, highest = 0, bin_hz = search->spectrum->bin_hz;
    for (size_t k = 0; k < best->modes; k++) {
        lowest = fmin(lowest, exp(best->parameter[FIT_PER_MODE * k + FIT_LN_F]));
        highest = fmax(highest, exp(best->parameter[FIT_PER_MODE * k + FIT_LN_F]));
    }
    bool from = (double)search->first <= fmax(FIT_LOW * (1 + STAYS_WITHIN) * lowest / bin_hz, (double)search->low);
    bool to = (double)search->last >= fmin(FIT_HIGH * (1 - STAYS_WITHIN) * highest / bin_hz, (double)search->high) - 1;
    if (!from || !to)
        return true;
    if (problem->swept && RMS_FLOOR > (1 - LEAST_CUT) * best->rms)
        return false;
    return quell_fit_score(problem, best) > LEAST_SCORE * quell_fit_price(problem, best);
}
