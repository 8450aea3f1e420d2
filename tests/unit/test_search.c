/* search: the best setting of a family against brute force, and in the controller's own terms. */
#include "suites.h"

#include "demo_modes.h"

#include "choose/search_private.h"

typedef struct setup {
    quell_modes modes;
    quell_machine machine;
    axis_needs needs;
    search_context search;
    search_family family;
} setup;

/* machine is taken as it stands; needs are made again whenever it changes. */
static void begin(setup *at, char axis, const char *family)
{
    *at = (setup){.modes = demo_modes(axis), .machine = demo_machine()};
    at->family = (search_family){.built_in = quell_family_find(family), .id = family};
    at->search =
        (search_context){.machine = &at->machine, .tolerance = 0.05, .arena = quell_arena_create(64 << 20)};
}

static void end(setup *at)
{
    quell_arena_destroy(at->search.arena);
}

static search_result run(setup *at, char axis, double drift, double limit)
{
    quell_need need = demo_need(axis, &at->modes);
    need.drift = drift;
    needs_prepare(&at->needs, &need, &at->machine);
    at->needs.residual_limit = limit;
    search_result result;
    search_family_best(&at->search, &at->family, &at->needs, NULL, false, &result);
    ck_assert(!at->search.out_of_memory);
    return result;
}

START_TEST(the_design_s_expected_settings_are_found)
{
    /* design, 3-shaping "Expected on the demo" (from a separate script, printed to the digits used as tolerance):
       x: ZV nowhere below 12 %, EI near 59.8 Hz (6.1 ms), ZVD near 54.6 Hz (6.5 ms); y: ZV near 32.7 Hz (7.6 ms) */
    static const struct {
        char axis;
        const char *family;
        bool meets;
        double hz, hz_tolerance, spread_ms;
    } rows[] = {{'x', "zv", false, 0, 0, 0},
                {'x', "ei", true, 59.8, 0.15, 6.1},
                {'x', "zvd", true, 54.6, 0.15, 6.5},
                {'y', "zv", true, 32.7, 0.15, 7.6}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        setup at;
        begin(&at, rows[i].axis, rows[i].family);
        search_result result = run(&at, rows[i].axis, 0.03, 0.1);
        ck_assert(result.exists && result.meets == rows[i].meets && !result.outside);
        if (rows[i].meets) {
            CHECK_NEAR(result.setting.told.frequency, rows[i].hz, rows[i].hz_tolerance);
            CHECK_NEAR(result.spread_s * 1e3, rows[i].spread_ms, 0.06);
        } else {
            ck_assert_double_ge(result.residual_worst, 0.12);
            ck_assert_double_le(result.residual_worst, 0.13);
        }
        end(&at);
    }
}
END_TEST

/* The least spread that meets the limit, and the least R, over a grid of frequencies within the modes' ranges and of the
   damping ratios within theirs, in thousandths as settings have them. */
static void brute_force(setup *at, double hz_step, double zeta_step, double *spread_s, double *residual)
{
    double low = 1, high = 0;
    for (size_t k = 0; k < at->needs.modes; k++) {
        low = fmin(low, at->needs.mode[k].zeta[0]);
        high = fmax(high, at->needs.mode[k].zeta[2]);
    }
    *spread_s = *residual = HUGE_VAL;
    for (double zeta = ceil(low * 1e3) / 1e3; zeta <= fmin(high, 0.3); zeta += zeta_step) {
        quell_shaper unit, shaper;
        quell_design_point point = {1, zeta, at->search.tolerance};
        if (quell_shaper_design(&unit, at->family.built_in, &point, NULL) != QUELL_OK)
            continue;
        for (double hz = at->needs.low_hz; hz <= at->needs.high_hz; hz *= 1 + hz_step) {
            search_place(&shaper, &unit, hz, 0);
            double bound = fmax(at->needs.residual_limit, *residual);
            double r = needs_residual_worst(&at->needs, &shaper, bound);
            *residual = fmin(*residual, r);
            if (r <= at->needs.residual_limit)
                *spread_s = fmin(*spread_s, search_spread(&shaper));
        }
    }
}

/* Modes at random: 1 to 3, 20 to 120 Hz, damping 0.01 to 0.1. */
static quell_modes random_modes(quell_random *random)
{
    quell_modes modes = {.count = 1 + (size_t)(3 * quell_random_uniform(random))};
    for (size_t k = 0; k < modes.count; k++) { /* in this order, whatever the compiler does with arguments */
        double hz = 20 + 100 * quell_random_uniform(random);
        double zeta = 0.01 + 0.09 * quell_random_uniform(random);
        double participation = 0.1 + 0.9 * quell_random_uniform(random);
        modes.mode[k] = demo_mode(hz, zeta, participation);
    }
    return modes;
}

