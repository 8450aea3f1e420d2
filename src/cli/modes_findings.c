/* quell modes: what the analysis itself has to say beside the modes. */
#include "cli/modes_view.h"

#include <math.h>
#include <string.h>

/* Frequency of a mode by the rate: beyond the first, care; beyond the second it is unfit. */
#define SAMPLING_WARN 0.2
#define SAMPLING_REFUSE CLI_SAMPLING_REFUSE

/* Without any mode, narrow peaks this prominent are named. */
#define NARROW_DB 15.0

/* How far beyond the ends of --band a peak is named, as a factor. */
#define CUT_OFF_WITHIN 1.5

/* A peak so near a mode in ln f is its own. */
#define NEAR_MODE 0.05

/* What free decays may leave over the noise: 1.00 to 1.02 of it where all modes are found. */
#define DECAY_MISFIT_RATIO 1.1

/* 2 ln of the likelihood ratio that two modes in place of one come to by chance in 1 of 100 recordings. */
#define SPLIT_RATIO 12.0

enum { PEAKS_MAX = 24 };

static quell_status add_shaper(cli_run *run, modes_view *view)
{
    if (!view->shaper_stated)
        return quell_findings_add(&view->findings, run->arena, "shaper", QUELL_WARN, (double)NAN, (double)NAN,
                                  CLI_SHAPER_UNSTATED_REMEDY, "%s", CLI_SHAPER_UNSTATED);
    if (view->shaper_on.count < 2)
        return QUELL_OK;
    char text[160];
    return quell_findings_add(&view->findings, run->arena, "shaper", QUELL_NOTE, (double)NAN, (double)NAN, "",
                              "the response of %s is taken out of the input",
                              quell_shaper_format(&view->shaper_on, text, sizeof text));
}

static bool has_finding(const quell_findings *findings, const char *kind)
{
    for (size_t i = 0; i < findings->count; i++)
        if (strcmp(findings->item[i].kind, kind) == 0)
            return true;
    return false;
}

/* A mode against the rate, unless the recording was found wanting for where most of its motion is. */
static quell_status add_sampling(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    const quell_recording *recording = &of->loaded.recording;
    quell_status status = QUELL_OK;
    if (has_finding(&recording->findings, "sampling"))
        return QUELL_OK;
    for (size_t k = 0; k < of->modes.count && status == QUELL_OK; k++) {
        double hz = of->modes.mode[k].frequency_hz, ratio = hz / recording->rate_hz;
        if (ratio <= SAMPLING_WARN)
            continue;
        bool unfit = ratio > SAMPLING_REFUSE;
        const char *remedy = quell_arena_print(run->arena, "record at %s samples a second or more",
                                               quell_number_fixed(5 * hz, 0).text);
        status =
            remedy == NULL
                ? QUELL_E_MEMORY
                : quell_findings_add(findings, run->arena, "sampling", unfit ? QUELL_REFUSE : QUELL_WARN,
                                     ratio, unfit ? SAMPLING_REFUSE : SAMPLING_WARN, remedy,
                                     "the mode at %s Hz is shown with only %s samples a cycle",
                                     quell_number_fixed(hz, 1).text, quell_number_fixed(1 / ratio, 1).text);
    }
    return status;
}

static quell_status add_left_out(cli_run *run, const quell_modes *modes, quell_findings *findings)
{
    quell_status status = QUELL_OK;
    for (size_t k = 0; k < modes->left_out && status == QUELL_OK; k++) {
        char f[40], zeta[40];
        const quell_mode *mode = &modes->left_out_mode[k];
        quell_number_print_fixed(f, sizeof f, mode->frequency_hz, 2);
        quell_number_print_fixed(zeta, sizeof zeta, mode->damping_ratio, 4);
        status = quell_findings_add(
            findings, run->arena, "ignored", QUELL_NOTE, mode->frequency_hz, (double)NAN, "",
            "a mode at %s Hz, damping ratio %s, is left out as told: %s", f, zeta, modes->left_out_reason[k]);
    }
    return status;
}

