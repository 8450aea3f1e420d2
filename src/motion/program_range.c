/* The frequencies that strokes of constant acceleration can have: a stroke of length d takes half a period of f = sqrt(a / (16 d))
   and peaks at a / (4 f). Derived. */
#include "motion/program_private.h"

#include <math.h>

#define LOWEST_HZ 5.0
#define HIGHEST_HZ 150.0
#define HAIR 1e-9 /* for what is met to the last digit */

double program_steps_at(const program_builder *builder, double frequency_hz)
{
    return builder->made.asked.acceleration_mps2 / (16 * frequency_hz * frequency_hz) / builder->step_m;
}

static double frequency_of(const program_builder *builder, double steps)
{
    return sqrt(builder->made.asked.acceleration_mps2 / (16 * steps * builder->step_m));
}

/* Downwards to what is meant to be read. */
static double tidy(double value, bool up)
{
    double digit = pow(10, floor(log10(value)) - 2);
    return (up ? ceil(value / digit - HAIR) : floor(value / digit + HAIR)) * digit;
}

static double lowest_by_speed(const quell_test_motion *asked)
{
    return asked->acceleration_mps2 / (4 * asked->speed_mps);
}

void quell_program_range(const quell_test_motion *asked, double range_hz[2])
{
    program_builder builder;
    range_hz[0] = 1;
    range_hz[1] = 0;
    if (program_begin(&builder, asked, NULL, NULL) != QUELL_OK)
        return;
    double low = fmax(lowest_by_speed(&builder.made.asked), frequency_of(&builder, builder.room));
    range_hz[0] = tidy(fmax(low, LOWEST_HZ), true);
    range_hz[1] = tidy(fmin(frequency_of(&builder, QUELL_STROKE_STEPS_MIN), HIGHEST_HZ), false);
}

static double acceleration_for(const program_builder *builder, double hz)
{
    return tidy(16 * hz * hz * QUELL_STROKE_STEPS_MIN * builder->step_m, true);
}

void quell_program_reach(const quell_test_motion *asked, double hz, double *acceleration_mps2, double *step_m)
{
    program_builder builder;
    *acceleration_mps2 = *step_m = (double)NAN;
    if (program_begin(&builder, asked, NULL, NULL) != QUELL_OK)
        return;
    *acceleration_mps2 = acceleration_for(&builder, hz);
    *step_m = tidy(asked->step_m * program_steps_at(&builder, hz) / QUELL_STROKE_STEPS_MIN, false);
}

static quell_status refuse_high(const program_builder *builder, double hz, quell_error *err)
{
    return quell_fail(err, QUELL_E_USAGE,
                      "strokes at %s Hz are %s motor steps long, want %d or more: end at %s Hz, or set and state an acceleration "
                      "of %s mm/s2",
                      quell_number_short(hz, 4).text, quell_number_short(program_steps_at(builder, hz), 2).text,
                      QUELL_STROKE_STEPS_MIN,
                      quell_number_short(tidy(frequency_of(builder, QUELL_STROKE_STEPS_MIN), false), 6).text,
                      quell_number_short(1e3 * acceleration_for(builder, hz), 6).text);
}

quell_status program_check_range(const program_builder *builder, quell_error *err)
{
    const quell_test_motion *asked = &builder->made.asked;
    double low = asked->range_hz[0], high = asked->range_hz[1], acceleration = asked->acceleration_mps2;
    if (!(low > 0 && high > low && high <= 1e4))
        return quell_fail(err, QUELL_E_USAGE, "frequencies run from %s Hz to %s Hz, want the second above the first, up to 10000 Hz",
                          quell_number_short(low, 5).text, quell_number_short(high, 5).text);
    if (program_steps_at(builder, high) < QUELL_STROKE_STEPS_MIN * (1 - HAIR))
        return refuse_high(builder, high, err);
    if (lowest_by_speed(asked) > low * (1 + HAIR))
        return quell_fail(err, QUELL_E_USAGE, "strokes at %s Hz peak at %s mm/s, want at most %s: begin at %s Hz",
                          quell_number_short(low, 4).text, quell_number_short(1e3 * acceleration / (4 * low), 4).text,
                          quell_number_short(1e3 * asked->speed_mps, 4).text,
                          quell_number_short(tidy(lowest_by_speed(asked), true), 6).text);
    if (program_steps_at(builder, low) > (double)builder->room)
        return quell_fail(err, QUELL_E_USAGE, "strokes at %s Hz are %s mm long, and the travel holds %s mm: begin at %s Hz",
                          quell_number_short(low, 4).text, quell_number_short(1e3 * acceleration / (16 * low * low), 4).text,
                          quell_number_short(1e3 * builder->room * builder->step_m, 4).text,
                          quell_number_short(tidy(frequency_of(builder, builder->room), true), 6).text);
    return QUELL_OK;
}
