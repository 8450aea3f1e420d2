/* shaping: what must hold for every family of the table, at any frequency, damping and tolerance it takes. */
#include "suites.h"

#include "quell/shaping.h"

#include <math.h>
#include <string.h>

#define COUNT(array) (sizeof(array) / sizeof(array)[0])

static const double tolerances[] = {.001, .01, .05, .1, .2};
static const double damping_ratios[] = {0, .001, .02, .05, .1, .137, .2, .25, .3};

typedef void (*check)(const quell_shaper *shaper);

static bool has_humps(const quell_family *family)
{
    return (family->flags & QUELL_FAMILY_TOLERANCE) != 0;
}

static bool is_smooth(const quell_family *family)
{
    return (family->flags & QUELL_FAMILY_SMOOTH) != 0;
}

static bool is_negative(const quell_family *family)
{
    return (family->flags & QUELL_FAMILY_NEGATIVE) != 0;
}

/* Only large humps with heavy damping have no solution, and smooth kernels whose damped residual has no minimum left. */
static bool may_refuse(const quell_family *family, const quell_design_point *at)
{
    if (is_smooth(family))
        return at->damping_ratio > (strcmp(family->id, "raised-cosine") == 0 ? 0.11 : 0.27);
    return has_humps(family) && !is_negative(family) && at->damping_ratio > 0.13 && at->tolerance > 0.03;
}

/* Runs check on every family, tolerance and damping ratio for which there is a shaper. */
static void for_all(check run)
{
    size_t families, shapers = 0;
    const quell_family *family = quell_families(&families);
    for (size_t f = 0; f < families; f++)
        for (size_t v = 0; v < (has_humps(&family[f]) ? COUNT(tolerances) : 1); v++)
            for (size_t z = 0; z < COUNT(damping_ratios); z++) {
                quell_shaper shaper;
                quell_design_point at = {37.7, damping_ratios[z], tolerances[v]};
                quell_error err = {0};
                quell_status status = quell_shaper_design(&shaper, &family[f], &at, &err);
                if (status == QUELL_OK) {
                    run(&shaper);
                    shapers++;
                    continue;
                }
                ck_assert_msg(status == QUELL_E_NO_SHAPER && may_refuse(&family[f], &at), "%s zeta %g V %g: %s", family[f].id, at.damping_ratio, at.tolerance, err.text);
            }
    ck_assert_uint_gt(shapers, families * COUNT(damping_ratios));
}

static void check_impulses(const quell_shaper *shaper)
{
    double sum = 0;
    ck_assert_double_eq(shaper->time_s[0], 0);
    for (size_t i = 0; i < shaper->count; i++) {
        sum += shaper->amplitude[i];
        if (!is_negative(shaper->family))
            ck_assert_double_gt(shaper->amplitude[i], 0);
        if (i > 0)
            ck_assert_double_gt(shaper->time_s[i], shaper->time_s[i - 1]);
    }
    CHECK_NEAR(sum, 1, 1e-14);
}

START_TEST(amplitudes_sum_to_one_and_times_increase)
{
    for_all(check_impulses);
}
END_TEST

static void check_scaling(const quell_shaper *shaper)
{
    quell_shaper twice, scaled;
    quell_design_point at = shaper->at;
    at.frequency_hz *= 2;
    ck_assert_int_eq(quell_shaper_design(&twice, shaper->family, &at, NULL), QUELL_OK);
    quell_shaper_scale(&scaled, shaper, at.frequency_hz);
    ck_assert_double_eq(scaled.at.frequency_hz, at.frequency_hz);
    ck_assert_ptr_eq(scaled.family, shaper->family);
    ck_assert_uint_eq(twice.count, shaper->count);
    ck_assert_uint_eq(scaled.count, shaper->count);
    for (size_t i = 0; i < shaper->count; i++) {
        ck_assert_double_eq(twice.amplitude[i], shaper->amplitude[i]);
        ck_assert_double_eq(twice.time_s[i], shaper->time_s[i] / 2);
        ck_assert_double_eq(scaled.amplitude[i], shaper->amplitude[i]);
        ck_assert_double_eq(scaled.time_s[i], shaper->time_s[i] / 2);
    }
    for (double r = 0.5; r < 2; r += 0.17)
        CHECK_NEAR(quell_residual(&scaled, 2 * r * shaper->at.frequency_hz, 0.07),
                   quell_residual(shaper, r * shaper->at.frequency_hz, 0.07), 1e-14);
}

