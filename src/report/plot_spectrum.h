/* The plots of `quell spectrum`. */
#ifndef QUELL_REPORT_PLOT_SPECTRUM_H
#define QUELL_REPORT_PLOT_SPECTRUM_H

#include "quell/modes.h"
#include "quell/spectrum.h"

enum { QUELL_PLOT_SPECTRA_MAX = 5 };

/** Densities in dB re 1 (m/s2)^2/Hz over a logarithmic frequency axis, one panel an axis: the first
    recording with its 95 % band shaded, the others as lines named at their ends. Modes, if any, are marked
    in the panel of the axis they were seen on. band_hz: what is shown. path, keep_dir and errors as quell_plot_draw. */
quell_status quell_plot_spectra(const quell_spectrum *spectrum, const char *const *name, size_t count,
                                const quell_modes *modes, const double band_hz[2], const char *path,
                                const char *keep_dir, quell_error *err);

/** Frequency over time in shades of grey over 60 dB below the largest density, modes (NULL: none) as dashed lines;
    band_hz: what is shown. path, keep_dir and errors as quell_plot_draw. */
quell_status quell_plot_spectrogram(const quell_spectrogram *spectrogram, char axis_letter,
                                    const double band_hz[2], const quell_modes *modes, const char *name,
                                    const char *path, const char *keep_dir, quell_error *err);

#endif
