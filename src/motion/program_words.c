/* The words of a program: G21 and G90, then G1 to places at feeds in mm/min, and G4 to rest. No G0: how fast that is, is the
   controller's own affair. */
#include "motion/motion_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void append(char *out, size_t size, const char *text)
{
    size_t used = strlen(out);
    snprintf(out + used, size - used, "%s", text);
}

/* Four decimals, from a whole number of them. */
static void append_place(char *out, size_t size, char letter, int32_t written)
{
    char text[32];
    long magnitude = labs((long)written);
    snprintf(text, sizeof text, " %c%s%ld.%04ld", letter, written < 0 ? "-" : "", magnitude / 10000, magnitude % 10000);
    append(out, size, text);
}

static void append_places(const quell_program *program, const int32_t at[2], char *out, size_t size)
{
    for (int k = 0; k < 2; k++)
        if (program->asked.path->sign[k] != 0)
            append_place(out, size, "XY"[k], at[k]);
}

static void append_feed(char *out, size_t size, double speed_mps)
{
    char text[32];
    long tenths = lround(speed_mps * 60000 * 10);
    snprintf(text, sizeof text, tenths % 10 == 0 ? " F%ld" : " F%ld.%ld", tenths / 10, tenths % 10);
    append(out, size, text);
}

static void append_rest(const quell_program *program, char *out, size_t size, double rest_s)
{
    char text[48];
    long ms = lround(1e3 * rest_s);
    if (ms == 0)
        return;
    if (program->asked.dwell_in_seconds)
        snprintf(text, sizeof text, "G4 P%ld.%03ld\n", ms / 1000, ms % 1000);
    else
        snprintf(text, sizeof text, "G4 P%ld\n", ms);
    append(out, size, text);
}

const char *quell_program_head(const quell_program *program, char *out, size_t size)
{
    snprintf(out, size, "G21\nG90\nG1");
    append_places(program, program->start, out, size);
    append_feed(out, size, program->move[0].speed_mps);
    append(out, size, "\n");
    append_rest(program, out, size, program->before_s);
    return out;
}

const char *quell_program_words(const quell_program *program, size_t i, char *out, size_t size)
{
    double speed = program->move[i].speed_mps;
    snprintf(out, size, "G1");
    append_places(program, program->at[i], out, size);
    if (i > 0 && speed != program->move[i - 1].speed_mps)
        append_feed(out, size, speed);
    append(out, size, "\n");
    append_rest(program, out, size, program->move[i].rest_s);
    return out;
}
