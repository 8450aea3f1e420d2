/* The average of one quantity over recordings: repeats of a condition first, then the conditions.

   The true value of recording i of a condition is taken to be normal about the condition's mean with variance tau^2.
   Given all repeats, its own estimate is drawn to the mean by B = tau^2 / (tau^2 + se^2): entirely where the errors
   explain the scatter (tau = 0), hardly where they do not. Its variance is then B se^2 + (1 - B)^2 se(mean)^2. */
#include "pool_private.h"

#include <math.h>

/* No recording is better than this: keeps the weights finite. */
#define LEAST_SE 1e-9

pool_average pool_random_effects(const pool_estimate *each, size_t count)
{
    double weights = 0, squares = 0, mean = 0, scatter = 0;
    for (size_t i = 0; i < count; i++) {
        double weight = 1 / (each[i].se * each[i].se);
        weights += weight;
        squares += weight * weight;
        mean += weight * each[i].value;
    }
    mean /= weights;
    for (size_t i = 0; i < count; i++) {
        double off = (each[i].value - mean) / each[i].se;
        scatter += off * off;
    }
    pool_average out = {.mean = mean, .se = 1 / sqrt(weights)};
    double excess = scatter - ((double)count - 1);
    if (count < 2 || !(excess > 0))
        return out;
    out.between_variance = excess / (weights - squares / weights);
    weights = mean = 0;
    for (size_t i = 0; i < count; i++) {
        double weight = 1 / (each[i].se * each[i].se + out.between_variance);
        weights += weight;
        mean += weight * each[i].value;
    }
    out.mean = mean / weights;
    out.se = 1 / sqrt(weights);
    return out;
}

/* NaN if not known. */
static double own_se(const pool_sample *sample)
{
    double se = (sample->high - sample->low) / (2 * POOL_Z95);
    return isfinite(se) ? fmax(se, LEAST_SE) : (double)NAN;
}

static void hold(pool_result *out, double value, double low, double high)
{
    out->lowest = fmin(out->lowest, value);
    out->highest = fmax(out->highest, value);
    out->low = fmin(out->low, isnan(low) ? value : fmin(low, value));
    out->high = fmax(out->high, isnan(high) ? value : fmax(high, value));
}

/* One condition's repeats into the result; its mean and the error of that. */
static pool_estimate pool_condition(const pool_sample *sample, size_t count, pool_result *out)
{
    pool_estimate each[QUELL_RECORDINGS_MAX];
    for (size_t i = 0; i < count; i++)
        each[i] = (pool_estimate){sample[i].value, own_se(&sample[i])};
    pool_average average = pool_random_effects(each, count);
    for (size_t i = 0; i < count; i++) {
        if (count == 1) {
            hold(out, sample[i].value, sample[i].low, sample[i].high);
            continue;
        }
        double own = each[i].se * each[i].se;
        double kept = average.between_variance / (average.between_variance + own);
        double value = average.mean + kept * (each[i].value - average.mean);
        double reach = POOL_Z95 * sqrt(kept * own + (1 - kept) * (1 - kept) * average.se * average.se);
        hold(out, value, value - reach, value + reach);
    }
    return (pool_estimate){average.mean, average.se};
}

/* Where an error is not known nothing can be weighed: the plain mean, and every interval there is. */
static void pool_unweighed(const pool_sample *sample, size_t count, pool_result *out)
{
    out->mean = 0;
    for (size_t i = 0; i < count; i++) {
        out->mean += sample[i].value / (double)count;
        hold(out, sample[i].value, sample[i].low, sample[i].high);
    }
}

static void pool_weighed(const pool_sample *sample, size_t count, pool_result *out)
{
    pool_estimate condition[QUELL_RECORDINGS_MAX];
    bool done[QUELL_RECORDINGS_MAX] = {false};
    size_t conditions = 0;
    for (size_t i = 0; i < count; i++) {
        pool_sample repeat[QUELL_RECORDINGS_MAX];
        size_t repeats = 0;
        if (done[i])
            continue;
        for (size_t j = i; j < count; j++)
            if (sample[j].condition == sample[i].condition) {
                repeat[repeats++] = sample[j];
                done[j] = true;
            }
        condition[conditions++] = pool_condition(repeat, repeats, out);
    }
    pool_average average = pool_random_effects(condition, conditions);
    out->mean = average.mean;
    out->mean_se = average.se;
}

void pool_quantity(const pool_sample *sample, size_t count, pool_result *out)
{
    const double none = (double)INFINITY;
    double squares = 0;
    *out =
        (pool_result){.mean_se = (double)NAN, .low = none, .high = -none, .lowest = none, .highest = -none};
    for (size_t i = 0; i < count; i++)
        squares += own_se(&sample[i]) * own_se(&sample[i]);
    out->within_se = sqrt(squares / (double)count);
    if (isnan(squares))
        pool_unweighed(sample, count, out);
    else
        pool_weighed(sample, count, out);
}
