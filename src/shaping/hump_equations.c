/* The constraints that define a shaper with n zeros and n - 1 humps of height V, and their Jacobian.

   With x = frequency / design frequency - 1, p = zeta + j sqrt(1 - zeta^2) and times as angles phi_i from the middle of
   the undamped shaper, K(x) = sum A_i exp(p (1 + x) phi_i) is written in Newton's form over its zeros z_k:

       K(x) = K[z_0] + K[z_0,z_1] (x - z_0) + ... + (x - z_0)...(x - z_{n-1}) Q(x)

   The divided differences must be 0, and the residual is then |Q| prod |x - z_k| exp(-zeta (1 + x) phi_n). Its
   logarithm is accurate however small V is and however close the zeros lie. */
#include "shaping/series.h"
#include "shaping/shaping_private.h"

#include <math.h>
#include <string.h>

enum { PEAKS_MAX = HUMP_ZEROS_MAX - 1 };

static const double complex j = (double complex)I;

/* One point of the unknowns, unpacked. */
typedef struct hump_state {
    const hump_problem *problem;
    size_t n, size;
    double complex p;
    double angle[HUMP_IMPULSES_MAX];                 /* of the impulses, from the middle */
    double zero[HUMP_ZEROS_MAX], peak[PEAKS_MAX];    /* x */
    double complex q[PEAKS_MAX], q_slope[PEAKS_MAX]; /* Q and its derivative at the humps */
    double q_log_curvature[PEAKS_MAX];               /* second derivative of ln |Q| */
    double *f, *jacobian;
} hump_state;

/* Newton's form of one impulse, or a derivative of the whole: divided differences over the zeros, and Q and its
   slope at the humps. */
typedef struct newton_form {
    double complex difference[HUMP_ZEROS_MAX], q[PEAKS_MAX], slope[PEAKS_MAX];
} newton_form;

/* Rows: the sum of amplitudes, unless they are fixed; real and imaginary part of each divided difference; height and slope
   of each hump; the anchor. */
static size_t zero_row(const hump_state *s, size_t k)
{
    return (s->problem->fixed == NULL ? 1 : 0) + 2 * k;
}

static size_t height_row(const hump_state *s, size_t hump)
{
    return zero_row(s, s->n) + 2 * hump;
}

static double *entry(const hump_state *s, size_t row, size_t column)
{
    return &s->jacobian[row * s->size + column];
}

static void unpack(hump_state *s, const hump_problem *problem, const double *x)
{
    const size_t n = problem->zeros;
    const double zeta = problem->damping_ratio;
    s->problem = problem;
    s->n = n;
    s->size = hump_size(problem);
    s->p = zeta + sqrt(1 - zeta * zeta) * j;
    s->angle[0] = -problem->middle;
    for (size_t i = 1; i < problem->impulses; i++)
        s->angle[i] = x[hump_time_at(problem, i)] - problem->middle;
    for (size_t k = 0; k < n; k++)
        s->zero[k] = problem->spacing * x[hump_zero_at(problem, k)];
    for (size_t h = 0; h + 1 < n; h++)
        s->peak[h] = problem->spacing * x[hump_peak_at(problem, h)];
}

/* An empty series about the middle of the zeros, long enough for all of them; false if none is. */
static bool start_series(const hump_state *s, series *out)
{
    double largest = 0;
    for (size_t i = 0; i < s->problem->impulses; i++)
        largest = fmax(largest, fabs(s->angle[i]));
    const double low = s->zero[0], high = s->zero[s->n - 1];
    memset(out, 0, sizeof *out);
    out->centre = (low + high) / 2;
    out->terms = quell_series_terms((high - low) / 2, largest, s->n);
    return out->terms > 0;
}

/* One column of the Jacobian, from the derivative of Newton's form. Slopes are scaled by the spacing, like x. */
static void add_column(const hump_state *s, const newton_form *d, size_t column)
{
    for (size_t k = 0; k < s->n; k++) {
        *entry(s, zero_row(s, k), column) += creal(d->difference[k]);
        *entry(s, zero_row(s, k) + 1, column) += cimag(d->difference[k]);
    }
    for (size_t h = 0; h + 1 < s->n; h++) {
        double complex relative = d->q[h] / s->q[h], slope = d->slope[h] / s->q[h];
        *entry(s, height_row(s, h), column) += creal(relative);
        *entry(s, height_row(s, h) + 1, column) +=
            s->problem->spacing * creal(slope - s->q_slope[h] / s->q[h] * relative);
    }
}

