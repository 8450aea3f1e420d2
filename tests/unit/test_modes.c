/* modes: the search on densities made exactly by the model: values found again, what is left out, what is
   doubted, and every refusal. */
#include "suites.h"

#include "quell/modes.h"

#include <math.h>
#include <string.h>

enum { BINS = 801 };

static const double bin_hz = 0.5;
static double density[3][BINS];
static double complex cross[3][3][BINS];
static quell_arena *arena;

static void setup(void)
{
    arena = quell_arena_create(1 << 24);
    ck_assert_ptr_nonnull(arena);
}

static void teardown(void)
{
    quell_arena_destroy(arena);
}

typedef struct truth {
    double f_hz, zeta, c;
} truth;

/* |H|^2 written down anew, without quell's own response. */
static double response_square(const truth *mode, size_t count, double x_hz)
{
    double real = 1, imaginary = 0;
    for (size_t k = 0; k < count; k++) {
        double r = x_hz / mode[k].f_hz, a = 1 - r * r, b = 2 * mode[k].zeta * r, size = a * a + b * b;
        real += mode[k].c * r * r * a / size;
        imaginary -= mode[k].c * r * r * b / size;
    }
    return real * real + imaginary * imaginary;
}

/* What a Hann window makes of S(x) = gain(x) |H|^2 + noise: the kernel (sinc(d) / (1 - d^2))^2 in steps of
   1/8 bin. */
static double smeared(const truth *mode, size_t count, const quell_shaper *shaper, double x_hz, double noise)
{
    double sum = 0, norm = 0;
    for (int i = -48; i <= 48; i++) {
        double d = i / 8.0, at_hz = fabs(x_hz + d * bin_hz);
        double s = d == 0 ? 1 : sin(QUELL_PI * d) / (QUELL_PI * d);
        double kernel = fabs(d) == 1 ? 0.25 : pow(s / (1 - d * d), 2);
        double gain = 0.05;
        if (shaper != NULL) {
            double c = 0, si = 0;
            for (size_t j = 0; j < shaper->count; j++) {
                c += shaper->amplitude[j] * cos(QUELL_TAU * at_hz * shaper->time_s[j]);
                si += shaper->amplitude[j] * sin(QUELL_TAU * at_hz * shaper->time_s[j]);
            }
            gain *= c * c + si * si;
        }
        sum += kernel * gain * response_square(mode, count, at_hz);
        norm += kernel;
    }
    return sum / norm + noise;
}

/* A sweep's spectrum: the expected values stand in it. */
static quell_spectrum spectrum_of(const truth *mode, size_t count, const quell_shaper *shaper, double noise)
{
    for (size_t k = 0; k < BINS; k++)
        density[0][k] = smeared(mode, count, shaper, (double)k * bin_hz, noise);
    return (quell_spectrum){.axes = 1,
                            .bins = BINS,
                            .rate_hz = 2 * (BINS - 1) * bin_hz,
                            .bin_hz = bin_hz,
                            .window = quell_window_find("hann"),
                            .segment = 2 * (BINS - 1),
                            .hop = (BINS - 1) / 2,
                            .segments = 58,
                            .dof = 60,
                            .asd_m2ps3 = {density[0]}};
}

static quell_modes find(const quell_spectrum *spectrum, const quell_modes_options *options)
{
    static const quell_modes_options none;
    quell_modes modes = {0};
    quell_error err = {0};
    quell_status status =
        quell_modes_find(spectrum, 0, options != NULL ? options : &none, arena, &modes, &err);
    ck_assert_msg(status == QUELL_OK, "%s", err.text);
    return modes;
}

static void check_mode(const quell_mode *got, const truth *want, double tolerance)
{
    CHECK_NEAR(got->frequency_hz / want->f_hz, 1, tolerance / 10);
    CHECK_NEAR(got->damping_ratio / want->zeta, 1, tolerance);
    CHECK_NEAR(got->participation, want->c, tolerance);
}

static bool doubted(const quell_mode *mode, const char *words)
{
    for (size_t i = 0; i < mode->doubts; i++)
        if (strstr(mode->doubt[i], words) != NULL)
            return true;
    return false;
}

/* ---------------------------------------------------------------- found again */

static const truth demo[] = {{47.3, .046, 1}, {83.5, .028, .22}};

