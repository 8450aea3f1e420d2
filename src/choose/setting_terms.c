/* From physical values to what a controller is told, and back: reading, unit, step, digits. */
#include "choose/setting_private.h"

#include <math.h>
#include <string.h>

/* Digits where the controller states no step: fine enough not to matter, short enough to type. */
enum { HZ_DECIMALS = 2, PERIOD_DECIMALS = 6 };

static bool counts_in_seconds(const quell_controller *controller)
{
    return strcmp(controller->frequency_unit, "s") == 0;
}

/* Decimals that print every multiple of step exactly. */
static int decimals_of(double step)
{
    int decimals = 0;
    for (double scaled = step; decimals < 9 && fabs(scaled - round(scaled)) > 1e-6 * step; decimals++)
        scaled = step * pow(10, decimals + 1);
    return decimals;
}

/* The grid of frequencies it can be told, in its own unit. */
static double told_step(const quell_controller *controller, int *decimals)
{
    double step = controller->frequency_step_hz;
    if (strcmp(controller->frequency_unit, "rad/s") == 0)
        step *= QUELL_TAU;
    step = round(step * 1e9) / 1e9; /* takes off what the conversion to Hz and back leaves */
    *decimals = counts_in_seconds(controller) ? PERIOD_DECIMALS : HZ_DECIMALS;
    if (step > 0)
        *decimals = decimals_of(step);
    else
        step = pow(10, -*decimals);
    return step;
}

static double to_unit(const quell_controller *controller, double hz)
{
    if (counts_in_seconds(controller))
        return 1 / hz;
    return strcmp(controller->frequency_unit, "rad/s") == 0 ? QUELL_TAU * hz : hz;
}

static double from_unit(const quell_controller *controller, double told)
{
    if (counts_in_seconds(controller))
        return 1 / told;
    return strcmp(controller->frequency_unit, "rad/s") == 0 ? told / QUELL_TAU : told;
}

/* The controller's own number is repeated as it is; a free one is rounded to the digits that are told. */
static void tell_damping(const quell_controller *controller, double damping_ratio, setting_told *told)
{
    bool fixed = !isnan(controller->damping), percent = strcmp(controller->damping_unit, "percent") == 0;
    double ratio = fixed ? controller->damping : damping_ratio;
    if (strcmp(controller->damping_unit, "Q") == 0) {
        told->damping_decimals = 2;
        told->damping = 1 / (2 * fmax(ratio, 1e-6));
    } else {
        told->damping_decimals = percent ? 1 : 3;
        told->damping = percent ? 100 * ratio : ratio;
    }
    if (fixed)
        return;
    double scale = pow(10, told->damping_decimals);
    told->damping = round(told->damping * scale) / scale;
}

double setting_damping_ratio(const quell_controller *controller, const setting_told *told)
{
    if (!isnan(controller->damping))
        return controller->damping;
    if (strcmp(controller->damping_unit, "Q") == 0)
        return 1 / (2 * told->damping);
    return strcmp(controller->damping_unit, "percent") == 0 ? told->damping / 100 : told->damping;
}

setting_told setting_tell(const quell_controller *controller, double natural_hz, double damping_ratio,
                          setting_rounding rounding)
{
    setting_told told = {0};
    tell_damping(controller, damping_ratio, &told);
    double used = setting_damping_ratio(controller, &told);
    double hz = controller->frequency == QUELL_DAMPED ? natural_hz * sqrt(1 - used * used) : natural_hz;
    double step = told_step(controller, &told.frequency_decimals), steps = to_unit(controller, hz) / step;
    if (rounding == SETTING_NEAREST)
        steps = round(steps);
    else
        steps = counts_in_seconds(controller) ? ceil(steps - 1e-9) : floor(steps + 1e-9);
    told.frequency = fmax(steps, 1) * step;
    return told;
}

setting_told setting_step_down(const quell_controller *controller, setting_told told)
{
    int decimals;
    double step = told_step(controller, &decimals), steps = round(told.frequency / step);
    told.frequency = fmax(steps + (counts_in_seconds(controller) ? 1 : -1), 1) * step;
    return told;
}

double setting_natural_hz(const quell_controller *controller, const setting_told *told, double damping_ratio,
                          quell_reading reading)
{
    double hz = from_unit(controller, told->frequency);
    return reading == QUELL_DAMPED ? hz / sqrt(1 - damping_ratio * damping_ratio) : hz;
}
