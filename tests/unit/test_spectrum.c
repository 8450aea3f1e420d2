/* spectrum: windows, degrees of freedom, confidence factors, the tone, bands, and every refusal. */
#include "suites.h"

#include "quell/spectrum.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { N = 4096 };

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

/* ---------------------------------------------------------------- windows */

/* Sum over n of w[n] cos(2 pi bins (n - N/2) / N): the transform at a fraction of a bin; windows are
   symmetric about N/2, so the sine part is 0 (rectangular: nearly). */
static double transform(const double *w, double bins)
{
    double sum = 0;
    for (size_t n = 0; n < N; n++)
        sum += w[n] * cos(QUELL_TAU * bins * ((double)n - N / 2.0) / N);
    return sum;
}

static double overlap_correlation(const double *w, size_t lag)
{
    double sum = 0, power = 0;
    for (size_t n = 0; n < N; n++)
        power += w[n] * w[n];
    for (size_t n = 0; n + lag < N; n++)
        sum += w[n] * w[n + lag];
    return sum / power;
}

/* F. J. Harris, Proc. IEEE 66(1), 1978, and G. Heinzel, A. Ruediger, R. Schilling, 2002 (second-hand,
   reproduced); half-bin loss and overlap correlations recomputed from the coefficients, exact. Flat-top:
   from memory, reproduced. */
static const struct {
    const char *id;
    double enbw, half_bin_loss_db, correlation_75_percent, correlation_50_percent;
} windows[] = {
    {"hann", 1.5, 1.4236, 65.9155, 16.6667},
    {"hamming", 1.3628257887517146, 1.7514, 70.692, 23.377},
    {"blackman-harris", 2.004352938217048, 0.8256, 45.999, 3.760},
    {"flat-top", 3.7702464474434283, 0.0098, 4.550, -1.526},
};

START_TEST(windows_have_their_published_figures)
{
    static double w[N];
    for (size_t i = 0; i < sizeof windows / sizeof windows[0]; i++) {
        const quell_window *window = quell_window_find(windows[i].id);
        ck_assert_ptr_nonnull(window);
        quell_window_fill(window, w, N);
        CHECK_NEAR(quell_window_enbw_bins(w, N), windows[i].enbw, 1e-9);
        CHECK_NEAR(-20 * log10(transform(w, 0.5) / transform(w, 0)), windows[i].half_bin_loss_db, 6e-4);
        CHECK_NEAR(100 * overlap_correlation(w, N / 4), windows[i].correlation_75_percent, 1e-3);
        CHECK_NEAR(100 * overlap_correlation(w, N / 2), windows[i].correlation_50_percent, 1e-3);
    }
}
END_TEST

/* 3-dB widths, at exactly 3.0 dB: Heinzel et al. 2002, table 2, tolerance 3e-4 (second-hand, reproduced). */
START_TEST(windows_have_their_published_widths)
{
    static const struct {
        const char *id;
        double width_bins;
    } rows[] = {{"hann", 1.4382}, {"hamming", 1.3008}, {"blackman-harris", 1.8962}};
    static double w[N];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_window_fill(quell_window_find(rows[i].id), w, N);
        double low = 0, high = 2;
        while (high - low > 1e-9) {
            double middle = (low + high) / 2;
            if (-20 * log10(fabs(transform(w, middle) / transform(w, 0))) < 3.0)
                low = middle;
            else
                high = middle;
        }
        CHECK_NEAR(2 * low, rows[i].width_bins, 3e-4);
    }
}
END_TEST

/* Windows that quell does not offer, through its own fill: Harris' Blackman (from memory, reproduced),
   Nuttall's (second-hand, reproduced), HFT95 and HFT90D of Heinzel et al. (second-hand, reproduced to the
   printed digits). */
