/* R of a shaper under the needs of an axis: the weighted sum (or the largest) of each mode's greatest V over its U. */
#include "choose/needs_private.h"

#include <math.h>

void needs_residual_range(const needs_mode *mode, const double hz[2], const quell_shaper *shaper,
                          double range[2])
{
    const quell_band band = {{hz[0], hz[1]}, {mode->zeta[0], mode->zeta[NEEDS_DAMPINGS - 1]}, 1};
    range[1] = quell_band_residual(&band, shaper, &range[0]);
}

/* A lower bound of a mode's worst V, cheaply: at the corners of U and at the estimate. */
static double least_worst(const needs_mode *mode, const quell_shaper *shaper)
{
    double worst = quell_residual(shaper, mode->hz[0], mode->zeta[0]);
    worst = fmax(worst, quell_residual(shaper, mode->hz[1], mode->zeta[0]));
    return fmax(worst, quell_residual(shaper, mode->frequency_hz, mode->zeta[1]));
}

static double join(const axis_needs *needs, double sum, const needs_mode *mode, double residual)
{
    return needs->worst_mode ? fmax(sum, residual) : sum + mode->weight * residual;
}

double needs_residual_worst(const axis_needs *needs, const quell_shaper *shaper, double give_up_above)
{
    double total = 0;
    for (size_t i = 0; isfinite(give_up_above) && i < needs->modes; i++) {
        const needs_mode *mode = &needs->mode[needs->order[i]];
        total = join(needs, total, mode, least_worst(mode, shaper));
        if (total > give_up_above)
            return total;
    }
    total = 0;
    for (size_t i = 0; i < needs->modes && total <= give_up_above; i++) {
        const needs_mode *mode = &needs->mode[needs->order[i]];
        double range[2];
        needs_residual_range(mode, mode->hz, shaper, range);
        total = join(needs, total, mode, range[1]);
    }
    return total;
}

double needs_residual_scaled(const axis_needs *needs, const quell_shaper *shaper, double scale)
{
    double total = 0;
    for (size_t k = 0; k < needs->modes; k++) {
        const needs_mode *mode = &needs->mode[k];
        total =
            join(needs, total, mode, quell_residual(shaper, scale * mode->frequency_hz, mode->damping_ratio));
    }
    return total;
}

double needs_residual_at_estimate(const axis_needs *needs, const quell_shaper *shaper)
{
    return needs_residual_scaled(needs, shaper, 1);
}

double quell_need_residual(const quell_need *need, const quell_machine *machine, const quell_shaper *shaper,
                           bool at_estimate)
{
    quell_machine unknown;
    if (machine == NULL)
        quell_machine_unknown(&unknown);
    axis_needs prepared;
    needs_prepare(&prepared, need, machine != NULL ? machine : &unknown);
    return at_estimate ? needs_residual_at_estimate(&prepared, shaper)
                       : needs_residual_worst(&prepared, shaper, HUGE_VAL);
}
