/* A spectrum without a density yet, as if from Hann segments with 75 % overlap; 1 Hz bins up to 500 Hz: for suites that state one. */
#ifndef QUELL_TESTS_STATED_SPECTRUM_H
#define QUELL_TESTS_STATED_SPECTRUM_H

#include "quell/spectrum.h"

static inline quell_spectrum stated_spectrum(size_t segments, quell_arena *in)
{
    enum { SEGMENT = 1000 };
    quell_spectrum out = {.axes = 1,
                          .bins = SEGMENT / 2 + 1,
                          .rate_hz = SEGMENT,
                          .bin_hz = 1,
                          .enbw_hz = 1.5,
                          .window = quell_window_find("hann"),
                          .segment = SEGMENT,
                          .hop = SEGMENT / 4,
                          .segments = segments};
    double window[SEGMENT];
    quell_window_fill(out.window, window, SEGMENT);
    out.dof = quell_welch_dof(window, SEGMENT, out.hop, segments);
    quell_welch_bin_correlation(window, SEGMENT, out.hop, segments, out.bin_correlation);
    out.asd_m2ps3[0] = QUELL_NEW(in, double, out.bins);
    return out;
}

#endif
