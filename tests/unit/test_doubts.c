/* doubts: what a recording tells against a mode. Machines whose spring softens, that ring differently by direction or that
   have belt teeth are simulated here, by Runge and Kutta's method in steps of an eighth of a sample; those of
   quell_simulate are linear, and must not be doubted. */
#include "suites.h"

#include "shortened.h"

#include "quell/modes.h"
#include "quell/simulate.h"

#include "modes/modes_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define RATE_HZ 1000.0
#ifndef SEEDS
#define SEEDS 100
#endif

enum { STEPS = 8, SAMPLES_MOST = 70000 };

static quell_arena *arena;

static void setup(void)
{
    arena = quell_arena_create((size_t)1 << 30);
    ck_assert_ptr_nonnull(arena);
}

static void teardown(void)
{
    quell_arena_destroy(arena);
}

static bool doubted(const quell_mode *mode, const char *words)
{
    for (size_t i = 0; i < mode->doubts; i++)
        if (strstr(mode->doubt[i], words) != NULL)
            return true;
    return false;
}

/* Is any mode doubted? */
static bool any_doubt(const quell_modes *modes)
{
    bool any = false;
    for (size_t k = 0; k < modes->count; k++)
        any = any || modes->mode[k].doubts > 0;
    return any;
}

static quell_mode mode_of(double frequency_hz, double damping_ratio, double participation)
{
    return (quell_mode){.frequency_hz = frequency_hz,
                        .damping_ratio = damping_ratio,
                        .damping_ratio_ci95 = {damping_ratio * 0.95, damping_ratio * 1.05},
                        .participation = participation,
                        .direction = {1, 0, 0},
                        .half_power_damping_ratio = damping_ratio,
                        .decay_damping_ratio = (double)NAN,
                        .decay_damping_ratio_ci95 = {(double)NAN, (double)NAN}};
}

/* What the lead of the stage hands on; the spectrum is looked at for tones only. */
static double flat[1001];
static const quell_sweep *swept; /* NULL: not known */

static void judge(quell_modes *modes, const quell_recording *recording, quell_excitation kind, size_t first,
                  const quell_decays *decays)
{
    static const double band_hz[] = {5, 250};
    for (size_t i = 0; i < 1001; i++)
        flat[i] = 1;
    quell_spectrum spectrum = {
        .axes = 1, .bins = 1001, .rate_hz = RATE_HZ, .bin_hz = 0.5, .enbw_hz = 0.75, .asd_m2ps3 = {flat}};
    quell_shaking shaking = {.kind = kind, .first = first, .end = recording->samples};
    if (swept != NULL) {
        shaking.sweep_known = true;
        shaking.sweep = *swept;
    }
    quell_doubter in = {.spectrum = &spectrum,
                        .band_hz = band_hz,
                        .recording = recording,
                        .first = first,
                        .end = recording->samples,
                        .shaking = &shaking,
                        .decays = decays,
                        .arena = arena};
    quell_error err = {0};
    ck_assert_msg(quell_doubts_add_recording(modes, &in, &err) == QUELL_OK, "%s", err.text);
}

/* ---------------------------------------------------------------- machines that are not linear */

/* One mode of 47 Hz: q'' + 2 z w q' + w^2 s(q) = -a(t), s(q) = q / sqrt(1 + (q / soft)^2). For a small amplitude A its
   frequency is f (1 - 3/16 (A / soft)^2) (averaging; Nayfeh and Mook, Nonlinear Oscillations, 1979). */
typedef struct machine {
    double frequency_hz, damping_ratio, soft_m;
    double other_way; /* f and zeta are this much larger while the motion before was towards - */
    double more_damping;
} machine;

static double pull(const machine *m, int way, double a, double q, double v)
{
    double w = QUELL_TAU * m->frequency_hz * (way < 0 ? 1 + m->other_way : 1);
    double z = m->damping_ratio * (way < 0 ? 1 + m->more_damping : 1);
    double soft = m->soft_m > 0 ? q / m->soft_m : 0;
    return -a - 2 * z * w * v - w * w * q / sqrt(1 + soft * soft);
}

/* accel (NaN-free) is the commanded acceleration, constant over each sample; out: the mean of a + q'' over each. Returns
   the rms of q. */
static double run(const machine *m, const double *command, const signed char *way, size_t n, double *out)
{
    double q = 0, v = 0, h = 1 / RATE_HZ / STEPS, squares = 0;
    for (size_t i = 0; i < n; i++) {
        double before = v;
        for (int s = 0; s < STEPS; s++) {
            double a = command[i];
            int w = way != NULL ? way[i] : 1;
            double k1 = pull(m, w, a, q, v), k2 = pull(m, w, a, q + h / 2 * v, v + h / 2 * k1);
            double k3 = pull(m, w, a, q + h / 2 * v + h * h / 4 * k1, v + h / 2 * k2);
            double k4 = pull(m, w, a, q + h * v + h * h / 2 * k2, v + h * k3);
            q += h * v + h * h / 6 * (k1 + k2 + k3);
            v += h / 6 * (k1 + 2 * k2 + 2 * k3 + k4);
        }
        squares += q * q;
        out[i] = command[i] + (v - before) * RATE_HZ;
    }
    return sqrt(squares / (double)n);
}

