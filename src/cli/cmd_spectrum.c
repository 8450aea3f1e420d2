/* quell spectrum: the acceleration spectral density of recordings, with its confidence. */
#include "cli/spectrum_view.h"

#include "report/plot_spectrum.h"

#include <math.h>
#include <string.h>

#define PER_G2 (1 / (QUELL_STANDARD_GRAVITY_MPS2 * QUELL_STANDARD_GRAVITY_MPS2))
#define LOWEST_SHOWN_HZ 2.0

enum { PEAKS_SHOWN = 3, PICTURE_SLICES = 300, PICTURE_SHORTER = 4 };

static const cli_option axis_rows[] = {
    {"--axis", "x|y", CLI_TEXT, offsetof(cli_options, axis), "the axis that was shaken, if not found"},
    {"--spectrogram", "FILE", CLI_TEXT, offsetof(cli_options, spectrogram),
     "draw that axis of the first recording as frequency over time (needs gnuplot)"},
    {0},
};
static const cli_group axis_group = {"Recording", axis_rows};
static const cli_group *const groups[] = {&axis_group, &cli_reading_options, &cli_analysis_options,
                                          &cli_output_options, NULL};

/* Recordings of one base name in different folders must not overwrite each other's results. */
static const char *unique_name(cli_run *run, const spectrum_view *views, size_t count, const char *path)
{
    char *name = cli_short_name(run, path), *tried = name;
    for (size_t i = 0, number = 2; i < count && tried != NULL; i++)
        if (strcmp(views[i].name, tried) == 0) {
            tried = quell_arena_print(run->arena, "%s-%zu", name, number++);
            i = (size_t)-1;
        }
    return tried;
}

/* ---------------------------------------------------------------- one recording */

static void choose_band(const quell_spectrum *spectrum, const double given_hz[2], double band_hz[2])
{
    band_hz[0] = given_hz[0];
    band_hz[1] = fmin(given_hz[1], spectrum->rate_hz / 2);
    if (given_hz[1] == 0)
        quell_modes_default_band(spectrum->rate_hz, band_hz);
}

static quell_status fill_axis(cli_run *run, spectrum_view *view, size_t axis)
{
    double power = 0, dof = 0, factor[2];
    bool any = quell_spectrum_band(&view->spectrum, axis, view->band_hz[0], view->band_hz[1], &power, &dof);
    view->axis[axis].rms_mps2 = any ? sqrt(power) : (double)NAN;
    quell_chi2_factors(any ? dof : 1, factor);
    for (size_t i = 0; i < 2; i++)
        view->axis[axis].rms_ci95_mps2[i] = view->axis[axis].rms_mps2 * sqrt(factor[i]);
    return quell_peaks_find(&view->spectrum, axis, view->band_hz[0], view->band_hz[1], view->axis[axis].peak,
                            SPECTRUM_PEAKS_MAX, &view->axis[axis].peaks, &run->err);
}

static quell_status gather(cli_run *run, spectrum_view *views, size_t count, const char *path, char driven,
                           const double band_hz[2])
{
    spectrum_view *view = &views[count];
    view->file = path;
    view->name = unique_name(run, views, count, path);
    quell_status status = cli_idle_find(run, &view->idle);
    if (status != QUELL_OK)
        return status;
    if (view->name == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for names");
    bool keep = run->given.spectrogram != NULL && count == 0; /* that picture takes the samples themselves */
    status = keep ? cli_recording_load(run, path, driven, &view->loaded)
                  : cli_spectrum_stream(run, path, driven, &view->loaded, &view->spectrum);
    if (status == QUELL_OK && keep)
        status = cli_spectrum_make(run, &view->loaded.recording, 0, false, &view->spectrum);
    if (status != QUELL_OK)
        return status;
    choose_band(&view->spectrum, band_hz, view->band_hz);
    if (!(view->band_hz[0] < view->band_hz[1])) {
        char low[32], half[32];
        quell_error_set_file(&run->err, path);
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "option --band: starts at %s Hz, want less than half the rate, %s Hz",
                          quell_number_print(low, sizeof low, view->band_hz[0], 5),
                          quell_number_print(half, sizeof half, view->spectrum.rate_hz / 2, 5));
    }
    for (size_t i = 0; i < view->spectrum.axes && status == QUELL_OK; i++)
        status = fill_axis(run, view, i);
    return status;
}

/* ---------------------------------------------------------------- table */

