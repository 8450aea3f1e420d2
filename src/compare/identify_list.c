/* Lists of impulses fitted to a ratio: amplitudes and times free, the sum 1, the first time 0. A density does not tell a list from the
   same one backwards, nor from others with the same autocorrelation.

   Weighted Gauss-Newton steps, damped (Levenberg, Marquardt), on r = ln(measured / predicted) with the weights of Student's t;
   d|H|^2/dA_i = 2 Re(conj(H) e_i) and d|H|^2/dt_i = 2 Re(conj(H) A_i (-j w) e_i), e_i = exp(-j w t_i). */
#include "compare/identify_private.h"

#include <math.h>
#include <string.h>

enum { STEPS_MOST = 30, INSERTIONS = 14, KEPT = 5, GRID_MOST = 40 };

#define APART_S 2e-4 /* impulses nearer than this are one */

static const double complex j = (double complex)I;

typedef struct jacobian {
    double *power[FIT_FREE_MOST]; /* of |H|^2 on the grid */
    double *row[FIT_FREE_MOST];   /* of the signal at the bins */
} jacobian;

static jacobian jacobian_in(const fit_work *work)
{
    jacobian out;
    const quell_ratio *ratio = work->ratio;
    for (size_t p = 0; p < FIT_FREE_MOST; p++) {
        out.power[p] = work->slopes + p * (ratio->grid + ratio->bins);
        out.row[p] = out.power[p] + ratio->grid;
    }
    return out;
}

/* Free are the amplitudes of all but the first, then their times. */
static void differentiate(const quell_ratio *ratio, const quell_shaper *list, const jacobian *out)
{
    size_t n = list->count;
    double complex e[FIT_LIST_MOST], step[FIT_LIST_MOST];
    for (size_t i = 0; i < n; i++) {
        e[i] = cexp(-j * QUELL_TAU * ratio->grid_low_hz * list->time_s[i]);
        step[i] = cexp(-j * QUELL_TAU * ratio->grid_step_hz * list->time_s[i]);
    }
    for (size_t k = 0; k < ratio->grid; k++) {
        double w = QUELL_TAU * (ratio->grid_low_hz + (double)k * ratio->grid_step_hz), re = 0, im = 0;
        for (size_t i = 0; i < n; i++) {
            re += list->amplitude[i] * creal(e[i]);
            im += list->amplitude[i] * cimag(e[i]);
        }
        for (size_t i = 1; i < n; i++) { /* Re(conj(H) z) = re Re z + im Im z; -j e = Im e - j Re e */
            out->power[i - 1][k] = 2 * (re * (creal(e[i]) - creal(e[0])) + im * (cimag(e[i]) - cimag(e[0])));
            out->power[n - 2 + i][k] = 2 * w * list->amplitude[i] * (re * cimag(e[i]) - im * creal(e[i]));
        }
        for (size_t i = 0; i < n; i++) {
            double c = creal(e[i]), s = cimag(e[i]), a = creal(step[i]), b = cimag(step[i]);
            e[i] = (c * a - s * b) + j * (c * b + s * a);
        }
    }
    for (size_t p = 0; p < 2 * (n - 1); p++)
        ratio_smear(ratio, out->power[p], out->row[p]);
}

/* Normal equations of one step; the last unknown is the gain. */
static void normal_equations(const fit_work *work, const jacobian *of, size_t free, double gain, double *matrix, double *right)
{
    size_t n = free + 1;
    memset(matrix, 0, n * n * sizeof *matrix);
    memset(right, 0, n * sizeof *right);
    for (size_t i = 0; i < work->ratio->bins; i++) {
        double variance, residual = fit_residual(work, i, gain, &variance), slope[FIT_FREE_MOST + 1];
        double weight = 6 / (5 * variance + residual * residual), signal = fmax(work->signal[i], 1e-12);
        double whole = gain * signal + work->ratio->noise[i] + work->offset;
        for (size_t p = 0; p < free; p++)
            slope[p] = gain * of->row[p][i] / whole;
        slope[free] = gain * signal / whole;
        for (size_t p = 0; p < n; p++) {
            right[p] += weight * slope[p] * residual;
            for (size_t q = 0; q < n; q++)
                matrix[p * n + q] += weight * slope[p] * slope[q];
        }
    }
}

static bool step_list(const quell_shaper *from, const double *change, quell_shaper *out)
{
    *out = *from;
    size_t n = from->count;
    double rest = 1;
    for (size_t i = 1; i < n; i++) {
        out->amplitude[i] += change[i - 1];
        out->time_s[i] += change[n - 2 + i];
        rest -= out->amplitude[i];
        if (!(fabs(out->amplitude[i]) < 3) || !(out->time_s[i] < 1))
            return false;
    }
    out->amplitude[0] = rest;
    for (size_t i = 1; i < n; i++)
        if (!(out->time_s[i] > out->time_s[i - 1] + APART_S))
            return false;
    return fabs(rest) < 3;
}

