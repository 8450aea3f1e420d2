/* Parsing of options and the help text, both from the same tables. */
#include "cli/cli.h"

#include <math.h>
#include <string.h>

#define AT(field) offsetof(cli_options, field)

static const cli_option output_rows[] = {
    {"--json", NULL, CLI_FLAG, AT(json), "print one JSON object on one line instead of a table"},
    {"--plot", "FILE", CLI_TEXT, AT(plot), "draw a plot; .png, .svg or .pdf by its ending (needs gnuplot)"},
    {"--out", "DIR", CLI_TEXT, AT(out), "keep results, plot scripts and plot data in this folder"},
    {"--quiet", NULL, CLI_FLAG, AT(quiet), "no words, only data and errors"},
    {"--help", NULL, CLI_FLAG, AT(help), "this text (also -h)"},
    {"--version", NULL, CLI_FLAG, AT(version), "print the version"},
    {0},
};
const cli_group cli_output_options = {"Output", output_rows};

static const cli_option undrawn_rows[] = {
    {"--json", NULL, CLI_FLAG, AT(json), "print one JSON object on one line instead of a table"},
    {"--out", "DIR", CLI_TEXT, AT(out), "keep results in this folder"},
    {"--quiet", NULL, CLI_FLAG, AT(quiet), "no words, only data and errors"},
    {"--help", NULL, CLI_FLAG, AT(help), "this text (also -h)"},
    {"--version", NULL, CLI_FLAG, AT(version), "print the version"},
    {0},
};
const cli_group cli_undrawn_options = {"Output", undrawn_rows};

static const cli_option reading_rows[] = {
    {"--columns", "t=1,x=2,y=3,z=4", CLI_TEXT, AT(read.columns),
     "columns by number or header word, if not found"},
    {"--unit", "UNIT", CLI_TEXT, AT(read.unit),
     "g, mg, m/s2, mm/s2 or counts:0.004g, if not in the file; of sound, full scale: g:16"},
    {"--rate", "HZ[:TOL%]", CLI_TEXT, AT(read.rate), "sampling rate of a file without time stamps"},
    {"--time-unit", "UNIT", CLI_TEXT, AT(read.time_unit), "s, ms, us or ns, if not in the file"},
    {"--span", "A:B", CLI_TEXT, AT(read.span), "use only these seconds of the recording"},
    {"--mount", "up=+z,right=-y", CLI_TEXT, AT(read.mount),
     "how the sensor sits; found from gravity and motion if not given"},
    {"--idle", "RECORDING", CLI_TEXT, AT(idle),
     "a recording at rest with fans and motors on: its lines are no modes"},
    {"--force", NULL, CLI_FLAG, AT(force), "go on with a recording that is unfit"},
    {0},
};
const cli_group cli_reading_options = {"Reading a recording", reading_rows};

static const cli_option analysis_rows[] = {
    {"--segment", "SECONDS", CLI_SECONDS, AT(segment_s),
     "length of a Welch segment (default: 1 to 2 s, a sixth of the recording at most)"},
    {"--overlap", "%", CLI_RATIO, AT(overlap), "overlap of segments (default 75%)"},
    {"--window", "NAME", CLI_TEXT, AT(window),
     "hann (default), hamming, blackman-harris, flat-top, rectangular"},
    {"--band", "LO:HI", CLI_TEXT, AT(band), "look only at these frequencies, Hz"},
    {"--ignore", "HZ=\"reason\"", CLI_REPEAT, AT(ignore),
     "leave a frequency out, and say why in every result"},
    {"--excitation", "WORDS|PLAN", CLI_TEXT, AT(excitation),
     "what shook it: sweep, sweep:F0:F1:RATE[:ACCEL], random, stops, ambient, or the plan's file (default: "
     "found)"},
    {"--threads", "N", CLI_COUNT, AT(threads),
     "processors to share the work (default: all); no result depends on it"},
    {"--shaper-on", "none|SPEC", CLI_TEXT, AT(shaper_on),
     "was a shaper active during the recording? SPEC is divided out"},
    {0},
};
const cli_group cli_analysis_options = {"Analysis", analysis_rows};

/* Dimension and unit of a bare number for the kinds that are quantities. */
static const struct {
    quell_dimension dimension;
    const char *bare_unit;
} kinds[] = {
    [CLI_RATIO] = {QUELL_RATIO, ""},
    [CLI_HZ] = {QUELL_FREQUENCY, "Hz"},
    [CLI_SECONDS] = {QUELL_TIME, "s"},
    [CLI_METRES] = {QUELL_LENGTH, NULL},
    [CLI_MPS] = {QUELL_SPEED, NULL},
    [CLI_MPS2] = {QUELL_ACCELERATION, NULL},
};

static const cli_option *find(const cli_command *command, const char *name, size_t length)
{
    for (size_t g = 0; command->group[g] != NULL; g++)
        for (const cli_option *row = command->group[g]->option; row->name != NULL; row++)
            if (strlen(row->name) == length && memcmp(row->name, name, length) == 0)
                return row;
    return NULL;
}

static quell_status append(cli_list *list, const char *text, quell_error *err)
{
    if (list->count == CLI_LIST_MAX)
        return quell_fail(err, QUELL_E_USAGE, "more than %d values, which is the most taken", CLI_LIST_MAX);
    list->item[list->count++] = text;
    return QUELL_OK;
}

