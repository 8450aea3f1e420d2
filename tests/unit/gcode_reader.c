/* See gcode_reader.h. */
#include "gcode_reader.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct state {
    double at[3], feed_mmps;
    bool millimetres, absolute, known; /* known: where it is */
} state;

static void complain(gcode_run *run, size_t line, const char *what)
{
    if (run->complaint[0] == '\0')
        snprintf(run->complaint, sizeof run->complaint, "line %zu: %s", line, what);
}

static void add(gcode_run *run, gcode_stroke stroke)
{
    if ((run->count & (run->count - 1)) == 0)
        run->stroke = realloc(run->stroke, (run->count > 0 ? 2 * run->count : 1) * sizeof stroke);
    stroke.start_s = run->seconds;
    run->seconds += stroke.seconds;
    run->stroke[run->count++] = stroke;
}

static double dot(const gcode_stroke *a, const gcode_stroke *b)
{
    double sum = 0;
    for (int k = 0; k < 3; k++)
        sum += (a->to_mm[k] - a->from_mm[k]) * (b->to_mm[k] - b->from_mm[k]);
    return sum;
}

/* From rest to rest, up to the feed: v = sqrt(a L) at most, L / v + v / a seconds. */
static void move(gcode_run *run, state *now, const double to[3], double acceleration, size_t line)
{
    gcode_stroke stroke = {.feed_mmps = now->feed_mmps};
    double square = 0;
    for (int k = 0; k < 3; k++) {
        stroke.from_mm[k] = now->at[k];
        stroke.to_mm[k] = to[k];
        square += (to[k] - now->at[k]) * (to[k] - now->at[k]);
        now->at[k] = to[k];
    }
    if (!now->millimetres || !now->absolute || !(now->feed_mmps > 0))
        complain(run, line, "moves before units, absolute positions and a feed are set");
    if (!now->known) { /* the first move */
        now->known = true;
        return;
    }
    stroke.length_mm = sqrt(square);
    if (stroke.length_mm == 0)
        complain(run, line, "goes nowhere");
    stroke.peak_mmps = fmin(sqrt(acceleration * stroke.length_mm), stroke.feed_mmps);
    stroke.seconds = stroke.length_mm / stroke.peak_mmps + stroke.peak_mmps / acceleration;
    const gcode_stroke *last = run->count > 0 ? &run->stroke[run->count - 1] : NULL;
    if (last != NULL && !last->rests && dot(last, &stroke) > -0.999 * last->length_mm * stroke.length_mm)
        complain(run, line, "goes on without a stop, and not straight back");
    add(run, stroke);
}

/* The words of a line, comments taken off: a letter and a number each. */
static void take_line(gcode_run *run, state *now, const char *text, double acceleration, bool in_seconds, size_t line)
{
    double to[3] = {now->at[0], now->at[1], now->at[2]}, dwell = -1;
    int g = -1;
    bool moves = false;
    for (const char *at = text; *at != '\0' && *at != ';';) {
        char letter = *at++, *end;
        if (letter == ' ')
            continue;
        if (letter == '(') {
            while (*at != '\0' && *at++ != ')')
                ;
            continue;
        }
        double value = strtod(at, &end);
        if (end == at || strspn(at, "+-0123456789.") != (size_t)(end - at))
            complain(run, line, "a word without a plain number");
        at = end;
        if (letter == 'G')
            g = (int)value;
        else if (letter == 'F')
            now->feed_mmps = value / 60;
        else if (letter == 'P')
            dwell = in_seconds ? value : value / 1000;
        else if (letter >= 'X' && letter <= 'Z') {
            to[letter - 'X'] = value;
            moves = true;
        } else
            complain(run, line, "a letter that is none of G F P X Y Z");
    }
    now->millimetres = now->millimetres || g == 21;
    now->absolute = (now->absolute || g == 90) && g != 91;
    if (g != -1 && g != 0 && g != 1 && g != 4 && g != 21 && g != 90 && g != 91)
        complain(run, line, "a G that is none of 0 1 4 21 90 91");
    if ((g == 4) != (dwell >= 0) || (moves && g != 0 && g != 1))
        complain(run, line, "P without G4, or places without G0 or G1");
    if (g == 4) {
        gcode_stroke rest = {.rests = true, .seconds = dwell};
        memcpy(rest.from_mm, now->at, sizeof rest.from_mm);
        memcpy(rest.to_mm, now->at, sizeof rest.to_mm);
        add(run, rest);
    } else if (moves)
        move(run, now, to, acceleration, line);
}

gcode_run gcode_read(const char *text, double acceleration_mmps2, bool dwell_in_seconds)
{
    gcode_run run = {0};
    state now = {0};
    while (*text != '\0') {
        char line[400];
        size_t length = strcspn(text, "\n");
        snprintf(line, sizeof line, "%.*s", (int)length, text);
        run.lines++;
        if (length > 80 || text[length] == '\0')
            complain(&run, run.lines, "a line of over 80 characters, or without an end");
        take_line(&run, &now, line, acceleration_mmps2, dwell_in_seconds, run.lines);
        text += length + (text[length] != '\0');
    }
    return run;
}

void gcode_at(const gcode_run *run, double a, double time_s, double out_mm[3])
{
    size_t low = 0, high = run->count;
    while (low + 1 < high) {
        size_t middle = (low + high) / 2;
        if (run->stroke[middle].start_s <= time_s)
            low = middle;
        else
            high = middle;
    }
    const gcode_stroke *stroke = &run->stroke[low];
    double t = fmin(time_s - stroke->start_s, stroke->seconds), share = 0;
    if (!stroke->rests) {
        double ramp_s = stroke->peak_mmps / a, left_s = stroke->seconds - t;
        double way = t < ramp_s        ? a * t * t / 2
                     : left_s < ramp_s ? stroke->length_mm - a * left_s * left_s / 2
                                       : stroke->peak_mmps * (t - ramp_s / 2);
        share = way / stroke->length_mm;
    }
    for (int k = 0; k < 3; k++)
        out_mm[k] = stroke->from_mm[k] + share * (stroke->to_mm[k] - stroke->from_mm[k]);
}