static double command[SAMPLES_MOST], accel[SAMPLES_MOST];

static quell_recording recording_of(double *sample, size_t n)
{
    return (quell_recording){.axes = 1, .samples = n, .accel_mps2 = {sample}, .rate_hz = RATE_HZ};
}

static void white(uint64_t seed, size_t n)
{
    quell_random *random = quell_random_create(seed);
    for (size_t i = 0; i < n; i++)
        command[i] = 2 * quell_random_normal(random);
    quell_random_destroy(random);
}

static void add_noise(uint64_t seed, double *sample, size_t n)
{
    quell_random *random = quell_random_create(seed);
    double rms = 120e-6 * 9.80665 * sqrt(RATE_HZ / 2);
    for (size_t i = 0; i < n; i++)
        sample[i] += rms * quell_random_normal(random);
    quell_random_destroy(random);
}

/* ---------------------------------------------------------------- level, shaken at random */

/* The weak half of the energy has E A^2 = 2 s^2 0.615, the strong half 2 s^2 2.678 (A Rayleigh, exact), s the rms of q; so
   the frequencies lie 3/16 * 4.13 (s / soft)^2 apart: 4.8 % at s = 0.25 soft. That is the most that can be seen: what
   parts the mode from all else, a filter, mixes levels that follow each other. */
START_TEST(a_softening_spring_is_doubted)
{
    enum { RUNS = 12, N = 60000 };
    size_t found = 0;
    double falls = 0, ratios = 0;
    for (uint64_t seed = 0; seed < RUNS; seed++) {
        white(100 + seed, N);
        machine linear = {47, 0.05, 0, 0, 0}, soft = linear;
        soft.soft_m = run(&linear, command, NULL, N, accel) / 0.25;
        run(&soft, command, NULL, N, accel);
        add_noise(seed, accel, N);
        quell_recording recording = recording_of(accel, N);
        quell_modes modes = {.count = 1, .mode = {mode_of(45.6, 0.05, 1)}};
        judge(&modes, &recording, QUELL_EXCITE_RANDOM, 0, NULL);
        double weak, strong, ratio;
        const char *text = modes.mode[0].doubts > 0 ? modes.mode[0].doubt[0] : "";
        if (sscanf(text, "its frequency falls with level: %lf Hz, and %lf Hz where it rings %lf", &weak,
                   &strong, &ratio) == 3) {
            found++;
            falls += 1 - strong / weak;
            ratios += ratio;
        }
    }
    ck_assert_uint_eq(found, RUNS);
    CHECK_NEAR(falls / (double)found, 0.036, 0.012);
    CHECK_NEAR(ratios / (double)found, sqrt(2.678 / 0.615), 0.15);
}
END_TEST

/* Linear machines, shaken at random and by what is there anyway, of one mode and two, of any damping. */
START_TEST(a_linear_machine_is_not_doubted_when_shaken_at_random)
{
    static const struct {
        size_t count;
        double f_hz[2], zeta[2], c[2];
    } rows[] = {{1, {31.8}, {.062}, {1}},
                {2, {47.3, 83.5}, {.046, .028}, {1, .22}},
                {2, {52, 58}, {.03, .03}, {.6, .4}},
                {1, {65}, {.12}, {.7}}};
    size_t runs = 0, doubts = 0;
    for (uint64_t seed = 0; seed < SEEDS; seed++)
        for (size_t kind = 0; kind < 2; kind++) {
            const size_t r = seed % 4;
            quell_simulation made_of = {.modes = rows[r].count,
                                        .axis = 'x',
                                        .excitation = kind == 0 ? QUELL_EXCITE_RANDOM : QUELL_EXCITE_AMBIENT,
                                        .random_rms_mps2 = 2,
                                        .seconds = seed % 3 == 0 ? 15 : 40,
                                        .rate_hz = RATE_HZ,
                                        .noise_mps2_per_rthz = 120e-6 * 9.80665,
                                        .step_mps2 = 0.004 * 9.80665,
                                        .lines = 1,
                                        .line = {{112, 0.1, {0.3, 0.2, 0.9}}},
                                        .seed = seed};
            quell_modes modes = {.count = rows[r].count};
            for (size_t k = 0; k < rows[r].count; k++) {
                made_of.mode[k] =
                    (quell_simulated_mode){rows[r].f_hz[k], rows[r].zeta[k], {rows[r].c[k], 0, 0}};
                modes.mode[k] =
                    mode_of(rows[r].f_hz[k], rows[r].zeta[k], kind == 0 ? rows[r].c[k] : (double)NAN);
            }
            quell_simulated made;
            quell_arena *own = quell_arena_create((size_t)1 << 26);
            ck_assert_int_eq(quell_simulate(&made_of, own, &made, NULL), QUELL_OK);
            quell_recording recording = recording_of(made.accel_mps2[0], made.count);
            judge(&modes, &recording, made_of.excitation, (size_t)(made.start_s * RATE_HZ), NULL);
            quell_arena_destroy(own);
            doubts += any_doubt(&modes);
            runs++;
        }
    ck_assert_uint_le(doubts * 50, runs); /* 2 % */
}
END_TEST