START_TEST(twice_the_frequency_halves_the_times)
{
    for_all(check_scaling);
}
END_TEST

/* A damped smooth kernel leaves the mode least of all its lengths nearby: a kernel of another length is the same one at another
   frequency. */
static void check_smooth_design(const quell_shaper *shaper)
{
    const double f = shaper->at.frequency_hz, z = shaper->at.damping_ratio, left = quell_residual(shaper, f, z);
    for (double off = 1e-4; off < 0.1; off *= 2) {
        ck_assert_double_le(left, quell_residual(shaper, f * (1 - off), z) + 1e-15);
        if (off < 0.01) /* further on the next zero draws it down */
            ck_assert_double_le(left, quell_residual(shaper, f * (1 + off), z) + 1e-15);
    }
    if (z <= 0)
        CHECK_NEAR(left, 0, 1e-14);
}

/* Residual at the design mode: 0, except V for EI and three-hump EI, which have a hump there. */
static void check_design_mode(const quell_shaper *shaper)
{
    if (is_smooth(shaper->family)) {
        check_smooth_design(shaper);
        return;
    }
    const bool hump = has_humps(shaper->family) && shaper->count % 2 == 1;
    CHECK_NEAR(quell_residual(shaper, shaper->at.frequency_hz, shaper->at.damping_ratio),
               hump ? shaper->at.tolerance : 0, 1e-10);
}

START_TEST(the_design_mode_is_left_what_the_definition_says)
{
    for_all(check_design_mode);
}
END_TEST

static void check_band(const quell_shaper *shaper)
{
    const double f = shaper->at.frequency_hz, z = shaper->at.damping_ratio,
                 v = quell_shaper_tolerance(shaper);
    quell_insensitivity band = quell_shaper_insensitivity(shaper, f, z, v);
    if (quell_residual(shaper, f, z) > v + 1e-9) { /* a damped smooth kernel; the band is empty */
        ck_assert(is_smooth(shaper->family) && z > 0);
        ck_assert_double_eq(band.width, 0);
        return;
    }
    ck_assert(band.low_hz < f && f < band.high_hz);
    CHECK_NEAR(band.width, (band.high_hz - band.low_hz) / f, 1e-15);
    for (int i = 0; i <= 5000; i++) {
        double at_hz = band.low_hz + (band.high_hz - band.low_hz) * i / 5000;
        ck_assert_double_le(quell_residual(shaper, at_hz, z), v + 1.0001e-9);
    }
    /* just outside, it is above; an edge is accurate to 1e-10 */
    ck_assert_double_gt(quell_residual(shaper, band.low_hz * (1 - 2e-10), z), v - 1e-13);
    ck_assert_double_gt(quell_residual(shaper, band.low_hz * (1 - 1e-4), z), v);
    if (band.high_hz < 10 * f) /* a heavily damped mode may be left less at all higher frequencies */
        ck_assert_double_gt(quell_residual(shaper, band.high_hz * (1 + 1e-4), z), v);
}

START_TEST(the_band_keeps_its_tolerance)
{
    for_all(check_band);
}
END_TEST

/* The lowest (sign 1) or highest (sign -1) residual between two frequencies, by golden section. */
static double extreme(const quell_shaper *shaper, double low, double high, double sign)
{
    const double golden = (sqrt(5) - 1) / 2, z = shaper->at.damping_ratio;
    for (int i = 0; i < 80; i++) {
        double left = high - golden * (high - low), right = low + golden * (high - low);
        if (sign * quell_residual(shaper, left, z) < sign * quell_residual(shaper, right, z))
            high = right;
        else
            low = left;
    }
    return (low + high) / 2;
}

/* The defining constraints, measured on the curve: an exact zero to an impulse after the first, or to two where amplitudes are
   given; the humps between them V high, and the anchor. */
