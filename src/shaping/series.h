/* Taylor series of an impulse sequence as a function of frequency, and Newton's form of it by synthetic division. */
#ifndef QUELL_SHAPING_SERIES_H
#define QUELL_SHAPING_SERIES_H

#include <complex.h>
#include <stddef.h>

enum { SERIES_MAX = 128 };

/* Coefficients of powers of (x - centre), x real: real and imaginary parts apart, because divisors are real.
   Synthetic division works in place: after k divisions coefficients 0 to k-1 hold the remainders (the divided
   differences over the divisors' zeros) and those from k on the quotient. */
typedef struct series {
    double centre;
    size_t terms;
    double re[SERIES_MAX], im[SERIES_MAX];
} series;

/* Value, first derivative, and half the second derivative. */
typedef struct series_jet {
    double complex value, slope, half_curvature;
} series_jet;

/* The number of terms that leaves nothing above rounding of exp(p (1 + x) angle), |p| = 1, for |x - centre| <= radius
   and |angle| <= largest_angle after `divisions` divisions and two derivatives; 0 if SERIES_MAX terms do not. */
size_t quell_series_terms(double radius, double largest_angle, size_t divisions);

/* Adds weight * exp(p (1 + x) angle). */
void quell_series_add(series *to, double complex p, double angle, double weight);

/* Divides the coefficients from `from` on by (x - zero). */
void quell_series_divide(series *s, size_t from, double zero);

/* The polynomial whose coefficients start at `from`, at x. */
double complex quell_series_value(const series *s, size_t from, double x);
series_jet quell_series_jet(const series *s, size_t from, double x);

#endif