/* Strokes of any length, speed and dwell are no random shaking, whatever they are called: level and frequency go together
   as each rings down into the next. */
START_TEST(strokes_called_random_are_not_doubted)
{
    enum { N = 30000 };
    size_t doubts = 0;
    for (uint64_t seed = 0; seed < SEEDS; seed++) {
        quell_random *random = quell_random_create(seed);
        const bool alike = seed % 2 == 0;
        double sign = 1, length_m = 0, speed_mps = 0, rest_s = 0, a = 3 + 5 * quell_random_uniform(random);
        for (size_t n = 0; n < N; sign = -sign) {
            if (n == 0 || !alike) {
                length_m = 0.02 + 0.1 * quell_random_uniform(random);
                speed_mps = 0.05 + 0.25 * quell_random_uniform(random);
                rest_s = 0.02 + 0.4 * quell_random_uniform(random);
            }
            size_t ramp = (size_t)(speed_mps / a * RATE_HZ) + 1,
                   cruise = (size_t)(length_m / speed_mps * RATE_HZ);
            size_t rest = (size_t)(rest_s * RATE_HZ), end = 2 * ramp + cruise + rest;
            for (size_t i = 0; i < end && n < N; i++, n++)
                command[n] = i < ramp                                      ? a * sign
                             : i >= ramp + cruise && i < 2 * ramp + cruise ? -a * sign
                                                                           : 0;
        }
        const machine m = {25 + 50 * quell_random_uniform(random), 0.02 + 0.06 * quell_random_uniform(random),
                           0, 0, 0};
        quell_random_destroy(random);
        run(&m, command, NULL, N, accel);
        add_noise(seed, accel, N);
        quell_recording recording = recording_of(accel, N);
        quell_modes modes = {.count = 1, .mode = {mode_of(m.frequency_hz, m.damping_ratio, 1)}};
        judge(&modes, &recording, QUELL_EXCITE_RANDOM, 0, NULL);
        doubts += any_doubt(&modes);
    }
    ck_assert_msg(doubts * 50 <= SEEDS, "%zu of %d linear machines doubted", doubts, SEEDS);
}
END_TEST

/* ---------------------------------------------------------------- stops */

enum { STROKES = 16 };

static const double stroke_m = 0.06, stroke_mps = 0.2, stroke_mps2 = 6, dwell_s = 0.8;

/* Strokes there and back, commanded to the sample: 33 ms up, 267 ms at speed, 33 ms down. */
static size_t strokes(signed char *way, size_t *stop)
{
    size_t n = 0, ramp = 33, cruise = 267, dwell = (size_t)(dwell_s * RATE_HZ);
    for (size_t i = 0; i < dwell; i++)
        command[n++] = 0;
    for (size_t k = 0; k < STROKES; k++) {
        double sign = k % 2 == 0 ? 1 : -1, a = stroke_mps / ((double)ramp / RATE_HZ);
        size_t start = n;
        for (size_t i = 0; i < ramp; i++)
            command[n++] = sign * a;
        for (size_t i = 0; i < cruise; i++)
            command[n++] = 0;
        for (size_t i = 0; i < ramp; i++)
            command[n++] = -sign * a;
        stop[k] = n + 6;
        for (size_t i = 0; i < dwell; i++)
            command[n++] = 0;
        for (size_t i = start; i < n; i++)
            way[i] = (signed char)sign;
    }
    return n;
}

static quell_decays decays_of(const quell_mode *mode, size_t count, const size_t *stop, size_t stops)
{
    quell_decays out = {.count = count, .stops = stops, .stop = stop, .window = 450};
    for (size_t k = 0; k < count; k++)
        out.mode[k] = (quell_decay){.frequency_hz = mode[k].frequency_hz,
                                    .damping_ratio = mode[k].damping_ratio,
                                    .log_damping_se = 0.02,
                                    .direction = {1, 0, 0}};
    return out;
}

static quell_modes stops_of(const machine *m, uint64_t seed)
{
    static signed char way[SAMPLES_MOST];
    size_t stop[STROKES], n = strokes(way, stop);
    run(m, command, way, n, accel);
    add_noise(seed, accel, n);
    quell_recording recording = recording_of(accel, n);
    quell_modes modes = {.count = 1, .mode = {mode_of(m->frequency_hz, m->damping_ratio, (double)NAN)}};
    static const double band_hz[] = {0, 0};
    quell_decays decays;
    ck_assert_int_eq(quell_decays_find(&recording, 0, 0, n, band_hz, arena, &decays, NULL), QUELL_OK);
    ck_assert_uint_ge(decays.stops, STROKES - 1);
    judge(&modes, &recording, QUELL_EXCITE_STOPS, 0, &decays);
    return modes;
}