static void check_constraints(const quell_shaper *shaper)
{
    if (!has_humps(shaper->family))
        return;
    const double f = shaper->at.frequency_hz, z = shaper->at.damping_ratio, v = shaper->at.tolerance;
    double zero[16];
    size_t zeros = 0;
    const double step = f / 3000;
    double before = quell_residual(shaper, f / 5, z), here = quell_residual(shaper, f / 5 + step, z);
    for (double at = f / 5 + 2 * step; at < 4 * f && zeros < COUNT(zero); at += step) {
        double next = quell_residual(shaper, at, z);
        if (here < before && here <= next) {
            double lowest = extreme(shaper, at - 2 * step, at, 1);
            if (quell_residual(shaper, lowest, z) < 1e-10)
                zero[zeros++] = lowest;
        }
        before = here;
        here = next;
    }
    const bool given = is_negative(shaper->family);
    const size_t n = given ? (shaper->count - 1) / 2 : shaper->count - 1;
    ck_assert_uint_ge(zeros, n); /* undamped ones repeat at three times the frequency */
    for (size_t k = 0; k + 1 < n; k++) {
        double hump = extreme(shaper, zero[k], zero[k + 1], -1);
        if (n > 2 || given)
            CHECK_NEAR(quell_residual(shaper, hump, z), v, 1e-10);
        if ((n == 4 && k == 1) || given) /* flat at the top: found to the root of the rounding only */
            CHECK_NEAR(hump / f, 1, 1e-6);
    }
    if (n == 3)
        CHECK_NEAR(zero[1] / f, 1, 1e-9);
    if (n == 2 && !given)
        CHECK_NEAR(shaper->time_s[2], 1 / (f * sqrt(1 - z * z)), 1e-14);
}

START_TEST(humped_families_meet_their_constraints)
{
    for_all(check_constraints);
}
END_TEST

/* q'' + 2 z w q' + w^2 q = sum A_i delta(t - t_i) by Runge-Kutta steps between the impulses: shares no code with the
   residual's closed form. Amplitude of the free vibration at the last impulse, by that of one unit impulse. */
static double simulated_residual(const quell_shaper *shaper, double frequency_hz, double zeta)
{
    const double w = QUELL_TAU * frequency_hz;
    double q = 0, v = 0;
    for (size_t i = 0; i < shaper->count; i++) {
        v += shaper->amplitude[i];
        double span = i + 1 < shaper->count ? shaper->time_s[i + 1] - shaper->time_s[i] : 0;
        int steps = 200 + (int)(span * frequency_hz * 600);
        double h = span / steps;
        for (int s = 0; s < steps && span > 0; s++) {
            double q1 = v, v1 = -2 * zeta * w * v - w * w * q;
            double q2 = v + h / 2 * v1, v2 = -2 * zeta * w * q2 - w * w * (q + h / 2 * q1);
            double q3 = v + h / 2 * v2, v3 = -2 * zeta * w * q3 - w * w * (q + h / 2 * q2);
            double q4 = v + h * v3, v4 = -2 * zeta * w * q4 - w * w * (q + h * q3);
            q += h / 6 * (q1 + 2 * q2 + 2 * q3 + q4);
            v += h / 6 * (v1 + 2 * v2 + 2 * v3 + v4);
        }
    }
    const double wd = w * sqrt(1 - zeta * zeta);
    return wd * hypot(q, (v + zeta * w * q) / wd);
}

static void check_simulation(const quell_shaper *shaper)
{
    static const double ratio[] = {.37, .8, 1, 1.13, 1.71, 2.9};
    static const double zeta[] = {0, .043, .19};
    for (size_t r = 0; r < COUNT(ratio); r++)
        for (size_t z = 0; z < COUNT(zeta); z++) { /* a smooth kernel takes long: a third of them */
            if (is_smooth(shaper->family) && (r + z) % 3 != 0)
                continue;
            double f = ratio[r] * shaper->at.frequency_hz;
            CHECK_NEAR(quell_residual(shaper, f, zeta[z]), simulated_residual(shaper, f, zeta[z]), 2e-9);
        }
}

