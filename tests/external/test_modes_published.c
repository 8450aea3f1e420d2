/* modes against answers that others published: a steel frame shaken by its surroundings, a structure driven at three lines, and
   textbook relations. The recordings stay outside the project: their folder's README has sources and licences. */
#include "ingest_help.h"
#include "shortened.h"

#include "quell/modes.h"
#include "quell/simulate.h"

#include <gsl/gsl_integration.h>
#include <math.h>
#include <stdlib.h>

typedef struct reading {
    char *bytes;
    quell_arena *arena;
    quell_recording recording;
    quell_error err;
} reading;

/* False if the folder is not there. */
static bool begin(reading *out, const char *name, const quell_read_options *options)
{
    size_t length;
    *out = (reading){.bytes = test_recording_load(name, &length)};
    if (out->bytes == NULL)
        return false;
    out->arena = quell_arena_create((size_t)1 << 30);
    quell_status status = test_read_bytes(&out->recording, out->bytes, length, options, out->arena, &out->err);
    ck_assert_msg(status == QUELL_OK, "%s: %s", name, out->err.text);
    return true;
}

static void end(reading *done)
{
    quell_arena_destroy(done->arena);
    free(done->bytes);
}

/* pyOMA's steel frame (README of the recordings): eleven natural frequencies, published without damping. Bands and 40 s segments as
   a person would take them who knows the frame: two of the modes are 0.2 Hz apart. */
START_TEST(steel_frame)
{
    static const struct {
        double band_hz[2];
        size_t count;
        double frequency_hz[3];
    } bands[] = {{{1, 3}, 3, {1.2283, 1.4358, 2.1000}},
                 {{3, 6}, 2, {4.0175, 4.7704}},
                 {{6, 9}, 2, {6.6824, 7.6157}},
                 {{9, 11}, 1, {9.6653}},
                 {{11, 15}, 3, {12.1663, 12.5979, 13.8545}}};
    reading in;
    if (!begin(&in, "modal/steelframe_setup1_ref_xyz_256Hz.csv", &(quell_read_options){.rate = "256", .unit = "m/s2"}))
        return;
    const quell_shaking still = {.kind = QUELL_EXCITE_AMBIENT, .stated = true, .why = "as stated"};
    const quell_welch_options welch = {.overlap = -1, .segment = 40 * 256};
    for (size_t b = 0; b < sizeof bands / sizeof bands[0]; b++) {
        quell_modes_options options = {.band_hz = {bands[b].band_hz[0], bands[b].band_hz[1]}, .shaking = &still};
        quell_spectrum spectrum;
        quell_modes modes;
        quell_status status = quell_modes_measure(&in.recording, 0, NULL, &welch, &options, in.arena, &spectrum,
                                                  &modes, NULL, &in.err);
        ck_assert_msg(status == QUELL_OK, "%s", in.err.text);
        ck_assert_msg(modes.count == bands[b].count, "from %g Hz: %zu modes, want %zu", bands[b].band_hz[0],
                      modes.count, bands[b].count);
        for (size_t k = 0; k < modes.count; k++) {
            CHECK_NEAR(modes.mode[k].frequency_hz / bands[b].frequency_hz[k], 1, 0.01);
            ck_assert(isnan(modes.mode[k].participation));
            ck_assert_double_gt(modes.mode[k].damping_ratio, 0.0005);
            ck_assert_double_lt(modes.mode[k].damping_ratio, 0.01);
        }
    }
    end(&in);
}
END_TEST