static void print_head(const spectrum_view *view)
{
    const quell_spectrum *spectrum = &view->spectrum;
    char name[320];
    printf("%s\n", quell_printable(name, sizeof name, view->file, strlen(view->file)));
    printf("  %s Hz, %s segments of %s s, %s %% overlap: %zu averaged\n",
           quell_number_fixed(spectrum->rate_hz, 2).text, spectrum->window->title,
           quell_number_fixed((double)spectrum->segment / spectrum->rate_hz, 3).text,
           quell_number_fixed(100 - 100 * (double)spectrum->hop / (double)spectrum->segment, 0).text,
           spectrum->segments);
    printf("  bins of %s Hz (noise bandwidth %s Hz), %s degrees of freedom:\n",
           quell_number_fixed(spectrum->bin_hz, 4).text, quell_number_fixed(spectrum->enbw_hz, 4).text,
           quell_number_fixed(spectrum->dof, 1).text);
    printf("  95 %%: the true density is %s to %s times what is shown\n",
           quell_number_fixed(spectrum->ci95_factor[0], 3).text,
           quell_number_fixed(spectrum->ci95_factor[1], 3).text);
    printf("  levels and peaks from %s to %s Hz\n\n", quell_number_fixed(view->band_hz[0], 1).text,
           quell_number_fixed(view->band_hz[1], 1).text);
}

static void add_level(quell_table *table, const spectrum_view *view, size_t axis, size_t row)
{
    if (row > 0) {
        quell_table_cell(table, "%s", "");
        quell_table_cell(table, "%s", "");
        return;
    }
    quell_table_cell(table, "%c", "xyz"[axis]);
    quell_table_number(table, view->axis[axis].rms_mps2, 4);
}

static void add_peak(quell_table *table, const spectrum_view *view, size_t axis, const quell_peak *peak)
{
    const quell_spectrum *spectrum = &view->spectrum;
    double density = spectrum->asd_m2ps3[axis][peak->bin], factor[2];
    spectrum_factors(spectrum, peak->bin, factor);
    quell_table_number(table, peak->frequency_hz, 2);
    quell_table_cell(table, "%s", quell_number_short(density, 3).text);
    quell_table_cell(table, "%s", quell_number_short(density * PER_G2, 3).text);
    quell_table_number(table, 10 * log10(density), 1);
    quell_table_cell(table, "%s..%s", quell_number_fixed(10 * log10(density * factor[0]), 1).text,
                     quell_number_fixed(10 * log10(density * factor[1]), 1).text);
    bool idle = cli_idle_line_at(view->idle, peak->frequency_hz, spectrum->bin_hz) != NULL;
    quell_table_cell(table, "%s", idle ? "idle line" : peak->line ? "line" : "peak");
}

static void print_table(cli_run *run, const spectrum_view *view)
{
    static const quell_column columns[] = {{"axis", "", true},          {"rms", "m/s2", false},
                                           {"at", "Hz", false},         {"density", "(m/s2)2/Hz", false},
                                           {"density", "g2/Hz", false}, {"level", "dB", false},
                                           {"95 %", "dB", false},       {"kind", "", true}};
    enum { COLUMNS = sizeof columns / sizeof columns[0] };
    quell_table *table = quell_table_create(run->arena, columns, COLUMNS);
    print_head(view);
    for (size_t axis = 0; axis < view->spectrum.axes; axis++) {
        size_t rows = view->axis[axis].peaks < PEAKS_SHOWN ? view->axis[axis].peaks : PEAKS_SHOWN;
        for (size_t row = 0; row < (rows > 0 ? rows : 1); row++) {
            add_level(table, view, axis, row);
            if (rows > 0)
                add_peak(table, view, axis, &view->axis[axis].peak[row]);
            else
                for (size_t c = 2; c < COLUMNS; c++)
                    quell_table_cell(table, "%s", c + 1 < COLUMNS ? "-" : "none");
        }
    }
    quell_table_print(table, stdout, 2);
}

/* ---------------------------------------------------------------- the command */

