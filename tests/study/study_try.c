/* One recording of the study: made, brought into machine axes and judged as the command line does it, measured, compared to
   its truth. */
#include "study.h"

#include <math.h>
#include <time.h>

#define NEAR 0.12 /* of ln f: a mode found further off is another */

double study_processor_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* ---------------------------------------------------------------- measuring */

typedef struct measured {
    quell_spectrum spectrum;
    quell_modes modes;
    quell_measured how;
} measured;

static quell_status fit_to_analyse(study_recording *record, const study_row *row, quell_fitness *fitness,
                                   quell_arena *arena, quell_error *err)
{
    quell_mounting mounting;
    bool still = row->excitation == QUELL_EXCITE_AMBIENT; /* and upright: see study_record.c */
    const quell_read_options options = {.mount = still ? "up=+z,right=+x" : NULL};
    quell_status status =
        quell_mounting_find(&mounting, &record->recording, still ? 0 : 'x', &options, arena, err);
    if (status != QUELL_OK)
        return status;
    quell_mounting_apply(&mounting, &record->recording);
    return quell_recording_judge(fitness, &record->recording, still ? -1 : 0, arena, err);
}

/* The kind of excitation is found, but where the row knows the command of a sweep. */
static quell_status measure(measured *out, const study_recording *record, const study_row *row,
                            const quell_fitness *fitness, quell_arena *arena, quell_error *err)
{
    const quell_shaking stated = {.kind = row->excitation,
                                  .stated = true,
                                  .sweep_known = true,
                                  .sweep = record->setup.sweep,
                                  .acceleration_known = true};
    const quell_modes_options options = {.shaking = row->command_known ? &stated : NULL};
    const quell_welch_options welch = {.overlap = -1, .cross = true};
    return quell_modes_measure(&record->recording, 0, fitness, &welch, &options, arena, &out->spectrum,
                               &out->modes, &out->how, err);
}

/* ---------------------------------------------------------------- comparing */

static bool covers(const double interval[2], double truth)
{
    return truth >= interval[0] && truth <= interval[1];
}

static void compare(study_match *match, const quell_mode *got)
{
    match->found = true;
    match->ln_f = log(got->frequency_hz / match->f_hz);
    match->ln_zeta = log(got->damping_ratio / match->zeta);
    match->c_error = got->participation - match->c;
    match->f_covered = covers(got->frequency_ci95_hz, match->f_hz);
    match->zeta_covered = covers(got->damping_ratio_ci95, match->zeta);
    match->c_covered = covers(got->participation_ci95, match->c);
    match->zeta_half_width =
        (got->damping_ratio_ci95[1] - got->damping_ratio_ci95[0]) / (2 * got->damping_ratio);
}

/* Each mode that is there with the nearest found one, the nearest pair first. */
static void pair_up(study_result *out, const quell_modes *modes)
{
    bool taken[QUELL_MODES_MAX] = {false};
    out->found = modes->count;
    out->wrong = modes->count;
    for (;;) {
        double least = NEAR;
        size_t mode = 0, got = 0;
        for (size_t k = 0; k < out->modes; k++)
            for (size_t i = 0; i < modes->count && !out->match[k].found; i++) {
                double off = fabs(log(modes->mode[i].frequency_hz / out->match[k].f_hz));
                if (!taken[i] && off < least) {
                    least = off;
                    mode = k;
                    got = i;
                }
            }
        if (least == NEAR)
            break;
        taken[got] = true;
        out->wrong--;
        compare(&out->match[mode], &modes->mode[got]);
    }
    for (size_t i = modes->count; i-- > 0;)
        out->wrong_hz = taken[i] ? out->wrong_hz : modes->mode[i].frequency_hz;
}

