/* Two sides of recordings that should be alike: files of a next line, and whether they were shaken alike. */
#include "cli/sides.h"

#include <string.h>

const char *sides_files_again(const cli_run *run, const cli_list *files, size_t want, const char *name)
{
    const char *words = "";
    for (size_t i = 0; i < files->count && words != NULL; i++)
        words = quell_arena_print(run->arena, "%s %s", words, cli_word(run, files->item[i]));
    for (size_t i = files->count; i < want && words != NULL; i++)
        words = quell_arena_print(run->arena, "%s %s-%zu", words, name, i + 1);
    return words != NULL ? words : "";
}

const char *sides_options_again(const cli_run *run, bool shapers)
{
    const cli_options *given = &run->given;
    const struct {
        const char *name, *value;
    } option[] = {{"--axis", given->axis},
                  {"--shaper-on", shapers ? given->shaper_on : NULL},
                  {"--applied", shapers ? given->applied : NULL},
                  {"--expected", shapers ? given->identify.expected : NULL},
                  {"--machine", given->machine},
                  {"--band", given->band}};
    const char *words = "";
    for (size_t i = 0; i < sizeof option / sizeof option[0] && words != NULL; i++)
        if (option[i].value != NULL)
            words = quell_arena_print(run->arena, "%s %s %s", words, option[i].name, cli_word(run, option[i].value));
    words = words != NULL ? quell_arena_print(run->arena, "%s%s", words, cli_reading_again(run)) : NULL;
    return words != NULL ? words : "";
}

bool sides_have(const quell_findings *findings, const char *kind)
{
    for (size_t i = 0; i < findings->count; i++)
        if (strcmp(findings->item[i].kind, kind) == 0)
            return true;
    return false;
}

quell_status sides_shaking(cli_run *run, const cli_recording *before, const cli_recording *after, quell_findings *findings,
                           bool *same_kind)
{
    const cli_recording *const side[2] = {before, after};
    quell_shaking shaking[2], stated;
    bool given;
    *same_kind = true;
    quell_status status = cli_excitation(run, &given, &stated);
    for (size_t i = 0; i < 2 && status == QUELL_OK; i++) {
        quell_error why = {0};
        status = quell_shaking_find(&shaking[i], given ? &stated : NULL, &side[i]->recording, &side[i]->fitness, run->arena, &why);
        if (status == QUELL_E_DATA) /* nothing of the kind stated: told where modes are sought */
            return QUELL_OK;
        if (status != QUELL_OK)
            return quell_fail(&run->err, status, "%s", why.text);
    }
    if (status != QUELL_OK)
        return status;
    *same_kind = shaking[0].kind == shaking[1].kind;
    return quell_shaking_differ(&shaking[0], &shaking[1], run->arena, findings, &run->err);
}
