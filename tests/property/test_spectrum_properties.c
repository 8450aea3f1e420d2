/* spectrum, properties: area, scaling, rotation, blocks, gaps, and the coverage of the confidence band. */
#include "suites.h"

#include "quell/spectrum.h"

#include <math.h>
#include <string.h>

enum { SAMPLES = 20000 };

static const double rate_hz = 1234.5;
static quell_arena *arena;
static double x[3][SAMPLES];

/* Three axes of coloured noise with a tone and an offset. */
static void setup(void)
{
    arena = quell_arena_create((size_t)1 << 30);
    quell_random *random = quell_random_create(7);
    ck_assert(arena != NULL && random != NULL);
    for (size_t i = 0; i < 3; i++) {
        double state = 0;
        for (size_t n = 0; n < SAMPLES; n++) {
            state = 0.8 * state + quell_random_normal(random);
            x[i][n] = state + 0.3 * (double)i * sin(0.9 * (double)n) + 9.81 * (double)(i == 2);
        }
    }
    quell_random_destroy(random);
}

static void teardown(void)
{
    quell_arena_destroy(arena);
}

static quell_spectrum estimate_with(const double *const *axes, size_t count, size_t n, size_t segment,
                                    double overlap, const quell_window *window, const size_t *break_at,
                                    size_t breaks)
{
    quell_welch_options options = {.window = window, .segment = segment, .overlap = overlap, .cross = true};
    quell_spectrum spectrum = {0};
    quell_error err = {0};
    quell_status status =
        quell_spectrum_estimate(axes, count, n, rate_hz, break_at, breaks, &options, arena, &spectrum, &err);
    ck_assert_msg(status == QUELL_OK, "%s", err.text);
    return spectrum;
}

static quell_spectrum estimate(const double *const *axes, size_t count)
{
    return estimate_with(axes, count, SAMPLES, 512, -1, NULL, NULL, 0);
}

static double area(const quell_spectrum *spectrum, size_t axis)
{
    double sum = 0;
    for (size_t k = 0; k < spectrum->bins; k++)
        sum += spectrum->asd_m2ps3[axis][k] * spectrum->bin_hz;
    return sum;
}

/* Parseval, for every window and an odd and an even segment: the area is the mean over segments of the
   window-weighted mean square about the segment's mean; with a rectangular window that is the mean square
   itself. */
START_TEST(area_is_the_mean_square)
{
    size_t count;
    const quell_window *table = quell_windows(&count);
    const size_t lengths[] = {501, 512};
    for (size_t i = 0; i < 2 * count; i++) {
        size_t length = lengths[i % 2], hop = length - (size_t)(0.6 * (double)length + 0.5), segments = 0;
        const double *axes[] = {x[0]};
        quell_spectrum spectrum = estimate_with(axes, 1, SAMPLES, length, 0.6, &table[i / 2], NULL, 0);
        double w[512], power = 0, sum = 0;
        quell_window_fill(&table[i / 2], w, length);
        for (size_t n = 0; n < length; n++)
            power += w[n] * w[n];
        for (size_t at = 0; at + length <= SAMPLES; at += hop, segments++) {
            double mean = 0;
            for (size_t n = 0; n < length; n++)
                mean += x[0][at + n] / (double)length;
            for (size_t n = 0; n < length; n++)
                sum += pow(w[n] * (x[0][at + n] - mean), 2) / power;
        }
        ck_assert_uint_eq(spectrum.segments, segments);
        CHECK_NEAR(area(&spectrum, 0) / (sum / (double)segments), 1, 1e-12);
    }
}
END_TEST

/* The area of a stationary record is its variance, within what chance makes of 20000 samples. */
START_TEST(area_is_near_the_variance)
{
    const double *axes[] = {x[0]};
    quell_spectrum spectrum = estimate(axes, 1);
    double mean = 0, variance = 0;
    for (size_t n = 0; n < SAMPLES; n++)
        mean += x[0][n] / SAMPLES;
    for (size_t n = 0; n < SAMPLES; n++)
        variance += pow(x[0][n] - mean, 2) / SAMPLES;
    CHECK_NEAR(area(&spectrum, 0) / variance, 1, 0.03);
}
END_TEST

