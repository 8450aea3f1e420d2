/* How well a shaper explains the ratio of the on side to the off side. */
#include "compare/identify_private.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>

#define TAIL 5.0 /* degrees of freedom of Student's t: our own judgement */

/* The motion is meant to be the same; no ratio says so as plainly as its user. */
#define GAIN_SPREAD 0.5 /* of ln gain: 2 dB */
#define GAIN_MOST 1.6   /* 7 dB: beyond, it is not the same motion */

#define ABOVE_FLOOR 30.0 /* where the scatter is looked for: 15 dB */

#define GAIN_CLOSE 3e-3 /* of sqrt(v): leaves the deviance within 0.01 */

enum { GAIN_STEPS = 12, PRODUCT = 8 };

/* Noise that adds to a repeated motion of power s: the mean of n + s over nu/2 segments has the variance
   (n^2 + 2 n s) 2 / nu. */
static double noise_variance(double noise, double signal, double dof)
{
    double whole = noise + signal;
    return 2 / dof * noise * (noise + 2 * signal) / (whole * whole);
}

quell_status fit_work_make(fit_work *out, const quell_ratio *ratio, quell_arena *arena, quell_error *err)
{
    *out = (fit_work){.ratio = ratio,
                      .power = QUELL_NEW(arena, double, ratio->grid),
                      .signal = QUELL_NEW(arena, double, ratio->bins),
                      .off_variance = QUELL_NEW(arena, double, ratio->bins),
                      .measured_ln = QUELL_NEW(arena, double, ratio->bins),
                      .scratch = QUELL_NEW(arena, double, 2 * ratio->bins),
                      .slopes = QUELL_NEW(arena, double, FIT_FREE_MOST *(ratio->grid + ratio->bins))};
    if (out->power == NULL || out->signal == NULL || out->off_variance == NULL || out->measured_ln == NULL ||
        out->scratch == NULL || out->slopes == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a fit to %zu bins", ratio->bins);
    for (size_t i = 0; i < ratio->bins; i++)
        out->off_variance[i] =
            noise_variance(ratio->noise_off[i], 1, ratio->dof_off) + pow(QUELL_RATIO_DRIFT * ratio->slope[i], 2);
    fit_set_scatter(out, 0.05 * 0.05);
    return QUELL_OK;
}

/* Errors are relative, sqrt(v), and absolute, the floor: ln(ratio + floor / sqrt(v)) has nearly the same variance v wherever the ratio
   is, so that neither a deep notch nor a shallow one is worth more than what is known of it. */
void fit_set_scatter(fit_work *work, double scatter2)
{
    work->scatter2 = scatter2;
    work->offset = QUELL_RATIO_FLOOR / sqrt(scatter2);
    for (size_t i = 0; i < work->ratio->bins; i++)
        work->measured_ln[i] = log(work->ratio->ratio[i] + work->offset);
}

double fit_count(const fit_work *work)
{
    return (double)work->ratio->bins / work->ratio->correlation;
}

double fit_residual(const fit_work *work, size_t bin, double gain, double *variance)
{
    const quell_ratio *ratio = work->ratio;
    double signal = gain * fmax(work->signal[bin], 1e-12), noise = ratio->noise[bin];
    double whole = signal + noise, share = whole / (whole + work->offset);
    *variance = work->scatter2 + share * share * (noise_variance(noise, signal, ratio->dof_on) + work->off_variance[bin]);
    return work->measured_ln[bin] - log(whole + work->offset);
}

double fit_misfit_db(const fit_work *work, double gain_ln)
{
    double sum = 0;
    size_t counted = 0;
    for (size_t i = 0; i < work->ratio->bins; i++) {
        double variance, residual = fit_residual(work, i, exp(gain_ln), &variance);
        if (work->signal[i] < 10 * QUELL_RATIO_FLOOR)
            continue;
        sum += residual * residual;
        counted++;
    }
    return 10 / log(10) * sqrt(sum / (double)(counted > 0 ? counted : 1));
}

/* The gain by weighted steps: the weights of Student's t. Always from where it is meant to be, as far bins have little weight and
   a step from elsewhere may end elsewhere. */
static double best_gain(const fit_work *work)
{
    const double meant = log(work->ratio->motion);
    double gain_ln = meant;
    for (size_t step = 0; step < GAIN_STEPS; step++) {
        double gain = exp(gain_ln), prior = work->ratio->correlation / (GAIN_SPREAD * GAIN_SPREAD);
        double sum = (meant - gain_ln) * prior, weights = prior;
        for (size_t i = 0; i < work->ratio->bins; i++) {
            double variance, residual = fit_residual(work, i, gain, &variance);
            double weight = (TAIL + 1) / (TAIL * variance + residual * residual);
            sum += weight * residual;
            weights += weight;
        }
        double change = sum / weights;
        gain_ln = fmax(meant - GAIN_MOST, fmin(meant + GAIN_MOST, gain_ln + change));
        if (fabs(change) < GAIN_CLOSE * sqrt(work->scatter2))
            break;
    }
    return gain_ln;
}

double fit_deviance_of_signal(fit_work *work, double *gain_ln)
{
    *gain_ln = best_gain(work);
    double gain = exp(*gain_ln), sum = 0, product = 1;
    for (size_t i = 0; i < work->ratio->bins; i++) {
        double variance, residual = fit_residual(work, i, gain, &variance);
        product *= 1 + residual * residual / (TAIL * variance); /* one logarithm for several bins */
        if (i % PRODUCT == PRODUCT - 1 || i + 1 == work->ratio->bins) {
            sum += log(product);
            product = 1;
        }
    }
    double strange = (*gain_ln - log(work->ratio->motion)) / GAIN_SPREAD;
    return (TAIL + 1) * sum / work->ratio->correlation + strange * strange;
}

double fit_deviance(fit_work *work, const quell_shaper *shaper, double *gain_ln)
{
    ratio_power(work->ratio, shaper, work->power);
    ratio_smear(work->ratio, work->power, work->signal);
    return fit_deviance_of_signal(work, gain_ln);
}

/* The median of squared residuals is 0.455 of a normal variance: the v that makes the median of residual^2 / variance so, over bins
   that are well above the floor. */
double fit_scatter2(const fit_work *work, double gain_ln, size_t parameters)
{
    const double least = QUELL_RATIO_SCATTER_MIN * QUELL_RATIO_SCATTER_MIN;
    size_t bins = work->ratio->bins, counted = 0;
    double *square = work->scratch, low = least, high = 4;
    fit_work tried = *work;
    tried.measured_ln = square + bins;
    for (int step = 0; step < 40; step++) {
        fit_set_scatter(&tried, sqrt(low * high));
        counted = 0;
        for (size_t i = 0; i < bins; i++) {
            double variance, residual = fit_residual(&tried, i, exp(gain_ln), &variance);
            if (exp(gain_ln) * work->signal[i] + work->ratio->noise[i] > ABOVE_FLOOR * QUELL_RATIO_FLOOR)
                square[counted++] = residual * residual / variance;
        }
        double count = (double)counted / work->ratio->correlation, free = fmax(count - (double)parameters, 2) / fmax(count, 2);
        gsl_sort(square, 1, counted);
        if (counted > 0 && gsl_stats_median_from_sorted_data(square, 1, counted) > 0.4549 * free)
            low = tried.scatter2;
        else
            high = tried.scatter2;
    }
    return counted > 0 ? fmax(least, sqrt(low * high)) : work->scatter2;
}
