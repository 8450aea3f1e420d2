/* Reads files, and the files in folders, and feeds each to the fuzz target it is linked with, in a process of its own
   that may take so many seconds. Says which failed. Usage: replay-<target> SECONDS PATH... */
#include "fuzz.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

typedef struct tally {
    unsigned seconds;
    size_t passed, failed;
} tally;

static uint8_t *load(const char *path, size_t *size)
{
    FILE *file = fopen(path, "rb");
    size_t room = 1 << 16;
    uint8_t *bytes = malloc(room);
    *size = 0;
    while (file != NULL && bytes != NULL) {
        *size += fread(bytes + *size, 1, room - *size, file);
        if (*size < room)
            break;
        room *= 2;
        bytes = realloc(bytes, room);
    }
    if (file == NULL || bytes == NULL || ferror(file)) {
        perror(path);
        exit(4);
    }
    fclose(file);
    return bytes;
}

/* Runs in the child. */
static void feed(const char *path)
{
    size_t size;
    uint8_t *bytes = load(path, &size), *exact = malloc(size > 0 ? size : 1);
    if (exact == NULL)
        exit(4);
    memcpy(exact, bytes, size); /* a block of just its size, for the sanitizer */
    free(bytes);
    LLVMFuzzerTestOneInput(exact, size);
    free(exact);
}

static void replay_file(tally *count, const char *path)
{
    fflush(NULL);
    pid_t child = fork();
    if (child < 0) {
        perror("fork");
        exit(4);
    }
    if (child == 0) {
        alarm(count->seconds);
        feed(path);
        exit(0);
    }
    int state;
    if (waitpid(child, &state, 0) < 0) {
        perror("waitpid");
        exit(4);
    }
    if (WIFEXITED(state) && WEXITSTATUS(state) == 0) {
        count->passed++;
        return;
    }
    count->failed++;
    if (WIFSIGNALED(state) && WTERMSIG(state) == SIGALRM)
        printf("FAILED %s: took more than %u s\n", path, count->seconds);
    else if (WIFSIGNALED(state))
        printf("FAILED %s: ended by signal %d\n", path, WTERMSIG(state));
    else
        printf("FAILED %s: exit code %d\n", path, WEXITSTATUS(state));
}

static void replay(tally *count, const char *path)
{
    struct dirent **entry;
    int entries = scandir(path, &entry, NULL, alphasort);
    if (entries < 0) { /* not a folder */
        replay_file(count, path);
        return;
    }
    for (int i = 0; i < entries; i++) {
        char inner[1024];
        int length = snprintf(inner, sizeof inner, "%s/%s", path, entry[i]->d_name);
        if (entry[i]->d_name[0] != '.' && length < (int)sizeof inner)
            replay(count, inner);
        free(entry[i]);
    }
    free(entry);
}

int main(int count, char **arguments)
{
    char *end = NULL;
    unsigned long seconds = count > 2 ? strtoul(arguments[1], &end, 10) : 0;
    if (end == NULL || *end != '\0' || seconds == 0 || seconds > 3600) {
        fprintf(stderr, "usage: %s SECONDS PATH...\n", arguments[0]);
        return 2;
    }
    tally all = {.seconds = (unsigned)seconds};
    for (int i = 2; i < count; i++)
        replay(&all, arguments[i]);
    printf("%zu passed, %zu failed\n", all.passed, all.failed);
    return all.failed == 0 && all.passed > 0 ? 0 : 1;
}
