/* Several recordings of one axis: one list of modes, and how far the recordings differ. */
#include "pool_private.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

/* What is being pooled. */
typedef struct pooling {
    const quell_modes *each;
    size_t recordings;
    size_t condition[QUELL_RECORDINGS_MAX];
} pooling;

static const char *label_of(const char *const *label, size_t i)
{
    return label != NULL && label[i] != NULL ? label[i] : "";
}

static void number_conditions(pooling *in, const char *const *label)
{
    for (size_t i = 0; i < in->recordings; i++) {
        in->condition[i] = i;
        for (size_t j = i; j > 0; j--)
            if (strcmp(label_of(label, j - 1), label_of(label, i)) == 0)
                in->condition[i] = in->condition[j - 1];
    }
}

static const quell_mode *member(const pooling *in, const pool_track *track, size_t recording)
{
    return track->mode[recording] < 0 ? NULL : &in->each[recording].mode[track->mode[recording]];
}

/* ---------------------------------------------------------------- one quantity */

/* A quantity of a mode and its interval; scaled: pooled as a logarithm. */
typedef struct quantity {
    size_t value, interval; /* offsets in quell_mode */
    bool scaled;
} quantity;

static const quantity frequency = {offsetof(quell_mode, frequency_hz),
                                   offsetof(quell_mode, frequency_ci95_hz), true},
                      damping = {offsetof(quell_mode, damping_ratio),
                                 offsetof(quell_mode, damping_ratio_ci95), true},
                      participation = {offsetof(quell_mode, participation),
                                       offsetof(quell_mode, participation_ci95), false},
                      decay = {offsetof(quell_mode, decay_damping_ratio),
                               offsetof(quell_mode, decay_damping_ratio_ci95), true};

static const double *at(const quell_mode *mode, size_t offset)
{
    return (const double *)(const void *)((const char *)mode + offset);
}

/* Pools one quantity over the recordings in which it is known, into the mode; false if it is known in none. */
static bool pool_into(const pooling *in, const pool_track *track, const quantity *what, quell_mode *mode,
                      pool_result *out)
{
    pool_sample sample[QUELL_RECORDINGS_MAX];
    size_t count = 0;
    for (size_t i = 0; i < in->recordings; i++) {
        const quell_mode *one = member(in, track, i);
        if (one == NULL || isnan(*at(one, what->value)))
            continue;
        const double value = *at(one, what->value), *interval = at(one, what->interval);
        sample[count++] =
            what->scaled ? (pool_sample){log(value), log(interval[0]), log(interval[1]), in->condition[i]}
                         : (pool_sample){value, interval[0], interval[1], in->condition[i]};
    }
    if (count == 0)
        return false;
    pool_quantity(sample, count, out);
    double pooled[3] = {out->mean, out->low, out->high};
    for (size_t i = 0; i < 3 && what->scaled; i++)
        pooled[i] = exp(pooled[i]);
    memcpy((char *)mode + what->value, &pooled[0], sizeof(double));
    memcpy((char *)mode + what->interval, &pooled[1], 2 * sizeof(double));
    return true;
}

/* ---------------------------------------------------------------- one mode */

static double deviation(const double *value, size_t count)
{
    double mean = 0, squares = 0;
    for (size_t i = 0; i < count; i++)
        mean += value[i] / (double)count;
    for (size_t i = 0; i < count; i++)
        squares += (value[i] - mean) * (value[i] - mean);
    return count < 2 ? (double)NAN : sqrt(squares / (double)(count - 1));
}

static void measure_spread(const pooling *in, const pool_track *track, const quell_mode *mode,
                           quell_mode_spread *spread)
{
    double f[QUELL_RECORDINGS_MAX], zeta[QUELL_RECORDINGS_MAX], low = (double)INFINITY, high = 0, far = -1;
    for (size_t i = 0; i < in->recordings; i++) {
        const quell_mode *one = member(in, track, i);
        spread->found_in[i] = one != NULL;
        spread->found_hz[i] = one != NULL ? one->frequency_hz : (double)NAN;
        if (one == NULL)
            continue;
        f[spread->recordings] = one->frequency_hz;
        zeta[spread->recordings++] = one->damping_ratio;
        double off = fabs(log(one->frequency_hz / mode->frequency_hz));
        if (one->frequency_hz < low) {
            low = one->frequency_hz;
            spread->lowest = i;
        }
        if (one->frequency_hz > high) {
            high = one->frequency_hz;
            spread->highest = i;
        }
        if (off > far) {
            far = off;
            spread->farthest = i;
        }
    }
    spread->frequency_hz = deviation(f, spread->recordings);
    spread->damping_ratio = deviation(zeta, spread->recordings);
}

/* The same words but for their numbers? */
static bool same_doubt(const char *a, const char *b)
{
    for (;; a++, b++) {
        while (isdigit((unsigned char)*a) || *a == '.')
            a++;
        while (isdigit((unsigned char)*b) || *b == '.')
            b++;
        if (*a != *b || *a == '\0')
            return *a == *b;
    }
}