/* Driven at 100, 120 and 150 Hz (README of the recordings): lines, whatever is said to have shaken it, and no modes there. */
START_TEST(driven_lines_are_no_modes)
{
    static const double lines_hz[] = {100, 120, 150};
    reading in;
    if (!begin(&in, "modal/hr4_set1_ds64.lvm", &(quell_read_options){.unit = "m/s2"}))
        return;
    const quell_welch_options welch = {.overlap = -1};
    for (int kind = QUELL_EXCITE_SWEEP; kind <= QUELL_EXCITE_AMBIENT; kind++) {
        const quell_shaking shaking = {.kind = (quell_excitation)kind, .stated = true, .why = "as stated"};
        const quell_modes_options options = {.band_hz = {20, 200}, .shaking = &shaking};
        quell_spectrum spectrum;
        quell_modes modes;
        quell_peak peak[24];
        size_t count = 0, lines = 0;
        if (kind == QUELL_EXCITE_STOPS)
            continue;
        quell_status status = quell_modes_measure(&in.recording, 0, NULL, &welch, &options, in.arena, &spectrum,
                                                  &modes, NULL, &in.err);
        ck_assert_msg(status == QUELL_OK, "%s", in.err.text);
        ck_assert_int_eq(quell_peaks_find(&spectrum, 0, 20, 200, peak, 24, &count, NULL), QUELL_OK);
        for (size_t l = 0; l < 3; l++) {
            for (size_t k = 0; k < modes.count; k++)
                ck_assert_msg(fabs(modes.mode[k].frequency_hz / lines_hz[l] - 1) > 0.02, "kind %d: a mode at %.2f Hz",
                              kind, modes.mode[k].frequency_hz);
            for (size_t i = 0; i < count; i++)
                lines += fabs(peak[i].frequency_hz / lines_hz[l] - 1) < 0.01 && peak[i].line;
        }
        ck_assert_msg(lines >= 2, "kind %d: %zu lines", kind, lines);
    }
    end(&in);
}
END_TEST

/* ---------------------------------------------------------------- blows */

/* As quell modes goes about it: mounted, judged, the kind found, measured along the axis that moves most. */
static void measure_as_told(reading *in, const quell_read_options *how, quell_modes *modes, quell_measured *measured)
{
    quell_mounting mounting;
    quell_fitness fitness;
    quell_spectrum spectrum;
    double scatter[3][3];
    const quell_welch_options welch = {.overlap = -1};
    const quell_modes_options options = {.shaking = NULL};
    ck_assert_int_eq(quell_mounting_find(&mounting, &in->recording, 0, how, in->arena, &in->err), QUELL_OK);
    quell_mounting_apply(&mounting, &in->recording);
    ck_assert_int_eq(quell_recording_judge(&fitness, &in->recording, -1, in->arena, &in->err), QUELL_OK);
    quell_recording_scatter(&in->recording, scatter);
    size_t axis = 0;
    for (size_t k = 1; k < in->recording.axes; k++)
        axis = scatter[k][k] > scatter[axis][axis] ? k : axis;
    quell_status status = quell_modes_measure(&in->recording, axis, &fitness, &welch, &options, in->arena, &spectrum, modes,
                                              measured, &in->err);
    ck_assert_msg(status == QUELL_OK, "%s", in->err.text);
}

/* One blow each, told as one, and its decay gives the mode. README of the recordings: vt_case1, which begins within the
   decay, 212.09253 Hz (published for the response function), damping about 0.08 %; the bolted beam 80.4 to 80.5 Hz, damping
   0.16 to 0.23 %, falling with amplitude. */
START_TEST(a_blow_gives_the_mode)
{
    static const struct {
        const char *name;
        quell_read_options how;
        size_t axes;
        double frequency_hz[2], damping_ratio[2];
    } rows[] = {{"modal/vt_case1_time_1280Hz.tsv", {.unit = "m/s2"}, 1, {211.5925, 212.5925}, {0.0007, 0.001}},
                {"modal/brb_hammer_12800Hz.csv", {0}, 3, {80.4, 80.5}, {0.0016, 0.0023}}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        reading in;
        quell_modes modes;
        quell_measured how;
        if (!begin(&in, rows[i].name, &rows[i].how))
            return;
        ck_assert_uint_eq(in.recording.axes, rows[i].axes); /* a Force column is none */
        measure_as_told(&in, &rows[i].how, &modes, &how);
        ck_assert_msg(how.shaking.kind == QUELL_EXCITE_STOPS && how.shaking.blow, "%s: %s", rows[i].name, how.shaking.why);
        ck_assert_msg(modes.count == 1, "%s: %zu modes", rows[i].name, modes.count);
        double hz = modes.mode[0].frequency_hz, zeta = modes.mode[0].damping_ratio;
        ck_assert_msg(hz > rows[i].frequency_hz[0] && hz < rows[i].frequency_hz[1], "%s: %.4f Hz", rows[i].name, hz);
        ck_assert_msg(zeta > rows[i].damping_ratio[0] && zeta < rows[i].damping_ratio[1], "%s: zeta %.6f", rows[i].name,
                      zeta);
        end(&in);
    }
}
END_TEST

