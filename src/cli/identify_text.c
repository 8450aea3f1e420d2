/* quell identify: the table, the verdict, and lines for a machine file. */
#include "cli/identify_view.h"

#include <math.h>
#include <string.h>

enum { WIDTH = 79, ROWS_MOST = 8 };

static void print_side(const char *name, const identify_side *side)
{
    for (size_t i = 0; i < side->files->count; i++) {
        const char *file = side->files->item[i], *label = side->files->label[i];
        char shown[320], text[700];
        snprintf(text, sizeof text, "%s%s%s%s", quell_printable(shown, sizeof shown, file, strlen(file)),
                 label != NULL ? " (" : "", label != NULL ? label : "", label != NULL ? ")" : "");
        char first[16];
        snprintf(first, sizeof first, "%-6s", i == 0 ? name : "");
        quell_words_print(stdout, first, "      ", WIDTH, text);
    }
}

static void add_row(quell_table *table, const quell_identified *of, double best)
{
    static const double none[2] = {(double)NAN, (double)NAN};
    const bool family = of->shaper.family != NULL || of->has_point;
    const double *hz_ci95 = of->has_point ? of->frequency_ci95_hz : none,
                 *zeta_ci95 = of->has_point ? of->damping_ratio_ci95 : none;
    quell_table_cell(table, "%s", of->title);
    if (family) {
        quell_table_value(table, of->shaper.at.frequency_hz, hz_ci95, 1);
        quell_table_interval(table, of->shaper.at.frequency_hz, hz_ci95, 1);
        quell_table_value(table, of->shaper.at.damping_ratio, zeta_ci95, 2);
        quell_table_interval(table, of->shaper.at.damping_ratio, zeta_ci95, 2);
    } else {
        for (int i = 0; i < 4; i++)
            quell_table_cell(table, i % 2 == 0 ? "-" : "");
    }
    if (of->shaper.family != NULL && (of->shaper.family->flags & QUELL_FAMILY_TOLERANCE) != 0)
        quell_table_cell(table, "%s", quell_number_short(of->shaper.at.tolerance, 2).text);
    else
        quell_table_cell(table, "-");
    quell_table_number(table, of->misfit_db, 2);
    quell_table_number(table, of->bic - best, 1);
}

void identify_print(cli_run *run, const identify_view *view)
{
    static const quell_column columns[] = {{"shaper", "", true},        {"natural", "Hz", false}, {"95 %", "", true},
                                           {"damping", "ratio", false}, {"95 %", "", true},       {"V", "", false},
                                           {"misfit", "dB", false},     {"BIC", "", false}};
    const quell_identification *of = &view->result;
    print_side("off", &view->off);
    print_side("on", &view->on);
    bool stated = run->given.axis != NULL && run->given.read.mount == NULL; /* motion has no name: it is what --axis says */
    printf("ratio of axis %c%s from %s to %s Hz, scatter %s dB a bin\n\n", "xyz"[view->ratio.axis], stated ? ", as stated," : "",
           quell_number_fixed(view->ratio.frequency_hz[0], 0).text,
           quell_number_fixed(view->ratio.frequency_hz[view->ratio.bins - 1], 0).text,
           quell_number_fixed(of->scatter_db, 2).text);
    quell_table *table = quell_table_create(run->arena, columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < of->count && (i < ROWS_MOST || i < of->alike); i++)
        add_row(table, &of->candidate[i], of->candidate[0].bic);
    quell_table_print(table, stdout, 0);
    putchar('\n');
    quell_words_print(stdout, "", "", WIDTH, of->verdict);
    for (size_t i = 0; i < of->cannot_tell_count; i++)
        quell_words_print(stdout, "cannot tell: ", "             ", WIDTH, of->cannot_tell[i]);
    if (view->machine_lines != NULL)
        printf("\nFor the machine file:\n\n%s", view->machine_lines);
}

/* ---------------------------------------------------------------- lines for a machine file */

/* A list as a family of the controller's own: times in periods of the first gap's half, amplitudes as they are. */
static const char *list_lines(cli_run *run, const quell_shaper *list)
{
    const char *times = "times =", *amplitudes = "amplitudes =";
    double period_s = 2 * list->time_s[1];
    for (size_t i = 0; i < list->count && times != NULL && amplitudes != NULL; i++) {
        times = quell_arena_print(run->arena, "%s %s", times, quell_number_short(list->time_s[i] / period_s, 5).text);
        amplitudes = quell_arena_print(run->arena, "%s%s %s", amplitudes, i == 0 ? "" : " |",
                                       quell_number_short(list->amplitude[i], 4).text);
    }
    if (times == NULL || amplitudes == NULL)
        return NULL;
    return quell_arena_print(
        run->arena,
        "\n[family identified]           ; as seen at %s Hz: whether it changes with damping is not known\n%s\n%s\n",
        quell_number_short(1 / period_s, 5).text, times, amplitudes);
}

/* What goes under [controller]; "" if nothing follows. */
static const char *controller_lines(cli_run *run, const identify_view *view, bool list)
{
    const quell_identification *of = &view->result;
    const quell_identified *best = &of->candidate[0];
    const char *made = list ? "; `identified` also belongs into the list of shapers\n" : "";
    if (of->reading_known)
        made = quell_arena_print(run->arena, "%sfrequency = %-18s; what it calls a shaper's frequency\n", made,
                                 of->reading == QUELL_DAMPED ? "damped" : "natural");
    if (made != NULL && of->uses_damping == QUELL_TELLS_NO) {
        char value[80];
        snprintf(value, sizeof value, "%s %%", quell_number_short(100 * best->shaper.at.damping_ratio, 2).text);
        made = quell_arena_print(run->arena, "%sdamping = %-20s; whatever is entered, such as %s %%\n", made, value,
                                 quell_number_short(100 * view->expected.damping_ratio, 3).text);
    }
    if (made != NULL && best->shaper.family != NULL && (best->shaper.family->flags & QUELL_FAMILY_TOLERANCE) != 0)
        made = quell_arena_print(run->arena, "%stolerance = %-18s; the V of %s\n", made,
                                 quell_number_short(best->shaper.at.tolerance, 2).text, best->title);
    return made;
}

quell_status identify_machine_lines(cli_run *run, const identify_view *view, const char **lines)
{
    const quell_identification *of = &view->result;
    *lines = NULL;
    if (of->in_effect != QUELL_TELLS_YES)
        return QUELL_OK;
    bool list = strcmp(of->candidate[0].family_id, "impulses") == 0;
    const char *controller = controller_lines(run, view, list), *family = list ? list_lines(run, &of->candidate[0].shaper) : "";
    if (controller == NULL || family == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for lines of a machine file");
    if (controller[0] == '\0' && family[0] == '\0')
        return QUELL_OK;
    *lines = quell_arena_print(run->arena, "; by quell identify, for the section [controller]:\n%s%s", controller, family);
    return *lines != NULL ? QUELL_OK : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for lines of a machine file");
}
