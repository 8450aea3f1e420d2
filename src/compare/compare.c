/* Change of level in 1/3-octave bands and at modes, with its significance. */
#include "compare/compare_private.h"

#include <math.h>

static quell_status same_kind(const quell_spectrum *before, const quell_spectrum *after, size_t axis,
                              quell_error *err)
{
    if (axis >= 3 || axis >= before->axes || axis >= after->axes)
        return quell_fail(err, QUELL_E_USAGE,
                          "axis %zu is missing: the before side has %zu axes, the after side %zu", axis + 1,
                          before->axes, after->axes);
    if (before->window != after->window)
        return quell_fail(err, QUELL_E_DATA,
                          "the before side was analysed with a %s window and the after side with %s, "
                          "want the same window",
                          before->window->title, after->window->title);
    if (fabs(after->bin_hz - before->bin_hz) > 0.01 * before->bin_hz)
        return quell_fail(err, QUELL_E_DATA,
                          "bins are %.4f Hz wide before and %.4f Hz after, want the same within 1 %%",
                          before->bin_hz, after->bin_hz);
    return QUELL_OK;
}

/* The range in which levels are compared: asked for, above what a window spreads out from 0 Hz, and below 0.4 of the
   slower rate, where sensors and their filters stop to tell the truth. */
static void usable_range(const quell_spectrum *before, const quell_spectrum *after, const double band_hz[2],
                         double range_hz[2])
{
    bool asked = band_hz != NULL && (band_hz[0] != 0 || band_hz[1] != 0);
    range_hz[0] = fmax(asked ? band_hz[0] : 0, 2.5 * fmax(before->bin_hz, after->bin_hz));
    range_hz[1] = fmin(asked ? band_hz[1] : HUGE_VAL, 0.4 * fmin(before->rate_hz, after->rate_hz));
}

static quell_status compare_bands(const compare_sides *sides, quell_comparison *out, quell_error *err)
{
    enum { LAST = 60 };
    const double edge = 1 - 1e-9; /* a range asked for as 44.67:... means the band edge at 44.668 */
    const double *range_hz = sides->range_hz;
    int index = LAST;
    while (index > -LAST && quell_third_octave_band(index).high_hz * edge > range_hz[1])
        index--;
    /* from the top down, so that the lowest are left out if there are too many; then turned round */
    for (; index >= -LAST && out->bands < QUELL_BANDS_MAX; index--) {
        quell_third_octave third = quell_third_octave_band(index);
        if (third.low_hz < range_hz[0] * edge)
            break;
        quell_level_change change = {.nominal_hz = third.nominal_hz,
                                     .low_hz = third.low_hz,
                                     .high_hz = third.high_hz,
                                     .after_low_hz = third.low_hz,
                                     .after_high_hz = third.high_hz};
        bool fits;
        quell_status status = compare_level(sides, out, &change, &fits, err);
        if (status != QUELL_OK)
            return status;
        if (!fits)
            break; /* bands narrow downwards */
        out->band[out->bands++] = change;
    }
    if (out->bands == 0)
        return quell_fail(
            err, QUELL_E_DATA,
            "no 1/3-octave band of two bins or more lies between %.1f and %.1f Hz at %.2f Hz a bin; want a "
            "wider range or longer segments",
            range_hz[0], range_hz[1], out->spectrum[0].bin_hz);
    for (size_t i = 0, j = out->bands - 1; i < j; i++, j--) {
        quell_level_change kept = out->band[i];
        out->band[i] = out->band[j];
        out->band[j] = kept;
    }
    return QUELL_OK;
}

/* ---------------------------------------------------------------- what counts */

enum { TESTS_MAX = QUELL_BANDS_MAX + 3 * 2 * QUELL_MODES_MAX };

/* All that is tested: p values, and where their corrected ones go. */
typedef struct tests {
    size_t count;
    double p[TESTS_MAX];
    double *p_holm[TESTS_MAX];
} tests;

static void add_test(tests *to, double p, double *p_holm)
{
    *p_holm = (double)NAN;
    if (isnan(p))
        return;
    to->p[to->count] = p;
    to->p_holm[to->count++] = p_holm;
}

static bool counts(double p_holm, double change, double least)
{
    return p_holm < QUELL_CHANGE_ALPHA && fabs(change) >= least;
}

/* Corrected within the group, and for the other group, if there is one: each has its share of the 5 %. */
static quell_status correct(tests *of, size_t groups, quell_error *err)
{
    quell_status status = quell_holm(of->p, of->p, of->count, err);
    for (size_t i = 0; i < of->count && status == QUELL_OK; i++)
        *of->p_holm[i] = fmin(1, (double)groups * of->p[i]);
    return status;
}

/* Corrects the p values over all that is tested, and says which changes count. Modes, which the part shows, have half of the 5 %
   to themselves: there are many more bands, most of which say nothing new. */
