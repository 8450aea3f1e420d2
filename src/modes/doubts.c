/* What speaks against a mode, in words: the evidence and one thing to look at. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define LOW_HZ 15.0
#define BROAD 0.15
#define TWINS_WITHIN 0.25
#define RATE_SHARE 0.2
#define NARROW_BINS 1.5
#define WIDTHS_DIFFER 1.6
#define ACROSS 0.5
#define STRONG 1.5       /* a mode that carries all of the axis has 1 */
#define MISFIT_RATIO 2.5 /* of the rms misfit to what chance makes */
#define MISFIT_LEAST 0.5 /* of ln P: 2.2 dB */

typedef struct doubter {
    const quell_modes *modes;
    const quell_spectrum *spectrum;
    size_t axis;
    const double *band_hz;
} doubter;

/* A number for a sentence. Each call of one sentence needs its own room. */
typedef struct number {
    char text[32];
} number;

static const char *say(number *room, double value, int significant)
{
    return quell_number_print(room->text, sizeof room->text, value, significant);
}

/* Each returns NULL if there is no such doubt, or the sentence in the arena; *failed when that is full. */

static const char *low(const doubter *in, const quell_mode *mode, quell_arena *arena, bool *failed)
{
    (void)in;
    (void)failed;
    (void)arena;
    return mode->frequency_hz < LOW_HZ
               ? "below 15 Hz: the bench or the frame rocking? brace it and record again"
               : NULL;
}

static const char *broad(const doubter *in, const quell_mode *mode, quell_arena *arena, bool *failed)
{
    (void)in;
    (void)failed;
    (void)arena;
    return mode->damping_ratio > BROAD
               ? "damping ratio above 0.15, a broad hump: a loose part? check the fasteners"
               : NULL;
}

static const char *twins(const doubter *in, const quell_mode *mode, quell_arena *arena, bool *failed)
{
    for (size_t k = 0; k < in->modes->count; k++) {
        const quell_mode *other = &in->modes->mode[k];
        if (other == mode || fabs(log(other->frequency_hz / mode->frequency_hz)) > TWINS_WITHIN)
            continue;
        number a, b;
        const char *text = quell_arena_print(
            arena, "one of two close modes, %s and %s Hz: uneven belts? compare their tension",
            say(&a, fmin(mode->frequency_hz, other->frequency_hz), 3),
            say(&b, fmax(mode->frequency_hz, other->frequency_hz), 3));
        *failed = *failed || text == NULL;
        return text;
    }
    return NULL;
}

static const char *edge(const doubter *in, const quell_mode *mode, quell_arena *arena, bool *failed)
{
    double margin = fmax(mode->damping_ratio * mode->frequency_hz, in->spectrum->bin_hz);
    const double *fitted = in->modes->band_hz;
    (void)failed;
    (void)arena;
    if (mode->frequency_hz - margin < in->band_hz[0] || mode->frequency_hz + margin > in->band_hz[1])
        return "at the edge of the band searched: widen --band";
    if (mode->frequency_hz - margin < fitted[0] || mode->frequency_hz + margin > fitted[1])
        return "where the excitation ends: shake the machine over a wider range";
    return NULL;
}

static const char *fast(const doubter *in, const quell_mode *mode, quell_arena *arena, bool *failed)
{
    number a;
    if (mode->frequency_hz <= RATE_SHARE * in->spectrum->rate_hz)
        return NULL;
    const char *text = quell_arena_print(arena, "above a fifth of the sampling rate of %s Hz: record faster",
                                         say(&a, in->spectrum->rate_hz, 4));
    *failed = *failed || text == NULL;
    return text;
}

static const char *narrow(const doubter *in, const quell_mode *mode, quell_arena *arena, bool *failed)
{
    double bins = 2 * mode->damping_ratio * mode->frequency_hz / in->spectrum->bin_hz;
    (void)failed;
    (void)arena;
    return bins < NARROW_BINS ? "hardly wider than a bin: damping is uncertain; use a longer --segment"
                              : NULL;
}

static const char *widths(const doubter *in, const quell_mode *mode, quell_arena *arena, bool *failed)
{
    number a;
    (void)in;
    if (!(fabs(log(mode->half_power_damping_ratio / mode->damping_ratio)) > log(WIDTHS_DIFFER)))
        return NULL;
    const char *text =
        quell_arena_print(arena, "the half-power width says %s: a short recording, or a neighbour close by",
                          say(&a, mode->half_power_damping_ratio, 2));
    *failed = *failed || text == NULL;
    return text;
}

static const char *across(const doubter *in, const quell_mode *mode, quell_arena *arena, bool *failed)
{
    if (!(fabs(mode->direction[in->axis]) < ACROSS))
        return NULL;
    const char *text = quell_arena_print(
        arena, "moves mostly across %c: is the sensor on what moves, and its mounting right?",
        "XYZ"[in->axis]);
    *failed = *failed || text == NULL;
    return text;
}

static const char *strong(const doubter *in, const quell_mode *mode, quell_arena *arena, bool *failed)
{
    number a;
    (void)in;
    if (!(fabs(mode->participation) > STRONG))
        return NULL;
    const char *text = quell_arena_print(
        arena,
        "participation of %s, where 1 carries the whole axis: two close modes taken for one? look at --plot",
        say(&a, mode->participation, 2));
    *failed = *failed || text == NULL;
    return text;
}

static const char *misfit(const doubter *in, const quell_mode *mode, quell_arena *arena, bool *failed)
{
    double chance = sqrt(2 / in->modes->fit.dof_per_bin), rms = in->modes->fit.rms_log_misfit;
    number a;
    (void)mode;
    if (rms <= fmax(MISFIT_RATIO * chance, MISFIT_LEAST))
        return NULL;
    const char *text = quell_arena_print(
        arena, "the fit is off by %s dB: damping may be far off; was the motion a sweep or random?",
        say(&a, rms * 10 / log(10), 2));
    *failed = *failed || text == NULL;
    return text;
}

static const char *(*const kinds[])(const doubter *in, const quell_mode *mode, quell_arena *arena,
                                    bool *failed) = {
    misfit, low, broad, twins, edge, fast, narrow, widths, across, strong,
};

quell_status quell_doubts_add(quell_modes *modes, const quell_spectrum *spectrum, size_t axis,
                              const double band_hz[2], quell_arena *arena, quell_error *err)
{
    doubter in = {.modes = modes, .spectrum = spectrum, .axis = axis, .band_hz = band_hz};
    bool failed = false;
    for (size_t k = 0; k < modes->count; k++) {
        quell_mode *mode = &modes->mode[k];
        for (size_t i = 0; i < sizeof kinds / sizeof kinds[0] && mode->doubts < QUELL_DOUBTS_MAX; i++) {
            const char *text = kinds[i](&in, mode, arena, &failed);
            if (text != NULL)
                mode->doubt[mode->doubts++] = text;
        }
    }
    return failed
               ? quell_fail(err, QUELL_E_MEMORY, "out of memory for the doubts about %zu modes", modes->count)
               : QUELL_OK;
}
