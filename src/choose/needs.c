/* Needs of an axis: how much each mode rings after the reference move, and where each may really lie. */
#include "choose/needs_private.h"

#include <complex.h>
#include <math.h>

/* |c| |gamma + alpha/s| / wd: amplitude of the ringing, at time 0, of a mode that is stopped from the corner speed by
   the acceleration in use. What is not known is left out; a unit velocity step if neither is. */
static double stop_amplitude(const axis_needs *needs, double participation, double frequency_hz,
                             double damping_ratio)
{
    double w = QUELL_TAU * frequency_hz, wd = w * sqrt(1 - damping_ratio * damping_ratio);
    double complex s = -damping_ratio * w + (double complex)I * wd;
    bool speed_known = !isnan(needs->corner_speed_mps), acceleration_known = !isnan(needs->acceleration_mps2);
    double gamma = speed_known ? -needs->corner_speed_mps : acceleration_known ? 0 : -1;
    double alpha = acceleration_known ? needs->acceleration_mps2 : 0;
    return fabs(participation) * cabs(gamma + alpha / s) / wd;
}

/* The 95 % interval where there is one, else the estimate alone. */
static void interval(double out[2], const double ci95[2], double estimate)
{
    bool known = isfinite(ci95[0]) && isfinite(ci95[1]) && ci95[0] <= estimate && ci95[1] >= estimate;
    out[0] = known ? ci95[0] : estimate;
    out[1] = known ? ci95[1] : estimate;
}

/* Carried load makes the axis heavier and its frequencies lower than they were when it was measured. */
static double load_stretch(const quell_axis_limits *axis)
{
    return axis->moving_mass_kg > 0 ? 1 / sqrt(1 + axis->load_kg[1] / axis->moving_mass_kg) : 1;
}

/* An interval over recordings holds their half range h already, and d stands for it, too. */
static void bound_mode(needs_mode *out, const quell_mode *mode, double drift, double half_range_hz,
                       double stretch)
{
    double zeta[2], h = fmin(half_range_hz / mode->frequency_hz, 0.99), d = fmax(drift, h);
    interval(out->interval_hz, mode->frequency_ci95_hz, mode->frequency_hz);
    interval(zeta, mode->damping_ratio_ci95, mode->damping_ratio);
    out->frequency_hz = mode->frequency_hz;
    out->damping_ratio = fmin(fmax(mode->damping_ratio, 0), 0.99);
    out->interval_hz[0] = fmax(out->interval_hz[0], 0.01 * mode->frequency_hz);
    out->drift = d;
    out->hz[0] = fmax(out->interval_hz[0] * (1 - d) / (1 - h), 0.01 * mode->frequency_hz) * stretch;
    out->hz[1] = out->interval_hz[1] * (1 + d) / (1 + h);
    out->zeta[0] = fmin(fmax(zeta[0], 0), 0.99);
    out->zeta[2] = fmin(fmax(zeta[1], 0), 0.99);
    out->zeta[1] = (out->zeta[0] + out->zeta[2]) / 2;
}

static void ring_mode(axis_needs *needs, needs_mode *out, const quell_mode *mode)
{
    double c[2];
    interval(c, mode->participation_ci95, mode->participation);
    double lowest = c[0] <= 0 && c[1] >= 0 ? 0 : fmin(fabs(c[0]), fabs(c[1]));
    double highest = fmax(fabs(c[0]), fabs(c[1]));
    double unit = stop_amplitude(needs, 1, out->frequency_hz, out->damping_ratio);
    bool known = !isnan(needs->corner_speed_mps) || !isnan(needs->acceleration_mps2);
    out->weight = unit * fabs(mode->participation);
    out->ripple_m = known ? out->weight : (double)NAN;
    out->ripple_ci95_m[0] = known ? unit * lowest : (double)NAN;
    out->ripple_ci95_m[1] = known ? unit * highest : (double)NAN;
}

static void weigh(axis_needs *needs, bool equal)
{
    double sum = 0;
    for (size_t k = 0; k < needs->modes; k++)
        sum += needs->mode[k].weight;
    needs->worst_mode_by_choice = equal;
    needs->worst_mode = equal || !(sum > 0); /* an unknown participation makes the sum NaN */
    for (size_t k = 0; k < needs->modes; k++) {
        if (isfinite(needs->mode[k].weight) &&
            !(needs->mode[k].weight <= needs->mode[needs->strongest].weight))
            needs->strongest = k;
        size_t at = k;
        for (; at > 0 && needs->mode[needs->order[at - 1]].weight < needs->mode[k].weight; at--)
            needs->order[at] = needs->order[at - 1];
        needs->order[at] = k;
    }
    for (size_t k = 0; k < needs->modes; k++)
        needs->mode[k].weight = needs->worst_mode ? 1 : needs->mode[k].weight / sum;
}

void needs_prepare(axis_needs *out, const quell_need *need, const quell_machine *machine)
{
    const quell_axis_limits *axis = &machine->axis[need->axis == 'y' ? 1 : 0];
    *out = (axis_needs){.modes = need->modes->count,
                        .corner_speed_mps = machine->corner_speed_mps,
                        .acceleration_mps2 = axis->acceleration_mps2,
                        .low_hz = HUGE_VAL,
                        .residual_limit = need->residual_limit};
    for (size_t k = 0; k < out->modes; k++) {
        bound_mode(&out->mode[k], &need->modes->mode[k], need->drift, need->half_range_hz[k],
                   load_stretch(axis));
        ring_mode(out, &out->mode[k], &need->modes->mode[k]);
        out->low_hz = fmin(out->low_hz, out->mode[k].hz[0]);
        out->high_hz = fmax(out->high_hz, out->mode[k].hz[1]);
    }
    weigh(out, need->equal);
}
