/* How a mode differs between recordings of one axis: words and JSON. */
#include "cli/modes_view.h"

#include <string.h>

#define INDENT "    "

static void print_line(const char *first, const char *text)
{
    char clean[1200];
    quell_words_print(stdout, first, INDENT "  ", 79,
                      quell_printable(clean, sizeof clean, text, strlen(text)));
}

static const char *condition(const modes_view *view, size_t i)
{
    return cli_condition(view->recording[i].file, view->recording[i].label);
}

static void print_lacking(const modes_view *view, const quell_mode_spread *spread)
{
    char names[1200] = "";
    size_t used = 0;
    for (size_t i = 0; i < view->recordings && used < sizeof names - 1; i++) {
        if (spread->found_in[i])
            continue;
        int more =
            snprintf(names + used, sizeof names - used, "%s%s", used > 0 ? "; " : "", condition(view, i));
        used += more > 0 ? (size_t)more : 0;
    }
    if (used > 0)
        print_line(INDENT "not found in: ", names);
}

void modes_print_spread(const modes_view *view, size_t k)
{
    const quell_mode_spread *spread = &view->spread[k];
    char text[1200];
    if (view->recordings < 2)
        return;
    if (spread->recordings < 2) {
        snprintf(text, sizeof text, "found in one of %zu recordings", view->recordings);
        print_line(INDENT, text);
        print_lacking(view, spread);
        return;
    }
    snprintf(text, sizeof text,
             "found in %zu of %zu recordings, which scatter by %s Hz and %s in damping ratio (error of one: "
             "%s Hz and "
             "%s)",
             spread->recordings, view->recordings, quell_number_fixed(spread->frequency_hz, 2).text,
             quell_number_fixed(spread->damping_ratio, 4).text,
             quell_number_fixed(spread->within_frequency_hz, 2).text,
             quell_number_fixed(spread->within_damping_ratio, 4).text);
    print_line(INDENT, text);
    if (spread->half_range_hz > 0) {
        snprintf(text, sizeof text, "%s (%s Hz)", condition(view, spread->farthest),
                 quell_number_fixed(spread->found_hz[spread->farthest], 1).text);
        print_line(INDENT "worst condition: ", text);
    }
    print_lacking(view, spread);
}

static void json_recording(quell_json *json, json_t *item, const quell_mode_spread *spread,
                           const cli_list *files, size_t i)
{
    quell_json_text(json, item, "file", files->item[i]);
    cli_json_label(json, item, files->label[i]);
    quell_json_number(json, item, "frequency_hz", spread->found_hz[i], "the mode was not found there");
}

void cli_json_spread(quell_json *json, json_t *item, const quell_mode_spread *spread, const cli_list *files)
{
    if (files->count < 2) {
        quell_json_null(json, item, "spread_across_recordings", "there is one recording");
        return;
    }
    static const char *const one = "found in one recording", *const no_error =
                                                                 "a recording's error is not known";
    json_t *object = quell_json_object(json, item, "spread_across_recordings");
    quell_json_integer(json, object, "recordings", (long long)spread->recordings);
    quell_json_number(json, object, "frequency_hz", spread->frequency_hz, one);
    quell_json_number(json, object, "damping_ratio", spread->damping_ratio, one);
    quell_json_number(json, object, "half_range_hz", spread->half_range_hz, "");
    quell_json_number(json, object, "within_frequency_hz", spread->within_frequency_hz, no_error);
    quell_json_number(json, object, "within_damping_ratio", spread->within_damping_ratio, no_error);
    quell_json_number(json, object, "mean_frequency_se_hz", spread->mean_frequency_hz, no_error);
    quell_json_number(json, object, "mean_damping_ratio_se", spread->mean_damping_ratio, no_error);
    json_recording(json, quell_json_object(json, object, "worst"), spread, files, spread->farthest);
    json_t *each = quell_json_array(json, object, "each");
    for (size_t i = 0; i < files->count; i++)
        json_recording(json, quell_json_item(json, each), spread, files, i);
}
