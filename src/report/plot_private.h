/* The plot under construction, as the builder (plot.c), the layout (plot_layout.c), the script (plot_script.c) and the
   process (gnuplot.c) share it. */
#ifndef QUELL_REPORT_PLOT_PRIVATE_H
#define QUELL_REPORT_PLOT_PRIVATE_H

#include "quell/report.h"

enum {
    PLOT_PANELS_MAX = 8,
    PLOT_CURVES_MAX = 24,
    PLOT_NOTES_MAX = 64,
    PLOT_STRETCHES_MAX = 24,
    PLOT_TEXT_MAX = 121
};

typedef struct plot_curve {
    quell_mark mark;
    quell_ink ink;
    double width;
    size_t n;
    double *x, *y, *y2; /* y2 only for bands */
    char label[PLOT_TEXT_MAX];
    double label_x; /* NaN: at the right end */
} plot_curve;

typedef struct plot_note {
    double x, y;
    bool marker;
    char text[PLOT_TEXT_MAX];
} plot_note;

typedef struct plot_stretch {
    double low, high; /* a line where equal */
    char label[PLOT_TEXT_MAX];
} plot_stretch;

typedef struct plot_axis {
    double low, high; /* both 0: from the data */
    bool log;
    char label[PLOT_TEXT_MAX];
} plot_axis;

typedef struct plot_panel {
    char title[PLOT_TEXT_MAX];
    plot_axis x, y;
    double height;
    size_t curves, notes, stretches, levels;
    plot_curve curve[PLOT_CURVES_MAX];
    plot_note note[PLOT_NOTES_MAX];
    plot_stretch stretch[PLOT_STRETCHES_MAX];
    plot_note level[4];
} plot_panel;

struct quell_plot {
    char title[PLOT_TEXT_MAX];
    bool failed; /* memory ran out while building */
    size_t panels;
    plot_panel *panel[PLOT_PANELS_MAX];
};

/* Where a panel stands on the canvas, in pixels from the bottom left. */
typedef struct plot_box {
    double left, right, bottom, top;
} plot_box;

/* A label that found its place: pixel position of its left end, mid height. */
typedef struct plot_label {
    double x, y;
    const char *text;
    int ink; /* quell_ink, or -1 for text grey */
    double dot_x, dot_y;
    bool dot; /* a marker is drawn at dot_x, dot_y */
} plot_label;

enum { PLOT_WIDTH = 1000, PLOT_LABELS_MAX = PLOT_CURVES_MAX + PLOT_NOTES_MAX + PLOT_STRETCHES_MAX + 4 };

/* Fills the ranges that were left to the data. */
void plot_fill_ranges(plot_panel *panel);

/* Canvas height and the box of each panel. */
double plot_arrange(const quell_plot *plot, plot_box box[PLOT_PANELS_MAX]);

/* Places all labels of a panel so that they do not cover each other; returns their number. */
size_t plot_place_labels(const plot_panel *panel, const plot_box *box, plot_label label[PLOT_LABELS_MAX]);

/* "X axis", "axis that moves" (letter 0): for titles. */
const char *plot_axis_words(char letter);

/* x or y to pixels. */
double plot_pixel(const plot_axis *axis, double value, double from, double to);

/* Writes data and script. kind: "png", "svg" or "pdf"; the script writes plot.<kind> and reads data.txt. */
void plot_write_data(const quell_plot *plot, FILE *stream);
void plot_write_script(const quell_plot *plot, const char *kind, FILE *stream);

#endif
