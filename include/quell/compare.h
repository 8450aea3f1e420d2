/** \file compare.h — did a change help, and is the difference real? */
#ifndef QUELL_COMPARE_H
#define QUELL_COMPARE_H

#include "quell/base.h"
#include "quell/modes.h"
#include "quell/spectrum.h"

enum { QUELL_BANDS_MAX = 40 };

/** Change of level in a band or at a mode; positive dB is more vibration after. */
typedef struct quell_level_change {
    double low_hz, high_hz;
    double before_mps2, after_mps2; /**< rms */
    double change_db, ci95_db[2];   /**< of the power ratio, from the F distribution */
    double p_value;                 /**< two-sided, not corrected for many bands */
    double p_holm;                  /**< Holm's correction over all bands and modes of this comparison */
    bool counts;                    /**< p_holm < 0.05 and |change| >= 3 dB */
} quell_level_change;

typedef struct quell_comparison {
    char axis;
    size_t bands, modes;
    quell_level_change band[QUELL_BANDS_MAX]; /**< 1/3 octaves, IEC 61260-1 base ten */
    quell_level_change mode[QUELL_MODES_MAX]; /**< at each mode of the before side: f (1 +- max(zeta, 1.5 bins)) */
    quell_mode before_mode[QUELL_MODES_MAX];
    const char *verdict;
} quell_comparison;

/** Compares two spectra of one axis made with the same window, segment and rate (within 1 %).
    QUELL_OK; QUELL_E_DATA if the spectra differ in kind; QUELL_E_MEMORY. */
quell_status quell_compare(const quell_spectrum *before, const quell_spectrum *after, size_t axis,
                           const quell_modes *before_modes, quell_arena *arena, quell_comparison *out,
                           quell_error *err);

#endif
