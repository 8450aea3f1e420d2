/* EI: three impulses, the residual V at the design mode and exactly 0 at two frequencies beside it.

   Defined by: last impulse after one damped period, residual V at the design mode, two exact zeros. (A hump that is
   stationary at the design mode is another shaper: its last impulse comes before the period is over.)
   Source: Singhose, Seering and Singer, ASME J. Mech. Design 116(2), 1994; the damped constraints are those whose
   solution Singhose, Derezinski and Singer, AIAA J. Guidance 19(2), 1996, fitted. */
#include "shaping/shaping_private.h"

quell_status quell_design_ei(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    return quell_hump_design(out, 2, true, "EI", at, err);
}