static quell_status store_count(double *out, const char *text, quell_error *err)
{
    double value;
    quell_status status = quell_number_parse(text, &value, err);
    if (status == QUELL_OK && (value < 0 || value != floor(value) || value > 9007199254740992.0))
        status = quell_fail(err, QUELL_E_USAGE, "found '%s', want a whole number from 0 to 2^53", text);
    if (status == QUELL_OK)
        *out = value;
    return status;
}

static quell_status store(const cli_option *row, const char *text, cli_options *out, quell_error *err)
{
    void *field = (char *)out + row->offset;
    switch (row->kind) {
    case CLI_FLAG:
        *(bool *)field = true;
        return QUELL_OK;
    case CLI_TEXT:
        *(const char **)field = text;
        return QUELL_OK;
    case CLI_REPEAT:
    case CLI_FILES:
        return append(field, text, err);
    case CLI_COUNT:
        return store_count(field, text, err);
    default:
        return quell_quantity_parse(text, kinds[row->kind].dimension, kinds[row->kind].bare_unit, field, err);
    }
}

/* All numbers start as NaN, so that "not given" differs from every value. */
static void clear(cli_options *out)
{
    const double not_given = (double)NAN;
    *out = (cli_options){0};
    out->segment_s = out->overlap = out->threads = out->residual_limit = out->drift = not_given;
    out->simulate.seconds = out->simulate.rate_hz = out->simulate.clock_error = out->simulate.jitter =
        not_given;
    out->simulate.lost = out->simulate.step_mps2 = out->simulate.range_mps2 = not_given;
    out->simulate.oversample = out->simulate.seed = not_given;
    out->predict.acceleration_mps2 = not_given;
    out->excite.speed_mps = out->excite.acceleration_mps2 = out->excite.step_m = not_given;
    out->excite.seconds = out->excite.seed = not_given;
    out->ripple.count = out->ripple.pulley_teeth = out->ripple.steps_per_turn = not_given;
    out->tailor.tick_s = out->tailor.impulses = out->tailor.smooth = not_given;
}

/* The value of an option whose word is argument[*at]: after its '=', or the next word, unless that is an option. */
static quell_status take_value(const cli_command *command, const cli_option *row, const char *equals,
                               int count, char **argument, int *at, const char **value, quell_error *err)
{
    *value = equals != NULL ? equals + 1 : NULL;
    if (row->kind == CLI_FLAG && equals != NULL)
        return quell_fail(err, QUELL_E_USAGE, "option %s takes no value", row->name);
    if (row->kind == CLI_FLAG || equals != NULL)
        return QUELL_OK;
    if (*at + 1 == count)
        return quell_fail(err, QUELL_E_USAGE, "option %s wants %s", row->name, row->argument);
    const char *next = argument[++*at];
    const cli_option *other = find(command, next, strcspn(next, "="));
    if (other != NULL)
        return quell_fail(err, QUELL_E_USAGE, "option %s wants %s, found the option %s", row->name,
                          row->argument, other->name);
    *value = next;
    return QUELL_OK;
}

quell_status cli_parse(const cli_command *command, int count, char **argument, cli_options *out,
                       quell_error *err)
{
    clear(out);
    cli_list *operands = &out->files;
    bool only_operands = false;
    char shown[64];
    for (int i = 0; i < count; i++) {
        const char *text = argument[i];
        bool is_input = text[0] == '-' && (text[1] == '\0' || text[1] == '@'); /* with a label behind it */
        if (only_operands || text[0] != '-' || is_input) {
            quell_status status = append(operands, text, err);
            if (status != QUELL_OK)
                return status;
            continue;
        }
        if (strcmp(text, "--") == 0) {
            only_operands = true;
            continue;
        }
        if (strcmp(text, "-h") == 0)
            text = "--help";
        const char *equals = strchr(text, '=');
        size_t length = equals != NULL ? (size_t)(equals - text) : strlen(text);
        const cli_option *row = find(command, text, length);
        if (row == NULL)
            return quell_fail(err, QUELL_E_USAGE, "unknown option '%s'; see quell %s --help",
                              quell_printable(shown, sizeof shown, text, strlen(text)), command->name);
        const char *value;
        quell_status status = take_value(command, row, equals, count, argument, &i, &value, err);
        if (status != QUELL_OK)
            return status;
        status = store(row, value, out, err);
        if (status != QUELL_OK)
            return err == NULL ? status : quell_fail(err, status, "option %s: %s", row->name, err->text);
        if (row->kind == CLI_FILES)
            operands = (cli_list *)(void *)((char *)out + row->offset);
    }
    return QUELL_OK;
}

void cli_help(const cli_command *command, FILE *stream)
{
    fprintf(stream, "quell %s%s%s\n\n", command->name, command->operands[0] != '\0' ? " " : "",
            command->operands);
    quell_words_print(stream, "", "", 79, command->about);
    for (size_t g = 0; command->group[g] != NULL; g++) {
        fprintf(stream, "\n%s:\n", command->group[g]->heading);
        for (const cli_option *row = command->group[g]->option; row->name != NULL; row++) {
            char head[80];
            snprintf(head, sizeof head, "  %s%s%s", row->name, row->argument != NULL ? " " : "",
                     row->argument != NULL ? row->argument : "");
            char first[128];
            snprintf(first, sizeof first, strlen(head) > 28 ? "%s\n%30s" : "%-30s%s", head, "");
            quell_words_print(stream, first, "                              ", 79, row->help);
        }
    }
    fprintf(stream, "\nExample:\n%s", command->example);
}