START_TEST(other_cosine_sums_have_their_published_bandwidth)
{
    static const struct {
        quell_window window;
        double enbw, tolerance;
    } rows[] = {
        {{"", "", 3, {.42, -.5, .08}}, 1.7267573696145124, 1e-9},
        {{"", "", 3, {.42323, -.49755, .07922}}, 1.7085380270332826, 1e-9},
        {{"", "", 3, {.44959, -.49364, .05677}}, 1.6107501500655506, 1e-9},
        {{"", "", 4, {.40217, -.49703, .09892, -.00188}}, 1.7939482998642897, 1e-9},
        {{"", "", 3, {.40897, -.5, .09103}}, 1.7721, 6e-5},
        {{"", "", 4, {.338946, -.481973, .161054, -.018027}}, 2.1253, 6e-5},
        {{"", "", 5, {1, -1.9383379, 1.3045202, -.4028270, .0350665}}, 3.8112, 6e-5},
        {{"", "", 5, {1, -1.942604, 1.340318, -.440811, .043097}}, 3.8832, 6e-5},
    };
    static double w[N];
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_window_fill(&rows[i].window, w, N);
        CHECK_NEAR(quell_window_enbw_bins(w, N), rows[i].enbw, rows[i].tolerance);
    }
}
END_TEST

START_TEST(windows_are_periodic_and_peak_in_the_middle)
{
    size_t count;
    const quell_window *table = quell_windows(&count);
    for (size_t i = 0; i < count; i++) {
        double w[13];
        quell_window_fill(&table[i], w, 12);
        for (size_t n = 1; n < 12; n++)
            CHECK_NEAR(w[n], w[12 - n], 1e-15);
        ck_assert_double_ge(w[6], w[0]);
        CHECK_NEAR(w[6], 1, 2e-8); /* the flat-top's rounded coefficients sum to 1.000000003 */
        ck_assert_ptr_eq(quell_window_find(table[i].id), &table[i]);
    }
    ck_assert_ptr_null(quell_window_find("triangle"));
}
END_TEST

/* Hann: c(r) = r (2/3 + cos(2 pi (1 - r)) / 3) + sin(2 pi (1 - r)) / (2 pi), r the overlap; derived, exact.
   The sum over samples is the integral to rounding, for a window that is a trigonometric polynomial. */
START_TEST(hann_overlap_correlation_in_closed_form)
{
    static const struct {
        double overlap, correlation;
    } rows[] = {{.75, .6591549430918954}, {.5, 1.0 / 6}, {.25, .007511723574771284}};
    static double w[N];
    quell_window_fill(quell_window_find("hann"), w, N);
    for (size_t i = 0; i < 3; i++) {
        double got = overlap_correlation(w, (size_t)((1 - rows[i].overlap) * N));
        CHECK_NEAR(got, rows[i].correlation, 1e-12);
    }
}
END_TEST

/* ---------------------------------------------------------------- degrees of freedom and confidence */

/* nu = 2K / (1 + 2 sum (1 - j/K) c_j^2): Welch 1967 (from memory). Hann at 50 %: nu = 36 K^2 / (19 K - 1),
   Percival and Walden 1993, eq. 292b (from memory); at 75 % recomputed. */
START_TEST(degrees_of_freedom)
{
    static const struct {
        size_t segments;
        double half, three_quarters;
    } rows[] = {{4, 7.68, 4.763226417522708},
                {8, 15.258278145695364, 8.878597768317238},
                {15, 28.521126760563380, 16.135299498664768},
                {16, 30.415841584158418, 17.17325417249256},
                {31, 58.83673469387755, 32.752030066994095}};
    static double w[N];
    quell_window_fill(quell_window_find("hann"), w, N);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        CHECK_NEAR(quell_welch_dof(w, N, N / 2, rows[i].segments), rows[i].half, 1e-9);
        CHECK_NEAR(quell_welch_dof(w, N, N / 4, rows[i].segments), rows[i].three_quarters, 1e-9);
    }
    double k = 1e6; /* the limit 36/19 a segment */
    CHECK_NEAR(quell_welch_dof(w, N, N / 2, (size_t)k) / k, 36.0 / 19, 1e-5);
    CHECK_NEAR(quell_welch_dof(w, N, N, 7), 14, 1e-12);
    CHECK_NEAR(quell_welch_dof(w, N, N / 4, 1), 2, 1e-12);
}
END_TEST

