/* A density as it is drawn, shared by the plots that show one. */
#ifndef QUELL_REPORT_PLOT_TRACE_H
#define QUELL_REPORT_PLOT_TRACE_H

#include "quell/modes.h"
#include "report/plot_private.h"

/* One axis of a spectrum over the band shown, in dB: frequency, level, and the ends of the 95 % band. */
typedef struct plot_trace {
    size_t count;
    double *x_hz, *level_db, *low_db, *high_db;
    double *block; /* to be freed */
} plot_trace;

/* QUELL_OK; QUELL_E_MEMORY. */
quell_status plot_trace_get(plot_trace *out, const quell_spectrum *spectrum, size_t axis,
                            const double band_hz[2], quell_error *err);

/* dB re 1 (m/s2)^2/Hz; NaN for nothing. */
double plot_decibels(double density);

/* Marks the modes that were seen on that axis, on its trace. */
void plot_trace_mark(quell_plot *plot, const plot_trace *in, const quell_modes *modes, size_t axis);

#endif
