/* Variable projection: for given poles the amplitudes of every stop and axis follow by linear least squares on one shared
   basis, so only the poles are searched.
   Source: G. H. Golub and V. Pereyra, SIAM J. Numer. Anal. 10(2), 1973; the derivative keeps the first of its two terms,
   as L. Kaufman, BIT 15, 1975 (from memory). */
#include "modes/decay_private.h"

#include <math.h>
#include <string.h>

/* The basis is Q R: cos and sin of each term and the offset; beside it t cos and t sin of each term, which the derivatives
   are made of, less their part within the basis. */
typedef struct projection {
    size_t n, columns, terms;
    double *q, *slope; /* n values a column */
    double r[DECAY_COLUMNS_MAX][DECAY_COLUMNS_MAX];
    double gram[2 * DECAY_TERMS_MAX][2 * DECAY_TERMS_MAX]; /* of slope */
} projection;

static void take_off(double *from, const double *unit, double share, size_t n)
{
    for (size_t i = 0; i < n; i++)
        from[i] -= share * unit[i];
}

/* Modified Gram-Schmidt, twice over (A. Bjorck, Numerical Methods for Least Squares Problems, 1996, from memory). False if a
   column lies within those before it. */
static bool orthogonalise(projection *p)
{
    memset(p->r, 0, sizeof p->r);
    for (size_t j = 0; j < p->columns; j++) {
        double *column = p->q + j * p->n, before = sqrt(quell_dot(column, column, p->n));
        for (size_t pass = 0; pass < 2; pass++)
            for (size_t i = 0; i < j; i++) {
                double share = quell_dot(p->q + i * p->n, column, p->n);
                take_off(column, p->q + i * p->n, share, p->n);
                p->r[i][j] += share;
            }
        double size = sqrt(quell_dot(column, column, p->n));
        if (!(size > 1e-7 * before))
            return false;
        for (size_t i = 0; i < p->n; i++)
            column[i] /= size;
        p->r[j][j] = size;
    }
    return true;
}

static void fill(projection *p, const decay_fit *fit, double rate_hz, bool derivatives)
{
    decay_columns(fit, rate_hz, p->n, p->q);
    for (size_t j = 0; derivatives && j < 2 * p->terms; j++)
        for (size_t i = 0; i < p->n; i++)
            p->slope[j * p->n + i] = (double)i / rate_hz * p->q[j * p->n + i];
}

static void project_slopes(projection *p)
{
    for (size_t j = 0; j < 2 * p->terms; j++)
        for (size_t i = 0; i < p->columns; i++) {
            double share = quell_dot(p->q + i * p->n, p->slope + j * p->n, p->n);
            take_off(p->slope + j * p->n, p->q + i * p->n, share, p->n);
        }
    for (size_t j = 0; j < 2 * p->terms; j++)
        for (size_t i = 0; i <= j; i++)
            p->gram[i][j] = p->gram[j][i] = quell_dot(p->slope + i * p->n, p->slope + j * p->n, p->n);
}

/* Coefficients of one row from its products with Q; returns its rest. */
static double solve_row(const projection *p, const double *row, double power, double *coefficient)
{
    double within[DECAY_COLUMNS_MAX] = {0};
    for (size_t j = 0; j < p->columns; j++) {
        within[j] = quell_dot(p->q + j * p->n, row, p->n);
        power -= within[j] * within[j];
    }
    for (size_t j = p->columns; j-- > 0;) {
        double value = within[j];
        for (size_t k = j + 1; k < p->columns; k++)
            value -= p->r[j][k] * coefficient[k];
        coefficient[j] = value / p->r[j][j];
    }
    return power > 0 ? power : 0;
}

/* d model / d parameter is share[0] t cos + share[1] t sin of the parameter's term. */
static void derivative_shares(const decay_fit *fit, const double *coefficient, double share[][2])
{
    for (size_t k = 0; k < fit->terms; k++) {
        double w = QUELL_TAU * exp(fit->parameter[DECAY_PER_TERM * k + DECAY_LN_F]);
        double zeta = fit->line[k] ? 0 : exp(fit->parameter[DECAY_PER_TERM * k + DECAY_LN_ZETA]);
        double root = sqrt(1 - zeta * zeta), a = coefficient[2 * k], b = coefficient[2 * k + 1];
        double by_f[2] = {-zeta * w, w * root}; /* of alpha (signed) and of the damped frequency */
        double by_zeta[2] = {-zeta * w, -w * zeta * zeta / root};
        share[DECAY_PER_TERM * k + DECAY_LN_F][0] = by_f[0] * a + by_f[1] * b;
        share[DECAY_PER_TERM * k + DECAY_LN_F][1] = by_f[0] * b - by_f[1] * a;
        share[DECAY_PER_TERM * k + DECAY_LN_ZETA][0] = by_zeta[0] * a + by_zeta[1] * b;
        share[DECAY_PER_TERM * k + DECAY_LN_ZETA][1] = by_zeta[0] * b - by_zeta[1] * a;
    }
}

static void add_derivatives(const projection *p, const decay_fit *fit, const double *row,
                            const double *coefficient, decay_normal *into)
{
    double share[DECAY_PARAMETERS_MAX][2] = {{0}}, product[2 * DECAY_TERMS_MAX] = {0};
    derivative_shares(fit, coefficient, share);
    for (size_t j = 0; j < 2 * p->terms; j++)
        product[j] = quell_dot(p->slope + j * p->n, row, p->n);
    for (size_t i = 0; i < DECAY_PER_TERM * p->terms; i++) {
        size_t term = 2 * (i / DECAY_PER_TERM);
        into->gradient[i] += share[i][0] * product[term] + share[i][1] * product[term + 1];
        for (size_t j = 0; j <= i; j++) {
            size_t other = 2 * (j / DECAY_PER_TERM);
            double value = 0;
            for (size_t u = 0; u < 2; u++)
                for (size_t v = 0; v < 2; v++)
                    value += share[i][u] * p->gram[term + u][other + v] * share[j][v];
            into->information[i][j] += value;
            if (j < i)
                into->information[j][i] += value;
        }
    }
}

static void add_normal(decay_normal *sum, const decay_normal *one, size_t parameters)
{
    sum->rss += one->rss;
    for (size_t i = 0; i < parameters; i++) {
        sum->gradient[i] += one->gradient[i];
        for (size_t j = 0; j < parameters; j++)
            sum->information[i][j] += one->information[i][j];
    }
}

bool decay_evaluate(decay_window *window, const decay_fit *fit, size_t first, size_t end, bool derivatives,
                    decay_normal *sum, decay_normal *each)
{
    projection p = {.n = window->length, .columns = 2 * fit->terms + 1, .terms = fit->terms};
    if (p.n < p.columns + 1)
        return false;
    p.q = window->column;
    p.slope = window->column + p.columns * p.n;
    fill(&p, fit, window->rate_hz, derivatives);
    if (!orthogonalise(&p))
        return false;
    if (derivatives)
        project_slopes(&p);
    memset(sum, 0, sizeof *sum);
    for (size_t s = first; s < end; s++) {
        decay_normal one = {0};
        for (size_t r = s * window->axes; r < (s + 1) * window->axes; r++) {
            const double *row = window->row + r * window->length;
            double *coefficient = window->coefficient + r * DECAY_COLUMNS_MAX;
            one.rss += solve_row(&p, row, window->power[r], coefficient);
            if (derivatives)
                add_derivatives(&p, fit, row, coefficient, &one);
        }
        add_normal(sum, &one, DECAY_PER_TERM * fit->terms);
        if (each != NULL)
            each[s] = one;
    }
    return isfinite(sum->rss);
}
