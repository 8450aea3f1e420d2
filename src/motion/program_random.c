/* Random strokes: there and back, each of a frequency drawn from the range, wandering over the travel. */
#include "motion/program_private.h"

#include <math.h>

#define WANDER 3.0 /* times the longest stroke: room to wander in */

static int32_t draw(const program_builder *builder, quell_random *random, int32_t longest)
{
    double hz = quell_motion_draw_hz(builder->made.asked.range_hz, random);
    double steps = floor(program_steps_at(builder, hz) + 0.5);
    return (int32_t)fmax(fmin(steps, (double)longest), QUELL_STROKE_STEPS_MIN);
}

static quell_status wander(program_builder *builder, quell_random *random, int32_t longest, quell_error *err)
{
    const quell_test_motion *asked = &builder->made.asked;
    double start_s = builder->time_s;
    quell_status status = QUELL_OK;
    while (status == QUELL_OK) {
        int32_t up = draw(builder, random, longest), most = builder->reach - builder->place;
        status = program_go(builder, builder->place + (up < most ? up : most), asked->speed_mps, 0, err);
        if (status != QUELL_OK || builder->time_s - start_s >= asked->seconds)
            break;
        int32_t down = draw(builder, random, longest);
        status = program_go(builder, builder->place - (down < builder->place ? down : builder->place), asked->speed_mps, 0, err);
    }
    return status;
}

quell_status program_random(program_builder *builder, quell_error *err)
{
    const quell_test_motion *asked = &builder->made.asked;
    quell_status status = program_check_range(builder, err);
    if (status != QUELL_OK)
        return status;
    double fast = asked->speed_mps * asked->speed_mps / asked->acceleration_mps2 / builder->step_m;
    double longest = fmin(floor(fast * (1 + 1e-9)), ceil(program_steps_at(builder, asked->range_hz[0])));
    longest = fmin(longest, (double)builder->room);
    status = program_preamble(builder, (int32_t)fmin(ceil(WANDER * longest), (double)builder->room), err);
    if (status != QUELL_OK)
        return status;
    quell_random *random = quell_random_create(asked->seed);
    if (random == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for random strokes");
    status = wander(builder, random, (int32_t)longest, err);
    quell_random_destroy(random);
    /* The last stroke went towards +: one more leads back to the start. */
    return status == QUELL_OK ? program_end(builder, 0, asked->speed_mps, 0, err) : status;
}
