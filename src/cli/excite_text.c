/* The words around a program of test motion: cautions, what it does, what must be set. In the program as comments, on stderr for
   the person. A comment line begins with ';' and stands in parentheses, so that controllers of either habit pass over it. */
#include "cli/excite_view.h"

#include <math.h>
#include <string.h>

static const char *const cautions[] = {
    "A shaken machine can crush, pinch and throw things.",
    "Clear the bed. Keep hands, hair and cables out.",
    "Stay at the emergency stop. Do not leave the machine alone. Stop at any knock or smell.",
    "Start at a low acceleration.",
    "Keep the motion inside the axis limits: compare the travel below with the machine before the program runs.",
    "Afterwards check fasteners and the sensor's tether.",
    "Power off before wiring a sensor. Mains wiring and guards follow local codes and licensed practice.",
};

enum { CAUTIONS = sizeof cautions / sizeof cautions[0], LINE = 1024, WIDTH = 70 };

/* Where modes are looked for by default; a sweep ends within a stroke of it. */
#define FULL_HZ 150.0
#define NEAR_FULL 0.95

static bool is_diagonal(const excite_view *view)
{
    return view->asked.path->sign[0] != 0 && view->asked.path->sign[1] != 0;
}

static void add(char *out, size_t size, const char *text)
{
    size_t used = strlen(out);
    snprintf(out + used, size - used, "%s", text);
}

/* "X from 60.0000 mm to 120.0000 mm" of what the program reaches, for each coordinate that moves. */
static void add_extent(const excite_view *view, char *out, size_t size)
{
    const quell_program *program = &view->program;
    for (int k = 0; k < 2; k++) {
        int32_t low = program->start[k], high = low;
        char text[192];
        if (view->asked.path->sign[k] == 0)
            continue;
        for (size_t i = 0; i < program->count; i++) {
            low = program->at[i][k] < low ? program->at[i][k] : low;
            high = program->at[i][k] > high ? program->at[i][k] : high;
        }
        snprintf(text, sizeof text, "%s%c from %s to %s mm", out[0] != '\0' ? ", " : "", "XY"[k],
                 quell_number_fixed(low / 1e4, 4).text, quell_number_fixed(high / 1e4, 4).text);
        add(out, size, text);
    }
}

/* "X90.0000" */
static void add_start(const excite_view *view, char *out, size_t size)
{
    for (int k = 0; k < 2; k++) {
        char text[96];
        if (view->asked.path->sign[k] == 0)
            continue;
        snprintf(text, sizeof text, "%s%c%s", out[0] != '\0' ? " " : "", "XY"[k],
                 quell_number_fixed(view->program.start[k] / 1e4, 4).text);
        add(out, size, text);
    }
}

static void describe(const excite_view *view, char *out, size_t size)
{
    const quell_program *made = &view->program;
    double seconds = made->end_s - made->start_s;
    quell_number_text speed = quell_number_short(1e3 * made->peak_speed_mps, 4),
                      acceleration = quell_number_short(1e3 * view->asked.acceleration_mps2, 5);
    if (view->asked.kind == QUELL_EXCITE_SWEEP)
        snprintf(out, size, "Sweep of strokes along %s from %s Hz to %s Hz in %s s at %s mm/s2, up to %s mm/s.", view->asked.path->id,
                 quell_number_short(made->range_hz[0], 4).text, quell_number_short(made->range_hz[1], 4).text,
                 quell_number_fixed(seconds, 1).text, acceleration.text, speed.text);
    else if (view->asked.kind == QUELL_EXCITE_RANDOM)
        snprintf(out, size, "Random strokes along %s of %s Hz to %s Hz for %s s at %s mm/s2, up to %s mm/s; seed %llu.",
                 view->asked.path->id, quell_number_short(view->asked.range_hz[0], 4).text,
                 quell_number_short(view->asked.range_hz[1], 4).text, quell_number_fixed(seconds, 1).text, acceleration.text,
                 speed.text, (unsigned long long)view->asked.seed);
    else
        snprintf(out, size, "Strokes along %s with stops: %zu strokes of up to %s mm/s at %s mm/s2 in %s s, each with %s s of rest.",
                 view->asked.path->id, made->last - made->first + 1, speed.text, acceleration.text,
                 quell_number_fixed(seconds, 1).text, quell_number_fixed(made->dwell_s, 3).text);
}

static void describe_place(const excite_view *view, char *out, size_t size)
{
    char start[LINE / 2] = "";
    out[0] = '\0';
    add_extent(view, out, size);
    add_start(view, start, sizeof start);
    add(out, size, "; begins and ends at ");
    add(out, size, start);
    snprintf(start, sizeof start, ". Record for %s s or more: all of it, the rests included.",
             quell_number_fixed(ceil(view->program.duration_s), 0).text);
    add(out, size, start);
}

