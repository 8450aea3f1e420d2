/* The table of the modes' study: each figure of each row beside its goal. */
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
        if (result[i].wrong > 0 || result[i].peaks > 0)
            printf("%4zu %zu modes and %zu peaks that are none\n", i, result[i].wrong, result[i].peaks);
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

static void limits(char *out, size_t size, const study_words *words, const study_range *within)
{
    double low = words->scale * within->low, high = words->scale * within->high;
    if (isnan(within->low))
        snprintf(out, size, "<= %.4g %s", high, words->unit);
    else if (isnan(within->high))
        snprintf(out, size, ">= %.4g %s", low, words->unit);
    else
        snprintf(out, size, "%.4g to %.4g %s", low, high, words->unit);
}

/* Figures with a goal come first, in the row's order, then the others that there are. Returns the goals missed. */
static size_t tell(FILE *out, const study_row *row, const study_result *result, size_t count, bool markdown)
{
    bool told[STUDY_FIGURES] = {false};
    size_t missed = 0;
    if (markdown)
        fprintf(out, "| **%s**: %s | %zu recordings | | | |\n", row->name, row->title, count);
    else
        fprintf(out, "%s: %zu recordings\n", row->title, count);
    for (size_t i = 0; i < row->goals + STUDY_FIGURES; i++) {
        bool is_goal = i < row->goals;
        study_figure figure = is_goal ? row->goal[i].figure : (study_figure)(i - row->goals);
        if (told[figure])
            continue;
        told[figure] = true;
        const study_words *words = study_figure_words(figure);
        study_value got = study_figure_value(figure, result, count);
        if (isnan(got.value) && !is_goal)
            continue;
        char value[64], wanted[64] = "";
        snprintf(value, sizeof value, "%.*f%s%s ± %.*f", words->decimals, words->scale * got.value,
                 words->unit[0] != '\0' ? " " : "", words->unit, words->decimals,
                 words->scale * got.standard_error);
        if (is_goal)
            limits(wanted, sizeof wanted, words, &row->goal[i].within);
        bool met = is_goal && study_figure_meets(got.value, &row->goal[i].within);
        missed += is_goal && !met;
        const char *verdict = !is_goal ? "" : met ? "met" : "NOT MET";
        if (markdown)
            fprintf(out, "| | %s | %s | %s | %s |\n", words->title, value, wanted, verdict);
        else
            fprintf(out, "%-16s %-40s %-20s %-16s %s\n", row->name, words->title, value, wanted, verdict);
    }
    fflush(out);
    return missed;
}

static void introduce(FILE *out, const settings *given)
{
    fprintf(out,
            "# Modes: what the estimator does, beside what is wanted of it\n\n"
            "Written by `build/modes_study --seed %llu --markdown FILE`. Recordings are simulated "
            "(study_record.c): three "
            "axes of\na sensor mounted at any angle, 120 ug/rtHz of noise, 4 mg steps, 2000 to 3200 Hz, with "
            "slow strokes "
            "before\nthe test; modes from 25 to 90 Hz with damping ratios of 0.02 to 0.10 where the row does "
            "not say "
            "others.\nThey go the way of a user's recording. Behind ± stands the standard error of the "
            "figure itself. "
            "Spreads\nare by the Cramér-Rao bound of each recording (study_bound.c).\n\n"
            "| recordings | figure | result | wanted | |\n|---|---|---|---|---|\n",
            (unsigned long long)given->seed);
}

static int run(const settings *given, FILE *markdown)
{
    size_t rows, missed = 0;
    const study_row *row = study_rows(&rows);
    for (size_t i = 0; i < rows; i++) {
        if (!picked(given, &row[i]))
            continue;
        if (given->list) {
            printf("%-18s %5zu recordings  %s\n", row[i].name, row[i].count, row[i].title);
            continue;
        }
        size_t count = given->count > 0 ? given->count : row[i].count;
        study_result *result = calloc(count, sizeof *result);
        if (result == NULL) {
            fprintf(stderr, "modes_study: out of memory for %zu results\n", count);
            return 4;
        }
        study_run(result, count, &row[i], given->seed, given->threads, isatty(STDERR_FILENO));
        if (given->each)
            print_each(result, count);
        missed += tell(stdout, &row[i], result, count, false);
        if (markdown != NULL)
            tell(markdown, &row[i], result, count, true);
        free(result);
    }
    if (!given->list)
        printf("%zu goals missed\n", missed);
    if (markdown != NULL)
        fprintf(markdown, "\n%zu goals missed.\n", missed);
    return 0;
}

int main(int count, char **word)
{
    settings given = {.seed = 1, .threads = (size_t)sysconf(_SC_NPROCESSORS_ONLN)};
    for (int at = 1; at < count; at++)
        if (!take(&given, count, word, &at))
            return usage("an option is unknown, or its value is wrong");
    gsl_set_error_handler_off();
    FILE *markdown = NULL;
    if (given.markdown != NULL && !given.list) {
        markdown = fopen(given.markdown, "w");
        if (markdown == NULL) {
            perror(given.markdown);
            return 4;
        }
        introduce(markdown, &given);
    }
    int exit_code = run(&given, markdown);
    if (markdown != NULL && fclose(markdown) != 0) {
        perror(given.markdown);
        return 4;
    }
    return exit_code;
}
