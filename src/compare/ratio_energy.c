/* Energy spectra of whole recordings: every stretch without a gap, its mean taken off, with a segment of zeros round it, so that a
   Hann window stepping by an eighth of itself gives every sample the same weight. Steps of a quarter would do for that, but they
   mix frequencies that are four bins apart, which shows where a density falls steeply. */
#include "compare/ratio_private.h"

#include <math.h>
#include <string.h>

typedef struct stretch {
    size_t from, to;
} stretch;

/* The next stretch without a gap at or after `from`; false at the end. */
static bool next_stretch(const quell_recording *recording, size_t *gap, size_t from, stretch *out)
{
    if (from >= recording->samples)
        return false;
    out->from = from;
    out->to = *gap < recording->break_count ? recording->break_at[*gap] : recording->samples;
    (*gap)++;
    return true;
}

/* Copies a stretch behind what is in `to`, and a segment of zeros behind that. Returns the samples written. */
static size_t put_stretch(double *to, const double *samples, const stretch *of, size_t segment)
{
    size_t n = of->to - of->from;
    double mean = 0;
    for (size_t i = of->from; i < of->to; i++)
        mean += samples[i] / (double)n;
    for (size_t i = 0; i < n; i++)
        to[i] = samples[of->from + i] - mean;
    memset(to + n, 0, segment * sizeof *to);
    return n + segment;
}

static quell_status spectrum_of(const double *samples, size_t n, double rate_hz, size_t segment, quell_arena *arena,
                                quell_spectrum *out, quell_error *err)
{
    const quell_welch_options options = {.window = quell_window_find("hann"), .segment = segment, .overlap = 0.875};
    const double *const axis[1] = {samples};
    return quell_spectrum_estimate(axis, 1, n, rate_hz, NULL, 0, &options, arena, out, err);
}

quell_status ratio_energy(const quell_recording *recording, size_t axis, size_t segment, size_t least, quell_arena *arena,
                          ratio_spectrum *out, quell_error *err)
{
    size_t stretches = recording->break_count + 1, most = recording->samples / least; /* that long */
    size_t room = recording->samples + ((stretches < most ? stretches : most) + 1) * segment, used = segment, gap = 0;
    double *padded = quell_memory_get_cleared(room * sizeof *padded);
    if (padded == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu samples", room);
    stretch at = {0, 0};
    size_t kept = 0;
    while (next_stretch(recording, &gap, at.to, &at))
        if (at.to - at.from >= least) {
            used += put_stretch(padded + used, recording->accel_mps2[axis], &at, segment);
            kept += at.to - at.from;
        }
    quell_spectrum spectrum;
    quell_status status = QUELL_OK;
    if (kept < 4 * least)
        status = quell_fail(err, QUELL_E_DATA, "found %s s in stretches of %s s without a gap, want %s s in all",
                            quell_number_fixed((double)kept / recording->rate_hz, 1).text,
                            quell_number_fixed((double)least / recording->rate_hz, 1).text,
                            quell_number_fixed(4 * (double)least / recording->rate_hz, 1).text);
    else
        status = spectrum_of(padded, used, recording->rate_hz, segment, arena, &spectrum, err);
    quell_memory_free(padded);
    if (status != QUELL_OK)
        return status;
    out->spectrum = spectrum;
    out->seconds = (double)kept / recording->rate_hz;
    out->energy_s = (double)spectrum.segments * (double)spectrum.hop / recording->rate_hz;
    return QUELL_OK;
}

/* The rests of a recording as one row of samples, and where they join. */
typedef struct rests {
    double *samples;
    size_t count, joins, join[QUELL_SEGMENTS_MAX];
} rests;

#define REST_EDGE_S 0.3 /* of a rest that may still ring */

static void gather_rests(const quell_side *side, size_t axis, size_t segment, rests *out)
{
    const quell_recording *recording = side->recording;
    for (size_t s = 0; s < side->fitness->segments; s++) {
        const quell_segment *rest = &side->fitness->segment[s];
        double from = (rest->start_s - recording->offset_s + REST_EDGE_S) * recording->rate_hz,
               to = (rest->end_s - recording->offset_s - REST_EDGE_S) * recording->rate_hz;
        if (rest->kind != QUELL_REST || !(from >= 0) || !(to <= (double)recording->samples) || to - from < (double)segment)
            continue;
        if (out->count > 0)
            out->join[out->joins++] = out->count;
        for (size_t i = (size_t)from; i < (size_t)to; i++)
            out->samples[out->count++] = recording->accel_mps2[axis][i];
    }
}

quell_status ratio_rest(const quell_side *side, size_t axis, size_t segment, quell_arena *arena, quell_spectrum *out, bool *found,
                        quell_error *err)
{
    const quell_welch_options options = {.window = quell_window_find("hann"), .segment = segment, .overlap = 0.75};
    rests at = {.samples = quell_memory_get((side->recording->samples + 1) * sizeof(double))};
    *found = false;
    if (at.samples == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the rests");
    if (side->recording->break_count == 0) /* times of segments count what was lost, samples do not */
        gather_rests(side, axis, segment, &at);
    const double *const row[1] = {at.samples};
    quell_status status = QUELL_OK;
    if (at.count >= segment) {
        status =
            quell_spectrum_estimate(row, 1, at.count, side->recording->rate_hz, at.join, at.joins, &options, arena, out, err);
        *found = status == QUELL_OK;
    }
    quell_memory_free(at.samples);
    return status;
}