/* A frequency given with --ignore that is no mode's is as good as a typing error. */
static quell_status add_unmatched(cli_run *run, modes_view *view)
{
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < view->ignored_count && status == QUELL_OK; i++) {
        bool matched = false;
        for (size_t r = 0; r < view->recordings; r++)
            for (size_t k = 0; k < view->recording[r].modes.left_out; k++)
                matched = matched ||
                          strcmp(view->recording[r].modes.left_out_reason[k], view->ignored[i].reason) == 0;
        char f[40];
        if (!matched)
            status = quell_findings_add(
                &view->findings, run->arena, "ignored", QUELL_NOTE, view->ignored[i].frequency_hz,
                (double)NAN, "", "nothing was found at %s Hz, which is to be ignored: %s",
                quell_number_print(f, sizeof f, view->ignored[i].frequency_hz, 6), view->ignored[i].reason);
    }
    return status;
}

/* A line that something drives all the time is said to be that; *said: whether it was. */
static quell_status add_driven(cli_run *run, const modes_recording *of, const quell_peak *peak, bool *said,
                               quell_findings *findings)
{
    const quell_recording *recording = &of->loaded.recording;
    const quell_shaking *shaking = &of->how.shaking;
    *said = false;
    if (!peak->line || peak->prominence_db < NARROW_DB)
        return QUELL_OK;
    quell_status status = quell_tone_is_steady(said, recording, of->axis, shaking->first, shaking->end, peak->frequency_hz,
                                               of->spectrum.bin_hz, &run->err);
    if (status != QUELL_OK || !*said)
        return status;
    return quell_findings_add(findings, run->arena, "line", QUELL_NOTE, peak->frequency_hz, (double)NAN, "",
                              "a line at %s Hz keeps its phase: something drives it, it is no mode",
                              quell_number_fixed(peak->frequency_hz, 1).text);
}

static bool is_mode(const quell_modes *modes, double hz)
{
    for (size_t k = 0; k < modes->count; k++)
        if (fabs(hz / modes->mode[k].frequency_hz - 1) < NEAR_MODE)
            return true;
    return false;
}

static quell_status add_peak(cli_run *run, const modes_recording *of, const quell_peak *peak,
                             quell_findings *findings)
{
    char f[40], end[40];
    bool said;
    const quell_modes *modes = &of->modes;
    if (modes->kind == QUELL_EXCITE_STOPS) /* nothing was fitted to the density */
        return QUELL_OK;
    quell_status status = add_driven(run, of, peak, &said, findings);
    if (status != QUELL_OK || said)
        return status;
    double hz = peak->frequency_hz;
    bool fitted = modes->fit.parameters > 0 && hz >= modes->band_hz[0] && hz <= modes->band_hz[1];
    const quell_shaking *shaking = &of->how.shaking;
    double top_hz = shaking->random_known ? fmin(shaking->random_hz[1], modes->excited_hz[1]) : modes->excited_hz[1];
    bool below = hz<modes->excited_hz[0], above = hz> top_hz;
    quell_number_print_fixed(f, sizeof f, hz, 1);
    if (peak->line && modes->fit.parameters == 0 && peak->prominence_db >= NARROW_DB)
        return quell_findings_add(findings, run->arena, "narrow", QUELL_NOTE, hz, (double)NAN,
                                  "a longer --segment would tell",
                                  "a peak at %s Hz is too narrow to tell a mode from a line", f);
    if (peak->line && fitted)
        return quell_findings_add(findings, run->arena, "line", QUELL_NOTE, hz, (double)NAN, "",
                                  "a line at %s Hz, too narrow for a mode, is left out of the fit", f);
    if (peak->line || !(below || above) || modes_at_sweep_end(of, hz) || is_mode(modes, hz))
        return QUELL_OK;
    double end_hz = above ? top_hz : modes->excited_hz[0];
    return quell_findings_add(
        findings, run->arena, "beyond", QUELL_WARN, hz, end_hz, "shake the machine over a wider range",
        "a peak at %s Hz lies beyond the end of the excitation at %s Hz and is not fitted", f,
        quell_number_print_fixed(end, sizeof end, end_hz, 0));
}

