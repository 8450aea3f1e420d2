/* The frequency and damping ratio of a family that explain a ratio best, and how well they are known. */
#include "compare/identify_private.h"

#include <math.h>

#define SCAN_STEP 0.015 /* of ln frequency */
#define GOLDEN 0.3819660112501051

enum { LINE_STEPS = 9, DAMPING_STEPS = 10 };

static const double scan_damping[] = {0.05, 0.15};

bool fit_design(const fit_family *family, double hz, double zeta, quell_shaper *out)
{
    const quell_design_point at = {hz, zeta, family->tolerance};
    return (family->own != NULL ? quell_own_family_design(out, family->own, &at, NULL)
                                : quell_shaper_design(out, family->built_in, &at, NULL)) == QUELL_OK;
}

/* A shaper designed at 1 Hz, run at another frequency. */
static double deviance_at(fit_work *work, const quell_shaper *unit, double hz, double *gain_ln)
{
    quell_shaper scaled;
    quell_shaper_scale(&scaled, unit, hz);
    return fit_deviance(work, &scaled, gain_ln);
}

fit_point fit_family_scan(fit_work *work, const fit_family *family, double low_hz, double high_hz)
{
    fit_point best = {.deviance = HUGE_VAL};
    size_t dampings = family->smooth ? 1 : sizeof scan_damping / sizeof scan_damping[0];
    for (size_t d = 0; d < dampings; d++) {
        quell_shaper unit;
        if (!fit_design(family, 1, scan_damping[d], &unit))
            continue;
        double gain_ln = 0;
        for (double hz = low_hz; hz <= high_hz; hz *= 1 + SCAN_STEP) {
            double deviance = deviance_at(work, &unit, hz, &gain_ln);
            if (deviance < best.deviance)
                best = (fit_point){true, hz, scan_damping[d], gain_ln, deviance};
        }
    }
    return best;
}

/* Golden sections of ln hz in a step of the scan to each side, then a parabola. */
fit_point fit_family_at(fit_work *work, const fit_family *family, double zeta, double near_hz, double *curvature)
{
    fit_point best = {.deviance = HUGE_VAL};
    quell_shaper unit;
    if (!fit_design(family, 1, zeta, &unit))
        return best;
    double low = log(near_hz) - SCAN_STEP, high = log(near_hz) + SCAN_STEP, gain_ln = 0;
    double a = low + GOLDEN * (high - low), b = high - GOLDEN * (high - low);
    double at_a = deviance_at(work, &unit, exp(a), &gain_ln), at_b = deviance_at(work, &unit, exp(b), &gain_ln);
    for (size_t step = 0; step < LINE_STEPS; step++) {
        if (at_a < at_b) {
            high = b;
            b = a;
            at_b = at_a;
            a = low + GOLDEN * (high - low);
            at_a = deviance_at(work, &unit, exp(a), &gain_ln);
        } else {
            low = a;
            a = b;
            at_a = at_b;
            b = high - GOLDEN * (high - low);
            at_b = deviance_at(work, &unit, exp(b), &gain_ln);
        }
    }
    double x = (low + high) / 2, h = (high - low) / 2, middle = deviance_at(work, &unit, exp(x), &gain_ln);
    double below = deviance_at(work, &unit, exp(x - h), &gain_ln), above = deviance_at(work, &unit, exp(x + h), &gain_ln);
    double bend = below + above - 2 * middle;
    if (bend > 0)
        x += fmax(-h, fmin(h, h * (below - above) / (2 * bend)));
    best = (fit_point){true, exp(x), zeta, gain_ln, deviance_at(work, &unit, exp(x), &gain_ln)};
    if (curvature != NULL) {
        /* as wide as the interval will be, which the first try tells */
        h = 5e-4;
        for (int pass = 0; pass < 2; pass++) {
            double sides = deviance_at(work, &unit, exp(x - h), &gain_ln) + deviance_at(work, &unit, exp(x + h), &gain_ln);
            *curvature = fmax((sides - 2 * best.deviance) / (h * h), 1);
            h = fmin(fmax(sqrt(2 * FIT_95 / *curvature), 1e-5), SCAN_STEP);
        }
        deviance_at(work, &unit, exp(x), &gain_ln); /* leaves its signal */
    }
    return best;
}

/* Where to look for the frequency at another damping ratio: impulses keep their damped period, smooth kernels nearly their length. */
static double follow(const fit_family *family, fit_point from, double zeta)
{
    return family->smooth ? from.hz : from.hz * sqrt((1 - from.zeta * from.zeta) / (1 - zeta * zeta));
}

