/* base: random numbers: the same for the same seed on every machine, and distributed as they say. */
#include "suites.h"

#include "quell/base.h"

#include <math.h>

/* The 10000th number of the Mersenne Twister seeded with 5489 is 4123659995: the C++ standard's own check
   (ISO/IEC 14882:2011, 26.5.5 [rand.predef]; from memory). Uniform numbers are that over 2^32. */
START_TEST(the_generator_is_the_published_one)
{
    quell_random *random = quell_random_create(5489);
    double value = -1;
    for (int i = 0; i < 10000; i++)
        value = quell_random_uniform(random);
    ck_assert_double_eq(value, 4123659995.0 / 4294967296.0);
    quell_random_destroy(random);
}
END_TEST

START_TEST(the_same_seed_gives_the_same_numbers_and_others_differ)
{
    const uint64_t seeds[] = {
        0, 1, 2, 12345, UINT64_C(0x100000001), UINT64_C(0x200000001), UINT64_C(0xfedcba9876543210)};
    enum { SEEDS = sizeof seeds / sizeof seeds[0] };
    double first[SEEDS];
    for (size_t i = 0; i < SEEDS; i++) {
        quell_random *a = quell_random_create(seeds[i]), *b = quell_random_create(seeds[i]);
        first[i] = quell_random_uniform(a);
        ck_assert_double_eq(quell_random_uniform(b), first[i]);
        for (int n = 0; n < 1000; n++)
            if (quell_random_normal(a) != quell_random_normal(b))
                ck_abort_msg("number %d of one seed differs", n);
        for (size_t j = 0; j < i; j++)
            ck_assert_double_ne(first[j], first[i]);
        quell_random_destroy(a);
        quell_random_destroy(b);
    }
}
END_TEST

START_TEST(failing_memory_makes_no_generator)
{
    quell_memory_fail_at(1);
    ck_assert_ptr_null(quell_random_create(1));
    quell_memory_fail_at(0);
    quell_random_destroy(NULL);
}
END_TEST

/* Bounds are 4.5 standard errors (two-sided probability 7e-6 each) of the mean, the variance, the third and the fourth
   moment of N(0, 1): variances of x, x^2, x^3, x^4 are 1, 2, 15, 96 (moments 1, 3, 15, 105). */
START_TEST(normal_numbers_have_the_moments_of_a_normal_distribution)
{
    enum { N = 1000000 };
    quell_random *random = quell_random_create(20240 + (uint64_t)_i);
    double sum[5] = {0};
    size_t beyond_two = 0, beyond_four = 0;
    for (int i = 0; i < N; i++) {
        double x = quell_random_normal(random), power = 1;
        for (int k = 1; k <= 4; k++)
            sum[k] += power *= x;
        beyond_two += fabs(x) > 2;
        beyond_four += fabs(x) > 4;
    }
    const double moment[] = {1, 0, 1, 0, 3}, variance[] = {0, 1, 2, 15, 96};
    for (int k = 1; k <= 4; k++)
        ck_assert_double_eq_tol(sum[k] / N, moment[k], 4.5 * sqrt(variance[k] / N));
    /* tails: P(|x| > 2) = erfc(sqrt 2) = 0.0455003, P(|x| > 4) = 6.33425e-5; binomial standard errors */
    const double p2 = 0.04550026389635842, p4 = 6.334248366623996e-05;
    ck_assert_double_eq_tol((double)beyond_two / N, p2, 4.5 * sqrt(p2 * (1 - p2) / N));
    ck_assert_double_eq_tol((double)beyond_four / N, p4, 4.5 * sqrt(p4 / N));
    quell_random_destroy(random);
}
END_TEST

/* Uniform on [0, 1): mean 1/2, variance 1/12; neighbours uncorrelated (standard error of r is 1/sqrt N). */
START_TEST(uniform_numbers_are_uniform)
{
    enum { N = 1000000, CELLS = 64 };
    quell_random *random = quell_random_create(8);
    double sum = 0, product = 0, before = 0.5;
    size_t cell[CELLS] = {0};
    for (int i = 0; i < N; i++) {
        double u = quell_random_uniform(random);
        if (!(u >= 0 && u < 1))
            ck_abort_msg("%.17g is outside [0, 1)", u);
        sum += u;
        product += (u - 0.5) * (before - 0.5);
        before = u;
        cell[(int)(u * CELLS)]++;
    }
    ck_assert_double_eq_tol(sum / N, 0.5, 4.5 * sqrt(1.0 / 12 / N));
    ck_assert_double_eq_tol(product / N * 12, 0, 4.5 / sqrt(N));
    double chi2 = 0, expected = (double)N / CELLS;
    for (int i = 0; i < CELLS; i++)
        chi2 += ((double)cell[i] - expected) * ((double)cell[i] - expected) / expected;
    ck_assert_double_lt(chi2, 126.73); /* scipy.stats.chi2.isf(3.5e-6, 63) */
    ck_assert_double_gt(chi2, 24.65);  /* scipy.stats.chi2.ppf(3.5e-6, 63) */
    quell_random_destroy(random);
}
END_TEST

Suite *suite_base_random(void)
{
    Suite *suite = suite_create("base_random");
    TCase *cases = tcase_create("random");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, the_generator_is_the_published_one);
    tcase_add_test(cases, the_same_seed_gives_the_same_numbers_and_others_differ);
    tcase_add_test(cases, failing_memory_makes_no_generator);
    tcase_add_loop_test(cases, normal_numbers_have_the_moments_of_a_normal_distribution, 0, 2);
    tcase_add_test(cases, uniform_numbers_are_uniform);
    suite_add_tcase(suite, cases);
    return suite;
}