START_TEST(modes_are_found_again)
{
    static const struct {
        size_t count;
        truth mode[3];
    } rows[] = {{1, {{31.8, .062, 1}}},
                {1, {{47.3, .046, .6}}},
                {1, {{62, .02, 1.2}}},
                {2, {{47.3, .046, 1}, {83.5, .028, .22}}},
                {2, {{47.3, .046, 1}, {83.5, .028, -.22}}},
                {2, {{52, .03, .6}, {58, .03, .4}}},
                {2, {{68.95, .0803, 1}, {119.12, .0226, -.356}}},
                {3, {{53.14, .0638, 1}, {101.7, .0379, -.326}, {135.2, .032, .289}}},
                {3, {{28, .05, .7}, {52, .04, .25}, {90, .03, .1}}}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_spectrum spectrum = spectrum_of(rows[i].mode, rows[i].count, NULL, 1e-6);
        quell_modes modes = find(&spectrum, NULL);
        ck_assert_msg(modes.count == rows[i].count, "row %zu: %zu modes", i, modes.count);
        /* what is known beforehand pulls a little: the data's weight is that of a recording, not infinite */
        for (size_t k = 0; k < modes.count; k++)
            check_mode(&modes.mode[k], &rows[i].mode[k], 0.03);
        ck_assert_double_lt(modes.fit.rms_log_misfit, 0.01);
        CHECK_NEAR(modes.fit.input_log_level, log(0.05), 0.008);
        CHECK_NEAR(modes.fit.input_slope, 0, 0.1);
        ck_assert_uint_eq(modes.fit.parameters, 3 * modes.count + 3);
        ck_assert_str_eq(modes.fit.objective, "Whittle likelihood of the Welch density");
    }
}
END_TEST

/* Without scatter a sweep's intervals are what the method itself is off by, as the design has it: standard errors of 0.1 %
   and 1 %, 1.96 of them; the rate's 95 % in quadrature; all in logarithms. */
START_TEST(intervals_are_formed_in_logarithms)
{
    quell_spectrum spectrum = spectrum_of(demo, 2, NULL, 1e-6);
    quell_modes_options options = {.rate_relative_error = 0.0075};
    for (int with_rate = 0; with_rate < 2; with_rate++) {
        quell_modes modes = find(&spectrum, with_rate ? &options : NULL);
        double f = with_rate ? sqrt(0.00196 * 0.00196 + 0.0075 * 0.0075) : 0.00196;
        ck_assert_uint_eq(modes.count, 2);
        for (size_t k = 0; k < 2; k++) {
            const quell_mode *mode = &modes.mode[k];
            CHECK_NEAR(log(mode->frequency_ci95_hz[0] / mode->frequency_hz), -f, 1e-4);
            CHECK_NEAR(log(mode->frequency_ci95_hz[1] / mode->frequency_hz), f, 1e-4);
            CHECK_NEAR(log(mode->damping_ratio_ci95[0] / mode->damping_ratio), -0.0196, 2e-3);
            CHECK_NEAR(log(mode->damping_ratio_ci95[1] / mode->damping_ratio), 0.0196, 2e-3);
            ck_assert(isnan(mode->decay_damping_ratio));
            ck_assert(isnan(mode->direction[0]));
        }
    }
}
END_TEST

/* A negative participation's interval runs upwards, too. */
START_TEST(interval_of_a_negative_participation)
{
    const truth mode[] = {{47.3, .046, 1}, {83.5, .028, -.22}};
    quell_spectrum spectrum = spectrum_of(mode, 2, NULL, 1e-6);
    quell_modes modes = find(&spectrum, NULL);
    ck_assert_double_lt(modes.mode[1].participation_ci95[0], modes.mode[1].participation);
    ck_assert_double_gt(modes.mode[1].participation_ci95[1], modes.mode[1].participation);
}
END_TEST

