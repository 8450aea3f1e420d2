/* A synthetic recording: the plan of motion, the machine and the sensor run sample by sample. */
#include "simulate/simulate_private.h"

#include <math.h>

#define SAMPLES_MAX 1e8

static quell_status allocate(quell_simulated *out, quell_arena *arena, size_t samples, quell_error *err)
{
    out->time_s = QUELL_NEW(arena, double, samples);
    bool complete = out->time_s != NULL;
    for (size_t k = 0; k < 3; k++) {
        out->accel_mps2[k] = QUELL_NEW(arena, double, samples);
        complete = complete && out->accel_mps2[k] != NULL;
    }
    return complete ? QUELL_OK : quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu samples", samples);
}

static void run(const quell_simulation *setup, const simulate_plan *plan, simulate_sensor *sensor,
                size_t samples, quell_simulated *made)
{
    simulate_machine machine;
    simulate_machine_start(&machine, setup, plan);
    for (size_t i = 0; i < samples; i++) {
        double mean[3], seen[3], stamp;
        simulate_machine_advance(&machine, (double)(i + 1) * machine.interval_s, mean);
        if (!simulate_sensor_read(sensor, i, mean, &stamp, seen)) {
            made->lost++;
            continue;
        }
        made->time_s[made->count] = stamp;
        for (size_t k = 0; k < 3; k++)
            made->accel_mps2[k][made->count] = seen[k];
        made->count++;
    }
}

quell_status quell_simulate(const quell_simulation *setup, quell_arena *arena, quell_simulated *out,
                            quell_error *err)
{
    quell_simulated made = {0};
    simulate_plan plan = {0};
    simulate_sensor sensor = {0};
    double samples = 0;
    quell_status status = simulate_check(setup, err);
    if (status != QUELL_OK)
        return status;
    double interval = simulate_interval(setup);
    if (setup->motion == NULL && setup->excitation != QUELL_EXCITE_SWEEP && setup->seconds / interval > SAMPLES_MAX)
        return quell_fail(err, QUELL_E_MEMORY,
                          "recording has more than 100000000 samples, which is the most made");
    status = simulate_plan_make(setup, &plan, err);
    if (status != QUELL_OK)
        goto done;
    samples = floor(plan.length_s / interval);
    if (!(samples <= SAMPLES_MAX))
        status = quell_fail(err, QUELL_E_MEMORY,
                            "recording has more than 100000000 samples, which is the most made");
    else if (samples < 1)
        status = quell_fail(err, QUELL_E_USAGE, "recording is shorter than one sample, want a longer one");
    if (status == QUELL_OK)
        status = allocate(&made, arena, (size_t)samples, err);
    if (status == QUELL_OK)
        status = simulate_sensor_open(&sensor, setup, err);
    if (status != QUELL_OK)
        goto done;
    run(setup, &plan, &sensor, (size_t)samples, &made);
    made.start_s = plan.start_s;
    made.end_s = plan.end_s;
    made.rate_hz = 1 / interval;
    *out = made;
done:
    simulate_sensor_close(&sensor);
    simulate_plan_free(&plan);
    return status;
}
