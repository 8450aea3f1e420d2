/* report: the pictures of modes and free decays hold what is known beforehand, read back from the data they are drawn from. */
#include "suites.h"

#include "quell/report.h"
#include "report/plot_modes.h"
#include "report/plot_spectrum.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { POINTS_MAX = 4000 };

static char folder[64];

static void enter_folder(void)
{
    strcpy(folder, "/tmp/report-modes-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(folder));
}

static void leave_folder(void)
{
    char command[96];
    snprintf(command, sizeof command, "rm -rf '%s'", folder);
    ck_assert_int_eq(system(command), 0);
}

static const char *in_folder(const char *name)
{
    static char path[256];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return path;
}

/* Pictures need gnuplot; their data are kept in any case. */
static void check_drawn(quell_status status, const quell_error *err)
{
    ck_assert_msg(status == QUELL_OK || strstr(err->text, "not installed") != NULL, "%s", err->text);
}

static double row[POINTS_MAX][3];

/* The points of a curve of p.svg, both counted from 1; how many there are. */
static size_t read_curve(int panel, int curve)
{
    char line[256], head[64];
    FILE *stream = fopen(in_folder("p.plot/data.txt"), "r");
    size_t count = 0;
    bool inside = false;
    ck_assert_ptr_nonnull(stream);
    snprintf(head, sizeof head, "# panel %d curve %d\n", panel, curve);
    while (fgets(line, sizeof line, stream) != NULL) {
        if (line[0] == '#')
            inside = strcmp(line, head) == 0;
        else if (inside && sscanf(line, "%lf %lf %lf", &row[count][0], &row[count][1], &row[count][2]) == 3)
            count++;
    }
    fclose(stream);
    return count;
}

static bool script_has(const char *words)
{
    char line[512];
    bool found = false;
    FILE *stream = fopen(in_folder("p.plot/plot.gnuplot"), "r");
    ck_assert_ptr_nonnull(stream);
    while (fgets(line, sizeof line, stream) != NULL)
        found = found || strstr(line, words) != NULL;
    fclose(stream);
    return found;
}

/* ---------------------------------------------------------------- decays */

enum { RATE = 2000, BEFORE = 60, MOTION_END = 44, SHOWN = 860 };

static double measured[SHOWN], fitted[SHOWN];

/* Modes of amplitude a at the window's start on an offset of 0.3; measured lies 0.01 over it. */
static quell_decays make_decays(size_t count, const double (*mode)[3])
{
    quell_decays out = {.count = count, .stops = 8, .window = SHOWN - BEFORE, .noise_mps2 = 0.02};
    for (size_t k = 0; k < count; k++)
        out.mode[k] = (quell_decay){.frequency_hz = mode[k][0], .damping_ratio = mode[k][1]};
    for (size_t i = 0; i < SHOWN; i++) {
        double t_s = ((double)i - BEFORE) / RATE;
        fitted[i] = 0.3;
        for (size_t k = 0; k < count; k++) {
            double w = QUELL_TAU * mode[k][0], zeta = mode[k][1];
            fitted[i] += mode[k][2] * exp(-zeta * w * t_s) * cos(w * sqrt(1 - zeta * zeta) * t_s + 0.7 * (double)k);
        }
        measured[i] = fitted[i] + 0.01;
        fitted[i] = i < BEFORE ? (double)NAN : fitted[i];
    }
    out.shown_mps2 = measured;
    out.fitted_mps2 = fitted;
    out.shown = SHOWN;
    out.shown_before = BEFORE;
    out.shown_motion_end = MOTION_END;
    return out;
}

static const double three[3][3] = {{41, 0.04, 1.5}, {47.3, 0.03, 0.9}, {83, 0.028, 0.4}};

/* The curves of the upper panel: fitted, envelopes, measured. */
START_TEST(decay_picture_has_each_envelope)
{
    quell_error err = {0};
    quell_decays decays = make_decays(3, three);
    check_drawn(quell_plot_decay(&decays, RATE, "stops", 'y', in_folder("p.svg"), folder, &err), &err);
    for (int k = 0; k < 3; k++) {
        size_t count = read_curve(1, 2 + k);
        ck_assert_uint_eq(count, SHOWN - BEFORE);
        for (size_t i = 0; i < count; i += 100) {
            double t_s = (double)i / RATE;
            CHECK_NEAR(row[i][0], 1e3 * ((BEFORE - MOTION_END) / (double)RATE + t_s), 1e-6);
            CHECK_NEAR(row[i][1], 0.3 + three[k][2] * exp(-three[k][1] * QUELL_TAU * three[k][0] * t_s), 1e-6);
        }
    }
    ck_assert(script_has("Y axis, free decay after the strongest of 8 stops") && script_has("47.3 Hz, ζ 0.030") &&
              script_has("motion ends") && script_has("time since the motion ended (ms)"));
}
END_TEST

START_TEST(decay_picture_has_the_residual_and_the_noise)
{
    quell_error err = {0};
    quell_decays decays = make_decays(1, three);
    check_drawn(quell_plot_decay(&decays, RATE, "stops", 'x', in_folder("p.svg"), folder, &err), &err);
    ck_assert_uint_eq(read_curve(1, 4), SHOWN); /* fitted, the envelope's two sides, measured */
    CHECK_NEAR(row[0][0], -1e3 * MOTION_END / RATE, 1e-9);
    ck_assert_uint_eq(read_curve(2, 1), SHOWN - BEFORE); /* nothing is left where nothing was fitted */
    for (size_t i = 0; i < SHOWN - BEFORE; i += 50)
        CHECK_NEAR(row[i][1], 0.01, 1e-7);
    ck_assert(script_has("first 0.04 ") && script_has("first -0.04 ")); /* twice the noise */
}
END_TEST

START_TEST(decay_picture_says_where_time_starts)
{
    quell_error err = {0};
    quell_decays decays = make_decays(1, three);
    decays.shown_motion_end = 0;
    decays.noise_mps2 = (double)NAN;
    check_drawn(quell_plot_decay(&decays, RATE, "stops", 0, in_folder("p.svg"), folder, &err), &err);
    read_curve(2, 1);
    CHECK_NEAR(row[0][0], 0, 1e-9);
    ck_assert(script_has("time since the start of the fit (ms)") && !script_has("motion ends") && !script_has("noise"));
}
END_TEST

/* ---------------------------------------------------------------- densities */

enum { BINS = 400 };

static double density[3][BINS];

static quell_spectrum make_spectrum(void)
{
    quell_spectrum out = {.axes = 3, .bins = BINS, .rate_hz = 400, .bin_hz = 0.5, .dof = 20};
    out.window = quell_window_find("hann");
    out.segment = 800;
    out.hop = 200;
    out.segments = 20;
    quell_chi2_factors(out.dof, out.ci95_factor);
    for (size_t i = 0; i < 3; i++)
        out.asd_m2ps3[i] = density[i];
    return out;
}

static const quell_modes_options no_options;

static quell_modes make_modes(void)
{
    quell_modes out = {.count = 1, .band_hz = {25, 90}, .participation_known = true};
    out.mode[0] = (quell_mode){.frequency_hz = 47.3, .damping_ratio = 0.05, .participation = 1};
    out.fit.parameters = 6;
    out.density[0] = (quell_density_fit){.modes = 1,
                                         .frequency_hz = {47.3},
                                         .damping_ratio = {0.05},
                                         .participation = {1},
                                         .noise_log_level = -8,
                                         .direct = 1,
                                         .reference_hz = 47.3,
                                         .band_hz = {25, 90}};
    return out;
}

/* P is the model times chi2_20 at .975, .5 and .025 over 20: 34.1696, 19.3374, 9.59078 in the published tables. The normal
   deviates of these are 1.96, 0 and -1.96. */
START_TEST(residuals_are_standard_errors)
{
    static const double ratio[] = {34.1696 / 20, 19.3374 / 20, 9.59078 / 20}, want[] = {1.95996, 0, -1.95996};
    quell_error err = {0};
    quell_spectrum spectrum = make_spectrum();
    quell_modes modes = make_modes();
    ck_assert_int_eq(quell_modes_density(&modes, &spectrum, 0, &no_options, density[0], &err), QUELL_OK);
    for (size_t i = 0; i < BINS; i++)
        density[0][i] = isfinite(density[0][i]) ? density[0][i] * ratio[i % 3] : 1;
    check_drawn(quell_plot_modes(&spectrum, 0, &modes, &no_options, (const double[]){10, 150}, "x", 'x', in_folder("p.svg"),
                                 folder, &err),
                &err);
    size_t count = read_curve(2, 1);
    ck_assert_uint_eq(count, 2 * (90 - 25) + 1);
    for (size_t i = 0; i < count; i++)
        CHECK_NEAR(row[i][1], want[(size_t)(row[i][0] / spectrum.bin_hz + 0.5) % 3], 0.01);
    ck_assert(script_has("47.3 Hz, ζ 0.050") && !script_has("across it"));
}
END_TEST

/* A mode that only Z shows is marked there, on a panel of its own. */
START_TEST(modes_are_marked_where_they_were_seen)
{
    quell_error err = {0};
    quell_spectrum spectrum = make_spectrum();
    quell_modes modes = make_modes();
    modes.fit.parameters = 0; /* nothing fitted: two panels of densities */
    modes.mode[0].seen_on = 2;
    for (size_t axis = 0; axis < 3; axis++)
        for (size_t i = 0; i < BINS; i++)
            density[axis][i] = axis == 2 ? 0.01 : 1; /* -20 dB */
    check_drawn(quell_plot_modes(&spectrum, 0, &modes, &no_options, (const double[]){10, 150}, "x", 'x', in_folder("p.svg"),
                                 folder, &err),
                &err);
    ck_assert(script_has("across it, on Z") && script_has("47.3 Hz, ζ 0.050"));
    ck_assert_uint_gt(read_curve(2, 3), 100); /* behind the band and the fit */
    CHECK_NEAR(row[0][1], -20, 1e-9);
    ck_assert_uint_eq(read_curve(3, 1), 0);
}
END_TEST

START_TEST(spectrogram_has_the_modes_that_it_reaches)
{
    enum { SLICES = 4, ROWS = 50 };
    static double cells[SLICES * ROWS];
    quell_error err = {0};
    quell_spectrogram picture = {SLICES, ROWS, 2, 10, 0.5, cells};
    quell_modes modes = make_modes();
    modes.count = 2;
    modes.mode[1] = modes.mode[0];
    modes.mode[1].frequency_hz = 91; /* above what is shown */
    for (size_t i = 0; i < SLICES * ROWS; i++)
        cells[i] = 1 + (double)(i % 7);
    check_drawn(quell_plot_spectrogram(&picture, 'x', (const double[]){5, 80}, &modes, "x", in_folder("p.svg"), folder,
                                       &err),
                &err);
    ck_assert_uint_eq(read_curve(1, 2), 2);
    CHECK_NEAR(row[0][0], 9.75, 1e-9); /* half a slice before the first is centred */
    CHECK_NEAR(row[1][0], 11.75, 1e-9);
    CHECK_NEAR(row[1][1], 47.3, 1e-9);
    ck_assert_uint_eq(read_curve(1, 3), 0);
    ck_assert(script_has("modes dashed") && script_has("'47.3 Hz'"));
}
END_TEST

START_TEST(pictures_survive_failing_memory)
{
    quell_spectrum spectrum = make_spectrum();
    quell_modes modes = make_modes();
    quell_decays decays = make_decays(1, three);
    for (size_t n = 1; n < 9; n++) {
        quell_error err = {0};
        quell_memory_fail_at(n);
        ck_assert_int_eq(quell_plot_decay(&decays, RATE, "x", 'x', in_folder("p.svg"), NULL, &err), QUELL_E_MEMORY);
        quell_memory_fail_at(n);
        ck_assert_int_eq(quell_plot_modes(&spectrum, 0, &modes, &no_options, (const double[]){10, 150}, "x", 'x',
                                          in_folder("p.svg"), NULL, &err),
                         QUELL_E_MEMORY);
        quell_memory_fail_at(0);
    }
}
END_TEST

Suite *suite_report_modes(void)
{
    Suite *suite = suite_create("report_modes");
    TCase *cases = tcase_create("report_modes");
    tcase_add_checked_fixture(cases, enter_folder, leave_folder);
    tcase_set_timeout(cases, 120);
    tcase_add_test(cases, decay_picture_has_each_envelope);
    tcase_add_test(cases, decay_picture_has_the_residual_and_the_noise);
    tcase_add_test(cases, decay_picture_says_where_time_starts);
    tcase_add_test(cases, residuals_are_standard_errors);
    tcase_add_test(cases, modes_are_marked_where_they_were_seen);
    tcase_add_test(cases, spectrogram_has_the_modes_that_it_reaches);
    tcase_add_test(cases, pictures_survive_failing_memory);
    suite_add_tcase(suite, cases);
    return suite;
}
