/* Modes seen only across the driven axis: motion along X that shakes Y leaves marks, too. They are fitted on the other axes'
   densities, without the direct term, against the input that the driven axis has told. */
#include "modes_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#define NEAR_FACTOR 1.25
#define LEAST_PARTICIPATION 0.05 /* across the axis a mounting that is off by 2 degrees shows a full mode with 0.035 */

/* Median of the driven axis' ln P, over what was commanded, within a quarter octave or so of a frequency: without modes that
   is the input's level, noise and all. */
static double level_near(const quell_mode_search *driven, double hz, double *work)
{
    const double *command = driven->problem.model.command;
    double at = hz / driven->spectrum->bin_hz;
    size_t count = 0;
    for (size_t k = driven->low; k <= driven->high; k++)
        if (!driven->problem.masked[k] && (double)k > at / NEAR_FACTOR && (double)k < at * NEAR_FACTOR)
            work[count++] = driven->problem.log_density[k] - (command != NULL ? log(command[k]) : 0);
    if (count == 0)
        return 0;
    gsl_sort(work, 1, count);
    return work[count / 2];
}

/* The input's level and slope, from the driven axis: of its fit, or without modes of its density near the first peak. */
static void input_of(const quell_mode_search *driven, quell_mode_search *to)
{
    const quell_fit *fit = &driven->best;
    quell_fit_problem *problem = &to->problem;
    const double *common = fit->parameter + FIT_PER_MODE * fit->modes;
    if (fit->modes > 0) {
        problem->held_level = common[FIT_B0];
        problem->held_slope = common[FIT_B1];
    } else if (to->peaks > 0) {
        problem->held_level = level_near(driven, to->peak[0].frequency_hz, problem->trial);
        problem->held_slope = 0;
    }
}

static bool known(const quell_modes *modes, double hz, double zeta)
{
    for (size_t k = 0; k < modes->count; k++)
        if (quell_modes_alike(hz, modes->mode[k].frequency_hz, fmax(zeta, modes->mode[k].damping_ratio)))
            return true;
    for (size_t k = 0; k < modes->left_out; k++)
        if (quell_modes_alike(hz, modes->left_out_mode[k].frequency_hz, modes->left_out_mode[k].damping_ratio))
            return true;
    return false;
}

/* Is there a peak that no known mode makes and that would count? */
static bool worth_a_search(const quell_mode_search *search, const quell_modes *modes)
{
    const double *command = search->problem.model.command;
    for (size_t i = 0; i < search->peaks; i++) {
        const quell_peak *peak = &search->peak[i];
        double zeta = peak->half_power_damping_ratio;
        if (peak->line || !(zeta > 0) || known(modes, peak->frequency_hz, zeta))
            continue;
        double input = exp(search->problem.held_level) * (command != NULL ? command[peak->bin] : 1);
        double density = search->spectrum->asd_m2ps3[search->axis][peak->bin];
        if (2 * zeta * sqrt(density / input) >= LEAST_PARTICIPATION)
            return true;
    }
    return false;
}

static quell_status search_axis(quell_mode_search *search, const quell_mode_search *driven,
                                const quell_modes_options *options, const double *command, quell_modes *modes,
                                quell_error *err)
{
    double variance[FIT_PARAMETERS_MAX];
    quell_status status = quell_search_prepare(search, options, MODEL_ACROSS, command, err);
    if (status != QUELL_OK)
        return status;
    input_of(driven, search);
    if (!worth_a_search(search, modes))
        return QUELL_OK;
    quell_modes_select(search);
    if (search->best.modes == 0)
        return QUELL_OK;
    quell_fit_variances(&search->problem, &search->best, variance);
    bool any = false;
    for (size_t k = 0; k < search->best.modes; k++) {
        quell_mode mode = quell_search_mode(search, k, variance, options);
        if (fabs(mode.participation) < LEAST_PARTICIPATION || known(modes, mode.frequency_hz, mode.damping_ratio))
            continue;
        any = true;
        quell_modes_enter(modes, &mode, options);
    }
    if (any)
        quell_search_report(search, modes);
    return QUELL_OK;
}

quell_status quell_modes_across(const quell_mode_search *driven, const quell_modes_options *options,
                                const double *command, quell_modes *modes, quell_error *err)
{
    quell_status status = QUELL_OK;
    for (size_t axis = 0; axis < driven->spectrum->axes && status == QUELL_OK; axis++) {
        if (axis == driven->axis)
            continue;
        quell_mode_search *search = quell_memory_get(sizeof *search);
        if (search == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory for a search");
        *search = (quell_mode_search){
            .spectrum = driven->spectrum, .axis = axis, .low = driven->low, .high = driven->high};
        status = search_axis(search, driven, options, command, modes, err);
        quell_fit_release(&search->problem);
        quell_memory_free(search);
    }
    return status;
}