/* The first families of the table, up to the smooth ones: those have some ten times as many impulses, and a dense grid takes
   as much longer. */
static const quell_family *quick_families(size_t *count)
{
    size_t families;
    const quell_family *family = quell_families(&families);
    for (*count = 0; *count < families && (family[*count].flags & QUELL_FAMILY_SMOOTH) == 0;)
        ++*count;
    return family;
}

START_TEST(nothing_on_a_dense_grid_is_better)
{
    size_t families, met = 0, missed = 0;
    const quell_family *family = quick_families(&families);
    quell_random *random = quell_random_create(11 + (uint64_t)_i);
    for (int trial = 0; trial < 6; trial++) {
        setup at;
        begin(&at, 'x', family[(size_t)(6 * _i + trial) % families].id);
        at.machine.controller.frequency_step_hz = 1e-4; /* so that rounding does not blur the comparison */
        at.modes = random_modes(random);
        double limit = 0.03 + 0.15 * quell_random_uniform(random);
        search_result result = run(&at, 'x', 0.05 * quell_random_uniform(random), limit);
        double spread_s, residual;
        brute_force(&at, 1e-3, 0.001, &spread_s, &residual);
        ck_assert(result.exists);
        if (isfinite(spread_s)) {
            ck_assert_msg(result.meets && !result.outside && result.spread_s <= spread_s * 1.0005,
                          "%s: found %g ms, the grid has %g ms", at.family.id, result.spread_s * 1e3,
                          spread_s * 1e3);
            ck_assert_double_le(result.residual_worst, limit);
            met++;
        } else if (!result.meets) {
            ck_assert_msg(result.residual_worst <= residual * 1.002, "%s: found %g, the grid has %g",
                          at.family.id, result.residual_worst, residual);
            missed++;
        }
        end(&at);
    }
    ck_assert_uint_gt(met + missed, 0);
    quell_random_destroy(random);
}
END_TEST

/* A stretch of frequencies far narrower than the scan's step must be found all the same: two exactly known modes, the
   second hardly ringing, and a limit that ZV keeps only within 0.104 % of 40 Hz: V rises by pi K / (1 + K) = 1.448 per
   unit of f/f0 at a damping ratio of 0.05. */
START_TEST(narrow_stretches_are_not_missed)
{
    for (int i = 0; i < 10; i++) {
        setup at;
        begin(&at, 'x', "zv");
        at.machine.controller.frequency_step_hz = 1e-4;
        double hz = 40 + 0.037 * i;
        at.modes.mode[0] = (quell_mode){.frequency_hz = hz,
                                        .damping_ratio = 0.05,
                                        .participation = 1,
                                        .frequency_ci95_hz = {hz, hz},
                                        .damping_ratio_ci95 = {0.05, 0.05}};
        at.modes.mode[1] = (quell_mode){.frequency_hz = 60,
                                        .damping_ratio = 0.05,
                                        .participation = 1e-7,
                                        .frequency_ci95_hz = {60, 60},
                                        .damping_ratio_ci95 = {0.05, 0.05}};
        search_result result = run(&at, 'x', 0, 0.0015);
        ck_assert(result.meets && !result.outside);
        CHECK_NEAR(result.setting.told.frequency, hz, 0.00104 * hz);
        search_variants made; /* the scan itself, without the search for the least R that may come after it */
        ck_assert(search_make_variants(&at.search, &at.family, 50, &made));
        search_scan scan = {&at.search, &at.needs, &made, 35, 60};
        CHECK_NEAR(search_highest_that_meets(&scan), hz, 0.0012 * hz);
        end(&at);
    }
}
END_TEST

/* Told as Q = 1/(2 zeta) with two decimals, damping ratios lie off the search's own grid. */
START_TEST(damping_told_as_q_is_judged_as_told)
{
    setup at;
    begin(&at, 'x', "ei");
    memcpy(at.machine.controller.damping_unit, "Q", 2);
    for (int i = 0; i < 5; i++) {
        search_result result = run(&at, 'x', 0.03, 0.09 + 0.01 * i);
        double told = result.setting.told.damping, zeta = 1 / (2 * told);
        CHECK_NEAR(told * 100, round(told * 100), 1e-9);
        quell_shaper fresh;
        quell_design_point point = {result.setting.told.frequency, zeta, 0.05};
        ck_assert_int_eq(quell_shaper_design(&fresh, quell_family_find("ei"), &point, NULL), QUELL_OK);
        for (size_t j = 0; j < 3; j++)
            CHECK_NEAR(result.setting.shaper[0].amplitude[j], fresh.amplitude[j], 1e-10);
    }
    end(&at);
}
END_TEST

