/* A handful of impulses out of many: those next to each other are made one, then amplitudes and times are improved together by
   a sequence of linear programs, each trusted within a small step. */
#include "shaping/tailor_private.h"

#include <math.h>
#include <string.h>

enum { STEPS_MOST = 40, UNKNOWNS_MOST = 2 * QUELL_SHAPER_MAX + QUELL_TAILOR_BANDS_MAX };
enum { IMPULSES_MOST = 24 }; /* that are polished: more are left as they are */

#define FIRST_STEP 0.01   /* of the duration, and of the sum of amplitudes */
#define LAST_STEP 1e-7
#define WORTH_A_ROW 0.5   /* of the band's worst: lower maxima cannot become it in one step */
#define CARRIES 1e-4      /* amplitude below which an impulse is none */

void tailor_merge(quell_shaper *shaper, double apart)
{
    quell_shaper made = {.count = 0};
    double duration_s = shaper->time_s[shaper->count - 1], before_s = -HUGE_VAL;
    for (size_t i = 0; i < shaper->count; i++) {
        double amplitude = shaper->amplitude[i], t = shaper->time_s[i];
        bool same = made.count > 0 && t - before_s <= apart * duration_s;
        if (!same) {
            made.amplitude[made.count] = 0;
            made.time_s[made.count++] = t;
        }
        size_t last = made.count - 1;
        double sum = made.amplitude[last] + amplitude;
        if (sum > 0)
            made.time_s[last] += (t - made.time_s[last]) * amplitude / sum;
        made.amplitude[last] = sum;
        before_s = t;
    }
    made.time_s[0] = 0;
    made.time_s[made.count - 1] = duration_s;
    quell_shaper kept = {.count = 0};
    double sum = 0;
    for (size_t i = 0; i < made.count; i++) {
        bool end = i == 0 || i + 1 == made.count;
        if (!end && made.amplitude[i] < CARRIES)
            continue;
        kept.time_s[kept.count] = made.time_s[i];
        sum += kept.amplitude[kept.count++] = made.amplitude[i];
    }
    for (size_t i = 0; i < kept.count; i++)
        kept.amplitude[i] /= sum;
    *shaper = kept;
}

/* ---------------------------------------------------------------- one step */

typedef struct polish {
    const quell_bands *bands;
    demand_list list;
    double entry[(DEMANDS_MOST + 1) * UNKNOWNS_MOST], bound[DEMANDS_MOST + 1];
    double cost[UNKNOWNS_MOST], low[UNKNOWNS_MOST], high[UNKNOWNS_MOST], x[UNKNOWNS_MOST];
    lp_kind kind[DEMANDS_MOST + 1];
} polish;

/* How what a demand asks about changes with amplitude i and with time i. */
static double set_row(const demand *of, const quell_shaper *shaper, double *by_amplitude, double *by_time)
{
    size_t n = shaper->count;
    double w = QUELL_TAU * of->hz, wd = w * sqrt(1 - of->zeta * of->zeta), decay = of->zeta * w;
    double last_s = shaper->time_s[n - 1];
    double complex left = quell_residual_phasor(shaper, of->hz, of->zeta), s = decay + (double complex)I * wd;
    double size = cabs(left);
    double complex turn = size > 0 ? conj(left) / size : 1;
    for (size_t i = 0; i < n; i++) {
        double complex g = turn * exp(decay * (shaper->time_s[i] - last_s)) * cexp((double complex)I * wd * shaper->time_s[i]);
        by_amplitude[i] = creal(g);
        by_time[i] = creal(g * s) * shaper->amplitude[i];
    }
    return size;
}

/* Unknowns: changes of the amplitudes, of the times in durations, and the new s of each band (or of all). */
static void set_up(polish *work, const quell_shaper *shaper, double step, lp_problem *out)
{
    const quell_bands *bands = work->bands;
    size_t n = shaper->count, slacks = bands->weighted ? bands->count : 1, columns = 2 * n + slacks;
    double duration_s = shaper->time_s[n - 1];
    *out = (lp_problem){.rows = work->list.count + 1, .columns = columns, .cost = work->cost, .entry = work->entry,
                        .bound = work->bound, .kind = work->kind, .low = work->low, .high = work->high};
    memset(work->entry, 0, out->rows * columns * sizeof *work->entry);
    for (size_t i = 0; i < n; i++) {
        bool end = i == 0 || i + 1 == n;
        work->cost[i] = work->cost[n + i] = 0;
        work->low[i] = -fmin(step, shaper->amplitude[i]);
        work->high[i] = step;
        work->low[n + i] = end ? 0 : -fmin(step, (shaper->time_s[i] - shaper->time_s[i - 1]) / duration_s / 3);
        work->high[n + i] = end ? 0 : fmin(step, (shaper->time_s[i + 1] - shaper->time_s[i]) / duration_s / 3);
        work->entry[work->list.count * columns + i] = 1;
    }
    for (size_t k = 0; k < slacks; k++) {
        work->cost[2 * n + k] = bands->weighted ? bands->band[k].weight : 1;
        work->low[2 * n + k] = 0;
        work->high[2 * n + k] = HUGE_VAL;
    }
    work->bound[work->list.count] = 0;
    work->kind[work->list.count] = LP_EQUAL;
    for (size_t j = 0; j < work->list.count; j++) {
        double *row = work->entry + j * columns;
        work->bound[j] = -set_row(&work->list.demand[j], shaper, row, row + n);
        for (size_t i = 0; i < n; i++)
            row[n + i] *= duration_s;
        row[2 * n + (bands->weighted ? work->list.demand[j].band : 0)] = -1;
        work->kind[j] = LP_AT_MOST;
    }
}

static void apply(quell_shaper *shaper, const double *x)
{
    size_t n = shaper->count;
    double duration_s = shaper->time_s[n - 1], sum = 0;
    for (size_t i = 0; i < n; i++) {
        sum += shaper->amplitude[i] = fmax(shaper->amplitude[i] + x[i], 0);
        shaper->time_s[i] += x[n + i] * duration_s;
    }
    for (size_t i = 0; i < n; i++)
        shaper->amplitude[i] /= sum;
}

double tailor_polish(quell_shaper *shaper, const quell_bands *bands)
{
    polish *work = quell_memory_get(sizeof *work);
    if (work == NULL)
        return (double)NAN;
    if (shaper->count > IMPULSES_MOST) {
        quell_memory_free(work);
        return quell_bands_residual(bands, shaper);
    }
    work->bands = bands;
    double residual = demands_list(&work->list, bands, shaper, WORTH_A_ROW), step = FIRST_STEP;
    for (size_t i = 0; i < STEPS_MOST && step > LAST_STEP; i++) {
        lp_problem problem;
        double least;
        set_up(work, shaper, step, &problem);
        if (!lp_solve(&problem, work->x, NULL, &least))
            break;
        quell_shaper moved = *shaper;
        apply(&moved, work->x);
        double reached = quell_bands_residual(bands, &moved);
        if (reached < residual) {
            double gained = residual - reached, promised = residual - least;
            *shaper = moved;
            residual = demands_list(&work->list, bands, shaper, WORTH_A_ROW);
            step *= gained > 0.75 * promised ? 2 : gained < 0.25 * promised ? 0.5 : 1;
            if (gained < 1e-9)
                break;
        } else {
            step /= 4;
        }
    }
    quell_memory_free(work);
    return residual;
}