/* A line of the idle recording, and whether it makes up what is there. */
static quell_status add_idle(cli_run *run, const modes_recording *of, const cli_idle *idle,
                             quell_findings *findings)
{
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < idle->count && status == QUELL_OK; i++) {
        const quell_known_line *line = &idle->line[i];
        double hz = line->frequency_hz;
        if (hz < of->modes.band_hz[0] || hz > of->modes.band_hz[1])
            continue;
        bool explained = quell_known_line_explains(&of->spectrum, of->axis, line, NULL);
        status = quell_findings_add(
            findings, run->arena, "idle-line", QUELL_NOTE, hz, (double)NAN, "",
            explained ? "a line of %s m/s2 at %s Hz is in the idle recording, too, and left out of the fit"
                      : "a line of %s m/s2 at %s Hz is in the idle recording, but far more moves there now: "
                        "it is not "
                        "left out",
            quell_number_short(line->amplitude_mps2, 2).text, quell_number_fixed(hz, 1).text);
    }
    return status;
}

/* Peaks just beyond a --band that cuts them off: their flanks reach into it. */
static quell_status add_cut_off(cli_run *run, const modes_recording *of, const double band_hz[2],
                                quell_findings *findings)
{
    quell_peak peak[PEAKS_MAX];
    size_t count = 0;
    double high_hz = fmin(CUT_OFF_WITHIN * band_hz[1], of->spectrum.rate_hz / 2);
    quell_status status = quell_peaks_find(&of->spectrum, of->axis, band_hz[0] / CUT_OFF_WITHIN, high_hz, peak, PEAKS_MAX,
                                           &count, &run->err);
    for (size_t i = 0; i < count && status == QUELL_OK; i++) {
        double hz = peak[i].frequency_hz;
        if (peak[i].line || (hz >= band_hz[0] && hz <= band_hz[1]))
            continue;
        status = quell_findings_add(findings, run->arena, "cut-off", QUELL_WARN, hz, (double)NAN,
                                    "widen --band, and take what you do not want out with --ignore",
                                    "a peak at %s Hz lies just beyond --band, but its flank reaches into it: "
                                    "participation and damping ratio may be off by more than their intervals",
                                    quell_number_fixed(hz, 1).text);
    }
    return status;
}

/* What stands out beside the modes. */
static quell_status add_peaks(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    quell_peak peak[PEAKS_MAX];
    size_t count = 0;
    double band_hz[2];
    const cli_idle *idle = NULL;
    quell_status status = cli_band(run, band_hz, &run->err);
    if (of->modes.kind == QUELL_EXCITE_STOPS) /* the strokes, again and again, make lines all over */
        return status;
    if (band_hz[1] == 0)
        quell_modes_default_band(of->spectrum.rate_hz, band_hz);
    else if (status == QUELL_OK)
        status = add_cut_off(run, of, band_hz, findings);
    if (status == QUELL_OK)
        status = cli_idle_find(run, &idle);
    if (status == QUELL_OK)
        status = add_idle(run, of, idle, findings);
    if (status == QUELL_OK)
        status = quell_peaks_find(&of->spectrum, of->axis, band_hz[0], band_hz[1], peak, PEAKS_MAX, &count,
                                  &run->err);
    for (size_t i = 0; i < count && status == QUELL_OK; i++)
        if (cli_idle_line_at(idle, peak[i].frequency_hz, of->spectrum.bin_hz) == NULL)
            status = add_peak(run, of, &peak[i], findings);
    return status;
}

