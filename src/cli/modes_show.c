/* quell modes: the table and the JSON object. */
#include "cli/modes_view.h"

#include <math.h>
#include <string.h>

char modes_axis_letter(const modes_view *view)
{
    const modes_recording *first = &view->recording[0];
    bool fixed = view->mount_given && first->loaded.recording.axes == 3;
    return fixed ? "xyz"[first->axis] : first->loaded.driven;
}

/* ---------------------------------------------------------------- table */

static void print_head(const modes_view *view)
{
    char name[320];
    char letter = modes_axis_letter(view), a[64], b[64];
    const quell_modes *modes = &view->modes;
    for (size_t i = 0; i < view->recordings; i++)
        printf("%s\n",
               quell_printable(name, sizeof name, view->recording[i].file, strlen(view->recording[i].file)));
    if (letter != 0)
        printf("  %c axis, %s\n", letter, modes->excitation);
    else
        printf("  the axis that moves, called X here (--axis names it);\n  %s\n", modes->excitation);
    for (size_t i = 0; i < view->recordings; i++)
        cli_print_cautions(&view->recording[i].loaded.recording.findings, "  ");
    quell_number_print_fixed(a, sizeof a, modes->band_hz[0], 1);
    quell_number_print_fixed(b, sizeof b, modes->band_hz[1], 1);
    if (modes->fit.parameters == 0) {
        printf("  searched %s to %s Hz: no mode found\n", a, b);
        return;
    }
    printf("  fitted from %s to %s Hz, ", a, b);
    quell_number_print_fixed(a, sizeof a, modes->fit.rms_log_misfit * 10 / log(10), 2);
    quell_number_print_fixed(b, sizeof b, sqrt(2 / modes->fit.dof_per_bin) * 10 / log(10), 2);
    printf("misfit %s dB rms (chance alone: %s dB)\n", a, b);
}

static void print_modes(cli_run *run, const modes_view *view)
{
    static const quell_column columns[] = {
        {"frequency", "natural, Hz", false}, {"provisional", "Hz", false}, {"damping", "ratio", false},
        {"provisional", "ratio", false},     {"participation", "", false}, {"half-power", "ratio", false}};
    quell_table *table = quell_table_create(run->arena, columns, sizeof columns / sizeof columns[0]);
    for (size_t k = 0; k < view->modes.count; k++) {
        const quell_mode *mode = &view->modes.mode[k];
        char low[64], high[64];
        int decimals = mode->frequency_ci95_hz[1] < 100 ? 2 : 1; /* the table keeps within 80 columns */
        quell_table_number(table, mode->frequency_hz, 2);
        quell_table_cell(table, "%s..%s",
                         quell_number_print_fixed(low, sizeof low, mode->frequency_ci95_hz[0], decimals),
                         quell_number_print_fixed(high, sizeof high, mode->frequency_ci95_hz[1], decimals));
        quell_table_number(table, mode->damping_ratio, 4);
        quell_table_cell(table, "%s..%s",
                         quell_number_print_fixed(low, sizeof low, mode->damping_ratio_ci95[0], 3),
                         quell_number_print_fixed(high, sizeof high, mode->damping_ratio_ci95[1], 3));
        quell_table_number(table, mode->participation, 2);
        quell_table_number(table, mode->half_power_damping_ratio, 4);
    }
    putchar('\n');
    quell_table_print(table, stdout, 2);
}

static void print_spread(const modes_view *view, size_t k)
{
    const quell_mode_spread *spread = &view->spread[k];
    char f[64], zeta[64];
    if (view->recordings < 2)
        return;
    if (spread->recordings < 2) {
        printf("    found in one of %zu recordings\n", view->recordings);
        return;
    }
    printf("    found in %zu of %zu recordings, which scatter by %s Hz and %s in damping ratio\n",
           spread->recordings, view->recordings,
           quell_number_print_fixed(f, sizeof f, spread->frequency_hz, 2),
           quell_number_print_fixed(zeta, sizeof zeta, spread->damping_ratio, 4));
}

static void print_remarks(const modes_view *view)
{
    putchar('\n');
    for (size_t k = 0; k < view->modes.count; k++) {
        const quell_mode *mode = &view->modes.mode[k];
        char f[64], direction[64], first[80];
        quell_direction_words(mode->direction, direction, sizeof direction);
        printf("  %s Hz %s\n", quell_number_print_fixed(f, sizeof f, mode->frequency_hz, 2),
               direction[0] != '\0' ? direction : "in a direction not known: three axes are needed");
        print_spread(view, k);
        snprintf(first, sizeof first, "    doubt: ");
        for (size_t d = 0; d < mode->doubts; d++)
            quell_words_print(stdout, first, "           ", 79, mode->doubt[d]);
    }
    for (size_t i = 0; i < view->ignored_count; i++) {
        char f[64], text[256];
        snprintf(text, sizeof text, "ignored: %s Hz, %s",
                 quell_number_print(f, sizeof f, view->ignored[i].frequency_hz, 6), view->ignored[i].reason);
        quell_words_print(stdout, "  ", "    ", 79, text);
    }
    for (size_t i = 0; i < view->idle->count; i++)
        printf("  ignored: %s Hz, " CLI_IDLE_REASON " (%s m/s2)\n",
               quell_number_fixed(view->idle->line[i].frequency_hz, 1).text,
               quell_number_short(view->idle->line[i].amplitude_mps2, 2).text);
}

