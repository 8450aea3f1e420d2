/* Where `quell excite` writes: program, plan and plot must not overwrite each other. */
#include "cli/excite_view.h"

#include <string.h>
#include <sys/stat.h>

/* One file that is there; a device, which may take all that is written, is none. */
static bool is_one(const char *a, const char *b)
{
    struct stat at[2];
    return stat(a, &at[0]) == 0 && stat(b, &at[1]) == 0 && at[0].st_dev == at[1].st_dev && at[0].st_ino == at[1].st_ino &&
           !S_ISCHR(at[0].st_mode);
}

/* The folder of a path as a path, and what follows it. */
static const char *split(cli_run *run, const char *path, const char **name)
{
    const char *slash = strrchr(path, '/');
    *name = slash != NULL ? slash + 1 : path;
    return slash != NULL ? quell_arena_print(run->arena, "%.*s", (int)(slash + 1 - path), path) : ".";
}

/* One place by whatever names: the same file where it is there, else the same name in the same folder. */
static bool is_same_place(cli_run *run, const char *a, const char *b)
{
    struct stat unused;
    const char *name[2], *folder[2] = {split(run, a, &name[0]), split(run, b, &name[1])};
    if (stat(a, &unused) == 0 && stat(b, &unused) == 0)
        return is_one(a, b);
    bool same_folder = folder[0] != NULL && folder[1] != NULL && is_one(folder[0], folder[1]);
    return strcmp(a, b) == 0 || (same_folder && strcmp(name[0], name[1]) == 0);
}

quell_status excite_check_places(cli_run *run, const char *file)
{
    const char *out = run->given.out;
    const struct {
        const char *what, *path;
    } place[] = {{"the program", file},
                 {"--plan", run->given.excite.plan},
                 {"--plot", run->given.plot},
                 {"the program of --out", out != NULL ? quell_arena_print(run->arena, "%s/excite.nc", out) : NULL},
                 {"the plan of --out", out != NULL ? quell_arena_print(run->arena, "%s/excite.json", out) : NULL}};
    enum { PLACES = sizeof place / sizeof place[0] };
    for (size_t i = 0; i < PLACES; i++)
        for (size_t k = i + 1; k < PLACES; k++) {
            char shown[64];
            if (place[i].path == NULL || place[k].path == NULL || !is_same_place(run, place[i].path, place[k].path))
                continue;
            return quell_fail(&run->err, QUELL_E_USAGE, "%s and %s would both be written to '%s', want different files", place[i].what,
                              place[k].what, quell_printable(shown, sizeof shown, place[k].path, strlen(place[k].path)));
        }
    return QUELL_OK;
}