/* A bridge that rings with dozens of modes at once (README of the recordings: peaks near 12.05, 25.88 and 29.40 Hz): a blow, too;
   its density has them, of an axis each, once the first 0.2 s are over. */
START_TEST(a_bridge_rings_where_it_was_published)
{
    static const struct {
        size_t axis;
        double frequency_hz;
    } rows[] = {{0, 12.05}, {0, 25.88}, {2, 29.40}};
    reading in;
    quell_modes modes;
    quell_measured how;
    quell_spectrum spectrum;
    const quell_read_options as_is = {.time_unit = "s"};
    if (!begin(&in, "modal/bridgeA_impulse_VI0.txt", &as_is))
        return;
    size_t first = (size_t)(1.2 * in.recording.rate_hz), n = in.recording.samples - first;
    const double *accel[3] = {in.recording.accel_mps2[0] + first, in.recording.accel_mps2[1] + first,
                              in.recording.accel_mps2[2] + first};
    const quell_welch_options whole = {.overlap = -1, .segment = n};
    ck_assert_int_eq(quell_spectrum_estimate(accel, 3, n, in.recording.rate_hz, NULL, 0, &whole, in.arena, &spectrum,
                                             &in.err),
                     QUELL_OK);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double *density = spectrum.asd_m2ps3[rows[i].axis];
        size_t top = (size_t)((rows[i].frequency_hz - 1) / spectrum.bin_hz), last = (size_t)((rows[i].frequency_hz + 1) / spectrum.bin_hz);
        for (size_t k = top; k <= last; k++)
            top = density[k] > density[top] ? k : top;
        CHECK_NEAR((double)top * spectrum.bin_hz, rows[i].frequency_hz, spectrum.bin_hz);
    }
    measure_as_told(&in, &as_is, &modes, &how);
    ck_assert_msg(how.shaking.blow, "%s", how.shaking.why);
    end(&in);
}
END_TEST

/* ---------------------------------------------------------------- tones */

/* The three driven lines keep their phase throughout; nothing else in the band of their harmonics does by chance. */
START_TEST(driven_lines_are_steady)
{
    reading in;
    bool steady;
    if (!begin(&in, "modal/hr4_set1_ds64.lvm", &(quell_read_options){.unit = "m/s2"}))
        return;
    for (double hz = 93.3; hz < 200; hz += 10) {
        ck_assert_int_eq(quell_tone_is_steady(&steady, &in.recording, 0, 0, in.recording.samples, hz, 0.5, &in.err), QUELL_OK);
        ck_assert_msg(!steady, "at %g Hz", hz);
    }
    for (double hz = 100; hz < 160; hz += hz < 110 ? 20 : 30) {
        ck_assert_int_eq(quell_tone_is_steady(&steady, &in.recording, 0, 0, in.recording.samples, hz, 0.5, &in.err), QUELL_OK);
        ck_assert_msg(steady, "at %g Hz", hz);
    }
    end(&in);
}
END_TEST

/* A mode rings as narrow as that, but not steadily; a tone in the same place is. */
START_TEST(ringing_is_not_steady)
{
    for (uint64_t run = 0; run < 40; run++) {
        bool tone = run % 2 == 0, steady;
        quell_arena *arena = quell_arena_create((size_t)1 << 27);
        quell_simulation of = {.axis = 'x',
                               .modes = 1,
                               .mode = {{112.2, tone ? 0.05 : 0.0015, {1, 0, 0}}},
                               .excitation = QUELL_EXCITE_AMBIENT,
                               .random_rms_mps2 = 0.05,
                               .seconds = 30,
                               .rate_hz = 1000,
                               .noise_mps2_per_rthz = 1e-3,
                               .lines = tone,
                               .line = {{112.2, 0.1, {1, 0, 0}}},
                               .seed = run};
        quell_simulated made;
        quell_error err = {0};
        ck_assert_int_eq(quell_simulate(&of, arena, &made, &err), QUELL_OK);
        quell_recording recording = {.axes = 1, .samples = made.count, .rate_hz = 1000, .accel_mps2 = {made.accel_mps2[0]}};
        ck_assert_int_eq(quell_tone_is_steady(&steady, &recording, 0, 0, made.count, 112.3, 0.5, &err), QUELL_OK);
        ck_assert_msg(steady == tone, "run %d", (int)run);
        /* three seconds are too few to tell: 1.5 bins are as wide as a damping ratio of 0.004 */
        ck_assert_int_eq(quell_tone_is_steady(&steady, &recording, 0, 0, 3000, 112.3, 0.5, &err), QUELL_OK);
        ck_assert(!steady);
        quell_arena_destroy(arena);
    }
}
END_TEST

