/* From a recording to its modes: the stretch that was shaken, its spectrum, the fit by the kind of excitation, free decays as a
   check or as the answer, and the doubts that only the recording tells. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define BINS_A_MODE 4.0      /* half-power width below which longer segments are worth their scatter */
#define BINS_A_BAND 48.0     /* below which they are, for a band that is asked for */
#define SEGMENTS_LEAST 6.0   /* that a stretch is cut into at least */
#define LONGEST_S 8.0        /* of a segment, to tell a narrow mode from a line ... */
#define LONGEST_STILL_S 60.0 /* ... of a machine at rest, which holds still for it */
#define LINE_DB 10.0         /* a line this prominent may be a narrow mode */
#define BEFORE_S 1.0         /* of the motion before its end, which the decay must be told from */
#define AFTER_S 1.0          /* of free decay after the excitation */

enum { PEAKS_MAX = 24, SEGMENT_SAMPLES_LEAST = 16 };

/* What one measurement goes by. */
typedef struct measurement {
    const quell_recording *recording;
    size_t axis;
    const quell_welch_options *welch;
    quell_modes_options options;
    quell_shaking shaking;
    quell_arena *arena;
} measurement;

static double longest_s(const measurement *in)
{
    return in->shaking.kind == QUELL_EXCITE_AMBIENT ? LONGEST_STILL_S : LONGEST_S;
}

/* Samples of a segment by the length of the stretch, or longer, so that a narrow band holds enough bins. */
static size_t segment_for(const measurement *in, size_t samples)
{
    double rate_hz = in->recording->rate_hz, width_hz = in->options.band_hz[1] - in->options.band_hz[0];
    size_t usual = quell_welch_segment(rate_hz, samples, 0);
    if (!(width_hz > 0) || width_hz * (double)usual >= BINS_A_BAND * rate_hz)
        return usual;
    double wanted = fmin(BINS_A_BAND / width_hz, longest_s(in)) * rate_hz;
    size_t longer = 2 * (size_t)(fmin(wanted, (double)samples / SEGMENTS_LEAST) / 2);
    return longer > usual ? longer : usual;
}

