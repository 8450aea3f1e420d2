/* Several recordings of one axis: one list of modes, and how far the recordings differ. */
#include "quell/modes.h"

#include <math.h>
#include <string.h>

#define SAME_WITHIN 0.05

/* The mode of a recording that is the given one; NULL if it has none. */
static const quell_mode *counterpart(const quell_modes *in, const quell_mode *of)
{
    const quell_mode *best = NULL;
    double least = fmax(SAME_WITHIN, 2 * of->damping_ratio);
    for (size_t k = 0; k < in->count; k++) {
        double apart = fabs(log(in->mode[k].frequency_hz / of->frequency_hz));
        if (apart <= least) {
            least = apart;
            best = &in->mode[k];
        }
    }
    return best;
}

static void widen(double interval[2], const double by[2])
{
    interval[0] = fmin(interval[0], by[0]);
    interval[1] = fmax(interval[1], by[1]);
}

static double deviation(double sum, double squares, size_t count)
{
    double mean = sum / (double)count;
    return count < 2 ? (double)NAN
                     : sqrt(fmax(squares - (double)count * mean * mean, 0) / (double)(count - 1));
}

static void pool_mode(const quell_modes *each, size_t recordings, quell_mode *mode, quell_mode_spread *spread)
{
    const quell_mode reference = *mode;
    double log_f = 0, log_zeta = 0, c = 0, f[2] = {0}, zeta[2] = {0}, lowest = (double)INFINITY, highest = 0;
    *spread = (quell_mode_spread){0};
    for (size_t i = 0; i < recordings; i++) {
        const quell_mode *found = counterpart(&each[i], &reference);
        if (found == NULL)
            continue;
        spread->recordings++;
        log_f += log(found->frequency_hz);
        log_zeta += log(found->damping_ratio);
        c += found->participation;
        f[0] += found->frequency_hz;
        f[1] += found->frequency_hz * found->frequency_hz;
        zeta[0] += found->damping_ratio;
        zeta[1] += found->damping_ratio * found->damping_ratio;
        widen(mode->frequency_ci95_hz, found->frequency_ci95_hz);
        widen(mode->damping_ratio_ci95, found->damping_ratio_ci95);
        widen(mode->participation_ci95, found->participation_ci95);
        if (found->frequency_hz < lowest) {
            lowest = found->frequency_hz;
            spread->lowest = i;
        }
        if (found->frequency_hz > highest) {
            highest = found->frequency_hz;
            spread->highest = i;
        }
    }
    double count = (double)spread->recordings;
    mode->frequency_hz = exp(log_f / count);
    mode->damping_ratio = exp(log_zeta / count);
    mode->participation = c / count;
    spread->frequency_hz = deviation(f[0], f[1], spread->recordings);
    spread->damping_ratio = deviation(zeta[0], zeta[1], spread->recordings);
}

/* Puts a mode that the list lacks into its place by frequency; the list has room. */
static void insert(quell_modes *out, const quell_mode *mode)
{
    size_t at = out->count++;
    for (; at > 0 && out->mode[at - 1].frequency_hz > mode->frequency_hz; at--)
        out->mode[at] = out->mode[at - 1];
    out->mode[at] = *mode;
}

void quell_modes_pool(const quell_modes *each, size_t recordings, quell_modes *out,
                      quell_mode_spread spread[QUELL_MODES_MAX])
{
    size_t most = 0;
    for (size_t i = 1; i < recordings; i++)
        if (each[i].count > each[most].count)
            most = i;
    *out = each[most];
    for (size_t i = 0; i < recordings; i++)
        for (size_t k = 0; k < each[i].count; k++)
            if (out->count < QUELL_MODES_MAX && counterpart(out, &each[i].mode[k]) == NULL)
                insert(out, &each[i].mode[k]);
    for (size_t k = 0; k < out->count; k++)
        pool_mode(each, recordings, &out->mode[k], &spread[k]);
}
