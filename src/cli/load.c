/* A recording from a file: read, turned into machine axes and judged. Shared by all commands that take one. */
#include "cli/cli.h"

quell_status cli_recording_open(cli_run *run, const char *path, quell_recording *out)
{
    quell_file file;
    quell_source source;
    quell_status status = quell_file_open(&file, path, &source, &run->err);
    if (status != QUELL_OK)
        return status;
    status = quell_recording_read(out, &source, &run->given.read, run->arena, &run->err);
    quell_file_close(&file);
    return status;
}

quell_status cli_recording_load(cli_run *run, const char *path, char driven, cli_recording *out)
{
    cli_recording loaded = {.driven = driven};
    quell_recording *recording = &loaded.recording;
    quell_status status = cli_recording_open(run, path, recording);
    if (status == QUELL_OK)
        status =
            quell_mounting_find(&loaded.mounting, recording, driven, &run->given.read, run->arena, &run->err);
    if (status != QUELL_OK)
        return status;
    quell_mounting_apply(&loaded.mounting, recording);
    int axis = recording->axes == 3 && (driven == 'x' || driven == 'y') ? driven - 'x' : -1;
    status = quell_recording_judge(&loaded.fitness, recording, axis, run->arena, &run->err);
    if (status != QUELL_OK)
        return status;
    cli_say_findings(run, recording->file, &recording->findings);
    if (loaded.fitness.verdict[0] == 'u' && !run->given.force) {
        quell_error_set_file(&run->err, recording->file);
        return quell_fail(&run->err, QUELL_E_DATA, "unfit: %s%s%s (--force goes on all the same)",
                          loaded.fitness.reason, loaded.fitness.remedy[0] != '\0' ? "; " : "",
                          loaded.fitness.remedy);
    }
    *out = loaded;
    return QUELL_OK;
}
