/* quell compare: the tables and the verdict. */
#include "cli/compare_view.h"

#include <string.h>

enum { LABEL = 8, WIDTH = 79 };

static void print_line(const char *label, const char *text)
{
    char first[LABEL + 4], indent[LABEL + 4];
    snprintf(first, sizeof first, "%-*s", LABEL, label);
    snprintf(indent, sizeof indent, "%*s", LABEL, "");
    quell_words_print(stdout, first, indent, WIDTH, text);
}

static void print_side(const compare_side *side)
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
    quell_number_print_fixed(dof, sizeof dof, side->spectrum.dof, 0);
    quell_number_print(bin, sizeof bin, side->spectrum.bin_hz, 3);
    snprintf(text, sizeof text, "%s s, %zu segments, %s degrees of freedom in bins of %s Hz", seconds,
             side->spectrum.segments, dof, bin);
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

#define COLUMNS(head)                                                                                        \
    {                                                                                                        \
        {head, "Hz", false}, {"before", "m/s2 rms", false}, {"after", "m/s2 rms", false},                    \
            {"change", "dB", false}, {"95 % interval", "dB", false},                                         \
        {                                                                                                    \
            "counts", "", true                                                                               \
        }                                                                                                    \
    }

static const quell_column band_columns[] = COLUMNS("band"), mode_columns[] = COLUMNS("mode");

enum { COLUMN_COUNT = sizeof band_columns / sizeof band_columns[0] };

void compare_print(cli_run *run, const compare_view *view)
{
    const quell_comparison *result = &view->result;
    char name[64], text[700];
    print_side(&view->before);
    print_side(&view->after);
    print_line("along", view->axis_words);
    quell_table *table = quell_table_create(run->arena, band_columns, COLUMN_COUNT);
    for (size_t i = 0; i < result->bands; i++)
        add_row(table, quell_number_print(name, sizeof name, result->band[i].nominal_hz, 4),
                &result->band[i]);
    putchar('\n');
    quell_table_print(table, stdout, 0);
    putchar('\n');
    if (result->modes > 0) {
        table = quell_table_create(run->arena, mode_columns, COLUMN_COUNT);
        for (size_t i = 0; i < result->modes; i++)
            add_row(table, quell_number_print_fixed(name, sizeof name, result->mode[i].nominal_hz, 1),
                    &result->mode[i]);
        quell_table_print(table, stdout, 0);
    } else {
        snprintf(text, sizeof text, "No mode before: %s.",
                 view->no_modes != NULL ? view->no_modes : "none lies in the range compared");
        quell_words_print(stdout, "", "", WIDTH, text);
    }
    putchar('\n');
    quell_words_print(stdout, "", "", WIDTH, result->verdict);
}
