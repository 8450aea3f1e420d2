/* The plots of `quell modes`: how the fits follow what was measured. */
#ifndef QUELL_REPORT_PLOT_MODES_H
#define QUELL_REPORT_PLOT_MODES_H

#include "quell/modes.h"
#include "quell/spectrum.h"

/** The measured density of axis `axis` with its 95 % band and the fitted one, modes marked; one panel more for each
    other axis on which a mode was seen; last, what the fit leaves, in standard errors. options: shaping and shaking as they
    were for the fit. axis_letter: 0 if the axis has no name. path, keep_dir and errors as quell_plot_draw. */
quell_status quell_plot_modes(const quell_spectrum *spectrum, size_t axis, const quell_modes *modes,
                              const quell_modes_options *options, const double band_hz[2], const char *name,
                              char axis_letter, const char *path, const char *keep_dir, quell_error *err);

/** The free decay that is shown: measured and fitted acceleration over the time since the motion ended (since the start
    of the fit, where that is not known), the fit's window shaded, the envelope of each mode; below, what the fit leaves. decays->shown
    must not be 0. path, keep_dir and errors as quell_plot_draw. */
quell_status quell_plot_decay(const quell_decays *decays, double rate_hz, const char *name, char axis_letter,
                              const char *path, const char *keep_dir, quell_error *err);

#endif
