/* predict: ringing against closed forms and an independent integration, rounding against closed forms and a path
   walked in small steps. */
#include "suites.h"

#include "oscillator.h"
#include "quell/predict.h"

#include <math.h>

static const quell_mode fifty = {.frequency_hz = 50, .damping_ratio = 0.05, .participation = 1};

/* ZV for 50 Hz, zeta 0.05: check-values.md 1.1 (exact; source status M for the equation numbers). */
static const quell_shaper zv_50 = {
    .count = 2, .amplitude = {0.539238238511, 0.460761761489}, .time_s = {0, 0.010012523486435176}};
/* EI, undamped, V = 5 %, T = 20 ms: check-values.md 1.3 (exact). */
static const quell_shaper ei_50 = {
    .count = 3, .amplitude = {0.2625, 0.475, 0.2625}, .time_s = {0, 0.01, 0.02}};
/* UM-ZV, undamped, T = 20 ms: check-values.md 1.6 (exact). */
static const quell_shaper um_50 = {.count = 3, .amplitude = {1, -1, 1}, .time_s = {0, 0.02 / 6, 0.02 / 3}};

START_TEST(the_design_s_scale_is_met)
{
    /* design, 4-prediction "Scale to check" (derived): printed to 0.1 um, 1 um */
    quell_event step = quell_motion_corner_stop(0.005, 0);
    quell_motion corner = {1, &step};
    CHECK_NEAR(1e6 * quell_ringing_amplitude(&fifty, &corner, NULL, 0), 15.9, 0.05);
    const quell_event braking[] = {{-0.01, 0, -10, 0},
                                   {0, 0, 10, 0}}; /* 100 mm/s in 10 ms, stopped at time 0 */
    quell_motion stop = {2, braking};
    CHECK_NEAR(1e6 * quell_ringing_amplitude(&fifty, &stop, NULL, 0), 188, 0.5);
    static const double frequency[] = {50, 51.5, 55}, want_um[] = {0, 7.7, 21.8};
    for (size_t i = 0; i < 3; i++) {
        quell_mode mode = fifty;
        mode.frequency_hz = frequency[i];
        CHECK_NEAR(1e6 * quell_ringing_amplitude(&mode, &stop, &zv_50, zv_50.time_s[1]), want_um[i], 0.05);
    }
}
END_TEST

static double sinc(double x)
{
    return sin(x) / x;
}

START_TEST(an_undamped_trapezoid_of_acceleration_has_its_closed_form)
{
    /* design, 4-prediction: |q| = (dv/w) |S(w Tj/2) S(w (Ta + Tj)/2)|, S(x) = sin x / x (derived) */
    static const double constant_s[] = {0.013, 0.05, 0}, ramp_s[] = {0.004, 0.0173, 0.02};
    for (size_t i = 0; i < 3; i++) {
        double ta = constant_s[i], tj = ramp_s[i], jerk = 700, w = QUELL_TAU * 31.8,
               dv = jerk * tj * (ta + tj);
        const quell_event event[] = {{0.2, 0, 0, jerk},
                                     {0.2 + tj, 0, 0, -jerk},
                                     {0.2 + tj + ta, 0, 0, -jerk},
                                     {0.2 + 2 * tj + ta, 0, 0, jerk}};
        quell_motion motion = {4, event};
        quell_mode mode = {.frequency_hz = 31.8, .participation = -0.7};
        double want = 0.7 * dv / w * fabs(sinc(w * tj / 2) * sinc(w * (ta + tj) / 2));
        CHECK_NEAR(quell_ringing_amplitude(&mode, &motion, NULL, 1) / want, 1, 1e-11);
        CHECK_NEAR(cabs(quell_ringing_phasor(&mode, &motion, NULL)) / want, 1, 1e-11);
    }
}
END_TEST

