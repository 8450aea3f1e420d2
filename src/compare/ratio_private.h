/* Building blocks of the ratio of energy spectra. */
#ifndef QUELL_COMPARE_RATIO_PRIVATE_H
#define QUELL_COMPARE_RATIO_PRIVATE_H

#include "quell/compare.h"

/* A spectrum of padded samples: density times energy_s is energy, as if the recording were a transient. */
typedef struct ratio_spectrum {
    quell_spectrum spectrum; /* one axis */
    double energy_s, seconds;
} ratio_spectrum;

/* The energy spectrum of one axis of a recording, of all stretches of at least `least` samples. QUELL_OK; QUELL_E_DATA if these
   are less than four times that; QUELL_E_MEMORY. */
quell_status ratio_energy(const quell_recording *recording, size_t axis, size_t segment, size_t least, quell_arena *arena,
                          ratio_spectrum *out, quell_error *err);

/* The density at rest, where there are rests of a segment. QUELL_OK; QUELL_E_MEMORY. */
quell_status ratio_rest(const quell_side *side, size_t axis, size_t segment, quell_arena *arena, quell_spectrum *out, bool *found,
                        quell_error *err);

/* A side's energy density on the first recording's bins, and its noise. */
typedef struct ratio_side {
    size_t bins;
    double bin_hz, dof, seconds, rate_error;
    double noise; /* white, as energy density; set once both sides are known */
    double *energy;
    double rho2; /* 1 + 2 sum rho^2_m */
} ratio_side;

/* Measures a side with segments that are `finer` times as long as segment_s. QUELL_OK; QUELL_E_DATA; QUELL_E_USAGE if the axis is
   missing; QUELL_E_MEMORY. */
quell_status ratio_side_measure(const quell_side *side, size_t count, size_t axis, double segment_s, size_t finer,
                                quell_arena *arena, ratio_side *out, quell_error *err);

/* The sensor's white noise, (m/s2)^2/Hz: the least of these recordings and of `least`. */
double ratio_least_noise(const quell_side *side, size_t count, size_t axis, double least);

/* Adds the energy of lines at rest, from the rests of the off side, to `noise` on the on side's bins. QUELL_OK; QUELL_E_MEMORY. */
quell_status ratio_add_lines(const quell_side *off, size_t count, size_t axis, double segment_s, double white,
                             const ratio_side *on, quell_arena *arena, double *noise, quell_error *err);

/* |H|^2 at the ratio's grid. */
void ratio_power(const quell_ratio *ratio, const quell_shaper *shaper, double *power);

/* What |H|^2 at the grid makes of every bin, without noise. */
void ratio_smear(const quell_ratio *ratio, const double *power, double *signal);

#endif