/* Standard tables of chi-square; tolerance 1e-8. */
START_TEST(confidence_factors)
{
    static const struct {
        double nu, low, high;
    } rows[] = {{10, .488205507804, 3.079791755837},
                {20, .585315483929, 2.085336691907},
                {30, .638579903958, 1.786695663875},
                {15.258278145695364, .548070133183, 2.373812917936},
                {28.521126760563380, .632134388105, 1.817499516288}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        double factor[2];
        quell_chi2_factors(rows[i].nu, factor);
        CHECK_NEAR(factor[0], rows[i].low, 1e-8);
        CHECK_NEAR(factor[1], rows[i].high, 1e-8);
    }
    double factor[2];
    quell_chi2_factors(20, factor); /* chi2_20: 9.590777392265 and 34.169606902838 */
    CHECK_NEAR(20 / factor[1], 9.590777392265, 1e-8);
    CHECK_NEAR(20 / factor[0], 34.169606902838, 1e-8);
}
END_TEST

/* Hann at 75 %: .489 .048 .001 (the design's own recomputation), by a sum written out here with complex
   numbers. */
START_TEST(bin_correlation_is_the_exact_sum)
{
    enum { LENGTH = 256, HOP = 64, SEGMENTS = 57 };
    double w[LENGTH], got[QUELL_SPECTRUM_LAGS + 1], want[QUELL_SPECTRUM_LAGS + 1];
    quell_window_fill(quell_window_find("hann"), w, LENGTH);
    quell_welch_bin_correlation(w, LENGTH, HOP, SEGMENTS, got);
    for (size_t m = 0; m <= QUELL_SPECTRUM_LAGS; m++) {
        want[m] = 0;
        for (long k = -3; k <= 3; k++) {
            double complex sum = 0;
            for (long n = 0; n < LENGTH; n++)
                if (n + k * HOP >= 0 && n + k * HOP < LENGTH)
                    sum += w[n] * w[n + k * HOP] *
                           (cos(QUELL_TAU * (double)m * (double)n / LENGTH) -
                            (double complex)_Complex_I * sin(QUELL_TAU * (double)m * (double)n / LENGTH));
            want[m] += (1 - (double)labs(k) / SEGMENTS) * pow(cabs(sum), 2);
        }
    }
    for (size_t m = 0; m <= QUELL_SPECTRUM_LAGS; m++)
        CHECK_NEAR(got[m], want[m] / want[0], 1e-13);
    quell_welch_bin_correlation(w, LENGTH, HOP, 100000, got);
    CHECK_NEAR(got[1], .489, 1e-3);
    CHECK_NEAR(got[2], .048, 5e-4);
    CHECK_NEAR(got[3], .001, 5e-4);
}
END_TEST

/* ---------------------------------------------------------------- estimates */

static quell_status estimate(const double *x, size_t n, double rate_hz, size_t segment, double overlap,
                             const char *window, quell_spectrum *out, quell_error *err)
{
    const double *axes[] = {x};
    quell_welch_options options = {
        .window = quell_window_find(window), .segment = segment, .overlap = overlap};
    return quell_spectrum_estimate(axes, 1, n, rate_hz, NULL, 0, &options, arena, out, err);
}

/* A = 2 on a bin, fs = N = 1000, Hann: peak A^2/2 / (1.5 df) = 4/3, neighbours 1/3, sum df = 2; derived,
   exact. */
