/* What the spectrum of a recording tells of its quality: sensor noise, lines of fans and motors, energy near the
   Nyquist frequency, and where most of the motion is. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

enum { LINES_MAX = 3, NEIGHBOURS = 20, SKIRT = 2, LINE_SEGMENTS = 4 };

#define LINE_OVER_FLOOR 10.0 /* power */
#define LINE_SCATTER 0.25    /* variance of its power over segments, relative; noise has 1 */
#define LINE_FROM_HZ 5.0
#define DOMINANT_FROM_HZ 5.0
#define NYQUIST_NOTE 0.01 /* share of the power in the last tenth of the band */
#define NYQUIST_WARN 0.10
#define QUANTISATION_SHARE 0.5 /* of the noise floor, as power */

static size_t rests_of(const ingest_activity *activity, ingest_stretch *out)
{
    size_t count = 0;
    for (size_t s = 0; s < activity->count; s++)
        if (activity->stretch[s].kind == QUELL_REST)
            out[count++] = activity->stretch[s];
    return count;
}

/* The excitation: whatever moves, but for the slow strokes. */
static size_t motions_of(const ingest_activity *activity, ingest_stretch *out)
{
    size_t count = 0;
    for (size_t s = 0; s < activity->count; s++)
        if (ingest_is_excitation(activity->stretch[s].kind))
            out[count++] = activity->stretch[s];
    return count;
}

/* A local maximum that stands far above the median of its neighbourhood, and steadily: the periodograms of noise
   scatter by their own mean, those of a decay more. */
static bool is_line(const ingest_density *density, size_t b, double *floor)
{
    const double *p = density->asd_m2ps3;
    if (b < SKIRT || b + SKIRT >= density->bins || p[b] < p[b - 1] || p[b] < p[b + 1])
        return false;
    double low_hz = ((double)b - NEIGHBOURS) * density->bin_hz;
    double high_hz = ((double)b + NEIGHBOURS + 1) * density->bin_hz;
    *floor = ingest_density_floor(density, low_hz, high_hz);
    return p[b] > LINE_OVER_FLOOR * *floor && density->square[b] < (1 + LINE_SCATTER) * p[b] * p[b];
}

/* A tone: its amplitude, and the centre of its power, from the bins about b. */
typedef struct tone {
    double hz, amplitude_mps2;
} tone;

static tone measure_tone(const ingest_density *density, size_t b, double floor)
{
    double area = 0, moment = 0;
    for (size_t i = b - SKIRT; i <= b + SKIRT; i++) {
        double over = fmax(density->asd_m2ps3[i] - floor, 0);
        area += over * density->bin_hz;
        moment += over * density->bin_hz * (double)i * density->bin_hz;
    }
    return (tone){moment / area, sqrt(2 * area)};
}

/* The strongest lines at rest, all axes together. */
static quell_status find_lines(const ingest_density *density, quell_recording *recording, quell_arena *arena)
{
    tone strongest[LINES_MAX] = {{0, 0}};
    for (size_t b = 1; b + 1 < density->bins; b++) {
        double floor = 0;
        if ((double)b * density->bin_hz < LINE_FROM_HZ || !is_line(density, b, &floor))
            continue;
        tone found = measure_tone(density, b, floor);
        size_t place = 0;
        while (place < LINES_MAX && strongest[place].amplitude_mps2 >= found.amplitude_mps2)
            place++;
        for (size_t i = LINES_MAX - 1; i > place; i--)
            strongest[i] = strongest[i - 1];
        if (place < LINES_MAX)
            strongest[place] = found;
    }
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < LINES_MAX && strongest[i].amplitude_mps2 > 0 && status == QUELL_OK; i++)
        status = quell_findings_add(
            &recording->findings, arena, "line", QUELL_NOTE, strongest[i].hz, NAN, "",
            "a steady line at %.1f Hz of %.3f m/s2 is there at rest, too: a fan or motor, not a mode",
            strongest[i].hz, strongest[i].amplitude_mps2);
    return status;
}

static quell_status judge_nyquist(const ingest_density *density, quell_recording *recording, size_t axis,
                                  double noise_mps2_per_rthz, quell_arena *arena)
{
    double top = 0, all = 0;
    size_t bins = 0;
    for (size_t b = 1; b < density->bins; b++) {
        all += density->asd_m2ps3[b];
        if (10 * b >= 9 * (density->bins - 1)) {
            top += density->asd_m2ps3[b];
            bins++;
        }
    }
    double share = all > 0 ? top / all : 0;
    bool over_noise = bins > 0 && top / (double)bins > 10 * noise_mps2_per_rthz * noise_mps2_per_rthz;
    if (share < NYQUIST_NOTE || !over_noise)
        return QUELL_OK;
    bool warn = share >= NYQUIST_WARN;
    return quell_findings_add(
        &recording->findings, arena, "nyquist", warn ? QUELL_WARN : QUELL_NOTE, share,
        warn ? NYQUIST_WARN : NYQUIST_NOTE, "record at a higher rate, or with the sensor's filter on",
        "%.0f %% of the motion on %s lies in the last tenth below %.0f Hz, half the rate: motion above "
        "it may be folded into the band",
        100 * share, recording->axis_name[axis], 0.5 * recording->rate_hz);
}

