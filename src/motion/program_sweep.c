/* The sweep on a grid of motor steps. A stroke of few steps has few frequencies, so the remainder of each rounding is carried on
   to the next cycle: the law holds on average where it cannot hold cycle by cycle. */
#include "motion/program_private.h"

#include <math.h>

/* The most steps of a stroke that speed and travel allow. */
static double most_steps(const program_builder *builder)
{
    const quell_test_motion *asked = &builder->made.asked;
    double fast = asked->speed_mps * asked->speed_mps / asked->acceleration_mps2 / builder->step_m;
    return fmin(floor(fast * (1 + 1e-9)), (double)builder->room);
}

static quell_status check(const program_builder *builder, quell_error *err)
{
    const quell_test_motion *asked = &builder->made.asked;
    const quell_sweep sweep = {asked->range_hz[0], asked->range_hz[1], asked->rate_hz_per_s, asked->acceleration_mps2};
    quell_status status = program_check_range(builder, err);
    return status == QUELL_OK ? quell_motion_check_sweep(&sweep, err) : status;
}

/* Of a stroke as it was written. */
static double frequency_of(const quell_program *made, size_t i)
{
    return sqrt(made->asked.acceleration_mps2 / (16 * fabs(made->move[i].to_m - made->move[i - 1].to_m)));
}

quell_status program_sweep(program_builder *builder, quell_error *err)
{
    quell_program *made = &builder->made;
    const quell_test_motion *asked = &made->asked;
    quell_status status = check(builder, err);
    if (status != QUELL_OK)
        return status;
    double most = most_steps(builder), carried = 0, frequency = asked->range_hz[0];
    status = program_preamble(builder, (int32_t)fmin(ceil(program_steps_at(builder, frequency)), most), err);
    while (status == QUELL_OK) {
        double wanted = program_steps_at(builder, frequency) + carried;
        double steps = fmax(fmin(floor(wanted + 0.5), most), QUELL_STROKE_STEPS_MIN);
        carried = fmax(fmin(wanted - steps, 0.5), -0.5);
        status = program_go(builder, (int32_t)steps, asked->speed_mps, 0, err);
        if (status != QUELL_OK)
            return status;
        double period = 4 * sqrt(fabs(made->move[made->count - 1].to_m) / asked->acceleration_mps2);
        double next = asked->range_hz[0] + asked->rate_hz_per_s * (builder->time_s - made->start_s + period / 2);
        if (next > asked->range_hz[1])
            break;
        status = program_go(builder, 0, asked->speed_mps, 0, err);
        frequency = next;
    }
    if (status == QUELL_OK)
        status = program_end(builder, 0, asked->speed_mps, 0, err);
    if (status != QUELL_OK)
        return status;
    made->range_hz[0] = frequency_of(made, made->first);
    made->range_hz[1] = frequency_of(made, made->last);
    made->rate_hz_per_s = asked->rate_hz_per_s;
    return QUELL_OK;
}
