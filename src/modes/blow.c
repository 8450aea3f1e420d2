/* A blow: motion that is loudest when it begins and from then on only dies away. */
#include "modes_private.h"

#include <gsl/gsl_statistics_double.h>
#include <math.h>

#define WINDOW_S 0.05  /* of a level; longer where there would be too many */
#define BEGINS_S 0.4   /* within this the loudest comes: stretches begin a little before what is seen to move */
#define BEFORE 0.3     /* of the loudest level, at most, until the window before it */
#define DIES_AWAY -0.9 /* rank correlation of level and time after it */
#define LEFT 0.25      /* of the loudest level, at most, in the last quarter */

enum { LEVELS_MOST = 400, LEVELS_LEAST = 12 };

static double mean_of(const double *value, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += value[i] / (double)n;
    return sum;
}

/* Level of each window, all axes together. */
static size_t find_levels(const quell_recording *recording, size_t first, size_t end, size_t window, double *level)
{
    size_t count = (end - first) / window;
    for (size_t j = 0; j < count; j++)
        level[j] = 0;
    for (size_t k = 0; k < recording->axes; k++) {
        const double *value = recording->accel_mps2[k] + first;
        double mean = mean_of(value, end - first);
        for (size_t i = 0; i < count * window; i++)
            level[i / window] += (value[i] - mean) * (value[i] - mean) / (double)window;
    }
    for (size_t j = 0; j < count; j++)
        level[j] = sqrt(level[j]);
    return count;
}

bool quell_blow_find(const quell_recording *recording, size_t first, size_t end, size_t *at)
{
    double level[LEVELS_MOST], order[LEVELS_MOST], work[2 * LEVELS_MOST], before = 0;
    size_t least = (size_t)(WINDOW_S * recording->rate_hz) + 1, loudest = 0;
    if (recording->accel_mps2[0] == NULL || end <= first)
        return false;
    size_t window = (end - first) / LEVELS_MOST + 1;
    window = window > least ? window : least;
    size_t count = find_levels(recording, first, end, window, level);
    for (size_t j = 1; j < count; j++)
        loudest = level[j] > level[loudest] ? j : loudest;
    size_t after = count - loudest;
    if (count < LEVELS_LEAST || after < LEVELS_LEAST || (double)(loudest * window) > BEGINS_S * recording->rate_hz)
        return false;
    for (size_t j = 0; j + 1 < loudest; j++)
        before = fmax(before, level[j]);
    for (size_t j = 0; j < after; j++)
        order[j] = (double)j;
    bool left = mean_of(level + count - after / 4, after / 4) > LEFT * level[loudest];
    if (before > BEFORE * level[loudest] || left ||
        !(gsl_stats_spearman(level + loudest, 1, order, 1, after, work) < DIES_AWAY))
        return false;
    *at = first + loudest * window;
    return true;
}
