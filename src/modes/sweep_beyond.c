/* Does more move in a sweep than its fit covers? Below the band of the fit and above it, up to where the sweep begins and ends, the
   density is held against what the modes make of the sweep: a mode near an end leaves its flank there, and the fit, which has
   none of it, gives its share to the input's level and so to all participations. */
#include "modes_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#define OFF_LEAST 0.7   /* of ln P: 3 dB */
#define OFF_SHARE 0.3   /* of the bins beside the band */
#define LEAST_SHARE 0.2 /* of the sweep's density, where it counts */

enum { LEAST_BINS = 4, EDGE_BINS = 2 };

/* ln of the density over what the fit makes of the command at a bin. */
static double off(const quell_density_fit *fit, const quell_mode *mode, const quell_spectrum *spectrum, const double *density,
                  const quell_modes_options *options, double command, size_t bin)
{
    double x_hz = (double)bin * spectrum->bin_hz, h = cabs(quell_response(mode, fit->modes, x_hz));
    double shaper = options->shaper_on != NULL ? cabs(quell_shaper_response(options->shaper_on, x_hz)) : 1;
    double input = exp(fit->input_log_level + fit->input_slope * log(x_hz / fit->reference_hz)) * command;
    return log(density[bin] / (input * h * h * shaper * shaper + exp(fit->noise_log_level)));
}

/* The median of what is off over a side's bins, where enough of them are; else 0. */
static double side(const quell_density_fit *fit, const quell_spectrum *spectrum, const double *density,
                   const quell_modes_options *options, const double *command, size_t first, size_t last, double *work)
{
    quell_mode mode[QUELL_MODES_MAX];
    size_t count = 0, much = 0;
    double most = 0;
    for (size_t k = 0; k < fit->modes; k++)
        mode[k] = (quell_mode){.frequency_hz = fit->frequency_hz[k],
                               .damping_ratio = fit->damping_ratio[k],
                               .participation = fit->participation[k]};
    for (size_t k = 0; k < spectrum->bins; k++)
        most = fmax(most, command[k]);
    for (size_t k = first; k <= last && k < spectrum->bins; k++) {
        if (!(command[k] > LEAST_SHARE * most) || !(density[k] > 0))
            continue;
        double e = off(fit, mode, spectrum, density, options, command[k], k);
        much += fabs(e) > OFF_LEAST;
        work[count++] = e;
    }
    if (count < LEAST_BINS || (double)much < OFF_SHARE * (double)count)
        return 0;
    gsl_sort(work, 1, count);
    return fabs(work[count - 1]) > fabs(work[0]) ? work[count - 1] : work[0];
}

quell_status quell_sweep_beyond_find(quell_sweep_beyond *out, const quell_modes *modes, const quell_spectrum *spectrum, size_t axis,
                                     const quell_modes_options *options, quell_error *err)
{
    const quell_shaking *shaking = options->shaking;
    double *command = NULL;
    *out = (quell_sweep_beyond){0};
    if (axis >= spectrum->axes || modes->density[axis].modes == 0 || shaking == NULL || shaking->kind != QUELL_EXCITE_SWEEP)
        return QUELL_OK;
    const quell_sweep *sweep = shaking->seen.end_hz > 0 ? &shaking->seen : &shaking->sweep;
    quell_status status = quell_options_command(spectrum, options, &command, err);
    double *work = command != NULL ? quell_memory_get(spectrum->bins * sizeof *work) : NULL;
    if (status == QUELL_OK && command != NULL && work == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a sweep's ends");
    if (status == QUELL_OK && work != NULL) {
        const quell_density_fit *fit = &modes->density[axis];
        const double *density = spectrum->asd_m2ps3[axis];
        double bin_hz = spectrum->bin_hz, top = (double)(spectrum->bins - 1);
        size_t from = (size_t)(sweep->start_hz / bin_hz) + EDGE_BINS, to = (size_t)fmin(sweep->end_hz / bin_hz, top) - EDGE_BINS;
        size_t first = (size_t)(fit->band_hz[0] / bin_hz + 0.5), last = (size_t)(fit->band_hz[1] / bin_hz + 0.5);
        out->range_hz[0] = sweep->start_hz;
        out->range_hz[1] = sweep->end_hz;
        if (first > from)
            out->below = side(fit, spectrum, density, options, command, from, first - 1, work);
        if (to > last)
            out->above = side(fit, spectrum, density, options, command, last + 1, to, work);
    }
    quell_memory_free(work);
    quell_memory_free(command);
    return status;
}
