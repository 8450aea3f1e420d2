/* What is commanded: the preamble, then a sweep, random acceleration or stops, then rest; or ambient shaking alone. */
#include "simulate/simulate_private.h"

#include <math.h>

/* Commanded motion is followed by rest, in which ringing dies away. */
#define REST_AFTER_S 1.0

double simulate_interval(const quell_simulation *setup)
{
    return 1 / (setup->rate_hz * (1 + setup->clock_error));
}

quell_random *simulate_random(uint64_t seed, unsigned stream)
{
    /* Neighbouring seeds must give unrelated streams: Steele, Lea and Flood's mixing function (OOPSLA 2014),
       constants from memory. The generator takes 32 bits. */
    uint64_t mixed = seed * 16 + stream + UINT64_C(0x9e3779b97f4a7c15);
    mixed = (mixed ^ (mixed >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    mixed = (mixed ^ (mixed >> 27)) * UINT64_C(0x94d049bb133111eb);
    return quell_random_create((mixed ^ (mixed >> 31)) & UINT64_C(0xffffffff));
}

/* White acceleration as straight lines between random values (first-order hold), from 0 to 0. With `fine` values a
   sample their standard deviation is rms * sqrt(fine): the density at low frequency is then rms^2 / (rate / 2). */
static quell_status add_white(const quell_simulation *setup, unsigned stream, quell_motion_list *list,
                              quell_error *err)
{
    size_t fine = setup->oversample > 0 ? setup->oversample : 1;
    double interval = simulate_interval(setup), start = list->end_s;
    double step = interval / (double)fine, deviation = setup->random_rms_mps2 * sqrt((double)fine);
    double steps = floor(setup->seconds / step);
    if (steps < 2)
        return quell_fail(err, QUELL_E_USAGE, "excitation is shorter than two samples, want a longer one");
    quell_random *random = simulate_random(setup->seed, stream);
    if (random == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory");
    quell_status status = QUELL_OK;
    double value = 0, jerk = 0;
    for (double i = 0; i < steps && status == QUELL_OK; i++) {
        double next = i + 1 < steps ? deviation * quell_random_normal(random) : 0;
        double wanted = (next - value) / step;
        status = quell_motion_add_event(list, 0, 0, wanted - jerk, err);
        jerk += wanted - jerk; /* what the walk along the events will make of it */
        value = next;
        list->end_s = start + (i + 1) * step;
    }
    if (status == QUELL_OK)
        status = quell_motion_add_event(list, 0, 0, -jerk, err);
    quell_random_destroy(random);
    return status;
}

/* Strokes there and back until the time is used up. */
static quell_status add_stops(const quell_simulation *setup, quell_motion_list *list, quell_error *err)
{
    double start = list->end_s, length = setup->stroke_m;
    quell_status status = QUELL_OK;
    for (bool back = false; status == QUELL_OK && (back || list->end_s - start < setup->seconds);
         back = !back) {
        status = quell_motion_add_stroke(list, length, setup->speed_mps, setup->acceleration_mps2, err);
        quell_motion_add_rest(list, setup->dwell_s);
        length = -length;
    }
    return status;
}

static quell_status plan_given(const quell_simulation *setup, simulate_plan *plan, quell_error *err)
{
    const quell_planned_motion *given = setup->motion;
    quell_motion_list *list = &plan->drive[0];
    quell_status status = QUELL_OK;
    plan->drives = 1;
    for (size_t i = 0; i < given->list.count && status == QUELL_OK; i++) {
        const quell_event *event = &given->list.event[i];
        list->end_s = event->time_s;
        status = quell_motion_add_event(list, event->velocity_mps, event->acceleration_mps2, event->jerk_mps3, err);
    }
    plan->start_s = given->start_s;
    plan->end_s = given->end_s;
    double through_shaper = setup->shaper != NULL ? setup->shaper->time_s[setup->shaper->count - 1] : 0;
    plan->length_s = given->list.end_s + through_shaper + REST_AFTER_S;
    return status;
}

static quell_status plan_motion(const quell_simulation *setup, simulate_plan *plan, quell_error *err)
{
    quell_motion_list *list = &plan->drive[0];
    plan->drives = 1;
    quell_status status = quell_motion_add_preamble(list, &setup->preamble, err);
    plan->start_s = list->end_s;
    if (status != QUELL_OK)
        return status;
    if (setup->excitation == QUELL_EXCITE_SWEEP)
        status = quell_motion_add_sweep(list, &setup->sweep, err);
    else if (setup->excitation == QUELL_EXCITE_STOPS)
        status = add_stops(setup, list, err);
    else
        status = add_white(setup, SIMULATE_EXCITATION, list, err);
    plan->end_s = list->end_s;
    double through_shaper = setup->shaper != NULL ? setup->shaper->time_s[setup->shaper->count - 1] : 0;
    plan->length_s = plan->end_s + through_shaper + REST_AFTER_S;
    return status;
}

static quell_status plan_ambient(const quell_simulation *setup, simulate_plan *plan, quell_error *err)
{
    plan->drives = setup->modes;
    plan->end_s = plan->length_s = setup->seconds;
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < setup->modes && status == QUELL_OK; i++)
        status = add_white(setup, SIMULATE_EXCITATION + (unsigned)i, &plan->drive[i], err);
    return status;
}

quell_status simulate_plan_make(const quell_simulation *setup, simulate_plan *out, quell_error *err)
{
    *out = (simulate_plan){0};
    if (setup->motion != NULL)
        return plan_given(setup, out, err);
    return setup->excitation == QUELL_EXCITE_AMBIENT ? plan_ambient(setup, out, err)
                                                     : plan_motion(setup, out, err);
}

void simulate_plan_free(simulate_plan *plan)
{
    for (size_t i = 0; i < SIMULATE_MODES_MAX; i++)
        quell_motion_list_free(&plan->drive[i]);
}