/* After a stop from 6 m/s2 the mode rings with at most 2 a / w^2 = 0.14 mm: 3/16 (0.14 / 0.35)^2 = 3 % of its frequency at a
   spring that softens at 0.35 mm. */
START_TEST(decays_of_a_softening_spring_are_doubted)
{
    for (uint64_t seed = 0; seed < 4; seed++) {
        const machine soft = {47, 0.05, 0.35e-3, 0, 0};
        quell_modes modes = stops_of(&soft, seed);
        ck_assert(doubted(&modes.mode[0], "its frequency falls with level: "));
        ck_assert(!doubted(&modes.mode[0], "direction"));
    }
}
END_TEST

/* Stops of growing speed: f falls by 1 % each time the ringing doubles, and is known to 0.1 %. */
START_TEST(stops_of_different_level_are_compared)
{
    enum { STOPS = 8 };
    static const double off[STOPS] = {.3, -.8, 1.1, .2, -.9, -.4, .7, -.2}; /* thousandths */
    double sample[] = {0};
    const quell_recording nothing = recording_of(sample, 1);
    for (size_t fall = 0; fall < 2; fall++) {
        quell_decay_stop each[STOPS];
        size_t stop[STOPS] = {0};
        for (size_t s = 0; s < STOPS; s++)
            each[s] = (quell_decay_stop){.frequency_hz = 47 * exp(off[s] / 1000) *
                                                         (fall == 1 ? pow(0.99, (double)s / 3) : 1),
                                         .amplitude_mps2 = pow(2, (double)s / 3)};
        quell_modes modes = {.count = 2, .mode = {mode_of(46.5, 0.05, 1), mode_of(80, 0.05, 1)}};
        quell_decays decays = {.stops = STOPS, .stop = stop, .each = each};
        judge(&modes, &nothing, QUELL_EXCITE_STOPS, 0, &decays);
        double percent;
        ck_assert_uint_eq(modes.mode[0].doubts, fall);
        ck_assert_uint_eq(modes.mode[1].doubts, 0);
        if (fall == 1) {
            ck_assert_int_eq(
                sscanf(modes.mode[0].doubt[0], "its frequency falls with level: by %lf %% where", &percent),
                1);
            CHECK_NEAR(percent, 1, 0.15);
        }
    }
}
END_TEST

/* A belt that is 3 % stiffer in f one way, and rails that drag by half as much again one way. */
START_TEST(stops_that_differ_by_direction_are_doubted)
{
    for (uint64_t seed = 0; seed < 4; seed++) {
        const machine stiffer = {47, 0.05, 0, 0.03, 0}, dragging = {47, 0.05, 0, 0, 0.5};
        quell_modes modes = stops_of(&stiffer, seed);
        double plus, minus;
        ck_assert_uint_eq(modes.mode[0].doubts, 1);
        ck_assert_int_eq(sscanf(modes.mode[0].doubt[0],
                                "differs by direction: %lf Hz after motion towards +, %lf Hz towards -",
                                &plus, &minus),
                         2);
        CHECK_NEAR(plus, 47, 0.15);
        CHECK_NEAR(minus, 48.41, 0.15);
        modes = stops_of(&dragging, seed);
        ck_assert_uint_eq(modes.mode[0].doubts, 1);
        ck_assert_int_eq(
            sscanf(modes.mode[0].doubt[0],
                   "differs by direction: a damping ratio of %lf after motion towards +, %lf towards -",
                   &plus, &minus),
            2);
        CHECK_NEAR(plus, 0.05, 0.003);
        CHECK_NEAR(minus, 0.075, 0.006);
    }
}
END_TEST

START_TEST(linear_stops_are_not_doubted)
{
    static const struct {
        size_t count;
        double f_hz[2], zeta[2], c[2];
    } rows[] = {{1, {31.8}, {.062}, {1}},
                {2, {47.3, 83.5}, {.046, .028}, {1, .22}},
                {2, {52, 58}, {.03, .03}, {.6, .4}}};
    size_t doubts = 0;
    for (uint64_t seed = 0; seed < SEEDS; seed++) {
        const size_t r = seed % 3;
        quell_simulation made_of = {.modes = rows[r].count,
                                    .axis = 'x',
                                    .excitation = QUELL_EXCITE_STOPS,
                                    .seconds = seed % 2 == 0 ? 8 : 16,
                                    .stroke_m = stroke_m,
                                    .speed_mps = stroke_mps,
                                    .acceleration_mps2 = stroke_mps2,
                                    .dwell_s = dwell_s,
                                    .preamble = {.rest_s = 0.5},
                                    .rate_hz = RATE_HZ,
                                    .noise_mps2_per_rthz = 120e-6 * 9.80665,
                                    .step_mps2 = 0.004 * 9.80665,
                                    .lines = 1,
                                    .line = {{112, 0.1, {0.3, 0.2, 0.9}}},
                                    .seed = seed};
        quell_modes modes = {.count = rows[r].count};
        for (size_t k = 0; k < rows[r].count; k++) {
            made_of.mode[k] = (quell_simulated_mode){rows[r].f_hz[k], rows[r].zeta[k], {rows[r].c[k], 0, 0}};
            modes.mode[k] = mode_of(rows[r].f_hz[k], rows[r].zeta[k], (double)NAN);
        }
        quell_simulated made;
        quell_arena *own = quell_arena_create((size_t)1 << 26);
        ck_assert_int_eq(quell_simulate(&made_of, own, &made, NULL), QUELL_OK);
        size_t stop[64], stops = 0;
        double stroke_s = stroke_m / stroke_mps + stroke_mps / stroke_mps2;
        for (double at = made.start_s + stroke_s; at < made.end_s; at += stroke_s + dwell_s)
            stop[stops++] = (size_t)((at + 0.007) * RATE_HZ);
        quell_decays decays = decays_of(modes.mode, modes.count, stop, stops);
        quell_recording recording = recording_of(made.accel_mps2[0], made.count);
        judge(&modes, &recording, made_of.excitation, (size_t)(made.start_s * RATE_HZ), &decays);
        quell_arena_destroy(own);
        doubts += any_doubt(&modes);
    }
    ck_assert_msg(doubts * 50 <= SEEDS, "%zu of %d linear machines doubted", doubts, SEEDS);
}
END_TEST

