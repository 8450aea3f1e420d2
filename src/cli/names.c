/* Names of recordings: short ones for files and plots named after them, quoted ones to be typed at a shell. */
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

const char *cli_word(const cli_run *run, const char *name)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-+=:,./%@";
    if (strcmp(name, "-") == 0 || (name[0] != '-' && name[0] != '\0' && name[strspn(name, plain)] == '\0'))
        return name;
    const size_t length = strlen(name), size = length + 8;
    char *shown = QUELL_NEW(run->arena, char, size), *out = QUELL_NEW(run->arena, char, 4 * size), *end = out;
    if (shown == NULL || out == NULL)
        return "FILE";
    quell_printable(shown, size, name, length);
    *end++ = '\'';
    if (shown[0] == '-')
        end = strcpy(end, "./") + 2;
    for (const char *at = shown; *at != '\0'; at++)
        if (*at == '\'')
            end = strcpy(end, "'\\''") + 4;
        else
            *end++ = *at;
    *end = '\'';
    return out; /* ends in zeros, as the arena's memory does */
}