START_TEST(shaper_that_was_on_is_taken_out)
{
    static const char *const specs[] = {"zv:32.7:0.062", "ei:59.8:0.046:0.05", "zvd:40:0.1"};
    for (size_t i = 0; i < sizeof specs / sizeof specs[0]; i++) {
        quell_shaper shaper;
        ck_assert_int_eq(quell_shaper_parse(&shaper, specs[i], NULL), QUELL_OK);
        quell_spectrum spectrum = spectrum_of(demo, 2, &shaper, 1e-8);
        quell_modes_options options = {.shaper_on = &shaper};
        quell_modes modes = find(&spectrum, &options);
        ck_assert_msg(modes.count == 2, "%s: %zu modes", specs[i], modes.count);
        check_mode(&modes.mode[0], &demo[0], 0.05);
        check_mode(&modes.mode[1], &demo[1], 0.05);
        double fitted[BINS];
        ck_assert_int_eq(quell_modes_density(&modes, &spectrum, 0, &(const quell_modes_options){.shaper_on = &shaper}, fitted, NULL), QUELL_OK);
        for (size_t k = 100; k < 180; k++) /* the same where the notches are */
            CHECK_NEAR(log(fitted[k] / density[0][k]), 1.0 / 60, 0.05);
    }
}
END_TEST

START_TEST(fitted_density_follows_the_data)
{
    quell_spectrum spectrum = spectrum_of(demo, 2, NULL, 1e-6);
    quell_modes modes = find(&spectrum, NULL);
    double fitted[BINS];
    ck_assert_int_eq(quell_modes_density(&modes, &spectrum, 0, &(const quell_modes_options){0}, fitted, NULL), QUELL_OK);
    size_t inside = 0;
    for (size_t k = 0; k < BINS; k++) {
        double x_hz = (double)k * bin_hz;
        bool in_band = x_hz > modes.band_hz[0] - 0.1 && x_hz < modes.band_hz[1] + 0.1;
        ck_assert_int_eq(isfinite(fitted[k]), in_band);
        if (in_band)
            CHECK_NEAR(log(fitted[k] / density[0][k]), 1.0 / 60, 0.03);
        inside += in_band;
    }
    CHECK_NEAR(modes.band_hz[0], 0.55 * 47.3, 1);
    CHECK_NEAR(modes.band_hz[1], 1.5 * 83.5, 1.5);
    ck_assert_uint_gt(inside, 150);
    modes = (quell_modes){0}; /* nothing fitted: nothing to draw */
    ck_assert_int_eq(quell_modes_density(&modes, &spectrum, 0, &(const quell_modes_options){0}, fitted, NULL), QUELL_OK);
    for (size_t k = 0; k < BINS; k++)
        ck_assert(isnan(fitted[k]));
}
END_TEST

/* A direction from the cross-spectral matrix, and the axis that is asked for. */
START_TEST(axis_and_direction)
{
    const double u[] = {cos(0.2) * sin(0.1), cos(0.2) * cos(0.1), -sin(0.2)};
    quell_spectrum spectrum = spectrum_of(demo, 2, NULL, 1e-6);
    double all[BINS];
    memcpy(all, density[0], sizeof all);
    spectrum.axes = 3;
    for (size_t i = 0; i < 3; i++) {
        spectrum.asd_m2ps3[i] = density[i];
        for (size_t j = i; j < 3; j++)
            for (size_t k = 0; k < BINS; k++) {
                cross[i][j][k] = u[i] * u[j] * all[k];
                if (i == j)
                    density[i][k] = u[i] * u[i] * all[k];
                spectrum.cross_m2ps3[i][j] = i < j ? cross[i][j] : NULL;
            }
    }
    quell_modes modes;
    quell_modes_options options = {0};
    ck_assert_int_eq(quell_modes_find(&spectrum, 1, &options, arena, &modes, NULL), QUELL_OK);
    ck_assert_uint_eq(modes.count, 2);
    for (size_t i = 0; i < 3; i++)
        CHECK_NEAR(modes.mode[0].direction[i], u[i], 1e-9);
    ck_assert(!doubted(&modes.mode[0], "across"));
    ck_assert_int_eq(quell_modes_find(&spectrum, 2, &options, arena, &modes, NULL), QUELL_OK);
    ck_assert_uint_eq(modes.count, 2);
    ck_assert(doubted(&modes.mode[0], "moves mostly across Z"));
}
END_TEST

/* ---------------------------------------------------------------- left out */