START_TEST(amplitude_scales_by_its_square)
{
    static double y[SAMPLES];
    for (size_t n = 0; n < SAMPLES; n++)
        y[n] = 8 * x[1][n]; /* a power of two: exact */
    const double *axes[] = {x[1]}, *scaled[] = {y};
    quell_spectrum a = estimate(axes, 1), b = estimate(scaled, 1);
    for (size_t k = 0; k < a.bins; k++)
        ck_assert_double_eq(b.asd_m2ps3[0][k], 64 * a.asd_m2ps3[0][k]);
}
END_TEST

/* Halving the rate stretches the axis of frequency and keeps the area. */
START_TEST(frequency_scales_with_the_rate)
{
    const double *axes[] = {x[1]};
    quell_welch_options options = {.segment = 512, .overlap = -1};
    quell_spectrum a, b;
    ck_assert_int_eq(quell_spectrum_estimate(axes, 1, SAMPLES, 800, NULL, 0, &options, arena, &a, NULL),
                     QUELL_OK);
    ck_assert_int_eq(quell_spectrum_estimate(axes, 1, SAMPLES, 400, NULL, 0, &options, arena, &b, NULL),
                     QUELL_OK);
    ck_assert_double_eq(a.bin_hz, 2 * b.bin_hz);
    CHECK_NEAR(area(&a, 0) / area(&b, 0), 1, 1e-14);
    for (size_t k = 0; k < a.bins; k++)
        ck_assert_double_eq(b.asd_m2ps3[0][k], 2 * a.asd_m2ps3[0][k]);
}
END_TEST

/* Turning the sensor keeps the sum over axes; the cross-spectral matrix turns as a matrix does. */
START_TEST(rotation_keeps_the_sum_over_axes)
{
    double c1 = cos(.3), s1 = sin(.3), c2 = cos(-.7), s2 = sin(-.7);
    const double turn[3][3] = {{c1, -s1, 0}, {c2 * s1, c2 * c1, -s2}, {s2 * s1, s2 * c1, c2}};
    static double y[3][SAMPLES];
    for (size_t n = 0; n < SAMPLES; n++)
        for (size_t i = 0; i < 3; i++)
            y[i][n] = turn[i][0] * x[0][n] + turn[i][1] * x[1][n] + turn[i][2] * x[2][n];
    const double *axes[] = {x[0], x[1], x[2]}, *turned[] = {y[0], y[1], y[2]};
    quell_spectrum a = estimate(axes, 3), b = estimate(turned, 3);
    for (size_t k = 0; k < a.bins; k++) {
        double complex matrix[3][3];
        double before = 0, after = 0;
        for (size_t i = 0; i < 3; i++) {
            before += a.asd_m2ps3[i][k];
            after += b.asd_m2ps3[i][k];
            for (size_t j = 0; j < 3; j++)
                matrix[i][j] = i == j  ? a.asd_m2ps3[i][k]
                               : i < j ? a.cross_m2ps3[i][j][k]
                                       : conj(a.cross_m2ps3[j][i][k]);
        }
        CHECK_NEAR(after / before, 1, 1e-11);
        for (size_t i = 0; i < 3; i++)
            for (size_t j = i + 1; j < 3; j++) {
                double complex want = 0;
                for (size_t p = 0; p < 3; p++)
                    for (size_t q = 0; q < 3; q++)
                        want += turn[i][p] * turn[j][q] * matrix[p][q];
                ck_assert_double_lt(cabs(b.cross_m2ps3[i][j][k] - want), 1e-11 * before);
            }
    }
}
END_TEST

/* One bin's cross density by hand: E[conj(X_i) X_j], so that a delay of d samples turns it by -2 pi f d /
   fs. */