/* The spectrum of the stretch with segments of that many samples (0: chosen). */
static quell_status estimate(const measurement *in, size_t segment, quell_spectrum *out, quell_error *err)
{
    const quell_recording *recording = in->recording;
    size_t first = in->shaking.first, n = in->shaking.end - first, breaks = 0;
    const double *accel[3] = {0};
    for (size_t k = 0; k < recording->axes; k++)
        accel[k] = recording->accel_mps2[k] + first;
    size_t *break_at = QUELL_NEW(in->arena, size_t, recording->break_count);
    if (break_at == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu gaps", recording->break_count);
    for (size_t i = 0; i < recording->break_count; i++)
        if (recording->break_at[i] > first && recording->break_at[i] < in->shaking.end)
            break_at[breaks++] = recording->break_at[i] - first;
    quell_welch_options options = *in->welch;
    options.cross = recording->axes == 3;
    if (segment > 0)
        options.segment = segment;
    else if (options.segment == 0)
        options.segment = segment_for(in, n);
    return quell_spectrum_estimate(accel, recording->axes, n, recording->rate_hz, break_at, breaks, &options,
                                   in->arena, out, err);
}

/* Half-power width of the narrowest mode there may be, Hz; infinite if there is none to worry about. */
static quell_status narrowest(const measurement *in, const quell_spectrum *spectrum, const quell_modes *modes,
                              double *width_hz, quell_error *err)
{
    quell_peak peak[PEAKS_MAX];
    size_t peaks = 0;
    *width_hz = (double)INFINITY;
    for (size_t k = 0; k < modes->count; k++)
        *width_hz = fmin(*width_hz, 2 * modes->mode[k].damping_ratio * modes->mode[k].frequency_hz);
    quell_status status = quell_peaks_find(spectrum, in->axis, modes->excited_hz[0], modes->excited_hz[1], peak,
                                           PEAKS_MAX, &peaks, err);
    for (size_t i = 0; i < peaks && status == QUELL_OK; i++) {
        bool known = false;
        for (size_t j = 0; j < in->options.line_count; j++)
            known = known || fabs(in->options.line[j].frequency_hz / peak[i].frequency_hz - 1) < 0.02;
        if (peak[i].line && !known && peak[i].prominence_db >= LINE_DB)
            *width_hz = fmin(*width_hz, 1 / longest_s(in));
    }
    return status;
}

/* Samples of a segment that shows such a width; 0 if it is no longer than the present one. */
static size_t longer_segment(const measurement *in, const quell_spectrum *spectrum, double width_hz)
{
    double n = (double)(in->shaking.end - in->shaking.first);
    double wanted = fmin(BINS_A_MODE / width_hz, longest_s(in)) * in->recording->rate_hz;
    double got = 2 * floor(fmin(wanted, n / SEGMENTS_LEAST) / 2);
    return got > 1.25 * (double)spectrum->segment ? (size_t)got : 0;
}

/* Of a machine at rest, modes too wide for the longer segments stay as they are. */
static void keep_wide(const quell_modes *before, const quell_spectrum *longer, const quell_modes_options *options,
                      quell_modes *modes)
{
    for (size_t k = 0; k < before->count && modes->kind == QUELL_EXCITE_AMBIENT; k++) {
        const quell_mode *mode = &before->mode[k];
        double half_width_hz = mode->damping_ratio * mode->frequency_hz;
        if (half_width_hz > AMBIENT_HALF_WIDTH_MOST * longer->bin_hz)
            quell_modes_enter(modes, mode, options);
    }
}

/* Again with longer segments, if a mode may be hardly wider than the bins; kept if that mode is there. */
static quell_status look_closer(const measurement *in, quell_spectrum *spectrum, quell_modes *modes, quell_error *err)
{
    double width_hz;
    if (in->welch->segment != 0)
        return QUELL_OK;
    quell_status status = narrowest(in, spectrum, modes, &width_hz, err);
    size_t segment = status == QUELL_OK && width_hz < BINS_A_MODE * spectrum->bin_hz
                         ? longer_segment(in, spectrum, width_hz)
                         : 0;
    if (segment == 0)
        return status;
    quell_spectrum longer;
    quell_modes found;
    status = estimate(in, segment, &longer, err);
    if (status == QUELL_OK)
        status = quell_modes_find(&longer, in->axis, &in->options, in->arena, &found, err);
    if (status != QUELL_OK)
        return status;
    bool narrow = false;
    for (size_t k = 0; k < found.count; k++)
        narrow = narrow || 2 * found.mode[k].damping_ratio * found.mode[k].frequency_hz < BINS_A_MODE * spectrum->bin_hz;
    keep_wide(modes, &longer, &in->options, &found);
    if (!narrow || found.count < modes->count)
        return QUELL_OK;
    *spectrum = longer;
    *modes = found;
    return QUELL_OK;
}

/* The free decays that stops left are the modes. */
static void take_decays(const measurement *in, const quell_decays *decays, quell_modes *modes)
{
    modes->count = modes->left_out = 0;
    modes->fit.objective = "least squares of free decays";
    modes->fit.parameters = 2 * decays->count;
    modes->participation_known = false;
    for (size_t k = 0; k < decays->count; k++) {
        const quell_decay *decay = &decays->mode[k];
        quell_mode mode = {.frequency_hz = decay->frequency_hz,
                           .damping_ratio = decay->damping_ratio,
                           .participation = (double)NAN,
                           .participation_ci95 = {(double)NAN, (double)NAN},
                           .half_power_damping_ratio = (double)NAN,
                           .decay_damping_ratio = decay->damping_ratio,
                           .prominence_db = (double)NAN,
                           .seen_on = in->axis};
        double rate = in->options.rate_relative_error;
        for (size_t i = 0; i < 2; i++) {
            double off = log(decay->frequency_ci95_hz[i] / decay->frequency_hz);
            mode.frequency_ci95_hz[i] = decay->frequency_hz * exp(copysign(hypot(off, rate), i == 0 ? -1 : 1));
        }
        memcpy(mode.damping_ratio_ci95, decay->damping_ratio_ci95, sizeof mode.damping_ratio_ci95);
        memcpy(mode.decay_damping_ratio_ci95, decay->damping_ratio_ci95, sizeof mode.decay_damping_ratio_ci95);
        memcpy(mode.direction, decay->direction, sizeof mode.direction);
        quell_modes_enter(modes, &mode, &in->options);
    }
}

/* Enters what free decays say of modes that were found otherwise. */
static void check_by_decays(const quell_decays *decays, quell_modes *modes)
{
    for (size_t k = 0; k < modes->count; k++) {
        quell_mode *mode = &modes->mode[k];
        const quell_decay *best = NULL;
        double least = fmax(0.03, mode->damping_ratio);
        for (size_t i = 0; i < decays->count; i++) {
            double apart = fabs(log(decays->mode[i].frequency_hz / mode->frequency_hz));
            if (apart > least)
                continue;
            least = apart;
            best = &decays->mode[i];
        }
        if (best == NULL)
            continue;
        mode->decay_damping_ratio = best->damping_ratio;
        memcpy(mode->decay_damping_ratio_ci95, best->damping_ratio_ci95, sizeof mode->decay_damping_ratio_ci95);
    }
}

static quell_status add_doubts(const measurement *in, const quell_spectrum *spectrum, const quell_decays *decays,
                               quell_modes *modes, quell_error *err)
{
    double band_hz[2] = {in->options.band_hz[0], in->options.band_hz[1]};
    if (band_hz[0] == 0 && band_hz[1] == 0)
        quell_modes_default_band(spectrum->rate_hz, band_hz);
    quell_doubter doubter = {.spectrum = spectrum,
                             .axis = in->axis,
                             .band_hz = band_hz,
                             .recording = in->recording,
                             .first = in->shaking.first,
                             .end = in->shaking.end,
                             .shaking = &in->shaking,
                             .decays = decays,
                             .line = in->options.line,
                             .line_count = in->options.line_count,
                             .arena = in->arena};
    return quell_doubts_add_recording(modes, &doubter, err);
}

/* Where free decays may be: after every stop; after other motion, its end. */
static void decay_samples(const measurement *in, size_t *first, size_t *end)
{
    double rate_hz = in->recording->rate_hz;
    size_t motion_end = in->shaking.end - in->shaking.margin[1], before = (size_t)(BEFORE_S * rate_hz);
    size_t after = motion_end + (size_t)(AFTER_S * rate_hz);
    *first = in->shaking.first;
    if (in->shaking.kind != QUELL_EXCITE_STOPS && motion_end > *first + before)
        *first = motion_end - before;
    *end = in->shaking.kind == QUELL_EXCITE_STOPS ? in->shaking.end + (size_t)(AFTER_S * rate_hz) : after;
    *end = *end < in->recording->samples ? *end : in->recording->samples;
}

static quell_status measure(const measurement *in, quell_spectrum *spectrum, quell_modes *modes, quell_decays *decays,
                            quell_error *err)
{
    quell_status status = estimate(in, 0, spectrum, err);
    if (status == QUELL_OK)
        status = quell_modes_find(spectrum, in->axis, &in->options, in->arena, modes, err);
    if (status == QUELL_OK && in->shaking.kind != QUELL_EXCITE_STOPS)
        status = look_closer(in, spectrum, modes, err);
    size_t first, end;
    decay_samples(in, &first, &end);
    if (status == QUELL_OK && in->shaking.kind != QUELL_EXCITE_AMBIENT)
        status = quell_decays_find(in->recording, in->axis, first, end, in->options.band_hz, in->arena, decays,
                                   err);
    if (status != QUELL_OK)
        return status;
    if (in->shaking.kind == QUELL_EXCITE_STOPS)
        take_decays(in, decays, modes);
    else
        check_by_decays(decays, modes);
    return add_doubts(in, spectrum, decays, modes, err);
}

quell_status quell_modes_measure(const quell_recording *recording, size_t axis, const quell_fitness *fitness,
                                 const quell_welch_options *welch, const quell_modes_options *options,
                                 quell_arena *arena, quell_spectrum *spectrum, quell_modes *out,
                                 quell_measured *how, quell_error *err)
{
    measurement in = {.recording = recording, .axis = axis, .welch = welch, .options = *options, .arena = arena};
    quell_status status = QUELL_OK;
    if (fitness != NULL) {
        status = quell_shaking_find(&in.shaking, options->shaking, recording, fitness, arena, err);
    } else {
        in.shaking = options->shaking != NULL
                         ? *options->shaking
                         : (quell_shaking){.kind = QUELL_EXCITE_SWEEP, .why = "taken for one"};
        in.shaking.first = 0;
        in.shaking.end = recording->samples;
    }
    if (status == QUELL_OK && fitness != NULL)
        status = quell_sweep_track(&in.shaking, recording, axis, arena, err);
    if (status != QUELL_OK)
        return status;
    in.options.shaking = &in.shaking;
    quell_spectrum made_spectrum;
    quell_modes made;
    quell_decays decays = {0};
    status = measure(&in, &made_spectrum, &made, &decays, err);
    if (status != QUELL_OK)
        return status;
    *spectrum = made_spectrum;
    *out = made;
    if (how != NULL)
        *how = (quell_measured){.shaking = in.shaking, .decays = decays};
    return QUELL_OK;
}