/* UM-ZVD: the residual is flat at the mode; undamped or not it rises with the square of the distance. */
static void check_flat(const quell_shaper *shaper)
{
    if (strcmp(shaper->family->id, "um-zvd") != 0)
        return;
    const double f = shaper->at.frequency_hz, z = shaper->at.damping_ratio;
    for (int sign = -1; sign <= 1; sign += 2) {
        double near = quell_residual(shaper, f * (1 + sign * 1e-5), z), far = quell_residual(shaper, f * (1 + sign * 2e-5), z);
        CHECK_NEAR(far / near, 4, 1e-3);
    }
}

START_TEST(unity_magnitude_zvd_is_flat_at_the_mode)
{
    for_all(check_flat);
}
END_TEST

START_TEST(the_residual_is_what_an_integration_leaves)
{
    for_all(check_simulation);
}
END_TEST

START_TEST(products_multiply_residuals_and_add_moments)
{
    /* exact: phasors of the two multiply; means, variances and durations add */
    size_t families;
    const quell_family *family = quell_families(&families);
    for (size_t a = 0; a < families; a++)
        for (size_t b = 0; b < families; b++) {
            quell_shaper first, second, product;
            quell_design_point one = {41.3, .043, .04}, other = {67.9, .105, .07};
            ck_assert_int_eq(quell_shaper_design(&first, &family[a], &one, NULL), QUELL_OK);
            ck_assert_int_eq(quell_shaper_design(&second, &family[b], &other, NULL), QUELL_OK);
            if (first.count * second.count > QUELL_SHAPER_MAX) {
                ck_assert(is_smooth(&family[a]) || is_smooth(&family[b]));
                ck_assert_int_eq(quell_shaper_convolve(&product, &first, &second, NULL), QUELL_E_USAGE);
                continue;
            }
            ck_assert_int_eq(quell_shaper_convolve(&product, &first, &second, NULL), QUELL_OK);
            ck_assert_uint_eq(product.count, first.count * second.count);
            for (double f = 20; f < 150; f += 17.7)
                CHECK_NEAR(quell_residual(&product, f, .06),
                           quell_residual(&first, f, .06) * quell_residual(&second, f, .06), 1e-14);
            quell_shaper_moments m = quell_shaper_measure(&product), m1 = quell_shaper_measure(&first),
                                 m2 = quell_shaper_measure(&second);
            CHECK_NEAR(m.mean_s, m1.mean_s + m2.mean_s, 1e-15);
            CHECK_NEAR(m.duration_s, m1.duration_s + m2.duration_s, 1e-15);
            CHECK_NEAR(m.spread_s, hypot(m1.spread_s, m2.spread_s), 1e-15);
        }
}
END_TEST

START_TEST(table_rows_are_complete)
{
    size_t families;
    const quell_family *family = quell_families(&families);
    ck_assert_uint_ge(families, 15);
    for (size_t f = 0; f < families; f++) {
        ck_assert(strlen(family[f].id) > 0 && strlen(family[f].title) > 0 && strlen(family[f].summary) > 0);
        ck_assert_uint_eq(strspn(family[f].id, "abcdefghijklmnopqrstuvwxyz0123456789-"),
                          strlen(family[f].id));
        for (size_t g = 0; g < f; g++)
            ck_assert_str_ne(family[f].id, family[g].id);
    }
}
END_TEST

Suite *suite_shaping_families(void)
{
    Suite *suite = suite_create("shaping_families");
    TCase *cases = tcase_create("shaping_families");
    tcase_set_timeout(cases, 120);
    tcase_add_test(cases, amplitudes_sum_to_one_and_times_increase);
    tcase_add_test(cases, twice_the_frequency_halves_the_times);
    tcase_add_test(cases, the_design_mode_is_left_what_the_definition_says);
    tcase_add_test(cases, the_band_keeps_its_tolerance);
    tcase_add_test(cases, humped_families_meet_their_constraints);
    tcase_add_test(cases, unity_magnitude_zvd_is_flat_at_the_mode);
    tcase_add_test(cases, the_residual_is_what_an_integration_leaves);
    tcase_add_test(cases, products_multiply_residuals_and_add_moments);
    tcase_add_test(cases, table_rows_are_complete);
    suite_add_tcase(suite, cases);
    return suite;
}