static void expand_impulse(const hump_state *s, const series *empty, double angle, newton_form *out)
{
    series c = *empty;
    quell_series_add(&c, s->p, angle, 1);
    for (size_t k = 0; k < s->n; k++) {
        quell_series_divide(&c, k, s->zero[k]);
        out->difference[k] = c.re[k] + c.im[k] * j;
    }
    for (size_t h = 0; h + 1 < s->n; h++) {
        series_jet jet = quell_series_jet(&c, s->n, s->peak[h]);
        out->q[h] = jet.value;
        out->slope[h] = jet.slope;
    }
}

/* By the impulse's time: the function becomes p A (1 + x) times itself (product rule of divided differences). */
static void differentiate_by_time(const hump_state *s, const newton_form *impulse, double amplitude,
                                  newton_form *out)
{
    const double complex scale = s->p * amplitude;
    for (size_t k = 0; k < s->n; k++)
        out->difference[k] =
            scale * ((1 + s->zero[k]) * impulse->difference[k] + (k > 0 ? impulse->difference[k - 1] : 0));
    for (size_t h = 0; h + 1 < s->n; h++) {
        out->q[h] = scale * ((1 + s->peak[h]) * impulse->q[h] + impulse->difference[s->n - 1]);
        out->slope[h] = scale * (impulse->q[h] + (1 + s->peak[h]) * impulse->slope[h]);
    }
}

static void put_impulses(const hump_state *s, const series *empty, const double *x)
{
    const hump_problem *problem = s->problem;
    const size_t last = hump_time_at(problem, problem->impulses - 1);
    for (size_t i = 0; i < problem->impulses; i++) {
        newton_form impulse, by_time;
        expand_impulse(s, empty, s->angle[i], &impulse);
        if (problem->fixed == NULL) {
            *entry(s, 0, i) = 1;
            add_column(s, &impulse, i);
        }
        if (i == 0)
            continue;
        differentiate_by_time(s, &impulse, hump_amplitude(problem, x, i), &by_time);
        add_column(s, &by_time, hump_time_at(problem, i));
    }
    for (size_t h = 0; h + 1 < s->n; h++) { /* the decay until the last impulse */
        *entry(s, height_row(s, h), last) -= s->problem->damping_ratio * (1 + s->peak[h]);
        *entry(s, height_row(s, h) + 1, last) -= s->problem->spacing * s->problem->damping_ratio;
    }
}

/* By the place of zero k: a confluent divided difference, that is, the quotient divided by (x - z_k) once more. */
static void put_zero(const hump_state *s, const series *divided, size_t k, newton_form *d)
{
    const double spacing = s->problem->spacing;
    const size_t column = hump_zero_at(s->problem, k);
    series again = *divided;
    quell_series_divide(&again, s->n, s->zero[k]);
    for (size_t h = 0; h + 1 < s->n; h++) {
        series_jet jet = quell_series_jet(&again, s->n + 1, s->peak[h]);
        d->q[h] = spacing * jet.value;
        d->slope[h] = spacing * jet.slope;
    }
    add_column(s, d, column);
    for (size_t h = 0; h + 1 < s->n; h++) {
        double ratio = spacing / (s->peak[h] - s->zero[k]);
        *entry(s, height_row(s, h), column) -= ratio;
        *entry(s, height_row(s, h) + 1, column) += ratio * ratio;
    }
}

/* ln(residual / V) and its derivative at each hump, and their derivatives by the hump's own place. */
static void put_peaks(const hump_state *s)
{
    const double spacing = s->problem->spacing, zeta = s->problem->damping_ratio,
                 decay = zeta * s->angle[s->problem->impulses - 1];
    for (size_t h = 0; h + 1 < s->n; h++) {
        double height = log(cabs(s->q[h])) - decay * (1 + s->peak[h]) - log(s->problem->tolerance);
        double slope = creal(s->q_slope[h] / s->q[h]) - decay, curvature = s->q_log_curvature[h];
        for (size_t k = 0; k < s->n; k++) {
            double gap = s->peak[h] - s->zero[k];
            height += log(fabs(gap));
            slope += 1 / gap;
            curvature -= 1 / (gap * gap);
        }
        const size_t row = height_row(s, h), column = hump_peak_at(s->problem, h);
        s->f[row] = height;
        s->f[row + 1] = spacing * slope;
        *entry(s, row, column) += spacing * slope;
        *entry(s, row + 1, column) += spacing * spacing * curvature;
    }
}