fit_point fit_family_refine(fit_work *work, const fit_family *family, fit_point start)
{
    fit_point best = fit_family_at(work, family, start.zeta, start.hz, NULL), first = best;
    for (int side = -1; side <= 1 && best.found; side += 2) {
        fit_point last = first;
        for (int i = 1; i <= 4; i++) {
            double zeta = start.zeta + side * 0.02 * i;
            if (zeta < 0 || zeta > QUELL_DAMPING_RATIO_MAX)
                break;
            fit_point at = fit_family_at(work, family, zeta, follow(family, last, zeta), NULL);
            if (!at.found)
                break;
            last = at;
            if (at.deviance < best.deviance)
                best = at;
        }
    }
    double low, high;
    low = fmax(best.zeta - 0.02, 0);
    high = fmin(best.zeta + 0.02, QUELL_DAMPING_RATIO_MAX);
    for (size_t step = 0; step < DAMPING_STEPS; step++) {
        double zeta[2] = {low + GOLDEN * (high - low), high - GOLDEN * (high - low)};
        fit_point at[2];
        for (int i = 0; i < 2; i++) {
            at[i] = fit_family_at(work, family, zeta[i], follow(family, best, zeta[i]), NULL);
            if (at[i].deviance < best.deviance)
                best = at[i];
        }
        if (at[0].deviance < at[1].deviance)
            high = zeta[1];
        else
            low = zeta[0];
    }
    return best;
}

void fit_family_profile(fit_work *work, const fit_family *family, fit_point best, fit_profile *out)
{
    const double step = QUELL_DAMPING_RATIO_MAX / (FIT_PROFILE - 1);
    int middle = (int)(best.zeta / step);
    for (int side = -1; side <= 1; side += 2) {
        fit_point last = best;
        for (int i = side < 0 ? middle : middle + 1; i >= 0 && i < FIT_PROFILE; i += side) {
            out->at[i] = fit_family_at(work, family, step * i, follow(family, last, step * i), &out->curvature[i]);
            last = out->at[i].found ? out->at[i] : last;
        }
    }
}

static void widen(double range[2], double value)
{
    range[0] = fmin(range[0], value);
    range[1] = fmax(range[1], value);
}

/* Where the profile crosses the level, between two of its points. */
static double crossing(double zeta_in, double d_in, double zeta_out, double d_out, double level)
{
    if (!isfinite(d_out))
        return zeta_out;
    /* a parabola through its least point would do no better: sqrt of the excess is nearly straight */
    double in = sqrt(fmax(d_in, 0)), out = sqrt(fmax(d_out, 0)), at = sqrt(level);
    return out > in ? zeta_in + (zeta_out - zeta_in) * fmin(1, (at - in) / (out - in)) : zeta_out;
}

void fit_intervals(const fit_profile *profile, fit_point best, double best_curvature, double natural_hz[2], double damped_hz[2],
                   double zeta[2])
{
    double reach = sqrt(FIT_95 * 2 / best_curvature), root = sqrt(1 - best.zeta * best.zeta);
    natural_hz[0] = best.hz * exp(-reach);
    natural_hz[1] = best.hz * exp(reach);
    damped_hz[0] = natural_hz[0] * root;
    damped_hz[1] = natural_hz[1] * root;
    zeta[0] = zeta[1] = best.zeta;
    for (int i = 0; i < FIT_PROFILE; i++) {
        const fit_point *at = &profile->at[i];
        double excess = at->deviance - best.deviance, left = FIT_95 - excess;
        double z = QUELL_DAMPING_RATIO_MAX * i / (FIT_PROFILE - 1);
        if (!at->found || !(left > 0))
            continue;
        reach = sqrt(2 * left / profile->curvature[i]);
        widen(natural_hz, at->hz * exp(-reach));
        widen(natural_hz, at->hz * exp(reach));
        widen(damped_hz, at->hz * exp(-reach) * sqrt(1 - z * z));
        widen(damped_hz, at->hz * exp(reach) * sqrt(1 - z * z));
        widen(zeta, z);
    }
    /* between the points of the profile */
    const double step = QUELL_DAMPING_RATIO_MAX / (FIT_PROFILE - 1);
    for (int side = -1; side <= 1; side += 2) {
        double edge = zeta[side > 0];
        int out = side > 0 ? (int)floor(edge / step + 1e-9) + 1 : (int)ceil(edge / step - 1e-9) - 1;
        if (out < 0 || out >= FIT_PROFILE || !profile->at[out].found)
            continue;
        int in = out - side;
        bool from_best = (side > 0 ? best.zeta > step * in : best.zeta < step * in) || !profile->at[in].found;
        double excess_in = from_best ? 0 : profile->at[in].deviance - best.deviance;
        double z_in = from_best ? best.zeta : step * in;
        widen(zeta, crossing(z_in, excess_in, step * out, profile->at[out].deviance - best.deviance, FIT_95));
    }
}
