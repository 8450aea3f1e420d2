/* What a measured ratio of two powers says: its interval, its p value, and p values corrected for their number. */
#include "quell/compare.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

/* Beyond this GSL's distribution function, too, loses its way; an interval is then 0.04 dB wide at most. */
#define DOF_MAX 1e5

static double held(double dof)
{
    return dof < DOF_MAX ? dof : DOF_MAX;
}

/* x with P(F > x) = p for F(numerator, denominator). ln x is bracketed in steps of its own standard deviation, which
   is sqrt(2/nu1 + 2/nu2) for large nu, and bisected. */
static double upper_quantile(double p, double numerator, double denominator)
{
    double step = sqrt(2 / numerator + 2 / denominator), low = 0, high = 0;
    while (gsl_cdf_fdist_Q(exp(high), numerator, denominator) > p && high < 700)
        high += step;
    while (gsl_cdf_fdist_Q(exp(low), numerator, denominator) < p && low > -700)
        low -= step;
    for (int i = 0; i < 60 && high - low > 1e-14; i++) {
        double middle = (low + high) / 2;
        if (gsl_cdf_fdist_Q(exp(middle), numerator, denominator) > p)
            low = middle;
        else
            high = middle;
    }
    return exp((low + high) / 2);
}

void quell_f_factors(double dof_before, double dof_after, double factor[2])
{
    /* the lower quantile of F(a, b) is one over the upper quantile of F(b, a) */
    factor[0] = 1 / upper_quantile(0.025, held(dof_after), held(dof_before));
    factor[1] = upper_quantile(0.025, held(dof_before), held(dof_after));
}

double quell_f_p_value(double ratio, double dof_before, double dof_after)
{
    double below = gsl_cdf_fdist_P(ratio, held(dof_after), held(dof_before));
    double above = gsl_cdf_fdist_Q(ratio, held(dof_after), held(dof_before));
    return fmin(1, 2 * fmin(below, above));
}

typedef struct ranked {
    double p;
    size_t index;
} ranked;

static int by_p(const void *a, const void *b)
{
    double first = ((const ranked *)a)->p, second = ((const ranked *)b)->p;
    return (first > second) - (first < second);
}

quell_status quell_holm(const double *p, double *adjusted, size_t count, quell_error *err)
{
    ranked *order = quell_memory_get(count * sizeof *order);
    if (order == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu p values", count);
    for (size_t i = 0; i < count; i++)
        order[i] = (ranked){p[i], i};
    if (count > 1)
        qsort(order, count, sizeof *order, by_p);
    double largest = 0; /* a later one is never more significant than an earlier one */
    for (size_t i = 0; i < count; i++) {
        largest = fmax(largest, fmin(1, (double)(count - i) * order[i].p));
        adjusted[order[i].index] = largest;
    }
    quell_memory_free(order);
    return QUELL_OK;
}