static void add_doubts(quell_mode *mode, const quell_mode *from)
{
    for (size_t i = 0; i < from->doubts; i++) {
        bool known = false;
        for (size_t k = 0; k < mode->doubts; k++)
            known = known || same_doubt(mode->doubt[k], from->doubt[i]);
        if (!known && mode->doubts < QUELL_DOUBTS_MAX)
            mode->doubt[mode->doubts++] = from->doubt[i];
    }
}

/* What is no average: doubts of all, checks as the mean of those there are, and what the first does not know. */
static void gather(const pooling *in, const pool_track *track, quell_mode *mode)
{
    double log_width = 0, widths = 0;
    for (size_t i = 0; i < in->recordings; i++) {
        const quell_mode *one = member(in, track, i);
        if (one == NULL)
            continue;
        add_doubts(mode, one);
        if (one->half_power_damping_ratio > 0) {
            log_width += log(one->half_power_damping_ratio);
            widths++;
        }
        if (isnan(mode->direction[0]))
            memcpy(mode->direction, one->direction, sizeof mode->direction);
    }
    if (widths > 0)
        mode->half_power_damping_ratio = exp(log_width / widths);
}

static void pool_mode(const pooling *in, const pool_track *track, size_t most, quell_mode *mode,
                      quell_mode_spread *spread)
{
    const quell_mode *first = member(in, track, most);
    for (size_t i = 0; first == NULL; i++)
        first = member(in, track, i);
    *mode = *first;
    *spread = (quell_mode_spread){0};
    gather(in, track, mode);
    pool_result f, zeta, other;
    pool_into(in, track, &frequency, mode, &f);
    pool_into(in, track, &damping, mode, &zeta);
    pool_into(in, track, &participation, mode, &other);
    pool_into(in, track, &decay, mode, &other);
    measure_spread(in, track, mode, spread);
    spread->half_range_hz = (exp(f.highest) - exp(f.lowest)) / 2;
    spread->within_frequency_hz = f.within_se * mode->frequency_hz;
    spread->within_damping_ratio = zeta.within_se * mode->damping_ratio;
    spread->mean_frequency_hz = f.mean_se * mode->frequency_hz;
    spread->mean_damping_ratio = zeta.mean_se * mode->damping_ratio;
}

/* ---------------------------------------------------------------- all modes */

/* Modes that any recording has and the user ignores: once each. */
static void add_left_out(quell_modes *out, const quell_modes *from)
{
    for (size_t i = 0; i < from->left_out; i++) {
        const quell_mode *mode = &from->left_out_mode[i];
        bool known = false;
        for (size_t k = 0; k < out->left_out; k++)
            known = known || (strcmp(out->left_out_reason[k], from->left_out_reason[i]) == 0 &&
                              fabs(log(mode->frequency_hz / out->left_out_mode[k].frequency_hz)) <=
                                  fmax(0.05, 2 * mode->damping_ratio));
        if (known || out->left_out == QUELL_MODES_MAX)
            continue;
        out->left_out_mode[out->left_out] = *mode;
        out->left_out_reason[out->left_out++] = from->left_out_reason[i];
    }
}

static void add_facts(quell_modes *out, const quell_modes *from)
{
    bool differs =
        out->excitation != NULL && from->excitation != NULL && strcmp(out->excitation, from->excitation) != 0;
    if (differs)
        out->excitation = "not the same in all recordings";
    out->sweep_known = out->sweep_known && from->sweep_known;
    out->sweep_followed = out->sweep_followed && from->sweep_followed;
    out->participation_known = out->participation_known || from->participation_known;
    add_left_out(out, from);
}

/* Weights may bring two averages out of the order that the recordings' modes have. */
static void sort(quell_modes *modes, quell_mode_spread *spread)
{
    for (size_t i = 1; i < modes->count; i++)
        for (size_t k = i; k > 0 && modes->mode[k - 1].frequency_hz > modes->mode[k].frequency_hz; k--) {
            quell_mode mode = modes->mode[k];
            quell_mode_spread of = spread[k];
            modes->mode[k] = modes->mode[k - 1];
            modes->mode[k - 1] = mode;
            spread[k] = spread[k - 1];
            spread[k - 1] = of;
        }
}

size_t quell_modes_pool(const quell_modes *each, size_t recordings, const char *const *label,
                        quell_modes *out, quell_mode_spread spread[QUELL_MODES_MAX])
{
    pooling in = {.each = each, .recordings = recordings};
    pool_tracks tracks;
    size_t most;
    number_conditions(&in, label);
    pool_match(each, recordings, &tracks, &most);
    *out = each[most];
    for (size_t i = 0; i < recordings; i++)
        if (i != most)
            add_facts(out, &each[i]);
    out->count = tracks.count;
    for (size_t k = 0; k < tracks.count; k++)
        pool_mode(&in, &tracks.track[k], most, &out->mode[k], &spread[k]);
    sort(out, spread);
    return tracks.dropped;
}
