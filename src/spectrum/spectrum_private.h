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

/* ---------------------------------------------------------------- sums over segments (group.c) */

/* What is computed of every segment. */
typedef struct welch_plan {
    size_t axes, segment, hop, bins;
    size_t most; /* segments of a group */
    bool cross;
    const double *window; /* segment values */
} welch_plan;

typedef struct welch_sums {
    size_t segments;
    double *power[3];              /* sum over segments of |X|^2 */
    double complex *product[3][3]; /* sum of conj(X_i) X_j, i < j; NULL unless plan->cross */
} welch_sums;

/* Successive segments of one unbroken stretch, and their sums. */
typedef struct welch_group {
    size_t segments;
    double *sample[3]; /* room for plan->most segments */
    welch_sums sums;
} welch_group;

/* What one thread works with. */
typedef struct welch_bench {
    quell_fourier *fourier;
    double complex *transform[3];
} welch_bench;

/* Segments of a group: 8, fewer where they are long, so that memory stays bounded. */
size_t welch_group_size(size_t segment, size_t hop);

/* These return false if memory is out; what was got is released by the _free function. */
bool welch_sums_get(welch_sums *out, const welch_plan *plan);
void welch_sums_free(welch_sums *sums);
bool welch_group_get(welch_group *out, const welch_plan *plan);
void welch_group_free(welch_group *group);
bool welch_bench_get(welch_bench *out, const welch_plan *plan);
void welch_bench_free(welch_bench *bench);

/* group->sums of its segments. */
void welch_group_compute(welch_group *group, const welch_plan *plan, welch_bench *bench);
void welch_sums_add(welch_sums *total, const welch_sums *part, const welch_plan *plan);

/* ---------------------------------------------------------------- threads (crew.c) */

/* Groups in a ring: one is being filled, those before it wait, are worked on, or are done and wait for those before
   them to be added up. */
typedef struct welch_crew welch_crew;

/* threads: 0 or 1 for the calling thread alone. Fewer work where no more can be had. NULL if memory is out. */
welch_crew *welch_crew_create(const welch_plan *plan, size_t threads);
void welch_crew_destroy(welch_crew *crew);
/* The group to be filled, once there is one: the caller works on what waits meanwhile. Done ones are added up. */
welch_group *welch_crew_free_group(welch_crew *crew, welch_sums *total);
/* The group to be filled has been. */
void welch_crew_submit(welch_crew *crew);
/* Works until all is done and added up. */
void welch_crew_finish(welch_crew *crew, welch_sums *total);

#endif
