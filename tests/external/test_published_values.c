/* published values: what the stages say of series, processes and modes whose answers others published or derived. */
#include "ingest_help.h"

#include "modes/modes_private.h"
#include "quell/simulate.h"

#include <gsl/gsl_integration.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static quell_spectrum estimate(const double *series, size_t n, const char *window, quell_arena *arena)
{
    const quell_welch_options how = {.window = quell_window_find(window), .segment = n, .overlap = 0};
    quell_spectrum out;
    quell_error err = {0};
    quell_status status = quell_spectrum_estimate(&series, 1, n, 1, NULL, 0, &how, arena, &out, &err);
    ck_assert_msg(status == QUELL_OK, "%s", err.text);
    return out;
}

/* ---------------------------------------------------------------- white base acceleration */

/* g = H - 1 is the relative acceleration by the driven one with its sign turned, g / r^2 the displacement's response. */
static double displacement(double r, void *zeta)
{
    const quell_mode mode = {.frequency_hz = 1, .damping_ratio = *(double *)zeta, .participation = 1};
    double g = cabs(quell_response(&mode, 1, r) - 1) / (r * r);
    return g * g;
}

static double velocity(double r, void *zeta)
{
    return r * r * displacement(r, zeta);
}

/* The integrals over all r of |H|^2 and of r^2 |H|^2 are pi / (4 zeta) (S. H. Crandall and W. D. Mark, Random Vibration in
   Mechanical Systems, 1963, from memory): 15.707963267949 for zeta 0.05. The relative displacement's rms is then
   sqrt(Q A / (32 pi^3 f^3)), as pages on Miles' equation print it. */
START_TEST(white_base_acceleration)
{
    double zeta = 0.05, near, far, error;
    gsl_integration_workspace *work = gsl_integration_workspace_alloc(2000);
    gsl_function of[] = {{displacement, &zeta}, {velocity, &zeta}};
    for (size_t i = 0; i < 2; i++) {
        /* below 1e-3, where H - 1 loses its digits, |H|^2 is 1 within 2e-6 */
        double low = i == 0 ? 1e-3 : 1e-9 / 3;
        ck_assert_int_eq(gsl_integration_qag(&of[i], 1e-3, 2, 1e-10, 0, 2000, GSL_INTEG_GAUSS61, work, &near, &error), 0);
        ck_assert_int_eq(gsl_integration_qagiu(&of[i], 2, 1e-10, 0, 2000, work, &far, &error), 0);
        CHECK_NEAR(low + near + far, 15.707963267949, 1e-8);
        double f_hz = 50, density = 0.001, q = 1 / (2 * zeta), w = QUELL_TAU * f_hz;
        double rms_m = sqrt(density * f_hz * (low + near + far)) / (w * w);
        if (i == 0)
            CHECK_NEAR(rms_m / sqrt(q * density / (32 * pow(QUELL_PI, 3) * pow(f_hz, 3))), 1, 1e-9);
    }
    gsl_integration_workspace_free(work);
}
END_TEST

/* Miles' equation on a recording: Q 20 at 200 Hz under 0.01 (m/s2)^2/Hz, 7.926654595212022 rms in a drive that is flat, times
   sqrt(1 + 4 zeta^2) of absolute acceleration: 7.936556728485934. The simulated drive is flat up to half the rate only, and
   falls a little before, as do means over a sample; both a few parts in a thousand here. About 2 pi zeta f T = 12600
   independent values make 0.45 %: the bound is four of them and these. */
START_TEST(miles_on_a_recording)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 29);
    const quell_simulation of = {.axis = 'x',
                                 .modes = 1,
                                 .mode = {{200, 0.025, {1, 0, 0}}},
                                 .excitation = QUELL_EXCITE_RANDOM,
                                 .random_rms_mps2 = sqrt(0.01 * 2000),
                                 .seconds = 400,
                                 .rate_hz = 4000,
                                 .oversample = 4,
                                 .seed = 20};
    quell_simulated made;
    quell_error err = {0};
    ck_assert_msg(quell_simulate(&of, arena, &made, &err) == QUELL_OK, "%s", err.text);
    const double *accel[] = {made.accel_mps2[0]};
    const quell_welch_options how = {.overlap = -1, .segment = 8000};
    quell_spectrum spectrum;
    ck_assert_int_eq(quell_spectrum_estimate(accel, 1, made.count, made.rate_hz, NULL, 0, &how, arena, &spectrum, &err),
                     QUELL_OK);
    double square = 0;
    for (size_t k = 1; (double)k * spectrum.bin_hz < 1000; k++)
        square += spectrum.asd_m2ps3[0][k] * spectrum.bin_hz;
    CHECK_NEAR(sqrt(square) / 7.936556728485934, 1, 0.025);
    quell_arena_destroy(arena);
}
END_TEST

