/* Random strokes: there and back, each of a frequency drawn from a range. */
#include "motion/motion_private.h"

#include <math.h>

#define STROKES_MAX 1e7

/* Strokes of a frequency leave a density about it that goes by their number over its square and over the width, its own, that it is
   spread over. What neighbours add shifts the exponent that levels it; this one is by simulation. */
#define POWER 1.5

quell_status quell_motion_check_random(const double range_hz[2], quell_error *err)
{
    quell_status status = quell_motion_require(range_hz[0], false, "lowest frequency of random strokes", "Hz", err);
    if (status == QUELL_OK)
        status = quell_motion_require(range_hz[1], false, "highest frequency of random strokes", "Hz", err);
    if (status == QUELL_OK && !(range_hz[1] > range_hz[0]))
        status = quell_fail(err, QUELL_E_USAGE, "random strokes run from %s Hz to %s Hz, want the end above the start",
                            quell_number_short(range_hz[0], 6).text, quell_number_short(range_hz[1], 6).text);
    return status;
}

double quell_motion_draw_hz(const double range_hz[2], quell_random *random)
{
    double low = pow(range_hz[0], POWER), high = pow(range_hz[1], POWER);
    return pow(low + (high - low) * quell_random_uniform(random), 1 / POWER);
}

/* Every stroke brakes as the next one, the other way, starts: one event in the middle of each is all there is. */
static quell_status add(quell_motion_list *list, const double range_hz[2], double acceleration, double seconds,
                        quell_random *random, quell_error *err)
{
    double start = list->end_s, towards = acceleration;
    quell_status status = quell_motion_step(list, start, towards, err);
    while (status == QUELL_OK && list->end_s - start < seconds) {
        double stroke_s = 0.5 / quell_motion_draw_hz(range_hz, random);
        status = quell_motion_step(list, list->end_s + stroke_s / 2, -2 * towards, err);
        list->end_s += stroke_s;
        towards = -towards;
    }
    return status == QUELL_OK ? quell_motion_step(list, list->end_s, -towards, err) : status;
}

quell_status quell_motion_add_random(quell_motion_list *list, const double range_hz[2], double acceleration_mps2, double seconds,
                                     uint64_t seed, quell_error *err)
{
    quell_status status = quell_motion_check_random(range_hz, err);
    if (status == QUELL_OK)
        status = quell_motion_require(acceleration_mps2, false, "acceleration of random strokes", "m/s2", err);
    if (status == QUELL_OK)
        status = quell_motion_require(seconds, false, "length of random strokes", "s", err);
    if (status == QUELL_OK && !(2 * range_hz[1] * seconds <= STROKES_MAX))
        status = quell_fail(err, QUELL_E_USAGE, "random strokes of up to %s Hz for %s s may be more than 10000000",
                            quell_number_short(range_hz[1], 6).text, quell_number_short(seconds, 6).text);
    if (status != QUELL_OK)
        return status;
    quell_random *random = quell_random_create(seed);
    if (random == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for random strokes");
    status = add(list, range_hz, acceleration_mps2, seconds, random, err);
    quell_random_destroy(random);
    return status;
}