START_TEST(settings_are_on_the_controller_s_steps_and_in_its_range)
{
    setup at;
    begin(&at, 'x', "ei");
    at.machine.controller.frequency_step_hz = 0.5;
    search_result coarse = run(&at, 'x', 0.03, 0.1);
    CHECK_NEAR(coarse.setting.told.frequency * 2, round(coarse.setting.told.frequency * 2), 1e-9);
    ck_assert(coarse.meets && coarse.residual_worst <= 0.1);
    /* judged as the controller runs it: R of the rounded setting */
    CHECK_NEAR(coarse.residual_worst, needs_residual_worst(&at.needs, &coarse.setting.shaper[0], HUGE_VAL),
               1e-14);
    CHECK_NEAR(coarse.setting.shaper[0].at.frequency_hz, coarse.setting.told.frequency, 1e-12);
    at.machine.controller.frequency_range_hz[0] = 10;
    at.machine.controller.frequency_range_hz[1] = 57.2;
    search_result kept = run(&at, 'x', 0.03, 0.1);
    ck_assert_double_le(kept.setting.told.frequency, 57.2);
    ck_assert(kept.meets && kept.spread_s > coarse.spread_s);
    at.machine.controller.frequency_range_hz[1] = 30; /* all modes lie above what it can be told */
    search_result low = run(&at, 'x', 0.03, 0.1);
    ck_assert(low.exists && low.setting.told.frequency <= 30);
    end(&at);
}
END_TEST

START_TEST(a_fixed_damping_ratio_is_used_as_it_is)
{
    setup at;
    begin(&at, 'x', "ei");
    at.machine.controller.damping = 0.1234;
    search_result fixed = run(&at, 'x', 0.03, 0.12), again = run(&at, 'x', 0.03, 0.12);
    CHECK_NEAR(fixed.setting.shaper[0].at.damping_ratio, 0.1234, 1e-15);
    ck_assert_double_eq(fixed.spread_s, again.spread_s);
    at.machine.controller.damping = 0;
    search_result zero = run(&at, 'x', 0.03, 0.12);
    CHECK_NEAR(zero.setting.shaper[0].amplitude[0], zero.setting.shaper[0].amplitude[2], 1e-12);
    end(&at);
}
END_TEST

START_TEST(what_is_not_known_is_judged_every_way)
{
    setup at;
    begin(&at, 'y', "zvd");
    search_result known = run(&at, 'y', 0.03, 0.1);
    ck_assert_uint_eq(known.setting.readings, 1);
    at.machine.controller.frequency = QUELL_READING_UNKNOWN;
    search_result both = run(&at, 'y', 0.03, 0.1);
    ck_assert_uint_eq(both.setting.readings, 2);
    double zeta = both.setting.shaper[0].at.damping_ratio, ratio = sqrt(1 - zeta * zeta);
    CHECK_NEAR(both.setting.shaper[0].at.frequency_hz / both.setting.shaper[1].at.frequency_hz, ratio, 1e-12);
    double worst = fmax(needs_residual_worst(&at.needs, &both.setting.shaper[0], HUGE_VAL),
                        needs_residual_worst(&at.needs, &both.setting.shaper[1], HUGE_VAL));
    CHECK_NEAR(both.residual_worst, worst, 1e-15);
    at.machine.controller.damping_unknown = true;
    search_result all = run(&at, 'y', 0.03, 0.1);
    ck_assert_uint_eq(all.setting.readings, 5); /* 0.05 and 0.1 both ways, 0 one way */
    ck_assert_double_ge(all.residual_worst,
                        needs_residual_worst(&at.needs, &all.setting.shaper[4], HUGE_VAL));
    end(&at);
}
END_TEST

