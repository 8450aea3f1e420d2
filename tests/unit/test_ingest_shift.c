/* ingest: the law of closing up. Random vibration of one mode, of which samples are dropped, against the
   law. */
#include "suites.h"

#include "quell/ingest.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

/* ---------------------------------------------------------------- a mode, simulated and read by its correlation */

typedef struct mode {
    double damping_ratio, turn; /* natural frequency in radians a sample */
} mode;

/* Random vibration: the autoregression whose poles are the mode's, exp(turn (-z +- j sqrt(1 - z^2))). */
static void vibrate(double *out, size_t n, mode of, quell_random *random)
{
    double decay = exp(-of.damping_ratio * of.turn);
    double cosine = cos(of.turn * sqrt(1 - of.damping_ratio * of.damping_ratio));
    double one = 0, two = 0;
    for (size_t i = 0; i < n; i++) {
        double next = 2 * decay * cosine * one - decay * decay * two + quell_random_normal(random);
        two = one;
        out[i] = one = next;
    }
}

/* Least-squares fit of c[m + 2] = a c[m + 1] + b c[m] to the autocorrelation (R. de Prony, 1795), and the
   pole that a and b have. */
static mode read_mode(const double *value, size_t n, size_t lags)
{
    double *c = calloc(lags + 2, sizeof *c);
    ck_assert_ptr_nonnull(c);
    for (size_t m = 0; m < lags + 2; m++) {
        for (size_t i = 0; i + m < n; i++)
            c[m] += value[i] * value[i + m];
        c[m] /= (double)(n - m);
    }
    double aa = 0, ab = 0, bb = 0, ca = 0, cb = 0;
    for (size_t m = 0; m < lags; m++) {
        aa += c[m + 1] * c[m + 1];
        ab += c[m + 1] * c[m];
        bb += c[m] * c[m];
        ca += c[m + 2] * c[m + 1];
        cb += c[m + 2] * c[m];
    }
    free(c);
    double det = aa * bb - ab * ab, a = (ca * bb - cb * ab) / det, b = (cb * aa - ca * ab) / det;
    double complex pole = clog(0.5 * (a + csqrt((double complex)(a * a + 4 * b))));
    return (mode){-creal(pole) / cabs(pole), cabs(pole)};
}

/* Drops samples: after each that is kept, a run of `run` with the probability that makes a share `lost` of
   all; run 0: each by itself. Returns those kept. */
static size_t drop(double *value, size_t n, double lost, size_t run, quell_random *random)
{
    size_t kept = 0;
    for (size_t i = 0; i < n; i++) {
        if (run == 0 && quell_random_uniform(random) < lost)
            continue;
        value[kept++] = value[i];
        if (run > 0 && quell_random_uniform(random) < lost / (1 - lost) / (double)run)
            i += run;
    }
    return kept;
}

/* ---------------------------------------------------------------- the law */

/* theta = 2 pi f / fs; the law's terms, for single losses of a fraction l (design; derived there). */
static double law_damping(double lost, double turn)
{
    return lost * (1 - cos(turn)) / turn;
}

static double law_frequency(double lost, double turn)
{
    return lost * sin(turn) / turn;
}

/* The law is of first order in the fraction lost: the tolerance grows with it. */
static const struct {
    double turn, lost;
    size_t run;
    double tolerance; /* relative, of both */
} cases[] = {{0.3, 0.05, 0, 0.15}, {0.6, 0.02, 0, 0.10}, {0.6, 0.05, 0, 0.12},   {1.2, 0.02, 0, 0.06},
             {1.2, 0.05, 0, 0.12}, {2.0, 0.02, 0, 0.06}, {0.15, 0.05, 12, 0.12}, {0.3, 0.02, 5, 0.12}};

