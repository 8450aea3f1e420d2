/* Modes of a recording without a common input, as of a machine that only its surroundings shake. Each peak is looked at by
   itself: along the direction in which it stands out most, and no farther off than a mode as wide tells anything. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

/* Half-widths of a mode on either side that are fitted: they hold nine tenths of what can be known of it (S.-K. Au, Mech.
   Syst. Signal Process. 48, 2014), and beyond them other modes have more to say. */
#define HALF_WIDTHS 25.0
#define NEAR_BINS 1.5     /* what is closer than this, or than a half-width, is one */
#define WHOLE_HALF_WIDTHS 3.0
#define MISFIT_MOST 2.5   /* of the rms misfit to what chance makes: more is no mode */

enum { SIDE_LEAST = 14, SIDE_MOST = 400 /* bins */, MODES_MOST = 3 /* of one look */ };
enum { VIEWS = 4 /* three axes and all together */, PEAKS_MOST = VIEWS * SEARCH_PEAKS_MAX };

static void trace(const quell_spectrum *spectrum, double *density)
{
    for (size_t k = 0; k < spectrum->bins; k++) {
        density[k] = 0;
        for (size_t i = 0; i < spectrum->axes; i++)
            density[k] += spectrum->asd_m2ps3[i][k];
    }
}

/* What the work needs. */
typedef struct projection {
    const quell_spectrum *spectrum; /* of the recording */
    quell_spectrum view;            /* the same with the density along a direction in place of its axis' */
    double *density;
    size_t axis;
    bool turns;       /* there are three axes, and what they have in common */
    size_t low, high; /* bins searched */
    const quell_modes_options *options;
    quell_mode_search search;
    size_t peaks;
    quell_peak peak[PEAKS_MOST]; /* the most prominent first */
    double squares, bins;        /* of the misfits of all fits, and over how many bins */
} projection;

static double half_width_bins(const quell_peak *peak)
{
    double half = peak->half_power_damping_ratio * (double)peak->bin;
    return isfinite(half) ? half : 1;
}

/* ---------------------------------------------------------------- peaks */

/* Enters a peak, unless it is one of those there are, in whose place it stands if it is more prominent. */
static void enter_peak(projection *in, const quell_peak *peak)
{
    size_t at = in->peaks;
    for (size_t i = 0; i < in->peaks; i++) {
        double apart = fabs((double)in->peak[i].bin - (double)peak->bin);
        if (apart > fmax(NEAR_BINS, fmin(half_width_bins(peak), half_width_bins(&in->peak[i]))))
            continue;
        if (in->peak[i].prominence_db >= peak->prominence_db)
            return;
        at = i;
        break;
    }
    in->peaks += at == in->peaks;
    for (; at > 0 && in->peak[at - 1].prominence_db < peak->prominence_db; at--)
        in->peak[at] = in->peak[at - 1];
    in->peak[at] = *peak;
}

/* Peaks of all axes together and of each: a mode may show on one where another hides it on the others. */
static quell_status gather_peaks(projection *in, quell_error *err)
{
    double low_hz = (double)in->low * in->spectrum->bin_hz, high_hz = (double)in->high * in->spectrum->bin_hz;
    quell_status status = QUELL_OK;
    for (size_t v = 0; v < VIEWS && status == QUELL_OK; v++) {
        quell_peak peak[SEARCH_PEAKS_MAX];
        size_t count = 0;
        if (!in->turns && v != in->axis)
            continue;
        if (v < 3)
            memcpy(in->density, in->spectrum->asd_m2ps3[v], in->spectrum->bins * sizeof *in->density);
        else
            trace(in->spectrum, in->density);
        status = quell_peaks_find(&in->view, in->axis, low_hz, high_hz, peak, SEARCH_PEAKS_MAX, &count, err);
        for (size_t i = 0; i < count && status == QUELL_OK; i++)
            enter_peak(in, &peak[i]);
    }
    return status;
}

/* ---------------------------------------------------------------- one peak */

static bool known(const quell_modes *modes, double hz, double bin_hz)
{
    for (size_t k = 0; k < modes->count + modes->left_out; k++) {
        const quell_mode *mode = k < modes->count ? &modes->mode[k] : &modes->left_out_mode[k - modes->count];
        if (fabs(hz - mode->frequency_hz) <= fmax(mode->damping_ratio * mode->frequency_hz, NEAR_BINS * bin_hz))
            return true;
    }
    return false;
}

static bool is_near(const projection *in, const quell_mode *mode, const quell_peak *peak)
{
    double apart = mode->frequency_hz / in->spectrum->bin_hz - (double)peak->bin;
    return fabs(apart) <= fmax(NEAR_BINS, half_width_bins(peak));
}

/* Has a mode found beside the one looked for a peak of its own? Then it is looked at there. */
static bool has_peak(const projection *in, const quell_mode *mode)
{
    for (size_t i = 0; i < in->peaks; i++)
        if (is_near(in, mode, &in->peak[i]))
            return true;
    return false;
}

