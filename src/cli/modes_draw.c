/* quell modes --plot: what the modes were fitted to, with several recordings of the first, which the title names; beside it
   what else helps to judge them. */
#include "cli/modes_view.h"

#include "report/plot_modes.h"
#include "report/plot_spectrum.h"

#include <math.h>
#include <string.h>

/* Sweeps start below the modes. */
#define LOWEST_OVER_TIME_HZ 5.0

enum { PICTURE_SLICES = 300, PICTURE_SHORTER = 4 };

/* "m.png" to "m-time.png"; NULL: out of memory. The ending was checked before. */
static const char *beside(cli_run *run, const char *what)
{
    const char *path = run->given.plot, *dot = strrchr(path, '.');
    size_t stem = dot != NULL ? (size_t)(dot - path) : strlen(path);
    return quell_arena_print(run->arena, "%.*s-%s%s", (int)stem, path, what, path + stem);
}

static void choose_band(const modes_recording *of, double shown_hz[2])
{
    const quell_modes *modes = &of->modes;
    bool fitted = modes->fit.parameters > 0;
    shown_hz[0] = fmax(fitted ? 0.6 * modes->band_hz[0] : modes->band_hz[0], of->spectrum.bin_hz);
    shown_hz[1] = fmin(fitted ? 1.6 * modes->band_hz[1] : modes->band_hz[1], of->spectrum.rate_hz / 2);
}

/* Gaps of the recording as samples from `first`. */
static quell_status breaks_within(cli_run *run, const quell_recording *recording, size_t first, size_t end,
                                  const size_t **out, size_t *count)
{
    size_t *list = QUELL_NEW(run->arena, size_t, recording->break_count + 1);
    if (list == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a plot");
    *count = 0;
    for (size_t i = 0; i < recording->break_count; i++)
        if (recording->break_at[i] > first && recording->break_at[i] < end)
            list[(*count)++] = recording->break_at[i] - first;
    *out = list;
    return QUELL_OK;
}

/* The sweep itself, a tenth of its length more on both sides, in short segments. */
static quell_status draw_over_time(cli_run *run, const modes_view *view, const char *name,
                                   const double band_hz[2], const char *path)
{
    const modes_recording *of = &view->recording[0];
    const quell_recording *recording = &of->loaded.recording;
    bool known = of->how.shaking.end > of->how.shaking.first && of->how.shaking.end <= recording->samples;
    size_t margin = known ? (of->how.shaking.end - of->how.shaking.first) / 10 : 0;
    size_t first = known && of->how.shaking.first > margin ? of->how.shaking.first - margin : 0;
    size_t end = known ? of->how.shaking.end + margin : recording->samples;
    end = end < recording->samples ? end : recording->samples;
    quell_welch_options options = {.window = of->spectrum.window, .segment = of->spectrum.segment};
    if (isnan(run->given.segment_s))
        options.segment = (options.segment / PICTURE_SHORTER + 1) / 2 * 2;
    const size_t *breaks = NULL;
    size_t count = 0;
    quell_spectrogram spectrogram;
    quell_status status = breaks_within(run, recording, first, end, &breaks, &count);
    if (status == QUELL_OK)
        status = quell_spectrogram_estimate(recording->accel_mps2[of->axis] + first, end - first,
                                            recording->rate_hz, breaks, count, &options, PICTURE_SLICES,
                                            run->arena, &spectrogram, &run->err);
    if (status != QUELL_OK)
        return status;
    spectrogram.start_s += (double)first / recording->rate_hz;
    const double over_time_hz[2] = {fmin(band_hz[0], LOWEST_OVER_TIME_HZ), band_hz[1]};
    return quell_plot_spectrogram(&spectrogram, modes_axis_letter(view), over_time_hz, &of->modes, name, path,
                                  run->given.out, &run->err);
}

static quell_status draw_decays(cli_run *run, const modes_view *view, const char *name, const char *path)
{
    const modes_recording *of = &view->recording[0];
    return quell_plot_decay(&of->how.decays, of->loaded.recording.rate_hz, name, modes_axis_letter(view), path,
                            run->given.out, &run->err);
}

/* The spectrum as it was fitted: without a common input, along the direction in which the modes move. */
static quell_status spectrum_as_fitted(cli_run *run, const modes_recording *of, quell_spectrum *out)
{
    const double *along = of->modes.density[of->axis].along;
    *out = of->spectrum;
    if (along[0] == 0 && along[1] == 0 && along[2] == 0)
        return QUELL_OK;
    double *density = QUELL_NEW(run->arena, double, out->bins);
    if (density == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a plot");
    quell_spectrum_along(&of->spectrum, along, density);
    out->asd_m2ps3[of->axis] = density;
    return QUELL_OK;
}

static quell_status draw_density(cli_run *run, const modes_view *view, const char *name,
                                 const double band_hz[2], const char *path)
{
    const modes_recording *of = &view->recording[0];
    const quell_modes_options options = {.shaper_on = view->shaper_on.count > 1 ? &view->shaper_on : NULL,
                                         .shaking = &of->how.shaking};
    quell_spectrum shown;
    quell_status status = spectrum_as_fitted(run, of, &shown);
    return status != QUELL_OK ? status
                              : quell_plot_modes(&shown, of->axis, &of->modes, &options, band_hz, name,
                                                 modes_axis_letter(view), path, run->given.out, &run->err);
}

quell_status modes_draw(cli_run *run, const modes_view *view)
{
    const modes_recording *of = &view->recording[0];
    const char *name = cli_short_name(run, of->file), *path = run->given.plot;
    const char *over_time = beside(run, "time"), *decay = beside(run, "decay"),
               *density = beside(run, "density");
    if (name == NULL || over_time == NULL || decay == NULL || density == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a plot");
    bool decays = of->how.decays.count > 0 && of->how.decays.shown > 0;
    bool stops = of->modes.kind == QUELL_EXCITE_STOPS && decays;
    bool swept = of->how.shaking.why != NULL && of->how.shaking.kind == QUELL_EXCITE_SWEEP;
    double band_hz[2];
    choose_band(of, band_hz);
    quell_status status = QUELL_OK;
    if (run->given.out != NULL)
        status = quell_folder_make(run->given.out, &run->err);
    if (status == QUELL_OK)
        status = draw_density(run, view, name, band_hz, stops ? density : path);
    if (status == QUELL_OK && decays)
        status = draw_decays(run, view, name, stops ? path : decay);
    if (status == QUELL_OK && swept)
        status = draw_over_time(run, view, name, band_hz, over_time);
    if (status != QUELL_OK)
        return status;
    if (stops)
        cli_say(run, "%s shows the decays; %s the density", path, density);
    else if (decays)
        cli_say(run, "%s shows the fit; %s the free decays that check it", path, decay);
    if (swept)
        cli_say(run,
                "%s shows the sweep over time. The fainter sweeps in it are odd harmonics of the strokes, of "
                "1/27 and "
                "1/125 of the power: they excite a mode at 3 f and 5 f while the sweep is still at f.",
                over_time);
    return QUELL_OK;
}
