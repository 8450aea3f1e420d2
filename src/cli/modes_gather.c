/* The modes of the recordings given, for the commands that begin with them. */
#include "cli/modes_view.h"

static quell_status gather(cli_run *run, const char *path, const char *label, char driven,
                           modes_recording *out)
{
    out->file = path;
    out->label = label;
    quell_status status = cli_recording_load(run, path, driven, &out->loaded);
    if (status != QUELL_OK)
        return status;
    out->axis = cli_axis_under_test(&out->loaded);
    return cli_modes_make(run, &out->loaded, out->axis, &out->spectrum, &out->modes, &out->how);
}

/* Recordings of different axes are no repeats of each other. */
static quell_status check_axes(cli_run *run, const modes_view *view)
{
    for (size_t i = 1; i < view->recordings; i++) {
        const modes_recording *first = &view->recording[0], *other = &view->recording[i];
        if (other->axis == first->axis)
            continue;
        quell_error_set_file(&run->err, other->file);
        return quell_fail(
            &run->err, QUELL_E_DATA,
            "moves most along %c, unlike the first along %c; want recordings of one axis, or --axis",
            "xyz"[other->axis], "xyz"[first->axis]);
    }
    return QUELL_OK;
}

quell_status modes_gather(cli_run *run, modes_view *view)
{
    const cli_list *files = view->files = &run->given.files;
    char driven = 0;
    quell_status status = cli_labels_split(run, &run->given.files);
    if (status == QUELL_OK)
        status = cli_driven_axis(run, &driven);
    if (status == QUELL_OK)
        status = cli_ignored(run, &view->ignored, &view->ignored_count);
    if (status == QUELL_OK)
        status = cli_idle_find(run, &view->idle);
    if (status == QUELL_OK)
        status = cli_shaper_on(run, &view->shaper_on, &view->shaper_stated);
    if (status != QUELL_OK)
        return status;
    view->recordings = files->count;
    view->mount_given = run->given.read.mount != NULL;
    run->warned_of_shaper = true; /* said among the findings, last, where it is seen */
    view->recording = QUELL_NEW(run->arena, modes_recording, files->count);
    quell_modes *each = QUELL_NEW(run->arena, quell_modes, files->count);
    if (view->recording == NULL || each == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for %zu recordings", files->count);
    for (size_t i = 0; i < files->count && status == QUELL_OK; i++) {
        status = gather(run, files->item[i], files->label[i], driven, &view->recording[i]);
        each[i] = view->recording[i].modes;
    }
    if (status == QUELL_OK)
        status = check_axes(run, view);
    if (status == QUELL_OK)
        view->dropped = quell_modes_pool(each, files->count, files->label, &view->modes, view->spread);
    return status;
}