/* ---------------------------------------------------------------- speed */

/* Strokes at three speeds, ringing at 47 Hz, with teeth every 2 mm: lines at 100, 75 and 50 Hz. One of these was taken
   for a mode. */
static quell_modes teeth(double tooth_mps2, double at_hz, uint64_t seed)
{
    static const double speed_mps[] = {0.2, 0.15, 0.1};
    quell_random *random = quell_random_create(seed);
    size_t n = 0;
    static double tooth[SAMPLES_MOST];
    for (size_t k = 0; k < 24; k++) {
        double v = speed_mps[k / 2 % 3], sign = k % 2 == 0 ? 1 : -1,
               phase = QUELL_TAU * quell_random_uniform(random);
        size_t ramp = (size_t)(v / 5 * RATE_HZ), cruise = (size_t)(0.1 / v * RATE_HZ), rest = 400;
        for (size_t i = 0; i < 2 * ramp + cruise + rest; i++, n++) {
            bool up = i < ramp, at_speed = i >= ramp && i < ramp + cruise,
                 down = i >= ramp + cruise && i < 2 * ramp + cruise;
            command[n] = up ? 5 * sign : down ? -5 * sign : 0;
            tooth[n] = at_speed ? tooth_mps2 * sin(phase + QUELL_TAU * v / 0.002 * (double)i / RATE_HZ) : 0;
        }
    }
    quell_random_destroy(random);
    const machine m = {47, 0.05, 0, 0, 0};
    run(&m, command, NULL, n, accel);
    for (size_t i = 0; i < n; i++)
        accel[i] += tooth[i];
    add_noise(seed, accel, n);
    quell_recording recording = recording_of(accel, n);
    quell_modes modes = {.count = 1, .mode = {mode_of(at_hz, 0.03, 0.4)}};
    judge(&modes, &recording, QUELL_EXCITE_RANDOM, 0, NULL);
    return modes;
}

START_TEST(a_line_that_moves_with_speed_is_no_mode)
{
    for (uint64_t seed = 0; seed < 8; seed++) {
        static const double lines_hz[] = {100, 75};
        for (size_t k = 0; k < 2; k++) {
            quell_modes modes = teeth(0.4, lines_hz[k] + 0.4, seed);
            double f, v, g, u, pitch;
            ck_assert_uint_ge(modes.mode[0].doubts, 1);
            ck_assert_int_eq(
                sscanf(modes.mode[0].doubt[0],
                       "not a mode but a line that moves with speed: %lf Hz at %lf mm/s, %lf Hz at "
                       "%lf mm/s, a cycle every %lf mm",
                       &f, &v, &g, &u, &pitch),
                5);
            CHECK_NEAR(f, lines_hz[k], 1);
            CHECK_NEAR(v, 2 * lines_hz[k], 3);
            CHECK_NEAR(u, 2 * g, 4);
            CHECK_NEAR(pitch, 2, 0.051);
        }
        quell_modes modes = teeth(0.4, 47, seed); /* the mode itself stays, with the teeth or without */
        ck_assert(!doubted(&modes.mode[0], "speed"));
        modes = teeth(0, 100, seed);
        ck_assert(!doubted(&modes.mode[0], "speed"));
    }
}
END_TEST

/* ---------------------------------------------------------------- a sweep */

/* Through a mode, level goes with frequency whatever the machine: no doubt comes of that, nor of what the two passes through
   it, with the third harmonic and with the sweep itself, have in common. */
