/* From a loaded recording to its spectrum and modes, with the analysis options: shared by all commands that
   do so. */
#include "cli/cli.h"

#include <math.h>
#include <string.h>
#include <unistd.h>

/* ---------------------------------------------------------------- options */

quell_status cli_band(const cli_run *run, double band_hz[2], quell_error *err)
{
    band_hz[0] = band_hz[1] = 0;
    const char *text = run->given.band;
    if (text == NULL)
        return QUELL_OK;
    const char *colon = strchr(text, ':');
    char low[64], shown[64];
    quell_printable(shown, sizeof shown, text, strlen(text));
    size_t length = colon != NULL ? (size_t)(colon - text) : 0;
    if (length == 0 || length >= sizeof low || colon[1] == '\0')
        return quell_fail(err, QUELL_E_USAGE, "option --band: found '%s', want LO:HI in Hz, such as 20:120",
                          shown);
    memcpy(low, text, length);
    low[length] = '\0';
    double band[2];
    quell_status status = quell_quantity_parse(low, QUELL_FREQUENCY, "Hz", &band[0], err);
    if (status == QUELL_OK)
        status = quell_quantity_parse(colon + 1, QUELL_FREQUENCY, "Hz", &band[1], err);
    if (status != QUELL_OK)
        return err != NULL ? quell_fail(err, status, "option --band: %s", err->text) : status;
    if (!(band[0] >= 0 && band[0] < band[1]))
        return quell_fail(err, QUELL_E_USAGE, "option --band: found '%s', want 0 <= LO < HI", shown);
    memcpy(band_hz, band, sizeof band);
    return QUELL_OK;
}

static quell_status find_window(cli_run *run, const quell_window **window)
{
    *window = quell_window_find(run->given.window != NULL ? run->given.window : "hann");
    if (*window != NULL)
        return QUELL_OK;
    char names[160] = "", shown[48];
    size_t count, used = 0;
    const quell_window *table = quell_windows(&count);
    for (size_t i = 0; i < count && used < sizeof names; i++)
        used += (size_t)snprintf(names + used, sizeof names - used, "%s%s",
                                 i == 0          ? ""
                                 : i + 1 < count ? ", "
                                                 : " or ",
                                 table[i].id);
    return quell_fail(&run->err, QUELL_E_USAGE, "option --window: found '%s', want %s",
                      quell_printable(shown, sizeof shown, run->given.window, strlen(run->given.window)),
                      names);
}

/* HZ=reason, quotes round the reason allowed. */
static quell_status read_ignored(cli_run *run, const char *text, quell_ignored *out)
{
    const char *equals = strchr(text, '=');
    char number[64], shown[64];
    size_t length = equals != NULL ? (size_t)(equals - text) : 0;
    if (length == 0 || length >= sizeof number || equals[1] == '\0')
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "option --ignore: found '%s', want HZ=\"reason\", such as 9Hz=\"bench rocks\"",
                          quell_printable(shown, sizeof shown, text, strlen(text)));
    memcpy(number, text, length);
    number[length] = '\0';
    quell_status status = quell_quantity_parse(number, QUELL_FREQUENCY, "Hz", &out->frequency_hz, &run->err);
    if (status != QUELL_OK)
        return quell_fail(&run->err, status, "option --ignore: %s", run->err.text);
    if (!(out->frequency_hz > 0))
        return quell_fail(&run->err, QUELL_E_USAGE, "option --ignore: found %s, want a frequency > 0",
                          number);
    const char *reason = equals + 1;
    size_t size = strlen(reason);
    if (size >= 2 && reason[0] == '"' && reason[size - 1] == '"') {
        reason++;
        size -= 2;
    }
    char *room =
        QUELL_NEW(run->arena, char, size + 8); /* quell_printable wants 8, and never lengthens a text */
    if (room == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for --ignore");
    out->reason = quell_printable(room, size + 8, reason, size);
    return QUELL_OK;
}

quell_status cli_ignored(cli_run *run, quell_ignored **out, size_t *count)
{
    *count = run->given.ignore.count;
    *out = QUELL_NEW(run->arena, quell_ignored, *count);
    if (*out == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for --ignore");
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < *count && status == QUELL_OK; i++)
        status = read_ignored(run, run->given.ignore.item[i], &(*out)[i]);
    return status;
}

quell_status cli_shaper_on(cli_run *run, quell_shaper *out, bool *stated)
{
    *stated = run->given.shaper_on != NULL;
    quell_shaper_identity(out);
    if (!*stated)
        return QUELL_OK;
    quell_status status = quell_shaper_parse(out, run->given.shaper_on, &run->err);
    return status == QUELL_OK ? status
                              : quell_fail(&run->err, status, "option --shaper-on: %s", run->err.text);
}