/* ---------------------------------------------------------------- expectations */

/* sum over |k| < N of (1 - |k|/N) s_k e^-iwk, w = 2 pi bin / N. */
static double debiased(const double *acv, size_t n, size_t bin)
{
    double sum = acv[0];
    for (size_t k = 1; k < n; k++)
        sum += 2 * (1 - (double)k / (double)n) * acv[k] * cos(QUELL_TAU * (double)(bin * k) / (double)n);
    return sum;
}

/* The expected periodogram (A. M. Sykulski et al., Biometrika 106, 2019; for autocovariances 1, 1/2, 1/4, 1/8 and N = 4:
   2.0625, .75, .4375, .75, exact). With s = L L^T, L triangular, it is the sum of the columns' periodograms, which the spectrum
   makes: one-sided, so twice that at a rate of 1; the mean, which it takes off, is bin 0's alone. */
START_TEST(expected_periodogram)
{
    enum { N = 16 };
    static const double want[] = {2.0625, .75, .4375, .75};
    double acv[N], root[N][N] = {{0}}, sum[N / 2 + 1] = {0};
    for (size_t k = 0; k < N; k++)
        acv[k] = pow(0.5, (double)k);
    for (size_t bin = 0; bin < 4; bin++)
        CHECK_NEAR(debiased(acv, 4, bin), want[bin], 1e-15);
    for (size_t i = 0; i < N; i++) /* Cholesky's, by columns as rows of root */
        for (size_t j = 0; j <= i; j++) {
            double rest = acv[i - j];
            for (size_t k = 0; k < j; k++)
                rest -= root[k][i] * root[k][j];
            root[j][i] = i == j ? sqrt(rest) : rest / root[j][j];
        }
    quell_arena *arena = quell_arena_create((size_t)1 << 22);
    for (size_t j = 0; j < N; j++) {
        quell_spectrum spectrum = estimate(root[j], N, "rectangular", arena);
        for (size_t bin = 0; bin < spectrum.bins; bin++)
            sum[bin] += spectrum.asd_m2ps3[0][bin];
    }
    for (size_t bin = 1; bin < N / 2; bin++)
        CHECK_NEAR(sum[bin] / 2, debiased(acv, N, bin), 1e-13);
    CHECK_NEAR(sum[N / 2], debiased(acv, N, N / 2), 1e-13);
    quell_arena_destroy(arena);
}
END_TEST

/* The kernel through which the response model is seen, against the exact expectation of a windowed periodogram,
   sum of s_k r_k e^-iwk with r the window's own correlation: the same process, whose density is 0.75 / (1.25 - cos w). */
START_TEST(kernel_gives_the_expectation)
{
    enum { N = 256, FINE = 64, REACH = 40 };
    static const char *const ids[] = {"hann", "hamming", "blackman-harris"};
    for (size_t w = 0; w < sizeof ids / sizeof ids[0]; w++) {
        const quell_window *window = quell_window_find(ids[w]);
        double shape[N], power = 0;
        quell_window_fill(window, shape, N);
        for (size_t i = 0; i < N; i++)
            power += shape[i] * shape[i];
        for (size_t bin = 4; bin < N / 2 - 4; bin += 7) {
            double exact = 0, seen = 0, weights = 0;
            for (size_t k = 0; k < N; k++) {
                double overlap = 0;
                for (size_t i = 0; i + k < N; i++)
                    overlap += shape[i] * shape[i + k] / power;
                exact += (k == 0 ? 1 : 2) * overlap * pow(0.5, (double)k) * cos(QUELL_TAU * (double)(bin * k) / N);
            }
            for (int at = -REACH * FINE; at <= REACH * FINE; at++) {
                double offset = (double)at / FINE, kernel = quell_window_kernel(window, offset);
                seen += kernel * 0.75 / (1.25 - cos(QUELL_TAU * ((double)bin + offset) / N));
                weights += kernel;
            }
            CHECK_NEAR(seen / weights / exact, 1, 1e-4);
        }
    }
}
END_TEST

/* ---------------------------------------------------------------- NIST */

enum { LEW = 200 };

/* The 200 deflections; false if the folder is missing. */
static bool read_lew(double series[LEW])
{
    size_t length, count = 0;
    char *bytes = test_recording_load("published/NIST_LEW.DAT", &length);
    if (bytes == NULL)
        return false;
    char *text = malloc(length + 1);
    ck_assert_ptr_nonnull(text);
    memcpy(text, bytes, length);
    text[length] = '\0';
    const char *at = strstr(text, "----------");
    ck_assert_ptr_nonnull(at);
    at = strchr(at, '\n');
    for (char *after; at != NULL && count < LEW; at = after, count++) {
        series[count] = strtod(at, &after);
        if (after == at)
            break;
    }
    free(text);
    free(bytes);
    ck_assert_uint_eq(count, LEW);
    return true;
}

