/* How far a fit may be off the density: by chance, and before something is wrong. */
#include "modes_private.h"

#include <gsl/gsl_sf_psi.h>
#include <math.h>

#define ERRORS 3.0       /* standard errors of the misfit that chance makes */
#define LEAST 0.1        /* of ln P, 0.4 dB: no machine is that linear over many hours of random motion */
#define FOLLOWED_MOST 0.05 /* of a sweep whose density is known, and with it the ripple */
#define MANY_MOST 0.03     /* many modes together make up for much: what is right is below 0.022 (make study) */
#define SWEPT_MOST 0.1   /* 0.43 dB: a sweep, which leaves nothing to chance, is flat within 0.2 dB */

enum { MANY = 3 };

double quell_modes_chance_misfit(const quell_modes *modes, const quell_spectrum *spectrum)
{
    return modes->kind == QUELL_EXCITE_SWEEP ? 0 : sqrt(gsl_sf_psi_1(spectrum->dof / 2));
}

double quell_modes_misfit_limit(const quell_modes *modes, const quell_spectrum *spectrum)
{
    if (modes->kind == QUELL_EXCITE_SWEEP)
        return !modes->sweep_followed ? SWEPT_MOST : modes->count + modes->left_out >= MANY ? MANY_MOST : FOLLOWED_MOST;
    double bins = (modes->band_hz[1] - modes->band_hz[0]) / spectrum->bin_hz + 1;
    double scatter = 1 / sqrt(2 * fmax(bins / quell_bins_shared(spectrum), 1));
    return fmax(quell_modes_chance_misfit(modes, spectrum) * (1 + ERRORS * scatter), LEAST);
}
