/* Strokes at the working speed with dwells in which the ringing dies away. A ramp that lasts a whole number of a mode's periods
   leaves no ringing of it (|sin(pi f T)| = 0, T = speed / acceleration), so the speed changes from stroke to stroke. */
#include "motion/program_private.h"

#include <math.h>

#define CRUISE_S 0.2         /* at the highest speed, between the ramps */
#define TIME_CONSTANTS 5.0   /* of the mode that rings longest: it falls to 0.7 % */
#define DWELL_LEAST_S 0.3
#define DWELL_MOST_S 60.0

/* Of the working speed. */
static const double share[] = {1, 0.79, 0.91, 0.70};
enum { SHARES = sizeof share / sizeof share[0] };

static quell_status dwell_of(const quell_test_motion *asked, double *out, quell_error *err)
{
    double hz = asked->lowest_hz, zeta = asked->lowest_damping_ratio;
    if (!(hz >= 1 && hz <= 1e4 && zeta > 0 && zeta < 1))
        return quell_fail(err, QUELL_E_USAGE,
                          "the mode that rings longest is %s Hz with a damping ratio of %s, want 1 to 10000 Hz, and a ratio above "
                          "0 and below 1",
                          quell_number_short(hz, 5).text, quell_number_short(zeta, 5).text);
    *out = fmax(TIME_CONSTANTS / (zeta * QUELL_TAU * hz), DWELL_LEAST_S);
    if (*out > DWELL_MOST_S)
        return quell_fail(err, QUELL_E_USAGE, "a mode of %s Hz with a damping ratio of %s rings for %s s, want at most %g s",
                          quell_number_short(hz, 5).text, quell_number_short(zeta, 5).text, quell_number_short(*out, 3).text,
                          DWELL_MOST_S);
    return QUELL_OK;
}

quell_status program_stops(program_builder *builder, quell_error *err)
{
    quell_program *made = &builder->made;
    const quell_test_motion *asked = &made->asked;
    double speed = asked->speed_mps, ramps_m = speed * speed / asked->acceleration_mps2;
    quell_status status = dwell_of(asked, &made->dwell_s, err);
    if (status != QUELL_OK)
        return status;
    double steps = fmin(ceil((ramps_m + CRUISE_S * speed) / builder->step_m), (double)builder->room);
    if (steps * builder->step_m < ramps_m)
        return quell_fail(err, QUELL_E_USAGE,
                          "%s mm/s takes %s mm to reach and to leave, and the travel holds %s mm: state more travel, a lower speed "
                          "or a higher acceleration",
                          quell_number_short(1e3 * speed, 4).text, quell_number_short(1e3 * ramps_m, 4).text,
                          quell_number_short(1e3 * builder->room * builder->step_m, 4).text);
    status = program_preamble(builder, (int32_t)steps, err);
    for (size_t i = 0; status == QUELL_OK; i++) {
        bool back = i % 2 == 1, enough = builder->time_s - made->start_s >= asked->seconds - made->dwell_s;
        double at = speed * share[i % SHARES];
        if (back && enough)
            return program_end(builder, 0, at, made->dwell_s, err);
        status = program_go(builder, back ? 0 : (int32_t)steps, at, made->dwell_s, err);
    }
    return status;
}
