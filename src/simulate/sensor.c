/* The sensor and its logger: mounting, gravity, lines, white noise, range, steps, stamps and losses. */
#include "simulate/simulate_private.h"

#include <math.h>

void quell_simulated_rotation(const double rotation_rad[3], double out[3][3])
{
    double ca = cos(rotation_rad[0]), sa = sin(rotation_rad[0]), cb = cos(rotation_rad[1]),
           sb = sin(rotation_rad[1]);
    double cc = cos(rotation_rad[2]), sc = sin(rotation_rad[2]);
    const double turn[3][3] = {
        {cc * cb, cc * sb * sa - sc * ca, cc * sb * ca + sc * sa},
        {sc * cb, sc * sb * sa + cc * ca, sc * sb * ca - cc * sa},
        {-sb, cb * sa, cb * ca},
    };
    for (size_t i = 0; i < 3; i++)
        for (size_t k = 0; k < 3; k++)
            out[i][k] = turn[i][k];
}

quell_status simulate_sensor_open(simulate_sensor *out, const quell_simulation *setup, quell_error *err)
{
    *out = (simulate_sensor){.setup = setup, .interval_s = simulate_interval(setup)};
    quell_simulated_rotation(setup->rotation_rad, out->turn);
    /* white noise of one-sided density n^2 has the variance n^2 rate / 2 when sampled */
    out->noise_mps2 = setup->noise_mps2_per_rthz * sqrt(0.5 / out->interval_s);
    out->noise = simulate_random(setup->seed, SIMULATE_NOISE);
    out->jitter = simulate_random(setup->seed, SIMULATE_JITTER);
    out->loss = simulate_random(setup->seed, SIMULATE_LOSS);
    quell_random *phase = simulate_random(setup->seed, SIMULATE_PHASE);
    if (phase != NULL)
        for (size_t i = 0; i < setup->lines; i++)
            out->phase_rad[i] = QUELL_TAU * quell_random_uniform(phase);
    bool complete = out->noise != NULL && out->jitter != NULL && out->loss != NULL && phase != NULL;
    quell_random_destroy(phase);
    return complete ? QUELL_OK : quell_fail(err, QUELL_E_MEMORY, "out of memory");
}

void simulate_sensor_close(simulate_sensor *sensor)
{
    quell_random_destroy(sensor->noise);
    quell_random_destroy(sensor->jitter);
    quell_random_destroy(sensor->loss);
}

/* A line's mean over the sample whose middle is at time_s: the tone times sin x / x. */
static double line_mean(const quell_line *line, double phase_rad, double time_s, double interval_s)
{
    double x = QUELL_PI * line->frequency_hz * interval_s;
    return line->amplitude_mps2 * sin(QUELL_TAU * line->frequency_hz * time_s + phase_rad) * sin(x) / x;
}

/* Range and steps, as a converter has them: the last whole step within the range is the extreme. */
static double converted(const quell_simulation *setup, double value)
{
    double step = setup->step_mps2, range = setup->clip_mps2;
    if (step > 0) {
        double count = round(value / step);
        if (range > 0)
            count = fmax(-floor(range / step), fmin(floor(range / step), count));
        return count * step;
    }
    return range > 0 ? fmax(-range, fmin(range, value)) : value;
}

bool simulate_sensor_read(simulate_sensor *sensor, size_t index, const double machine_mps2[3],
                          double *stamp_s, double sensor_mps2[3])
{
    const quell_simulation *setup = sensor->setup;
    double middle = ((double)index + 0.5) * sensor->interval_s;
    double true_mps2[3] = {machine_mps2[0], machine_mps2[1], machine_mps2[2] + QUELL_STANDARD_GRAVITY_MPS2};
    for (size_t i = 0; i < setup->lines; i++) {
        double mean = line_mean(&setup->line[i], sensor->phase_rad[i], middle, sensor->interval_s);
        for (size_t k = 0; k < 3; k++)
            true_mps2[k] += mean * setup->line[i].direction[k];
    }
    for (size_t k = 0; k < 3; k++) {
        double value = sensor->noise_mps2 > 0 ? sensor->noise_mps2 * quell_random_normal(sensor->noise) : 0;
        for (size_t m = 0; m < 3; m++)
            value += sensor->turn[k][m] * true_mps2[m];
        sensor_mps2[k] = converted(setup, value);
    }
    double stamp = middle;
    if (setup->jitter > 0)
        stamp += setup->jitter * sensor->interval_s * quell_random_normal(sensor->jitter);
    if (index > 0) /* a logger's clock never runs backwards */
        stamp = fmax(stamp, sensor->last_stamp_s);
    *stamp_s = sensor->last_stamp_s = stamp;
    return !(setup->lost > 0 && quell_random_uniform(sensor->loss) < setup->lost);
}
