/* shaping: the shortest smooth kernel for a set of bands, and smooth families in the search of textbook shapers. */
#include "suites.h"

#include "quell/shaping.h"

#include <complex.h>
#include <math.h>
#include <string.h>

#define COUNT(array) (sizeof(array) / sizeof(array)[0])

static const quell_bands wide = {.count = 1, .band = {{{10, 200}, {0, 0}, 1}}};

static quell_tailored design(const quell_bands *bands, double limit, size_t order, double knot_share)
{
    quell_tailored out;
    quell_error err = {0};
    quell_tailor_limits limits = {.residual_limit = limit};
    ck_assert_msg(quell_tailor_smooth(&out, bands, &limits, order, knot_share, &err) == QUELL_OK, "%s", err.text);
    return out;
}

/* The amplitude left by the definition in shaping.h, by another way than the library's sums: complex powers. */
static double left_of(const quell_shaper *shaper, double hz, double zeta)
{
    const double w = QUELL_TAU * hz, last_s = shaper->time_s[shaper->count - 1];
    const double complex s = zeta * w + w * sqrt(1 - zeta * zeta) * (double complex)I;
    double complex sum = 0;
    for (size_t i = 0; i < shaper->count; i++)
        sum += shaper->amplitude[i] * cexp(s * (shaper->time_s[i] - last_s));
    return cabs(sum);
}

static void check_kernel(const quell_shaper *kernel)
{
    double sum = 0;
    ck_assert_uint_le(kernel->count, 121);
    ck_assert_double_eq(kernel->time_s[0], 0);
    for (size_t i = 0; i < kernel->count; i++) {
        ck_assert_double_gt(kernel->amplitude[i], 0);
        if (i > 0)
            ck_assert_double_gt(kernel->time_s[i], kernel->time_s[i - 1]);
        sum += kernel->amplitude[i];
    }
    CHECK_NEAR(sum, 1, 1e-12);
}

START_TEST(all_frequencies_from_one_on_are_left_five_percent)
{
    /* goals of the design: T <= 1.28 / f and spread <= .31 / f; closed forms (Dolph-Chebyshev): no non-negative shaper for all
       f is shorter than acosh(1/V) / pi / f, whose spread is sqrt(acosh(1/V) sqrt(1 - V^2)) / (2 pi f). Twenty times f
       is not all of them: a little less may do. */
    static const struct {
        size_t order;
        double share;
    } rows[] = {{2, .04}, {3, .03}, {3, .04}, {4, .03}};
    const double v = .05, low_hz = 10, bound = acosh(1 / v) / QUELL_PI;
    const double spread = sqrt(acosh(1 / v) * sqrt(1 - v * v)) / QUELL_TAU;
    for (size_t r = 0; r < COUNT(rows); r++) {
        quell_tailored made = design(&wide, v, rows[r].order, rows[r].share);
        const quell_shaper *kernel = &made.shaper;
        quell_shaper_moments moments = quell_shaper_measure(kernel);
        const double step_s = moments.duration_s / 120;
        check_kernel(kernel);
        ck_assert_double_le((moments.duration_s + step_s) * low_hz, 1.28); /* of the kernel behind the list */
        ck_assert_double_ge(moments.duration_s * low_hz, bound * 0.99);
        ck_assert_double_le(moments.spread_s * low_hz, .31);
        CHECK_NEAR(moments.spread_s * low_hz, spread, 2e-3);
        for (double hz = low_hz; hz <= 200; hz += 0.01)
            ck_assert_double_le(left_of(kernel, hz, 0), v * 1.001);
        for (double hz = 200; hz <= 500; hz += 0.05) /* beyond the band: smooth, so less still */
            ck_assert_double_le(left_of(kernel, hz, 0), v * 1.001);
        ck_assert(!made.proved && made.certificate.count == 0);
    }
}
END_TEST

START_TEST(damped_and_weighted_bands_are_kept)
{
    const quell_bands rows[] = {
        {.count = 1, .band = {{{30, 200}, {.02, .1}, 1}}},
        {.count = 2, .band = {{{37.8, 46.2}, {.03, .1}, 1}, {{63.9, 78.1}, {.03, .1}, 1}}},
        {.count = 2, .weighted = true, .band = {{{40, 48}, {.01, .05}, .7}, {{80, 95}, {0, .02}, .3}}},
    };
    for (size_t r = 0; r < COUNT(rows); r++) {
        const double limit = .04;
        quell_tailored made = design(&rows[r], limit, 2, .05);
        double total = 0;
        check_kernel(&made.shaper);
        for (size_t k = 0; k < rows[r].count; k++) {
            const quell_band *band = &rows[r].band[k];
            double worst = 0;
            for (int i = 0; i <= 400; i++)
                for (int z = 0; z <= 10; z++)
                    worst = fmax(worst, left_of(&made.shaper, band->hz[0] + (band->hz[1] - band->hz[0]) * i / 400,
                                                band->damping_ratio[0] +
                                                    (band->damping_ratio[1] - band->damping_ratio[0]) * z / 10));
            total = rows[r].weighted ? total + band->weight * worst : fmax(total, worst);
        }
        ck_assert_double_le(total, limit * 1.001);
        ck_assert_double_ge(total, limit * 0.97); /* a shorter one would not do */
        CHECK_NEAR(total, made.residual_worst, 2e-3 * limit);
        /* a smooth kernel is a non-negative shaper: none is shorter than what quell_tailor proves */
        quell_tailored shortest;
        quell_tailor_limits limits = {.residual_limit = limit};
        ck_assert_int_eq(quell_tailor(&shortest, &rows[r], &limits, NULL), QUELL_OK);
        ck_assert_double_ge(quell_shaper_measure(&made.shaper).duration_s,
                            quell_shaper_measure(&shortest.shaper).duration_s * .999);
    }
}
END_TEST