START_TEST(ringing_agrees_with_an_independent_integration)
{
    /* velocity, acceleration and jerk steps that end at rest in acceleration, through a two-impulse shaper */
    const quell_event event[] = {{0.010, 0, 3, 0},
                                 {0.031, 0.007, 0, 0},
                                 {0.040, 0, 0, 250},
                                 {0.052, -0.02, 0, -250},
                                 {0.090, 0, -6, 0}};
    const quell_shaper shaper = {.count = 2, .amplitude = {0.6, 0.4}, .time_s = {0, 0.0113}};
    const quell_mode modes[] = {{.frequency_hz = 47.3, .damping_ratio = 0.046, .participation = 1},
                                {.frequency_hz = 83.5, .damping_ratio = 0.028, .participation = -0.22},
                                {.frequency_hz = 31.8, .damping_ratio = 0, .participation = 0.5}};
    quell_event shaped[10];
    static const size_t order[] = {0, 5, 1, 2, 6, 7, 3, 8, 4, 9}; /* of the ten times, checked below */
    for (size_t i = 0; i < 10; i++) {
        size_t from = order[i] % 5, impulse = order[i] / 5;
        double a = shaper.amplitude[impulse];
        shaped[i] = (quell_event){event[from].time_s + shaper.time_s[impulse], a * event[from].velocity_mps,
                                  a * event[from].acceleration_mps2, a * event[from].jerk_mps3};
        ck_assert(i == 0 || shaped[i].time_s >= shaped[i - 1].time_s);
    }
    quell_motion motion = {5, event};
    for (size_t m = 0; m < 3; m++)
        for (double t = 0.105; t < 0.3; t += 0.0137) {
            double y[2];
            integrate(&modes[m], shaped, 10, 0, t, y);
            double w = QUELL_TAU * modes[m].frequency_hz, z = modes[m].damping_ratio;
            double complex s = -z * w + (double complex)I * (w * sqrt(1 - z * z));
            double complex q = quell_ringing_phasor(&modes[m], &motion, &shaper) * cexp(s * t);
            double size = quell_ringing_amplitude(&modes[m], &motion, &shaper, t);
            CHECK_NEAR(cabs(q) / size, 1, 1e-12);
            /* design goal: 1e-8 relative */
            CHECK_NEAR(creal(q) / size, y[0] / size, 1e-8);
            CHECK_NEAR(creal(s * q) / (w * size), y[1] / (w * size), 1e-8);
        }
}
END_TEST

START_TEST(long_motion_does_not_overflow)
{
    const quell_event event[] = {{0, 0, 3, 0}, {3600, 0, -3, 0}};
    quell_motion motion = {2, event};
    const quell_event last = {0, 0, -3, 0};
    quell_motion alone = {1, &last};
    double want = quell_ringing_amplitude(&fifty, &alone, NULL, 0.01);
    CHECK_NEAR(quell_ringing_amplitude(&fifty, &motion, NULL, 3600.01) / want, 1, 1e-10);
    quell_motion none = {0, NULL};
    ck_assert_double_eq(quell_ringing_amplitude(&fifty, &none, NULL, 1), 0);
}
END_TEST

START_TEST(rounding_of_symmetric_shapers_has_its_closed_form)
{
    /* 3-shaping, Choice: v_c MAD/2 + a sigma^2/4 (derived; exact for equal symmetric shapers at a right angle) */
    static const struct {
        double speed, acceleration;
    } row[] = {{0.008, 6}, {0, 6}, {0.02, 0}, {0.005, 4}};
    const quell_shaper zv = {.count = 2, .amplitude = {0.5, 0.5}, .time_s = {0, 0.01}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        quell_corner corner = {row[i].speed, row[i].acceleration, 0, QUELL_PI / 2};
        /* EI: MAD = 2 * .2625 * 10 ms, sigma^2 = 2 * .2625 * (10 ms)^2;  ZV: MAD = 5 ms, sigma^2 = (5 ms)^2 */
        double ei = row[i].speed * 0.00525 / 2 + row[i].acceleration * 0.525e-4 / 4;
        double two = row[i].speed * 0.005 / 2 + row[i].acceleration * 0.25e-4 / 4;
        CHECK_NEAR(quell_rounding(&corner, &ei_50, &ei_50), ei, 1e-13 * ei);
        CHECK_NEAR(quell_rounding(&corner, &zv, &zv), two, 1e-13 * two);
    }
    quell_corner corner = {0.008, 6, 0, QUELL_PI / 2};
    ck_assert_double_eq(quell_rounding(&corner, NULL, NULL), 0);
    quell_corner straight = {0.008, 6, 0, 0}, back = {0.008, 6, 0, QUELL_PI};
    CHECK_NEAR(quell_rounding(&straight, &ei_50, &ei_50), 0, 1e-18);
    CHECK_NEAR(quell_rounding(&back, &ei_50, &ei_50), 0, 1e-18);
}
END_TEST

/* One machine axis' programmed position: along the first leg before time 0, the second after. */
static double programmed(const quell_corner *corner, double t, double before, double after)
{
    double h = fabs(t), speed = corner->speed_mps, a = corner->acceleration_mps2;
    double ramp = corner->cruise_mps > 0 ? fmax(0, (corner->cruise_mps - speed) / a) : 1e9;
    double way = 0;
    if (h <= ramp)
        way = speed * h + a * h * h / 2;
    else
        way = speed * ramp + a * ramp * ramp / 2 + corner->cruise_mps * (h - ramp);
    return way * (t < 0 ? before : after);
}

