/* Is what was taken for a mode a line that moves with speed, such as belt teeth or motor steps make?

   The velocity is integrated from the acceleration, and the runs at constant speed are cut out and grouped by speed. A
   line of wavelength l stands at v / l: at the mode's frequency f in the runs of one speed u, so l = u / f. It is one
   if it stands out there, stands out at v u / f of every other speed v as well, and does not stand at f there, where a
   mode would ring on. All three are asked for, of two speeds at least, so a mode is not taken for a line.

   Only runs at constant speed can tell. In a sweep no speed lasts; a line of a fixed ratio to the sweep's frequency
   passes every frequency alike and makes no peak. */
#include "modes_private.h"

#include <math.h>
#include <stdlib.h>

#define STEADY 0.03      /* of the speed, within a run */
#define SPEED_APART 0.1  /* between groups, of the speed */
#define SPEED_TELLS 0.25 /* how far from its own another speed must be, to part a line from a mode's skirts */
#define SPEED_LEAST_MPS 0.003
#define RUN_LEAST_S 0.15
#define CYCLES_LEAST 6.0 /* of the mode in a run */
#define STANDS_OUT 6.0   /* density over its surroundings */
#define GONE 0.25        /* density at f at another speed, of that at its own */
#define SEARCH 0.02      /* how far a line may be off, of its frequency */
#define REST_S 1.0       /* looked at before and after the stretch */
#define RATE_MOST 0.35   /* of the rate: lines beyond cannot be seen */
#define TO_MM 1e3

enum { RUNS_MOST = 96, GROUPS_MOST = 8, RUNS_OF_GROUP = 3, SEARCH_STEPS = 4 };

typedef struct run {
    size_t first, count;
    double speed_mps;
    size_t group;
} run;

typedef struct runs {
    size_t count, groups;
    run run[RUNS_MOST];
    double speed_mps[GROUPS_MOST];
} runs;

/* ---------------------------------------------------------------- runs at constant speed */

/* Velocity of samples first..end - 1, averaged over `smooth` of them so that ringing does not show. velocity and
   scratch: end - first values each. */
static void integrate(const double *sample, size_t first, size_t end, double rate_hz, size_t smooth,
                      double *velocity, double *scratch)
{
    size_t n = end - first;
    double mean = 0, sum = 0;
    for (size_t i = 0; i < n; i++)
        mean += sample[first + i] / (double)n;
    for (size_t i = 0; i < n; i++)
        scratch[i] = sum += (sample[first + i] - mean) / rate_hz;
    sum = 0;
    for (size_t i = 0; i < n; i++) {
        sum += scratch[i] - (i >= smooth ? scratch[i - smooth] : 0);
        velocity[i >= smooth / 2 ? i - smooth / 2 : 0] = sum / (double)smooth;
    }
    for (size_t i = n - (smooth / 2 < n ? smooth / 2 : n); i < n; i++)
        velocity[i] = 0;
}

static int by_speed(const void *a, const void *b)
{
    const run *x = a, *y = b;
    if (x->speed_mps != y->speed_mps)
        return x->speed_mps < y->speed_mps ? -1 : 1;
    return (x->first > y->first) - (x->first < y->first);
}

static void find_runs(runs *out, const double *velocity, size_t n, size_t least)
{
    for (size_t i = 0; i < n && out->count < RUNS_MOST;) {
        double sum = 0, mean = velocity[i];
        size_t j = i;
        for (; j < n && fabs(velocity[j] - mean) <= STEADY * fabs(mean); j++) {
            sum += velocity[j];
            mean = sum / (double)(j - i + 1);
        }
        if (j - i >= least && fabs(mean) > SPEED_LEAST_MPS)
            out->run[out->count++] = (run){.first = i, .count = j - i, .speed_mps = fabs(mean)};
        i = j - i >= least ? j : i + 1 + least / 64;
    }
}

static void group(runs *in)
{
    qsort(in->run, in->count, sizeof in->run[0], by_speed);
    for (size_t i = 0; i < in->count && in->groups < GROUPS_MOST;) {
        size_t j = i;
        double sum = 0;
        for (; j < in->count && in->run[j].speed_mps <= in->run[i].speed_mps * (1 + SPEED_APART); j++) {
            sum += in->run[j].speed_mps;
            in->run[j].group = in->groups;
        }
        if (j - i >= RUNS_OF_GROUP)
            in->speed_mps[in->groups++] = sum / (double)(j - i);
        else
            for (size_t k = i; k < j; k++)
                in->run[k].group = GROUPS_MOST; /* too few to judge by */
        i = j;
    }
}

/* ---------------------------------------------------------------- what stands at a frequency */

/* Density, but for a factor, of a run at hz, through a Hann window. */
static double density_at(const double *sample, size_t n, double cycles_per_sample)
{
    const double complex j = I, by = cexp(-j * (QUELL_TAU * cycles_per_sample)),
                         window_by = cexp(j * (QUELL_TAU / (double)n));
    double complex at = 1, window_at = 1, sum = 0;
    for (size_t i = 0; i < n; i++) {
        sum += sample[i] * (1 - creal(window_at)) * at;
        at *= by;
        window_at *= window_by;
    }
    return creal(sum * conj(sum)) / (double)n;
}

