/* the setting line: units, readings, steps and digits of what a controller is told; the template's scanner. */
#include "suites.h"

#include "choose/setting_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static quell_machine unknown_machine(void)
{
    quell_machine machine;
    quell_machine_unknown(&machine);
    return machine;
}

/* A ZV-like pair at 40 Hz natural, zeta 0.3 (so that damped and natural differ: 40 sqrt(1 - 0.09) = 38.157568). */
static const quell_shaper shaper = {
    .at = {40, 0.3, 0.05}, .count = 3, .amplitude = {0.5, 0.25, 0.25}, .time_s = {0, 0.0125, 0.02}};

static quell_status expand(const quell_machine *machine, char *out, size_t size, quell_error *err)
{
    quell_arena *arena = quell_arena_create(1 << 20);
    char *text = NULL;
    quell_status status = quell_machine_setting(machine, 'x', &shaper, "zv", 0.1, arena, &text, err);
    if (status == QUELL_OK)
        snprintf(out, size, "%s", text);
    quell_arena_destroy(arena);
    return status;
}

#define FREE ((double)NAN)

/* Values worked out by hand from the shaper above. */
static const struct {
    const char *template, *want;
    quell_reading reading;
    const char *frequency_unit, *damping_unit;
    double step, damping;
} lines[] = {
    {"axis {axis} {family} {name}", "axis x zv A%s", QUELL_NATURAL, "Hz", "ratio", 0, FREE},
    {"{frequency} {frequency_hz} {period_s}", "40.00 40.00 0.025000", QUELL_NATURAL, "Hz", "ratio", 0, FREE},
    {"{frequency} {frequency_hz}", "38.16 38.16", QUELL_DAMPED, "Hz", "ratio", 0, FREE},
    {"{frequency} {frequency_hz}", "40.00 40.00", QUELL_READING_UNKNOWN, "Hz", "ratio", 0, FREE},
    {"{frequency}", "38.2", QUELL_DAMPED, "Hz", "ratio", 0.1, FREE},
    {"{frequency}", "38.25", QUELL_DAMPED, "Hz", "ratio", 0.25, FREE},
    {"{frequency}", "38", QUELL_DAMPED, "Hz", "ratio", 1, FREE},
    {"{frequency}", "40", QUELL_DAMPED, "Hz", "ratio", 5, FREE},
    {"{frequency} {frequency_hz}", "251.33 40.00", QUELL_NATURAL, "rad/s", "ratio", 0,
     FREE}, /* 80 pi = 251.3274 */
    {"{frequency}", "251.5", QUELL_NATURAL, "rad/s", "ratio", 0.5 / QUELL_TAU, FREE},
    {"{frequency} {frequency_hz}", "0.025000 40.00", QUELL_NATURAL, "s", "ratio", 0, FREE},
    {"{frequency}", "0.0262", QUELL_DAMPED, "s", "ratio", 0.0002, FREE}, /* 1/38.157568 = 0.0262071 */
    {"{damping_ratio}", "0.300", QUELL_NATURAL, "Hz", "ratio", 0, FREE},
    {"{damping_ratio}", "30.0", QUELL_NATURAL, "Hz", "percent", 0, FREE},
    {"{damping_ratio}", "1.67", QUELL_NATURAL, "Hz", "Q", 0, FREE}, /* 1/0.6 */
    {"{damping_ratio}", "0.04", QUELL_NATURAL, "Hz", "ratio", 0, 0.04},
    {"{damping_ratio}", "12.5", QUELL_NATURAL, "Hz", "Q", 0, 0.04},
    {"{frequency}", "39.97", QUELL_DAMPED, "Hz", "ratio", 0,
     0.04}, /* its own zeta counts: 40 sqrt(1 - 0.0016) */
    {"{residual_limit}", "0.1", QUELL_NATURAL, "Hz", "ratio", 0, FREE},
    {"{amplitudes}|{times_s}|{duration_s}", "0.500000,0.250000,0.250000|0.000000,0.012500,0.020000|0.020000",
     QUELL_NATURAL, "Hz", "ratio", 0, FREE},
    {"100% %s %n {{{axis}} }{{", "100% %s %n {x} }{", QUELL_NATURAL, "Hz", "ratio", 0, FREE},
};

START_TEST(values_are_in_the_controller_s_own_terms)
{
    quell_machine machine = unknown_machine();
    quell_controller *controller = &machine.controller;
    strcpy(controller->setting, lines[_i].template);
    strcpy(controller->accepted[0], "zv");
    strcpy(controller->name[0], "A%s"); /* never a format */
    controller->accepted_count = 1;
    controller->frequency = lines[_i].reading;
    strcpy(controller->frequency_unit, lines[_i].frequency_unit);
    strcpy(controller->damping_unit, lines[_i].damping_unit);
    controller->frequency_step_hz = lines[_i].step;
    controller->damping = lines[_i].damping;
    char text[300];
    quell_error err = {0};
    ck_assert_msg(expand(&machine, text, sizeof text, &err) == QUELL_OK, "%s", err.text);
    ck_assert_str_eq(text, lines[_i].want);
}
END_TEST

