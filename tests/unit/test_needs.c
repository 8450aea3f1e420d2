/* needs: weights and ringing against hand computation, R against brute force by a formula of the test's own. */
#include "suites.h"

#include <complex.h>
#include <math.h>

#include "demo_modes.h"

#include "choose/needs_private.h"

START_TEST(weights_and_ringing_of_the_reference_move)
{
    /* |c| |gamma + alpha/s| / wd in um, and normalised: computed with Python's complex numbers, outside this program;
       the design prints 74 + 6 um and weights .93 .07 for x, 110 um for y */
    static const struct {
        char axis;
        double corner_mps, acceleration_mps2;
        double ripple_um[2], weight[2];
    } rows[] = {
        {'x', 0.008, 6, {74.29102028127264, 5.931248410633884}, {0.9260648133324073, 0.07393518666759268}},
        {'y', 0.008, 4, {110.39226625791676, 0}, {1, 0}},
        {'x',
         0.008,
         (double)NAN,
         {26.946908536531772, 3.355958905714275},
         {0.889252760910816, 0.11074723908918407}},
        {'x',
         (double)NAN,
         6,
         {68.00317697622974, 4.797462113691869},
         {0.9341013736463748, 0.06589862635362526}},
        {'x', (double)NAN, (double)NAN, {(double)NAN, (double)NAN}, {0.889252760910816, 0.11074723908918407}},
    };
    for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
        quell_modes modes = demo_modes(rows[r].axis);
        quell_machine machine = demo_machine();
        machine.corner_speed_mps = rows[r].corner_mps;
        machine.axis[rows[r].axis - 'x'].acceleration_mps2 = rows[r].acceleration_mps2;
        quell_need need = demo_need(rows[r].axis, &modes);
        axis_needs needs;
        needs_prepare(&needs, &need, &machine);
        for (size_t k = 0; k < modes.count; k++) {
            CHECK_NEAR(needs.mode[k].weight, rows[r].weight[k], 1e-12);
            if (isnan(rows[r].ripple_um[k]))
                ck_assert(isnan(needs.mode[k].ripple_m));
            else
                CHECK_NEAR(needs.mode[k].ripple_m * 1e6, rows[r].ripple_um[k], 1e-9);
        }
        ck_assert(!needs.worst_mode);
    }
}
END_TEST

START_TEST(uncertainty_is_interval_drift_and_load)
{
    quell_modes modes = demo_modes('x');
    quell_machine machine = demo_machine();
    quell_need need = demo_need('x', &modes);
    axis_needs needs;
    needs_prepare(&needs, &need, &machine);
    CHECK_NEAR(needs.mode[0].hz[0], 47.3 * 0.99 * 0.97, 1e-12);
    CHECK_NEAR(needs.mode[0].hz[1], 47.3 * 1.01 * 1.03, 1e-12);
    CHECK_NEAR(needs.mode[0].zeta[0], 0.8 * 0.046, 1e-15);
    CHECK_NEAR(needs.mode[0].zeta[1], 0.046, 1e-15);
    CHECK_NEAR(needs.mode[0].zeta[2], 1.2 * 0.046, 1e-15);
    machine.axis[0].moving_mass_kg = 0.9;
    machine.axis[0].load_kg[1] = 0.3;
    needs_prepare(&needs, &need, &machine);
    CHECK_NEAR(needs.mode[1].hz[0], 83.5 * 0.99 * 0.97 / sqrt(1 + 0.3 / 0.9),
               1e-12); /* only the lower edge */
    CHECK_NEAR(needs.mode[1].hz[1], 83.5 * 1.01 * 1.03, 1e-12);
    CHECK_NEAR(needs.low_hz, needs.mode[0].hz[0], 1e-12);
    CHECK_NEAR(needs.high_hz, needs.mode[1].hz[1], 1e-12);
    modes.mode[0].frequency_ci95_hz[0] = modes.mode[0].damping_ratio_ci95[1] =
        (double)NAN; /* then the estimate alone */
    needs_prepare(&needs, &need, &machine);
    CHECK_NEAR(needs.mode[0].hz[1], 47.3 * 1.03, 1e-12);
    CHECK_NEAR(needs.mode[0].zeta[2], 0.046, 1e-15);
}
END_TEST

/* What recordings show of the drift is counted once: a mode that was recorded at f (1 -+ h), without error, is judged over
   f (1 -+ d); and where they show more than d, over what they show. Random modes: no recording is ever outside. */