/* The middle zero (n odd) or the middle hump (n even) is at the design mode. EI's hump there need not be
   stationary: in place of that its last impulse comes after exactly one damped period. */
static void put_anchor(const hump_state *s, const double *x)
{
    const hump_problem *problem = s->problem;
    const size_t n = s->n, anchor = s->size - 1, row = height_row(s, 0) + 1,
                 last = hump_time_at(problem, problem->impulses - 1);
    const size_t middle = n % 2 == 1 ? hump_zero_at(problem, n / 2) : hump_peak_at(problem, n / 2 - 1);
    s->f[anchor] = x[middle];
    *entry(s, anchor, middle) = 1;
    if (!s->problem->last_at_period)
        return;
    memset(entry(s, row, 0), 0, s->size * sizeof *s->jacobian);
    s->f[row] = x[last] - QUELL_TAU / cimag(s->p);
    *entry(s, row, last) = 1;
}

/* Newton's form of the whole: its divided differences are equations; moved[k] collects their derivatives by zero k.
   False if Q vanishes at a hump. */
static bool expand_sum(hump_state *s, series *sum, newton_form moved[HUMP_ZEROS_MAX])
{
    for (size_t i = 0; i < s->n; i++) {
        quell_series_divide(sum, i, s->zero[i]);
        s->f[zero_row(s, i)] = sum->re[i];
        s->f[zero_row(s, i) + 1] = sum->im[i];
        for (size_t k = 0; k < s->n; k++)
            moved[k].difference[i] =
                k > i ? 0 : s->problem->spacing * quell_series_value(sum, i + 1, s->zero[k]);
    }
    for (size_t h = 0; h + 1 < s->n; h++) {
        series_jet jet = quell_series_jet(sum, s->n, s->peak[h]);
        if (!(cabs(jet.value) > 0))
            return false;
        double complex relative = jet.slope / jet.value;
        s->q[h] = jet.value;
        s->q_slope[h] = jet.slope;
        s->q_log_curvature[h] = creal(2 * jet.half_curvature / jet.value - relative * relative);
    }
    return true;
}

bool quell_hump_evaluate(const void *problem, const double *x, double *f, double *jacobian)
{
    hump_state s;
    unpack(&s, problem, x);
    s.f = f;
    s.jacobian = jacobian;
    memset(jacobian, 0, s.size * s.size * sizeof *jacobian);
    series empty, sum;
    if (!start_series(&s, &empty))
        return false;
    sum = empty;
    double amplitudes = -1;
    for (size_t i = 0; i < s.problem->impulses; i++) {
        const double amplitude = hump_amplitude(s.problem, x, i);
        quell_series_add(&sum, s.p, s.angle[i], amplitude);
        amplitudes += amplitude;
    }
    if (s.problem->fixed == NULL)
        f[0] = amplitudes;
    newton_form moved[HUMP_ZEROS_MAX];
    if (!expand_sum(&s, &sum, moved))
        return false;
    put_impulses(&s, &empty, x);
    for (size_t k = 0; k < s.n; k++)
        put_zero(&s, &sum, k, &moved[k]);
    put_peaks(&s);
    put_anchor(&s, x);
    for (size_t i = 0; i < s.size; i++)
        if (!isfinite(f[i]))
            return false;
    return true;
}

/* Zeros and humps alternate; none may move by more than 40 % of the distance between two neighbours. */
double quell_hump_trust(const void *given, const double *x, const double *step)
{
    const hump_problem *problem = given;
    double share = 1;
    for (size_t h = 0; h + 1 < problem->zeros; h++) {
        const size_t peak = hump_peak_at(problem, h), below = hump_zero_at(problem, h), above = below + 1;
        double gap = fmin(fabs(x[peak] - x[below]), fabs(x[above] - x[peak]));
        double most = fmax(fabs(step[peak]), fmax(fabs(step[below]), fabs(step[above])));
        if (most > 0.4 * gap)
            share = fmin(share, 0.4 * gap / most);
    }
    return share;
}