/* The design's band of the fit, within what is searched. */
static void bound(study_result *out, const study_recording *record, const study_row *row)
{
    const quell_simulation *setup = &record->setup;
    bool is_random = row->excitation == QUELL_EXCITE_RANDOM || row->excitation == QUELL_EXCITE_AMBIENT;
    double lowest = HUGE_VAL, highest = 0;
    study_spectrum spectrum = {.modes = setup->modes, .seconds = row->seconds};
    for (size_t k = 0; k < setup->modes; k++) {
        spectrum.f_hz[k] = setup->mode[k].frequency_hz;
        spectrum.zeta[k] = setup->mode[k].damping_ratio;
        spectrum.c[k] = setup->mode[k].participation[0];
        lowest = fmin(lowest, spectrum.f_hz[k]);
        highest = fmax(highest, spectrum.f_hz[k]);
        out->match[k].sd_ln_f = out->match[k].sd_ln_zeta = out->match[k].sd_c = (double)NAN;
    }
    spectrum.incoherent = row->excitation == QUELL_EXCITE_AMBIENT;
    spectrum.level_m2ps3 = pow(setup->random_rms_mps2, 2) / (setup->rate_hz / 2);
    spectrum.noise_m2ps3 =
        pow(setup->noise_mps2_per_rthz, 2) + pow(setup->step_mps2, 2) / (6 * setup->rate_hz);
    spectrum.low_hz = fmax(0.55 * lowest, 5);
    spectrum.high_hz = fmin(1.5 * highest, 250);
    study_bound sd[STUDY_MODES_MAX];
    if (!is_random || setup->modes == 0 || !study_bound_find(sd, &spectrum))
        return;
    for (size_t k = 0; k < setup->modes; k++) {
        out->match[k].sd_ln_f = sd[k].sd_ln_f;
        out->match[k].sd_ln_zeta = sd[k].sd_ln_zeta;
        out->match[k].sd_c = sd[k].sd_c;
    }
}

static void truth(study_result *out, const quell_simulation *setup)
{
    out->modes = setup->modes;
    for (size_t k = 0; k < setup->modes; k++) {
        const quell_simulated_mode *mode = &setup->mode[k];
        out->match[k] = (study_match){
            .f_hz = mode->frequency_hz, .zeta = mode->damping_ratio, .c = mode->participation[0]};
    }
}

/* Peaks beyond those that belong to a mode. */
static size_t spare_peaks(const quell_spectrum *spectrum, const study_result *result)
{
    quell_peak peak[QUELL_MODES_MAX];
    double band_hz[2];
    size_t count = 0, spare = 0;
    quell_modes_default_band(spectrum->rate_hz, band_hz);
    if (quell_peaks_find(spectrum, 0, band_hz[0], band_hz[1], peak, QUELL_MODES_MAX, &count, NULL) !=
        QUELL_OK)
        return 0;
    for (size_t i = 0; i < count; i++) {
        bool known = false;
        for (size_t k = 0; k < result->modes; k++)
            known = known || fabs(log(peak[i].frequency_hz / result->match[k].f_hz)) < NEAR;
        spare += !known;
    }
    return spare;
}

static quell_status time_parts(study_result *out, const study_recording *record, const measured *got,
                               quell_arena *arena, quell_error *err)
{
    const quell_modes_options options = {.shaking = &got->how.shaking};
    quell_modes again;
    out->fit_s = study_fit_time(&got->spectrum, &record->setup);
    double start = study_processor_s();
    quell_status status = quell_modes_find(&got->spectrum, 0, &options, arena, &again, err);
    out->find_s = study_processor_s() - start;
    return status;
}

static quell_status try_in(study_result *out, const study_row *row, uint64_t seed, size_t index,
                           quell_arena *arena, quell_error *err)
{
    study_recording record;
    quell_fitness fitness;
    measured got;
    quell_status status = study_record(&record, row, seed, index, arena, err);
    if (status != QUELL_OK)
        return status;
    truth(out, &record.setup);
    bound(out, &record, row);
    status = fit_to_analyse(&record, row, &fitness, arena, err);
    double start = study_processor_s();
    if (status == QUELL_OK)
        status = measure(&got, &record, row, &fitness, arena, err);
    out->measure_s = study_processor_s() - start;
    if (status != QUELL_OK)
        return status;
    out->kind_right = got.how.shaking.kind == row->excitation;
    snprintf(out->why, sizeof out->why, "%s", got.how.shaking.why);
    pair_up(out, &got.modes);
    out->peaks = spare_peaks(&got.spectrum, out);
    out->fit_s = out->find_s = (double)NAN;
    return row->timed ? time_parts(out, &record, &got, arena, err) : QUELL_OK;
}

void study_try(study_result *out, const study_row *row, uint64_t seed, size_t index)
{
    *out = (study_result){.status = QUELL_E_MEMORY};
    quell_arena *arena = quell_arena_create((size_t)1 << 30);
    if (arena == NULL)
        return;
    out->status = try_in(out, row, seed, index, arena, NULL);
    quell_arena_destroy(arena);
}