/* An order-m kernel is made of B-splines: no jump from one impulse to the next can exceed what one B-spline of all the amplitude
   makes: of order 2, 1 / knot^2 with knots in steps. Impulses alone (EI's) jump by a quarter and more. */
START_TEST(neighbours_differ_by_no_more_than_a_spline_can)
{
    for (size_t knot = 4; knot <= 8; knot += 2) {
        quell_tailored made = design(&wide, .05, 2, (double)knot / 121);
        double before = 0, most = 1.0 / (double)(knot * knot);
        for (size_t i = 0; i < made.shaper.count; i++) {
            ck_assert_double_le(fabs(made.shaper.amplitude[i] - before), most);
            before = made.shaper.amplitude[i];
        }
    }
}
END_TEST

START_TEST(what_is_out_of_range_is_refused)
{
    static const struct {
        quell_tailor_limits limits;
        size_t order;
        double share;
        const char *text;
    } rows[] = {
        {{.05, .001, 0}, 2, .05, "a tick of 0.001 s is stated, want none"},
        {{.05, 0, 15}, 2, .05, "a smooth kernel of 15 impulses, want 16 to 128"},
        {{.05, 0, 129}, 2, .05, "a smooth kernel of 129 impulses, want 16 to 128"},
        {{.05, 0, 0}, 0, .05, "the order of the B-splines is 0, want 1 to 4"},
        {{.05, 0, 0}, 5, .05, "the order of the B-splines is 5, want 1 to 4"},
        {{.05, 0, 0}, 2, 0, "the share of a knot is 0, want more than 0 and at most 0.4"},
        {{.05, 0, 0}, 2, .41, "the share of a knot is 0.41, want more than 0 and at most 0.4"},
        {{.05, 0, 0}, 2, (double)NAN, "the share of a knot is not a number"},
        {{1, 0, 0}, 2, .05, "the residual limit is 1, want"},
    };
    for (size_t r = 0; r < COUNT(rows); r++) {
        quell_error err = {0};
        quell_tailored out, untouched;
        memset(&out, 0x5a, sizeof out);
        untouched = out;
        ck_assert_int_eq(quell_tailor_smooth(&out, &wide, &rows[r].limits, rows[r].order, rows[r].share, &err), QUELL_E_USAGE);
        ck_assert_msg(strstr(err.text, rows[r].text) != NULL, "%s", err.text);
        ck_assert_int_eq(memcmp(&out, &untouched, sizeof out), 0);
    }
}
END_TEST

START_TEST(memory_may_run_out_anywhere)
{
    const quell_bands narrow = {.count = 1, .band = {{{40, 44}, {.02, .02}, 1}}};
    const quell_tailor_limits limits = {.residual_limit = .1, .impulses = 20};
    size_t failures = 0;
    for (size_t n = 1; n < 400; n++) {
        quell_tailored out, untouched;
        memset(&out, 0x5a, sizeof out);
        untouched = out;
        quell_memory_fail_at(n);
        quell_status status = quell_tailor_smooth(&out, &narrow, &limits, 2, .2, NULL);
        quell_memory_fail_at(0);
        if (status == QUELL_OK)
            break;
        ck_assert(status == QUELL_E_MEMORY || status == QUELL_E_NO_SHAPER);
        ck_assert_int_eq(memcmp(&out, &untouched, sizeof out), 0);
        failures++;
    }
    ck_assert_uint_gt(failures, 2);
}
END_TEST

START_TEST(smooth_and_negative_families_are_searched_only_where_they_are_listed)
{
    /* one mode, +-2 %, 10 %: a negative shaper is the shortest of all, but asks more of the drives */
    const quell_bands bands = {.count = 1, .band = {{{49, 51}, {0, .02}, 1}}};
    quell_textbook_limits limits = {.residual_limit = .1, .parts = 2};
    quell_textbook found;
    ck_assert_int_eq(quell_textbook_best(&found, &bands, &limits, NULL), QUELL_OK);
    for (size_t p = 0; p < found.parts; p++)
        ck_assert_uint_eq(found.part[p].family->flags & (QUELL_FAMILY_NEGATIVE | QUELL_FAMILY_SMOOTH), 0);
    static const char *const ids[] = {"um-zvd", "um-ei", "box", "spline2"};
    for (size_t i = 0; i < COUNT(ids); i++) {
        const quell_family *only = quell_family_find(ids[i]);
        limits = (quell_textbook_limits){.residual_limit = .1, .parts = 1, .families = 1, .family = &only};
        ck_assert_int_eq(quell_textbook_best(&found, &bands, &limits, NULL), QUELL_OK);
        ck_assert_ptr_eq(found.part[0].family, only);
        ck_assert_double_le(found.residual_worst, .1);
    }
}
END_TEST

Suite *suite_tailor_smooth(void)
{
    Suite *suite = suite_create("tailor_smooth");
    TCase *cases = tcase_create("tailor_smooth");
    tcase_set_timeout(cases, 120);
    tcase_add_test(cases, all_frequencies_from_one_on_are_left_five_percent);
    tcase_add_test(cases, damped_and_weighted_bands_are_kept);
    tcase_add_test(cases, neighbours_differ_by_no_more_than_a_spline_can);
    tcase_add_test(cases, what_is_out_of_range_is_refused);
    tcase_add_test(cases, memory_may_run_out_anywhere);
    tcase_add_test(cases, smooth_and_negative_families_are_searched_only_where_they_are_listed);
    suite_add_tcase(suite, cases);
    return suite;
}
