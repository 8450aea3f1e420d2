/* A small machine with a sensor on it: commanded acceleration, one mode that rings, gravity, noise, steps. */
#include "ingest_machine.h"

#include <math.h>
#include <string.h>

#define RATE_HZ 2000.0

/* One slow stroke of 60 mm: 0.4 m/s2 up to 120 mm/s, as much down, then half a second of rest. */
static double stroke(double t, double sign)
{
    const double ramp_s = 0.12 / 0.4, cruise_s = (0.060 - 0.12 * ramp_s) / 0.12;
    if (t < 0 || t > 2 * ramp_s + cruise_s)
        return 0;
    return t < ramp_s ? 0.4 * sign : t < ramp_s + cruise_s ? 0 : -0.4 * sign;
}

static const double stroke_s = 2 * 0.3 + 0.2 + 0.5;

/* Commanded acceleration at time t. */
static double commanded(const test_machine *machine, const test_truth *truth, double t)
{
    if (machine->preamble && t >= truth->strokes_s[0] && t < truth->strokes_s[1]) {
        double since = t - truth->strokes_s[0];
        double which = floor(since / stroke_s);
        return stroke(since - which * stroke_s, fmod(which, 2) == 0 ? 1 : -1);
    }
    double since = t - truth->motion_s[0];
    if (since < 0 || t >= truth->motion_s[1])
        return 0;
    double turns = 12 * since + 0.5 * 5 * since * since; /* 5 Hz/s */
    return cos(QUELL_TAU * turns) > 0 ? 4 : -4;
}

static void random_turn(double out[3][3], quell_random *random)
{
    double q[4], norm = 0;
    for (size_t i = 0; i < 4; i++) {
        q[i] = quell_random_normal(random);
        norm += q[i] * q[i];
    }
    for (size_t i = 0; i < 4; i++)
        q[i] /= sqrt(norm);
    const double w = q[0], x = q[1], y = q[2], z = q[3];
    const double turn[3][3] = {{1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)},
                               {2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)},
                               {2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)}};
    memcpy(out, turn, sizeof turn);
}

/* The mode: 47 Hz, damping ratio 0.05, driven by -a; explicit steps fifty to a sample interval of the test. */
typedef struct mode {
    double place, speed, acceleration;
} mode;

static void advance(mode *m, double accel_mps2)
{
    const double w = QUELL_TAU * 47, dt = 1 / RATE_HZ / 20;
    for (int i = 0; i < 20; i++) {
        m->acceleration = -accel_mps2 - 2 * 0.05 * w * m->speed - w * w * m->place;
        m->speed += m->acceleration * dt;
        m->place += m->speed * dt;
    }
}

static double cut(double value, double step)
{
    return step > 0 ? step * floor(value / step + 0.5) : value;
}

static size_t plan(const test_machine *machine, test_truth *truth)
{
    truth->strokes_s[0] = 3;
    truth->strokes_s[1] = 3 + 4 * stroke_s;
    truth->motion_s[0] = machine->preamble ? truth->strokes_s[1] + 3 : 0;
    truth->motion_s[1] = truth->motion_s[0] + machine->motion_s;
    return (size_t)((truth->motion_s[1] + machine->end_rest_s) * RATE_HZ);
}

void test_machine_record(const test_machine *machine, quell_arena *arena, quell_recording *out,
                         test_truth *truth)
{
    static const double upright[3][3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    static const char *const names[] = {"a1", "a2", "a3"};
    quell_random *random = quell_random_create(machine->seed);
    ck_assert_ptr_nonnull(random);
    memset(out, 0, sizeof *out);
    *truth = (test_truth){0};
    memcpy(truth->turn, upright, sizeof upright);
    if (machine->turned)
        random_turn(truth->turn, random);
    size_t n = plan(machine, truth);
    *out = (quell_recording){.file = "machine",
                             .format = "made",
                             .unit = "m/s2",
                             .axes = 3,
                             .samples = n,
                             .rate_hz = RATE_HZ,
                             .has_time = true};
    for (size_t k = 0; k < 3; k++) {
        out->accel_mps2[k] = QUELL_NEW(arena, double, n);
        ck_assert_ptr_nonnull(out->accel_mps2[k]);
        out->axis_name[k] = names[k];
        out->step_mps2[k] = out->resolution_mps2[k] = machine->step_mps2 > 0 ? machine->step_mps2 : 1e-6;
    }
    mode ringing = {0, 0, 0};
    double sigma = machine->noise_mps2_per_rthz * sqrt(RATE_HZ / 2);
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / RATE_HZ, a = commanded(machine, truth, t);
        advance(&ringing, a);
        double fan = machine->fan_mps2 * sin(QUELL_TAU * machine->fan_hz * t);
        double along = a + ringing.acceleration;
        double on_machine[3] = {0, 0, machine->gravity_mps2 + fan};
        on_machine[machine->driven == 'y' ? 1 : 0] = along;
        for (size_t k = 0; k < 3; k++) {
            double value = 0;
            for (size_t m = 0; m < 3; m++)
                value += truth->turn[k][m] * on_machine[m];
            out->accel_mps2[k][i] = cut(value + sigma * quell_random_normal(random), machine->step_mps2);
        }
    }
    quell_random_destroy(random);
}

double test_angle_deg(double a[3][3], double b[3][3])
{
    double trace = 0;
    for (size_t k = 0; k < 3; k++)
        for (size_t m = 0; m < 3; m++)
            trace += a[k][m] * b[k][m];
    return acos(fmax(fmin(0.5 * (trace - 1), 1), -1)) * 180 / QUELL_PI;
}
