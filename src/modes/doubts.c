/* What speaks against a mode, in words: the evidence and one thing to look at. Here are the tables and what a
   spectrum or a few numbers tell; doubts_*.c hold what the recording is looked into for. */
#include "modes_private.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>

#define LOW_HZ 15.0
#define BROAD 0.15
#define TWINS_WITHIN 0.15 /* of ln f */
#define SKIRTS_WITHIN 3.0 /* of the sum of the half-widths: closer twins blur each other's direction */
#define RATE_SHARE 0.2
#define NARROW_BINS 1.5
#define WIDTHS_DIFFER 1.6
#define ACROSS 0.5
#define STRONG 1.5       /* a mode that carries all of the axis has 1 */
#define MISFIT_RATIO 2.5 /* of the rms misfit to what chance makes */
#define MISFIT_LEAST 0.5 /* of ln P: 2.2 dB */

const char *quell_doubt_print(quell_doubter *in, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    const char *text = quell_arena_print_list(in->arena, format, arguments);
    va_end(arguments);
    in->failed = in->failed || text == NULL;
    return text;
}

quell_number_text quell_doubt_errors(double errors)
{
    return errors < 100 ? quell_number_fixed(errors, errors < 9.95) : (quell_number_text){"over 100"};
}

static const char *low(quell_doubter *in, const quell_mode *mode)
{
    (void)in;
    return mode->frequency_hz < LOW_HZ
               ? "below 15 Hz: the bench or the frame rocking? brace it and record again"
               : NULL;
}

static const char *broad(quell_doubter *in, const quell_mode *mode)
{
    (void)in;
    return mode->damping_ratio > BROAD
               ? "damping ratio above 0.15, a broad hump: a loose part? check the fasteners"
               : NULL;
}

static double half_width_hz(const quell_mode *mode)
{
    return mode->damping_ratio * mode->frequency_hz;
}

static const char *twins(quell_doubter *in, const quell_mode *mode)
{
    for (size_t k = 0; k < in->modes->count; k++) {
        const quell_mode *other = &in->modes->mode[k];
        if (other == mode || other->seen_on != mode->seen_on ||
            fabs(log(other->frequency_hz / mode->frequency_hz)) > TWINS_WITHIN)
            continue;
        double apart_hz = fabs(other->frequency_hz - mode->frequency_hz);
        bool blurred = isfinite(mode->direction[0]) &&
                       apart_hz < SKIRTS_WITHIN * (half_width_hz(mode) + half_width_hz(other));
        return quell_doubt_print(
            in, "one of two close modes, %s and %s Hz%s: uneven belts? compare their tension",
            quell_number_short(fmin(mode->frequency_hz, other->frequency_hz), 3).text,
            quell_number_short(fmax(mode->frequency_hz, other->frequency_hz), 3).text,
            blurred ? ", so that the direction is good to 8-15 deg only" : "");
    }
    return NULL;
}

static const char *edge(quell_doubter *in, const quell_mode *mode)
{
    double margin = fmax(half_width_hz(mode), in->spectrum->bin_hz);
    const double *excited = in->modes->excited_hz;
    if (mode->frequency_hz - margin < in->band_hz[0] || mode->frequency_hz + margin > in->band_hz[1])
        return "at the edge of the band searched: widen --band";
    if (mode->frequency_hz - margin < excited[0] || mode->frequency_hz + margin > excited[1])
        return "where the excitation ends: shake the machine over a wider range";
    return NULL;
}

static const char *fast(quell_doubter *in, const quell_mode *mode)
{
    if (mode->frequency_hz <= RATE_SHARE * in->spectrum->rate_hz)
        return NULL;
    return quell_doubt_print(in, "above a fifth of the sampling rate of %s Hz: record faster",
                             quell_number_short(in->spectrum->rate_hz, 4).text);
}

static const char *narrow(quell_doubter *in, const quell_mode *mode)
{
    double bins = 2 * half_width_hz(mode) / in->spectrum->bin_hz;
    return bins < NARROW_BINS ? "hardly wider than a bin: damping is uncertain; use a longer --segment"
                              : NULL;
}

