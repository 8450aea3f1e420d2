/* Which modes of several recordings are the same one.

   A heavier load or another position moves all modes alike, so modes keep their order: of all ways to pair two sorted
   lists without crossing, each mode once and none farther apart than it may be, the one with most pairs, and of those
   the nearest in ln f. Two close modes thus never both take one. */
#include "pool_private.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define SAME_WITHIN 0.05

/* How far apart in ln f; infinite if too far to be the same. */
static double apart(const pool_track *track, const quell_mode *mode, double within)
{
    double distance = fabs(log(mode->frequency_hz) - track->log_f);
    double most = fmax(within, 2 * fmax(track->damping_ratio, mode->damping_ratio));
    return distance <= most ? distance : (double)INFINITY;
}

typedef enum pairing_step { SKIP_MODE, SKIP_TRACK, PAIR } pairing_step;

/* The best pairing of the first i tracks with the first j modes. */
typedef struct pairing {
    size_t pairs;
    double distance;
    pairing_step last; /* what becomes of mode j - 1 and track i - 1 */
} pairing;

static bool better(pairing a, pairing b)
{
    return a.pairs != b.pairs ? a.pairs > b.pairs : a.distance < b.distance;
}

/* pair[i]: the mode of track i, or -1, as beyond the last track. */
static void pair_up(const pool_tracks *tracks, const quell_modes *modes, double within,
                    int pair[QUELL_MODES_MAX])
{
    pairing best[QUELL_MODES_MAX + 1][QUELL_MODES_MAX + 1] = {{{0}}};
    for (size_t i = 1; i <= tracks->count; i++)
        for (size_t j = 1; j <= modes->count; j++) {
            pairing *here = &best[i][j];
            bool skip_mode = better(best[i][j - 1], best[i - 1][j]);
            *here = skip_mode ? best[i][j - 1] : best[i - 1][j];
            here->last = skip_mode ? SKIP_MODE : SKIP_TRACK;
            double distance = apart(&tracks->track[i - 1], &modes->mode[j - 1], within);
            pairing with = {best[i - 1][j - 1].pairs + 1, best[i - 1][j - 1].distance + distance, PAIR};
            if (isfinite(distance) && better(with, *here))
                *here = with;
        }
    for (size_t i = 0; i < QUELL_MODES_MAX; i++)
        pair[i] = -1;
    for (size_t i = tracks->count, j = modes->count; i > 0 && j > 0;) {
        pairing_step last = best[i][j].last;
        i -= last != SKIP_MODE;
        j -= last != SKIP_TRACK;
        if (last == PAIR)
            pair[i] = (int)j;
    }
}

static void join(pool_track *track, const quell_mode *mode, size_t recording, size_t index)
{
    double share = 1 / (double)++track->members;
    track->log_f += share * (log(mode->frequency_hz) - track->log_f);
    track->damping_ratio += share * (mode->damping_ratio - track->damping_ratio);
    track->mode[recording] = (int)index;
}

/* A mode that no recording before had, in its place by frequency. */
static void begin(pool_tracks *tracks, const quell_mode *mode, size_t recording, size_t index)
{
    if (tracks->count == QUELL_MODES_MAX) {
        tracks->dropped++;
        return;
    }
    pool_track fresh = {0};
    for (size_t i = 0; i < QUELL_RECORDINGS_MAX; i++)
        fresh.mode[i] = -1;
    join(&fresh, mode, recording, index);
    size_t at = tracks->count++;
    for (; at > 0 && tracks->track[at - 1].log_f > fresh.log_f; at--)
        tracks->track[at] = tracks->track[at - 1];
    tracks->track[at] = fresh;
}

/* Tracks move as recordings join them: back into order. */
static void sort(pool_tracks *tracks)
{
    for (size_t i = 1; i < tracks->count; i++)
        for (size_t k = i; k > 0 && tracks->track[k - 1].log_f > tracks->track[k].log_f; k--) {
            pool_track moved = tracks->track[k];
            tracks->track[k] = tracks->track[k - 1];
            tracks->track[k - 1] = moved;
        }
}

static void add(pool_tracks *tracks, const quell_modes *modes, size_t recording)
{
    int pair[QUELL_MODES_MAX];
    bool used[QUELL_MODES_MAX] = {false};
    pair_up(tracks, modes, SAME_WITHIN, pair);
    for (size_t i = 0; i < tracks->count; i++)
        if (pair[i] >= 0) {
            used[pair[i]] = true;
            join(&tracks->track[i], &modes->mode[pair[i]], recording, (size_t)pair[i]);
        }
    for (size_t k = 0; k < modes->count; k++)
        if (!used[k])
            begin(tracks, &modes->mode[k], recording, k);
    sort(tracks);
}

void pool_match(const quell_modes *each, size_t recordings, pool_tracks *out, size_t *most)
{
    assert(recordings >= 1 && recordings <= QUELL_RECORDINGS_MAX);
    memset(out, 0, sizeof *out);
    *most = 0;
    for (size_t i = 1; i < recordings; i++)
        if (each[i].count > each[*most].count)
            *most = i;
    add(out, &each[*most], *most);
    for (size_t i = 0; i < recordings; i++)
        if (i != *most)
            add(out, &each[i], i);
}

void quell_modes_match(const quell_modes *first, const quell_modes *second, double within,
                       int pair[QUELL_MODES_MAX])
{
    pool_tracks tracks = {0};
    for (size_t k = 0; k < first->count; k++)
        begin(&tracks, &first->mode[k], 0, k);
    pair_up(&tracks, second, within, pair);
}
