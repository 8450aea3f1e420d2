/* quell spectrum: the whole spectrum as JSON and as comma-separated values. */
#include "cli/spectrum_view.h"

#include <math.h>

#define PER_G2 (1 / (QUELL_STANDARD_GRAVITY_MPS2 * QUELL_STANDARD_GRAVITY_MPS2))

static const char *const axis_names[] = {"x", "y", "z"};

void spectrum_factors(const quell_spectrum *spectrum, size_t bin, double factor[2])
{
    factor[0] = spectrum->ci95_factor[0];
    factor[1] = spectrum->ci95_factor[1];
    if (bin == 0 || 2 * bin == spectrum->segment)
        quell_chi2_factors(spectrum->dof / 2, factor);
}

/* ---------------------------------------------------------------- JSON */

static void json_frequencies(quell_json *json, json_t *in, const quell_spectrum *spectrum)
{
    json_t *list = quell_json_array(json, in, "frequency_hz");
    for (size_t k = 0; k < spectrum->bins; k++)
        quell_json_append_number(json, list, (double)k * spectrum->bin_hz);
}

static void json_axis(quell_json *json, json_t *in, const spectrum_view *view, size_t axis)
{
    json_t *item = quell_json_object(json, in, axis_names[axis]);
    quell_json_number(json, item, "rms_mps2", view->axis[axis].rms_mps2, "no bin in the band");
    quell_json_number(json, item, "rms_low95_mps2", view->axis[axis].rms_ci95_mps2[0], "no bin in the band");
    quell_json_number(json, item, "rms_high95_mps2", view->axis[axis].rms_ci95_mps2[1], "no bin in the band");
    json_t *peaks = quell_json_array(json, item, "peaks");
    for (size_t i = 0; i < view->axis[axis].peaks; i++) {
        const quell_peak *peak = &view->axis[axis].peak[i];
        json_t *one = quell_json_item(json, peaks);
        quell_json_number(json, one, "frequency_hz", peak->frequency_hz, "");
        quell_json_number(json, one, "asd_m2ps3", view->spectrum.asd_m2ps3[axis][peak->bin], "");
        quell_json_number(json, one, "floor_ratio", peak->floor_ratio, "the floor is zero");
        quell_json_number(json, one, "prominence_db", peak->prominence_db, "");
        quell_json_number(json, one, "half_power_damping_ratio", peak->half_power_damping_ratio,
                          "the peak does not fall to half on both sides");
        quell_json_bool(json, one, "line", peak->line);
        quell_json_bool(json, one, "idle_line",
                        cli_idle_line_at(view->idle, peak->frequency_hz, view->spectrum.bin_hz) != NULL);
    }
}

void spectrum_json(quell_json *json, json_t *in, const spectrum_view *view)
{
    const quell_spectrum *spectrum = &view->spectrum;
    quell_json_text(json, in, "file", view->file);
    quell_json_number(json, in, "rate_hz", spectrum->rate_hz, "");
    quell_json_number(json, in, "bin_hz", spectrum->bin_hz, "");
    quell_json_number(json, in, "enbw_hz", spectrum->enbw_hz, "");
    quell_json_text(json, in, "window", spectrum->window->id);
    quell_json_number(json, in, "overlap", 1 - (double)spectrum->hop / (double)spectrum->segment, "");
    quell_json_integer(json, in, "segments", (long long)spectrum->segments);
    quell_json_number(json, in, "dof", spectrum->dof, "");
    quell_json_numbers(json, in, "ci95_factors", spectrum->ci95_factor, 2);
    json_frequencies(json, in, spectrum);
    json_t *densities = quell_json_object(json, in, "asd_m2ps3");
    for (size_t i = 0; i < 3; i++) {
        if (i < spectrum->axes)
            quell_json_numbers(json, densities, axis_names[i], spectrum->asd_m2ps3[i], spectrum->bins);
        else
            quell_json_null(json, densities, axis_names[i], "the recording has fewer axes");
    }
    quell_json_numbers(json, in, "band_hz", view->band_hz, 2);
    json_t *axes = quell_json_object(json, in, "axes");
    for (size_t i = 0; i < spectrum->axes; i++)
        json_axis(json, axes, view, i);
    cli_json_idle(json, in, view->idle);
    cli_json_findings(json, in, &view->loaded.recording.findings);
}

/* ---------------------------------------------------------------- CSV */

static void put_number(FILE *stream, double value)
{
    char text[40];
    fputs(quell_number_print(text, sizeof text, value, 9), stream);
}

static void put_row(FILE *stream, const quell_spectrum *spectrum, size_t bin)
{
    double factor[2];
    spectrum_factors(spectrum, bin, factor);
    put_number(stream, (double)bin * spectrum->bin_hz);
    for (size_t i = 0; i < spectrum->axes; i++) {
        double density = spectrum->asd_m2ps3[i][bin];
        const double cells[] = {density, density * factor[0], density * factor[1], density * PER_G2};
        for (size_t c = 0; c < sizeof cells / sizeof cells[0]; c++) {
            fputc(',', stream);
            put_number(stream, cells[c]);
        }
    }
    fputc('\n', stream);
}

quell_status spectrum_csv(cli_run *run, const spectrum_view *view)
{
    quell_status status = quell_folder_make(run->given.out, &run->err);
    const char *path = quell_arena_print(run->arena, "%s/%s-spectrum.csv", run->given.out, view->name);
    if (status == QUELL_OK && path == NULL)
        status = quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    quell_output output;
    if (status == QUELL_OK)
        status = quell_output_open(&output, path, &run->err);
    if (status != QUELL_OK)
        return status;
    fputs("frequency_hz", output.stream);
    for (size_t i = 0; i < view->spectrum.axes; i++)
        fprintf(output.stream, ",%c_m2ps3,%c_low95_m2ps3,%c_high95_m2ps3,%c_g2phz", "xyz"[i], "xyz"[i],
                "xyz"[i], "xyz"[i]);
    fputc('\n', output.stream);
    for (size_t k = 0; k < view->spectrum.bins; k++)
        put_row(output.stream, &view->spectrum, k);
    return quell_output_commit(&output, &run->err);
}