static quell_status judge(quell_comparison *out, quell_error *err)
{
    tests bands = {0}, modes = {0};
    size_t groups = out->modes > 0 ? 2 : 1;
    for (size_t i = 0; i < out->bands; i++)
        add_test(&bands, out->band[i].p_value, &out->band[i].p_holm);
    for (size_t k = 0; k < out->modes; k++) {
        add_test(&modes, out->mode[k].level.p_value, &out->mode[k].level.p_holm);
        add_test(&modes, out->mode[k].frequency.p_value, &out->mode[k].frequency.p_holm);
        add_test(&modes, out->mode[k].damping.p_value, &out->mode[k].damping.p_holm);
    }
    quell_status status = correct(&bands, groups, err);
    if (status == QUELL_OK)
        status = correct(&modes, groups, err);
    if (status != QUELL_OK)
        return status;
    for (size_t i = 0; i < out->bands; i++)
        out->band[i].counts = counts(out->band[i].p_holm, out->band[i].change_db, QUELL_CHANGE_MIN_DB);
    for (size_t k = 0; k < out->modes; k++) {
        quell_mode_change *mode = &out->mode[k];
        mode->level.counts = counts(mode->level.p_holm, mode->level.change_db, QUELL_CHANGE_MIN_DB);
        mode->frequency.counts =
            counts(mode->frequency.p_holm, mode->frequency.share, QUELL_CHANGE_MIN_FREQUENCY);
        mode->damping.counts = counts(mode->damping.p_holm, mode->damping.share, QUELL_CHANGE_MIN_DAMPING);
        mode->counts = mode->level.counts || mode->frequency.counts || mode->damping.counts;
    }
    return QUELL_OK;
}

/* ---------------------------------------------------------------- the whole */

/* Did every recording whose modes were sought run a motion that repeats? */
static bool motion_repeats(const quell_measured_side *const side[2])
{
    for (size_t s = 0; s < 2; s++)
        for (size_t i = 0; i < side[s]->count; i++)
            if (side[s]->modes == NULL || (side[s]->modes[i].kind != QUELL_EXCITE_SWEEP &&
                                           side[s]->modes[i].kind != QUELL_EXCITE_STOPS))
                return false;
    return true;
}

/* The sides' pooled spectra, and what is known of each side. */
static quell_status prepare(compare_sides *sides, quell_arena *arena, quell_comparison *out, quell_error *err)
{
    static const char *const name[2] = {"before", "after"};
    for (size_t s = 0; s < 2; s++) {
        const quell_measured_side *side = sides->side[s];
        if (side->count == 0 || side->count > QUELL_RECORDINGS_MAX)
            return quell_fail(err, QUELL_E_USAGE, "the %s side has %zu recordings, want 1 to %d", name[s],
                              side->count, QUELL_RECORDINGS_MAX);
        quell_error why = {0};
        out->spectrum[s] = side->spectrum[0];
        quell_status status = side->count == 1 ? QUELL_OK
                                               : quell_spectra_pool(side->spectrum, side->count, arena,
                                                                    &out->spectrum[s], &why);
        if (status != QUELL_OK)
            return quell_fail(err, status, "the %s side: %s", name[s], why.text);
        out->recordings[s] = side->count;
        out->sought[s] = side->modes != NULL;
        out->shaper_known[s] = side->shaper_known;
    }
    out->run_to_run = out->recordings[0] + out->recordings[1] >= 2 + QUELL_REPEATS_LEAST;
    out->repeated_motion = motion_repeats(sides->side);
    sides->run_to_run = out->run_to_run;
    return QUELL_OK;
}

quell_status quell_compare(const quell_measured_side *before, const quell_measured_side *after, size_t axis,
                           const double band_hz[2], quell_arena *arena, quell_comparison *out,
                           quell_error *err)
{
    compare_sides sides = {.side = {before, after}, .axis = axis};
    quell_comparison *made = QUELL_NEW(arena, quell_comparison, 1);
    if (made == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a comparison");
    *made = (quell_comparison){.axis = axis, .common_db = NAN};
    quell_status status = prepare(&sides, arena, made, err);
    const quell_spectrum *was = &made->spectrum[0], *is = &made->spectrum[1];
    if (status == QUELL_OK)
        status = same_kind(was, is, axis, err);
    if (status != QUELL_OK)
        return status;
    usable_range(was, is, band_hz, sides.range_hz);
    status = compare_bands(&sides, made, err);
    if (status == QUELL_OK)
        status = compare_modes(&sides, made, err);
    if (status == QUELL_OK)
        status = judge(made, err);
    if (status != QUELL_OK)
        return status;
    quell_compare_find_common(made);
    made->verdict = quell_compare_words(made, arena);
    if (made->verdict == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the verdict");
    *out = *made;
    return QUELL_OK;
}