START_TEST(cross_density_has_the_phase_of_a_delay)
{
    static double y[SAMPLES];
    memcpy(y, x[0], sizeof y);
    const double *axes[] = {y, y + 3};
    quell_spectrum spectrum = estimate_with(axes, 2, SAMPLES - 3, 512, -1, NULL, NULL, 0);
    for (size_t k = 20; k < 200; k++) { /* the second is ahead by 3 samples */
        double phase = carg(spectrum.cross_m2ps3[0][1][k]), want = QUELL_TAU * 3 * (double)k / 512;
        CHECK_NEAR(remainder(phase - want, QUELL_TAU), 0, 0.05);
    }
    ck_assert_ptr_null(spectrum.cross_m2ps3[0][2]);
    ck_assert_ptr_null(spectrum.asd_m2ps3[2]);
}
END_TEST

static void check_identical(const quell_spectrum *a, const quell_spectrum *b)
{
    ck_assert_uint_eq(a->segments, b->segments);
    for (size_t i = 0; i < a->axes; i++) {
        ck_assert_mem_eq(a->asd_m2ps3[i], b->asd_m2ps3[i], a->bins * sizeof(double));
        for (size_t j = i + 1; j < a->axes; j++)
            ck_assert_mem_eq(a->cross_m2ps3[i][j], b->cross_m2ps3[i][j], a->bins * sizeof(double complex));
    }
}

/* Whatever the blocks in which samples come, the result is the same to the last bit. */
START_TEST(blocks_do_not_matter)
{
    const size_t blocks[] = {1, 7, 127, 128, 511, 512, 513, 4096, SAMPLES};
    const double *axes[] = {x[0], x[1], x[2]};
    quell_spectrum whole = estimate(axes, 3);
    for (size_t b = 0; b < sizeof blocks / sizeof blocks[0]; b++) {
        quell_welch *welch = NULL;
        quell_welch_options options = {.segment = 512, .overlap = -1, .cross = true};
        ck_assert_int_eq(quell_welch_create(&welch, 3, &options, NULL), QUELL_OK);
        for (size_t at = 0; at < SAMPLES; at += blocks[b]) {
            size_t n = SAMPLES - at < blocks[b] ? SAMPLES - at : blocks[b];
            const double *part[] = {x[0] + at, x[1] + at, x[2] + at};
            ck_assert_int_eq(quell_welch_add(welch, part, n, NULL), QUELL_OK);
        }
        quell_spectrum spectrum;
        ck_assert_int_eq(quell_welch_finish(welch, rate_hz, arena, &spectrum, NULL), QUELL_OK);
        quell_welch_destroy(welch);
        check_identical(&whole, &spectrum);
    }
}
END_TEST

/* No segment straddles a break: what is left is the two parts' segments, and nothing of what lies between. */
START_TEST(breaks_drop_the_segments_that_straddle_them)
{
    static double y[SAMPLES];
    memcpy(y, x[0], sizeof y);
    size_t breaks[] = {5000, 5300, 20000, 30000};
    for (size_t n = 5000; n < 5300; n++)
        y[n] = 1e6; /* too short a stretch for a segment: its samples must leave no trace */
    const double *axes[] = {y};
    quell_spectrum broken = estimate_with(axes, 1, SAMPLES, 512, -1, NULL, breaks, 4);
    size_t first = (5000 - 512) / 128 + 1, second = (SAMPLES - 5300 - 512) / 128 + 1;
    ck_assert_uint_eq(broken.segments, first + second);
    const double *a_axes[] = {x[0]}, *b_axes[] = {x[0] + 5300};
    quell_spectrum a = estimate_with(a_axes, 1, 5000, 512, -1, NULL, NULL, 0);
    quell_spectrum b = estimate_with(b_axes, 1, SAMPLES - 5300, 512, -1, NULL, NULL, 0);
    for (size_t k = 0; k < a.bins; k++) {
        double want = ((double)first * a.asd_m2ps3[0][k] + (double)second * b.asd_m2ps3[0][k]) /
                      (double)(first + second);
        CHECK_NEAR(broken.asd_m2ps3[0][k] / want, 1, 1e-12);
    }
}
END_TEST