typedef struct standing {
    double density, around, hz; /* mean over the runs; hz: where it is highest */
} standing;

/* What the runs of one group have within SEARCH of hz, and 3 to 5 bins away from there on either side. */
static standing look(const runs *in, size_t of_group, const double *sample, double rate_hz, double hz)
{
    standing out = {.hz = hz};
    double best[2 * SEARCH_STEPS + 1] = {0}, around = 0, n = 0;
    for (size_t r = 0; r < in->count; r++) {
        const run *at = &in->run[r];
        if (at->group != of_group)
            continue;
        double bin_hz = rate_hz / (double)at->count;
        const double *from = sample + at->first;
        for (int s = -SEARCH_STEPS; s <= SEARCH_STEPS; s++)
            best[s + SEARCH_STEPS] +=
                density_at(from, at->count, hz * (1 + SEARCH * s / SEARCH_STEPS) / rate_hz);
        for (int s = 3; s <= 5; s++)
            around += (density_at(from, at->count, (hz + s * bin_hz) / rate_hz) +
                       density_at(from, at->count, fmax(hz - s * bin_hz, 0) / rate_hz)) /
                      6;
        n++;
    }
    for (int s = 0; s <= 2 * SEARCH_STEPS; s++)
        if (best[s] / n > out.density) {
            out.density = best[s] / n;
            out.hz = hz * (1 + SEARCH * (s - SEARCH_STEPS) / SEARCH_STEPS);
        }
    out.around = around / n;
    return out;
}

static bool stands_out(const standing *what)
{
    return what->density > STANDS_OUT * what->around;
}

/* ---------------------------------------------------------------- the doubt */

/* The sentence if the mode's frequency belongs to the speed of group `own`. */
static const char *judge_group(quell_doubter *in, const quell_mode *mode, const runs *found, size_t own,
                               const double *sample)
{
    double rate_hz = in->recording->rate_hz, f = mode->frequency_hz, u = found->speed_mps[own];
    standing here = look(found, own, sample, rate_hz, f), far = {0};
    size_t seen = 0, other = 0;
    if (!stands_out(&here))
        return NULL;
    for (size_t g = 0; g < found->groups; g++) {
        double line_hz = here.hz * found->speed_mps[g] / u;
        if (fabs(log(found->speed_mps[g] / u)) < SPEED_TELLS || line_hz > RATE_MOST * rate_hz)
            continue;
        standing moved = look(found, g, sample, rate_hz, line_hz);
        standing stayed = look(found, g, sample, rate_hz, f);
        if (!stands_out(&moved) || stayed.density > GONE * here.density)
            return NULL;
        if (moved.density > far.density) {
            far = moved;
            other = g;
        }
        seen++;
    }
    if (seen == 0)
        return NULL;
    return quell_doubt_print(in,
                             "not a mode but a line that moves with speed: %s Hz at %s mm/s, %s Hz at %s "
                             "mm/s, a cycle every %s mm: "
                             "belt teeth or motor steps? check the pulleys' teeth and the motor's current",
                             quell_number_fixed(here.hz, 1).text, quell_number_fixed(u * TO_MM, 0).text,
                             quell_number_fixed(far.hz, 1).text,
                             quell_number_fixed(found->speed_mps[other] * TO_MM, 0).text,
                             quell_number_short(u / here.hz * TO_MM, 2).text);
}

static bool broken(const quell_recording *recording, size_t first, size_t end)
{
    for (size_t b = 0; b < recording->break_count; b++)
        if (recording->break_at[b] > first && recording->break_at[b] < end)
            return true;
    return false;
}

const char *quell_doubt_speed(quell_doubter *in, const quell_mode *mode)
{
    const quell_recording *recording = in->recording;
    if (recording == NULL || in->shaking == NULL || recording->accel_mps2[in->axis] == NULL ||
        recording->accel_mps2[mode->seen_on] == NULL || in->shaking->kind == QUELL_EXCITE_SWEEP ||
        in->shaking->kind == QUELL_EXCITE_AMBIENT)
        return NULL;
    size_t rest = (size_t)(REST_S * recording->rate_hz);
    size_t first = in->first > rest ? in->first - rest : 0,
           end = in->end + rest < recording->samples ? in->end + rest : recording->samples, n = end - first;
    if (broken(recording, first, end))
        return NULL;
    double least_s = fmax(RUN_LEAST_S, CYCLES_LEAST / mode->frequency_hz);
    size_t smooth = (size_t)fmax(recording->rate_hz / mode->frequency_hz, 1);
    double *velocity = quell_memory_get(n * sizeof *velocity),
           *scratch = quell_memory_get(n * sizeof *scratch);
    const char *text = NULL;
    if (velocity == NULL || scratch == NULL) {
        in->failed = true;
    } else {
        runs found = {0};
        integrate(recording->accel_mps2[in->axis], first, end, recording->rate_hz, smooth, velocity, scratch);
        find_runs(&found, velocity, n, (size_t)(least_s * recording->rate_hz));
        group(&found);
        for (size_t g = 0; text == NULL && found.groups > 1 && g < found.groups; g++)
            text = judge_group(in, mode, &found, g, recording->accel_mps2[mode->seen_on] + first);
    }
    quell_memory_free(velocity);
    quell_memory_free(scratch);
    return text;
}
