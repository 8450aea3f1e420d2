/* Files: opening one as a source of bytes, and writing one beside its place before renaming it there. */
#include "quell/report.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static quell_status fail_io(quell_error *err, const char *path, const char *what)
{
    int why = errno;
    quell_error_set_file(err, path);
    return quell_fail(err, QUELL_E_IO, "%s: %s", what, strerror(why));
}

static quell_status read_stream(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    quell_file *file = context;
    *got = fread(into, 1, size, file->stream);
    if (*got == 0 && ferror(file->stream))
        return fail_io(err, file->name, "cannot be read");
    return QUELL_OK;
}

quell_status quell_file_open(quell_file *out, const char *path, quell_source *source, quell_error *err)
{
    bool is_stdin = strcmp(path, "-") == 0;
    if (path[0] == '\0')
        return quell_fail(err, QUELL_E_IO, "found an empty file name, want a file, or - for standard input");
    FILE *stream = is_stdin ? stdin : fopen(path, "rb");
    if (stream == NULL)
        return fail_io(err, path, "cannot be opened");
    struct stat info;
    if (fstat(fileno(stream), &info) == 0 && S_ISDIR(info.st_mode)) {
        if (!is_stdin)
            fclose(stream);
        quell_error_set_file(err, path);
        return quell_fail(err, QUELL_E_IO, "is a folder, want a file");
    }
    *out = (quell_file){.stream = stream, .is_stdin = is_stdin};
    const char *name = is_stdin ? "standard input" : path;
    quell_printable(out->name, sizeof out->name, name, strlen(name));
    *source = (quell_source){.name = out->name, .read = read_stream, .context = out};
    return QUELL_OK;
}

void quell_file_close(quell_file *file)
{
    if (file->stream != NULL && !file->is_stdin)
        fclose(file->stream);
    file->stream = NULL;
}

/* A device such as /dev/full or /dev/null is written in place: it cannot be renamed over. */
static bool is_special(const char *path)
{
    struct stat info;
    return stat(path, &info) == 0 && !S_ISREG(info.st_mode);
}

quell_status quell_output_open(quell_output *out, const char *path, quell_error *err)
{
    quell_output made = {0};
    if (strlen(path) >= sizeof made.path)
        return quell_fail(err, QUELL_E_USAGE, "file name has %zu bytes, want fewer than %zu", strlen(path),
                          sizeof made.path);
    memcpy(made.path, path, strlen(path) + 1);
    int descriptor = -1;
    if (is_special(path)) {
        made.stream = fopen(path, "wb");
    } else {
        snprintf(made.temporary, sizeof made.temporary, "%s.XXXXXX", path);
        descriptor = mkstemp(made.temporary);
        made.stream = descriptor >= 0 ? fdopen(descriptor, "wb") : NULL;
    }
    if (made.stream == NULL) {
        quell_status status = fail_io(err, path, "cannot be written");
        if (descriptor >= 0) {
            close(descriptor);
            unlink(made.temporary);
        }
        return status;
    }
    if (descriptor >= 0) { /* mkstemp gives 0600; a new file should be as the umask says */
        mode_t mask = umask(0);
        umask(mask);
        fchmod(descriptor, 0666 & ~mask);
    }
    *out = made;
    return QUELL_OK;
}

quell_status quell_output_commit(quell_output *out, quell_error *err)
{
    errno = 0;
    bool failed = ferror(out->stream) != 0;
    failed = fflush(out->stream) != 0 || failed;
    failed = fclose(out->stream) != 0 || failed;
    out->stream = NULL;
    if (!failed && out->temporary[0] != '\0')
        failed = rename(out->temporary, out->path) != 0;
    if (!failed)
        return QUELL_OK;
    quell_status status = QUELL_E_IO;
    if (errno != 0) {
        status = fail_io(err, out->path, "cannot be written");
    } else { /* an earlier write failed, its reason overwritten since */
        quell_error_set_file(err, out->path);
        status = quell_fail(err, status, "cannot be written: the disk may be full");
    }
    if (out->temporary[0] != '\0')
        unlink(out->temporary);
    return status;
}

void quell_output_abandon(quell_output *out)
{
    if (out->stream != NULL)
        fclose(out->stream);
    out->stream = NULL;
    if (out->temporary[0] != '\0')
        unlink(out->temporary);
}

quell_status quell_folder_make(const char *path, quell_error *err)
{
    struct stat info;
    if (mkdir(path, 0777) == 0)
        return QUELL_OK;
    int why = errno;
    if (why == EEXIST && stat(path, &info) == 0 && S_ISDIR(info.st_mode))
        return QUELL_OK;
    errno = why == EEXIST ? ENOTDIR : why;
    return fail_io(err, path, "folder cannot be made");
}