static double walked(const quell_corner *corner, const quell_shaper *first, const quell_shaper *second,
                     int steps)
{
    double angle = corner->angle_rad, greatest = 0;
    double to = fmax(first->time_s[first->count - 1], second->time_s[second->count - 1]);
    for (int i = -steps; i <= steps; i++) {
        double t = to * i / steps, x = 0, y = 0;
        for (size_t k = 0; k < first->count; k++)
            x += first->amplitude[k] * programmed(corner, t - first->time_s[k], -1, cos(angle));
        for (size_t k = 0; k < second->count; k++)
            y += second->amplitude[k] * programmed(corner, t - second->time_s[k], 0, sin(angle));
        /* distance from each leg by its nearest point */
        double along_first = fmax(0, -x), along_second = fmax(0, x * cos(angle) + y * sin(angle));
        double d1 = hypot(x + along_first, y);
        double d2 = hypot(x - along_second * cos(angle), y - along_second * sin(angle));
        greatest = fmax(greatest, fmin(d1, d2));
    }
    return greatest;
}

START_TEST(rounding_agrees_with_a_path_walked_in_small_steps)
{
    /* a first impulse that goes the wrong way throws the point beyond a sharp corner: the corner itself is nearest */
    static const quell_shaper backwards = {.count = 2, .amplitude = {-2.78, 3.78}, .time_s = {0, 0.00294}};
    static const quell_shaper gentle = {
        .count = 3, .amplitude = {0.263, 0.597, 0.14}, .time_s = {0, 0.003, 0.0147}};
    /* corners of all kinds: skewed, unequal and negative shapers, angles, cruising speeds */
    /* negative impulses turn the second axis round before the first has come near */
    static const quell_shaper skewed = {.count = 2, .amplitude = {0.597, 0.403}, .time_s = {0, 0.00758}};
    static const quell_shaper turning = {
        .count = 3, .amplitude = {-0.24, 0.795, 0.445}, .time_s = {0, 0.0111, 0.0165}};
    static const struct {
        const quell_shaper *first, *second;
        quell_corner corner;
    } row[] = {
        {&zv_50, &zv_50, {0.008, 6, 0, QUELL_PI / 2}},
        {&ei_50, &zv_50, {0.008, 6, 0, QUELL_PI / 2}},
        {&um_50, &zv_50, {0.008, 6, 0, QUELL_PI / 2}},
        {&um_50, &um_50, {0.03, 2, 0, QUELL_PI / 2}},
        {&zv_50, &ei_50, {0.008, 6, 0, QUELL_PI / 4}},
        {&ei_50, &ei_50, {0.008, 6, 0, 3 * QUELL_PI / 4}},
        {&zv_50, &ei_50, {0.01, 4, 0, 0.7}},
        {&ei_50, &zv_50, {0.002, 9, 0.06, QUELL_PI / 2}},
        {&ei_50, &ei_50, {0.02, 9, 0.02, QUELL_PI / 2}},
        {&ei_50, &zv_50, {0.02, 9, 0.05, 2.5}},
        {&backwards, &gentle, {0.000966, 8.41, 0, 3.04}},
        {&skewed, &turning, {0.00895, 3.24, 0, 2.67}},
    };
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        double want = walked(&row[i].corner, row[i].first, row[i].second, 100000);
        double got = quell_rounding(&row[i].corner, row[i].first, row[i].second);
        ck_assert_double_gt(want, 1e-6);
        /* the walk misses the maximum by at most half a step at the speed of that moment */
        ck_assert_msg(got >= want * (1 - 1e-12) && got <= want * (1 + 2e-4), "row %zu: %.12g, walked %.12g",
                      i, got, want);
    }
}
END_TEST

/* One to five impulses that sum to 1; some are negative, in every third shaper large. */
static quell_shaper any_shaper(quell_random *random)
{
    quell_shaper shaper = {.count = 1 + (size_t)(5 * quell_random_uniform(random))};
    double sum = 0, swing = quell_random_uniform(random) < 0.33 ? 3 : 0.3;
    for (size_t k = 0; k < shaper.count; k++) {
        shaper.time_s[k] = k == 0 ? 0 : shaper.time_s[k - 1] + 0.001 + 0.01 * quell_random_uniform(random);
        shaper.amplitude[k] = 1 + swing * (2 * quell_random_uniform(random) - 1.2);
        sum += shaper.amplitude[k];
    }
    if (fabs(sum) < 0.3) {
        shaper.amplitude[0] += 1;
        sum += 1;
    }
    for (size_t k = 0; k < shaper.count; k++)
        shaper.amplitude[k] /= sum;
    return shaper;
}

