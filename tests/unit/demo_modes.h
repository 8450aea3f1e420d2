/* The demo machine's modes (the design's scenario, invented) with intervals of 1 % in frequency and 20 % in damping. */
#ifndef QUELL_TESTS_DEMO_MODES_H
#define QUELL_TESTS_DEMO_MODES_H

#include "quell/choose.h"

#include <math.h>
#include <string.h>

static inline quell_mode demo_mode(double frequency_hz, double damping_ratio, double participation)
{
    return (quell_mode){.frequency_hz = frequency_hz,
                        .frequency_ci95_hz = {0.99 * frequency_hz, 1.01 * frequency_hz},
                        .damping_ratio = damping_ratio,
                        .damping_ratio_ci95 = {0.8 * damping_ratio, 1.2 * damping_ratio},
                        .participation = participation,
                        .participation_ci95 = {0.9 * participation, 1.1 * participation}};
}

static inline quell_modes demo_modes(char axis)
{
    if (axis == 'x')
        return (quell_modes){.count = 2, .mode = {demo_mode(47.3, 0.046, 1), demo_mode(83.5, 0.028, 0.22)}};
    return (quell_modes){.count = 1, .mode = {demo_mode(31.8, 0.062, 1)}};
}

/* Its controller: zv zvd ei, frequencies in steps of 0.1 Hz, free damping, V = 0.05; limits 10 % and 0.15 mm. */
static inline quell_machine demo_machine(void)
{
    quell_machine machine;
    quell_machine_unknown(&machine);
    static const char *const family[] = {"zv", "zvd", "ei"};
    for (size_t i = 0; i < 3; i++) {
        memcpy(machine.controller.accepted[i], family[i], strlen(family[i]) + 1);
        machine.controller.name[i][0] = "ABC"[i];
    }
    machine.controller.accepted_count = 3;
    machine.controller.frequency_step_hz = 0.1;
    machine.controller.tolerance = 0.05;
    static const char setting[] = "axis {axis} type {name} at {frequency} damping {damping_ratio}";
    memcpy(machine.controller.setting, setting, sizeof setting);
    machine.axis[0].acceleration_mps2 = 6;
    machine.axis[1].acceleration_mps2 = 4;
    machine.axis[0].speed_mps = machine.axis[1].speed_mps = 0.2;
    machine.corner_speed_mps = 0.008;
    machine.rounding_limit_m = 0.15e-3;
    machine.residual_limit = 0.1;
    return machine;
}

static inline quell_need demo_need(char axis, const quell_modes *modes)
{
    return (quell_need){.axis = axis, .modes = modes, .drift = 0.03, .residual_limit = (double)NAN};
}

#endif
