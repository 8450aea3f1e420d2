/* Lines known from a recording at rest: what they make up of a spectrum is no mode, whatever its shape. */
#include "modes_private.h"

#include <math.h>

#define DRIFT 0.01    /* how far a fan's speed may have moved since, as a share */
#define EXPLAINED 4.0 /* times the tone's own density: where there is more, something else rings there, too */

enum { REACH_LEAST = 1 };

/* The bin where a tone of about that frequency is. */
static size_t find_bin(const quell_spectrum *spectrum, const double *density, double hz)
{
    double at = hz / spectrum->bin_hz, reach = fmax(DRIFT * at, REACH_LEAST),
           last = (double)spectrum->bins - 2;
    if (!(at >= 1 && at <= last))
        return 0;
    size_t from = (size_t)fmax(floor(at - reach + 0.5), 1), to = (size_t)fmin(at + reach + 0.5, last),
           most = from;
    for (size_t k = from; k <= to; k++)
        most = density[k] > density[most] ? k : most;
    return most;
}

bool quell_known_line_explains(const quell_spectrum *spectrum, size_t axis, const quell_known_line *line,
                               size_t *bin)
{
    const double *density = spectrum->asd_m2ps3[axis];
    size_t at = find_bin(spectrum, density, line->frequency_hz);
    double alone = 0.5 * line->amplitude_mps2 * line->amplitude_mps2 / spectrum->enbw_hz;
    if (bin != NULL)
        *bin = at;
    return at > 0 && density[at] <= EXPLAINED * alone;
}

void quell_known_lines_mask(quell_mode_search *search, const quell_modes_options *options)
{
    const quell_spectrum *spectrum = search->spectrum;
    for (size_t i = 0; i < options->line_count; i++) {
        size_t bin, first, last;
        if (!quell_known_line_explains(spectrum, search->axis, &options->line[i], &bin))
            continue;
        quell_line_extent(spectrum, spectrum->asd_m2ps3[search->axis], bin, &first, &last);
        for (size_t k = first; k <= last; k++)
            search->problem.masked[k] = true;
        for (size_t p = 0; p < search->peaks; p++)
            if (search->peak[p].bin >= first && search->peak[p].bin <= last)
                search->peak[p].line = true;
    }
}
