/* ingest: false alarms. Simulated recordings that nothing is wrong with, of many machines, sensors and motions, are fit,
   and their stretches are what was commanded. */
#include "ingest_help.h"

#include "quell/simulate.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { MACHINES = 30 };

static double between(quell_random *random, double low, double high)
{
    return low + (high - low) * quell_random_uniform(random);
}

/* Frequencies, damping, noise and steps as sensors and machines of this kind have them. */
static quell_simulation draw(quell_excitation excitation, quell_random *random, uint64_t seed)
{
    static const double rates_hz[] = {1000, 1344, 1600, 2000, 3200, 4000};
    quell_simulation out = {.modes = 1 + (size_t)between(random, 0, 3),
                            .axis = quell_random_uniform(random) < 0.5 ? 'x' : 'y',
                            .excitation = excitation,
                            .random_rms_mps2 = between(random, 1.5, 4),
                            .seconds = between(random, 15, 30),
                            .stroke_m = between(random, 0.04, 0.08),
                            .speed_mps = between(random, 0.1, 0.25),
                            .acceleration_mps2 = between(random, 3, 8),
                            .dwell_s = between(random, 0.4, 1),
                            .rate_hz = rates_hz[(size_t)between(random, 0, 6)],
                            .noise_mps2_per_rthz = between(random, 50, 200) * 1e-6 * 9.80665,
                            .step_mps2 = between(random, 1, 4) * 1e-3 * 9.80665,
                            .lines = 1,
                            .seed = seed};
    out.preamble = (quell_preamble){between(random, 2, 4), 2, 0.06, 0.12, 0.4, 0.5};
    out.sweep = (quell_sweep){between(random, 5, 15), between(random, 90, 130), between(random, 2, 6),
                              between(random, 2, 6)};
    out.line[0] = (quell_line){between(random, 100, 300), between(random, 0, 0.1), {0.2, 0.3, 0.93}};
    for (size_t k = 0; k < 3; k++)
        out.rotation_rad[k] = between(random, -QUELL_PI, QUELL_PI);
    for (size_t m = 0; m < out.modes; m++) {
        out.mode[m].frequency_hz = m == 0 ? between(random, 22, 60) : between(random, 60, 110);
        out.mode[m].damping_ratio = between(random, 0.02, 0.08);
        for (size_t k = 0; k < 3; k++)
            out.mode[m].participation[k] = between(random, -0.1, 0.1);
        out.mode[m].participation[out.axis == 'x' ? 0 : 1] = m == 0 ? 1 : between(random, 0.1, 0.4);
    }
    return out;
}

static quell_recording record(const quell_simulation *setup, quell_arena *arena)
{
    static const char *const names[] = {"a1", "a2", "a3"};
    quell_simulated made;
    ck_assert_int_eq(quell_simulate(setup, arena, &made, NULL), QUELL_OK);
    quell_recording out = {
        .file = "made", .axes = 3, .samples = made.count, .rate_hz = setup->rate_hz, .has_time = true};
    for (size_t k = 0; k < 3; k++) {
        out.accel_mps2[k] = made.accel_mps2[k];
        out.axis_name[k] = names[k];
        out.step_mps2[k] = out.resolution_mps2[k] = setup->step_mps2;
    }
    return out;
}

static void complain(const quell_recording *recording, const quell_fitness *fitness, uint64_t seed)
{
    char words[600] = "";
    size_t used = 0;
    for (size_t s = 0; s < fitness->segments && used < sizeof words - 60; s++)
        used += (size_t)snprintf(words + used, sizeof words - used, " %s %.1f..%.1f",
                                 quell_stretch_word(fitness->segment[s].kind), fitness->segment[s].start_s,
                                 fitness->segment[s].end_s);
    ck_abort_msg("machine %d at %.0f Hz: %s: %s;%s", (int)seed, recording->rate_hz, fitness->verdict,
                 fitness->reason, words);
}

static const struct {
    quell_excitation excitation;
    quell_stretch kind;
} motions[] = {{QUELL_EXCITE_SWEEP, QUELL_SWEEP},
               {QUELL_EXCITE_RANDOM, QUELL_MOTION},
               {QUELL_EXCITE_STOPS, QUELL_STOPS}};

START_TEST(good_recordings_are_fit)
{
    quell_random *random = quell_random_create(17 + (uint64_t)_i);
    for (uint64_t seed = 1; seed <= MACHINES; seed++) {
        quell_arena *arena = quell_arena_create((size_t)1 << 28);
        quell_simulation setup = draw(motions[_i].excitation, random, seed);
        quell_recording recording = record(&setup, arena);
        quell_mounting mounting;
        quell_fitness fitness;
        ck_assert_int_eq(
            quell_mounting_find(&mounting, &recording, setup.axis, &(quell_read_options){0}, arena, NULL),
            QUELL_OK);
        quell_mounting_apply(&mounting, &recording);
        ck_assert_int_eq(quell_recording_judge(&fitness, &recording, setup.axis - 'x', arena, NULL),
                         QUELL_OK);
        const quell_stretch wanted[] = {QUELL_REST, QUELL_STROKES, QUELL_REST, motions[_i].kind, QUELL_REST};
        bool right = strcmp(fitness.verdict, "fit") == 0 && fitness.segments >= 4 && fitness.segments <= 5;
        for (size_t s = 0; s < fitness.segments && right; s++)
            right = fitness.segment[s].kind == wanted[s];
        if (!right)
            complain(&recording, &fitness, seed);
        quell_arena_destroy(arena);
    }
    quell_random_destroy(random);
}
END_TEST

Suite *suite_ingest_good(void)
{
    Suite *suite = suite_create("ingest good");
    TCase *cases = tcase_create("good");
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, good_recordings_are_fit, 0, 3);
    suite_add_tcase(suite, cases);
    return suite;
}
