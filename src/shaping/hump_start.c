/* Undamped shapers with humps of equal height, in closed form: a Dolph-Chebyshev array in time.

   With n zeros, impulses half a period apart and c = cos(pi r / 2), r = frequency / design frequency, the residual
   is V T_n(c / x0), x0 = 1 / cosh(acosh(1/V) / n): zeros at c = x0 cos((2k+1) pi / 2n), humps, exactly V high, at
   c = x0 cos(k pi / n). Source: C. L. Dolph, Proc. IRE 34(6), 1946. For n = 2, 3, 4 these are the closed forms of
   EI, two-hump and three-hump EI of Singhose et al. 1994 and 1997. */
#include "shaping/shaping_private.h"

#include <math.h>

/* r - 1 of the place where cos(pi r / 2) = c. */
static double place(double c)
{
    return -2 / QUELL_PI * asin(c);
}

/* Amplitudes are the coefficients of the product over the zeros z of (u + exp(j pi z)). Zeros come in pairs +-z:
   each pair gives u^2 + 2 cos(pi z) u + 1, a zero at 0 gives u + 1, and nothing cancels. */
static void fill_amplitudes(double *amplitude, const double *zero, size_t n)
{
    size_t degree = n % 2;
    amplitude[0] = amplitude[degree] = 1;
    for (size_t k = 0; k < n / 2; k++) {
        double middle = 2 * cos(QUELL_PI * zero[k]);
        amplitude[degree + 1] = amplitude[degree + 2] = 0;
        for (size_t i = degree + 2; i >= 2; i--)
            amplitude[i] += middle * amplitude[i - 1] + amplitude[i - 2];
        amplitude[1] += middle * amplitude[0];
        degree += 2;
    }
    double sum = 0;
    for (size_t i = 0; i <= n; i++)
        sum += amplitude[i];
    for (size_t i = 0; i <= n; i++)
        amplitude[i] /= sum;
}

void quell_hump_undamped(hump_problem *problem, double *x)
{
    const size_t n = problem->zeros;
    const double x0 = 1 / cosh(acosh(1 / problem->tolerance) / (double)n), step = QUELL_PI / (double)n;
    double zero[HUMP_ZEROS_MAX];
    problem->spacing = -place(x0);
    problem->middle = QUELL_PI * (double)n / 2;
    for (size_t k = 0; k < n; k++) {
        zero[k] = 2 * k + 1 == n ? 0 : place(x0 * cos(((double)k + 0.5) * step));
        x[hump_zero_at(problem, k)] = zero[k] / problem->spacing;
        x[hump_time_at(problem, k + 1)] = QUELL_PI * ((double)k + 1);
    }
    for (size_t k = 1; k < n; k++)
        x[hump_peak_at(problem, k - 1)] = 2 * k == n ? 0 : place(x0 * cos((double)k * step)) / problem->spacing;
    fill_amplitudes(x, zero, n);
}
