/* The search for the best textbook shaper: its grid (textbook_grid.c) and the hunt on it (textbook.c). */
#ifndef QUELL_TEXTBOOK_PRIVATE_H
#define QUELL_TEXTBOOK_PRIVATE_H

#include "shaping/tailor_private.h"

enum { TEXTBOOK_COMPONENTS = 96, TEXTBOOK_KEPT = 8, TEXTBOOK_DAMPINGS = 3 };

/* A family with all but its design frequency. */
typedef struct textbook_component {
    const quell_family *family;
    double zeta, tolerance;
    quell_shaper unit; /* at 1 Hz */
    double measure;    /* of that: duration, or the square of its spread */
    float *row;        /* V at a mode of ratio exp(step (i - offset)) to the design frequency, for each damping ratio */
} textbook_component;

/* Points of a band on the grid at one damping ratio, none outside: a design between two places may just keep the limit. */
typedef struct textbook_strip {
    size_t band, zeta, first, last;
} textbook_strip;

typedef struct textbook_found {
    size_t parts, component[TEXTBOOK_PARTS], frequency[TEXTBOOK_PARTS];
    double measure;
} textbook_found;

typedef struct textbook_hunt {
    const quell_bands *bands;
    const quell_textbook_limits *limits;
    double step, first_hz;    /* of the grid of modes and of designs */
    size_t modes, designs;    /* places on it */
    size_t offset, row_length;
    double zeta[QUELL_TAILOR_BANDS_MAX * TEXTBOOK_DAMPINGS];
    size_t zetas, strips;
    textbook_strip strip[QUELL_TAILOR_BANDS_MAX * TEXTBOOK_DAMPINGS];
    size_t components;
    textbook_component component[TEXTBOOK_COMPONENTS];
    size_t kept;
    textbook_found best[TEXTBOOK_KEPT];   /* of what is being hunted: families, products of two, of three */
    double bettered;    /* a measure that is reached already */
    double allowed;     /* R on the grid */
    size_t coarser;     /* steps of the grid from design to design */
    float *rows;
    bool no_memory;
} textbook_hunt;

/* Lays the grid over the bands: its steps, and which of its points are within each band at which damping ratio. */
void textbook_grid_lay(textbook_hunt *in);

/* Families at damping ratios and tolerances that are apart enough to tell where the best may be. */
void textbook_list_components(textbook_hunt *in);

/* Fills the rows of all components; false if memory is out. in->rows is the caller's to free. */
bool textbook_grid_fill(textbook_hunt *in);

/* R of a product on the grid; given up above a value. */
double textbook_grid_residual(const textbook_hunt *in, const textbook_found *of, double give_up);

#endif
