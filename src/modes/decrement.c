/* Logarithmic decrement and damping ratio: d = 2 pi z / sqrt(1 - z^2), z = d / sqrt(4 pi^2 + d^2). */
#include "quell/modes.h"

#include <math.h>

double quell_damping_from_decrement(double decrement)
{
    return decrement / hypot(QUELL_TAU, decrement);
}

double quell_decrement_from_damping(double damping_ratio)
{
    return QUELL_TAU * damping_ratio / sqrt((1 - damping_ratio) * (1 + damping_ratio));
}
