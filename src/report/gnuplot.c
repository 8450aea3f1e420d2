/* Running gnuplot: without a shell, in a private folder with fixed file names, the picture renamed into place. */
#include "report/plot_private.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { WAIT_SECONDS = 60, EXIT_NOT_FOUND = 127 };

static const char *const private_files[] = {"data.txt", "plot.gnuplot", "plot.png",
                                            "plot.svg", "plot.pdf",     "words.txt"};

static const char *kind_of(const char *path)
{
    const char *dot = strrchr(path, '.');
    static const char *const kinds[] = {"png", "svg", "pdf"};
    for (size_t i = 0; dot != NULL && i < sizeof kinds / sizeof kinds[0]; i++)
        if (strcmp(dot + 1, kinds[i]) == 0)
            return kinds[i];
    return NULL;
}

quell_status quell_plot_check_name(const char *path, quell_error *err)
{
    char shown[200];
    if (kind_of(path) != NULL)
        return QUELL_OK;
    return quell_fail(err, QUELL_E_USAGE, "plot file '%s', want a name ending in .png, .svg or .pdf",
                      quell_printable(shown, sizeof shown, path, strlen(path)));
}

static quell_status join(char *out, size_t size, const char *folder, const char *name, quell_error *err)
{
    int length = snprintf(out, size, "%s/%s", folder, name);
    if (length < 0 || (size_t)length >= size)
        return quell_fail(err, QUELL_E_USAGE, "file name of over %zu bytes, want a shorter one", size);
    return QUELL_OK;
}

/* Data and script into a folder. */
static quell_status write_files(const quell_plot *plot, const char *kind, const char *folder,
                                quell_error *err)
{
    for (int i = 0; i < 2; i++) {
        char path[4096];
        quell_output output;
        quell_status status = join(path, sizeof path, folder, private_files[i], err);
        if (status == QUELL_OK)
            status = quell_output_open(&output, path, err);
        if (status != QUELL_OK)
            return status;
        if (i == 0)
            plot_write_data(plot, output.stream);
        else
            plot_write_script(plot, kind, output.stream);
        status = quell_output_commit(&output, err);
        if (status != QUELL_OK)
            return status;
    }
    return QUELL_OK;
}

/* In the child: no return. */
static void become_gnuplot(const char *folder)
{
    char program[] = "gnuplot", defaults[] = "-d", script[] = "plot.gnuplot";
    char *const arguments[] = {program, defaults, script, NULL};
    int input = open("/dev/null", O_RDONLY);
    if (chdir(folder) != 0)
        _exit(1);
    int words = open("words.txt", O_WRONLY | O_CREAT | O_TRUNC, 0600);
    if (input < 0 || words < 0 || dup2(input, 0) < 0 || dup2(words, 1) < 0 || dup2(words, 2) < 0)
        _exit(1);
    setenv("LC_ALL", "C", 1);
    unsetenv("GNUTERM");
    execvp(program, arguments);
    _exit(errno == ENOENT || errno == EACCES ? EXIT_NOT_FOUND : 1);
}

/* Waits for the child, at most WAIT_SECONDS; its exit code, or -1. */
static int wait_for(pid_t child)
{
    const struct timespec nap = {.tv_nsec = 5 * 1000 * 1000};
    for (int i = 0; i < WAIT_SECONDS * 200; i++) {
        int state;
        pid_t got = waitpid(child, &state, WNOHANG);
        if (got == child)
            return WIFEXITED(state) ? WEXITSTATUS(state) : -1;
        if (got < 0 && errno != EINTR)
            return -1;
        nanosleep(&nap, NULL);
    }
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
    return -1;
}

/* The last line gnuplot said, for the error: warnings come before it. */
static void last_words(const char *folder, char *out, size_t size)
{
    char path[4096], line[160], last[160] = "";
    FILE *stream = join(path, sizeof path, folder, "words.txt", NULL) == QUELL_OK ? fopen(path, "r") : NULL;
    while (stream != NULL && fgets(line, sizeof line, stream) != NULL)
        if (strspn(line, " \t\r\n^") != strlen(line))
            memcpy(last, line, sizeof last);
    if (stream != NULL)
        fclose(stream);
    quell_printable(out, size, last, strcspn(last, "\r\n"));
}

