/* A spectrum estimated while the file passes: no sample is kept, so memory does not grow with the recording. */
#include "cli/cli.h"

/* The sink of a spectrum. */
typedef struct passing {
    cli_run *run;
    quell_welch *welch;
} passing;

static quell_status begin_passing(void *context, size_t axes, double rate_hz, quell_error *err)
{
    passing *pass = context;
    quell_welch_options options;
    quell_status status = cli_welch_options(pass->run, rate_hz, axes == 3, &options);
    return status == QUELL_OK ? quell_welch_create(&pass->welch, axes, &options, err) : status;
}

static quell_status take_passing(void *context, const double *const *value, size_t n, quell_error *err)
{
    return quell_welch_add(((passing *)context)->welch, value, n, err);
}

static quell_status break_passing(void *context, size_t lost, quell_error *err)
{
    (void)lost;
    return quell_welch_break(((passing *)context)->welch, err);
}

/* The density in m/s2. */
static quell_status finish_passing(passing *pass, const quell_recording *recording, quell_spectrum *out)
{
    cli_run *run = pass->run;
    quell_status status = quell_welch_finish(pass->welch, recording->rate_hz, run->arena, out, &run->err);
    if (status != QUELL_OK) {
        quell_error_set_file(&run->err, recording->file);
        return status;
    }
    quell_spectrum_scale(out, recording->scale_mps2);
    status = cli_require_segments(run, out);
    if (status != QUELL_OK)
        quell_error_set_file(&run->err, recording->file);
    return status;
}

quell_status cli_spectrum_pass(cli_run *run, const char *path, quell_recording *recording,
                               quell_spectrum *spectrum)
{
    passing pass = {.run = run};
    const quell_sink sink = {&pass, begin_passing, take_passing, break_passing};
    quell_status status = cli_recording_open(run, path, &sink, false, recording);
    if (status == QUELL_OK)
        status = finish_passing(&pass, recording, spectrum);
    quell_welch_destroy(pass.welch);
    return status;
}

quell_status cli_spectrum_stream(cli_run *run, const char *path, char driven, cli_recording *out,
                                 quell_spectrum *spectrum)
{
    passing pass = {.run = run};
    const quell_sink sink = {&pass, begin_passing, take_passing, break_passing};
    cli_recording loaded = {.driven = driven};
    const cli_recording *turned = &loaded;
    quell_welch_options options; /* a wrong one is told before a pipe is waited for */
    quell_status status = cli_welch_options(run, 0, false, &options);
    if (status == QUELL_OK)
        status = cli_recording_open(run, path, &sink, false, &loaded.recording);
    if (status == QUELL_OK)
        status = cli_recording_judge(run, &loaded);
    if (status == QUELL_OK)
        status = finish_passing(&pass, &loaded.recording, spectrum);
    quell_welch_destroy(pass.welch);
    if (status != QUELL_OK)
        return status;
    /* as if the samples had been turned before they were transformed */
    quell_spectrum_turn(spectrum, turned->mounting.map);
    *out = loaded;
    return status;
}
