/* Does what shakes the machine come in bursts with pauses, as strokes do, or all the time, as random motion does? By the
   level, and, since a machine may ring on for longer than it pauses, by the level without ringing: each sample less what
   those before it foretell (linear prediction; N. Levinson, J. Math. and Phys. 25, 1947, and J. Durbin, Rev. Inst. Int.
   Stat. 28, 1960, from memory) is what came in at that moment. Noise hides more of that. */
#include "modes_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#define WORKING_HZ                                                                                           \
    200.0 /* faster recordings are averaged to about this: a slow mode passes on little of fast changes */
#define WINDOW_S 0.05 /* of a level */
#define LOUD 0.5      /* of the level above which half of all energy came in */
#define PAUSE 0.15    /* of it, or less ... */
#define PAUSE_WITHOUT                                                                                        \
    0.35 /* ... and without ringing, where random motion has 10 independent values a window: 1 in 1000 is so quiet */
#define BURST_MOST_S 3.0 /* what goes on for longer is no burst, whatever comes before and after it */
#define FLOOR 1e-6       /* of the variance: keeps the prediction well-behaved */

enum { ORDER = 12, WINDOW_SAMPLES_LEAST = 8 };

/* Prediction from ORDER samples before: value[i] ~ sum of weight[j] * value[i - 1 - j]. */
static void predictor(const double *value, size_t n, double weight[ORDER])
{
    double covariance[ORDER + 1], left, next[ORDER];
    for (size_t lag = 0; lag <= ORDER; lag++)
        covariance[lag] = n > lag ? quell_dot(value, value + lag, n - lag) : 0;
    left = covariance[0] *= 1 + FLOOR;
    for (size_t m = 0; m < ORDER; m++) {
        double sum = covariance[m + 1];
        for (size_t j = 0; j < m; j++)
            sum -= weight[j] * covariance[m - j];
        double reflected = left > 0 ? sum / left : 0;
        for (size_t j = 0; j < m; j++)
            next[j] = weight[j] - reflected * weight[m - 1 - j];
        for (size_t j = 0; j < m; j++)
            weight[j] = next[j];
        weight[m] = reflected;
        left *= 1 - reflected * reflected;
    }
}

typedef struct series {
    size_t n, window, count;   /* samples; those of a window; windows */
    double *value, *energy[2]; /* with and without ringing */
} series;

/* Means of `step` samples each, less the mean of all. */
static void average(const double *sample, size_t step, double *out, size_t n)
{
    double mean = 0;
    for (size_t i = 0; i < n; i++) {
        double sum = 0;
        for (size_t k = 0; k < step; k++)
            sum += sample[i * step + k];
        out[i] = sum / (double)step;
        mean += out[i] / (double)n;
    }
    for (size_t i = 0; i < n; i++)
        out[i] -= mean;
}

/* Adds an axis' energy to that of the windows. */
static void add_axis(const series *to)
{
    double weight[ORDER];
    const double *value = to->value;
    predictor(value, to->n, weight);
    for (size_t i = 0; i < to->window * to->count; i++) {
        double off = value[i];
        for (size_t j = 0; j < ORDER && i >= ORDER; j++)
            off -= weight[j] * value[i - 1 - j];
        to->energy[0][i / to->window] += value[i] * value[i];
        to->energy[1][i / to->window] += i >= ORDER ? off * off : 0;
    }
}

/* The energy of the window above which half of all energy is. */
static double half_of_all(const double *energy, size_t count, double *sorted)
{
    double all = 0, sum = 0;
    for (size_t j = 0; j < count; j++) {
        sorted[j] = energy[j];
        all += energy[j];
    }
    gsl_sort(sorted, 1, count);
    size_t j = count;
    while (j > 1 && sum < all / 2)
        sum += sorted[--j];
    return sorted[j];
}

/* first and end: windows. most: of a burst. */
static quell_bursts count_bursts(const double *energy, size_t count, double half, double quiet, size_t most)
{
    quell_bursts out = {.first = 0};
    bool paused = true;
    size_t pauses = 0, run = 0, longest = 0;
    for (size_t j = 0; j < count; j++) {
        bool loud = energy[j] > LOUD * LOUD * half, pause = energy[j] < quiet * quiet * half;
        if (loud) {
            out.first = out.count == 0 ? j : out.first;
            out.end = j + 1;
            out.count += paused;
        }
        pauses += pause;
        run = pause ? 0 : run + 1;
        longest = run > longest ? run : longest;
        paused = pause || (paused && !loud);
    }
    out.paused = (double)pauses / (double)count;
    return longest <= most ? out : (quell_bursts){.count = 1, .end = count};
}

quell_status quell_bursts_find(quell_bursts *out, const quell_recording *recording, size_t first, size_t end,
                               quell_error *err)
{
    *out = (quell_bursts){.first = first, .end = end};
    size_t step = (size_t)fmax(recording->rate_hz / WORKING_HZ, 1),
           n = end > first ? (end - first) / step : 0;
    size_t window = (size_t)fmax(WINDOW_S * recording->rate_hz / (double)step, WINDOW_SAMPLES_LEAST);
    series of = {.n = n, .window = window, .count = n / window};
    if (recording->accel_mps2[0] == NULL || of.count < 2)
        return QUELL_OK;
    double *room = quell_memory_get_cleared((n + 2 * of.count) * sizeof *room);
    if (room == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the bursts of %zu samples", n);
    of.value = room;
    of.energy[0] = room + n;
    of.energy[1] = room + n + of.count;
    for (size_t k = 0; k < recording->axes; k++) {
        average(recording->accel_mps2[k] + first, step, of.value, n);
        add_axis(&of);
    }
    size_t most = (size_t)(BURST_MOST_S * recording->rate_hz / (double)(step * window));
    for (size_t i = 0; i < 2; i++) {
        double half = half_of_all(of.energy[i], of.count, of.value);
        quell_bursts found = count_bursts(of.energy[i], of.count, half, i == 0 ? PAUSE : PAUSE_WITHOUT, most);
        if (found.count <= out->count)
            continue;
        *out = found;
        out->first = first + found.first * window * step;
        out->end = first + found.end * window * step;
    }
    quell_memory_free(room);
    return QUELL_OK;
}