/* The fit reported is that of the first, the most prominent peak; what is counted is of all. */
static void add_to_report(projection *in, quell_modes *modes, const double along[3])
{
    const quell_mode_search *search = &in->search;
    double bins = (double)(search->last - search->first + 1), bin_hz = in->spectrum->bin_hz;
    in->squares += bins * search->best.rms * search->best.rms;
    in->bins += bins;
    if (modes->fit.parameters == 0) {
        quell_search_report(search, modes);
        memcpy(modes->density[in->axis].along, along, sizeof modes->density[in->axis].along);
    } else {
        modes->fit.parameters += FIT_PER_MODE * search->best.modes + 1; /* and the noise */
        modes->fit.iterations += search->best.iterations;
        modes->band_hz[0] = fmin(modes->band_hz[0], (double)search->first * bin_hz);
        modes->band_hz[1] = fmax(modes->band_hz[1], (double)search->last * bin_hz);
    }
    modes->fit.rms_log_misfit = sqrt(in->squares / in->bins);
}

/* Is a mode without a peak one that the fitted band shows whole? A hump as wide as the band is what lies around. */
static bool is_whole(const quell_mode_search *search, const quell_mode *mode)
{
    double at = mode->frequency_hz / search->spectrum->bin_hz, reach = WHOLE_HALF_WIDTHS * mode->damping_ratio * at;
    return at - reach >= (double)search->first && at + reach <= (double)search->last;
}

/* Takes in what the search found at the peak, and what else it found that is no peak's own. */
static void take_modes(projection *in, const quell_peak *peak, const double along[3], quell_modes *modes)
{
    quell_mode_search *search = &in->search;
    double variance[FIT_PARAMETERS_MAX];
    quell_mode found[QUELL_MODES_MAX];
    bool here = false;
    quell_fit_variances(&search->problem, &search->best, variance);
    for (size_t k = 0; k < search->best.modes; k++) {
        found[k] = quell_search_mode(search, k, variance, in->options);
        here = here || is_near(in, &found[k], peak);
        if (in->turns)
            quell_direction_along(in->spectrum, &found[k], along);
    }
    if (!here)
        return;
    add_to_report(in, modes, along);
    for (size_t k = 0; k < search->best.modes; k++)
        if ((is_near(in, &found[k], peak) || (!has_peak(in, &found[k]) && is_whole(search, &found[k]))) &&
            !known(modes, found[k].frequency_hz, in->spectrum->bin_hz))
            quell_modes_enter(modes, &found[k], in->options);
}

/* Searches the present projection round a peak. */
static quell_status search_along(projection *in, const quell_peak *peak, const double along[3], quell_modes *modes,
                                 quell_error *err)
{
    quell_mode_search *search = &in->search;
    size_t side = (size_t)fmin(fmax(HALF_WIDTHS * half_width_bins(peak), SIDE_LEAST), SIDE_MOST);
    *search = (quell_mode_search){.spectrum = &in->view,
                                  .axis = in->axis,
                                  .modes_most = MODES_MOST,
                                  .low = peak->bin > in->low + side ? peak->bin - side : in->low,
                                  .high = peak->bin + side < in->high ? peak->bin + side : in->high};
    quell_status status = quell_search_prepare(search, in->options, MODEL_AMBIENT, NULL, err);
    if (status == QUELL_OK)
        quell_modes_select(search);
    double chance = sqrt(2 / in->spectrum->dof);
    if (status == QUELL_OK && search->best.modes > 0 && search->best.rms <= MISFIT_MOST * chance)
        take_modes(in, peak, along, modes);
    quell_fit_release(&search->problem);
    return status;
}

static quell_status search_peaks(projection *in, quell_modes *modes, quell_error *err)
{
    quell_status status = gather_peaks(in, err);
    if (!in->turns)
        memcpy(in->density, in->spectrum->asd_m2ps3[in->axis], in->spectrum->bins * sizeof *in->density);
    for (size_t i = 0; i < in->peaks && status == QUELL_OK && modes->count < QUELL_MODES_MAX; i++) {
        double u[3] = {0, 0, 0};
        const quell_peak *peak = &in->peak[i];
        bool too_wide = half_width_bins(peak) > AMBIENT_HALF_WIDTH_MOST;
        if (too_wide || known(modes, peak->frequency_hz, in->spectrum->bin_hz) ||
            (in->turns && !quell_direction_stands_out(in->spectrum, peak->bin, half_width_bins(peak), u)))
            continue;
        if (in->turns)
            quell_spectrum_along(in->spectrum, u, in->density);
        status = search_along(in, peak, u, modes, err);
    }
    return status;
}

quell_status quell_modes_ambient(const quell_spectrum *spectrum, size_t axis, const quell_modes_options *options,
                                 quell_modes *modes, quell_error *err)
{
    projection *in = quell_memory_get(sizeof *in);
    double *density = quell_memory_get(spectrum->bins * sizeof(double)), band_hz[2];
    quell_mode_search band = {.spectrum = spectrum, .axis = axis};
    quell_status status = QUELL_OK;
    if (in == NULL || density == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for projections of %zu bins", spectrum->bins);
    else
        status = quell_search_band(&band, options, band_hz, err);
    if (status == QUELL_OK) {
        *in = (projection){.spectrum = spectrum,
                           .view = *spectrum,
                           .density = density,
                           .axis = axis,
                           .turns = spectrum->axes == 3 && spectrum->cross_m2ps3[0][1] != NULL,
                           .low = band.low,
                           .high = band.high,
                           .options = options};
        in->view.asd_m2ps3[axis] = density;
        status = search_peaks(in, modes, err);
    }
    quell_memory_free(in);
    quell_memory_free(density);
    return status;
}