START_TEST(a_sweep_of_a_linear_machine_is_not_doubted)
{
    size_t doubts = 0;
    quell_random *random = quell_random_create(77);
    for (uint64_t seed = 0; seed < SEEDS; seed++) {
        double f = 35 + 40 * quell_random_uniform(random), zeta = 0.015 + 0.07 * quell_random_uniform(random);
        double g = f * (1.12 + quell_random_uniform(random)), c = quell_random_uniform(random);
        quell_simulation made_of = {.modes = 2,
                                    .mode = {{f, zeta, {1 - c, 0, 0}}, {g, .03, {c, 0, 0}}},
                                    .axis = 'x',
                                    .excitation = QUELL_EXCITE_SWEEP,
                                    .sweep = {10, 150, 2 + 4 * quell_random_uniform(random), 4},
                                    .rate_hz = RATE_HZ,
                                    .noise_mps2_per_rthz = 120e-6 * 9.80665,
                                    .step_mps2 = 0.004 * 9.80665,
                                    .lines = 1,
                                    .line = {{112, 0.1, {0.3, 0.2, 0.9}}},
                                    .seed = seed};
        quell_simulated made;
        quell_arena *own = quell_arena_create((size_t)1 << 26);
        ck_assert_int_eq(quell_simulate(&made_of, own, &made, NULL), QUELL_OK);
        quell_modes modes = {.count = 2, .mode = {mode_of(f, zeta, 1 - c), mode_of(g, .03, c)}};
        quell_recording recording = recording_of(made.accel_mps2[0], made.count);
        swept = seed % 4 != 0 ? &made_of.sweep : NULL;
        judge(&modes, &recording, QUELL_EXCITE_SWEEP, 0, NULL);
        swept = NULL;
        quell_arena_destroy(own);
        doubts += any_doubt(&modes);
    }
    quell_random_destroy(random);
    ck_assert_msg(doubts * 50 <= SEEDS, "%zu of %d linear machines doubted", doubts, SEEDS);
}
END_TEST

/* A sweep of 1 m/s2 rings the mode of zeta 0.05 with up to 4 / pi (a square wave's first harmonic) a / (2 zeta w^2) = 146 um, a
   third of that with the third harmonic: 3/16 (A / soft)^2 makes 2.5 % and 0.3 % of f at soft = 400 um. That is at the
   height of the resonance; on the way there and back it is less. */
START_TEST(a_sweep_of_a_softening_spring_is_doubted)
{
    const quell_sweep sweep = {10, 100, 2.5, 1};
    quell_motion_list list = {0};
    ck_assert_int_eq(quell_motion_add_sweep(&list, &sweep, NULL), QUELL_OK);
    quell_motion motion = quell_motion_view(&list);
    quell_motion_cursor cursor = {.motion = &motion};
    size_t n = (size_t)(list.end_s * RATE_HZ);
    double before = 0;
    for (size_t i = 0; i < n; i++) {
        double v = quell_motion_advance(&cursor, (double)(i + 1) / RATE_HZ).velocity_mps;
        command[i] = (v - before) * RATE_HZ;
        before = v;
    }
    quell_motion_list_free(&list);
    swept = &sweep;
    for (uint64_t seed = 0; seed < 4; seed++) {
        const machine soft = {47, 0.05, 400e-6, 0, 0};
        run(&soft, command, NULL, n, accel);
        add_noise(seed, accel, n);
        quell_recording recording = recording_of(accel, n);
        quell_modes modes = {.count = 1, .mode = {mode_of(46, 0.05, 1)}};
        judge(&modes, &recording, QUELL_EXCITE_SWEEP, 0, NULL);
        double weak, strong, ratio;
        ck_assert_uint_eq(modes.mode[0].doubts, 1);
        ck_assert_int_eq(
            sscanf(modes.mode[0].doubt[0],
                   "its frequency falls with level: %lf Hz where the sweep's third harmonic passes, "
                   "%lf Hz where the sweep does and it rings %lf",
                   &weak, &strong, &ratio),
            3);
        ck_assert_double_gt(weak / strong - 1, 0.007);
        ck_assert_double_lt(weak / strong - 1, 0.022);
        ck_assert_double_gt(ratio, 2);
        ck_assert_double_le(ratio, 3.1);
    }
    swept = NULL;
}
END_TEST

/* ---------------------------------------------------------------- numbers side by side */

static quell_modes told_by_spectrum(const quell_mode *mode, size_t count)
{
    static const double band_hz[] = {5, 250};
    quell_modes modes = {.count = count, .band_hz = {5, 250}, .fit.dof_per_bin = 60};
    memcpy(modes.mode, mode, count * sizeof *mode);
    quell_spectrum spectrum = {.axes = 3, .bins = 1001, .rate_hz = 2000, .bin_hz = 0.5};
    ck_assert_int_eq(quell_doubts_add(&modes, &spectrum, 0, band_hz, arena, NULL), QUELL_OK);
    return modes;
}

static quell_mode turned(quell_mode mode, double degrees)
{
    mode.direction[0] = cos(degrees / 360 * QUELL_TAU);
    mode.direction[2] = sin(degrees / 360 * QUELL_TAU);
    return mode;
}