/* Modes are marked in the picture only, and only on the axis under test. */
static quell_status draw(cli_run *run, const spectrum_view *views, size_t count, const double band_hz[2])
{
    quell_spectrum *spectra = QUELL_NEW(run->arena, quell_spectrum, count);
    const char **names = QUELL_NEW(run->arena, const char *, count);
    quell_modes *modes = QUELL_NEW(run->arena, quell_modes, 1);
    quell_shaper *shaper = QUELL_NEW(run->arena, quell_shaper, 1);
    if (spectra == NULL || names == NULL || modes == NULL || shaper == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a plot");
    for (size_t i = 0; i < count; i++) {
        spectra[i] = views[i].spectrum;
        names[i] = views[i].name;
    }
    quell_modes_options options = {.band_hz = {band_hz[0], fmin(band_hz[1], spectra[0].rate_hz / 2)}};
    size_t axis = cli_axis_under_test(&views[0].loaded);
    bool stated;
    quell_status status = cli_shaper_on(run, shaper, &stated);
    options.line = views[0].idle->line;
    options.line_count = views[0].idle->count;
    options.shaper_on = shaper->count > 1 ? shaper : NULL;
    if (status == QUELL_OK)
        status = quell_modes_find(&spectra[0], axis, &options, run->arena, modes, NULL);
    if (status == QUELL_E_DATA) /* too narrow a band to fit in: nothing to mark */
        status = QUELL_OK;
    if (status == QUELL_E_MEMORY)
        quell_fail(&run->err, status, "out of memory for the modes");
    double half_hz = spectra[0].rate_hz / 2;
    const double shown_hz[2] = {band_hz[1] > 0 ? fmax(band_hz[0], spectra[0].bin_hz) : LOWEST_SHOWN_HZ,
                                band_hz[1] > 0 ? fmin(band_hz[1], half_hz) : half_hz};
    if (status == QUELL_OK && run->given.out != NULL)
        status = quell_folder_make(run->given.out, &run->err);
    if (status == QUELL_OK)
        status = quell_plot_spectra(spectra, names, count, modes, shown_hz, run->given.plot,
                                    run->given.out, &run->err);
    return status;
}

/* The picture of the sweep itself: short segments, unless a length is asked for. */
static quell_status draw_over_time(cli_run *run, const spectrum_view *view)
{
    const quell_recording *recording = &view->loaded.recording;
    size_t axis = cli_axis_under_test(&view->loaded);
    quell_welch_options options = {.window = view->spectrum.window, .segment = view->spectrum.segment};
    if (isnan(run->given.segment_s))
        options.segment = (options.segment / PICTURE_SHORTER + 1) / 2 * 2;
    double band_hz[2];
    quell_spectrogram spectrogram;
    quell_status status = cli_band(run, band_hz, &run->err);
    if (band_hz[1] == 0)
        quell_modes_default_band(recording->rate_hz, band_hz);
    band_hz[1] = fmin(band_hz[1], recording->rate_hz / 2);
    if (status == QUELL_OK)
        status = quell_spectrogram_estimate(recording->accel_mps2[axis], recording->samples,
                                            recording->rate_hz, recording->break_at, recording->break_count,
                                            &options, PICTURE_SLICES, run->arena, &spectrogram, &run->err);
    if (status == QUELL_OK && run->given.out != NULL)
        status = quell_folder_make(run->given.out, &run->err);
    if (status == QUELL_OK)
        status = quell_plot_spectrogram(&spectrogram, view->loaded.driven, band_hz, NULL, view->name,
                                        run->given.spectrogram, run->given.out, &run->err);
    return status;
}

static quell_status print(cli_run *run, const spectrum_view *views, size_t count)
{
    if (!run->given.json) {
        for (size_t i = 0; i < count; i++) {
            if (i > 0)
                putchar('\n');
            print_table(run, &views[i]);
        }
        return QUELL_OK;
    }
    quell_json json = quell_json_begin("quell.spectrum/1");
    spectrum_json(&json, json.root, &views[0]);
    if (count > 1) {
        json_t *others = quell_json_array(&json, json.root, "others");
        for (size_t i = 1; i < count; i++)
            spectrum_json(&json, quell_json_item(&json, others), &views[i]);
    }
    return cli_print_json(run, &json);
}

static quell_status run_spectrum(cli_run *run)
{
    const cli_list *files = &run->given.files;
    if (files->count == 0)
        return quell_fail(&run->err, QUELL_E_USAGE, "no recording given, want quell spectrum RECORDING...");
    double band_hz[2];
    char driven = 0;
    quell_status status = cli_band(run, band_hz, &run->err);
    if (status == QUELL_OK)
        status = cli_driven_axis(run, &driven);
    spectrum_view *views = QUELL_NEW(run->arena, spectrum_view, files->count);
    if (status == QUELL_OK && views == NULL)
        status = quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu recordings", files->count);
    for (size_t i = 0; i < files->count && status == QUELL_OK; i++)
        status = gather(run, views, i, files->item[i], driven, band_hz);
    if (status == QUELL_OK)
        status = print(run, views, files->count);
    for (size_t i = 0; i < files->count && status == QUELL_OK && run->given.out != NULL; i++)
        status = spectrum_csv(run, &views[i]);
    if (status == QUELL_OK && run->given.plot != NULL)
        status = draw(run, views, files->count, band_hz);
    if (status == QUELL_OK && run->given.spectrogram != NULL)
        status = draw_over_time(run, &views[0]);
    if (status == QUELL_OK && run->given.spectrogram != NULL)
        cli_say(run,
                "In %s the fainter sweeps are the odd harmonics of the strokes: they excite a mode at 3 f "
                "and 5 f "
                "while the sweep is still at f.",
                run->given.spectrogram);
    if (status == QUELL_OK)
        cli_next(run, "quell modes %s%s --shaper-on none   (or SPEC, if a shaper was on)",
                 cli_word(run, files->item[0]), cli_reading_again(run));
    return status;
}

const cli_command cli_spectrum = {
    "spectrum",
    "RECORDING...",
    "acceleration density with its confidence: table, CSV, JSON, plot",
    "Estimates the one-sided acceleration spectral density of each axis by Welch's method and prints, for "
    "each, the "
    "level (rms) in the band and the most prominent peaks with their 95 % band. A peak marked `line` is a "
    "tone, as of a "
    "fan or motor, not a mode.\n"
    "--out DIR keeps the whole spectrum with its confidence as NAME-spectrum.csv; --plot draws it, with the "
    "modes of "
    "the shaken axis marked.",
    "  quell spectrum data/heron/before-x.csv.gz --plot spectrum.png\n"
    "  quell spectrum run.csv --segment 1s --band 20:150 --out results\n",
    groups,
    run_spectrum,
};