START_TEST(what_recordings_show_is_part_of_the_drift)
{
    quell_modes modes = demo_modes('x');
    quell_machine machine = demo_machine();
    quell_need need = demo_need('x', &modes);
    axis_needs needs;
    static const double h[] = {0.01, 0.047}, d[] = {0.03, 0.047};
    for (size_t k = 0; k < 2; k++) {
        quell_mode *mode = &modes.mode[k];
        mode->frequency_ci95_hz[0] = mode->frequency_hz * (1 - h[k]);
        mode->frequency_ci95_hz[1] = mode->frequency_hz * (1 + h[k]);
        need.half_range_hz[k] = h[k] * mode->frequency_hz;
    }
    needs_prepare(&needs, &need, &machine);
    for (size_t k = 0; k < 2; k++) {
        CHECK_NEAR(needs.mode[k].drift, d[k], 1e-12);
        CHECK_NEAR(needs.mode[k].hz[0], modes.mode[k].frequency_hz * (1 - d[k]), 1e-12);
        CHECK_NEAR(needs.mode[k].hz[1], modes.mode[k].frequency_hz * (1 + d[k]), 1e-12);
    }
    quell_random *random = quell_random_create(8);
    for (int trial = 0; trial < 500; trial++) {
        double *interval = modes.mode[0].frequency_ci95_hz, low = 40 + 5 * quell_random_uniform(random);
        double high = low + 5 * quell_random_uniform(random), error = 0.01 * quell_random_uniform(random);
        modes.mode[0].frequency_hz = low + (high - low) * quell_random_uniform(random);
        interval[0] = low * (1 - error);
        interval[1] = high * (1 + error);
        need.half_range_hz[0] = (high - low) / 2;
        need.drift = 0.08 * quell_random_uniform(random);
        needs_prepare(&needs, &need, &machine);
        ck_assert_double_le(needs.mode[0].hz[0], interval[0] * (1 + 1e-12));
        ck_assert_double_ge(needs.mode[0].hz[1], interval[1] * (1 - 1e-12));
    }
    quell_random_destroy(random);
}
END_TEST

/* ---------------------------------------------------------------- brute force */

/* V by its definition, in complex arithmetic. */
static double definition(const quell_shaper *shaper, double hz, double zeta)
{
    double w = QUELL_TAU * hz, last = shaper->time_s[shaper->count - 1];
    double complex sum = 0;
    for (size_t i = 0; i < shaper->count; i++)
        sum += shaper->amplitude[i] *
               cexp((zeta + (double complex)I * sqrt(1 - zeta * zeta)) * w * shaper->time_s[i]);
    return exp(-zeta * w * last) * cabs(sum);
}

static double brute_force(const axis_needs *needs, const quell_shaper *shaper, size_t frequencies,
                          size_t dampings)
{
    double total = 0;
    for (size_t k = 0; k < needs->modes; k++) {
        const needs_mode *mode = &needs->mode[k];
        double worst = 0;
        for (size_t i = 0; i < frequencies; i++)
            for (size_t j = 0; j < dampings; j++) {
                double hz = mode->hz[0] + (mode->hz[1] - mode->hz[0]) * (double)i / (double)(frequencies - 1);
                double zeta =
                    mode->zeta[0] + (mode->zeta[2] - mode->zeta[0]) * (double)j / (double)(dampings - 1);
                worst = fmax(worst, definition(shaper, hz, zeta));
            }
        total = needs->worst_mode ? fmax(total, worst) : total + mode->weight * worst;
    }
    return total;
}

/* Impulses at random: nothing about R may depend on their being a family's. */
static quell_shaper random_shaper(quell_random *random)
{
    quell_shaper shaper = {.count = 1 + (size_t)(6 * quell_random_uniform(random))};
    double time_s = 0, sum = 0;
    for (size_t i = 0; i < shaper.count; i++) {
        shaper.time_s[i] = time_s;
        time_s += 0.002 + 0.012 * quell_random_uniform(random);
        sum += shaper.amplitude[i] = quell_random_uniform(random) - 0.1;
    }
    for (size_t i = 0; i < shaper.count; i++)
        shaper.amplitude[i] /= sum;
    return shaper;
}

START_TEST(worst_residual_is_that_of_a_fine_grid)
{
    quell_random *random = quell_random_create(3);
    double most_below = 0;
    for (int trial = 0; trial < 60; trial++) {
        char axis = trial % 3 == 0 ? 'y' : 'x';
        quell_modes modes = demo_modes(axis);
        quell_machine machine = demo_machine();
        quell_need need = demo_need(axis, &modes);
        need.equal = trial % 2 == 0;
        need.drift = 0.2 * quell_random_uniform(random);
        quell_shaper shaper = random_shaper(random);
        axis_needs needs;
        needs_prepare(&needs, &need, &machine);
        double got = quell_need_residual(&need, &machine, &shaper, false);
        double coarse = brute_force(&needs, &shaper, 61, 3), fine = brute_force(&needs, &shaper, 3001, 3);
        ck_assert(got >= coarse - 1e-12);
        CHECK_NEAR(got, fine, 2e-4); /* the parabola at maxima leaves this much */
        /* between the three damping ratios R may be larger still; V is nearly linear in zeta over such an interval */
        most_below = fmax(most_below, brute_force(&needs, &shaper, 301, 9) - got);
        double nominal = 0;
        for (size_t k = 0; k < needs.modes; k++) {
            double v = definition(&shaper, modes.mode[k].frequency_hz, modes.mode[k].damping_ratio);
            nominal = need.equal ? fmax(nominal, v) : nominal + needs.mode[k].weight * v;
        }
        CHECK_NEAR(quell_need_residual(&need, &machine, &shaper, true), nominal, 1e-12);
    }
    ck_assert_double_lt(most_below, 1e-3);
    quell_random_destroy(random);
}
END_TEST

