/* Mean of the squared amplitudes of a side, and its error: scatter of the stops within each kind of stroke; between
   recordings, where that is more; and what the modes' own errors do to all of them. */
#include "compare/stops_private.h"

#include <math.h>

static double power_of(const quell_stop *stop, size_t modes, size_t mode)
{
    if (mode != SIZE_MAX)
        return stop->power_m2[mode];
    double sum = 0;
    for (size_t k = 0; k < modes; k++)
        sum += stop->power_m2[k];
    return sum;
}

/* Sums towards Satterthwaite's degrees of freedom. */
typedef struct variances {
    double sum, over_dof;
} variances;

static void add_variance(variances *to, double variance, double dof)
{
    to->sum += variance;
    to->over_dof += variance * variance / dof;
}

static double degrees(const variances *of)
{
    return of->over_dof > 0 ? of->sum * of->sum / of->over_dof : 1;
}

static stops_mean of_recording(const stops_job *job, const stops_recording *recording, size_t mode)
{
    double n[STOPS_GROUPS_MAX] = {0}, mean[STOPS_GROUPS_MAX] = {0}, squares[STOPS_GROUPS_MAX] = {0};
    for (size_t i = 0; i < recording->stops.count; i++) {
        size_t g = recording->group[i];
        double off = power_of(&recording->stops.stop[i], job->modes, mode) - mean[g];
        mean[g] += off / ++n[g];
        squares[g] += off * off * (n[g] - 1) / n[g];
    }
    double groups = (double)job->groups, sum = 0;
    variances of = {0};
    for (size_t g = 0; g < job->groups; g++) {
        sum += mean[g] / groups;
        add_variance(&of, n[g] > 1 ? squares[g] / (n[g] - 1) / n[g] / (groups * groups) : (double)NAN, n[g] - 1);
    }
    return (stops_mean){sum, of.sum, degrees(&of)};
}

/* Variance that the modes' errors give to a recording's mean. */
static double shared_variance(const stops_job *job, const stops_recording *recording, size_t mode)
{
    double sum = 0;
    for (size_t k = 0; k < job->modes; k++)
        if (mode == SIZE_MAX || mode == k) {
            stops_mean mean = of_recording(job, recording, k);
            sum += pow(mean.power_m2 * recording->stops.log_power_se[k], 2);
        }
    return sum;
}

stops_mean stops_side_mean(const stops_job *job, size_t side, size_t mode)
{
    const stops_side *of = &job->side[side];
    double count = (double)of->count, mean = 0, squares = 0, shared = 0, n = 0;
    variances within = {0};
    for (size_t r = 0; r < of->count; r++) {
        stops_mean one = of_recording(job, &of->each[r], mode);
        double off = one.power_m2 - mean;
        mean += off / ++n;
        squares += off * off * (n - 1) / n;
        add_variance(&within, one.variance / (count * count), one.dof);
        shared += shared_variance(job, &of->each[r], mode) / count;
    }
    stops_mean out = {mean, within.sum, degrees(&within)};
    double between = count > 1 ? squares / (count - 1) / count : 0;
    if (count > 1 && !(between < out.variance)) {
        out.variance = between;
        out.dof = count - 1;
    }
    double all = out.variance + shared; /* the shared part is known with as many degrees as one likes */
    out.dof = out.variance > 0 ? out.dof * pow(all / out.variance, 2) : out.dof;
    out.variance = all;
    return out;
}
