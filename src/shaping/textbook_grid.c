/* The grid on which textbook shapers are tried: of the logarithm of frequency, on which what a family leaves at one design is the
   same row of numbers shifted. */
#include "shaping/textbook_private.h"

#include <math.h>

#define STEP_MOST 0.008    /* of ln f */
#define POINTS_A_BAND 40.0 /* at least */
#define BELOW 0.45         /* design frequencies: from this times the lowest of all bands ... */
#define ABOVE 1.7          /* ... to this times the highest */

enum { FREQUENCIES_MOST = 2600 };

/* ---------------------------------------------------------------- components */

double textbook_measure(const quell_textbook_limits *limits, const quell_shaper *shaper)
{
    quell_shaper_moments moments = quell_shaper_measure(shaper);
    return limits->by_spread ? moments.spread_s * moments.spread_s : moments.duration_s;
}

static bool allowed(const textbook_hunt *in, const quell_family *family)
{
    const quell_textbook_limits *limits = in->limits;
    for (size_t i = 0; i < limits->families; i++)
        if (limits->family[i] == family)
            return true;
    return limits->families == 0 && (family->flags & (QUELL_FAMILY_NEGATIVE | QUELL_FAMILY_SMOOTH)) == 0;
}

static void add_component(textbook_hunt *in, const quell_family *family, double zeta, double tolerance)
{
    textbook_component *made = &in->component[in->components];
    quell_design_point at = {1, zeta, tolerance};
    if (in->components == TEXTBOOK_COMPONENTS || quell_shaper_design(&made->unit, family, &at, NULL) != QUELL_OK)
        return;
    made->family = family;
    made->zeta = zeta;
    made->tolerance = tolerance;
    made->measure = textbook_measure(in->limits, &made->unit);
    in->components++;
}

void textbook_list_components(textbook_hunt *in)
{
    size_t count;
    const quell_family *family = quell_families(&count);
    double low = 1, high = 0, limit = in->limits->residual_limit;
    for (size_t k = 0; k < in->bands->count; k++) {
        low = fmin(low, in->bands->band[k].damping_ratio[0]);
        high = fmax(high, in->bands->band[k].damping_ratio[1]);
    }
    const double zetas[] = {(low + high) / 2, low, high}, tolerances[] = {1, 0.7, 1.25, 0.4};
    size_t ways = high > low ? 3 : 1;
    for (size_t z = 0; z < ways; z++)
        for (size_t v = 0; v < 4; v++)
            for (size_t i = 0; i < count; i++) {
                bool humps = (family[i].flags & QUELL_FAMILY_TOLERANCE) != 0;
                double fixed = in->limits->tolerance, tolerance = fixed > 0 ? fixed : fmin(tolerances[v] * limit, QUELL_TOLERANCE_MAX);
                bool again = (!humps || fixed > 0) && v > 0;
                if (allowed(in, &family[i]) && !again)
                    add_component(in, &family[i], zetas[z], humps ? tolerance : QUELL_TOLERANCE_DEFAULT);
            }
}

/* ---------------------------------------------------------------- rows */

bool textbook_grid_fill(textbook_hunt *in)
{
    in->rows = quell_memory_get(in->components * in->zetas * in->row_length * sizeof *in->rows);
    for (size_t c = 0; c < in->components && in->rows != NULL; c++) {
        textbook_component *of = &in->component[c];
        of->row = in->rows + c * in->zetas * in->row_length;
        for (size_t z = 0; z < in->zetas; z++)
            for (size_t i = 0; i < in->row_length; i++) {
                double ratio = exp(in->step * ((double)i - (double)in->offset));
                of->row[z * in->row_length + i] = (float)quell_residual(&of->unit, ratio, in->zeta[z]);
            }
    }
    return in->rows != NULL;
}

void textbook_grid_lay(textbook_hunt *in)
{
    double low_hz = HUGE_VAL, high_hz = 0;
    const quell_bands *bands = in->bands;
    in->step = STEP_MOST;
    for (size_t k = 0; k < bands->count; k++) {
        const double *hz = bands->band[k].hz;
        low_hz = fmin(low_hz, hz[0]);
        high_hz = fmax(high_hz, hz[1]);
        in->step = fmin(in->step, fmax(log(hz[1] / hz[0]) / POINTS_A_BAND, 1e-6));
    }
    double octaves = log(high_hz / low_hz * ABOVE / BELOW);
    in->step = fmax(in->step, octaves / (FREQUENCIES_MOST - 2));
    in->first_hz = BELOW * low_hz;
    in->designs = (size_t)ceil(octaves / in->step) + 1;
    in->offset = in->designs;
    in->row_length = 2 * in->designs + 2;
    for (size_t k = 0; k < bands->count; k++)
        for (size_t z = 0; z < TEXTBOOK_DAMPINGS; z++) {
            const quell_band *band = &bands->band[k];
            double share = (double)z / (TEXTBOOK_DAMPINGS - 1);
            if (z > 0 && band->damping_ratio[0] == band->damping_ratio[1])
                break;
            in->zeta[in->zetas] = band->damping_ratio[0] + share * (band->damping_ratio[1] - band->damping_ratio[0]);
            in->strip[in->strips++] = (textbook_strip){k, in->zetas++, (size_t)ceil(log(band->hz[0] / in->first_hz) / in->step),
                                              (size_t)floor(log(band->hz[1] / in->first_hz) / in->step)};
        }
}

double textbook_grid_residual(const textbook_hunt *in, const textbook_found *of, double give_up)
{
    double worst[QUELL_TAILOR_BANDS_MAX] = {0}, total = 0;
    for (size_t s = 0; s < in->strips; s++) {
        const textbook_strip *at = &in->strip[s];
        const float *row[TEXTBOOK_PARTS];
        float most = 0;
        for (size_t p = 0; p < of->parts; p++)
            row[p] = in->component[of->component[p]].row + at->zeta * in->row_length + in->offset - of->frequency[p];
        if (of->parts == 1)
            for (size_t i = at->first; i <= at->last; i++)
                most = row[0][i] > most ? row[0][i] : most;
        else if (of->parts == 2)
            for (size_t i = at->first; i <= at->last; i++) {
                float left = row[0][i] * row[1][i];
                most = left > most ? left : most;
            }
        else
            for (size_t i = at->first; i <= at->last; i++) {
                float left = row[0][i] * row[1][i] * row[2][i];
                most = left > most ? left : most;
            }
        double *kept = &worst[at->band], more = fmax(0, (double)most - *kept);
        *kept += more;
        total = in->bands->weighted ? total + in->bands->band[at->band].weight * more : fmax(total, *kept);
        if (total > give_up)
            return total;
    }
    return total;
}