/* What it cannot find; "" where it reaches all that a mode is looked for. */
static void describe_reach(const excite_view *view, char *out, size_t size)
{
    const quell_test_motion *asked = &view->asked;
    bool sweeps = asked->kind == QUELL_EXCITE_SWEEP;
    double end_hz = sweeps ? view->program.range_hz[1] : asked->range_hz[1], acceleration_mps2, step_m;
    char text[LINE];
    out[0] = '\0';
    if (asked->kind == QUELL_EXCITE_STOPS || !(end_hz < NEAR_FULL * FULL_HZ))
        return;
    snprintf(out, size, "Modes above %s Hz will not be found by %s.", quell_number_short(end_hz, 3).text,
             sweeps ? "this sweep" : "these random strokes");
    quell_program_reach(asked, FULL_HZ, &acceleration_mps2, &step_m);
    if (!(acceleration_mps2 > asked->acceleration_mps2))
        return;
    snprintf(text, sizeof text, " %g Hz would be reached with an acceleration of %s mm/s2, or with motor steps of %s mm.", FULL_HZ,
             quell_number_short(1e3 * acceleration_mps2, 6).text, quell_number_short(1e3 * step_m, 3).text);
    add(out, size, text);
    double low_hz = acceleration_mps2 / (4 * asked->speed_mps);
    if (low_hz > asked->range_hz[0]) {
        snprintf(text, sizeof text, " At that acceleration and %s mm/s strokes begin at %s Hz.",
                 quell_number_short(1e3 * asked->speed_mps, 4).text, quell_number_short(low_hz, 3).text);
        add(out, size, text);
    }
}

/* What the program cannot do by itself, one text after the other; false after the last. */
static bool demand(const excite_view *view, size_t i, char *out, size_t size)
{
    const quell_test_motion *asked = &view->asked;
    quell_number_text acceleration = quell_number_short(1e3 * asked->acceleration_mps2, 5);
    char start[LINE / 2] = "";
    out[0] = '\0';
    switch (i) {
    case 0:
        snprintf(out, size, "Set in the controller before: acceleration %s mm/s2 along the path, the same for starting and braking, "
                            "constant, without S-curves, if it has a choice; input shaping off.",
                 acceleration.text);
        return true;
    case 1:
        if (is_diagonal(view))
            snprintf(out, size, "A diagonal: of coupled belts one motor alone turns, %s mm of path for each of its steps. Speed and "
                                "acceleration are those along the path: each axis has 0.7071 of them. In the recording, X is this diagonal, unless --mount says how the sensor "
                                "sits.",
                     quell_number_short(1e3 * asked->step_m / sqrt(2), 5).text);
        return true;
    case 2:
        add(out, size, "Home the machine, drive it to ");
        add_start(view, start, sizeof start);
        add(out, size, start);
        add(out, size, ", start the recording, then run this from the controller's own storage: sent line by line it may stutter.");
        return true;
    case 3:
        snprintf(out, size, "G4 counts P in %s.", asked->dwell_in_seconds ? "seconds" : "milliseconds");
        return true;
    default:
        return false;
    }
}

static void comment(FILE *stream, const char *text)
{
    char copy[LINE], *at = copy;
    snprintf(copy, sizeof copy, "%s", text);
    while (strlen(at) > WIDTH) { /* words of these texts are short: there is a blank */
        char *cut = at + WIDTH;
        while (*cut != ' ')
            cut--;
        *cut = '\0';
        fprintf(stream, "; (%s)\n", at);
        at = cut + 1;
    }
    fprintf(stream, "; (%s)\n", at);
}

void excite_write(const excite_view *view, FILE *stream)
{
    char text[LINE], words[QUELL_PROGRAM_WORDS];
    comment(stream, "Test motion written by quell excite.");
    for (size_t i = 0; i < CAUTIONS; i++)
        comment(stream, cautions[i]);
    describe(view, text, sizeof text);
    comment(stream, text);
    describe_place(view, text, sizeof text);
    comment(stream, text);
    describe_reach(view, text, sizeof text);
    if (text[0] != '\0')
        comment(stream, text);
    for (size_t i = 0; demand(view, i, text, sizeof text); i++)
        if (text[0] != '\0')
            comment(stream, text);
    fputs(quell_program_head(&view->program, words, sizeof words), stream);
    for (size_t i = 0; i < view->program.count; i++) {
        if (i == view->program.first)
            comment(stream, "Here the excitation begins.");
        fputs(quell_program_words(&view->program, i, words, sizeof words), stream);
    }
    comment(stream, "End.");
}

void excite_say(const cli_run *run, const excite_view *view)
{
    char text[LINE] = "";
    for (size_t i = 0; i < CAUTIONS; i++) {
        add(text, sizeof text, i > 0 ? " " : "CAUTION: ");
        add(text, sizeof text, cautions[i]);
    }
    cli_say(run, "%s", text);
    describe(view, text, sizeof text);
    cli_say(run, "%s", text);
    describe_place(view, text, sizeof text);
    cli_say(run, "%s", text);
    describe_reach(view, text, sizeof text);
    if (text[0] != '\0')
        cli_say(run, "%s", text);
    if (view->range_is_default)
        cli_say(run, "The range of frequencies is what the limits stated allow; --band narrows it.");
    for (size_t i = 0; demand(view, i, text, sizeof text); i++)
        if (text[0] != '\0')
            cli_say(run, "%s", text);
}