START_TEST(rounding_agrees_with_the_walk_for_any_corner)
{
    enum { STEPS = 20000 };
    quell_random *random = quell_random_create(5);
    for (int i = 0; i < 300; i++) {
        quell_shaper first = any_shaper(random), second = any_shaper(random);
        quell_corner corner = {0.02 * quell_random_uniform(random), 10 * quell_random_uniform(random),
                               0.2 * quell_random_uniform(random), QUELL_PI * quell_random_uniform(random)};
        if (i % 2 == 0)
            corner.cruise_mps = 0;
        if (i % 3 == 0)
            corner.angle_rad = QUELL_PI / 2;
        double want = walked(&corner, &first, &second, STEPS), got = quell_rounding(&corner, &first, &second);
        /* the walk may miss the maximum by half a step at the greatest speed a shaped coordinate can have */
        double longest = fmax(first.time_s[first.count - 1], second.time_s[second.count - 1]), weight = 0;
        for (size_t k = 0; k < 5; k++)
            weight += fabs(first.amplitude[k]) + fabs(second.amplitude[k]);
        double missed =
            weight * (corner.speed_mps + 2 * corner.acceleration_mps2 * longest) * longest / STEPS / 2;
        ck_assert_msg(got >= want - 1e-15 && got <= want + missed, "corner %d: %.12g, walked %.12g", i, got,
                      want);
    }
    quell_random_destroy(random);
}
END_TEST

START_TEST(the_acceleration_limit_is_where_the_rounding_is_the_limit)
{
    quell_corner corner = {0.008, 6, 0, QUELL_PI / 2};
    /* from the closed form: a = (limit - v_c MAD/2) 4 / sigma^2, EI as above */
    double want = (0.15e-3 - 0.008 * 0.00525 / 2) * 4 / 0.525e-4;
    CHECK_NEAR(quell_acceleration_limit(&corner, &ei_50, &ei_50, 0.15e-3, 100), want, 1e-9);
    ck_assert_double_eq(quell_acceleration_limit(&corner, &ei_50, &ei_50, 0.15e-3, 5), 5);
    ck_assert(
        isnan(quell_acceleration_limit(&corner, &ei_50, &ei_50, 0.02e-3, 100))); /* v_c MAD/2 is 21 um */
    ck_assert_double_eq(quell_acceleration_limit(&corner, NULL, NULL, 0.15e-3, 100), 100);
    quell_corner cruising = {0.008, 0, 0.06, 1.2};
    double limit = quell_acceleration_limit(&cruising, &ei_50, &zv_50, 0.09e-3, 100);
    cruising.acceleration_mps2 = limit;
    CHECK_NEAR(quell_rounding(&cruising, &ei_50, &zv_50) / 0.09e-3, 1, 1e-9);
}
END_TEST

START_TEST(a_stroke_takes_as_long_as_its_motion)
{
    static const double length[] = {0.2, 0.05, 0.010, 0.009, -0.002};
    for (size_t i = 0; i < sizeof length / sizeof length[0]; i++) {
        quell_motion_list list = {0};
        ck_assert_int_eq(quell_motion_add_stroke(&list, length[i], 0.2, 4, NULL), QUELL_OK);
        CHECK_NEAR(quell_stroke_time(length[i], 0.2, 4, NULL), list.end_s, 1e-14);
        CHECK_NEAR(quell_stroke_time(length[i], 0.2, 4, &ei_50), list.end_s + 0.02, 1e-14);
        quell_motion_list_free(&list);
    }
    CHECK_NEAR(quell_stroke_time(0.2, 0.2, 4, NULL), 1.05,
               1e-14); /* by hand: 1 s of cruise and 0.05 s more */
}
END_TEST

Suite *suite_predict(void)
{
    Suite *suite = suite_create("predict");
    TCase *cases = tcase_create("predict");
    tcase_add_test(cases, the_design_s_scale_is_met);
    tcase_add_test(cases, an_undamped_trapezoid_of_acceleration_has_its_closed_form);
    tcase_add_test(cases, ringing_agrees_with_an_independent_integration);
    tcase_add_test(cases, long_motion_does_not_overflow);
    tcase_add_test(cases, rounding_of_symmetric_shapers_has_its_closed_form);
    tcase_add_test(cases, rounding_agrees_with_a_path_walked_in_small_steps);
    tcase_add_test(cases, rounding_agrees_with_the_walk_for_any_corner);
    tcase_add_test(cases, the_acceleration_limit_is_where_the_rounding_is_the_limit);
    tcase_add_test(cases, a_stroke_takes_as_long_as_its_motion);
    suite_add_tcase(suite, cases);
    return suite;
}
