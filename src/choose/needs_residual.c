/* R of a shaper under the needs of an axis: the weighted sum (or the largest) of each mode's greatest V over its U.

   V is taken at 61 frequencies x 3 damping ratios a mode, ends included, with a parabola at each maximum. For one
   damping ratio, exp((zeta (t_i - t_n) + j sqrt(1 - zeta^2) t_i) w) at evenly spaced w is a geometric sequence, so a row
   of 61 values costs two complex exponentials an impulse and then one product each. */
#include "choose/needs_private.h"

#include <complex.h>
#include <math.h>

/* The products are written out: the C library's complex product also minds infinities, which cannot occur here. */
typedef struct turning {
    double re, im, step_re, step_im;
} turning;

static void start_turning(turning *out, double amplitude, double rate, double phase, double w, double dw)
{
    double size = amplitude * exp(rate * w), step = exp(rate * dw);
    *out = (turning){size * cos(phase * w), size * sin(phase * w), step * cos(phase * dw),
                     step * sin(phase * dw)};
}

/* V^2 along frequency, count values from hz[0] to hz[1], at one damping ratio. */
static void residual_row(const quell_shaper *shaper, const double hz[2], double zeta, size_t count,
                         double *squared)
{
    turning impulse[QUELL_SHAPER_MAX];
    double last_s = shaper->time_s[shaper->count - 1], turn = sqrt(1 - zeta * zeta);
    double w = QUELL_TAU * hz[0], dw = QUELL_TAU * (hz[1] - hz[0]) / (double)(count - 1);
    for (size_t i = 0; i < shaper->count; i++)
        start_turning(&impulse[i], shaper->amplitude[i], zeta * (shaper->time_s[i] - last_s),
                      turn * shaper->time_s[i], w, dw);
    for (size_t j = 0; j < count; j++) {
        double re = 0, im = 0;
        for (size_t i = 0; i < shaper->count; i++) {
            turning *at = &impulse[i];
            re += at->re;
            im += at->im;
            double next = at->re * at->step_re - at->im * at->step_im;
            at->im = at->re * at->step_im + at->im * at->step_re;
            at->re = next;
        }
        squared[j] = re * re + im * im;
    }
}

/* The top of the parabola through three evenly spaced values, the middle one the largest. */
static double parabola_top(double before, double middle, double after)
{
    double bend = before - 2 * middle + after, slope = (after - before) / 2;
    return bend < 0 ? middle - slope * slope / (2 * bend) : middle;
}

void needs_residual_range(const needs_mode *mode, const double hz[2], const quell_shaper *shaper,
                          double range[2])
{
    double squared[NEEDS_FREQUENCIES], low = HUGE_VAL, high = 0;
    for (size_t z = 0; z < NEEDS_DAMPINGS; z++) {
        if (z > 0 && mode->zeta[z] == mode->zeta[z - 1])
            continue;
        residual_row(shaper, hz, mode->zeta[z], NEEDS_FREQUENCIES, squared);
        for (size_t j = 0; j < NEEDS_FREQUENCIES; j++) {
            low = fmin(low, squared[j]);
            high = fmax(high, squared[j]);
            bool inside = j > 0 && j + 1 < NEEDS_FREQUENCIES;
            if (inside && squared[j] >= squared[j - 1] && squared[j] > squared[j + 1]) {
                double top = parabola_top(sqrt(squared[j - 1]), sqrt(squared[j]), sqrt(squared[j + 1]));
                high = fmax(high, top * top);
            }
        }
    }
    range[0] = sqrt(low);
    range[1] = sqrt(high);
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
