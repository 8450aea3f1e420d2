/* Building blocks of the spectrum stage: the Fourier transform's one owner and the transform of one segment.
   */
#ifndef QUELL_SPECTRUM_PRIVATE_H
#define QUELL_SPECTRUM_PRIVATE_H

#include "quell/spectrum.h"

/* Samples of a segment: fewer give no spectrum worth the name, more are beyond any recording. */
enum { SEGMENT_MIN = 8, SEGMENT_MAX = 1 << 26 };

/* A real-to-complex transform of fixed length with its aligned buffers. FFTW's planner is not thread-safe:
   making and destroying take one mutex; running does not. */
typedef struct quell_fourier quell_fourier;

/* NULL if memory is out, or length is 0 or above 2^30. */
quell_fourier *quell_fourier_create(size_t length);
void quell_fourier_destroy(quell_fourier *fourier);

/* What is taken off a segment before the window. */
typedef enum quell_detrend { QUELL_DETREND_NONE, QUELL_DETREND_MEAN, QUELL_DETREND_LINE } quell_detrend;

/* sum x[n] exp(-2 pi j k n / length), k = 0 to length / 2, of `segment` windowed samples padded by zeros to the
   transform's length. Valid until the next call. */
const double complex *quell_segment_transform(quell_fourier *fourier, const double *samples,
                                              const double *window, size_t segment, quell_detrend detrend);

/* 2 for bins that stand for a negative frequency too, 1 for 0 Hz and, at even lengths, the Nyquist bin. */
double quell_bin_sides(size_t bin, size_t length);

#endif
