/* What the builders of motion share. */
#ifndef QUELL_MOTION_PRIVATE_H
#define QUELL_MOTION_PRIVATE_H

#include "quell/motion.h"

/* Refuses a value that is not finite and > 0 (or >= 0 where zero is allowed), naming it and its unit. */
quell_status quell_motion_require(double value, bool zero_allowed, const char *name, const char *unit,
                                  quell_error *err);

/* Appends a step of acceleration at time_s, which may not be before the last event. */
quell_status quell_motion_step(quell_motion_list *list, double time_s, double acceleration_mps2,
                               quell_error *err);

#endif