/* Of the 95 % bands of white noise of known density, 95 % hold it: those of inner bins, and the Nyquist
   bin's wider one. Four hundred recordings of 12 segments at 75 % overlap, every eighth bin (independent
   ones): one standard error of the share is 0.4 % for inner bins and 1.1 % for the Nyquist bin; three are
   allowed. 0 Hz is left out: the segments' means are taken off. */
START_TEST(confidence_band_covers_white_noise)
{
    enum { LENGTH = 128, N = LENGTH * 15 / 4, RUNS = 400 };
    static double y[N];
    quell_random *random = quell_random_create(99);
    ck_assert_ptr_nonnull(random);
    size_t inside = 0, count = 0, nyquist = 0;
    double truth = 2 / rate_hz; /* variance 1 over rate / 2 */
    for (size_t run = 0; run < RUNS; run++) {
        for (size_t n = 0; n < N; n++)
            y[n] = quell_random_normal(random);
        const double *axes[] = {y};
        quell_arena *own = quell_arena_create(1 << 20);
        quell_spectrum spectrum;
        quell_welch_options options = {.segment = LENGTH, .overlap = 0.75};
        ck_assert_int_eq(
            quell_spectrum_estimate(axes, 1, N, rate_hz, NULL, 0, &options, own, &spectrum, NULL), QUELL_OK);
        ck_assert_uint_eq(spectrum.segments, 12);
        for (size_t k = 4; k < spectrum.bins - 3; k += 8, count++) {
            double p = spectrum.asd_m2ps3[0][k];
            inside += p * spectrum.ci95_factor[0] <= truth && truth <= p * spectrum.ci95_factor[1];
        }
        double p = spectrum.asd_m2ps3[0][spectrum.bins - 1], factor[2];
        quell_chi2_factors(spectrum.dof / 2, factor);
        nyquist += p * factor[0] <= truth / 2 && truth / 2 <= p * factor[1];
        quell_arena_destroy(own);
    }
    quell_random_destroy(random);
    double share = (double)inside / (double)count;
    ck_assert_msg(fabs(share - 0.95) < 0.013, "inner bins covered: %.4f", share);
    share = (double)nyquist / RUNS;
    ck_assert_msg(fabs(share - 0.95) < 0.035, "the Nyquist bin covered: %.4f", share);
}
END_TEST

/* The same accumulator fed with samples and breaks, by so many threads. */
static quell_spectrum stream(size_t threads, size_t segment, size_t n, const size_t *break_at, size_t breaks)
{
    quell_welch *welch = NULL;
    quell_welch_options options = {
        .segment = segment, .overlap = -1, .cross = true, .threads = threads, .rate_hz = rate_hz};
    ck_assert_int_eq(quell_welch_create(&welch, 3, &options, NULL), QUELL_OK);
    for (size_t b = 0, at = 0; b <= breaks; b++) {
        size_t end = b < breaks ? break_at[b] : n;
        while (at < end) { /* in parts that fit neither segments nor groups */
            size_t part = end - at < 777 ? end - at : 777;
            const double *axes[] = {x[0] + at, x[1] + at, x[2] + at};
            ck_assert_int_eq(quell_welch_add(welch, axes, part, NULL), QUELL_OK);
            at += part;
        }
        if (b < breaks)
            ck_assert_int_eq(quell_welch_break(welch, NULL), QUELL_OK);
    }
    quell_spectrum spectrum;
    ck_assert_int_eq(quell_welch_finish(welch, rate_hz, arena, &spectrum, NULL), QUELL_OK);
    quell_welch_destroy(welch);
    return spectrum;
}

/* The number of threads changes no bit of the result, with and without breaks; ten times each, for they race. */
START_TEST(threads_change_nothing)
{
    static const size_t threads[] = {2, 3, 5, 16, 99};
    const size_t breaks[] = {100, 3000, 3400, 9000};
    for (size_t with = 0; with < 2; with++) {
        quell_spectrum alone = stream(1, 256, SAMPLES, breaks, with * 4);
        for (size_t i = 0; i < 10 * sizeof threads / sizeof threads[0]; i++) {
            quell_spectrum shared = stream(threads[i / 10], 256, SAMPLES, breaks, with * 4);
            ck_assert_uint_eq(shared.segments, alone.segments);
            check_identical(&alone, &shared);
        }
    }
}
END_TEST