quell_status cli_driven_axis(cli_run *run, char *axis)
{
    const char *text = run->given.axis;
    char shown[32];
    *axis = 0;
    if (text != NULL && strcmp(text, "x") != 0 && strcmp(text, "y") != 0)
        return quell_fail(&run->err, QUELL_E_USAGE, "option --axis: found '%s', want x or y",
                          quell_printable(shown, sizeof shown, text, strlen(text)));
    bool given;
    quell_shaking plan = {.axis = 0};
    quell_status status = text != NULL ? cli_plan_agrees(run, "--axis says", text[0]) : cli_excitation(run, &given, &plan);
    if (status != QUELL_OK)
        return status;
    *axis = text != NULL ? text[0] : plan.axis;
    return QUELL_OK;
}

/* ---------------------------------------------------------------- spectrum and modes */

/* Samples of a segment as asked for, 0 if not; an even number, so that there is a bin at half the rate. */
static quell_status asked_segment(cli_run *run, double rate_hz, size_t *segment)
{
    enum { MOST_SAMPLES = 1 << 26 };
    double seconds = run->given.segment_s;
    *segment = 0;
    if (isnan(seconds) || rate_hz == 0)
        return QUELL_OK;
    char number[32];
    double samples = seconds * rate_hz;
    bool is_short = !(samples >= 8);
    if (is_short || samples > (double)MOST_SAMPLES)
        return quell_fail(&run->err, QUELL_E_USAGE, "option --segment: found %s s, want at %s %d samples",
                          quell_number_print(number, sizeof number, seconds, 4), is_short ? "least" : "most",
                          is_short ? 8 : MOST_SAMPLES);
    *segment = 2 * (size_t)(samples / 2 + 0.5);
    return QUELL_OK;
}

size_t cli_threads(const cli_run *run)
{
    enum { MOST = 16 };
    double threads = run->given.threads;
    if (isnan(threads))
        threads = (double)sysconf(_SC_NPROCESSORS_ONLN);
    return threads < 1 ? 1 : threads > MOST ? MOST : (size_t)threads;
}

quell_status cli_welch_options(cli_run *run, double rate_hz, bool cross, quell_welch_options *out)
{
    *out = (quell_welch_options){.overlap = isnan(run->given.overlap) ? -1 : run->given.overlap,
                                 .rate_hz = rate_hz,
                                 .cross = cross,
                                 .threads = cli_threads(run) - 1}; /* one reads ahead */
    quell_status status = find_window(run, &out->window);
    if (status != QUELL_OK)
        return status;
    if (!isnan(run->given.overlap) && !(run->given.overlap >= 0 && run->given.overlap <= 0.95)) {
        char number[32];
        return quell_fail(&run->err, QUELL_E_USAGE, "option --overlap: found %s %%, want 0 %% to 95 %%",
                          quell_number_print(number, sizeof number, 100 * run->given.overlap, 4));
    }
    return asked_segment(run, rate_hz, &out->segment);
}

quell_status cli_spectrum_make(cli_run *run, const quell_recording *recording, double zeta_f_hz, bool cross,
                               quell_spectrum *out)
{
    quell_welch_options options;
    quell_status status = cli_welch_options(run, recording->rate_hz, cross, &options);
    if (status != QUELL_OK)
        return status;
    if (options.segment == 0)
        options.segment = quell_welch_segment(recording->rate_hz, recording->samples, zeta_f_hz);
    status = quell_spectrum_estimate((const double *const *)recording->accel_mps2, recording->axes,
                                     recording->samples, recording->rate_hz, recording->break_at,
                                     recording->break_count, &options, run->arena, out, &run->err);
    if (status == QUELL_OK)
        status = cli_require_segments(run, out);
    if (status != QUELL_OK)
        quell_error_set_file(&run->err, recording->file);
    return status;
}

quell_status cli_require_segments(cli_run *run, const quell_spectrum *spectrum)
{
    enum { LEAST = 4 };
    if (spectrum->segments >= LEAST || run->given.force)
        return QUELL_OK;
    char seconds[32];
    return quell_fail(
        &run->err, QUELL_E_DATA,
        "unfit: found %zu segment%s of %s s, want %d at least; give a shorter --segment, or record for "
        "longer (--force goes on all the same)",
        spectrum->segments, spectrum->segments == 1 ? "" : "s",
        quell_number_print(seconds, sizeof seconds, (double)spectrum->segment / spectrum->rate_hz, 4), LEAST);
}

size_t cli_axis_under_test(const cli_recording *loaded)
{
    const quell_recording *recording = &loaded->recording;
    if (recording->axes == 3 && (loaded->driven == 'x' || loaded->driven == 'y'))
        return (size_t)(loaded->driven - 'x');
    size_t most = 0;
    double scatter[3][3];
    quell_recording_scatter(recording, scatter);
    for (size_t i = 1; i < recording->axes; i++)
        most = scatter[i][i] > scatter[most][most] ? i : most;
    return most;
}