START_TEST(tone_on_a_bin)
{
    static double x[1000];
    for (size_t n = 0; n < 1000; n++)
        x[n] = 2 * cos(QUELL_TAU * (double)(n * 37 % 1000) / 1000 + 0.7);
    quell_spectrum spectrum;
    ck_assert_int_eq(estimate(x, 1000, 1000, 1000, 0.5, "hann", &spectrum, NULL), QUELL_OK);
    double sum = 0;
    for (size_t k = 0; k < spectrum.bins; k++) {
        sum += spectrum.asd_m2ps3[0][k];
        double want = k == 37 ? 4.0 / 3 : k == 36 || k == 38 ? 1.0 / 3 : 0;
        CHECK_NEAR(spectrum.asd_m2ps3[0][k], want, 1e-12);
    }
    CHECK_NEAR(sum * spectrum.bin_hz, 2, 1e-12);
    CHECK_NEAR(spectrum.enbw_hz, 1.5, 1e-12);
    ck_assert_uint_eq(spectrum.segments, 1);
    ck_assert_uint_eq(spectrum.bins, 501);
}
END_TEST

/* White quantisation noise: LSB / sqrt(6 fs) = 4.08248290463863e-6 for 1 mV at 10 kHz (Heinzel et al. 2002,
   section 13; from memory, reproduced). 400 segments at 0 % overlap: the mean over 250 bins scatters by 0.3
   %. */
START_TEST(quantisation_noise_has_its_known_density)
{
    enum { SEGMENT = 512, SEGMENTS = 400, SAMPLES = SEGMENT * SEGMENTS };
    static double x[SAMPLES];
    quell_random *random = quell_random_create(20240117);
    ck_assert_ptr_nonnull(random);
    for (size_t n = 0; n < SAMPLES; n++) {
        double value = 0.05 * quell_random_normal(random);
        x[n] = round(value / 1e-3) * 1e-3 - value;
    }
    quell_random_destroy(random);
    quell_spectrum spectrum;
    ck_assert_int_eq(estimate(x, SAMPLES, 10e3, SEGMENT, 0, "hann", &spectrum, NULL), QUELL_OK);
    double mean = 0;
    for (size_t k = 3; k < 253; k++)
        mean += spectrum.asd_m2ps3[0][k] / 250;
    CHECK_NEAR(sqrt(mean) / 4.08248290463863e-6, 1, 0.01);
}
END_TEST

/* A rectangular average over Be of a Lorentzian of half-power width Br is atan(q)/q times its peak, q =
   Be/Br; exact (Bendat and Piersol's -(1/3) q^2 is its first term). The band power is that average times Be.
   */
START_TEST(band_power_of_a_lorentzian)
{
    static const struct {
        double q, bias;
    } rows[] = {{.1, -.003313475}, {.25, -.020085347493}, {.5, -.072704782}};
    enum { BINS = 40001 };
    static double density[BINS];
    double bin_hz = 0.0025, middle_hz = 50.00125, br_hz = 8; /* the band's edges lie between bins */
    for (size_t k = 0; k < BINS; k++) {
        double u = 2 * ((double)k * bin_hz - middle_hz) / br_hz;
        density[k] = 1 / (1 + u * u);
    }
    quell_spectrum spectrum = {.axes = 1,
                               .bins = BINS,
                               .bin_hz = bin_hz,
                               .segment = 2 * (BINS - 1),
                               .dof = 50,
                               .asd_m2ps3 = {density}};
    for (size_t i = 0; i < 3; i++) {
        double half = rows[i].q * br_hz / 2, power, dof;
        ck_assert(quell_spectrum_band(&spectrum, 0, middle_hz - half, middle_hz + half, &power, &dof));
        CHECK_NEAR(power / (2 * half) - 1, rows[i].bias, 2e-6);
    }
}
END_TEST

/* Bins of equal level: independent (all rho2 0) nu per bin and N bins give N (nu + 2); correlated ones
   fewer. */
