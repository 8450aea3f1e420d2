/* Shapers with humps at any damping: continuation in the damping ratio from the undamped closed form. */
#include "shaping/shaping_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Steps in damping ratio: the largest taken, and the one at which the family is said to end. */
static const double step_largest = 0.02, step_least = 1e-6;

/* Newton steps at which intermediate and final solutions are good enough; the error left is about the square. Where
   the zeros lie close, rounding moves them by more of their spacing than that: by newton_rounding / spacing. */
static const double newton_between = 1e-4, newton_final = 1e-9, newton_rounding = 1e-14;

/* Impulses in order of time, and positive where they are not given. */
static bool is_sound(const hump_problem *problem, const double *x)
{
    double before = 0;
    for (size_t i = 0; i < problem->impulses; i++) {
        if (problem->fixed == NULL && !(x[i] > 0))
            return false;
        if (i > 0 && !(x[hump_time_at(problem, i)] > before))
            return false;
        before = i > 0 ? x[hump_time_at(problem, i)] : 0;
    }
    return true;
}

/* From the solution x at damping ratio `from` to the one at `to`. Start: amplitudes shrink along the shaper as the
   mode decays, times stretch with its damped period. x is untouched on failure. */
static bool advance(hump_problem *problem, double *x, double from, double to, double newton_tolerance)
{
    const newton_system system = {hump_size(problem), problem, quell_hump_evaluate, quell_hump_trust};
    const double ratio = quell_half_period_decay(to) / quell_half_period_decay(from);
    const double stretch = sqrt((1 - from * from) / (1 - to * to));
    double trial[NEWTON_MAX], factor = 1, sum = 0;
    memcpy(trial, x, system.size * sizeof *x);
    const size_t amplitudes = problem->fixed == NULL ? problem->impulses : 0;
    for (size_t i = 0; i < amplitudes; i++, factor *= ratio)
        sum += trial[i] *= factor;
    for (size_t i = 0; i < amplitudes; i++)
        trial[i] /= sum;
    for (size_t i = 1; i < problem->impulses; i++)
        trial[hump_time_at(problem, i)] *= stretch;
    problem->damping_ratio = to;
    if (!quell_newton_solve(&system, trial, newton_tolerance) || !is_sound(problem, trial))
        return false;
    memcpy(x, trial, system.size * sizeof *x);
    return true;
}

/* Takes the undamped solution x to the damping ratio `goal`; returns the one reached. */
static double continue_to(hump_problem *problem, double *x, double goal)
{
    const double final = newton_final + newton_rounding / problem->spacing;
    double reached = 0, step = step_largest;
    while (reached < goal) {
        const bool last = reached + step >= goal;
        const double next = last ? goal : reached + step;
        if (advance(problem, x, reached, next, last ? final : newton_between)) {
            reached = next;
        } else {
            step = (next - reached) / 2;
            if (step < step_least)
                break;
        }
    }
    return reached;
}

quell_status quell_refuse_damping(quell_error *err, const char *what, double asked, double reached)
{
    char found[32], most[32];
    return quell_fail(err, QUELL_E_NO_SHAPER, "damping ratio is %s, want at most %s: beyond it no %s exists",
                      quell_number_print(found, sizeof found, asked, 6),
                      quell_number_print(most, sizeof most, floor(reached * 1e4) / 1e4, 4), what);
}

quell_status quell_hump_continue(quell_shaper *out, hump_problem *problem, double *x, const char *title,
                                 const quell_design_point *at, quell_error *err)
{
    char what[96], tolerance[32];
    double reached = continue_to(problem, x, at->damping_ratio);
    if (reached < at->damping_ratio) {
        snprintf(what, sizeof what, "%s shaper with a tolerance of %s", title,
                 quell_number_print(tolerance, sizeof tolerance, at->tolerance, 6));
        return quell_refuse_damping(err, what, at->damping_ratio, reached);
    }
    out->count = problem->impulses;
    for (size_t i = 0; i < out->count; i++) {
        out->amplitude[i] = hump_amplitude(problem, x, i);
        out->time_s[i] = i > 0 ? x[hump_time_at(problem, i)] / QUELL_TAU : 0;
    }
    return QUELL_OK;
}

quell_status quell_hump_design(quell_shaper *out, size_t zeros, bool last_at_period, const char *title,
                               const quell_design_point *at, quell_error *err)
{
    hump_problem problem = {.zeros = zeros,
                            .impulses = zeros + 1,
                            .last_at_period = last_at_period,
                            .tolerance = fmax(at->tolerance, HUMP_TOLERANCE_LEAST)};
    double x[NEWTON_MAX];
    quell_hump_undamped(&problem, x);
    return quell_hump_continue(out, &problem, x, title, at, err);
}
