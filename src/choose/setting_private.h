/* The controller's own terms: what it is told, and what it makes of it. */
#ifndef QUELL_CHOOSE_SETTING_PRIVATE_H
#define QUELL_CHOOSE_SETTING_PRIVATE_H

#include "quell/choose.h"

/* What the controller is told, in its own reading and units, after rounding to its steps. */
typedef struct setting_told {
    double frequency; /* frequency-unit: Hz, rad/s or s */
    int frequency_decimals;
    double damping; /* damping-unit: ratio, percent or Q */
    int damping_decimals;
} setting_told;

/* How a wanted frequency that falls between two steps is rounded. */
typedef enum setting_rounding { SETTING_NEAREST, SETTING_DOWN } setting_rounding;

/* What to tell so that the controller comes nearest to this natural frequency and damping ratio. A reading that is
   not known is taken as natural. */
setting_told setting_tell(const quell_controller *controller, double natural_hz, double damping_ratio,
                          setting_rounding rounding);

/* One step of frequency lower than told. */
setting_told setting_step_down(const quell_controller *controller, setting_told told);

/* What a controller that reads frequencies so makes of it. damping_ratio is what it uses, told or not. */
double setting_damping_ratio(const quell_controller *controller, const setting_told *told);
double setting_natural_hz(const quell_controller *controller, const setting_told *told, double damping_ratio,
                          quell_reading reading);

#endif
