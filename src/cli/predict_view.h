/* What `quell predict` shows, gathered once for table, JSON, values and plot. */
#ifndef QUELL_CLI_PREDICT_VIEW_H
#define QUELL_CLI_PREDICT_VIEW_H

#include "cli/cli.h"

/* A wall as it comes out: count points, arrays in the arena. */
typedef struct predict_wall {
    quell_ripple ripple[QUELL_MODES_MAX];
    double largest_m;     /* of all modes together, from the last event on */
    double settled_s;     /* the last event's time */
    double *distance_m;   /* along the wall, from the corner */
    double *deflection_m; /* of all modes together */
    double *envelope_m;
} predict_wall;

typedef struct predict_view {
    const quell_modes *modes;
    const char *source;  /* file, or NULL: --mode */
    char axis;           /* 0: not stated */
    bool has_amplitude;  /* participations are known: um can be said */
    bool assumed_one;    /* a --mode without C */
    quell_corner_move move;
    bool wall_assumed;   /* its speed is the corner's, for want of one */
    bool has_shaper;
    quell_shaper shaper;
    char shaper_name[160];
    size_t count;        /* points of the walls */
    double *time_s;      /* from the corner */
    predict_wall unshaped, shaped; /* shaped: only with has_shaper */
    double rounding_m;               /* with the shaper; NaN: not known */
    double rounding_limit_m;         /* NaN: not stated */
    double acceleration_limit_mps2;  /* infinite: none; NaN: no limit stated, or the corner speed alone exceeds it */
} predict_view;

/* --mode, a file of saved modes, or recordings. */
quell_status predict_modes(cli_run *run, predict_view *view);

/* The move, from the options and the machine file. */
quell_status predict_move(cli_run *run, predict_view *view);

/* The columns of every point; into --out. */
quell_status predict_write_values(cli_run *run, const predict_view *view);

quell_json predict_json(const predict_view *view);
quell_status predict_plot(cli_run *run, const predict_view *view);
void predict_print(cli_run *run, const predict_view *view);

#endif