static quell_status run_gnuplot(const char *folder, quell_error *err)
{
    fflush(NULL);
    pid_t child = fork();
    if (child == 0)
        become_gnuplot(folder);
    int code = child < 0 ? -1 : wait_for(child);
    if (code == EXIT_NOT_FOUND)
        return quell_fail(err, QUELL_E_IO,
                          "the plot needs gnuplot, which is not installed (Debian: gnuplot-nox)");
    if (code != 0) {
        char words[160];
        last_words(folder, words, sizeof words);
        return quell_fail(err, QUELL_E_IO, "gnuplot failed: %s",
                          words[0] != '\0' ? words : "it said nothing");
    }
    return QUELL_OK;
}

static quell_status move_picture(const char *folder, const char *kind, const char *path, quell_error *err)
{
    char made[4096], name[16];
    snprintf(name, sizeof name, "plot.%s", kind);
    quell_status status = join(made, sizeof made, folder, name, err);
    if (status != QUELL_OK)
        return status;
    quell_output output;
    FILE *picture = fopen(made, "rb");
    if (picture == NULL)
        return quell_fail(err, QUELL_E_IO, "gnuplot drew nothing");
    status = quell_output_open(&output, path, err);
    if (status == QUELL_OK) {
        char block[65536];
        size_t got, total = 0;
        while ((got = fread(block, 1, sizeof block, picture)) > 0) {
            fwrite(block, 1, got, output.stream); /* the commit checks every write */
            total += got;
        }
        if (total == 0 || ferror(picture)) {
            quell_output_abandon(&output);
            status = quell_fail(err, QUELL_E_IO, "gnuplot drew nothing");
        } else {
            status = quell_output_commit(&output, err);
        }
    }
    fclose(picture);
    return status;
}

static void remove_folder(const char *folder)
{
    char path[4096];
    for (size_t i = 0; i < sizeof private_files / sizeof private_files[0]; i++)
        if (join(path, sizeof path, folder, private_files[i], NULL) == QUELL_OK)
            unlink(path);
    rmdir(folder);
}

/* Leaves script and data in <keep_dir>/<base name of path>.plot/. */
static quell_status keep_files(const quell_plot *plot, const char *kind, const char *path,
                               const char *keep_dir, char *kept, size_t size, quell_error *err)
{
    const char *slash = strrchr(path, '/');
    const char *base = slash != NULL ? slash + 1 : path;
    char name[300];
    int length = snprintf(name, sizeof name, "%.*s.plot", (int)(strrchr(base, '.') - base), base);
    if (length < 0 || (size_t)length >= sizeof name)
        return quell_fail(err, QUELL_E_USAGE, "plot name of %zu bytes, want fewer than 290", strlen(base));
    quell_status status = join(kept, size, keep_dir, name, err);
    if (status == QUELL_OK)
        status = quell_folder_make(keep_dir, err);
    if (status == QUELL_OK)
        status = quell_folder_make(kept, err);
    return status == QUELL_OK ? write_files(plot, kind, kept, err) : status;
}

quell_status quell_plot_draw(quell_plot *plot, const char *path, const char *keep_dir, quell_error *err)
{
    const char *kind = kind_of(path);
    char kept[4096] = "";
    if (kind == NULL)
        return quell_plot_check_name(path, err);
    if (plot == NULL || plot->failed)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the plot");
    for (size_t p = 0; p < plot->panels; p++)
        plot_fill_ranges(plot->panel[p]);
    if (keep_dir != NULL) {
        quell_status status = keep_files(plot, kind, path, keep_dir, kept, sizeof kept, err);
        if (status != QUELL_OK)
            return status;
    }
    const char *parent = getenv("TMPDIR");
    char folder[4096];
    quell_status status =
        join(folder, sizeof folder, parent != NULL && parent[0] == '/' ? parent : "/tmp", "plot-XXXXXX", err);
    if (status != QUELL_OK)
        return status;
    if (mkdtemp(folder) == NULL)
        return quell_fail(err, QUELL_E_IO, "no private folder for the plot: %s", strerror(errno));
    status = write_files(plot, kind, folder, err);
    if (status == QUELL_OK)
        status = run_gnuplot(folder, err);
    if (status == QUELL_OK)
        status = move_picture(folder, kind, path, err);
    if (status == QUELL_E_IO && err != NULL && kept[0] != '\0')
        quell_fail(err, QUELL_E_IO, "%s; script and data are kept in %s", err->text, kept);
    else if (status == QUELL_E_IO && err != NULL)
        quell_fail(err, QUELL_E_IO, "%s; --out DIR would keep the plot's script and data", err->text);
    remove_folder(folder);
    return status;
}