/* A frame that rocks: off the axis, or with the small participation of a heavy mass; a soft belt is neither. */
START_TEST(a_frame_that_moves_is_told_once)
{
    const struct {
        quell_mode mode;
        bool frame;
    } rows[] = {{turned(mode_of(17, .05, 1), 30), true},
                {turned(mode_of(17, .05, 1), 20), false},
                {turned(mode_of(22, .05, 1), 30), false},
                {mode_of(13, .05, .3), true},
                {mode_of(13, .05, .9), false},
                {mode_of(17, .05, .3), false},
                {mode_of(13, .05, (double)NAN), false}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_modes modes = told_by_spectrum(&rows[i].mode, 1);
        ck_assert_msg(doubted(&modes.mode[0], "the frame itself moves?") == rows[i].frame, "row %zu", i);
    }
    const quell_mode both[] = {mode_of(9, .05, .3), turned(mode_of(16, .05, .5), 40)};
    quell_modes modes = told_by_spectrum(both, 2);
    ck_assert(doubted(&modes.mode[0], "participation of only 0.3 at 9.0 Hz: "));
    ck_assert(!doubted(&modes.mode[1], "frame itself"));
    modes = told_by_spectrum(both + 1, 1);
    ck_assert(doubted(&modes.mode[0], "moves 40 deg off X at 16.0 Hz: "));
}
END_TEST

START_TEST(close_modes_blur_each_others_direction)
{
    static const char words[] = "good to 8-15 deg only";
    const quell_mode close[] = {mode_of(52, .03, .6), mode_of(58, .03, .4)},
                     apart[] = {mode_of(50, .01, .6), mode_of(58, .01, .4)};
    quell_modes modes = told_by_spectrum(close, 2);
    ck_assert(doubted(&modes.mode[0], words) && doubted(&modes.mode[1], words));
    modes = told_by_spectrum(apart, 2);
    ck_assert(doubted(&modes.mode[0], "close modes") && !doubted(&modes.mode[0], words));
    quell_mode unknown[] = {close[0], close[1]};
    for (size_t k = 0; k < 2; k++)
        unknown[k].direction[0] = (double)NAN;
    modes = told_by_spectrum(unknown, 2);
    ck_assert(doubted(&modes.mode[0], "close modes") && !doubted(&modes.mode[0], words));
}
END_TEST

/* ln(.046 / .031) = 0.395 at standard errors of 0.1 and 0.1 is 2.8 of them; at 0.15 and 0.15 it is 1.9. An interval runs
   from x exp(-1.96 s) to x exp(1.96 s). */
START_TEST(decay_and_spectrum_that_disagree_are_told)
{
    static const struct {
        double spectrum, decay, se;
        const char *words;
    } rows[] = {{.046, .031, .1, "decay says a damping ratio of 0.031, spectrum 0.046, 2.8 standard errors"},
                {.046, .031, .15, NULL},
                {.031, .046, .1, "decay says a damping ratio of 0.046, spectrum 0.031, 2.8 standard errors"},
                {.031, .033, .01, NULL}, /* certain, but of no account */
                {.031, .031, .01, NULL}};
    double sample[] = {0};
    const quell_recording nothing = recording_of(sample, 1);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_modes modes = {.count = 1, .mode = {mode_of(47, rows[i].spectrum, 1)}};
        double wide = exp(1.959964 * rows[i].se);
        quell_mode *mode = &modes.mode[0];
        mode->decay_damping_ratio = rows[i].decay;
        mode->damping_ratio_ci95[0] = rows[i].spectrum / wide;
        mode->damping_ratio_ci95[1] = rows[i].spectrum * wide;
        mode->decay_damping_ratio_ci95[0] = rows[i].decay / wide;
        mode->decay_damping_ratio_ci95[1] = rows[i].decay * wide;
        judge(&modes, &nothing, QUELL_EXCITE_SWEEP, 0, NULL);
        ck_assert_msg(rows[i].words != NULL ? doubted(mode, rows[i].words) : mode->doubts == 0, "row %zu", i);
    }
}
END_TEST

/* A tone of 2 m/s2 is a density of 2^2 / 2 / 0.75 Hz = 2.7 on a spectrum of 1 m2/s3; one of 0.2 m/s2 of 0.027. */
START_TEST(a_tone_on_top_of_a_mode_is_told)
{
    static const struct {
        double hz, mps2;
        bool told;
    } rows[] = {{84, 2, true}, {86.5, 2, false}, {84, 0.2, false}};
    double sample[] = {0};
    static const double band_hz[] = {5, 250};
    for (size_t i = 0; i < 1001; i++)
        flat[i] = 1;
    quell_spectrum spectrum = {.axes = 1, .bins = 1001, .bin_hz = 0.5, .enbw_hz = 0.75, .asd_m2ps3 = {flat}};
    const quell_recording nothing = recording_of(sample, 1);
    for (size_t i = 0; i < 3; i++) {
        quell_modes modes = {.count = 1, .mode = {mode_of(83.5, .028, .22)}};
        quell_known_line line = {rows[i].hz, rows[i].mps2};
        quell_doubter in = {.spectrum = &spectrum,
                            .band_hz = band_hz,
                            .recording = &nothing,
                            .line = &line,
                            .line_count = 1,
                            .arena = arena};
        ck_assert_int_eq(quell_doubts_add_recording(&modes, &in, NULL), QUELL_OK);
        ck_assert_msg(doubted(&modes.mode[0], "a tone of 2 m/s2 at 84.0 Hz") == rows[i].told, "row %zu", i);
    }
}
END_TEST

