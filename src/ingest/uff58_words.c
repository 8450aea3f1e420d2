/* Universal files: what the reader says about a file, as refusals and findings. */
#include "ingest/uff58_private.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* A list in a sentence, cut with "..." where it does not fit. */
typedef struct list {
    char text[320];
    size_t used, items;
} list;

static void add_item(list *out, const char *format, ...) QUELL_PRINTF(2, 3);
static void add_item(list *out, const char *format, ...)
{
    char item[160];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(item, sizeof item, format, arguments);
    va_end(arguments);
    const char *before = out->items++ > 0 ? ", " : "";
    if (out->used + strlen(before) + strlen(item) + 6 > sizeof out->text) {
        if (out->used + 6 < sizeof out->text && strcmp(out->text + out->used - 3, "...") != 0)
            out->used += (size_t)snprintf(out->text + out->used, sizeof out->text - out->used, ", ...");
        return;
    }
    out->used += (size_t)snprintf(out->text + out->used, sizeof out->text - out->used, "%s%s", before, item);
}

/* "2 datasets 58 of function type 4 (frequency response function)" */
static size_t list_functions(list *out, const uff58_content *content)
{
    size_t total = 0;
    for (long i = 0; i < UFF58_FUNCTIONS; i++) {
        size_t count = content->functions[i];
        total += count;
        const char *some = count == 1 ? "1 dataset 58" : "datasets 58";
        char many[48];
        if (count > 1)
            snprintf(many, sizeof many, "%zu %s", count, some);
        const char *what = count > 1 ? many : some;
        if (count > 0 && i == UFF58_TIME_RESPONSE)
            add_item(out, "%s of function type 1 (time response), but not over time", what);
        else if (count > 0 && i < UFF58_FUNCTIONS - 1)
            add_item(out, "%s of function type %ld (%s)", what, i, uff58_function_name(i));
        else if (count > 0)
            add_item(out, "%s of no known function type", what);
    }
    return total;
}

static quell_status refuse_other_datasets(const uff58_file *file, quell_error *err)
{
    list found = {0};
    for (size_t i = 0; i < file->others; i++)
        add_item(&found, "%ld", file->other[i]);
    if (file->others == 0)
        return quell_fail(err, QUELL_E_DATA,
                          "found a universal file without a dataset, want a dataset 58 with a time record");
    return quell_fail(err, QUELL_E_DATA,
                      "found a universal file with dataset%s %s%s and no dataset 58, want a dataset 58 with "
                      "a time record of acceleration",
                      file->others > 1 ? "s" : "", found.text, file->more_others ? " and more" : "");
}

quell_status uff58_refuse(const uff58_content *content, const uff58_file *file, quell_error *err)
{
    if (file->count == 0)
        return refuse_other_datasets(file, err);
    if (content->misfits == 0) {
        list found = {0};
        list_functions(&found, content);
        return quell_fail(err, QUELL_E_DATA,
                          "found no time record but %s; want a time response (function type 1) of "
                          "acceleration",
                          found.text);
    }
    char shown[256];
    uff58_describe(&content->misfit, shown, sizeof shown);
    if (content->why == UFF58_NO_UNIT)
        return quell_fail(err, QUELL_E_DATA,
                          "found %zu time record%s and none that says it is of acceleration: %s; want one, "
                          "or --unit g, m/s2, ... if this is one",
                          content->misfits, content->misfits > 1 ? "s" : "", shown);
    return quell_fail(err, QUELL_E_DATA, "found %zu time record%s and none of acceleration: %s",
                      content->misfits, content->misfits > 1 ? "s" : "", shown);
}

quell_status uff58_note_file(const uff58_content *content, const uff58_file *file, quell_arena *arena,
                             quell_findings *findings)
{
    list found = {0};
    size_t total = list_functions(&found, content);
    quell_status status = QUELL_OK;
    if (total > 0)
        status = quell_findings_add(findings, arena, "datasets", QUELL_NOTE, (double)total, NAN, "",
                                    "what is no time record was left out: %s", found.text);
    if (status == QUELL_OK && content->misfits > 0) {
        char shown[256];
        uff58_describe(&content->misfit, shown, sizeof shown);
        status =
            quell_findings_add(findings, arena, "datasets", QUELL_NOTE, (double)content->misfits, NAN, "",
                               "%zu time record%s not of acceleration %s left out: %s%s", content->misfits,
                               content->misfits > 1 ? "s" : "", content->misfits > 1 ? "were" : "was", shown,
                               content->misfits > 1 ? ", ..." : "");
    }
    if (status == QUELL_OK && file->stray_lines > 0)
        status = quell_findings_add(
            findings, arena, "datasets", QUELL_WARN, (double)file->stray_lines, NAN,
            "look at the file there: the lines -1 that open and close datasets do not pair up",
            "%zu lines between datasets were left out, the first is line %zu", file->stray_lines,
            file->stray);
    if (status == QUELL_OK && file->cut)
        status = quell_findings_add(findings, arena, "cut-short", QUELL_WARN, NAN, NAN,
                                    "copy the file again if there is more of it",
                                    "the file ends within a dataset, without a closing line");
    return status;
}

static quell_status note_channel(const uff58_channel *channel, quell_arena *arena, quell_findings *findings)
{
    const uff58_head *head = &channel->head;
    quell_status status = QUELL_OK;
    if (channel->found < head->points)
        status =
            quell_findings_add(findings, arena, "cut-short", QUELL_WARN, channel->found / head->points, NAN,
                               "copy the file again if there is more of it",
                               "dataset %zu is cut short: its head says %.15g points and %.15g are there",
                               head->number, head->points, channel->found);
    if (status == QUELL_OK && channel->missing > 0)
        status = quell_findings_add(findings, arena, "missing", QUELL_NOTE, (double)channel->missing, NAN, "",
                                    "%zu points of dataset %zu are no numbers and count as lost samples",
                                    channel->missing, head->number);
    if (status == QUELL_OK && channel->imaginary > 0)
        status = quell_findings_add(
            findings, arena, "complex", QUELL_WARN, channel->imaginary, NAN,
            "export the record as real numbers",
            "dataset %zu is complex; its real part is used, the imaginary part, of up to %.3g, is not",
            head->number, channel->imaginary);
    if (status == QUELL_OK && head->direction < 0)
        status = quell_findings_add(findings, arena, "direction", QUELL_NOTE, (double)head->direction, NAN,
                                    "", "dataset %zu was measured along -%c and has been turned over",
                                    head->number, "XYZ"[-head->direction - 1]);
    return status;
}

quell_status uff58_note_choice(const uff58_choice *choice, const uff58_content *content, quell_arena *arena,
                               quell_findings *findings)
{
    quell_status status = QUELL_OK;
    for (size_t k = 0; status == QUELL_OK && k < choice->axes; k++)
        status = note_channel(&content->channel[choice->channel[k]], arena, findings);
    return status;
}
