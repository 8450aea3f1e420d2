/* Two sides of recordings that should be alike: files of a next line, and whether they were shaken alike. */
#include "cli/sides.h"

#include <math.h>
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

/* ---------------------------------------------------------------- copies */

static bool same_samples(const quell_recording *first, const quell_recording *second)
{
    if (first->axes != second->axes || first->samples != second->samples)
        return false;
    for (size_t k = 0; k < first->axes; k++)
        if (memcmp(first->accel_mps2[k], second->accel_mps2[k], first->samples * sizeof(double)) != 0)
            return false;
    return true;
}

quell_status sides_drop_copies(cli_run *run, const char *side, cli_recording *loaded, const cli_list **files,
                               quell_findings *findings)
{
    cli_list *kept = QUELL_NEW(run->arena, cli_list, 1);
    if (kept == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a list of files");
    for (size_t i = 0; i < (*files)->count; i++) {
        bool known = false;
        for (size_t k = 0; k < kept->count; k++)
            known = known || same_samples(&loaded[k].recording, &loaded[i].recording);
        if (known)
            continue;
        loaded[kept->count] = loaded[i];
        kept->label[kept->count] = (*files)->label[i];
        kept->item[kept->count++] = (*files)->item[i];
    }
    bool dropped = kept->count < (*files)->count;
    *files = kept;
    if (dropped && quell_findings_add(findings, run->arena, "copy", QUELL_WARN, (double)NAN, (double)NAN,
                                      "give each recording once: only true repeats tell how much runs differ",
                                      "one recording is given twice %s, and used once", side) != QUELL_OK)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for findings");
    return QUELL_OK;
}

quell_status sides_share(cli_run *run, const cli_recording *before, size_t before_count, const cli_recording *after,
                         size_t after_count, quell_findings *findings)
{
    for (size_t i = 0; i < before_count; i++)
        for (size_t k = 0; k < after_count; k++)
            if (same_samples(&before[i].recording, &after[k].recording))
                return quell_findings_add(findings, run->arena, "same", QUELL_WARN, (double)NAN, (double)NAN,
                                          "give recordings of their own for each side", "one recording is on both sides") == QUELL_OK
                           ? QUELL_OK
                           : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for findings");
    return QUELL_OK;
}

const char *sides_share_words(void)
{
    return "The same recording is on both sides: that it is like itself tells nothing of the machine.";
}
