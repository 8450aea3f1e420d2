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

/* Bins whose centres are in [low, high), as quell_spectrum_band takes them. */
typedef struct bins {
    size_t first, end;
} bins;

static bins bins_between(const quell_spectrum *spectrum, double low_hz, double high_hz)
{
    bins found = {(size_t)ceil(fmax(low_hz, 0) / spectrum->bin_hz),
                  (size_t)ceil(fmax(high_hz, 0) / spectrum->bin_hz)};
    if (found.end > spectrum->bins)
        found.end = spectrum->bins;
    if (found.first > found.end)
        found.first = found.end;
    return found;
}

/* The same bins on both sides as long as these lie within half a bin of each other, else those of the same
   frequencies: two clocks that differ by a trifle must not put a bin more into one side's band. */
static bins matching_bins(bins of_before, const quell_spectrum *before, const quell_spectrum *after,
                          double low_hz, double high_hz)
{
    double slip = fabs(after->bin_hz - before->bin_hz) * (double)of_before.end / before->bin_hz;
    return slip < 0.5 && of_before.end <= after->bins ? of_before : bins_between(after, low_hz, high_hz);
}

/* Mean square between low and high: the mean density of the bins inside times the width, so that the number of bins
   that happen to lie inside does not matter. */
static bool measure(const quell_spectrum *spectrum, size_t axis, bins at, double width_hz,
                    double *mean_square, double *dof)
{
    double half = spectrum->bin_hz / 2, sum;
    if (at.end < at.first + 2 ||
        !quell_spectrum_band(spectrum, axis, (double)at.first * spectrum->bin_hz - half,
                             (double)at.end * spectrum->bin_hz - half, &sum, dof))
        return false;
    *mean_square = sum / ((double)(at.end - at.first) * spectrum->bin_hz) * width_hz;
    return true;
}

/* Fills in all of a change but what depends on the others. Sets *fits to false if too few bins lie inside. */
static quell_status compare_level(const quell_spectrum *before, const quell_spectrum *after, size_t axis,
                                  quell_level_change *change, bool *fits, quell_error *err)
{
    bins at = bins_between(before, change->low_hz, change->high_hz);
    bins after_at = matching_bins(at, before, after, change->low_hz, change->high_hz);
    double width_hz = change->high_hz - change->low_hz, was = 0, is = 0;
    *fits = measure(before, axis, at, width_hz, &was, &change->before_dof) &&
            measure(after, axis, after_at, width_hz, &is, &change->after_dof);
    if (!*fits)
        return QUELL_OK;
    if (!(was > 0) || !(is > 0)) {
        if (err != NULL)
            err->axis = "xyz"[axis];
        return quell_fail(err, QUELL_E_DATA,
                          "the %s side has no power from %.1f to %.1f Hz, want an axis that is alive",
                          was > 0 ? "after" : "before", change->low_hz, change->high_hz);
    }
    double factor[2];
    quell_f_factors(change->before_dof, change->after_dof, factor);
    change->before_mps2 = sqrt(was);
    change->after_mps2 = sqrt(is);
    change->change_db = 10 * (log10(is) - log10(was));
    change->ci95_db[0] = change->change_db + 10 * log10(factor[0]);
    change->ci95_db[1] = change->change_db + 10 * log10(factor[1]);
    change->p_value = quell_f_p_value(is / was, change->before_dof, change->after_dof);
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

static quell_status compare_bands(const quell_spectrum *before, const quell_spectrum *after, size_t axis,
                                  const double range_hz[2], quell_comparison *out, quell_error *err)
{
    enum { LAST = 60 };
    const double edge = 1 - 1e-9; /* a range asked for as 44.67:... means the band edge at 44.668 */
    int index = LAST;
    while (index > -LAST && quell_third_octave_band(index).high_hz * edge > range_hz[1])
        index--;
    /* from the top down, so that the lowest are left out if there are too many; then turned round */
    for (; index >= -LAST && out->bands < QUELL_BANDS_MAX; index--) {
        quell_third_octave third = quell_third_octave_band(index);
        if (third.low_hz < range_hz[0] * edge)
            break;
        quell_level_change change = {
            .nominal_hz = third.nominal_hz, .low_hz = third.low_hz, .high_hz = third.high_hz};
        bool fits;
        quell_status status = compare_level(before, after, axis, &change, &fits, err);
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
            range_hz[0], range_hz[1], before->bin_hz);
    for (size_t i = 0, j = out->bands - 1; i < j; i++, j--) {
        quell_level_change kept = out->band[i];
        out->band[i] = out->band[j];
        out->band[j] = kept;
    }
    return QUELL_OK;
}

static quell_status compare_modes(const quell_spectrum *before, const quell_spectrum *after, size_t axis,
                                  const quell_modes *modes, const double range_hz[2], quell_comparison *out,
                                  quell_error *err)
{
    for (size_t k = 0; modes != NULL && k < modes->count; k++) {
        double f = modes->mode[k].frequency_hz;
        double half_width = fmax(modes->mode[k].damping_ratio * f, 1.5 * before->bin_hz);
        quell_level_change change = {.nominal_hz = f, .low_hz = f - half_width, .high_hz = f + half_width};
        if (f < range_hz[0] || f > range_hz[1])
            continue;
        bool fits;
        quell_status status = compare_level(before, after, axis, &change, &fits, err);
        if (status != QUELL_OK)
            return status;
        if (!fits)
            continue;
        out->before_mode[out->modes] = modes->mode[k];
        out->mode[out->modes++] = change;
    }
    return QUELL_OK;
}

/* Corrects the p values over all bands and modes, and says which changes count. */
static quell_status judge(quell_comparison *out, quell_error *err)
{
    double p[QUELL_BANDS_MAX + QUELL_MODES_MAX];
    quell_level_change *change[QUELL_BANDS_MAX + QUELL_MODES_MAX];
    size_t count = 0;
    for (size_t i = 0; i < out->bands; i++)
        change[count++] = &out->band[i];
    for (size_t i = 0; i < out->modes; i++)
        change[count++] = &out->mode[i];
    for (size_t i = 0; i < count; i++)
        p[i] = change[i]->p_value;
    quell_status status = quell_holm(p, p, count, err);
    for (size_t i = 0; i < count && status == QUELL_OK; i++) {
        change[i]->p_holm = p[i];
        change[i]->counts = p[i] < QUELL_CHANGE_ALPHA && fabs(change[i]->change_db) >= QUELL_CHANGE_MIN_DB;
    }
    return status;
}

quell_status quell_compare(const quell_spectrum *before, const quell_spectrum *after, size_t axis,
                           const quell_modes *before_modes, const double band_hz[2], quell_arena *arena,
                           quell_comparison *out, quell_error *err)
{
    quell_status status = same_kind(before, after, axis, err);
    if (status != QUELL_OK)
        return status;
    quell_comparison made = {.axis = axis, .common_db = NAN};
    double range_hz[2];
    usable_range(before, after, band_hz, range_hz);
    status = compare_bands(before, after, axis, range_hz, &made, err);
    if (status == QUELL_OK)
        status = compare_modes(before, after, axis, before_modes, range_hz, &made, err);
    if (status == QUELL_OK)
        status = judge(&made, err);
    if (status != QUELL_OK)
        return status;
    quell_compare_find_common(&made);
    made.verdict = quell_compare_words(&made, arena);
    if (made.verdict == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the verdict");
    *out = made;
    return QUELL_OK;
}
