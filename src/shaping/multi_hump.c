/* Two- and three-hump EI: four and five impulses, exact zeros, and every hump between them exactly V high.

   Source: Singhose, Porter, Tuttle and Singer, ASME J. Dyn. Syst. Meas. Control 119(2), 1997. */
#include "shaping/shaping_private.h"

quell_status quell_design_two_hump(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    return quell_hump_design(out, 3, false, "two-hump EI", at, err);
}

quell_status quell_design_three_hump(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    return quell_hump_design(out, 4, false, "three-hump EI", at, err);
}