/* What the recording tells comes first, and where there are too many, the last go. */
START_TEST(the_gravest_doubts_are_kept)
{
    double sample[] = {0};
    const quell_recording nothing = recording_of(sample, 1);
    quell_modes modes = {.count = 1, .mode = {mode_of(47, .046, 1)}};
    quell_mode *mode = &modes.mode[0];
    static const char *const old[] = {"0", "1", "2", "3", "4", "5", "6", "7"};
    memcpy(mode->doubt, old, sizeof old);
    mode->doubts = QUELL_DOUBTS_MAX;
    mode->decay_damping_ratio = 0.1;
    mode->decay_damping_ratio_ci95[0] = 0.099;
    mode->decay_damping_ratio_ci95[1] = 0.101;
    judge(&modes, &nothing, QUELL_EXCITE_SWEEP, 0, NULL);
    ck_assert_uint_eq(mode->doubts, QUELL_DOUBTS_MAX);
    ck_assert_ptr_nonnull(strstr(mode->doubt[0], "decay says"));
    for (size_t i = 1; i < QUELL_DOUBTS_MAX; i++)
        ck_assert_str_eq(mode->doubt[i], old[i - 1]);
}
END_TEST

/* Memory may be out at any place: that is said, and nothing leaks. */
START_TEST(memory_may_be_out)
{
    static signed char way[SAMPLES_MOST];
    size_t stop[STROKES], n = strokes(way, stop), failed = 0;
    const machine soft = {47, 0.05, 0.5e-3, 0, 0};
    run(&soft, command, way, n, accel);
    quell_recording recording = recording_of(accel, n);
    double sample[3];
    quell_spectrum spectrum = {.axes = 1, .bins = 3, .bin_hz = 1, .enbw_hz = 1, .asd_m2ps3 = {sample}};
    static const double band_hz[] = {5, 250};
    for (size_t kind = 0; kind < 2; kind++)
        for (size_t at = 1;; at++) {
            quell_modes modes = {.count = 1, .mode = {mode_of(47, 0.05, (double)NAN)}};
            quell_decays decays = decays_of(modes.mode, 1, stop, STROKES);
            quell_shaking shaking = {.kind = kind == 0 ? QUELL_EXCITE_STOPS : QUELL_EXCITE_RANDOM};
            quell_arena *own = quell_arena_create(1 << 20);
            quell_doubter in = {.spectrum = &spectrum,
                                .band_hz = band_hz,
                                .recording = &recording,
                                .end = n,
                                .shaking = &shaking,
                                .decays = &decays,
                                .arena = own};
            quell_memory_fail_at(at);
            quell_status status = quell_doubts_add_recording(&modes, &in, NULL);
            quell_memory_fail_at(0);
            quell_arena_destroy(own);
            if (status == QUELL_OK)
                break;
            ck_assert_int_eq(status, QUELL_E_MEMORY);
            failed++;
        }
    ck_assert_uint_ge(failed, 8);
}
END_TEST

Suite *suite_doubts(void)
{
    Suite *suite = suite_create("doubts");
    TCase *cases = tcase_create("doubts");
    tcase_set_timeout(cases, 120);
    tcase_add_checked_fixture(cases, setup, teardown);
    tcase_add_test(cases, a_softening_spring_is_doubted);
    if (!IS_SHORTENED) {
        tcase_add_test(cases, a_linear_machine_is_not_doubted_when_shaken_at_random);
        tcase_add_test(cases, strokes_called_random_are_not_doubted);
        tcase_add_test(cases, linear_stops_are_not_doubted);
        tcase_add_test(cases, a_sweep_of_a_linear_machine_is_not_doubted);
    }
    tcase_add_test(cases, decays_of_a_softening_spring_are_doubted);
    tcase_add_test(cases, stops_of_different_level_are_compared);
    tcase_add_test(cases, stops_that_differ_by_direction_are_doubted);
    tcase_add_test(cases, a_line_that_moves_with_speed_is_no_mode);
    tcase_add_test(cases, a_sweep_of_a_softening_spring_is_doubted);
    tcase_add_test(cases, a_frame_that_moves_is_told_once);
    tcase_add_test(cases, close_modes_blur_each_others_direction);
    tcase_add_test(cases, decay_and_spectrum_that_disagree_are_told);
    tcase_add_test(cases, a_tone_on_top_of_a_mode_is_told);
    tcase_add_test(cases, the_gravest_doubts_are_kept);
    tcase_add_test(cases, memory_may_be_out);
    suite_add_tcase(suite, cases);
    return suite;
}
