/* modes_study: a short piece of the Monte-Carlo study (`make study`), and the statistics that it is told by. */
#include "suites.h"

#include "shortened.h"
#include "study.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SEED = 4, RECORDINGS = 40, NOISES = 20, FEW = 4 };

static study_result *run(const char *name, size_t count)
{
    const study_row *row = study_row_find(name);
    ck_assert_ptr_nonnull(row);
    study_result *out = calloc(count, sizeof *out);
    ck_assert_ptr_nonnull(out);
    study_run(out, count, row, SEED, 1, false);
    return out;
}

static double value(study_figure figure, const study_result *result, size_t count)
{
    double out = study_figure_value(figure, result, count).value;
    ck_assert_msg(isfinite(out), "no value of %s", study_figure_words(figure)->title);
    return out;
}

static void holds(study_figure figure, const study_result *result, size_t count, double low, double high)
{
    double got = value(figure, result, count);
    ck_assert_msg(got >= low && got <= high, "%s: %.4g, want %.4g to %.4g", study_figure_words(figure)->title,
                  got, low, high);
}

/* Forty recordings of ten seconds. An estimator that just meets the design's goals (normal errors with a spread of 1.25 bounds,
   90 % coverage, 95 % of recordings right) breaks a bound of these by chance with the probability beside it (binomial;
   order statistics of a million normal samples), all together with less than 1e-5. The last one hardly scatters: the
   intervals of all recordings together are told to 1 %. */
START_TEST(ten_seconds_of_random_motion)
{
    size_t count = IS_SHORTENED ? FEW : RECORDINGS;
    study_result *result = run("one-10", count);
    holds(STUDY_FAILED, result, count, 0, 0);
    if (IS_SHORTENED) { /* too slow for statistics: it runs, and finds */
        holds(STUDY_RIGHT, result, count, 0.5, 1);
        free(result);
        return;
    }
    const double most_missed = 15.5 / RECORDINGS;
    holds(STUDY_RIGHT, result, count, 1 - 11.5 / RECORDINGS, 1);  /* 1e-6 */
    holds(STUDY_F_SPREAD, result, count, 0.4, 2.2);               /* 1e-6 */
    holds(STUDY_ZETA_SPREAD, result, count, 0.4, 2.2);            /* 1e-6 */
    holds(STUDY_F_COVERED, result, count, 1 - most_missed, 1);    /* 1e-6 */
    holds(STUDY_ZETA_COVERED, result, count, 1 - most_missed, 1); /* 1e-6 */
    holds(STUDY_C_COVERED, result, count, 1 - most_missed, 1);    /* 1e-6 */
    holds(STUDY_ZETA_ERROR, result, count, 0.02, 0.19);           /* 1e-6 */
    holds(STUDY_F_BIAS, result, count, -0.008, 0.008);            /* 1e-6 */
    holds(STUDY_ZETA_BIAS, result, count, -0.16, 0.16);           /* 1e-6 */
    holds(STUDY_ZETA_CALIBRE, result, count, 0.75, 1.35);
    free(result);
}
END_TEST

/* Sweeps, which leave nothing to chance: close modes of opposite sign are told, their participations within their intervals. If one in
   twenty recordings is wrong, more than two of six are with a probability of 2e-3; the seed is held. */
START_TEST(sweeps)
{
    static const char *const rows[] = {"cancel-sweep", "demo-sweep"};
    enum { SWEEPS = 6 };
    size_t count = IS_SHORTENED ? 1 : SWEEPS;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        study_result *result = run(rows[i], count);
        holds(STUDY_FAILED, result, count, 0, 0);
        holds(STUDY_RIGHT, result, count, 1 - 2.5 / SWEEPS, 1);
        holds(STUDY_FALSE, result, count, 0, 2.5 / SWEEPS);
        holds(STUDY_F_COVERED, result, count, 0.8, 1);
        holds(STUDY_ZETA_COVERED, result, count, 0.8, 1);
        holds(STUDY_C_COVERED, result, count, 0.8, 1);
        holds(STUDY_C_ERROR, result, count, 0, 0.004); /* a sweep's harmonics, left out, would make 0.007 */
        free(result);
    }
}
END_TEST

/* Noise of any colour: if a mode is reported of one in twenty, more than eight of twenty have a probability of 2e-7. */
START_TEST(coloured_noise)
{
    size_t count = IS_SHORTENED ? FEW : NOISES;
    study_result *result = run("noise-10", count);
    holds(STUDY_FAILED, result, count, 0, 0);
    holds(STUDY_FALSE, result, count, 0, 8.5 / NOISES);
    free(result);
}
END_TEST