START_TEST(no_mode_is_an_answer)
{
    quell_spectrum spectrum = spectrum_of(demo, 0, NULL, 1e-6);
    quell_modes modes = find(&spectrum, NULL);
    ck_assert_uint_eq(modes.count, 0);
    ck_assert_uint_eq(modes.fit.parameters, 0);
    CHECK_NEAR(modes.band_hz[0], 5, 1e-9);
    CHECK_NEAR(modes.band_hz[1], 250, 1e-9);
    memset(density[0], 0, sizeof density[0]); /* an axis that saw nothing at all */
    modes = find(&spectrum, NULL);
    ck_assert_uint_eq(modes.count, 0);
}
END_TEST

START_TEST(ignored_modes_are_left_out_with_their_reason)
{
    quell_spectrum spectrum = spectrum_of(demo, 2, NULL, 1e-6);
    const quell_ignored ignored[] = {{200, "nothing there"}, {81, "the spool"}, {82, "said twice"}};
    quell_modes_options options = {.ignored = ignored, .ignored_count = 3};
    quell_modes modes = find(&spectrum, &options);
    ck_assert_uint_eq(modes.count, 1);
    check_mode(&modes.mode[0], &demo[0], 0.03); /* fitted all the same: it does not harm its neighbour */
    ck_assert_uint_eq(modes.left_out, 1);
    check_mode(&modes.left_out_mode[0], &demo[1], 0.03);
    ck_assert_str_eq(modes.left_out_reason[0], "the spool");
    double fitted[BINS];
    ck_assert_int_eq(quell_modes_density(&modes, &spectrum, 0, &(const quell_modes_options){0}, fitted, NULL), QUELL_OK);
    CHECK_NEAR(log(fitted[167] / density[0][167]), 0, 0.03);
}
END_TEST

START_TEST(band_limits_the_search)
{
    quell_spectrum spectrum = spectrum_of(demo, 2, NULL, 1e-6);
    quell_modes_options options = {.band_hz = {20, 70}};
    quell_modes modes = find(&spectrum, &options);
    ck_assert_uint_eq(modes.count, 1);
    CHECK_NEAR(modes.mode[0].frequency_hz, 47.3, 0.25); /* the mode at 83.5 Hz, beyond the band, pulls */
    ck_assert_double_le(modes.band_hz[1], 70);
    ck_assert_double_ge(modes.band_hz[0], 20);
}
END_TEST

/* A tone on a mode's flank, and one in the dip between the modes, where it does not rise over the floor and
   shows only once the modes are fitted: neither fitted nor in the way. */
START_TEST(line_is_no_mode)
{
    static const double at_bins[] = {130.3, 146.3}, height[] = {3, 0.1}; /* 65.15 and 73.15 Hz */
    for (size_t i = 0; i < 2; i++) {
        quell_spectrum spectrum = spectrum_of(demo, 2, NULL, 1e-6);
        for (size_t k = 0; k < BINS; k++) {
            double d = fabs((double)k - at_bins[i]), s = sin(QUELL_PI * d) / (QUELL_PI * d);
            density[0][k] += height[i] * pow(s / (1 - d * d), 2);
        }
        quell_modes modes = find(&spectrum, NULL);
        ck_assert_uint_eq(modes.count, 2);
        check_mode(&modes.mode[0], &demo[0], 0.05);
        check_mode(&modes.mode[1], &demo[1], 0.05);
        ck_assert_double_lt(modes.fit.rms_log_misfit, 0.03);
    }
}
END_TEST

/* Half a bin wide: no way to tell it from a line, so no mode; with a segment four times as long it is one. */
START_TEST(mode_narrower_than_the_bins_is_not_claimed)
{
    const truth narrow[] = {{60, .002, 1}}, wide[] = {{60, .008, 1}};
    quell_spectrum spectrum = spectrum_of(narrow, 1, NULL, 1e-4);
    ck_assert_uint_eq(find(&spectrum, NULL).count, 0);
    spectrum = spectrum_of(wide, 1, NULL, 1e-4);
    quell_modes modes = find(&spectrum, NULL);
    ck_assert_uint_eq(modes.count, 1);
    check_mode(&modes.mode[0], &wide[0], 0.05);
}
END_TEST

/* Beyond the end of the excitation the density falls by 14 dB at once, as after a sweep: no mode, and not
   fitted. */
