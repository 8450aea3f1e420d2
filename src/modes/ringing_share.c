/* What a move of a mode's frequency does to the rotation of its ringing: the middle of the response behind the filter
   moves by a share of it. */
#include "modes_private.h"

#include <math.h>

/* Where the middle of the mode's response lies behind a filter about centre_hz. */
static double middle_hz(const quell_modes *modes, const quell_mode *mode, double factor, double centre_hz,
                        double spread_hz)
{
    quell_mode moved[QUELL_MODES_MAX];
    size_t count = 0;
    for (size_t k = 0; isfinite(mode->participation) && k < modes->count; k++)
        if (isfinite(modes->mode[k].participation) && modes->mode[k].seen_on == mode->seen_on) {
            moved[count] = modes->mode[k];
            moved[count++].frequency_hz *= &modes->mode[k] == mode ? factor : 1;
        }
    if (count == 0) {
        moved[0] = *mode;
        moved[0].participation = 1;
        moved[0].frequency_hz *= factor;
        count = 1;
    }
    double sum = 0, moment = 0;
    for (int i = -160; i <= 160; i++) {
        double off = i / 40.0, x = centre_hz + off * spread_hz;
        if (x <= 0)
            continue;
        double h = cabs(quell_response(moved, count, x)), weight = h * h * exp(-off * off);
        sum += weight;
        moment += weight * x;
    }
    return moment / sum;
}

double quell_ringing_share(const quell_modes *modes, const quell_mode *mode, double spread_hz)
{
    const double by = 0.005;
    double f = mode->frequency_hz;
    return (middle_hz(modes, mode, 1 + by, f, spread_hz) - middle_hz(modes, mode, 1 - by, f, spread_hz)) /
           (2 * by * f);
}
