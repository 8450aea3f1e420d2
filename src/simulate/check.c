/* Is a simulation possible? A table of the ranges of its numbers, then the few that depend on each other. */
#include "simulate/simulate_private.h"

#include <math.h>

typedef struct limits {
    const char *name, *unit;
    double low, high;
    bool low_open; /* low itself is out */
} limits;

static quell_status within(const limits *range, double value, quell_error *err)
{
    if (isfinite(value) && value <= range->high &&
        (range->low_open ? value > range->low : value >= range->low))
        return QUELL_OK;
    char found[32], low[32], high[32];
    quell_number_print(found, sizeof found, value, 6);
    quell_number_print(low, sizeof low, range->low, 6);
    quell_number_print(high, sizeof high, range->high, 6);
    const char *blank = range->unit[0] != '\0' ? " " : "";
    return quell_fail(err, QUELL_E_USAGE, "%s is %s%s%s, want %s%s to %s%s%s", range->name, found, blank,
                      range->unit, range->low_open ? "above " : "", low, high, blank, range->unit);
}

/* Numbers that matter whatever the excitation. */
static const struct {
    limits range;
    size_t offset;
} always[] = {
    {{"sampling rate", "Hz", 1, 1e7, false}, offsetof(quell_simulation, rate_hz)},
    {{"clock error", "", -0.5, 0.5, false}, offsetof(quell_simulation, clock_error)},
    {{"stamp jitter", "sample intervals", 0, 0.5, false}, offsetof(quell_simulation, jitter)},
    {{"share of lost samples", "", 0, 0.9, false}, offsetof(quell_simulation, lost)},
    {{"sensor noise", "m/s2/rtHz", 0, 1e3, false}, offsetof(quell_simulation, noise_mps2_per_rthz)},
    {{"quantisation step", "m/s2", 0, 1e3, false}, offsetof(quell_simulation, step_mps2)},
    {{"sensor range", "m/s2", 0, 1e6, false}, offsetof(quell_simulation, clip_mps2)},
};

static quell_status check_modes(const quell_simulation *setup, quell_error *err)
{
    static const limits frequency = {"frequency of a mode", "Hz", 0, 1e6, true};
    static const limits damping = {"damping ratio of a mode", "", 0, 0.99, false};
    static const limits participation = {"participation of a mode", "", -1e3, 1e3, false};
    if (setup->modes > SIMULATE_MODES_MAX)
        return quell_fail(err, QUELL_E_USAGE, "%zu modes, want at most %d", setup->modes, SIMULATE_MODES_MAX);
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < setup->modes && status == QUELL_OK; i++) {
        const quell_simulated_mode *mode = &setup->mode[i];
        status = within(&frequency, mode->frequency_hz, err);
        if (status == QUELL_OK)
            status = within(&damping, mode->damping_ratio, err);
        for (size_t k = 0; k < 3 && status == QUELL_OK; k++)
            status = within(&participation, mode->participation[k], err);
    }
    return status;
}

static quell_status check_lines(const quell_simulation *setup, quell_error *err)
{
    static const limits frequency = {"frequency of a line", "Hz", 0, 1e6, true};
    static const limits amplitude = {"amplitude of a line", "m/s2", 0, 1e6, false};
    static const limits direction = {"direction of a line", "", -1e3, 1e3, false};
    if (setup->lines > SIMULATE_LINES_MAX)
        return quell_fail(err, QUELL_E_USAGE, "%zu lines, want at most %d", setup->lines, SIMULATE_LINES_MAX);
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < setup->lines && status == QUELL_OK; i++) {
        status = within(&frequency, setup->line[i].frequency_hz, err);
        if (status == QUELL_OK)
            status = within(&amplitude, setup->line[i].amplitude_mps2, err);
        for (size_t k = 0; k < 3 && status == QUELL_OK; k++)
            status = within(&direction, setup->line[i].direction[k], err);
    }
    return status;
}

/* The sweep and the strokes are checked by the builders of motion. */
static quell_status check_excitation(const quell_simulation *setup, quell_error *err)
{
    static const limits seconds = {"length of the excitation", "s", 0, 1e6, true};
    static const limits level = {"level of the excitation", "m/s2", 0, 1e4, true};
    static const limits dwell = {"dwell after a stroke", "s", 0, 1e4, false};
    static const limits stroke = {"length of a stroke", "m", 0, 1e3, true};
    quell_excitation kind = setup->excitation;
    bool is_random = kind == QUELL_EXCITE_RANDOM || kind == QUELL_EXCITE_AMBIENT;
    quell_status status = kind == QUELL_EXCITE_SWEEP ? QUELL_OK : within(&seconds, setup->seconds, err);
    if (status == QUELL_OK && is_random)
        status = within(&level, setup->random_rms_mps2, err);
    if (status == QUELL_OK && is_random && setup->oversample > 64)
        status = quell_fail(err, QUELL_E_USAGE, "oversampling is %zu, want 0 to 64", setup->oversample);
    if (status == QUELL_OK && kind == QUELL_EXCITE_STOPS)
        status = within(&dwell, setup->dwell_s, err);
    if (status == QUELL_OK && kind == QUELL_EXCITE_STOPS)
        status = within(&stroke, setup->stroke_m, err);
    return status;
}

quell_status simulate_check(const quell_simulation *setup, quell_error *err)
{
    static const limits angle = {"angle of rotation", "rad", -100, 100, false};
    if (setup->axis != 'x' && setup->axis != 'y')
        return quell_fail(err, QUELL_E_USAGE, "driven axis is '%c', want x or y",
                          setup->axis >= ' ' && setup->axis <= '~' ? setup->axis : '?');
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < sizeof always / sizeof always[0] && status == QUELL_OK; i++)
        status = within(&always[i].range,
                        *(const double *)(const void *)((const char *)setup + always[i].offset), err);
    for (size_t k = 0; k < 3 && status == QUELL_OK; k++)
        status = within(&angle, setup->rotation_rad[k], err);
    if (status == QUELL_OK)
        status = check_modes(setup, err);
    if (status == QUELL_OK)
        status = check_lines(setup, err);
    if (status == QUELL_OK && setup->motion == NULL)
        status = check_excitation(setup, err);
    return status;
}
