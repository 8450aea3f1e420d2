/* Recordings for the study: a machine drawn by chance from a row's ranges, a sensor mounted at any angle. */
#include "study.h"

#include <math.h>
#include <string.h>

#define NOISE_MPS2_PER_RTHZ (120e-6 * QUELL_STANDARD_GRAVITY_MPS2)
#define STEP_MPS2 (0.004 * QUELL_STANDARD_GRAVITY_MPS2)

enum { OVERSAMPLE = 8, SAMPLED_RATES = 4 };

/* Steele, Lea and Flood's mixing function (OOPSLA 2014). */
static uint64_t mix(uint64_t value)
{
    value += UINT64_C(0x9e3779b97f4a7c15);
    value = (value ^ (value >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    value = (value ^ (value >> 27)) * UINT64_C(0x94d049bb133111eb);
    return value ^ (value >> 31);
}

/* A row's recordings do not change when rows are added. */
static uint64_t own_seed(const study_row *row, uint64_t seed, size_t index)
{
    uint64_t name = UINT64_C(0xcbf29ce484222325); /* Fowler, Noll and Vo's hash */
    for (const char *at = row->name; *at != '\0'; at++)
        name = (name ^ (uint64_t)(unsigned char)*at) * UINT64_C(0x100000001b3);
    return mix(mix(seed) ^ name) + index;
}

static double between(quell_random *random, study_range range)
{
    return range.low + (range.high - range.low) * quell_random_uniform(random);
}

/* Modes of no fixed direction: each moves the other axes by up to a tenth of its own participation. */
static void draw_machine(quell_simulation *out, const study_row *row, quell_random *random)
{
    out->rate_hz =
        row->rate_hz > 0 ? row->rate_hz : 2000 + 400 * floor(SAMPLED_RATES * quell_random_uniform(random));
    for (size_t k = 0; k < row->modes; k++) {
        const study_mode_range *range = &row->mode[k];
        double c = between(random, range->participation);
        const study_range aside = {-0.1 * c, 0.1 * c};
        out->mode[k] =
            (quell_simulated_mode){.frequency_hz = between(random, range->frequency_hz),
                                   .damping_ratio = between(random, range->damping_ratio),
                                   .participation = {c, between(random, aside), between(random, aside)}};
    }
    for (size_t k = 0; k < 3; k++)
        out->rotation_rad[k] = QUELL_PI * (2 * quell_random_uniform(random) - 1);
}

static quell_simulation plan(const study_row *row, quell_random *random, uint64_t seed)
{
    quell_simulation out = {.modes = row->modes,
                            .axis = 'x',
                            .excitation = row->excitation,
                            .sweep = {12, 115, 1.7, 4}, /* 60.6 s */
                            .random_rms_mps2 = row->excitation == QUELL_EXCITE_AMBIENT ? 0.2 : 2,
                            .seconds = row->seconds,
                            .preamble = {3, 2, 0.06, 0.12, 0.4, 0.5},
                            .stroke_m = 0.06,
                            .speed_mps = 0.2,
                            .acceleration_mps2 = 6,
                            .dwell_s = 1.5,
                            .noise_mps2_per_rthz = NOISE_MPS2_PER_RTHZ,
                            .step_mps2 = STEP_MPS2,
                            .lines = row->line.amplitude_mps2 > 0 ? 1 : 0,
                            .line = {row->line},
                            .oversample = OVERSAMPLE,
                            .seed = seed};
    draw_machine(&out, row, random);
    if (row->excitation ==
        QUELL_EXCITE_AMBIENT) /* nothing moves along a known axis, so no mounting can be found */
        memset(out.rotation_rad, 0, sizeof out.rotation_rad);
    return out;
}

/* Shakes every mode by its base as well, as a building or a second motor does. */
static quell_status add_background(quell_simulated *made, const quell_simulation *setup, double rms_mps2,
                                   quell_arena *arena, quell_error *err)
{
    quell_simulation ambient = *setup;
    ambient.excitation = QUELL_EXCITE_AMBIENT;
    ambient.random_rms_mps2 = rms_mps2;
    ambient.seconds = (double)made->count / made->rate_hz + 1;
    ambient.noise_mps2_per_rthz = ambient.step_mps2 = 0;
    ambient.lines = 0;
    ambient.seed += UINT64_C(1) << 40;
    quell_simulated beside;
    quell_status status = quell_simulate(&ambient, arena, &beside, err);
    if (status != QUELL_OK)
        return status;
    double turn[3][3];
    quell_simulated_rotation(setup->rotation_rad, turn); /* gravity is in both */
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < made->count; i++)
            made->accel_mps2[k][i] += beside.accel_mps2[k][i] - QUELL_STANDARD_GRAVITY_MPS2 * turn[k][2];
    return QUELL_OK;
}

/* White noise through a slope (one pole) and a broad hump (two poles of damping ratio 0.7 to 1.5), the same for all axes
   but for its level: what no mode made. */
static void add_coloured_noise(quell_simulated *made, const quell_simulation *setup, quell_random *random)
{
    double rate_hz = setup->rate_hz;
    double corner = exp(-QUELL_TAU * between(random, (study_range){2, 200}) / rate_hz);
    double sloped = between(random, (study_range){0, 1}), humped = between(random, (study_range){0, 1});
    double w = QUELL_TAU * between(random, (study_range){20, 120}) / rate_hz;
    double zeta = between(random, (study_range){0.7, 1.5});
    for (size_t k = 0; k < 3; k++) {
        double slow = 0, place = 0, speed = 0, level = k == 0 ? 0.3 : 0.1;
        for (size_t i = 0; i < made->count; i++) {
            double white = level * quell_random_normal(random);
            slow = corner * slow + (1 - corner) * white;
            speed += w * (white - place) - 2 * zeta * w * speed;
            place += w * speed;
            double value =
                (1 - sloped) * white + sloped * slow / (1 - corner) + humped * 2 * zeta * speed / w;
            made->accel_mps2[k][i] += value;
        }
    }
}

static void dress(quell_recording *out, const quell_simulated *made, const quell_simulation *setup)
{
    *out = (quell_recording){.file = "made",
                             .format = "made",
                             .unit = "m/s2",
                             .axes = 3,
                             .samples = made->count,
                             .rate_hz = setup->rate_hz,
                             .rate_ci95_hz = {setup->rate_hz, setup->rate_hz},
                             .has_time = true};
    static const char *const names[] = {"a1", "a2", "a3"};
    for (size_t k = 0; k < 3; k++) {
        out->accel_mps2[k] = made->accel_mps2[k];
        out->scale_mps2[k] = 1;
        out->axis_name[k] = names[k];
        out->step_mps2[k] = out->resolution_mps2[k] = setup->step_mps2;
    }
}

quell_status study_record(study_recording *out, const study_row *row, uint64_t seed, size_t index,
                          quell_arena *arena, quell_error *err)
{
    uint64_t own = own_seed(row, seed, index);
    quell_random *random = quell_random_create(mix(own) & UINT64_C(0xffffffff));
    if (random == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory");
    *out = (study_recording){.setup = plan(row, random, mix(own ^ 1) >> 8)};
    quell_simulated made;
    quell_simulation first = out->setup;
    if (row->background_mps2 > 0 || row->noise)
        first.step_mps2 = 0; /* the sensor steps once, at the end */
    quell_status status = quell_simulate(&first, arena, &made, err);
    if (status == QUELL_OK && row->background_mps2 > 0)
        status = add_background(&made, &out->setup, row->background_mps2, arena, err);
    if (status == QUELL_OK && row->noise)
        add_coloured_noise(&made, &out->setup, random);
    quell_random_destroy(random);
    if (status != QUELL_OK)
        return status;
    if (first.step_mps2 == 0)
        for (size_t k = 0; k < 3; k++)
            for (size_t i = 0; i < made.count; i++)
                made.accel_mps2[k][i] = STEP_MPS2 * floor(made.accel_mps2[k][i] / STEP_MPS2 + 0.5);
    dress(&out->recording, &made, &out->setup);
    out->start_s = made.start_s;
    out->end_s = made.end_s;
    return QUELL_OK;
}