START_TEST(times_may_be_differences)
{
    quell_machine machine = unknown_machine();
    machine.controller.impulse_times_are_differences = true;
    strcpy(machine.controller.setting, "{times_s}");
    char text[100];
    ck_assert_int_eq(expand(&machine, text, sizeof text, NULL), QUELL_OK);
    ck_assert_str_eq(text, "0.000000,0.012500,0.007500");
}
END_TEST

START_TEST(an_unknown_placeholder_is_refused_by_name)
{
    static const char *const bad[] = {"{}",    "{",       "{axis",          "{Axis}", "{axis }",
                                      "{axi}", "{axiss}", "{frequency-hz}", "x {{{"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        quell_machine machine = unknown_machine();
        strcpy(machine.controller.setting, bad[i]);
        char text[100] = "untouched";
        quell_error err = {0};
        ck_assert_int_eq(expand(&machine, text, sizeof text, &err), QUELL_E_USAGE);
        ck_assert(strstr(err.text, "{duration_s}, or {{ for a brace") != NULL);
        ck_assert_str_eq(text, "untouched");
    }
}
END_TEST

START_TEST(failing_allocations_are_errors)
{
    quell_machine machine = unknown_machine();
    strcpy(machine.controller.setting, "a {axis} {frequency} {times_s}");
    size_t failures = 0;
    for (size_t bytes = 0;; bytes += 8) {
        quell_arena *arena = quell_arena_create(bytes);
        char *text = NULL;
        quell_error err = {0};
        quell_status status = quell_machine_setting(&machine, 'x', &shaper, "zv", 0.1, arena, &text, &err);
        ck_assert(status == QUELL_OK ? text != NULL : text == NULL);
        quell_arena_destroy(arena);
        if (status == QUELL_OK)
            break;
        ck_assert_int_eq(status, QUELL_E_MEMORY);
        failures++;
    }
    ck_assert_uint_gt(failures, 5);
}
END_TEST

/* Whatever is told is on the controller's grid, and what it makes of it is within half a step of what is meant. */
START_TEST(telling_and_understanding_agree)
{
    static const char *const units[] = {"Hz", "rad/s", "s"};
    static const double steps[3][3] = {{0, 0.1, 0.25}, {0, 0.5 / QUELL_TAU, 1 / QUELL_TAU}, {0, 1e-5, 2e-4}};
    quell_random *random = quell_random_create(7);
    for (int trial = 0; trial < 3000; trial++) {
        quell_machine machine = unknown_machine();
        quell_controller *controller = &machine.controller;
        size_t u = (size_t)(3 * quell_random_uniform(random)), s = (size_t)(3 * quell_random_uniform(random));
        strcpy(controller->frequency_unit, units[u]);
        controller->frequency_step_hz = steps[u][s];
        controller->frequency = quell_random_uniform(random) < 0.5 ? QUELL_NATURAL : QUELL_DAMPED;
        double hz = 15 + 100 * quell_random_uniform(random), zeta = 0.3 * quell_random_uniform(random);
        setting_told nearest = setting_tell(controller, hz, zeta, SETTING_NEAREST);
        setting_told down = setting_tell(controller, hz, zeta, SETTING_DOWN);
        double used = setting_damping_ratio(controller, &nearest);
        CHECK_NEAR(used, zeta, 0.00051);
        double got = setting_natural_hz(controller, &nearest, used, controller->frequency);
        double below = setting_natural_hz(controller, &down, used, controller->frequency);
        double step = u == 2 ? fmax(steps[u][s], 1e-6) * hz * hz : fmax(steps[u][s], 0.01);
        ck_assert_msg(fabs(got - hz) <= 0.56 * step, "%g Hz came back as %g", hz, got);
        ck_assert_msg(below <= hz * (1 + 1e-9) && below > hz - 1.1 * step, "%g Hz came back as %g", hz,
                      below);
        setting_told next = setting_step_down(controller, down);
        double lower = setting_natural_hz(controller, &next, used, controller->frequency);
        ck_assert(lower < below && lower > below - 1.1 * step);
    }
    quell_random_destroy(random);
}
END_TEST

Suite *suite_setting(void)
{
    Suite *suite = suite_create("setting");
    TCase *cases = tcase_create("setting");
    tcase_add_loop_test(cases, values_are_in_the_controller_s_own_terms, 0, sizeof lines / sizeof lines[0]);
    tcase_add_test(cases, times_may_be_differences);
    tcase_add_test(cases, an_unknown_placeholder_is_refused_by_name);
    tcase_add_test(cases, failing_allocations_are_errors);
    tcase_add_test(cases, telling_and_understanding_agree);
    suite_add_tcase(suite, cases);
    return suite;
}