/* A fit of the density that does not follow it. Free decays are not fitted to a density. */
static quell_status add_misfit(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    const quell_modes *modes = &of->modes;
    double limit = quell_modes_misfit_limit(modes, &of->spectrum);
    if (!modes_fits_density(modes) || modes->fit.rms_log_misfit <= limit)
        return QUELL_OK;
    const char *beyond = modes->kind == QUELL_EXCITE_SWEEP ? "something else moves, too, or the modes are taken wrong"
                                                           : "more than chance: something else moves, too";
    return quell_findings_add(findings, run->arena, "misfit", QUELL_WARN, modes->fit.rms_log_misfit, limit,
                              "look at --plot, and try a narrower --band",
                              "the fit is off by %s dB rms, want %s dB at most: %s",
                              quell_number_short(modes->fit.rms_log_misfit * 10 / log(10), 2).text,
                              quell_number_short(limit * 10 / log(10), 2).text, beyond);
}

/* Free decays that the modes do not make up, where they are the answer: two close modes taken for one leave a beat. */
static quell_status add_decay_misfit(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    const quell_decays *decays = &of->how.decays;
    double limit = DECAY_MISFIT_RATIO * decays->noise_mps2;
    if (of->modes.kind != QUELL_EXCITE_STOPS || decays->count == 0 || !(decays->rms_misfit_mps2 > limit))
        return QUELL_OK;
    return quell_findings_add(findings, run->arena, "misfit", QUELL_WARN, decays->rms_misfit_mps2, limit,
                              "look at --plot, and record a sweep, which tells close modes apart",
                              "the free decays are off by %s m/s2 rms, want %s m/s2 at most: something else moves, "
                              "too, or two close modes are taken for one",
                              quell_number_short(decays->rms_misfit_mps2, 2).text, quell_number_short(limit, 2).text);
}

/* Two close modes that were taken for one, as the best fit of two says, which is not worth its parameters. */
static quell_status add_split(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    const quell_modes_fit *fit = &of->modes.fit;
    if (!modes_fits_density(&of->modes) || !(fit->split_ratio > SPLIT_RATIO))
        return QUELL_OK;
    return quell_findings_add(findings, run->arena, "misfit", QUELL_WARN, fit->split_ratio, SPLIT_RATIO,
                              "record a sweep, or for longer, which tells close modes apart",
                              "what was measured round %s Hz is hardly the shape of one mode: two close ones are "
                              "likelier by a ratio of %s, want %s at most, but not surely there",
                              quell_number_fixed(fit->split_hz, 1).text, quell_number_fixed(fit->split_ratio, 1).text,
                              quell_number_fixed(SPLIT_RATIO, 0).text);
}

quell_status modes_recording_findings(cli_run *run, modes_recording *of, quell_findings *findings)
{
    quell_status status = modes_check_sweep(run, of, findings);
    if (status == QUELL_OK)
        status = modes_check_excitation(run, of, findings);
    if (status == QUELL_OK)
        status = add_misfit(run, of, findings);
    if (status == QUELL_OK)
        status = add_decay_misfit(run, of, findings);
    if (status == QUELL_OK)
        status = modes_hidden_findings(run, of, findings);
    if (status == QUELL_OK)
        status = add_split(run, of, findings);
    if (status == QUELL_OK)
        status = add_sampling(run, of, findings);
    if (status == QUELL_OK)
        status = add_left_out(run, &of->modes, findings);
    return status == QUELL_OK ? add_peaks(run, of, findings) : status;
}

quell_status modes_find_findings(cli_run *run, modes_view *view)
{
    quell_status status = add_shaper(run, view);
    if (status == QUELL_OK && view->dropped > 0)
        status = quell_findings_add(
            &view->findings, run->arena, "dropped", QUELL_WARN, (double)view->dropped, QUELL_MODES_MAX,
            "look at the recordings one by one, or narrow --band",
            "the recordings have more than %d different modes together: %zu of them are not shown",
            QUELL_MODES_MAX, view->dropped);
    for (size_t r = 0; r < view->recordings && status == QUELL_OK; r++)
        status = modes_recording_findings(run, &view->recording[r], &view->findings);
    if (status == QUELL_OK)
        status = add_unmatched(run, view);
    return status != QUELL_OK && run->err.status == QUELL_OK
               ? quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for findings")
               : status;
}
