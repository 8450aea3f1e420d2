/* A recording from a file: read, turned into machine axes and judged. Shared by all commands that take one. */
#include "cli/cli.h"

#include <sys/stat.h>
#include <time.h>

/* A source that counts what is read and shows progress once that has taken a second. */
typedef struct counted {
    const cli_run *run;
    const quell_source *inner;
    double read, size; /* bytes; size 0 if not known (a pipe) */
    struct timespec start;
    bool shown;
} counted;

static quell_status read_counted(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    counted *count = context;
    struct timespec now;
    quell_status status = count->inner->read(count->inner->context, into, size, got, err);
    if (status != QUELL_OK || count->size <= 0)
        return status;
    count->read += (double)*got;
    clock_gettime(CLOCK_MONOTONIC, &now);
    if (difftime(now.tv_sec, count->start.tv_sec) + 1e-9 * (double)(now.tv_nsec - count->start.tv_nsec) > 1) {
        cli_progress(count->run, count->inner->name, count->read / count->size, false);
        count->shown = true;
    }
    return status;
}

quell_status cli_recording_open(cli_run *run, const char *path, const quell_sink *sink, bool keep,
                                quell_recording *out)
{
    quell_file file;
    quell_source source;
    quell_status status = quell_file_open(&file, path, &source, &run->err);
    if (status != QUELL_OK)
        return status;
    struct stat info;
    counted count = {.run = run, .inner = &source};
    if (fstat(fileno(file.stream), &info) == 0 && S_ISREG(info.st_mode))
        count.size = (double)info.st_size;
    clock_gettime(CLOCK_MONOTONIC, &count.start);
    const quell_source shown = {.name = source.name, .read = read_counted, .context = &count};
    quell_read_options options = run->given.read;
    options.threads = cli_threads(run);
    status = keep ? quell_recording_read(out, &shown, &options, run->arena, &run->err)
                  : quell_recording_stream(out, &shown, &options, sink, run->arena, &run->err);
    if (count.shown)
        cli_progress(run, "", 1, true);
    quell_file_close(&file);
    return status;
}

/* Where loaded->recording is read: how the sensor sits. */
static quell_status find_mounting(cli_run *run, cli_recording *loaded)
{
    return quell_mounting_find(&loaded->mounting, &loaded->recording, loaded->driven, &run->given.read,
                               run->arena, &run->err);
}

quell_status cli_recording_sight(cli_run *run, const char *path, char driven, cli_recording *out)
{
    cli_recording loaded = {.driven = driven};
    quell_status status = cli_recording_open(run, path, NULL, true, &loaded.recording);
    if (status == QUELL_OK)
        status = find_mounting(run, &loaded);
    if (status == QUELL_OK)
        *out = loaded;
    return status;
}

quell_status cli_recording_settle(cli_run *run, cli_recording *loaded)
{
    quell_recording *recording = &loaded->recording;
    quell_mounting_apply(&loaded->mounting, recording);
    bool known = recording->axes == 3 && (loaded->driven == 'x' || loaded->driven == 'y');
    int axis = known ? loaded->driven - 'x' : -1;
    quell_status status = quell_recording_judge(&loaded->fitness, recording, axis, run->arena, &run->err);
    if (status != QUELL_OK)
        return status;
    cli_say_findings(run, recording->file, &recording->findings);
    if (loaded->fitness.verdict[0] != 'u' || run->given.force)
        return QUELL_OK;
    quell_error_set_file(&run->err, recording->file);
    return quell_fail(&run->err, QUELL_E_DATA, "unfit: %s%s%s (--force goes on all the same)",
                      loaded->fitness.reason, loaded->fitness.remedy[0] != '\0' ? "; " : "",
                      loaded->fitness.remedy);
}

quell_status cli_recording_judge(cli_run *run, cli_recording *loaded)
{
    quell_status status = find_mounting(run, loaded);
    return status == QUELL_OK ? cli_recording_settle(run, loaded) : status;
}

quell_status cli_recording_load(cli_run *run, const char *path, char driven, cli_recording *out)
{
    quell_status status = cli_recording_sight(run, path, driven, out);
    return status == QUELL_OK ? cli_recording_settle(run, out) : status;
}
