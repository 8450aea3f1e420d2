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
quell_status ratio_rest(const quell_side *side, size_t axis, size_t segment, quell_arena *arena, quell_spectrum *out,
                        bool *found, quell_error *err);

/* |H|^2 at the ratio's grid. */
void ratio_power(const quell_ratio *ratio, const quell_shaper *shaper, double *power);

/* What |H|^2 at the grid makes of every bin, without noise. */
void ratio_smear(const quell_ratio *ratio, const double *power, double *signal);

#endif
