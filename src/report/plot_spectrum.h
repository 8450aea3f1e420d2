/* The plots of `quell spectrum` and `quell modes`. */
#ifndef QUELL_REPORT_PLOT_SPECTRUM_H
#define QUELL_REPORT_PLOT_SPECTRUM_H

#include "quell/modes.h"
#include "quell/spectrum.h"

enum { QUELL_PLOT_SPECTRA_MAX = 5 };

/** Densities in dB re 1 (m/s2)^2/Hz over a logarithmic frequency axis, one panel an axis: the first
    recording with its 95 % band shaded, the others as lines named at their ends. Modes, if any, are marked
    in the panel of their axis. band_hz: what is shown. path, keep_dir and errors as quell_plot_draw. */
quell_status quell_plot_spectra(const quell_spectrum *spectrum, const char *const *name, size_t count,
                                const quell_modes *modes, size_t modes_axis, const double band_hz[2],
                                const char *path, const char *keep_dir, quell_error *err);

/** The measured density with its 95 % band and the fitted one, modes marked; below, the residual in standard
    errors. shaper_on: as it was for the fit. axis_letter: 0 if the axis has no name. path, keep_dir and
    errors as quell_plot_draw. */
quell_status quell_plot_modes(const quell_spectrum *spectrum, size_t axis, const quell_modes *modes,
                              const quell_shaper *shaper_on, const double band_hz[2], const char *name,
                              char axis_letter, const char *path, const char *keep_dir, quell_error *err);

/** Frequency over time in shades of grey over 60 dB below the largest density; band_hz: what is shown.
    path, keep_dir and errors as quell_plot_draw. */
quell_status quell_plot_spectrogram(const quell_spectrogram *spectrogram, char axis_letter,
                                    const double band_hz[2], const char *name, const char *path,
                                    const char *keep_dir, quell_error *err);

#endif
