/* A program of test motion while it is put together: positions are whole steps from the start, towards +. */
#ifndef QUELL_PROGRAM_PRIVATE_H
#define QUELL_PROGRAM_PRIVATE_H

#include "motion/motion_private.h"

typedef struct program_builder {
    quell_program made;
    quell_arena *arena;
    double unit_m;     /* of a coordinate, for one step of the program */
    double step_m;     /* the same along the path */
    int32_t room;      /* steps that the travel holds */
    int32_t reach;     /* steps that the program uses: 0..reach */
    int32_t corner[2]; /* the start, in units of unit_m */
    int32_t place;     /* steps from the start, after the last move */
    size_t capacity;
    double time_s;     /* after the last move and its rest */
} program_builder;

/* Checks what is asked for and sets up the grid. QUELL_OK; QUELL_E_USAGE. */
quell_status program_begin(program_builder *out, const quell_test_motion *asked, quell_arena *arena, quell_error *err);

/* Puts the start where 0..reach lies in the middle of the travel, then rest and slow strokes. */
quell_status program_preamble(program_builder *builder, int32_t reach, quell_error *err);

/* One move to a place and the rest after it. QUELL_OK; QUELL_E_USAGE for too long a program; QUELL_E_MEMORY. */
quell_status program_go(program_builder *builder, int32_t place, double speed_mps, double rest_s, quell_error *err);

/* The last move and the rest that every program ends with. */
quell_status program_end(program_builder *builder, int32_t place, double speed_mps, double rest_s, quell_error *err);

/* Refuses frequencies whose strokes are too short, too fast or too long, and says which would do. */
quell_status program_check_range(const program_builder *builder, quell_error *err);

/* Steps of the stroke of that frequency, not rounded. */
double program_steps_at(const program_builder *builder, double frequency_hz);

quell_status program_sweep(program_builder *builder, quell_error *err);
quell_status program_random(program_builder *builder, quell_error *err);
quell_status program_stops(program_builder *builder, quell_error *err);

#endif