START_TEST(closing_up_moves_a_mode_by_the_law)
{
    enum { SAMPLES = 1500000 };
    double *value = malloc(SAMPLES * sizeof *value);
    quell_random *random = quell_random_create((uint64_t)_i + 5);
    ck_assert(value != NULL && random != NULL);
    double turn = cases[_i].turn, lost = cases[_i].lost;
    size_t lags = (size_t)fmin(60, 2 / (0.02 * turn));
    vibrate(value, SAMPLES, (mode){0.02, turn}, random);
    mode before = read_mode(value, SAMPLES, lags);
    CHECK_NEAR(before.damping_ratio, 0.02, 0.001);
    CHECK_NEAR(before.turn / turn, 1, 0.001);
    size_t kept = drop(value, SAMPLES, lost, cases[_i].run, random);
    CHECK_NEAR(1 - (double)kept / SAMPLES, lost, 0.03 * lost);
    mode after = read_mode(value, kept, lags);
    double damping = after.damping_ratio - before.damping_ratio, frequency = after.turn / before.turn - 1;
    double m = cases[_i].run > 0 ? (double)cases[_i].run : 1;
    /* runs of m samples: l/m places, each m samples wide */
    double by_law = law_damping(lost / m, m * turn) * m, turned = law_frequency(lost / m, m * turn) * m;
    CHECK_NEAR(damping / by_law, 1, cases[_i].tolerance);
    CHECK_NEAR(frequency, turned, cases[_i].tolerance * fabs(turned) + 2e-4);
    quell_clock_shift predicted = quell_clock_shift_predict(lost, (double)cases[_i].run, turn, QUELL_TAU);
    /* it leaves out the mode's own damping, 5 % of the rise here; the estimate scatters by 2 % */
    CHECK_NEAR(predicted.damping_ratio / damping, 1, 0.12);
    CHECK_NEAR(predicted.frequency_nominal, frequency, 0.06 * frequency + 2e-4);
    CHECK_NEAR(predicted.frequency_mean, (1 + frequency) * (double)kept / SAMPLES - 1, 1.5e-3);
    quell_random_destroy(random);
    free(value);
}
END_TEST

/* The first order, by hand: l = 1e-6 at a tenth of the rate. theta = 0.628318531, (1 - cos theta) / theta
   = 0.303963551, sin theta / theta = 0.935489284. */
START_TEST(the_prediction_is_the_law_to_first_order)
{
    quell_clock_shift got = quell_clock_shift_predict(1e-6, 0, 100, 1000);
    CHECK_NEAR(got.damping_ratio / 1e-6, 0.303963551, 1e-5);
    CHECK_NEAR(got.frequency_nominal / 1e-6, 0.935489284, 1e-5);
    CHECK_NEAR(got.frequency_mean / 1e-6, 0.935489284 - 1, 1e-5);
    for (double turn = 0.05; turn < 3; turn += 0.1) {
        got = quell_clock_shift_predict(0.01, 1, turn, QUELL_TAU);
        CHECK_NEAR(got.damping_ratio / law_damping(0.01, turn), 1, 0.03);
        CHECK_NEAR(got.frequency_nominal, law_frequency(0.01, turn), 3e-4);
    }
}
END_TEST

START_TEST(the_prediction_at_its_limits)
{
    quell_clock_shift got = quell_clock_shift_predict(0, 0, 50, 1000);
    ck_assert_double_eq(got.damping_ratio, 0);
    ck_assert_double_eq(got.frequency_nominal, 0);
    ck_assert_double_eq(got.frequency_mean, 0);
    got = quell_clock_shift_predict(0.2, 0, 0, 1000); /* far below the rate: only the mean rate counts */
    CHECK_NEAR(got.frequency_nominal, 0.25, 1e-12);
    CHECK_NEAR(got.frequency_mean, 0, 1e-12);
    static const double bad[][4] = {{-0.1, 0, 50, 1000},       {1, 0, 50, 1000},  {0.1, 0.5, 50, 1000},
                                    {0.1, 0, 501, 1000},       {0.1, 0, 50, 0},   {NAN, 0, 50, 1000},
                                    {0.1, INFINITY, 50, 1000}, {0.1, 0, -1, 1000}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        got = quell_clock_shift_predict(bad[i][0], bad[i][1], bad[i][2], bad[i][3]);
        ck_assert(isnan(got.damping_ratio) && isnan(got.frequency_nominal) && isnan(got.frequency_mean));
    }
}
END_TEST

Suite *suite_ingest_shift(void)
{
    Suite *suite = suite_create("ingest shift");
    TCase *group = tcase_create("closing up");
    tcase_set_timeout(group, 120);
    tcase_add_loop_test(group, closing_up_moves_a_mode_by_the_law, 0, (int)(sizeof cases / sizeof cases[0]));
    tcase_add_test(group, the_prediction_is_the_law_to_first_order);
    tcase_add_test(group, the_prediction_at_its_limits);
    suite_add_tcase(suite, group);
    return suite;
}