void modes_print(cli_run *run, const modes_view *view)
{
    print_head(view);
    if (view->modes.count > 0)
        print_modes(run, view);
    if (view->modes.count > 0 || view->ignored_count > 0 || view->idle->count > 0)
        print_remarks(view);
}

/* ---------------------------------------------------------------- JSON */

static void json_mode(quell_json *json, json_t *list, const modes_view *view, size_t k)
{
    const quell_mode *mode = &view->modes.mode[k];
    const quell_mode_spread *spread = &view->spread[k];
    json_t *item = quell_json_item(json, list);
    cli_json_mode(json, item, mode);
    quell_json_bool(json, item, "interval_is_provisional", mode->interval_is_provisional);
    quell_json_number(json, item, "prominence_db", mode->prominence_db, "");
    quell_json_number(json, item, "half_power_damping_ratio", mode->half_power_damping_ratio,
                      "the peak does not fall to half on both sides");
    quell_json_number(json, item, "decay_damping_ratio", mode->decay_damping_ratio,
                      "free decays were not analysed");
    if (spread->recordings < 2) {
        quell_json_null(json, item, "spread_across_recordings", "found in one recording");
        return;
    }
    json_t *object = quell_json_object(json, item, "spread_across_recordings");
    quell_json_integer(json, object, "recordings", (long long)spread->recordings);
    quell_json_number(json, object, "frequency_hz", spread->frequency_hz, "");
    quell_json_number(json, object, "damping_ratio", spread->damping_ratio, "");
}

static void json_fit(quell_json *json, const quell_modes *modes)
{
    static const char *const no_fit = "no mode was found";
    const quell_modes_fit *fit = &modes->fit;
    bool fitted = fit->parameters > 0;
    json_t *item = quell_json_object(json, json->root, "fit");
    quell_json_text(json, item, "objective", fit->objective);
    quell_json_integer(json, item, "parameters", (long long)fit->parameters);
    quell_json_integer(json, item, "iterations", (long long)fit->iterations);
    quell_json_number(json, item, "dof_per_bin", fit->dof_per_bin, "");
    quell_json_number(json, item, "bin_hz", fit->bin_hz, "");
    quell_json_number(json, item, "rms_log_misfit", fitted ? fit->rms_log_misfit : (double)NAN, no_fit);
    quell_json_number(json, item, "input_slope", fitted ? fit->input_slope : (double)NAN, no_fit);
}

static void json_findings(quell_json *json, const modes_view *view)
{
    cli_json_findings(json, json->root, &view->findings);
    json_t *each = quell_json_array(json, json->root, "recordings");
    for (size_t i = 0; i < view->recordings; i++) {
        json_t *item = quell_json_item(json, each);
        quell_json_text(json, item, "file", view->recording[i].file);
        cli_json_findings(json, item, &view->recording[i].loaded.recording.findings);
    }
}

quell_json modes_json(const modes_view *view)
{
    quell_json json = quell_json_begin("quell.modes/1");
    json_t *files = quell_json_array(&json, json.root, "files");
    for (size_t i = 0; i < view->recordings; i++)
        quell_json_append_text(&json, files, view->recording[i].file);
    const char letter[2] = {modes_axis_letter(view), '\0'};
    if (letter[0] != '\0')
        quell_json_text(&json, json.root, "axis", letter);
    else
        quell_json_null(&json, json.root, "axis", "which axis was shaken is not stated: say --axis");
    quell_json_text(&json, json.root, "excitation", view->modes.excitation);
    quell_json_numbers(&json, json.root, "band_hz", view->modes.band_hz, 2);
    json_t *ignored = quell_json_array(&json, json.root, "ignored");
    for (size_t i = 0; i < view->ignored_count; i++) {
        json_t *item = quell_json_item(&json, ignored);
        quell_json_number(&json, item, "frequency_hz", view->ignored[i].frequency_hz, "");
        quell_json_text(&json, item, "reason", view->ignored[i].reason);
    }
    for (size_t i = 0; i < view->idle->count; i++) {
        json_t *item = quell_json_item(&json, ignored);
        quell_json_number(&json, item, "frequency_hz", view->idle->line[i].frequency_hz, "");
        quell_json_number(&json, item, "amplitude_mps2", view->idle->line[i].amplitude_mps2, "");
        quell_json_text(&json, item, "reason", CLI_IDLE_REASON);
    }
    json_t *modes = quell_json_array(&json, json.root, "modes");
    for (size_t k = 0; k < view->modes.count; k++)
        json_mode(&json, modes, view, k);
    json_fit(&json, &view->modes);
    json_findings(&json, view);
    return json;
}
