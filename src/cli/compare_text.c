/* quell compare: the tables and the verdict. */
#include "cli/compare_view.h"

#include <math.h>
#include <string.h>

enum { LABEL = 8, WIDTH = 79 };

static void print_line(const char *label, const char *text)
{
    char first[LABEL + 4], indent[LABEL + 4];
    snprintf(first, sizeof first, "%-*s", LABEL, label);
    snprintf(indent, sizeof indent, "%*s", LABEL, "");
    quell_words_print(stdout, first, indent, WIDTH, text);
}

static void print_side(const compare_side *side, const quell_spectrum *pooled)
{
    char text[700], seconds[64], dof[64], bin[64];
    for (size_t i = 0; i < side->files->count; i++) {
        const char *file = side->files->item[i], *label = side->files->label[i];
        char name[320];
        snprintf(text, sizeof text, "%s%s%s%s", quell_printable(name, sizeof name, file, strlen(file)),
                 label != NULL ? " (" : "", label != NULL ? label : "", label != NULL ? ")" : "");
        print_line(i == 0 ? side->name : "", text);
    }
    quell_number_print_fixed(seconds, sizeof seconds, side->duration_s, 1);
    quell_number_print_fixed(dof, sizeof dof, pooled->dof, 0);
    quell_number_print(bin, sizeof bin, pooled->bin_hz, 3);
    snprintf(text, sizeof text, "%s s, %zu segments, %s degrees of freedom in bins of %s Hz", seconds,
             pooled->segments, dof, bin);
    print_line("", text);
}

/* A level with three significant digits, a change with its interval, and what it comes to. */
static void add_row(quell_table *table, const char *name, const quell_level_change *change)
{
    char before[32], after[32], low[64], high[64];
    quell_table_cell(table, "%s", name);
    quell_table_cell(table, "%s", quell_number_print(before, sizeof before, change->before_mps2, 3));
    quell_table_cell(table, "%s", quell_number_print(after, sizeof after, change->after_mps2, 3));
    quell_table_number(table, change->change_db, 1);
    quell_table_cell(table, "%s to %s", quell_number_print_fixed(low, sizeof low, change->ci95_db[0], 1),
                     quell_number_print_fixed(high, sizeof high, change->ci95_db[1], 1));
    quell_table_cell(table, "%s", !change->counts ? "-" : change->change_db < 0 ? "fell" : "rose");
}

#define LEVEL_COLUMNS(head)                                                                                  \
    {                                                                                                        \
        {head, "Hz", false}, {"before", "m/s2 rms", false}, {"after", "m/s2 rms", false},                    \
            {"change", "dB", false}, {"95 % interval", "dB", false},                                         \
        {                                                                                                    \
            "counts", "", true                                                                               \
        }                                                                                                    \
    }

static const quell_column band_columns[] = LEVEL_COLUMNS("band"), mode_columns[] = LEVEL_COLUMNS("level at");
enum { LEVEL_COUNT = sizeof band_columns / sizeof band_columns[0] };

static const quell_column shift_columns[] = {{"frequency", "before, Hz", false},
                                             {"after", "Hz", false},
                                             {"change, 95 %", "%", false},
                                             {"damping", "before", false},
                                             {"after", "", false},
                                             {"change, 95 %", "%", false},
                                             {"counts", "", true}};
enum { SHIFT_COUNT = sizeof shift_columns / sizeof shift_columns[0] };

static void add_value(quell_table *table, bool sought, size_t found, double value, int decimals)
{
    quell_table_cell(table, "%s", found > 0 ? quell_number_fixed(value, decimals).text : sought ? "not found" : "not sought");
}

static void add_shift(quell_table *table, const quell_mode_shift *shift, int decimals)
{
    char low[64], high[64];
    if (isnan(shift->share)) {
        quell_table_cell(table, "-");
        return;
    }
    quell_table_cell(table, "%s to %s",
                     quell_number_print_fixed(low, sizeof low, 100 * shift->ci95[0], decimals),
                     quell_number_print_fixed(high, sizeof high, 100 * shift->ci95[1], decimals));
}

static void print_shifts(cli_run *run, const quell_comparison *result)
{
    quell_table *table = quell_table_create(run->arena, shift_columns, SHIFT_COUNT);
    for (size_t k = 0; k < result->modes; k++) {
        const quell_mode_change *mode = &result->mode[k];
        bool f = mode->frequency.counts, zeta = mode->damping.counts;
        add_value(table, result->sought[0], mode->before_found, mode->before.frequency_hz, 2);
        add_value(table, result->sought[1], mode->after_found, mode->after.frequency_hz, 2);
        add_shift(table, &mode->frequency, 2);
        add_value(table, result->sought[0], mode->before_found, mode->before.damping_ratio, 4);
        add_value(table, result->sought[1], mode->after_found, mode->after.damping_ratio, 4);
        add_shift(table, &mode->damping, 0);
        quell_table_cell(table, "%s", f && zeta ? "both" : f ? "frequency" : zeta ? "damping" : "-");
    }
    quell_table_print(table, stdout, 0);
}

static void print_modes(cli_run *run, const compare_view *view)
{
    const quell_comparison *result = &view->result;
    char name[64], text[700];
    if (result->modes == 0) {
        const char *why = view->before.no_modes != NULL ? view->before.no_modes : view->after.no_modes;
        snprintf(text, sizeof text, "No mode to compare: %s.",
                 why != NULL ? why : "none lies in the range compared");
        quell_words_print(stdout, "", "", WIDTH, text);
        return;
    }
    quell_table *table = quell_table_create(run->arena, mode_columns, LEVEL_COUNT);
    for (size_t k = 0; k < result->modes; k++)
        add_row(table, quell_number_print_fixed(name, sizeof name, result->mode[k].level.nominal_hz, 1),
                &result->mode[k].level);
    quell_table_print(table, stdout, 0);
    putchar('\n');
    print_shifts(run, result);
    const compare_side *const side[2] = {&view->before, &view->after};
    for (size_t s = 0; s < 2; s++)
        if (!side[s]->sought) {
            snprintf(text, sizeof text, "Modes %s could not be sought: %s.", side[s]->name,
                     side[s]->no_modes);
            quell_words_print(stdout, "", "", WIDTH, text);
        }
}

/* In um where there are stops; else why there are none. */
static void print_stops(cli_run *run, const quell_stops_comparison *stops)
{
    if (!stops->measured) {
        print_line("stops", stops->why);
        putchar('\n');
        return;
    }
    putchar('\n');
    compare_stops_print(run, stops);
    compare_stops_words(run, stops);
    putchar('\n');
}

/* What matters to the part first: ringing after stops, modes, and what is in between last. */
void compare_print(cli_run *run, const compare_view *view)
{
    const quell_comparison *result = &view->result;
    char name[64];
    print_side(&view->before, &result->spectrum[0]);
    print_side(&view->after, &result->spectrum[1]);
    print_line("along", view->axis_words);
    print_stops(run, &view->stops);
    print_modes(run, view);
    quell_table *table = quell_table_create(run->arena, band_columns, LEVEL_COUNT);
    for (size_t i = 0; i < result->bands; i++)
        add_row(table, quell_number_print(name, sizeof name, result->band[i].nominal_hz, 4),
                &result->band[i]);
    putchar('\n');
    quell_table_print(table, stdout, 0);
    putchar('\n');
    quell_words_print(stdout, "", "", WIDTH, result->verdict);
    compare_applied_print(&view->applied);
}
