/* The difference of two means of logarithms, with the error that the recordings give it.

   Within: each recording's own variance. Run to run: the variance s^2 between the recordings of a side holds both how runs
   differ and what is within; it is taken, or what is within if that is more, with the degrees of freedom of s^2 even
   so. Adding an estimate of the former alone, 0 where s^2 is small, to what is known of the latter gives false alarms up
   to ten times as often as it says when both are about equal: measured. */
#include "compare/compare_private.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

/* The mean, the variance of the mean by what is within the recordings, and the squares of its parts by their dof. */
typedef struct mean_of {
    double value, within, within_by_dof;
    double squares; /* of the deviations from the mean */
} mean_of;

static mean_of average(const compare_estimates *of)
{
    mean_of out = {0};
    double n = (double)of->count;
    for (size_t i = 0; i < of->count; i++) {
        double part = of->variance[i] / (n * n);
        out.value += of->value[i] / n;
        out.within += part;
        out.within_by_dof += part * part / of->dof[i];
    }
    for (size_t i = 0; i < of->count; i++)
        out.squares += (of->value[i] - out.value) * (of->value[i] - out.value);
    return out;
}

/* Variance of the difference of the means and its degrees of freedom, from how the recordings scatter. Where a side has one
   recording, it is taken to scatter as the other side does. */
static double variance_run_to_run(const compare_estimates *const of[2], const mean_of mean[2], double *dof)
{
    double n[2] = {(double)of[0]->count, (double)of[1]->count}, total = 0, by_dof = 0;
    if (of[0]->count == 1 || of[1]->count == 1) {
        *dof = n[0] + n[1] - 2;
        double each = (mean[0].squares + mean[1].squares) / *dof;
        for (size_t s = 0; s < 2; s++)
            total += fmax(each / n[s], mean[s].within);
        return total;
    }
    for (size_t s = 0; s < 2; s++) {
        double part = fmax(mean[s].squares / (n[s] - 1) / n[s], mean[s].within);
        total += part;
        by_dof += part * part / (n[s] - 1);
    }
    *dof = total * total / by_dof; /* Welch, Satterthwaite */
    return total;
}

bool compare_difference_find(const compare_estimates *before, const compare_estimates *after, bool run_to_run,
                             compare_difference *out)
{
    const compare_estimates *const of[2] = {before, after};
    if (run_to_run && before->count + after->count < 2 + QUELL_REPEATS_LEAST)
        return false;
    const mean_of mean[2] = {average(before), average(after)};
    double variance = mean[0].within + mean[1].within, dof;
    double by_dof = mean[0].within_by_dof + mean[1].within_by_dof;
    if (run_to_run)
        variance = variance_run_to_run(of, mean, &dof);
    else
        dof = by_dof > 0 ? variance * variance / by_dof : (double)INFINITY;
    out->before = mean[0].value;
    out->after = mean[1].value;
    out->change = mean[1].value - mean[0].value;
    out->error = sqrt(variance);
    double size = fabs(out->change) / out->error, reach;
    if (dof < 1e6) {
        reach = gsl_cdf_tdist_Qinv(0.025, dof);
        out->p_value = fmin(1, 2 * gsl_cdf_tdist_Q(size, dof));
    } else {
        reach = gsl_cdf_ugaussian_Qinv(0.025);
        out->p_value = fmin(1, 2 * gsl_cdf_ugaussian_Q(size));
    }
    out->ci95[0] = out->change - reach * out->error;
    out->ci95[1] = out->change + reach * out->error;
    return true;
}
