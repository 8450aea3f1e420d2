/* How far modes are deflected from moment to moment: each one's ringing is a phasor that turns and decays, to which every event
   adds, about what the acceleration of the moment holds. */
#include "quell/predict.h"

#include <math.h>
#include <string.h>

static const double complex j = (double complex)I;

/* Adds one mode's deflection and envelope. */
static void add_mode(const quell_mode *mode, const quell_motion *motion, double held_mps2, double start_s, double step_s,
                     size_t count, double *deflection_m, double *envelope_m)
{
    double w = QUELL_TAU * mode->frequency_hz, zeta = mode->damping_ratio, c = mode->participation;
    double damped = w * sqrt((1 - zeta) * (1 + zeta));
    double complex s = -zeta * w + j * damped, phasor = 0;
    quell_motion_cursor cursor = {.motion = motion};
    size_t next = 0;
    double at_s = motion->count > 0 ? motion->event[0].time_s : start_s;
    for (size_t i = 0; i < count; i++) {
        double t = start_s + (double)i * step_s;
        for (; next < motion->count && motion->event[next].time_s <= t; next++) {
            const quell_event *event = &motion->event[next];
            phasor *= cexp(s * (event->time_s - at_s));
            phasor += j * c / damped * (event->velocity_mps + (event->acceleration_mps2 + event->jerk_mps3 / s) / s);
            at_s = event->time_s;
        }
        if (next > 0) {
            phasor *= cexp(s * (t - at_s));
            at_s = t;
        }
        quell_motion_state state = quell_motion_advance(&cursor, t);
        double a = held_mps2 + state.acceleration_mps2, b = state.jerk_mps3;
        deflection_m[i] += creal(phasor) - c * (a - 2 * zeta * b / w) / (w * w);
        if (envelope_m != NULL)
            envelope_m[i] += cabs(phasor);
    }
}

void quell_ringing_series(const quell_mode *mode, size_t modes, const quell_motion *motion, double held_mps2, double start_s,
                          double step_s, size_t count, double *deflection_m, double *envelope_m)
{
    memset(deflection_m, 0, count * sizeof *deflection_m);
    if (envelope_m != NULL)
        memset(envelope_m, 0, count * sizeof *envelope_m);
    for (size_t k = 0; k < modes; k++)
        add_mode(&mode[k], motion, held_mps2, start_s, step_s, count, deflection_m, envelope_m);
}