/* An accumulator that was given no segment chooses the one that quell_welch_segment gives for the whole recording, be it
   shorter or longer than what is held for the choice, with breaks and without. */
START_TEST(a_segment_chosen_late_is_the_one_chosen_for_the_whole)
{
    static const size_t lengths[] = {200, 3000, 7000, 14813, 14814, 14815, SAMPLES};
    const size_t breaks[] = {50, 160, 190};
    for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++)
        for (size_t count = 0; count <= 3; count += 3) {
            if (count > 0 && lengths[i] < 1000)
                continue; /* no segment is left whole */
            size_t segment = quell_welch_segment(rate_hz, lengths[i], 0);
            quell_spectrum late = stream(2, 0, lengths[i], breaks, count);
            quell_spectrum told = stream(1, segment, lengths[i], breaks, count);
            ck_assert_uint_eq(late.segment, segment);
            ck_assert_uint_eq(late.segments, told.segments);
            check_identical(&told, &late);
        }
}
END_TEST

/* Turning the spectrum is the same as turning the samples, and scaling it as scaling them: exact mathematics. */
START_TEST(a_turned_spectrum_is_that_of_turned_samples)
{
    static const double map[3][3] = {{0.36, 0.48, -0.8}, {-0.8, 0.6, 0}, {0.48, 0.64, 0.6}}; /* a rotation */
    static const double scale[3] = {9.80665, 0.001, -2};
    static double turned[3][SAMPLES];
    for (size_t n = 0; n < SAMPLES; n++)
        for (size_t a = 0; a < 3; a++) {
            turned[a][n] = 0;
            for (size_t i = 0; i < 3; i++)
                turned[a][n] += map[a][i] * scale[i] * x[i][n];
        }
    const double *sensor[] = {x[0], x[1], x[2]}, *machine[] = {turned[0], turned[1], turned[2]};
    quell_spectrum spectrum = estimate(sensor, 3), want = estimate(machine, 3);
    quell_spectrum_scale(&spectrum, scale);
    ck_assert(quell_spectrum_turn(&spectrum, map));
    for (size_t k = 0; k < want.bins; k++) {
        double all = want.asd_m2ps3[0][k] + want.asd_m2ps3[1][k] + want.asd_m2ps3[2][k];
        for (size_t i = 0; i < 3; i++) {
            CHECK_NEAR(spectrum.asd_m2ps3[i][k] / all, want.asd_m2ps3[i][k] / all, 1e-11);
            for (size_t j = i + 1; j < 3; j++)
                CHECK_NEAR(cabs(spectrum.cross_m2ps3[i][j][k] - want.cross_m2ps3[i][j][k]) / all, 0, 1e-11);
        }
    }
    quell_spectrum two = estimate(sensor, 2);
    ck_assert(!quell_spectrum_turn(&two, map));
}
END_TEST

Suite *suite_spectrum_properties(void)
{
    Suite *suite = suite_create("spectrum_properties");
    TCase *cases = tcase_create("spectrum_properties");
    tcase_add_checked_fixture(cases, setup, teardown);
    tcase_add_test(cases, area_is_the_mean_square);
    tcase_add_test(cases, area_is_near_the_variance);
    tcase_add_test(cases, amplitude_scales_by_its_square);
    tcase_add_test(cases, frequency_scales_with_the_rate);
    tcase_add_test(cases, rotation_keeps_the_sum_over_axes);
    tcase_add_test(cases, cross_density_has_the_phase_of_a_delay);
    tcase_add_test(cases, blocks_do_not_matter);
    tcase_add_test(cases, breaks_drop_the_segments_that_straddle_them);
    tcase_add_test(cases, threads_change_nothing);
    tcase_add_test(cases, a_segment_chosen_late_is_the_one_chosen_for_the_whole);
    tcase_add_test(cases, a_turned_spectrum_is_that_of_turned_samples);
    tcase_add_test(cases, confidence_band_covers_white_noise);
    suite_add_tcase(suite, cases);
    return suite;
}
