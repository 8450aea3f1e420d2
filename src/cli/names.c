/* Short names of recordings, for the files and plots named after them. */
#include "cli/cli.h"

#include <string.h>

enum { NAME_MAX_BYTES = 100, ENDING_MAX = 6 };

static bool ends_in(const char *text, size_t length, const char *ending)
{
    size_t tail = strlen(ending);
    return length > tail && memcmp(text + length - tail, ending, tail) == 0;
}

char *cli_short_name(cli_run *run, const char *path)
{
    const char *slash = strrchr(path, '/');
    const char *base = strcmp(path, "-") == 0 ? "stdin" : slash != NULL ? slash + 1 : path;
    size_t length = strlen(base);
    if (ends_in(base, length, ".gz"))
        length -= 3;
    for (size_t dot = length; dot > 1 && length - dot < ENDING_MAX; dot--)
        if (base[dot - 1] == '.') {
            length = dot - 1;
            break;
        }
    length = length < NAME_MAX_BYTES ? length : NAME_MAX_BYTES;
    while (length > 0 && ((unsigned char)base[length] & 0xc0) == 0x80)
        length--; /* do not split a UTF-8 character */
    char *name = length > 0 ? quell_arena_copy(run->arena, base, length)
                            : quell_arena_copy(run->arena, "recording", 9);
    for (char *at = name; at != NULL && *at != '\0'; at++)
        if ((unsigned char)*at < 0x20 || *at == 0x7f || (at == name && (*at == '.' || *at == '-')))
            *at = '_';
    return name;
}
