/* Which modes are looked for after the stops of every recording: those that any of them shows, each recording's own values
   where it shows them. */
#include "compare/stops_private.h"

#include <math.h>

#define SAME_WITHIN 0.2 /* in ln f: a change may move a mode, and the nearest is taken first */

static quell_mode as_mode(const quell_decay *decay)
{
    return (quell_mode){.frequency_hz = decay->frequency_hz,
                        .frequency_ci95_hz = {decay->frequency_ci95_hz[0], decay->frequency_ci95_hz[1]},
                        .damping_ratio = decay->damping_ratio,
                        .damping_ratio_ci95 = {decay->damping_ratio_ci95[0], decay->damping_ratio_ci95[1]}};
}

/* Enters the recording's decays: each where the nearest known mode lies that it has none of yet, else as a new one. */
static void enter(stops_job *job, stops_recording *recording, quell_mode *seen)
{
    bool used[QUELL_MODES_MAX] = {false};
    for (size_t entered = 0; entered < recording->decays.count; entered++) {
        double nearest = (double)INFINITY;
        size_t decay = 0, mode = SIZE_MAX;
        for (size_t d = 0; d < recording->decays.count; d++)
            for (size_t k = 0; k < job->modes && !used[d]; k++) {
                double off = fabs(log(recording->decays.mode[d].frequency_hz / seen[k].frequency_hz));
                if (!recording->own[k] && off < SAME_WITHIN && off < nearest) {
                    nearest = off;
                    decay = d;
                    mode = k;
                }
            }
        while (mode == SIZE_MAX && used[decay])
            decay++;
        if (mode == SIZE_MAX && job->modes < QUELL_MODES_MAX) {
            mode = job->modes++;
            seen[mode] = as_mode(&recording->decays.mode[decay]);
        }
        used[decay] = true;
        if (mode == SIZE_MAX)
            continue;
        recording->mode[mode] = as_mode(&recording->decays.mode[decay]);
        recording->own[mode] = true;
    }
}

/* The mode as a recording of the side shows it; NULL if none does. */
static const quell_mode *shown_by(const stops_side *side, size_t mode)
{
    for (size_t r = 0; r < side->count; r++)
        if (side->each[r].own[mode])
            return &side->each[r].mode[mode];
    return NULL;
}

static void fill_in(stops_job *job)
{
    for (size_t s = 0; s < 2; s++)
        for (size_t k = 0; k < job->modes; k++) {
            const quell_mode *mode = shown_by(&job->side[s], k);
            mode = mode != NULL ? mode : shown_by(&job->side[1 - s], k);
            for (size_t r = 0; r < job->side[s].count && mode != NULL; r++)
                if (!job->side[s].each[r].own[k])
                    job->side[s].each[r].mode[k] = *mode;
        }
}

static void swap(stops_job *job, size_t a, size_t b)
{
    for (size_t s = 0; s < 2; s++)
        for (size_t r = 0; r < job->side[s].count; r++) {
            stops_recording *at = &job->side[s].each[r];
            quell_mode mode = at->mode[a];
            bool own = at->own[a];
            at->mode[a] = at->mode[b];
            at->own[a] = at->own[b];
            at->mode[b] = mode;
            at->own[b] = own;
        }
}

void stops_choose_modes(stops_job *job, const quell_modes *known)
{
    quell_mode seen[QUELL_MODES_MAX];
    job->modes = 0;
    for (size_t s = 0; s < 2; s++)
        for (size_t r = 0; r < job->side[s].count; r++)
            for (size_t k = 0; k < QUELL_MODES_MAX; k++)
                job->side[s].each[r].own[k] = false;
    for (size_t s = 0; s < 2; s++)
        for (size_t r = 0; r < job->side[s].count; r++)
            enter(job, &job->side[s].each[r], seen);
    fill_in(job);
    if (job->modes == 0 && known != NULL) {
        for (size_t s = 0; s < 2; s++)
            for (size_t r = 0; r < job->side[s].count; r++)
                for (size_t k = 0; k < known->count; k++)
                    job->side[s].each[r].mode[k] = known->mode[k];
        job->modes = known->count;
    }
    for (size_t i = 1; i < job->modes; i++)
        for (size_t k = i; k > 0 && job->side[0].each[0].mode[k].frequency_hz <
                                        job->side[0].each[0].mode[k - 1].frequency_hz; k--)
            swap(job, k, k - 1);
}
