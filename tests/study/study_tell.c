/* The tables of the study: for the terminal, and tests/study/RESULTS.md. */
#include "study.h"

#include <math.h>

study_told study_tell(const study_row *row, const study_result *result, size_t count)
{
    study_told out = {.row = row, .count = count};
    for (size_t i = 0; i < STUDY_FIGURES; i++)
        out.value[i] = study_figure_value((study_figure)i, result, count);
    if (row->modes > 0) /* with modes, others' flanks and the ends of a sweep make peaks that mean nothing */
        out.value[STUDY_PEAKS].value = (double)NAN;
    if (row->noise) /* which kind would be right? */
        out.value[STUDY_KIND].value = (double)NAN;
    for (size_t i = 0; i < row->goals; i++)
        out.missed += !study_figure_meets(out.value[row->goal[i].figure].value, &row->goal[i].within);
    return out;
}

static void print_limits(char *out, size_t size, const study_words *words, const study_range *within)
{
    double low = words->scale * within->low, high = words->scale * within->high;
    if (isnan(within->low))
        snprintf(out, size, "<= %.4g %s", high, words->unit);
    else if (isnan(within->high))
        snprintf(out, size, ">= %.4g %s", low, words->unit);
    else
        snprintf(out, size, "%.4g to %.4g %s", low, high, words->unit);
}

static void print_value(char *out, size_t size, const study_words *words, const study_value *value)
{
    const char *blank = words->unit[0] != '\0' ? " " : "";
    if (isnan(value->value))
        snprintf(out, size, "none");
    else
        snprintf(out, size, "%.*f ± %.*f%s%s", words->decimals, words->scale * value->value, words->decimals,
                 words->scale * value->standard_error, blank, words->unit);
}

/* What a row's goal comes to, in words. */
typedef struct goal_words {
    const char *title, *verdict;
    char value[64], wanted[64];
} goal_words;

static goal_words say_goal(const study_told *told, size_t goal)
{
    const study_goal *of = &told->row->goal[goal];
    const study_words *words = study_figure_words(of->figure);
    const study_value *value = &told->value[of->figure];
    goal_words out = {.title = words->title,
                      .verdict = study_figure_meets(value->value, &of->within) ? "met" : "NOT MET"};
    print_value(out.value, sizeof out.value, words, value);
    print_limits(out.wanted, sizeof out.wanted, words, &of->within);
    return out;
}

void study_print(FILE *out, const study_told *told)
{
    bool done[STUDY_FIGURES] = {false};
    fprintf(out, "%s: %zu recordings\n", told->row->title, told->count);
    for (size_t i = 0; i < told->row->goals; i++) {
        goal_words words = say_goal(told, i);
        done[told->row->goal[i].figure] = true;
        fprintf(out, "%-16s %-42s %-20s %-16s %s\n", told->row->name, words.title, words.value, words.wanted,
                words.verdict);
    }
    for (size_t i = 0; i < STUDY_FIGURES; i++) {
        const study_words *words = study_figure_words((study_figure)i);
        char value[64];
        if (done[i] || isnan(told->value[i].value))
            continue;
        print_value(value, sizeof value, words, &told->value[i]);
        fprintf(out, "%-16s %-42s %s\n", told->row->name, words->title, value);
    }
    fflush(out);
}

static const char introduction[] = "Recordings are simulated: three axes of a sensor mounted at any angle, "
                                   "120 µg/√Hz of noise, 4 mg steps, 2000 to 3200 Hz,\n"
                                   "slow strokes before the test (study_record.c). Modes are drawn from 25 "
                                   "to 90 Hz, damping ratios of 0.02 to 0.10 and\n"
                                   "participations of 0.7 to 1 where a row does not say others "
                                   "(study_rows.c). Every recording goes the way of a user's: its\n"
                                   "mounting and what shook it are found, it is judged, and its modes are "
                                   "measured. Behind ± stands the standard error of\n"
                                   "the figure itself. Spreads are robust standard deviations by the "
                                   "Cramér-Rao bound of each recording, for which the\n"
                                   "input's level and slope are unknown and the sensor's noise known "
                                   "(study_bound.c). Times are of one processor.\n\n";

void study_print_markdown(FILE *out, const study_told *told, size_t rows, uint64_t seed)
{
    size_t missed = 0;
    fprintf(out,
            "# What the modes' estimator does, beside what is wanted of it\n\n"
            "Written by `build/modes_study --seed %llu --markdown tests/study/RESULTS.md` (`make study`).\n%s"
            "## Goals\n\n| recordings | | figure | result | wanted | |\n|---|---|---|---|---|---|\n",
            (unsigned long long)seed, introduction);
    for (size_t r = 0; r < rows; r++) {
        for (size_t i = 0; i < told[r].row->goals; i++) {
            goal_words words = say_goal(&told[r], i);
            fprintf(out, "| %s | %zu | %s | %s | %s | %s |\n", i == 0 ? told[r].row->title : "",
                    told[r].count, words.title, words.value, words.wanted, words.verdict);
        }
        missed += told[r].missed;
    }
    fprintf(out, "\n%zu goals missed.\n\n## All figures\n\n| figure |", missed);
    for (size_t r = 0; r < rows; r++)
        fprintf(out, " %s |", told[r].row->name);
    fprintf(out, "\n|---|");
    for (size_t r = 0; r < rows; r++)
        fprintf(out, "---|");
    for (size_t i = 0; i < STUDY_FIGURES; i++) {
        const study_words *words = study_figure_words((study_figure)i);
        const char *unit = words->unit;
        fprintf(out, "\n| %s%s%s |", words->title, unit[0] != '\0' ? ", " : "", unit);
        for (size_t r = 0; r < rows; r++) {
            double value = words->scale * told[r].value[i].value;
            if (isnan(value))
                fprintf(out, " |");
            else
                fprintf(out, " %.*f |", words->decimals, value);
        }
    }
    fprintf(out, "\n");
}
