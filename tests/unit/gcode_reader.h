/* A reader of motion programs that shares nothing with the one that writes them: ISO 6983 words G0 G1 G4 G21 G90 G91 F X Y Z and
   comments, run by a planner of constant acceleration that stops at every change of direction and at every dwell. */
#ifndef QUELL_TESTS_GCODE_READER_H
#define QUELL_TESTS_GCODE_READER_H

#include <stdbool.h>
#include <stddef.h>

/* One straight move or one dwell, as the planner runs it; mm and s. */
typedef struct gcode_stroke {
    double start_s, seconds;
    bool rests;
    double from_mm[3], to_mm[3];
    double length_mm, feed_mmps, peak_mmps;
} gcode_stroke;

typedef struct gcode_run {
    size_t count, lines;
    gcode_stroke *stroke; /* free() it */
    double seconds;
    char complaint[200]; /* what was wrong, "" if nothing */
} gcode_run;

/* dwell_in_seconds: what P counts. The first move, to the start, takes no time: the machine stands there already. */
gcode_run gcode_read(const char *text, double acceleration_mmps2, bool dwell_in_seconds);

/* Position in mm at a time. */
void gcode_at(const gcode_run *run, double acceleration_mmps2, double time_s, double out_mm[3]);

#endif
