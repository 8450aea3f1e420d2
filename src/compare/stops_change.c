/* Amplitude of each side and the change, with their intervals, from means of squared amplitudes. */
#include "compare/stops_private.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#define CLEAR 4.0 /* standard errors over 0: the logarithm of the power has a normal error */

static double t_95(double dof)
{
    return gsl_cdf_tdist_Pinv(0.975, fmin(fmax(dof, 1), 1e6));
}

static double t_p_value(double t, double dof)
{
    return isfinite(t) ? 2 * gsl_cdf_tdist_Q(fabs(t), fmin(fmax(dof, 1), 1e6)) : (double)NAN;
}

static bool is_clear(const stops_mean *mean)
{
    return mean->power_m2 > CLEAR * sqrt(mean->variance);
}

static void set_amplitude(quell_stops_amplitude *out, const stops_mean *mean)
{
    double se = sqrt(mean->variance), t = t_95(mean->dof);
    out->amplitude_m = sqrt(fmax(mean->power_m2, 0));
    if (is_clear(mean)) {
        double factor = exp(t * se / (2 * mean->power_m2));
        out->ci95_m[0] = out->amplitude_m / factor;
        out->ci95_m[1] = out->amplitude_m * factor;
    } else {
        out->ci95_m[0] = isnan(se) ? se : sqrt(fmax(mean->power_m2 - t * se, 0));
        out->ci95_m[1] = isnan(se) ? se : sqrt(fmax(mean->power_m2 + t * se, 0));
    }
    out->seen = out->ci95_m[0] > 0;
}

/* Welch's degrees of freedom of a sum of two variances. */
static double joint_dof(double a, double a_dof, double b, double b_dof)
{
    double over = a * a / a_dof + b * b / b_dof;
    return over > 0 ? (a + b) * (a + b) / over : 1;
}

/* Both stand clearly out of the noise. */
static void by_logarithm(quell_stops_change *out, const stops_mean *before, const stops_mean *after)
{
    double a = after->variance / (after->power_m2 * after->power_m2),
           b = before->variance / (before->power_m2 * before->power_m2);
    double dof = joint_dof(a, after->dof, b, before->dof), se = sqrt(a + b) / 2, ln = log(out->ratio);
    out->ratio_ci95[0] = exp(ln - t_95(dof) * se);
    out->ratio_ci95[1] = exp(ln + t_95(dof) * se);
    out->p_value = se > 0 ? t_p_value(ln / se, dof) : (double)NAN;
}

/* Fieller's limits of the ratio of the powers; the p value that of their difference, which is theirs at a ratio of 1. */
static void by_fieller(quell_stops_change *out, const stops_mean *before, const stops_mean *after)
{
    double dof = joint_dof(after->variance, after->dof, before->variance, before->dof), t2 = pow(t_95(dof), 2);
    double a = before->power_m2 * before->power_m2 - t2 * before->variance,
           b = before->power_m2 * after->power_m2, c = after->power_m2 * after->power_m2 - t2 * after->variance;
    bool bounded = before->power_m2 > 0 && a > 0;
    double root = sqrt(fmax(b * b - a * c, 0));
    out->ratio_ci95[0] = bounded ? sqrt(fmax((b - root) / a, 0)) : 0;
    out->ratio_ci95[1] = bounded ? sqrt(fmax((b + root) / a, 0)) : (double)NAN;
    out->p_value = t_p_value((after->power_m2 - before->power_m2) / sqrt(after->variance + before->variance), dof);
}

void stops_change_make(quell_stops_change *out, const stops_mean *before, const stops_mean *after)
{
    quell_stops_amplitude *was = &out->before, *is = &out->after;
    set_amplitude(was, before);
    set_amplitude(is, after);
    out->change_m = is->amplitude_m - was->amplitude_m;
    out->change_ci95_m[0] = out->change_m - hypot(is->amplitude_m - is->ci95_m[0], was->ci95_m[1] - was->amplitude_m);
    out->change_ci95_m[1] = out->change_m + hypot(is->ci95_m[1] - is->amplitude_m, was->amplitude_m - was->ci95_m[0]);
    out->ratio = was->seen || isnan(was->ci95_m[0]) ? is->amplitude_m / was->amplitude_m : (double)NAN;
    if (isnan(before->variance) || isnan(after->variance)) {
        out->ratio_ci95[0] = out->ratio_ci95[1] = out->p_value = (double)NAN;
        return;
    }
    if (is_clear(before) && is_clear(after))
        by_logarithm(out, before, after);
    else
        by_fieller(out, before, after);
}
