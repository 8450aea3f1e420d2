/* The plot of `quell choose`. */
#ifndef QUELL_REPORT_PLOT_CHOOSE_H
#define QUELL_REPORT_PLOT_CHOOSE_H

#include "quell/choose.h"

/** Two panels for each axis: residual vibration against frequency for the leading candidates, the modes' ranges shaded;
    worst residual against spread for all candidates, the choice marked. An axis without modes is left out.
    path, keep_dir and errors as quell_plot_draw. */
quell_status quell_plot_choice(const quell_axis_choice *const *choice, const quell_modes *const *modes,
                               size_t axes, const char *path, const char *keep_dir, quell_error *err);

#endif