START_TEST(band_degrees_of_freedom)
{
    double density[101];
    for (size_t k = 0; k < 101; k++)
        density[k] = 3;
    quell_spectrum spectrum = {
        .axes = 1, .bins = 101, .bin_hz = 0.5, .segment = 200, .dof = 20, .asd_m2ps3 = {density}};
    double power, dof;
    ck_assert(quell_spectrum_band(&spectrum, 0, 10, 20, &power, &dof));
    CHECK_NEAR(power, 30, 1e-12); /* bins 20 to 39 */
    CHECK_NEAR(dof, 20 * 22, 1e-9);
    spectrum.bin_correlation[1] = 0.5;
    ck_assert(quell_spectrum_band(&spectrum, 0, 10, 20, &power, &dof));
    CHECK_NEAR(dof, 20 * 20 * 20 / (20 + 2 * 0.5 * 19) * 1.1, 1e-9);
    ck_assert(!quell_spectrum_band(&spectrum, 0, 10.1, 10.4, &power, &dof));
    ck_assert(!quell_spectrum_band(&spectrum, 0, 60, 90, &power, &dof));
}
END_TEST

START_TEST(segment_length_rule)
{
    /* 4 / (2 zeta f): 47.3 Hz at .046 asks for 0.92 s, held up to 1 s; 25 Hz at .05 for 1.6 s; .3 Hz down to
       2 s */
    ck_assert_uint_eq(quell_welch_segment(2000, 1000000, 47.3 * .046), 2000);
    ck_assert_uint_eq(quell_welch_segment(2000, 1000000, 25 * .05), 3200);
    ck_assert_uint_eq(quell_welch_segment(2000, 1000000, .3), 4000);
    ck_assert_uint_eq(quell_welch_segment(2000, 1000000, 0), 4000);
    ck_assert_uint_eq(quell_welch_segment(2000, 12000, 0), 2000);
    ck_assert_uint_eq(quell_welch_segment(2000, 30, 0), 8);
    ck_assert_uint_eq(quell_welch_segment(1992, 100000, 0), 3888); /* 2^4 3^5: fast, even, next below 3984 */
}
END_TEST

/* ---------------------------------------------------------------- spectrogram */

/* Each slice is Welch's estimate of its one segment; a chirp's largest bin follows its frequency. */
START_TEST(spectrogram_follows_a_chirp)
{
    enum { SAMPLES = 20000, SEGMENT = 400 };
    static double x[SAMPLES];
    const double rate_hz = 1000;
    for (size_t n = 0; n < SAMPLES; n++) {
        double t = (double)n / rate_hz;
        x[n] = 5 + sin(QUELL_TAU * (20 * t + 5 * t * t)); /* f = 20 + 10 t */
    }
    quell_welch_options options = {.segment = SEGMENT};
    quell_spectrogram made;
    const size_t breaks[] = {10000};
    ck_assert_int_eq(
        quell_spectrogram_estimate(x, SAMPLES, rate_hz, breaks, 1, &options, 50, arena, &made, NULL),
        QUELL_OK);
    ck_assert_uint_eq(made.slices, 50);
    ck_assert_uint_eq(made.bins, SEGMENT / 2 + 1);
    CHECK_NEAR(made.start_s, 0.2, 1e-12);
    CHECK_NEAR(made.step_s, 0.4, 1e-12); /* (20000 - 400) / 49 = 400 samples */
    size_t missing = 0;
    for (size_t s = 0; s < made.slices; s++) {
        const double *slice = made.asd_m2ps3 + s * made.bins;
        missing += isnan(slice[0]) != 0;
        if (isnan(slice[0]))
            continue;
        size_t top = 0;
        for (size_t k = 1; k < made.bins; k++)
            top = slice[k] > slice[top] ? k : top;
        CHECK_NEAR((double)top * made.bin_hz, 20 + 10 * (made.start_s + (double)s * made.step_s), 2.6);
        quell_spectrum one;
        ck_assert_int_eq(estimate(x + s * 400, SEGMENT, rate_hz, SEGMENT, 0, "hann", &one, NULL), QUELL_OK);
        for (size_t k = 0; k < made.bins; k++)
            CHECK_NEAR(slice[k], one.asd_m2ps3[0][k], 1e-12);
    }
    ck_assert_uint_eq(missing, 0); /* the break lies between two segments */
    const size_t inside[] = {10001, 99999};
    ck_assert_int_eq(
        quell_spectrogram_estimate(x, SAMPLES, rate_hz, inside, 2, &options, 50, arena, &made, NULL),
        QUELL_OK);
    for (size_t s = 0; s < made.slices; s++)
        ck_assert_int_eq(isnan(made.asd_m2ps3[s * made.bins]) != 0, s == 25);
}
END_TEST

