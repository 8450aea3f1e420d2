/* The plot of `quell choose`. */
#ifndef QUELL_REPORT_PLOT_CHOOSE_H
#define QUELL_REPORT_PLOT_CHOOSE_H

#include "quell/choose.h"

/** Up to four panels for each axis: residual vibration against frequency for the leading candidates, the modes' ranges shaded;
    worst residual against spread for all candidates, the choice marked, and what tailored shapers reach. Then, of the choice,
    rounding against acceleration (where the machine states its acceleration) and the impulses. An axis without modes is
    left out. path, keep_dir and errors as quell_plot_draw. */
quell_status quell_plot_choice(const quell_axis_choice *const *choice, const quell_modes *const *modes,
                               size_t axes, const quell_machine *machine, const char *path, const char *keep_dir, quell_error *err);

#endif