static const char *widths(quell_doubter *in, const quell_mode *mode)
{
    if (!(fabs(log(mode->half_power_damping_ratio / mode->damping_ratio)) > log(WIDTHS_DIFFER)))
        return NULL;
    return quell_doubt_print(in, "the half-power width says %s: a short recording, or a neighbour close by",
                             quell_number_short(mode->half_power_damping_ratio, 2).text);
}

static const char *across(quell_doubter *in, const quell_mode *mode)
{
    if (!(fabs(mode->direction[in->axis]) < ACROSS))
        return NULL;
    return quell_doubt_print(
        in, "moves mostly across %c: is the sensor on what moves, and its mounting right?", "XYZ"[in->axis]);
}

static const char *strong(quell_doubter *in, const quell_mode *mode)
{
    if (!(fabs(mode->participation) > STRONG))
        return NULL;
    return quell_doubt_print(
        in,
        "participation of %s, where 1 carries the whole axis: two close modes taken for one? look at --plot",
        quell_number_short(mode->participation, 2).text);
}

static const char *misfit(quell_doubter *in, const quell_mode *mode)
{
    double chance = quell_modes_chance_misfit(in->modes, in->spectrum), rms = in->modes->fit.rms_log_misfit;
    (void)mode;
    if (rms <= fmax(MISFIT_RATIO * chance, MISFIT_LEAST))
        return NULL;
    return quell_doubt_print(
        in, "the fit is off by %s dB: damping may be far off; was the motion a sweep or random?",
        quell_number_short(rms * 10 / log(10), 2).text);
}

/* The gravest first. */
static quell_doubt_kind *const of_spectrum[] = {
    misfit, low, quell_doubt_frame, broad, twins, edge, fast, narrow, widths, across, strong,
};

static quell_doubt_kind *const of_recording[] = {
    quell_doubt_speed,     quell_doubt_level,        quell_doubt_sweep, quell_doubt_falling_stops,
    quell_doubt_direction, quell_doubt_disagreement, quell_doubt_tone,
};

quell_status quell_doubts_add(quell_modes *modes, const quell_spectrum *spectrum, size_t axis,
                              const double band_hz[2], quell_arena *arena, quell_error *err)
{
    quell_doubter in = {
        .modes = modes, .spectrum = spectrum, .axis = axis, .band_hz = band_hz, .arena = arena};
    for (size_t k = 0; k < modes->count; k++) {
        quell_mode *mode = &modes->mode[k];
        for (size_t i = 0; i < sizeof of_spectrum / sizeof of_spectrum[0] && mode->doubts < QUELL_DOUBTS_MAX;
             i++) {
            const char *text = of_spectrum[i](&in, mode);
            if (text != NULL)
                mode->doubt[mode->doubts++] = text;
        }
    }
    return in.failed
               ? quell_fail(err, QUELL_E_MEMORY, "out of memory for the doubts about %zu modes", modes->count)
               : QUELL_OK;
}

/* Puts a doubt at place `at`, what was there and behind one further; the last drops out if there are too many. */
static void insert(quell_mode *mode, size_t at, const char *text)
{
    if (mode->doubts < QUELL_DOUBTS_MAX)
        mode->doubts++;
    memmove(mode->doubt + at + 1, mode->doubt + at, (mode->doubts - at - 1) * sizeof *mode->doubt);
    mode->doubt[at] = text;
}

quell_status quell_doubts_add_recording(quell_modes *modes, quell_doubter *in, quell_error *err)
{
    in->modes = modes;
    in->failed = false;
    for (size_t k = 0; k < modes->count; k++) {
        size_t added = 0;
        for (size_t i = 0; i < sizeof of_recording / sizeof of_recording[0]; i++) {
            const char *text = of_recording[i](in, &modes->mode[k]);
            if (text != NULL)
                insert(&modes->mode[k], added++, text);
        }
    }
    return in->failed
               ? quell_fail(err, QUELL_E_MEMORY, "out of memory for the doubts about %zu modes", modes->count)
               : QUELL_OK;
}