START_TEST(spectrogram_refusals)
{
    static double x[500];
    static const struct {
        size_t n, segment, slices;
        double rate_hz;
        quell_status status;
        const char *text;
    } rows[] = {{99, 100, 5, 500, QUELL_E_DATA, "found 99 samples, want at least one segment of 100"},
                {500, 7, 5, 500, QUELL_E_USAGE, "segment is 7 samples"},
                {500, 100, 0, 500, QUELL_E_USAGE, "found 0 slices, want at least 1"},
                {500, 100, 5, 0, QUELL_E_USAGE, "rate is 0 Hz, want > 0"}};
    quell_spectrogram made = {.slices = 77};
    quell_error err = {0};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_welch_options options = {.segment = rows[i].segment};
        ck_assert_int_eq(quell_spectrogram_estimate(x, rows[i].n, rows[i].rate_hz, NULL, 0, &options,
                                                    rows[i].slices, arena, &made, &err),
                         rows[i].status);
        ck_assert_msg(strstr(err.text, rows[i].text) != NULL, "%s", err.text);
    }
    x[123] = (double)NAN;
    quell_welch_options options = {.segment = 100};
    ck_assert_int_eq(quell_spectrogram_estimate(x, 500, 500, NULL, 0, &options, 5, arena, &made, &err),
                     QUELL_E_DATA);
    ck_assert_str_eq(err.text, "sample 124 is not a finite number");
    x[123] = 0;
    for (size_t n = 1; n < 6; n++) {
        quell_memory_fail_at(n);
        quell_arena *own = quell_arena_create(1 << 20);
        quell_status status =
            own == NULL ? QUELL_E_MEMORY
                        : quell_spectrogram_estimate(x, 500, 500, NULL, 0, &options, 5, own, &made, &err);
        quell_memory_fail_at(0);
        quell_arena_destroy(own);
        ck_assert_int_eq(status, QUELL_E_MEMORY);
    }
    ck_assert_uint_eq(made.slices, 77);
    ck_assert_int_eq(quell_spectrogram_estimate(x, 500, 500, NULL, 0, &options, 9999, arena, &made, &err),
                     QUELL_OK);
    ck_assert_uint_eq(made.slices, 401); /* a slice a sample at most */
}
END_TEST

/* ---------------------------------------------------------------- what can be wrong */

START_TEST(constant_axis_is_silence)
{
    static double x[600];
    for (size_t n = 0; n < 600; n++)
        x[n] = 9.80665;
    quell_spectrum spectrum;
    ck_assert_int_eq(estimate(x, 600, 500, 100, 0.75, "hann", &spectrum, NULL), QUELL_OK);
    for (size_t k = 0; k < spectrum.bins; k++) {
        ck_assert(isfinite(spectrum.asd_m2ps3[0][k]));
        ck_assert_double_lt(spectrum.asd_m2ps3[0][k], 1e-25);
    }
}
END_TEST

