/* Modes of the files given: recordings, or what `quell modes` wrote of them. */
#include "cli/modes_view.h"

#include <string.h>
#include <sys/stat.h>

/* Results of `quell modes --json` begin with a brace, which no recording does. Standard input and pipes cannot be looked at
   twice: they are recordings. */
static quell_status is_saved(cli_run *run, const char *path, bool *out)
{
    quell_file file;
    quell_source source;
    char bytes[64];
    size_t got = 0;
    struct stat info;
    *out = false;
    if (strcmp(path, "-") == 0 || (stat(path, &info) == 0 && !S_ISREG(info.st_mode)))
        return QUELL_OK;
    quell_status status = quell_file_open(&file, path, &source, &run->err);
    if (status != QUELL_OK)
        return status;
    status = source.read(source.context, bytes, sizeof bytes, &got, &run->err);
    quell_file_close(&file);
    size_t first = 0;
    while (first < got && strchr(" \t\r\n", bytes[first]) != NULL && bytes[first] != '\0')
        first++;
    *out = status == QUELL_OK && first < got && bytes[first] == '{';
    return status;
}

static quell_status from_saved(cli_run *run, const char *path, quell_modes *modes, char *axis)
{
    quell_file file;
    quell_source source;
    if (run->given.files.count > 1)
        return quell_fail(&run->err, QUELL_E_USAGE, "%zu files given, want one file of saved modes, or recordings alone",
                          run->given.files.count);
    quell_status status = quell_file_open(&file, path, &source, &run->err);
    if (status != QUELL_OK)
        return status;
    status = quell_modes_read(modes, axis, &source, run->arena, &run->err);
    quell_file_close(&file);
    return status;
}

static quell_status from_recordings(cli_run *run, quell_modes *modes, char *axis)
{
    modes_view *found = QUELL_NEW(run->arena, modes_view, 1);
    if (found == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory");
    quell_status status = modes_gather(run, found);
    if (status == QUELL_OK)
        status = modes_find_findings(run, found);
    if (status != QUELL_OK)
        return status;
    *modes = found->modes;
    *axis = modes_axis_letter(found);
    cli_say_findings(run, found->recordings == 1 ? found->recording[0].file : "modes", &found->findings);
    return QUELL_OK;
}

/* --axis, which must not say otherwise than the file. */
static quell_status agree_on_axis(cli_run *run, const char *file, char *axis)
{
    char stated;
    quell_status status = cli_driven_axis(run, &stated);
    if (status == QUELL_OK && stated != 0 && *axis != 0 && stated != *axis) {
        quell_error_set_file(&run->err, file);
        return quell_fail(&run->err, QUELL_E_USAGE, "holds modes of the %c axis, but %s says %c", *axis,
                          run->given.axis != NULL ? "--axis" : "the plan of --excitation", stated);
    }
    *axis = stated != 0 ? stated : *axis;
    return status;
}

quell_status cli_modes_given(cli_run *run, quell_modes *modes, char *axis)
{
    bool saved;
    const char *first = run->given.files.item[0];
    quell_status status = is_saved(run, first, &saved);
    if (status != QUELL_OK)
        return status;
    *axis = 0;
    status = saved ? from_saved(run, first, modes, axis) : from_recordings(run, modes, axis);
    return status == QUELL_OK ? agree_on_axis(run, first, axis) : status;
}