START_TEST(end_of_the_excitation_is_no_mode)
{
    quell_spectrum spectrum = spectrum_of(demo, 2, NULL, 1e-9);
    for (size_t k = 0; k < BINS; k++)
        if ((double)k * bin_hz > 110 || (double)k * bin_hz < 30)
            density[0][k] *= 0.04;
    quell_modes modes = find(&spectrum, NULL);
    ck_assert_uint_eq(modes.count, 2);
    check_mode(&modes.mode[0], &demo[0], 0.05);
    check_mode(&modes.mode[1], &demo[1], 0.05);
    ck_assert_double_le(modes.band_hz[1], 110);
    ck_assert_double_ge(modes.band_hz[0], 30);
}
END_TEST

/* What lies beyond the step belongs to another excitation, if to any: told of, not fitted. */
START_TEST(peak_beyond_the_excitation_is_not_fitted)
{
    const truth far[] = {{47.3, .046, 1}, {83.5, .028, .22}, {140, .02, .2}};
    quell_spectrum spectrum = spectrum_of(far, 3, NULL, 1e-9);
    for (size_t k = 0; k < BINS; k++)
        if ((double)k * bin_hz > 110)
            density[0][k] *= 0.04;
    quell_modes modes = find(&spectrum, NULL);
    ck_assert_uint_eq(modes.count, 2);
    CHECK_NEAR(modes.excited_hz[1], 108.5, 1.6);
    CHECK_NEAR(modes.excited_hz[0], 5, 0.5);
    quell_peak peak[8];
    size_t count = 0, beyond = 0;
    ck_assert_int_eq(quell_peaks_find(&spectrum, 0, 5, 250, peak, 8, &count, NULL), QUELL_OK);
    for (size_t i = 0; i < count; i++)
        beyond += peak[i].frequency_hz > modes.excited_hz[1] && !peak[i].line;
    ck_assert_uint_eq(beyond, 1);
}
END_TEST

/* An excitation that sets in gradually has no step; the band stops where the fit no longer foretells the
   density. */
START_TEST(gradual_end_of_the_excitation_is_not_fitted)
{
    const truth mode[] = {{31.8, .062, 1}};
    quell_spectrum spectrum = spectrum_of(mode, 1, NULL, 1e-9);
    for (size_t k = 1; k < BINS; k++)
        if ((double)k * bin_hz < 23)
            density[0][k] *= pow((double)k * bin_hz / 23, 9);
    quell_modes modes = find(&spectrum, NULL);
    ck_assert_uint_eq(modes.count, 1);
    check_mode(&modes.mode[0], &mode[0], 0.08);
    ck_assert_double_ge(modes.band_hz[0], 18.5); /* 0.55 f would be 17.5 Hz, where 10 dB are missing */
}
END_TEST

/* ---------------------------------------------------------------- doubts */

