/* Runs the modes' study: all rows of its table, or those asked for. */
#include "study.h"

#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { PICKED_MAX = 16 };

typedef struct settings {
    const char *picked[PICKED_MAX], *markdown;
    size_t picks, count, threads;
    uint64_t seed;
    bool list, each;
} settings;

static int usage(const char *what)
{
    fprintf(stderr,
            "modes_study: %s\n"
            "  --row NAME       only rows whose names begin with this; several may be given\n"
            "  --count N        recordings a row, instead of its own number\n"
            "  --seed N         1\n"
            "  --threads N      as many as there are processors; the figures do not depend on it\n"
            "  --each           a line for every mode of every recording\n"
            "  --markdown FILE  the table into this file, too\n"
            "  --list           the rows\n",
            what);
    return 2;
}

static bool number(const char *text, size_t *out)
{
    char *end;
    unsigned long long value = text != NULL && text[0] != '-' ? strtoull(text, &end, 10) : 0;
    if (text == NULL || text[0] == '-' || end == text || *end != '\0')
        return false;
    *out = (size_t)value;
    return true;
}

/* The option at *at, and its value; false if it is none or has no value. */
static bool take(settings *out, int count, char **word, int *at)
{
    const char *option = word[*at], *value = *at + 1 < count ? word[*at + 1] : NULL;
    size_t seed;
    if (strcmp(option, "--list") == 0)
        return out->list = true;
    if (strcmp(option, "--each") == 0)
        return out->each = true;
    *at += 1;
    if (strcmp(option, "--row") == 0 && value != NULL && out->picks < PICKED_MAX)
        return out->picked[out->picks++] = value, true;
    if (strcmp(option, "--markdown") == 0)
        return (out->markdown = value) != NULL;
    if (strcmp(option, "--count") == 0)
        return number(value, &out->count) && out->count > 0;
    if (strcmp(option, "--threads") == 0)
        return number(value, &out->threads);
    if (strcmp(option, "--seed") == 0 && number(value, &seed))
        return out->seed = seed, true;
    return false;
}

static bool picked(const settings *given, const study_row *row)
{
    for (size_t i = 0; i < given->picks; i++)
        if (strncmp(row->name, given->picked[i], strlen(given->picked[i])) == 0)
            return true;
    return given->picks == 0;
}

static void print_each(const study_result *result, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (result[i].status != QUELL_OK)
            printf("%4zu failed with status %d\n", i, (int)result[i].status);
        if (result[i].status == QUELL_OK && !result[i].kind_right)
            printf("%4zu the excitation was not told: %s\n", i, result[i].why);
        if (result[i].wrong > 0)
            printf("%4zu %zu modes that are none, one at %.3f Hz\n", i, result[i].wrong, result[i].wrong_hz);
        for (size_t k = 0; k < result[i].modes; k++) {
            const study_match *match = &result[i].match[k];
            printf("%4zu %8.3f Hz %6.4f %7.3f: ", i, match->f_hz, match->zeta, match->c);
            if (match->found)
                printf("f %+8.4f %% (%+5.2f sd)%s  zeta %+7.2f %% (%+5.2f sd)%s  c %+6.3f (%+5.2f sd)%s\n",
                       100 * expm1(match->ln_f), match->ln_f / match->sd_ln_f, match->f_covered ? "" : "!",
                       100 * expm1(match->ln_zeta), match->ln_zeta / match->sd_ln_zeta,
                       match->zeta_covered ? "" : "!", match->c_error, match->c_error / match->sd_c,
                       match->c_covered ? "" : "!");
            else
                printf("not found\n");
        }
    }
}

/* Runs a row, and says what came of it. */
static bool run(study_told *told, const study_row *row, const settings *given)
{
    size_t count = given->count > 0 ? given->count : row->count;
    study_result *result = calloc(count, sizeof *result);
    if (result == NULL) {
        fprintf(stderr, "modes_study: out of memory for %zu results\n", count);
        return false;
    }
    study_run(result, count, row, given->seed, given->threads, isatty(STDERR_FILENO));
    if (given->each)
        print_each(result, count);
    *told = study_tell(row, result, count);
    study_print(stdout, told);
    free(result);
    return true;
}

static int run_all(const settings *given, FILE *markdown)
{
    size_t rows, done = 0, missed = 0;
    const study_row *row = study_rows(&rows);
    study_told *told = calloc(rows, sizeof *told);
    if (told == NULL) {
        fprintf(stderr, "modes_study: out of memory\n");
        return 4;
    }
    for (size_t i = 0; i < rows; i++) {
        if (!picked(given, &row[i]))
            continue;
        if (!run(&told[done], &row[i], given)) {
            free(told);
            return 4;
        }
        missed += told[done++].missed;
    }
    printf("%zu goals missed\n", missed);
    if (markdown != NULL)
        study_print_markdown(markdown, told, done, given->seed);
    free(told);
    return 0;
}

static void list(const settings *given)
{
    size_t rows;
    const study_row *row = study_rows(&rows);
    for (size_t i = 0; i < rows; i++)
        if (picked(given, &row[i]))
            printf("%-18s %5zu recordings  %s\n", row[i].name, row[i].count, row[i].title);
}

int main(int count, char **word)
{
    settings given = {.seed = 1, .threads = (size_t)sysconf(_SC_NPROCESSORS_ONLN)};
    for (int at = 1; at < count; at++)
        if (!take(&given, count, word, &at))
            return usage("an option is unknown, or its value is wrong");
    if (given.list) {
        list(&given);
        return 0;
    }
    gsl_set_error_handler_off();
    FILE *markdown = NULL;
    if (given.markdown != NULL) {
        markdown = fopen(given.markdown, "w");
        if (markdown == NULL) {
            perror(given.markdown);
            return 4;
        }
    }
    int exit_code = run_all(&given, markdown);
    if (markdown != NULL && fclose(markdown) != 0) {
        perror(given.markdown);
        return 4;
    }
    return exit_code;
}
