/* study_bound: the bounds that the modes' study measures spreads by, against published laws that others derived. */
#include "suites.h"

#include "study.h"

#include <math.h>

/* A mode at 50 Hz of damping ratio 0.01 in ambient vibration for 60 s, seen in f (1 -+ k zeta): standard deviations of ln f and
   ln zeta by S.-K. Au, "Uncertainty law in ambient modal identification - Part I: Theory", Mech. Syst. Signal Process. 48,
   2014: sqrt(zeta / (2 pi N Bf)) and sqrt(1 / (2 pi zeta N Bz)), N = f T; the factors of the band from memory. */
static const struct {
    double k, sd_ln_f, sd_ln_zeta;
} au[] = {{5, .0008399768, .1013540166}, {10, .0007793162, .0855998405}, {30, .0007443199, .0767909744}};

START_TEST(ambient_mode_by_the_uncertainty_law)
{
    const double f_hz = 50, zeta = 0.01, seconds = 60;
    for (size_t i = 0; i < sizeof au / sizeof au[0]; i++) {
        double k = au[i].k, periods = f_hz * seconds;
        double band_f = 2 / QUELL_PI * (atan(k) - k / (k * k + 1)),
               band_zeta = 2 / QUELL_PI * (atan(k) + k / (k * k + 1) - 2 * pow(atan(k), 2) / k);
        CHECK_NEAR(sqrt(zeta / (QUELL_TAU * periods * band_f)), au[i].sd_ln_f, 1e-9 * 0.1);
        CHECK_NEAR(sqrt(1 / (QUELL_TAU * zeta * periods * band_zeta)), au[i].sd_ln_zeta, 1e-9);
        study_spectrum spectrum = {.modes = 1,
                                   .f_hz = {f_hz},
                                   .zeta = {zeta},
                                   .c = {1},
                                   .incoherent = true,
                                   .level_m2ps3 = 4e-5,
                                   .low_hz = f_hz * (1 - k * zeta),
                                   .high_hz = f_hz * (1 + k * zeta),
                                   .seconds = seconds};
        study_bound bound;
        ck_assert(study_bound_find(&bound, &spectrum));
        CHECK_NEAR(bound.sd_ln_f / au[i].sd_ln_f, 1, 2e-3);
        CHECK_NEAR(bound.sd_ln_zeta / au[i].sd_ln_zeta, 1, 2e-3);
        ck_assert(isnan(bound.sd_c)); /* no common input, no participation */
    }
}
END_TEST

static study_spectrum driven(double zeta, double seconds)
{
    return (study_spectrum){.modes = 1,
                            .f_hz = {50},
                            .zeta = {zeta},
                            .c = {1},
                            .level_m2ps3 = 4e-3,
                            .low_hz = 27.5,
                            .high_hz = 75,
                            .seconds = seconds};
}

/* A driven mode of participation 1 is |1 + g|^2, as an ambient one is, but with its participation and the input's slope unknown:
   that can only add to the bound, and little where the mode is sharp. Four times the record halves it; noise adds. */
START_TEST(driven_mode)
{
    for (double zeta = 0.005; zeta < 0.11; zeta *= 2) {
        study_spectrum less = driven(zeta, 60), more = driven(zeta, 240), noisy = less, ambient = less;
        noisy.noise_m2ps3 = 4e-3;
        ambient.incoherent = true;
        study_bound of_less, of_more, of_noisy, of_ambient;
        ck_assert(study_bound_find(&of_less, &less) && study_bound_find(&of_more, &more) &&
                  study_bound_find(&of_noisy, &noisy) && study_bound_find(&of_ambient, &ambient));
        CHECK_NEAR(of_less.sd_ln_f / of_more.sd_ln_f, 2, 1e-9);
        CHECK_NEAR(of_less.sd_ln_zeta / of_more.sd_ln_zeta, 2, 1e-9);
        CHECK_NEAR(of_less.sd_c / of_more.sd_c, 2, 1e-9);
        ck_assert_double_gt(of_less.sd_ln_f, of_ambient.sd_ln_f);
        ck_assert_double_gt(of_less.sd_ln_zeta, of_ambient.sd_ln_zeta);
        ck_assert_double_lt(of_less.sd_ln_f, of_noisy.sd_ln_f);
        ck_assert_double_lt(of_less.sd_ln_zeta, of_noisy.sd_ln_zeta);
        if (zeta < 0.006)
            CHECK_NEAR(of_less.sd_ln_f / of_ambient.sd_ln_f, 1, 0.03);
    }
}
END_TEST

/* Two modes that are one cannot be told apart. */
START_TEST(singular)
{
    study_spectrum spectrum = driven(0.05, 60);
    spectrum.modes = 2;
    spectrum.f_hz[1] = spectrum.f_hz[0];
    spectrum.zeta[1] = spectrum.zeta[0];
    spectrum.c[0] = spectrum.c[1] = 0.5;
    study_bound bound[2] = {{0, 0, 0}, {0, 0, 0}};
    ck_assert(!study_bound_find(bound, &spectrum) || bound[0].sd_ln_f > 1);
}
END_TEST

/* A tone: var w >= 24 s^2 / (A^2 N (N^2 - 1)) (D. C. Rife and R. R. Boorstyn, IEEE Trans. Inf. Theory 20, 1974; S. M. Kay,
   Fundamentals of Statistical Signal Processing, 1993). The exact information of a real tone differs by terms at
   twice its frequency, which the mean over phases takes out. */
START_TEST(tone)
{
    const double expected = 2.4000024e-10; /* A = 1, s = 0.1, N = 1000 */
    CHECK_NEAR(24 * 0.01 / (1000.0 * (1e6 - 1)), expected, 1e-17);
    double mean = 0;
    for (size_t i = 0; i < 8; i++) {
        double sd = study_tone_bound(1, 0.1, 0.7, QUELL_TAU * (double)i / 8, 1000);
        CHECK_NEAR(sd * sd / expected, 1, 0.01);
        mean += sd * sd / 8;
    }
    CHECK_NEAR(mean / expected, 1, 5e-5);
}
END_TEST

Suite *suite_study_bound(void)
{
    Suite *suite = suite_create("study_bound");
    TCase *cases = tcase_create("study_bound");
    tcase_add_test(cases, ambient_mode_by_the_uncertainty_law);
    tcase_add_test(cases, driven_mode);
    tcase_add_test(cases, singular);
    tcase_add_test(cases, tone);
    suite_add_tcase(suite, cases);
    return suite;
}
