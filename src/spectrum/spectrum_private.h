/* Building blocks of the spectrum stage: the Fourier transform's one owner and the transform of one segment.
   */
#ifndef QUELL_SPECTRUM_PRIVATE_H
#define QUELL_SPECTRUM_PRIVATE_H

#include "quell/spectrum.h"

/* A real-to-complex transform of fixed length with its aligned buffers. FFTW's planner is not thread-safe:
   making and destroying take one mutex; running does not. */
typedef struct quell_fourier quell_fourier;

/* NULL if memory is out or length is 0. */
quell_fourier *quell_fourier_create(size_t length);
void quell_fourier_destroy(quell_fourier *fourier);

/* `length` reals to fill before, and length / 2 + 1 values of sum x[n] exp(-2 pi j k n / length) after a
   run. */
double *quell_fourier_input(quell_fourier *fourier);
const double complex *quell_fourier_output(const quell_fourier *fourier);
void quell_fourier_run(quell_fourier *fourier);

/* What is taken off a segment before the window. */
typedef enum quell_detrend { QUELL_DETREND_NONE, QUELL_DETREND_MEAN, QUELL_DETREND_LINE } quell_detrend;

/* Transform of `segment` windowed samples, padded by zeros to the transform's length. */
const double complex *quell_segment_transform(quell_fourier *fourier, const double *samples,
                                              const double *window, size_t segment, quell_detrend detrend);

/* 2 for bins that stand for a negative frequency too, 1 for 0 Hz and, at even lengths, the Nyquist bin. */
double quell_bin_sides(size_t bin, size_t length);

#endif