START_TEST(refusals_say_what_is_wrong)
{
    static double x[600];
    quell_spectrum spectrum = {.bins = 12345};
    static const struct {
        size_t n, segment;
        double rate_hz, overlap;
        quell_status status;
        const char *text;
    } rows[] = {
        {99, 100, 500, .5, QUELL_E_DATA, "found 99 samples, want at least one unbroken segment of 100"},
        {600, 7, 500, .5, QUELL_E_USAGE, "segment is 7 samples, want 8 to 67108864"},
        {600, (size_t)1 << 27, 500, .5, QUELL_E_USAGE, "segment is 134217728 samples, want 8 to 67108864"},
        {600, 100, 500, .96, QUELL_E_USAGE, "overlap is 0.96 of a segment, want 0 to 0.95"},
        {600, 100, 500, (double)NAN, QUELL_E_USAGE, "overlap is - of a segment, want 0 to 0.95"},
        {600, 100, 0, .5, QUELL_E_USAGE, "rate is 0 Hz, want > 0"},
        {600, 100, -3, .5, QUELL_E_USAGE, "rate is -3 Hz, want > 0"},
        {600, 100, (double)INFINITY, .5, QUELL_E_USAGE, "want > 0"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_error err = {0};
        ck_assert_int_eq(estimate(x, rows[i].n, rows[i].rate_hz, rows[i].segment, rows[i].overlap, "hann",
                                  &spectrum, &err),
                         rows[i].status);
        ck_assert_int_eq(err.status, rows[i].status);
        ck_assert_msg(strstr(err.text, rows[i].text) != NULL, "row %zu: '%s'", i, err.text);
        ck_assert_uint_eq(spectrum.bins, 12345); /* untouched */
        ck_assert_int_eq(estimate(x, rows[i].n, rows[i].rate_hz, rows[i].segment, rows[i].overlap, "hann",
                                  &spectrum, NULL),
                         rows[i].status);
    }
    const double *axes[4] = {x, x, x, x};
    quell_welch_options options = {.segment = 100};
    quell_error err = {0};
    ck_assert_int_eq(quell_spectrum_estimate(axes, 4, 600, 500, NULL, 0, &options, arena, &spectrum, &err),
                     QUELL_E_USAGE);
    ck_assert_str_eq(err.text, "found 4 axes, want 1 to 3");
}
END_TEST

START_TEST(not_a_number_is_refused_with_its_place)
{
    static double x[600], y[600];
    const double bad[] = {(double)NAN, (double)INFINITY, -(double)INFINITY};
    for (size_t i = 0; i < 3; i++) {
        memset(y, 0, sizeof y);
        y[417] = bad[i];
        const double *axes[] = {x, y};
        quell_welch_options options = {.segment = 100, .overlap = -1};
        quell_spectrum spectrum = {.bins = 777};
        quell_error err = {0};
        ck_assert_int_eq(
            quell_spectrum_estimate(axes, 2, 600, 500, NULL, 0, &options, arena, &spectrum, &err),
            QUELL_E_DATA);
        ck_assert_str_eq(err.text, "sample 418 is not a finite number");
        ck_assert_int_eq(err.axis, 'y');
        ck_assert_uint_eq(spectrum.bins, 777);
    }
}
END_TEST

Suite *suite_spectrum(void)
{
    Suite *suite = suite_create("spectrum");
    TCase *cases = tcase_create("spectrum");
    tcase_add_checked_fixture(cases, setup, teardown);
    tcase_add_test(cases, windows_have_their_published_figures);
    tcase_add_test(cases, windows_have_their_published_widths);
    tcase_add_test(cases, other_cosine_sums_have_their_published_bandwidth);
    tcase_add_test(cases, windows_are_periodic_and_peak_in_the_middle);
    tcase_add_test(cases, hann_overlap_correlation_in_closed_form);
    tcase_add_test(cases, degrees_of_freedom);
    tcase_add_test(cases, confidence_factors);
    tcase_add_test(cases, bin_correlation_is_the_exact_sum);
    tcase_add_test(cases, tone_on_a_bin);
    tcase_add_test(cases, quantisation_noise_has_its_known_density);
    tcase_add_test(cases, band_power_of_a_lorentzian);
    tcase_add_test(cases, band_degrees_of_freedom);
    tcase_add_test(cases, segment_length_rule);
    tcase_add_test(cases, spectrogram_follows_a_chirp);
    tcase_add_test(cases, spectrogram_refusals);
    tcase_add_test(cases, constant_axis_is_silence);
    tcase_add_test(cases, refusals_say_what_is_wrong);
    tcase_add_test(cases, not_a_number_is_refused_with_its_place);
    suite_add_tcase(suite, cases);
    return suite;
}
