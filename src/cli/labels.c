/* FILE@key=value,key=value: a recording and the condition it was made in. */
#include "cli/cli.h"

#include <string.h>
#include <sys/stat.h>

enum { LABEL_MAX_BYTES = 200 };

/* Is text key=value,key=value? A key is not empty and holds none of "=,@/"; a value is not empty. */
static bool is_label(const char *text)
{
    for (;;) {
        size_t key = strcspn(text, "=,@/");
        if (key == 0 || text[key] != '=')
            return false;
        text += key + 1;
        size_t value = strcspn(text, ",");
        if (value == 0)
            return false;
        if (text[value] == '\0')
            return true;
        text += value + 1;
    }
}

static bool is_there(const char *path)
{
    struct stat info;
    return strcmp(path, "-") == 0 || (stat(path, &info) == 0 && !S_ISDIR(info.st_mode));
}

static quell_status no_memory(cli_run *run)
{
    return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for names");
}

/* text with a label after `sign`, which is its '@'. */
static quell_status take(cli_run *run, const char *file, const char *sign, const char **out,
                         const char **label)
{
    const size_t length = strlen(sign + 1);
    char *room = QUELL_NEW(run->arena, char, length + 8); /* as quell_printable wants it */
    if (room == NULL)
        return no_memory(run);
    *label = quell_printable(room, length + 8, sign + 1, length);
    *out = file;
    if (length <= LABEL_MAX_BYTES)
        return QUELL_OK;
    quell_error_set_file(&run->err, file);
    return quell_fail(&run->err, QUELL_E_USAGE, "its label has %zu bytes, want %d at most", length,
                      LABEL_MAX_BYTES);
}

/* The file is there, but what follows it is no label. */
static quell_status refuse(cli_run *run, const char *file, const char *label)
{
    char shown[64];
    quell_error_set_file(&run->err, file);
    return quell_fail(&run->err, QUELL_E_USAGE,
                      "found the label '%s', want key=value,key=value, as in z=180,spool=full",
                      quell_printable(shown, sizeof shown, label, strlen(label)));
}

/* A text that names a file as a whole is that file. Otherwise the label begins at the first '@' that a label follows
   and a file that is there precedes; if none is there, at the first that a label follows. */
static quell_status split(cli_run *run, const char *text, const char **out, const char **label)
{
    const char *any = NULL, *any_file = NULL, *plain = NULL, *plain_file = NULL;
    *out = text;
    *label = NULL;
    if (strchr(text, '@') == NULL || is_there(text))
        return QUELL_OK;
    for (const char *sign = strchr(text, '@'); sign != NULL; sign = strchr(sign + 1, '@')) {
        if (sign == text)
            continue;
        const char *file = quell_arena_copy(run->arena, text, (size_t)(sign - text));
        if (file == NULL)
            return no_memory(run);
        bool labelled = is_label(sign + 1), there = is_there(file);
        if (labelled && there)
            return take(run, file, sign, out, label);
        if (labelled && any == NULL &&
            strchr(sign, '/') == NULL) { /* else a name in a folder that is missing */
            any = sign;
            any_file = file;
        }
        if (there) {
            plain = sign;
            plain_file = file;
        }
    }
    if (plain != NULL)
        return refuse(run, plain_file, plain + 1);
    return any != NULL ? take(run, any_file, any, out, label) : QUELL_OK;
}

quell_status cli_labels_split(cli_run *run, cli_list *list)
{
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < list->count && status == QUELL_OK; i++)
        status = split(run, list->item[i], &list->item[i], &list->label[i]);
    return status;
}

const char *cli_condition(const char *file, const char *label)
{
    return label != NULL ? label : file;
}

const char *cli_shown_name(const cli_run *run, const char *file, const char *label)
{
    const char *shown = label != NULL ? quell_arena_print(run->arena, "%s (%s)", file, label) : file;
    return shown != NULL ? shown : file;
}

const char *cli_labelled_words(const cli_run *run, const cli_list *list)
{
    enum { MOST = 4 };
    const char *words = "";
    for (size_t i = 0; i < list->count && i < MOST && words != NULL; i++) {
        const char *name = list->label[i] == NULL
                               ? list->item[i]
                               : quell_arena_print(run->arena, "%s@%s", list->item[i], list->label[i]);
        words = name == NULL
                    ? NULL
                    : quell_arena_print(run->arena, "%s%s%s", words, i > 0 ? " " : "", cli_word(run, name));
    }
    if (words != NULL && list->count > MOST)
        words = quell_arena_print(run->arena, "%s ...", words);
    return words != NULL ? words : "FILE";
}

void cli_json_label(quell_json *json, json_t *item, const char *label)
{
    if (label != NULL)
        quell_json_text(json, item, "label", label);
    else
        quell_json_null(json, item, "label", "not given");
}