/* Whether a shaper was on changes every result: who does not say so is told, once. */
static void warn_of_unstated_shaper(cli_run *run, bool stated)
{
    if (stated || run->warned_of_shaper)
        return;
    run->warned_of_shaper = true;
    cli_say(run, "WARNING: %s; %s", CLI_SHAPER_UNSTATED, CLI_SHAPER_UNSTATED_REMEDY);
}

static quell_status require_sampled(cli_run *run, const quell_recording *recording, const quell_mode *mode)
{
    if (mode->frequency_hz <= CLI_SAMPLING_REFUSE * recording->rate_hz || run->given.force)
        return QUELL_OK;
    return quell_fail(
        &run->err, QUELL_E_DATA,
        "unfit: the mode at %s Hz is shown with only %s samples a cycle, want %s or more; record at %s "
        "samples a second or more (--force goes on all the same)",
        quell_number_fixed(mode->frequency_hz, 1).text,
        quell_number_fixed(recording->rate_hz / mode->frequency_hz, 1).text,
        quell_number_fixed(1 / CLI_SAMPLING_REFUSE, 1).text,
        quell_number_fixed(5 * mode->frequency_hz, 0).text);
}

/* --band, --ignore, --idle, --shaper-on and --excitation as options of the analysis. */
static quell_status modes_options(cli_run *run, const quell_recording *recording, quell_modes_options *options)
{
    quell_shaper *shaper = QUELL_NEW(run->arena, quell_shaper, 1);
    quell_shaking *shaking = QUELL_NEW(run->arena, quell_shaking, 1);
    quell_ignored *ignored = NULL;
    const cli_idle *idle = NULL;
    bool shaper_stated = false, excitation_stated = false;
    if (shaper == NULL || shaking == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the modes");
    quell_status status = cli_shaper_on(run, shaper, &shaper_stated);
    if (status == QUELL_OK)
        status = cli_excitation(run, &excitation_stated, shaking);
    if (status == QUELL_OK)
        status = cli_ignored(run, &ignored, &options->ignored_count);
    if (status == QUELL_OK)
        status = cli_idle_find(run, &idle);
    if (status == QUELL_OK)
        status = cli_band(run, options->band_hz, &run->err);
    if (status != QUELL_OK)
        return status;
    warn_of_unstated_shaper(run, shaper_stated);
    options->ignored = ignored;
    options->line = idle->line;
    options->line_count = idle->count;
    options->shaper_on = shaper->count > 1 ? shaper : NULL;
    options->shaking = excitation_stated ? shaking : NULL;
    double width_hz = recording->rate_ci95_hz[1] - recording->rate_ci95_hz[0];
    options->rate_relative_error = width_hz > 0 ? width_hz / 2 / recording->rate_hz : 0;
    return QUELL_OK;
}

quell_status cli_modes_make(cli_run *run, const cli_recording *loaded, size_t axis, quell_spectrum *spectrum,
                            quell_modes *out, quell_measured *how)
{
    const quell_recording *recording = &loaded->recording;
    quell_modes_options options = {0};
    quell_welch_options welch;
    quell_status status = modes_options(run, recording, &options);
    if (status == QUELL_OK)
        status = cli_welch_options(run, recording->rate_hz, recording->axes == 3, &welch);
    if (status != QUELL_OK)
        return status;
    status = quell_modes_measure(recording, axis, &loaded->fitness, &welch, &options, run->arena, spectrum, out, how,
                                 &run->err);
    if (status == QUELL_OK)
        status = cli_require_segments(run, spectrum);
    for (size_t k = 0; status == QUELL_OK && k < out->count; k++)
        status = require_sampled(run, recording, &out->mode[k]);
    if (status != QUELL_OK)
        quell_error_set_file(&run->err, recording->file);
    return status;
}

/* ---------------------------------------------------------------- results */

void cli_json_mode(quell_json *json, json_t *item, const quell_mode *mode)
{
    quell_json_number(json, item, "frequency_hz", mode->frequency_hz, "");
    quell_json_interval(json, item, "frequency_ci95_hz", mode->frequency_ci95_hz);
    quell_json_number(json, item, "damping_ratio", mode->damping_ratio, "");
    quell_json_interval(json, item, "damping_ratio_ci95", mode->damping_ratio_ci95);
    quell_json_number(json, item, "participation", mode->participation, "not known");
    quell_json_interval(json, item, "participation_ci95", mode->participation_ci95);
    if (isfinite(mode->direction[0]))
        quell_json_numbers(json, item, "direction", mode->direction, 3);
    else
        quell_json_null(json, item, "direction", "the recording has no three axes");
    json_t *doubts = quell_json_array(json, item, "doubts");
    for (size_t i = 0; i < mode->doubts; i++)
        quell_json_append_text(json, doubts, mode->doubt[i]);
}