static quell_status judge_quantisation(quell_recording *recording, size_t axis, double noise_mps2_per_rthz,
                                       quell_arena *arena)
{
    /* an even step's error is uniform: variance step^2/12 over half the rate */
    double floor = recording->resolution_mps2[axis] / sqrt(6 * recording->rate_hz);
    if (!(floor * floor > QUANTISATION_SHARE * noise_mps2_per_rthz * noise_mps2_per_rthz))
        return QUELL_OK;
    const double ug = 1e6 / QUELL_STANDARD_GRAVITY_MPS2;
    double step_mg = 1e-3 * ug * recording->resolution_mps2[axis];
    if (floor > 1.2 * noise_mps2_per_rthz) /* their error is no noise: values stay on one step, or repeat */
        return quell_findings_add(
            &recording->findings, arena, "quantisation", QUELL_NOTE, recording->resolution_mps2[axis], NAN,
            "",
            "steps of %.3g mg on %s are larger than its noise: what is much smaller does "
            "not show",
            step_mg, recording->axis_name[axis]);
    return quell_findings_add(&recording->findings, arena, "quantisation", QUELL_NOTE,
                              recording->resolution_mps2[axis], NAN, "",
                              "steps of %.3g mg on %s make most of its noise floor (%.3g of %.3g ug/rtHz)",
                              step_mg, recording->axis_name[axis], ug * floor, ug * noise_mps2_per_rthz);
}

/* What is there at rest, too, such as a fan, is no motion. */
static void find_dominant(ingest_quality *out, const ingest_density *density, const ingest_density *rest,
                          double *most)
{
    for (size_t b = 1; b + 1 < density->bins; b++) {
        double hz = (double)b * density->bin_hz;
        double over = density->asd_m2ps3[b] - (rest->bins == density->bins ? rest->asd_m2ps3[b] : 0);
        if (hz >= DOMINANT_FROM_HZ && over > *most) {
            *most = over;
            out->dominant_hz = hz;
        }
    }
}

/* Adds one density to a sum over axes. */
static void add_density(ingest_density *sum, const ingest_density *one)
{
    if (sum->bins == 0)
        *sum = (ingest_density){.bins = one->bins, .segments = one->segments, .bin_hz = one->bin_hz};
    for (size_t b = 0; b < one->bins; b++) {
        /* the same tone on both axes scatters with itself */
        double scatter = sqrt(sum->square[b] * one->square[b]);
        sum->square[b] += one->square[b] + 2 * scatter;
        sum->asd_m2ps3[b] += one->asd_m2ps3[b];
    }
}

/* What judging needs room for. */
typedef struct workplace {
    ingest_density one, rest, rest_sum;
    double most; /* largest density of motion so far */
} workplace;

static quell_status judge_axis(ingest_quality *out, quell_recording *recording,
                               const ingest_activity *activity, size_t axis, workplace *work,
                               quell_arena *arena, quell_error *err)
{
    ingest_stretch stretch[INGEST_SEGMENTS_MAX], whole = {.kind = QUELL_MOTION, .to = SIZE_MAX};
    ingest_density *density = &work->one;
    size_t rests = rests_of(activity, stretch);
    quell_status status = ingest_density_estimate(density, recording->digest, axis,
                                                  rests > 0 ? stretch : &whole, rests > 0 ? rests : 1, err);
    if (status != QUELL_OK)
        return status;
    work->rest = (ingest_density){0};
    if (rests > 0) {
        work->rest = *density;
        add_density(&work->rest_sum, density);
    }
    /* without a rest, what lies above the modes is the nearest thing to the sensor's own noise */
    double rate_hz = recording->rate_hz, from_hz = rests > 0 ? 0.05 * rate_hz : 0.3 * rate_hz;
    double noise = sqrt(ingest_density_floor(density, from_hz, 0.45 * rate_hz));
    out->noise_mps2_per_rthz[axis] = noise;
    status = judge_quantisation(recording, axis, noise, arena);
    size_t motions = motions_of(activity, stretch);
    if (status != QUELL_OK || motions == 0)
        return status;
    status = ingest_density_estimate(density, recording->digest, axis, stretch, motions, err);
    if (status != QUELL_OK || density->segments == 0)
        return status;
    find_dominant(out, density, &work->rest, &work->most);
    return isfinite(noise) ? judge_nyquist(density, recording, axis, noise, arena) : QUELL_OK;
}

quell_status ingest_quality_judge(ingest_quality *out, quell_recording *recording,
                                  const ingest_activity *activity, quell_arena *arena, quell_error *err)
{
    *out = (ingest_quality){.dominant_hz = NAN};
    workplace *work = quell_memory_get(sizeof *work);
    if (work == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for judging");
    memset(work, 0, sizeof *work);
    quell_status status = QUELL_OK;
    for (size_t k = 0; k < recording->axes && status == QUELL_OK; k++)
        status = judge_axis(out, recording, activity, k, work, arena, err);
    bool contrast = activity->count > 1; /* an ambient recording is all rest: its peaks may be modes */
    if (status == QUELL_OK && contrast && work->rest_sum.segments >= LINE_SEGMENTS)
        status = find_lines(&work->rest_sum, recording, arena);
    quell_memory_free(work);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for judging");
}