/* The figures do not depend on how many threads make the recordings. */
START_TEST(threads_change_nothing)
{
    enum { COUNT = 2 };
    study_result one[COUNT], three[COUNT];
    memset(one, 0, sizeof one);
    memset(three, 0, sizeof three);
    study_run(one, COUNT, study_row_find("one-10"), SEED, 1, false);
    study_run(three, COUNT, study_row_find("one-10"), SEED, 3, false);
    for (size_t i = 0; i < COUNT; i++) {
        const study_match *a = &one[i].match[0], *b = &three[i].match[0];
        ck_assert_int_eq(one[i].status, QUELL_OK);
        ck_assert(a->found == b->found && a->f_hz == b->f_hz && a->ln_f == b->ln_f &&
                  a->ln_zeta == b->ln_zeta && a->sd_c == b->sd_c && one[i].peaks == three[i].peaks);
        ck_assert(i == 0 || a->f_hz != one[i - 1].match[0].f_hz); /* each has a machine of its own */
    }
}
END_TEST

/* A thousand errors that are the quantiles of a normal distribution of mean 0.02 and deviation 0.1, with a bound of
   0.08, and intervals of +-1.96 deviations about what was found. */
START_TEST(figures_of_known_errors)
{
    enum { COUNT = 1000 };
    study_result *result = calloc(COUNT, sizeof *result);
    ck_assert_ptr_nonnull(result);
    for (size_t i = 0; i < COUNT; i++) {
        double error = 0.02 + 0.1 * gsl_cdf_ugaussian_Pinv(((double)i + 0.5) / COUNT);
        result[i] = (study_result){.status = QUELL_OK, .modes = 1, .found = 1};
        result[i].match[0] = (study_match){.found = true,
                                           .ln_f = error,
                                           .ln_zeta = error,
                                           .c_error = error,
                                           .sd_ln_f = 0.08,
                                           .sd_ln_zeta = 0.16,
                                           .f_covered = fabs(error) < 0.196};
    }
    holds(STUDY_F_BIAS, result, COUNT, 0.0199, 0.0201);
    holds(STUDY_F_SPREAD, result, COUNT, 1.2499, 1.2501);
    holds(STUDY_ZETA_SPREAD, result, COUNT, 0.62495, 0.62505);
    /* P(|N(0.2, 1)| < 1.96), and the median of |N(0.2, 1)|: the folded normal distribution */
    double covered = gsl_cdf_ugaussian_P(1.76) - gsl_cdf_ugaussian_P(-2.16);
    holds(STUDY_F_COVERED, result, COUNT, covered - 1e-3, covered + 1e-3);
    double middle = value(STUDY_C_ERROR, result, COUNT) / 0.1;
    CHECK_NEAR(gsl_cdf_ugaussian_P(middle - 0.2) - gsl_cdf_ugaussian_P(-middle - 0.2), 0.5, 2e-3);
    for (size_t i = 0; i < COUNT;
         i += 10) { /* each tenth recording in turn fails, has a mode too many, or misses one */
        result[i].status = i % 30 == 0 ? QUELL_E_DATA : QUELL_OK;
        result[i].wrong = i % 30 == 10;
        result[i].found = i % 30 == 20 ? 0 : 1 + result[i].wrong;
    }
    CHECK_NEAR(value(STUDY_RIGHT, result, COUNT), 0.9, 1e-12);
    CHECK_NEAR(value(STUDY_FAILED, result, COUNT), 0.034, 1e-12);
    CHECK_NEAR(value(STUDY_FALSE, result, COUNT), 33 / 966.0, 1e-12);
    ck_assert(isnan(study_figure_value(STUDY_F_ERROR, result, 0).value));
    free(result);
}
END_TEST

Suite *suite_modes_study(void)
{
    Suite *suite = suite_create("modes_study");
    TCase *cases = tcase_create("modes_study");
    tcase_set_timeout(cases, 120);
    tcase_add_test(cases, ten_seconds_of_random_motion);
    tcase_add_test(cases, sweeps);
    tcase_add_test(cases, coloured_noise);
    tcase_add_test(cases, threads_change_nothing);
    tcase_add_test(cases, figures_of_known_errors);
    suite_add_tcase(suite, cases);
    return suite;
}
