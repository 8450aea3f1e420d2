/* --idle: a recording at rest with fans and motors on, whose lines are none of the machine's modes. */
#include "cli/cli.h"

#include <math.h>
#include <string.h>

#define LINES_FROM_HZ 5.0
#define LINES_TO 0.45 /* of the rate */

enum { PEAKS_MAX = 32 };

/* What stands above the local floor around a peak, as the amplitude of a tone. */
static double amplitude_mps2(const quell_spectrum *spectrum, size_t axis, const quell_peak *peak)
{
    const double *density = spectrum->asd_m2ps3[axis];
    double floor = density[peak->bin] / peak->floor_ratio, area = 0;
    size_t lobe = spectrum->window->terms;
    for (size_t k = peak->bin > lobe ? peak->bin - lobe : 1; k <= peak->bin + lobe && k < spectrum->bins; k++)
        area += fmax(density[k] - floor, 0) * spectrum->bin_hz;
    return sqrt(2 * area);
}

/* Takes a line in; one that another axis showed already grows by it. */
static void take(cli_idle *idle, double bin_hz, double hz, double amplitude)
{
    for (size_t i = 0; i < idle->count; i++)
        if (fabs(idle->line[i].frequency_hz - hz) < 2 * bin_hz) {
            idle->line[i].amplitude_mps2 = hypot(idle->line[i].amplitude_mps2, amplitude);
            return;
        }
    if (idle->count < CLI_IDLE_LINES)
        idle->line[idle->count++] = (quell_known_line){hz, amplitude};
}

static void sort_by_frequency(cli_idle *idle)
{
    for (size_t i = 1; i < idle->count; i++)
        for (size_t k = i; k > 0 && idle->line[k - 1].frequency_hz > idle->line[k].frequency_hz; k--) {
            quell_known_line lower = idle->line[k];
            idle->line[k] = idle->line[k - 1];
            idle->line[k - 1] = lower;
        }
}

static quell_status find_lines(cli_run *run, const quell_spectrum *spectrum, cli_idle *idle)
{
    quell_peak peak[PEAKS_MAX];
    quell_status status = QUELL_OK;
    for (size_t axis = 0; axis < spectrum->axes && status == QUELL_OK; axis++) {
        size_t count = 0;
        status = quell_peaks_find(spectrum, axis, LINES_FROM_HZ, LINES_TO * spectrum->rate_hz, peak,
                                  PEAKS_MAX, &count, &run->err);
        for (size_t i = 0; i < count && status == QUELL_OK; i++)
            if (peak[i].line)
                take(idle, spectrum->bin_hz, peak[i].frequency_hz, amplitude_mps2(spectrum, axis, &peak[i]));
    }
    sort_by_frequency(idle);
    return status;
}

/* What moves is no rest: modes ring then. */
static quell_status warn_of_motion(cli_run *run, quell_recording *recording)
{
    quell_fitness fitness;
    quell_status status = quell_recording_judge(&fitness, recording, -1, run->arena, &run->err);
    for (size_t s = 0; status == QUELL_OK && s < fitness.segments; s++)
        if (fitness.segment[s].kind != QUELL_REST) {
            cli_say(run,
                    "%s: warning: something moves in the idle recording from %s to %s s; want rest, with "
                    "fans and "
                    "motors on",
                    recording->file, quell_number_fixed(fitness.segment[s].start_s, 1).text,
                    quell_number_fixed(fitness.segment[s].end_s, 1).text);
            break;
        }
    return status;
}

const char *cli_idle_words(cli_run *run, const cli_idle *idle)
{
    const char *text = idle->count == 0   ? "no line stands out at rest"
                       : idle->count == 1 ? "the line at rest at"
                                          : "the lines at rest at";
    for (size_t i = 0; i < idle->count && text != NULL; i++)
        text = quell_arena_print(run->arena, "%s%s %s Hz (%s m/s2)", text, i > 0 ? "," : "",
                                 quell_number_fixed(idle->line[i].frequency_hz, 1).text,
                                 quell_number_short(idle->line[i].amplitude_mps2, 2).text);
    if (text != NULL && idle->count > 0)
        text = quell_arena_print(run->arena, "%s %s", text, idle->count == 1 ? "is no mode" : "are no modes");
    return text != NULL ? text : "";
}

static quell_status read_idle(cli_run *run, cli_idle *idle)
{
    quell_recording *recording = QUELL_NEW(run->arena, quell_recording, 1);
    quell_spectrum spectrum;
    if (recording == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the idle recording");
    const char *span = run->given.read.span;
    run->given.read.span = NULL; /* that is about the others */
    quell_status status = cli_spectrum_pass(run, idle->file, recording, &spectrum);
    run->given.read.span = span;
    if (status == QUELL_OK)
        status = warn_of_motion(run, recording);
    if (status == QUELL_OK)
        status = find_lines(run, &spectrum, idle);
    if (status == QUELL_OK)
        cli_say(run, "%s: note: %s", recording->file, cli_idle_words(run, idle));
    return status;
}

quell_status cli_idle_find(cli_run *run, const cli_idle **out)
{
    static const cli_idle none = {.file = NULL};
    *out = &none;
    if (run->given.idle == NULL)
        return QUELL_OK;
    if (run->idle == NULL) {
        cli_idle *idle = QUELL_NEW(run->arena, cli_idle, 1);
        if (idle == NULL)
            return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the idle recording");
        idle->file = run->given.idle;
        quell_status status = read_idle(run, idle);
        if (status != QUELL_OK)
            return status;
        run->idle = idle;
    }
    *out = run->idle;
    return QUELL_OK;
}

const quell_known_line *cli_idle_line_at(const cli_idle *idle, double hz, double bin_hz)
{
    for (size_t i = 0; i < idle->count; i++)
        if (fabs(idle->line[i].frequency_hz - hz) <= fmax(1.5 * bin_hz, 0.01 * hz))
            return &idle->line[i];
    return NULL;
}

void cli_json_idle(quell_json *json, json_t *in, const cli_idle *idle)
{
    json_t *list = quell_json_array(json, in, "idle_lines");
    for (size_t i = 0; i < idle->count; i++) {
        json_t *item = quell_json_item(json, list);
        quell_json_number(json, item, "frequency_hz", idle->line[i].frequency_hz, "");
        quell_json_number(json, item, "amplitude_mps2", idle->line[i].amplitude_mps2, "");
    }
}