double fit_list_improve(fit_work *work, quell_shaper *list, double *gain_ln)
{
    const jacobian of = jacobian_in(work);
    double least = fit_deviance(work, list, gain_ln), damping = 1e-2;
    size_t free = 2 * (list->count - 1), n = free + 1;
    if (free == 0 || free > FIT_FREE_MOST)
        return least;
    for (size_t step = 0; step < STEPS_MOST && damping < 1e6; step++) {
        double matrix[(FIT_FREE_MOST + 1) * (FIT_FREE_MOST + 1)], right[FIT_FREE_MOST + 1], change[FIT_FREE_MOST + 1];
        differentiate(work->ratio, list, &of);
        normal_equations(work, &of, free, exp(*gain_ln), matrix, right);
        double before = least;
        for (; damping < 1e6; damping *= 8) {
            double damped[(FIT_FREE_MOST + 1) * (FIT_FREE_MOST + 1)];
            memcpy(damped, matrix, sizeof damped);
            for (size_t p = 0; p < n; p++)
                damped[p * n + p] *= 1 + damping;
            quell_shaper tried;
            double gain = *gain_ln;
            if (!quell_linear_solve(damped, right, change, n) || !step_list(list, change, &tried))
                continue;
            double deviance = fit_deviance(work, &tried, &gain);
            if (deviance < least) {
                least = deviance;
                *list = tried;
                *gain_ln = gain;
                damping = fmax(damping / 8, 1e-7);
                break;
            }
        }
        if (before - least < 1e-4)
            break;
        fit_deviance(work, list, gain_ln);
    }
    return fit_deviance(work, list, gain_ln);
}

/* An impulse more: its amplitude is small, or half of the last one's. */
static bool insert(const quell_shaper *from, double time_s, double amplitude, quell_shaper *out)
{
    size_t place = 0;
    while (place < from->count && from->time_s[place] < time_s)
        place++;
    *out = *from;
    out->count = from->count + 1;
    for (size_t i = from->count; i > place; i--) {
        out->amplitude[i] = from->amplitude[i - 1];
        out->time_s[i] = from->time_s[i - 1];
    }
    out->amplitude[place] = amplitude;
    out->time_s[place] = time_s;
    for (size_t i = 0; i < out->count; i++)
        out->amplitude[i] /= 1 + amplitude;
    for (size_t i = 1; i < out->count; i++)
        if (out->time_s[i] - out->time_s[i - 1] < 2 * APART_S)
            return false;
    out->family = NULL;
    return true;
}

bool fit_list_without(const quell_shaper *from, size_t without, quell_shaper *out)
{
    double rest = 1 - from->amplitude[without];
    if (fabs(rest) < 0.1)
        return false;
    *out = (quell_shaper){.count = from->count - 1};
    size_t first = without == 0;
    for (size_t i = 0, k = 0; i < from->count; i++)
        if (i != without) {
            out->amplitude[k] = from->amplitude[i] / rest;
            out->time_s[k++] = from->time_s[i] - from->time_s[first];
        }
    return true;
}

typedef struct start {
    double deviance, gain_ln;
    quell_shaper list;
} start;

/* Keeps the best few, best first. */
static void keep(start best[KEPT], const quell_shaper *list, double deviance, double gain_ln)
{
    size_t at = KEPT;
    while (at > 0 && deviance < best[at - 1].deviance)
        at--;
    if (at == KEPT)
        return;
    for (size_t i = KEPT - 1; i > at; i--)
        best[i] = best[i - 1];
    best[at] = (start){deviance, gain_ln, *list};
}

/* Two and three impulses on a grid of times, fine enough for the highest frequency: what they are started from. */
static void keep_grid(fit_work *work, size_t count, start best[KEPT])
{
    static const double amplitudes[2][2] = {{1.0 / 3, 1.0 / 3}, {0.25, 0.25}};
    const quell_ratio *ratio = work->ratio;
    double high_hz = ratio->frequency_hz[ratio->bins - 1], low_hz = fmax(ratio->frequency_hz[0], high_hz / 20), gain_ln = 0;
    double last_s = 0.8 / low_hz, step_s = fmax(0.4 / high_hz, last_s / GRID_MOST);
    for (double a = step_s; a < last_s; a += step_s)
        for (double b = count == 3 ? a + step_s : last_s; b < last_s + step_s / 2; b += step_s)
            for (size_t k = 0; k < 2; k++) {
                const double *share = amplitudes[k];
                quell_shaper list = {
                    .count = count, .amplitude = {1 - share[0] - share[1], share[0], share[1]}, .time_s = {0, a, b}};
                if (count == 2)
                    list.amplitude[0] = 1 - share[0];
                keep(best, &list, fit_deviance(work, &list, &gain_ln), gain_ln);
            }
}

double fit_list_best(fit_work *work, size_t count, const quell_shaper *seed, size_t seeds, const quell_shaper *smaller,
                     quell_shaper *out, double *gain_ln)
{
    start best[KEPT];
    for (size_t i = 0; i < KEPT; i++)
        best[i].deviance = HUGE_VAL;
    double gain = 0;
    for (size_t s = 0; s < seeds; s++)
        if (seed[s].count == count) {
            quell_shaper list = seed[s];
            list.family = NULL;
            keep(best, &list, fit_deviance(work, &list, &gain), gain);
        }
    double last_s =
        smaller->count > 1 ? smaller->time_s[smaller->count - 1] : 0.5 / work->ratio->frequency_hz[work->ratio->bins / 2];
    for (size_t i = 1; i <= INSERTIONS; i++) {
        static const double amplitudes[] = {0.3, -0.2};
        for (size_t a = 0; a < 2; a++) {
            quell_shaper list;
            if (insert(smaller, last_s * 2.2 * (double)i / INSERTIONS, amplitudes[a], &list))
                keep(best, &list, fit_deviance(work, &list, &gain), gain);
        }
    }
    if (count <= 3)
        keep_grid(work, count, best);
    double least = HUGE_VAL;
    for (size_t i = 0; i < KEPT && isfinite(best[i].deviance); i++) {
        double deviance = fit_list_improve(work, &best[i].list, &best[i].gain_ln);
        if (deviance < least) {
            least = deviance;
            *out = best[i].list;
            *gain_ln = best[i].gain_ln;
        }
    }
    return least;
}
