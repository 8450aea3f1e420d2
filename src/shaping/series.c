/* Taylor series of an impulse sequence as a function of frequency, and Newton's form of it by synthetic division. */
#include "shaping/series.h"

#include <math.h>

static const double complex j = (double complex)I;

size_t quell_series_terms(double radius, double largest_angle, size_t divisions)
{
    const size_t lost = divisions + 2; /* powers that divisions and derivatives take away */
    double bound = pow(largest_angle, (double)lost);
    for (size_t m = 1; m + lost < SERIES_MAX; m++) {
        bound *= radius * largest_angle / (double)m;
        if (bound < 1e-19)
            return m + lost + 1;
    }
    return 0;
}

void quell_series_add(series *to, double complex p, double angle, double weight)
{
    const double complex step = p * angle;
    double complex term = weight * cexp(step * (1 + to->centre));
    for (size_t m = 0; m < to->terms; m++) {
        to->re[m] += creal(term);
        to->im[m] += cimag(term);
        term *= step / (double)(m + 1);
    }
}

void quell_series_divide(series *s, size_t from, double zero)
{
    const double a = zero - s->centre;
    for (size_t m = s->terms - 1; m-- > from;) {
        s->re[m] += a * s->re[m + 1];
        s->im[m] += a * s->im[m + 1];
    }
}

double complex quell_series_value(const series *s, size_t from, double x)
{
    const double a = x - s->centre;
    double re = 0, im = 0;
    for (size_t m = s->terms; m-- > from;) {
        re = re * a + s->re[m];
        im = im * a + s->im[m];
    }
    return re + im * j;
}

series_jet quell_series_jet(const series *s, size_t from, double x)
{
    const double a = x - s->centre;
    double re[3] = {0}, im[3] = {0};
    for (size_t m = s->terms; m-- > from;) {
        for (int order = 2; order > 0; order--) {
            re[order] = re[order] * a + re[order - 1];
            im[order] = im[order] * a + im[order - 1];
        }
        re[0] = re[0] * a + s->re[m];
        im[0] = im[0] * a + s->im[m];
    }
    return (series_jet){re[0] + im[0] * j, re[1] + im[1] * j, re[2] + im[2] * j};
}