/* Over a wide band the grid is coarse: 61 points over an octave miss a maximum by up to 1e-4, the parabola does not. */
START_TEST(maxima_between_grid_points_are_found)
{
    quell_modes modes = demo_modes('y');
    quell_machine machine = demo_machine();
    quell_need need = demo_need('y', &modes);
    double most_missed = 0;
    for (int i = 0; i < 12; i++) {
        need.drift = 0.30 + 0.01 * i;
        quell_shaper shaper = {.count = 2, .amplitude = {0.5, 0.5}, .time_s = {0, 1 / (31.8 + 0.3 * i)}};
        axis_needs needs;
        needs_prepare(&needs, &need, &machine);
        double fine = brute_force(&needs, &shaper, 20001, 3);
        CHECK_NEAR(quell_need_residual(&need, &machine, &shaper, false), fine, 5e-6);
        most_missed = fmax(most_missed, fine - brute_force(&needs, &shaper, 61, 3));
    }
    ck_assert_double_gt(most_missed, 5e-5);
}
END_TEST

START_TEST(giving_up_early_never_hides_a_setting_that_meets_the_limit)
{
    quell_random *random = quell_random_create(4);
    quell_modes modes = demo_modes('x');
    quell_machine machine = demo_machine();
    quell_need need = demo_need('x', &modes);
    axis_needs needs;
    needs_prepare(&needs, &need, &machine);
    for (int trial = 0; trial < 400; trial++) {
        quell_shaper shaper = random_shaper(random);
        double exact = needs_residual_worst(&needs, &shaper, HUGE_VAL), bound = quell_random_uniform(random);
        double bounded = needs_residual_worst(&needs, &shaper, bound);
        if (exact <= bound)
            CHECK_NEAR(bounded, exact, 1e-14);
        else
            ck_assert(bounded > bound && bounded <= exact + 1e-12);
    }
    quell_random_destroy(random);
}
END_TEST

START_TEST(equal_or_unknown_participation_counts_the_worst_mode)
{
    quell_modes modes = demo_modes('x');
    quell_machine machine = demo_machine();
    quell_need need = demo_need('x', &modes);
    quell_shaper zv; /* for the first mode alone: the second then rings most */
    quell_design_point at = {47.3, 0.046, 0.05};
    ck_assert_int_eq(quell_shaper_design(&zv, quell_family_find("zv"), &at, NULL), QUELL_OK);
    double second = definition(&zv, 83.5, 0.028);
    need.equal = true;
    CHECK_NEAR(quell_need_residual(&need, &machine, &zv, true), second, 1e-12);
    need.equal = false;
    ck_assert_double_lt(quell_need_residual(&need, &machine, &zv, true), 0.1);
    modes.mode[1].participation = (double)NAN;
    CHECK_NEAR(quell_need_residual(&need, &machine, &zv, true), second, 1e-12);
    CHECK_NEAR(quell_need_residual(&need, NULL, &zv, true), second, 1e-12);
}
END_TEST

START_TEST(no_shaper_leaves_everything)
{
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    quell_shaper none;
    quell_shaper_identity(&none);
    CHECK_NEAR(quell_need_residual(&need, NULL, &none, false), 1, 1e-12);
    CHECK_NEAR(quell_need_residual(&need, NULL, &none, true), 1, 1e-12);
}
END_TEST

Suite *suite_needs(void)
{
    Suite *suite = suite_create("needs");
    TCase *cases = tcase_create("needs");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, weights_and_ringing_of_the_reference_move);
    tcase_add_test(cases, uncertainty_is_interval_drift_and_load);
    tcase_add_test(cases, what_recordings_show_is_part_of_the_drift);
    tcase_add_test(cases, worst_residual_is_that_of_a_fine_grid);
    tcase_add_test(cases, maxima_between_grid_points_are_found);
    tcase_add_test(cases, giving_up_early_never_hides_a_setting_that_meets_the_limit);
    tcase_add_test(cases, equal_or_unknown_participation_counts_the_worst_mode);
    tcase_add_test(cases, no_shaper_leaves_everything);
    suite_add_tcase(suite, cases);
    return suite;
}