/* ---------------------------------------------------------------- relations */

static double gain(double r, void *zeta)
{
    const quell_mode mode = {.frequency_hz = 1, .damping_ratio = *(double *)zeta, .participation = 1};
    double h = cabs(quell_response(&mode, 1, r));
    return h * h;
}

/* White base acceleration of density A on a mode of f and Q = 1 / (2 zeta): J. W. Miles, J. Aeronaut. Sci. 21, 1954 (from memory),
   as NASA's FEMCI page prints it, g_rms = sqrt(pi/2 f Q A); the absolute acceleration, which an accelerometer sees, is
   sqrt(1 + 4 zeta^2) times that. The numbers were recomputed by quadrature, tolerance 1e-9. */
START_TEST(white_acceleration)
{
    static const struct {
        double f_hz, q, density, miles, absolute;
    } rows[] = {{200, 20, .01, 7.926654595212022, 7.936556728485934}, {50, 10, .001, .886226925452758, .8906470372888593}};
    gsl_integration_workspace *work = gsl_integration_workspace_alloc(2000);
    for (size_t i = 0; i < 2; i++) {
        double zeta = 1 / (2 * rows[i].q), near, far, error;
        gsl_function of = {gain, &zeta};
        ck_assert_int_eq(gsl_integration_qag(&of, 0, 2, 0, 1e-11, 2000, GSL_INTEG_GAUSS61, work, &near, &error), 0);
        ck_assert_int_eq(gsl_integration_qagiu(&of, 2, 1e-12, 1e-11, 2000, work, &far, &error), 0);
        CHECK_NEAR(sqrt((near + far) * rows[i].f_hz * rows[i].density), rows[i].absolute, 1e-8);
        CHECK_NEAR(rows[i].absolute, rows[i].miles * sqrt(1 + 4 * zeta * zeta), 1e-12 * rows[i].miles);
    }
    gsl_integration_workspace_free(work);
}
END_TEST

/* S. S. Rao, Mechanical Vibrations, "Shock absorber for a motorcycle": amplitude to a quarter in half a cycle, delta 2.7726,
   zeta .4037. W. T. Thomson, Theory of Vibration, Example 2.7-1: delta .429, zeta .0681 (as printed; recomputed .42862, .068059). */
START_TEST(textbook_decrements)
{
    CHECK_NEAR(quell_damping_from_decrement(2.7726), 0.4037, 1e-4);
    CHECK_NEAR(quell_damping_from_decrement(2.772588722239781), 0.403712752, 1e-8);
    CHECK_NEAR(quell_damping_from_decrement(0.42862), 0.068059, 1e-6);
    CHECK_NEAR(quell_damping_from_decrement(0.429), 0.0681, 1e-4);
}
END_TEST

Suite *suite_modes_published(void)
{
    Suite *suite = suite_create("modes_published");
    TCase *cases = tcase_create("answers");
    tcase_set_timeout(cases, 120);
    if (!IS_SHORTENED)
        tcase_add_test(cases, steel_frame);
    tcase_add_test(cases, driven_lines_are_no_modes);
    tcase_add_test(cases, a_blow_gives_the_mode);
    tcase_add_test(cases, a_bridge_rings_where_it_was_published);
    tcase_add_test(cases, driven_lines_are_steady);
    tcase_add_test(cases, ringing_is_not_steady);
    tcase_add_test(cases, white_acceleration);
    tcase_add_test(cases, textbook_decrements);
    suite_add_tcase(suite, cases);
    return suite;
}