START_TEST(doubts_come_with_their_evidence)
{
    static const struct {
        size_t count;
        truth mode[2];
        quell_modes_options options;
        const char *words;
    } rows[] = {
        {1, {{11, .06, 1}}, {.band_hz = {5, 60}}, "below 15 Hz: the bench or the frame rocking?"},
        {1, {{50, .2, 1}}, {.band_hz = {5, 200}}, "damping ratio above 0.15"},
        {2, {{52, .03, .6}, {58, .03, .4}}, {.band_hz = {5, 200}}, "one of two close modes, 52 and 58 Hz"},
        {1, {{47.3, .046, 1}}, {.band_hz = {20, 48}}, "at the edge of the band searched"},
        {1, {{190, .04, 1}}, {.band_hz = {50, 390}}, "above a fifth of the sampling rate of 800 Hz"},
        {1, {{20, .015, 1}}, {.band_hz = {5, 100}}, "hardly wider than a bin"},
        {1, {{50, .05, 2.4}}, {.band_hz = {5, 200}}, "participation of 2.4, where 1 carries the whole axis"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_spectrum spectrum = spectrum_of(rows[i].mode, rows[i].count, NULL, 1e-6);
        quell_modes modes = find(&spectrum, &rows[i].options);
        ck_assert_msg(modes.count == rows[i].count, "row %zu: %zu modes", i, modes.count);
        ck_assert_msg(doubted(&modes.mode[0], rows[i].words), "row %zu", i);
    }
    quell_spectrum spectrum = spectrum_of(demo, 2, NULL, 1e-6);
    quell_modes modes = find(&spectrum, NULL);
    ck_assert_uint_eq(modes.mode[0].doubts, 0);
    ck_assert_uint_eq(modes.mode[1].doubts, 0);
}
END_TEST

/* ---------------------------------------------------------------- several recordings */

static quell_modes made(size_t count, const truth *mode)
{
    quell_modes modes = {.count = count};
    for (size_t k = 0; k < count; k++)
        modes.mode[k] = (quell_mode){.frequency_hz = mode[k].f_hz,
                                     .frequency_ci95_hz = {.99 * mode[k].f_hz, 1.01 * mode[k].f_hz},
                                     .damping_ratio = mode[k].zeta,
                                     .damping_ratio_ci95 = {.8 * mode[k].zeta, 1.2 * mode[k].zeta},
                                     .participation = mode[k].c,
                                     .participation_ci95 = {.8 * mode[k].c, 1.2 * mode[k].c}};
    return modes;
}

/* Standard deviations and geometric means by hand: three conditions, whose errors are alike. */
START_TEST(recordings_are_pooled)
{
    const truth first[] = {{46, .05, 1}}, second[] = {{48, .04, .8}, {90, .03, .2}},
                third[] = {{47, .045, .9}, {120, .02, .1}};
    quell_modes each[] = {made(1, first), made(2, second), made(2, third)}, pooled;
    quell_mode_spread spread[QUELL_MODES_MAX];
    static const char *const apart[] = {"z=0", "z=90", "z=180"};
    for (size_t i = 0; i < 3; i++)
        for (int side = 0; side < 2; side++)
            each[i].mode[0].participation_ci95[side] = each[i].mode[0].participation + (side ? .1 : -.1);
    quell_modes_pool(each, 3, apart, &pooled, spread);
    ck_assert_uint_eq(pooled.count, 3); /* 120 Hz, which only the third has, is kept too */
    CHECK_NEAR(pooled.mode[0].frequency_hz, cbrt(46.0 * 48 * 47), 1e-9);
    CHECK_NEAR(pooled.mode[0].damping_ratio, cbrt(.05 * .04 * .045), 1e-12);
    CHECK_NEAR(pooled.mode[0].participation, .9, 1e-12);
    CHECK_NEAR(pooled.mode[0].frequency_ci95_hz[0], .99 * 46, 1e-12);
    CHECK_NEAR(pooled.mode[0].frequency_ci95_hz[1], 1.01 * 48, 1e-12);
    CHECK_NEAR(pooled.mode[0].damping_ratio_ci95[1], 1.2 * .05, 1e-12);
    ck_assert_uint_eq(spread[0].recordings, 3);
    CHECK_NEAR(spread[0].frequency_hz, 1, 1e-9);
    CHECK_NEAR(spread[0].damping_ratio, .005, 1e-12);
    ck_assert_uint_eq(spread[0].lowest, 0);
    ck_assert_uint_eq(spread[0].highest, 1);
    CHECK_NEAR(pooled.mode[1].frequency_hz, 90, 1e-9);
    ck_assert_uint_eq(spread[1].recordings, 1);
    ck_assert(isnan(spread[1].frequency_hz));
}
END_TEST

/* ---------------------------------------------------------------- refusals */

START_TEST(refusals_leave_the_result_alone)
{
    quell_spectrum spectrum = spectrum_of(demo, 2, NULL, 1e-6);
    static const struct {
        size_t axis;
        quell_modes_options options;
        quell_status status;
        const char *text;
    } rows[] = {
        {1, {.band_hz = {0, 0}}, QUELL_E_USAGE, "axis 1 of a spectrum of 1, want less"},
        {0, {.band_hz = {60, 40}}, QUELL_E_USAGE, "band is 60 to 40 Hz, want a range within 0 to 400 Hz"},
        {0, {.band_hz = {20, 500}}, QUELL_E_USAGE, "band is 20 to 500 Hz, want a range within 0 to 400 Hz"},
        {0, {.band_hz = {-1, 50}}, QUELL_E_USAGE, "band is -1 to 50 Hz"},
        {0,
         {.band_hz = {40, 44}},
         QUELL_E_DATA,
         "band 40 to 44 Hz holds fewer than 12 bins of 0.5 Hz, want a longer segment"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_modes modes = {.count = 77};
        quell_error err = {0};
        ck_assert_int_eq(quell_modes_find(&spectrum, rows[i].axis, &rows[i].options, arena, &modes, &err),
                         rows[i].status);
        ck_assert_msg(strstr(err.text, rows[i].text) != NULL, "row %zu: '%s'", i, err.text);
        ck_assert_uint_eq(modes.count, 77);
        ck_assert_int_eq(quell_modes_find(&spectrum, rows[i].axis, &rows[i].options, arena, &modes, NULL),
                         rows[i].status);
    }
}
END_TEST

/* Each allocation fails in turn until all succeed: an error, no crash, nothing lost (the sanitizer counts).
   */
START_TEST(failing_allocations)
{
    static double x[3][6000];
    quell_random *random = quell_random_create(4);
    for (size_t i = 0; i < 3; i++) {
        double state[2] = {0};
        for (size_t n = 0; n < 6000; n++) { /* a resonance at 40 of 400 Hz */
            double next = 1.58 * state[0] - 0.96 * state[1] + quell_random_normal(random);
            state[1] = state[0];
            x[i][n] = state[0] = next;
        }
    }
    quell_random_destroy(random);
    const double *axes[] = {x[0], x[1], x[2]};
    quell_shaper shaper;
    ck_assert_int_eq(quell_shaper_parse(&shaper, "zv:70", NULL), QUELL_OK);
    quell_welch_options welch = {.segment = 160, .overlap = -1, .cross = true};
    quell_modes_options options = {.shaper_on = &shaper};
    quell_status status = QUELL_E_MEMORY;
    size_t tried = 0;
    for (size_t n = 1; status != QUELL_OK; n++, tried++) {
        quell_memory_fail_at(n);
        quell_arena *own = quell_arena_create(1 << 22);
        quell_spectrum spectrum;
        quell_modes modes = {.count = 77};
        quell_error err = {0};
        double *fitted = NULL;
        status = own == NULL
                     ? QUELL_E_MEMORY
                     : quell_spectrum_estimate(axes, 3, 6000, 400, NULL, 0, &welch, own, &spectrum, &err);
        if (status == QUELL_OK)
            status = quell_modes_find(&spectrum, 0, &options, own, &modes, &err);
        if (status == QUELL_OK && (fitted = QUELL_NEW(own, double, spectrum.bins)) == NULL)
            status = QUELL_E_MEMORY;
        if (status == QUELL_OK)
            status = quell_modes_density(&modes, &spectrum, 0, &(const quell_modes_options){.shaper_on = &shaper}, fitted, &err);
        quell_memory_fail_at(0);
        if (status == QUELL_OK)
            ck_assert_uint_ge(modes.count, 1);
        else
            ck_assert_int_eq(status, QUELL_E_MEMORY);
        quell_arena_destroy(own);
        ck_assert_uint_lt(n, 500);
    }
    ck_assert_uint_gt(tried, 20);
}
END_TEST

Suite *suite_modes(void)
{
    Suite *suite = suite_create("modes");
    TCase *cases = tcase_create("modes");
    tcase_set_timeout(cases, 60);
    tcase_add_checked_fixture(cases, setup, teardown);
    tcase_add_test(cases, modes_are_found_again);
    tcase_add_test(cases, intervals_are_formed_in_logarithms);
    tcase_add_test(cases, interval_of_a_negative_participation);
    tcase_add_test(cases, shaper_that_was_on_is_taken_out);
    tcase_add_test(cases, fitted_density_follows_the_data);
    tcase_add_test(cases, axis_and_direction);
    tcase_add_test(cases, no_mode_is_an_answer);
    tcase_add_test(cases, ignored_modes_are_left_out_with_their_reason);
    tcase_add_test(cases, band_limits_the_search);
    tcase_add_test(cases, line_is_no_mode);
    tcase_add_test(cases, mode_narrower_than_the_bins_is_not_claimed);
    tcase_add_test(cases, end_of_the_excitation_is_no_mode);
    tcase_add_test(cases, peak_beyond_the_excitation_is_not_fitted);
    tcase_add_test(cases, gradual_end_of_the_excitation_is_not_fitted);
    tcase_add_test(cases, doubts_come_with_their_evidence);
    tcase_add_test(cases, recordings_are_pooled);
    tcase_add_test(cases, refusals_leave_the_result_alone);
    tcase_add_test(cases, failing_allocations);
    suite_add_tcase(suite, cases);
    return suite;
}