START_TEST(a_damped_frequency_is_told_lower)
{
    setup at;
    begin(&at, 'y', "zv");
    at.machine.controller.frequency_step_hz = 1e-4;
    search_result natural = run(&at, 'y', 0.03, 0.1);
    at.machine.controller.frequency = QUELL_DAMPED;
    search_result damped = run(&at, 'y', 0.03, 0.1);
    double zeta = damped.setting.shaper[0].at.damping_ratio;
    CHECK_NEAR(damped.setting.told.frequency / natural.setting.told.frequency, sqrt(1 - zeta * zeta), 1e-5);
    CHECK_NEAR(damped.spread_s, natural.spread_s, 1e-7);
    end(&at);
}
END_TEST

START_TEST(impulses_fall_on_ticks)
{
    setup at;
    begin(&at, 'x', "ei");
    at.machine.controller.tick_s = 0.5e-3;
    search_result result = run(&at, 'x', 0.03, 0.12);
    const quell_shaper *shaper = &result.setting.shaper[0];
    double sum = 0;
    for (size_t i = 0; i < shaper->count; i++) {
        CHECK_NEAR(shaper->time_s[i] / 0.5e-3, round(shaper->time_s[i] / 0.5e-3), 1e-9);
        sum += shaper->amplitude[i];
    }
    CHECK_NEAR(sum, 1, 1e-12);
    ck_assert_double_le(result.residual_worst, 0.12);
    end(&at);
}
END_TEST

/* Impulses that round to one tick are added, so that times still increase. */
START_TEST(impulses_on_one_tick_are_added)
{
    quell_shaper unit = {.count = 3, .amplitude = {0.25, 0.5, 0.25}, .time_s = {0, 0.5, 1}}, placed;
    search_place(&placed, &unit, 100, 0.02);
    ck_assert_uint_eq(placed.count, 2);
    CHECK_NEAR(placed.amplitude[0] + placed.amplitude[1], 1, 1e-15);
    CHECK_NEAR(placed.time_s[1], 0.02, 1e-15);
}
END_TEST

START_TEST(a_design_outside_the_ranges_is_only_taken_when_nothing_inside_meets)
{
    size_t outside = 0;
    quell_random *random = quell_random_create(5);
    for (int trial = 0; trial < 40; trial++) {
        size_t families;
        const quell_family *family = quick_families(&families);
        setup at;
        begin(&at, 'x', family[(size_t)trial % families].id);
        at.modes = random_modes(random);
        at.modes.count = at.modes.count > 1 ? 2 : 1;
        search_result result = run(&at, 'x', 0.03, 0.045);
        double spread_s, residual;
        if (result.outside) {
            brute_force(&at, 2e-3, 0.01, &spread_s, &residual);
            ck_assert(isinf(spread_s));
            ck_assert(result.meets && result.residual_worst <= 0.045);
            double hz = result.setting.shaper[0].at.frequency_hz;
            ck_assert(hz < at.needs.low_hz || hz > at.needs.high_hz - 0.11);
            outside++;
        }
        end(&at);
    }
    ck_assert_uint_gt(outside, 0);
    quell_random_destroy(random);
    /* EI leaves V = 0.05 at its own frequency, and less only towards its zeros at 1 -+ 0.14 (check-values.md 1.3): 4.5 %
       over 4 % of uncertainty needs a design above the mode's range */
    setup at;
    begin(&at, 'y', "ei");
    search_result above = run(&at, 'y', 0.03, 0.045);
    ck_assert(above.meets && above.outside && above.setting.shaper[0].at.frequency_hz > at.needs.high_hz);
    end(&at);
}
END_TEST

Suite *suite_search(void)
{
    Suite *suite = suite_create("search");
    TCase *cases = tcase_create("search");
    tcase_set_timeout(cases, 120);
    tcase_add_test(cases, the_design_s_expected_settings_are_found);
    tcase_add_loop_test(cases, nothing_on_a_dense_grid_is_better, 0, 7);
    tcase_add_test(cases, narrow_stretches_are_not_missed);
    tcase_add_test(cases, damping_told_as_q_is_judged_as_told);
    tcase_add_test(cases, settings_are_on_the_controller_s_steps_and_in_its_range);
    tcase_add_test(cases, a_fixed_damping_ratio_is_used_as_it_is);
    tcase_add_test(cases, what_is_not_known_is_judged_every_way);
    tcase_add_test(cases, a_damped_frequency_is_told_lower);
    tcase_add_test(cases, impulses_fall_on_ticks);
    tcase_add_test(cases, impulses_on_one_tick_are_added);
    tcase_add_test(cases, a_design_outside_the_ranges_is_only_taken_when_nothing_inside_meets);
    suite_add_tcase(suite, cases);
    return suite;
}
