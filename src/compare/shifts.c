/* Modes before and after: which are the same, and how far their frequency, damping ratio and level moved. */
#include "compare/compare_private.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

/* Half the width of a 95 % interval in standard errors, many degrees of freedom. */
#define Z95 1.959963984540054

/* The modes of a side, pooled, and for each the mode of every recording that is the same; NULL where it is lacking. */
typedef struct side_modes {
    quell_modes pooled;
    const quell_mode *found[QUELL_MODES_MAX][QUELL_RECORDINGS_MAX];
} side_modes;

static void gather(const quell_measured_side *side, side_modes *out)
{
    quell_mode_spread spread[QUELL_MODES_MAX];
    memset(out, 0, sizeof *out);
    if (side->modes == NULL)
        return;
    quell_modes_pool(side->modes, side->count, NULL, &out->pooled, spread);
    for (size_t i = 0; i < side->count; i++) {
        int pair[QUELL_MODES_MAX];
        quell_modes_match(&out->pooled, &side->modes[i], 0.05, pair); /* as they were pooled */
        for (size_t k = 0; k < out->pooled.count; k++)
            out->found[k][i] = pair[k] >= 0 ? &side->modes[i].mode[pair[k]] : NULL;
    }
}

static size_t count_found(const quell_mode *const found[QUELL_RECORDINGS_MAX])
{
    size_t count = 0;
    for (size_t i = 0; i < QUELL_RECORDINGS_MAX; i++)
        count += found[i] != NULL;
    return count;
}

/* ---------------------------------------------------------------- frequency and damping ratio */

static const quell_mode_shift not_tested = {
    .before = NAN, .after = NAN, .share = NAN, .ci95 = {NAN, NAN}, .p_value = NAN, .p_holm = NAN};

/* ln of the value in every recording that has it; false if none has, or an error is not known. */
static bool estimate(const quell_measured_side *side, const quell_mode *const found[QUELL_RECORDINGS_MAX],
                     bool damping, compare_estimates *out)
{
    out->count = 0;
    for (size_t i = 0; i < side->count; i++) {
        if (found[i] == NULL)
            continue;
        double value = damping ? found[i]->damping_ratio : found[i]->frequency_hz;
        const double *ci95 = damping ? found[i]->damping_ratio_ci95 : found[i]->frequency_ci95_hz;
        double dof = side->mode_dof != NULL ? side->mode_dof[i] : (double)INFINITY;
        double reach = isfinite(dof) ? gsl_cdf_tdist_Qinv(0.025, dof) : Z95;
        double error = (log(ci95[1]) - log(ci95[0])) / (2 * reach);
        if (!(value > 0) || !(error > 0) || !isfinite(error))
            return false;
        out->value[out->count] = log(value);
        out->variance[out->count] = error * error;
        out->dof[out->count++] = dof;
    }
    return out->count > 0;
}

static quell_mode_shift find_shift(const compare_sides *sides, const quell_mode *const *const found[2],
                                   bool damping)
{
    compare_estimates of[2];
    compare_difference difference;
    quell_mode_shift out = not_tested;
    if (!estimate(sides->side[0], found[0], damping, &of[0]) ||
        !estimate(sides->side[1], found[1], damping, &of[1]))
        return out;
    if (!compare_difference_find(&of[0], &of[1], sides->run_to_run, &difference))
        return out;
    out.before = exp(difference.before);
    out.after = exp(difference.after);
    out.share = expm1(difference.change);
    out.ci95[0] = expm1(difference.ci95[0]);
    out.ci95[1] = expm1(difference.ci95[1]);
    out.p_value = difference.p_value;
    return out;
}

/* ---------------------------------------------------------------- level */

/* Around the mode before, or after if it is new; on each side around its own frequency if it moved by more than half
   of what is taken: else a mode that moved away would seem to have fallen. */
static void place_level(const quell_comparison *out, quell_mode_change *mode)
{
    bool is_new = mode->before_found == 0;
    const quell_mode *at = is_new ? &mode->after : &mode->before;
    double f = at->frequency_hz, half = fmax(at->damping_ratio * f, 1.5 * out->spectrum[0].bin_hz),
           after_f = f;
    if (!is_new && mode->after_found > 0 && fabs(mode->after.frequency_hz - f) > half / 2)
        after_f = mode->after.frequency_hz;
    mode->level = (quell_level_change){.nominal_hz = f,
                                       .low_hz = f - half,
                                       .high_hz = f + half,
                                       .after_low_hz = after_f - half,
                                       .after_high_hz = after_f + half};
}

/* Adds a mode of either side, or both; -1: it is not found there. */
static quell_status add_mode(const compare_sides *sides, const side_modes modes[2], int before, int after,
                             quell_comparison *out, quell_error *err)
{
    quell_mode_change mode = {.frequency = not_tested, .damping = not_tested};
    if (before >= 0) {
        mode.before = modes[0].pooled.mode[before];
        mode.before_found = count_found(modes[0].found[before]);
    }
    if (after >= 0) {
        mode.after = modes[1].pooled.mode[after];
        mode.after_found = count_found(modes[1].found[after]);
    }
    place_level(out, &mode);
    double f = mode.level.nominal_hz;
    if (f < sides->range_hz[0] || f > sides->range_hz[1])
        return QUELL_OK;
    bool fits;
    quell_status status = compare_level(sides, out, &mode.level, &fits, err);
    if (status != QUELL_OK || !fits)
        return status;
    if (before >= 0 && after >= 0) {
        const quell_mode *const *const found[2] = {modes[0].found[before], modes[1].found[after]};
        mode.frequency = find_shift(sides, found, false);
        mode.damping = find_shift(sides, found, true);
    }
    size_t at = out->modes++;
    for (; at > 0 && out->mode[at - 1].level.nominal_hz > f; at--)
        out->mode[at] = out->mode[at - 1];
    out->mode[at] = mode;
    return QUELL_OK;
}

quell_status compare_modes(const compare_sides *sides, quell_comparison *out, quell_error *err)
{
    side_modes *modes = quell_memory_get(2 * sizeof *modes);
    int pair[QUELL_MODES_MAX];
    bool used[QUELL_MODES_MAX] = {false};
    quell_status status = QUELL_OK;
    if (modes == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the modes of two sides");
    for (size_t s = 0; s < 2; s++)
        gather(sides->side[s], &modes[s]);
    quell_modes_match(&modes[0].pooled, &modes[1].pooled, QUELL_CHANGE_SAME_MODE, pair);
    for (size_t k = 0; k < modes[0].pooled.count && status == QUELL_OK; k++) {
        if (pair[k] >= 0)
            used[pair[k]] = true;
        status = add_mode(sides, modes, (int)k, pair[k], out, err);
    }
    for (size_t k = 0; k < modes[1].pooled.count && status == QUELL_OK; k++)
        if (!used[k])
            status = add_mode(sides, modes, -1, (int)k, out, err);
    quell_memory_free(modes);
    return status;
}
