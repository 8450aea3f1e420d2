/* Smooth kernels: box, raised cosine, and B-splines of order 2 to 4 (2 to 4 boxes convolved), as a controller with a fixed
   clock runs them: a list of impulses, one in the middle of each of 60 equal parts of the kernel's length.

   Undamped, a box of length L leaves |sin(pi f L) / (pi f L)| of a mode, whose first zero is at f L = 1, a raised cosine
   |sin(pi x) / (pi x (1 - x^2))|, x = f L, whose first zero is at 2; the lengths are therefore 1, 2 and m periods. Values in
   the middle of equal parts keep those zeros exactly, and the spread within 3e-4 (order 2; the others are nearer): what the
   sum aliases has zeros there, too. Time is counted from the first impulse, half a part after the kernel's beginning.

   A damped mode has no zero, since the end of the kernel is fresher than its beginning. The length is the one that leaves it
   least, the minimum that the first zero turns into; heavy damping flattens it out, and then there is none. 60 parts leave
   room for a product with a shaper of two impulses. */
#include "shaping/shaping_private.h"

#include <math.h>

enum { PARTS = 60, BISECTIONS = 60 };

#define LENGTH_STEP 0.01 /* in which the least residual is sought, of the undamped length */
#define LENGTH_MOST 1.35 /* of it: before a raised cosine's second zero, at 1.5 */

static const double complex j = (double complex)I;

double quell_b_spline(size_t order, double x)
{
    if (!(x > 0 && x < (double)order))
        return 0;
    if (order == 1)
        return 1;
    const double m = (double)order;
    return (x * quell_b_spline(order - 1, x) + (m - x) * quell_b_spline(order - 1, x - 1)) / (m - 1);
}

/* d ln V / d length at that length (1: undamped): below 0 while a longer kernel leaves less. */
static double slope(const quell_shaper *shaper, double zeta, double length)
{
    const double complex p = QUELL_TAU * (zeta + sqrt(1 - zeta * zeta) * j);
    const double last_s = shaper->time_s[shaper->count - 1];
    double complex left = 0, change = 0;
    for (size_t i = 0; i < shaper->count; i++) {
        const double complex rate = p * (shaper->time_s[i] - last_s), term = shaper->amplitude[i] * cexp(rate * length);
        left += term;
        change += rate * term;
    }
    return creal(conj(left) * change) / (creal(left) * creal(left) + cimag(left) * cimag(left));
}

/* The length that leaves a damped mode least; NaN if there is none. */
static double best_length(const quell_shaper *shaper, double zeta)
{
    double low = 1, high = 1;
    if (zeta <= 0)
        return 1;
    while (slope(shaper, zeta, low) > 0 && low > 2 - LENGTH_MOST)
        low -= LENGTH_STEP; /* rounding where damping is next to nothing */
    do
        high += LENGTH_STEP;
    while (slope(shaper, zeta, high) < 0 && high < LENGTH_MOST);
    if (high >= LENGTH_MOST)
        return (double)NAN;
    for (int i = 0; i < BISECTIONS; i++) {
        const double middle = (low + high) / 2;
        if (slope(shaper, zeta, middle) < 0)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2;
}

static quell_status refuse(const quell_shaper *shaper, const char *what, double asked, quell_error *err)
{
    double reached = 0, beyond = asked;
    while (beyond - reached > 1e-5) {
        const double middle = (reached + beyond) / 2;
        if (isnan(best_length(shaper, middle)))
            beyond = middle;
        else
            reached = middle;
    }
    return quell_refuse_damping(err, what, asked, reached);
}

/* From values in the middle of each part; length: undamped, in periods. */
static quell_status finish(quell_shaper *out, double length, const char *what, const quell_design_point *at,
                           quell_error *err)
{
    double sum = 0;
    out->count = PARTS;
    for (size_t i = 0; i < PARTS; i++)
        sum += out->amplitude[i];
    for (size_t i = 0; i < PARTS; i++) {
        out->amplitude[i] /= sum;
        out->time_s[i] = length * (double)i / PARTS;
    }
    const double stretch = best_length(out, at->damping_ratio);
    if (isnan(stretch))
        return refuse(out, what, at->damping_ratio, err);
    for (size_t i = 0; i < PARTS; i++)
        out->time_s[i] *= stretch;
    return QUELL_OK;
}

static quell_status design_spline(quell_shaper *out, size_t order, const char *what, const quell_design_point *at,
                                  quell_error *err)
{
    for (size_t i = 0; i < PARTS; i++)
        out->amplitude[i] = quell_b_spline(order, (double)order * ((double)i + 0.5) / PARTS);
    return finish(out, (double)order, what, at, err);
}

quell_status quell_design_box(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    return design_spline(out, 1, "box that leaves the mode least", at, err);
}

quell_status quell_design_raised_cosine(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    for (size_t i = 0; i < PARTS; i++)
        out->amplitude[i] = 1 - cos(QUELL_TAU * ((double)i + 0.5) / PARTS);
    return finish(out, 2, "raised cosine that leaves the mode least", at, err);
}

quell_status quell_design_spline2(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    return design_spline(out, 2, "B-spline of order 2 that leaves the mode least", at, err);
}

quell_status quell_design_spline3(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    return design_spline(out, 3, "B-spline of order 3 that leaves the mode least", at, err);
}

quell_status quell_design_spline4(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    return design_spline(out, 4, "B-spline of order 4 that leaves the mode least", at, err);
}