/* NIST StRD univariate, Lew (seen second-hand, in public test suites): mean -177.435, standard deviation 277.332168044316, lag-1
   autocorrelation -0.307304800605679. The density's area is the mean square off the mean; of the series with as many zeros
   behind it, what the density transforms back to is the autocovariance (N. Wiener, A. Khinchin). */
START_TEST(lew_by_its_density)
{
    double series[LEW], padded[2 * LEW] = {0}, mean = 0, area = 0, covariance[2] = {0};
    if (!read_lew(series))
        return;
    quell_arena *arena = quell_arena_create((size_t)1 << 22);
    for (size_t i = 0; i < LEW; i++)
        mean += series[i] / LEW;
    CHECK_NEAR(mean, -177.435, 1e-10);
    quell_spectrum spectrum = estimate(series, LEW, "rectangular", arena);
    for (size_t k = 0; k < spectrum.bins; k++)
        area += spectrum.asd_m2ps3[0][k] * spectrum.bin_hz;
    CHECK_NEAR(sqrt(area * LEW / (LEW - 1)), 277.332168044316, 1e-9);
    for (size_t i = 0; i < LEW; i++)
        padded[i] = series[i] - mean;
    spectrum = estimate(padded, 2 * LEW, "rectangular", arena);
    for (size_t k = 0; k < spectrum.bins; k++)
        for (size_t lag = 0; lag < 2; lag++)
            covariance[lag] += spectrum.asd_m2ps3[0][k] * cos(QUELL_TAU * (double)(lag * k) / (2 * LEW));
    CHECK_NEAR(covariance[1] / covariance[0], -0.307304800605679, 1e-11);
    quell_arena_destroy(arena);
}
END_TEST

/* The true least-squares sinusoid is at 0.301807034 a sample, of amplitude 343.288565 (derived; not the handbook's printed
   0.302596, which is no minimum). The largest bin of the periodogram is 60. With zeros behind the series its bins lie closer, and
   their largest is where the least squares are, but for what the sinusoid's image at -f and the mean leak there: about
   1 / (2 pi f N) of its amplitude, 0.3 %, and by its slope no more than a hundredth of 1/N. */
START_TEST(lew_sinusoid)
{
    enum { TIMES = 64 };
    double series[LEW], *padded = calloc((size_t)TIMES * LEW, sizeof *padded), mean = 0, at, width;
    ck_assert_ptr_nonnull(padded);
    if (!read_lew(series)) {
        free(padded);
        return;
    }
    quell_arena *arena = quell_arena_create((size_t)1 << 24);
    quell_spectrum spectrum = estimate(series, LEW, "rectangular", arena);
    size_t top = 1;
    for (size_t k = 2; k < spectrum.bins; k++)
        top = spectrum.asd_m2ps3[0][k] > spectrum.asd_m2ps3[0][top] ? k : top;
    ck_assert_uint_eq(top, 60);
    for (size_t i = 0; i < LEW; i++)
        mean += series[i] / LEW;
    for (size_t i = 0; i < LEW; i++)
        padded[i] = series[i] - mean;
    spectrum = estimate(padded, (size_t)TIMES * LEW, "rectangular", arena);
    for (size_t k = 1; k < spectrum.bins; k++)
        top = spectrum.asd_m2ps3[0][k] > spectrum.asd_m2ps3[0][top] ? k : top;
    quell_half_power(spectrum.asd_m2ps3[0], spectrum.bins, top, &at, &width);
    CHECK_NEAR(at / (TIMES * LEW), 0.301807034, 0.01 / LEW);
    /* one-sided, of TIMES * LEW values at a rate of 1: 2 |X|^2 / (TIMES LEW), |X| = A LEW / 2 */
    CHECK_NEAR(sqrt(2.0 * TIMES * spectrum.asd_m2ps3[0][top] / LEW) / 343.288565, 1, 0.005);
    free(padded);
    quell_arena_destroy(arena);
}
END_TEST

Suite *suite_published_values(void)
{
    Suite *suite = suite_create("published_values");
    TCase *cases = tcase_create("values");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, white_base_acceleration);
    tcase_add_test(cases, miles_on_a_recording);
    tcase_add_test(cases, expected_periodogram);
    tcase_add_test(cases, kernel_gives_the_expectation);
    tcase_add_test(cases, lew_by_its_density);
    tcase_add_test(cases, lew_sinusoid);
    suite_add_tcase(suite, cases);
    return suite;
}
