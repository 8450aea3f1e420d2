/* One mode under events of motion, by GSL's integrator of differential equations: for suites of what quell has in closed form. */
#ifndef QUELL_TESTS_OSCILLATOR_H
#define QUELL_TESTS_OSCILLATOR_H

#include "suites.h"

#include "quell/motion.h"
#include "quell/modes.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>

/* q'' = -2 z w q' - w^2 q - c (a + j t), by GSL's integrator: shares no code with predict. */
typedef struct oscillator {
    double w, z, c, acceleration, jerk, since;
} oscillator;

static inline int oscillator_rates(double t, const double y[], double rate[], void *context)
{
    const oscillator *o = context;
    rate[0] = y[1];
    rate[1] =
        -2 * o->z * o->w * y[1] - o->w * o->w * y[0] - o->c * (o->acceleration + o->jerk * (t - o->since));
    return GSL_SUCCESS;
}

/* q and q' at end_s after the events (copied once per impulse by the caller, in order of time); held_mps2: acceleration that has
   been there since long before. */
static inline void integrate(const quell_mode *mode, const quell_event *event, size_t count, double held_mps2, double end_s,
                             double y[2])
{
    oscillator o = {QUELL_TAU * mode->frequency_hz, mode->damping_ratio, mode->participation, held_mps2, 0, event[0].time_s};
    gsl_odeiv2_system system = {oscillator_rates, NULL, 2, &o};
    gsl_odeiv2_driver *driver =
        gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 1e-5, 1e-18, 1e-12);
    double t = event[0].time_s;
    y[0] = -o.c * held_mps2 / (o.w * o.w);
    y[1] = 0;
    for (size_t i = 0; i <= count; i++) {
        double until = i < count && event[i].time_s <= end_s ? event[i].time_s : end_s;
        if (until > t)
            ck_assert_int_eq(gsl_odeiv2_driver_apply(driver, &t, until, y), GSL_SUCCESS);
        if (i == count || event[i].time_s > end_s)
            break;
        o.acceleration += o.jerk * (until - o.since) + event[i].acceleration_mps2;
        o.jerk += event[i].jerk_mps3;
        o.since = until;
        y[1] -= o.c * event[i].velocity_mps;
        gsl_odeiv2_driver_reset(driver);
    }
    gsl_odeiv2_driver_free(driver);
}

#endif
