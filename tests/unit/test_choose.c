/* choose: the rule on small cases, the demo's choice, both ways out, what would change it, every state that has no
   choice, and failing memory. */
#include "suites.h"

#include "shortened.h"
#include "demo_modes.h"

#include "choose/choose_private.h"
#include "quell/predict.h"

#include <stdio.h>
#include <stdlib.h>

static quell_axis_choice *new_choice(void)
{
    quell_axis_choice *choice = malloc(sizeof *choice);
    memset(choice, 0, sizeof *choice);
    return choice;
}

typedef struct chosen {
    quell_arena *arena;
    quell_axis_choice *choice;
    quell_status status;
    quell_error err;
} chosen;

static chosen choose(const quell_need *need, const quell_machine *machine)
{
    chosen made = {.arena = quell_arena_create(64 << 20), .choice = new_choice()};
    made.status = quell_choose_axis(need, machine, made.arena, made.choice, &made.err);
    return made;
}

static void finish(chosen *made)
{
    quell_arena_destroy(made->arena);
    free(made->choice);
}

static const quell_candidate *row_of(const quell_axis_choice *choice, const char *id)
{
    for (size_t i = 0; i < choice->count; i++)
        if (strcmp(choice->candidate[i].family_id, id) == 0 && !choice->candidate[i].is_old)
            return &choice->candidate[i];
    return NULL;
}

static const char *chosen_id(const quell_axis_choice *choice)
{
    return choice->chosen < 0 ? "nothing" : choice->candidate[choice->chosen].family_id;
}

/* Of 30 Hz at c = 0.05 and 50 Hz at c = 1 the latter rings more: at equal velocity steps by 0.6 / 0.05 = 12 times. Its
   frequency is the one that the stretches covered are told in, even where all modes weigh alike. */
START_TEST(what_is_covered_is_told_of_the_mode_that_rings_most)
{
    quell_modes modes = {.count = 2, .mode = {demo_mode(30, 0.05, 0.05), demo_mode(50, 0.05, 1)}};
    quell_machine machine = demo_machine();
    quell_need need = demo_need('x', &modes);
    need.equal = true;
    need.residual_limit = 0.4;
    chosen made = choose(&need, &machine);
    ck_assert_int_eq(made.status, QUELL_OK);
    ck_assert_uint_eq(made.choice->strongest, 1);
    const quell_candidate *row = &made.choice->candidate[made.choice->chosen];
    bool covered = false;
    for (size_t i = 0; i < row->covers_count; i++)
        covered = covered || (row->covers_hz[i][0] < 50 && row->covers_hz[i][1] > 50);
    ck_assert(covered);
    finish(&made);
}
END_TEST

/* ---------------------------------------------------------------- the rule */

START_TEST(least_spread_and_within_three_percent_the_wider)
{
    static const struct {
        rule_entry entry[4];
        int except, want;
    } rows[] = {
        {{{true, 5, 0.1}, {true, 4, 0.1}, {true, 6, 0.9}, {false, 1, 9}}, -1, 1},
        {{{true, 5, 0.1}, {true, 4, 0.1}, {true, 6, 0.9}, {false, 1, 9}}, 1, 0},
        {{{true, 4.11, 0.2}, {true, 4, 0.1}, {false, 0, 9}, {false, 0, 9}}, -1, 0}, /* 2.75 % more, wider */
        {{{true, 4.13, 0.2}, {true, 4, 0.1}, {false, 0, 9}, {false, 0, 9}}, -1, 1}, /* 3.25 % more */
        {{{true, 4.11, 0.1}, {true, 4, 0.1}, {false, 0, 9}, {false, 0, 9}},
         -1,
         1}, /* as wide: the least spread */
        {{{true, 4.2, 0.3}, {true, 4.1, 0.2}, {true, 4, 0.1}, {false, 0, 9}},
         -1,
         1}, /* 3 % of the least, not in a chain */
        {{{false, 4, 1}, {false, 4, 1}, {false, 4, 1}, {false, 4, 1}}, -1, RULE_NOBODY},
        {{{true, 4, 1}, {false, 4, 1}, {false, 4, 1}, {false, 4, 1}}, 0, RULE_NOBODY},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        ck_assert_int_eq(rule_pick(rows[i].entry, 4, rows[i].except), rows[i].want);
}
END_TEST

/* Rows with made-up numbers, for what happens when nothing meets the limit. */
static int choose_among(const quell_candidate *row, size_t count, double rounding_limit_m)
{
    quell_machine machine = demo_machine();
    machine.rounding_limit_m = rounding_limit_m;
    choice_work work = {.machine = &machine, .out = new_choice()};
    work.needs.modes = 1;
    work.needs.mode[0].frequency_hz = 40;
    work.out->residual_limit = 0.1;
    work.out->count = count;
    memcpy(work.out->candidate, row, count * sizeof *row);
    int best = rule_choose(&work, RULE_NOBODY);
    free(work.out);
    return best;
}

START_TEST(without_any_that_meets_ripple_decides_within_the_rounding_limit)
{
    quell_candidate row[3] = {
        {.accepted = true, .residual_worst = 0.5, .ripple_worst_m = 50e-6, .rounding_m = 100e-6},
        {.accepted = true, .residual_worst = 0.2, .ripple_worst_m = 20e-6, .rounding_m = 300e-6},
        {.accepted = false, .residual_worst = 0.15, .ripple_worst_m = 15e-6, .rounding_m = 50e-6},
    };
    ck_assert_int_eq(choose_among(row, 3, 150e-6),
                     0); /* the only one that is taken and rounds little enough */
    ck_assert_int_eq(choose_among(row, 3, 50e-6), 1); /* none rounds little enough: the least ripple */
    ck_assert_int_eq(choose_among(row, 3, (double)NAN), 1);
    row[0].ripple_worst_m = row[1].ripple_worst_m = (double)NAN; /* no ripple known: R decides */
    ck_assert_int_eq(choose_among(row, 3, (double)NAN), 1);
    row[2].accepted = true;
    row[2].residual_worst = 0.1; /* on the limit: meets it */
    ck_assert_int_eq(choose_among(row, 3, 150e-6), 2);
}
END_TEST

/* ---------------------------------------------------------------- the demo */

START_TEST(the_demo_is_chosen_as_the_design_expects)
{
    quell_machine machine = demo_machine();
    quell_modes x = demo_modes('x'), y = demo_modes('y');
    quell_shaper old;
    ck_assert_int_eq(quell_shaper_parse(&old, "zvd:43.5:0.07", NULL), QUELL_OK);
    quell_need need[2] = {demo_need('x', &x), demo_need('y', &y)};
    need[0].old_setting = need[1].old_setting = &old;
    chosen made = choose(&need[0], &machine);
    const quell_axis_choice *choice = made.choice;
    ck_assert_msg(made.status == QUELL_OK, "%s", made.err.text);
    ck_assert_str_eq(chosen_id(choice), "ei");
    ck_assert_uint_eq(choice->count, 6); /* three families, the tailored one, the old setting, no shaper */
    ck_assert_str_eq(choice->candidate[choice->runner_up].family_id, "zvd");
    ck_assert_int_eq(choice->tailored, 3);
    ck_assert_int_eq(choice->old, 4);
    ck_assert_int_eq(choice->none, 5);
    ck_assert(choice->meets_residual && choice->meets_rounding);
    /* design, 3-shaping "Expected on the demo": 74 and 82 um of rounding, 74 + 6 um without a shaper */
    CHECK_NEAR(row_of(choice, "ei")->rounding_m * 1e6, 74, 0.6);
    CHECK_NEAR(row_of(choice, "zvd")->rounding_m * 1e6, 82, 0.6);
    CHECK_NEAR(choice->unshaped_ripple_m[0] * 1e6, 74, 0.5);
    CHECK_NEAR(choice->unshaped_ripple_m[1] * 1e6, 6, 0.5);
    /* the old setting is carried over unchanged, and the controller takes it */
    const quell_candidate *kept = &choice->candidate[choice->old];
    ck_assert(kept->is_old && kept->accepted && kept->shaper.count == old.count);
    ck_assert_mem_eq(kept->shaper.time_s, old.time_s, old.count * sizeof *old.time_s);
    CHECK_NEAR(choice->candidate[choice->none].residual_worst, 1, 1e-12);
    CHECK_NEAR(choice->candidate[choice->none].spread_s, 0, 1e-15);
    ck_assert(isinf(choice->candidate[choice->none].acceleration_limit_mps2));
    char want[100], number[32];
    quell_number_print_fixed(number, sizeof number, row_of(choice, "ei")->shaper.at.frequency_hz, 1);
    snprintf(want, sizeof want, "axis x type C at %s damping ", number);
    ck_assert_msg(strncmp(choice->setting, want, strlen(want)) == 0, "%s", choice->setting);
    finish(&made);
    made = choose(&need[1], &machine);
    ck_assert_str_eq(chosen_id(made.choice), "zv");
    CHECK_NEAR(row_of(made.choice, "zv")->rounding_m * 1e6, 89, 0.6);
    finish(&made);
}
END_TEST

START_TEST(numbers_of_a_row_agree_with_their_definitions)
{
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    chosen made = choose(&need, &machine);
    for (size_t i = 0; i < made.choice->count; i++) {
        const quell_candidate *row = &made.choice->candidate[i];
        need.residual_limit = 0.1;
        CHECK_NEAR(row->residual_worst, quell_need_residual(&need, &machine, &row->shaper, false), 1e-14);
        CHECK_NEAR(row->residual_nominal, quell_need_residual(&need, &machine, &row->shaper, true), 1e-14);
        double ripple = 0, unshaped = 0;
        for (size_t k = 0; k < 2; k++) {
            ripple += row->ripple_m[k];
            unshaped += made.choice->unshaped_ripple_m[k];
            ck_assert(row->ripple_ci95_m[k][0] <= row->ripple_m[k] &&
                      row->ripple_m[k] <= row->ripple_ci95_m[k][1]);
        }
        CHECK_NEAR(ripple, row->residual_nominal * unshaped, 1e-15);
        CHECK_NEAR(row->ripple_worst_m, row->residual_worst * unshaped, 1e-15);
        /* closed form for symmetric shapers at 90 degrees: v MAD/2 + a sigma^2/4 (design); damped ones are a little
           skewed, so within 1 % */
        quell_shaper_moments moments = quell_shaper_measure(&row->shaper);
        double closed =
            0.008 * moments.mean_abs_deviation_s / 2 + 6 * moments.spread_s * moments.spread_s / 4;
        CHECK_NEAR(row->rounding_m, closed, 0.01 * closed + 1e-12);
        CHECK_NEAR(row->delay_s, moments.mean_s, 1e-15);
    }
    finish(&made);
}
END_TEST

/* Least and greatest over the 95 % box of f and zeta, without drift, times the interval of c: by a fine grid. */
START_TEST(ripple_has_the_interval_of_its_mode)
{
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    chosen made = choose(&need, &machine);
    for (size_t i = 0; i < made.choice->count; i++)
        for (size_t k = 0; k < 2; k++) {
            const quell_candidate *row = &made.choice->candidate[i];
            const quell_mode *mode = &modes.mode[k];
            double low = HUGE_VAL, high = 0, unshaped = made.choice->unshaped_ripple_m[k];
            for (int f = 0; f <= 600; f++)
                for (int z = 0; z <= 2; z++) {
                    double v = quell_residual(&row->shaper, mode->frequency_hz * (0.99 + 0.02 * f / 600),
                                              mode->damping_ratio * (0.8 + 0.2 * z));
                    low = fmin(low, v);
                    high = fmax(high, v);
                }
            CHECK_NEAR(row->ripple_ci95_m[k][0], 0.9 * unshaped * low, 0.002 * unshaped);
            CHECK_NEAR(row->ripple_ci95_m[k][1], 1.1 * unshaped * high, 1e-5 * unshaped);
        }
    finish(&made);
}
END_TEST

/* Somewhere between tight and loose limits a wider family beats one of up to 3 % less spread; both rows say so. */
START_TEST(a_choice_by_coverage_is_told_as_such)
{
    quell_machine machine = demo_machine();
    machine.controller.accepted_count = 0; /* all families */
    quell_modes modes = demo_modes('x');
    size_t seen = 0;
    for (double limit = 0.04; limit < 0.2; limit += IS_SHORTENED ? 0.04 : 0.01) {
        quell_need need = demo_need('x', &modes);
        need.residual_limit = limit;
        chosen made = choose(&need, &machine);
        const quell_candidate *best = &made.choice->candidate[made.choice->chosen];
        for (size_t i = 0; i < made.choice->count && made.choice->meets_residual; i++) {
            const quell_candidate *row = &made.choice->candidate[i];
            if (row->residual_worst > limit || row == best || !row->accepted)
                continue;
            bool less = row->spread_s < best->spread_s;
            ck_assert_ptr_nonnull(strstr(row->reason, less ? "less spread, but covers less" : "more spread"));
            if (less) {
                ck_assert_double_le(best->spread_s, 1.03 * row->spread_s);
                ck_assert_ptr_nonnull(strstr(made.choice->why, "covers the widest band"));
                ck_assert_str_eq(best->reason, "meets the limit; widest within 3 % of the least spread");
                seen++;
            }
        }
        finish(&made);
    }
    ck_assert_uint_gt(seen, 0);
}
END_TEST

START_TEST(coverage_ends_where_r_passes_the_limit)
{
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    need.drift = 0;
    chosen made = choose(&need, &machine);
    size_t edges = 0;
    for (size_t i = 0; i < made.choice->count; i++)
        for (size_t j = 0; j < made.choice->candidate[i].covers_count; j++)
            for (size_t side = 0; side < 2; side++) {
                double scale = made.choice->candidate[i].covers_hz[j][side] / 47.3;
                if (scale < 0.3334 || scale > 2.99)
                    continue; /* the end of what is looked at */
                for (size_t up = 0; up < 2; up++) {
                    double nudged = scale * (up == 1 ? 1 + 1e-4 : 1 - 1e-4), r = 0;
                    for (size_t k = 0; k < 2; k++)
                        r += made.choice->weight[k] * quell_residual(&made.choice->candidate[i].shaper,
                                                                     nudged * modes.mode[k].frequency_hz,
                                                                     modes.mode[k].damping_ratio);
                    ck_assert_int_eq(r > 0.1, up == side);
                }
                edges++;
            }
    ck_assert_uint_gt(edges, 5);
    finish(&made);
}
END_TEST

START_TEST(a_tighter_limit_never_costs_less_spread)
{
    quell_machine machine = demo_machine();
    machine.controller.accepted_count = 0; /* all families */
    for (int axis = 'x'; axis <= 'y'; axis++) {
        quell_modes modes = demo_modes((char)axis);
        double before[8] = {0};
        for (double limit = 0.3; limit > 0.02; limit *= IS_SHORTENED ? 0.4 : 0.72) {
            quell_need need = demo_need((char)axis, &modes);
            need.residual_limit = limit;
            chosen made = choose(&need, &machine);
            for (size_t i = 0; i < 7; i++) {
                const quell_candidate *row = &made.choice->candidate[i];
                bool outside = row->shaper.at.frequency_hz > made.choice->uncertainty_hz[modes.count - 1][1];
                if (row->residual_worst > limit || outside)
                    continue; /* designs outside the modes' ranges are only tried when none within meets the limit */
                ck_assert_msg(row->spread_s >= before[i] * 0.9985, "%s: %g ms after %g ms", row->family_id,
                              row->spread_s * 1e3, before[i] * 1e3);
                before[i] = row->spread_s;
            }
            finish(&made);
        }
        ck_assert_double_gt(before[3], 0);
    }
}
END_TEST

/* ---------------------------------------------------------------- what is said */

START_TEST(both_ways_out_are_given_when_it_rounds_too_much)
{
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    machine.rounding_limit_m = 50e-6;
    chosen made = choose(&need, &machine);
    const quell_candidate *row = &made.choice->candidate[made.choice->chosen];
    ck_assert_int_eq(made.status, QUELL_OK);
    ck_assert(made.choice->meets_residual && !made.choice->meets_rounding);
    ck_assert_uint_eq(made.choice->ways_out_count, 2);
    ck_assert_str_eq(made.choice->way_out[0],
                     "keeps 6000 mm/s2: rounds corners by 74 um, the limit is 50 um");
    /* the acceleration stated is the one that rounds by the limit */
    const char *number = strstr(made.choice->way_out[1], "acceleration ");
    ck_assert(strncmp(made.choice->way_out[1], "keeps 50 um: acceleration ", 26) == 0 && number != NULL);
    quell_corner corner = {0.008, atof(number + 13) / 1e3, 0.2, QUELL_PI / 2};
    CHECK_NEAR(quell_rounding(&corner, &row->shaper, &row->shaper) * 1e6, 50, 0.05);
    finish(&made);
    machine.rounding_limit_m = 5e-6; /* the corner speed alone rounds by more */
    made = choose(&need, &machine);
    ck_assert(isnan(made.choice->candidate[made.choice->chosen].acceleration_limit_mps2));
    ck_assert(strstr(made.choice->way_out[1], "at no acceleration") != NULL);
    finish(&made);
}
END_TEST

/* "... 1.2 %": the number before the last blank. */
static double last_percent(const char *text)
{
    const char *end = strrchr(text, ' ');
    while (end > text && end[-1] != ' ')
        end--;
    return atof(end) / 100;
}

START_TEST(what_would_change_the_choice_does)
{
    static const struct {
        char axis;
        const char *says, *family; /* NULL: nothing meets the limit */
        bool drift;
        int side; /* of the number stated on which it holds */
    } rows[] = {
        {'x', "ZV wins if the drift stays below", "zv", true, -1},
        {'x', "ZV wins from a residual limit of", "zv", false, 1},
        {'x', "nothing meets a residual limit at or below", NULL, false, -1},
        {'y', "ZVD wins from a drift of", "zvd", true, 1},
        {'y', "ZVD wins if the residual limit is at or below", "zvd", false, -1},
    };
    quell_machine machine = demo_machine();
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_modes modes = demo_modes(rows[i].axis);
        quell_need need = demo_need(rows[i].axis, &modes);
        chosen made = choose(&need, &machine);
        const char *text = NULL;
        for (size_t j = 0; j < made.choice->would_change_count; j++)
            if (strncmp(made.choice->would_change[j], rows[i].says, strlen(rows[i].says)) == 0)
                text = made.choice->would_change[j];
        ck_assert_msg(text != NULL, "%s", rows[i].says);
        double at = last_percent(text);
        finish(&made);
        for (int side = -1; side <= 1; side += 2) {
            double value = at + side * (rows[i].drift ? 0.002 : 0.005);
            need.drift = rows[i].drift ? value : 0.03;
            need.residual_limit = rows[i].drift ? 0.1 : value;
            made = choose(&need, &machine);
            bool holds = rows[i].family == NULL ? made.status == QUELL_E_NOT_MET
                                                : strcmp(chosen_id(made.choice), rows[i].family) == 0 &&
                                                      made.choice->meets_residual;
            ck_assert_msg(holds == (side == rows[i].side), "%s: at %g %s is chosen", text, value,
                          chosen_id(made.choice));
            finish(&made);
        }
    }
}
END_TEST

/* Both changes in one direction must lie on that side of what is given, however far out that is. */
START_TEST(a_change_lies_on_its_side)
{
    static const double drift[] = {0.03, 0.2, 0.3, 0.5, 0.9}, limit[] = {0.05, 0.1, 0.5, 0.93, 0.99};
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    for (size_t i = 0; i < (IS_SHORTENED ? 5 : 25); i++) {
        quell_need need = demo_need('x', &modes);
        need.drift = drift[i / 5];
        need.residual_limit = limit[i % 5];
        chosen made = choose(&need, &machine);
        for (size_t j = 0; j < made.choice->would_change_count; j++) {
            const char *text = made.choice->would_change[j];
            double at = last_percent(text);
            bool of_drift = strstr(text, "drift") != NULL, upward = strstr(text, "below") == NULL;
            double now = of_drift ? need.drift : need.residual_limit;
            ck_assert_msg(upward ? at > now - 1e-3 : at < now + 1e-3, "drift %g, limit %g: %s", need.drift,
                          need.residual_limit, text);
        }
        finish(&made);
    }
}
END_TEST

static bool has_note(const quell_axis_choice *choice, const char *part)
{
    for (size_t i = 0; i < choice->notes_count; i++)
        if (strstr(choice->note[i], part) != NULL)
            return true;
    return false;
}

START_TEST(negative_and_smooth_families_are_judged_where_they_are_listed)
{
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    quell_machine machine = demo_machine();
    static const char *const listed[] = {"um-zvd", "um-ei", "box", "spline3"};
    machine.controller.accepted_count = 4;
    for (size_t i = 0; i < 4; i++)
        snprintf(machine.controller.accepted[i], sizeof machine.controller.accepted[i], "%s", listed[i]);
    chosen made = choose(&need, &machine);
    ck_assert(made.status == QUELL_OK || made.status == QUELL_E_NOT_MET);
    for (size_t i = 0; i < 4; i++) {
        const quell_candidate *row = &made.choice->candidate[i];
        ck_assert_str_eq(row->family_id, listed[i]);
        ck_assert_uint_gt(row->shaper.count, 0);
        bool warned = strstr(row->reason, "ask more of the drives and can excite higher modes") != NULL;
        ck_assert_int_eq(warned, i < 2);
    }
    const char *chosen_id = made.choice->candidate[made.choice->chosen].family_id;
    ck_assert_int_eq(has_note(made.choice, "asks more of the drives"), strncmp(chosen_id, "um-", 3) == 0);
    finish(&made);
    machine.controller.accepted_count = 1; /* it alone: chosen, and said what it costs */
    need.residual_limit = 0.3;
    made = choose(&need, &machine);
    ck_assert_int_eq(made.status, QUELL_OK);
    ck_assert_str_eq(made.choice->candidate[made.choice->chosen].family_id, "um-zvd");
    ck_assert(has_note(made.choice, "asks more of the drives"));
    finish(&made);
}
END_TEST

START_TEST(what_is_not_known_is_said_with_its_cost)
{
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    need.residual_limit = 0.1;
    chosen made = choose(&need, NULL);
    ck_assert_int_eq(made.status, QUELL_OK);
    ck_assert_uint_eq(made.choice->count, 7 + 2); /* the families with positive impulses, tailored, and no shaper */
    for (size_t i = 0; i < made.choice->count; i++)
        for (size_t j = 0; j < made.choice->candidate[i].shaper.count; j++)
            ck_assert_double_ge(made.choice->candidate[i].shaper.amplitude[j], 0);
    ck_assert(has_note(made.choice, "shapers is not stated") &&
              has_note(made.choice, "tolerance is not stated") &&
              has_note(made.choice, "corner-speed and acceleration are not known") &&
              has_note(made.choice, "rounding-limit is not stated"));
    const quell_candidate *row = &made.choice->candidate[made.choice->chosen];
    ck_assert(isnan(row->rounding_m) && isnan(row->ripple_worst_m) && isnan(row->acceleration_limit_mps2));
    ck_assert_ptr_null(made.choice->setting);
    finish(&made);
    quell_machine machine = demo_machine();
    made = choose(&need, &machine);
    ck_assert(made.choice->notes_count == 1 && has_note(made.choice, "a list of"));
    finish(&made);
    machine.controller.frequency = QUELL_READING_UNKNOWN;
    memcpy(machine.controller.one_setting_for[0], "frequency", 10);
    machine.corner_speed_mps = (double)NAN;
    modes.mode[1].participation = (double)NAN;
    machine.axis[0].load_kg[1] = 0.1;
    made = choose(&need, &machine);
    ck_assert(has_note(made.choice, "corner-speed is not known: ripple and rounding count only") &&
              has_note(made.choice, "natural or damped is not known: judged both ways") &&
              has_note(made.choice, "one frequency for both axes") &&
              has_note(made.choice, "a participation is not known") &&
              has_note(made.choice, "moving-mass is not known"));
    finish(&made);
}
END_TEST

START_TEST(whether_a_reading_matters_is_said_after_judging_it)
{
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('y');
    quell_need need = demo_need('y', &modes);
    machine.controller.frequency =
        QUELL_READING_UNKNOWN; /* a damping ratio of 0.06 makes 0.2 % of frequency */
    chosen made = choose(&need, &machine);
    ck_assert(has_note(made.choice, "natural or damped is not known: judged both ways") &&
              has_note(made.choice, "that does not matter"));
    finish(&made);
    machine.controller.damping_unknown = true; /* ZV for 0, 0.05 and 0.1 leaves clearly different residuals */
    made = choose(&need, &machine);
    ck_assert(has_note(made.choice, "both ways for 0, 0.05 and 0.1") &&
              has_note(made.choice, "that matters"));
    finish(&made);
    machine.controller.frequency = QUELL_NATURAL;
    need.residual_limit = 0.001; /* missed in every reading: then it is no matter which */
    made = choose(&need, &machine);
    ck_assert_int_eq(made.status, QUELL_E_NOT_MET);
    ck_assert(has_note(made.choice, "damping ratio that the controller uses is not known") &&
              has_note(made.choice, "that does not matter"));
    finish(&made);
}
END_TEST

/* ---------------------------------------------------------------- no choice, or none that meets */

START_TEST(the_best_is_still_given_when_nothing_meets)
{
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    need.residual_limit = 0.02;
    chosen made = choose(&need, &machine);
    ck_assert_int_eq(made.status, QUELL_E_NOT_MET);
    ck_assert(strncmp(made.err.text, "nothing meets the residual limit of 2 %; the least is ", 54) == 0);
    ck_assert(!made.choice->meets_residual && made.choice->chosen >= 0 && made.choice->setting != NULL);
    const quell_candidate *row = &made.choice->candidate[made.choice->chosen];
    for (size_t i = 0; i < made.choice->count; i++)
        if (made.choice->candidate[i].accepted &&
            made.choice->candidate[i].rounding_m <= machine.rounding_limit_m)
            ck_assert_double_le(row->ripple_worst_m, made.choice->candidate[i].ripple_worst_m);
    ck_assert_double_le(row->rounding_m, machine.rounding_limit_m);
    finish(&made);
}
END_TEST

START_TEST(no_modes_and_no_shapers_are_results_without_a_choice)
{
    quell_machine machine = demo_machine();
    quell_modes none = {0}, modes = demo_modes('x');
    quell_need need = demo_need('x', &none);
    chosen made = choose(&need, &machine);
    ck_assert_int_eq(made.status, QUELL_E_NOT_MET);
    ck_assert(made.choice->chosen == -1 && made.choice->count == 0 && made.choice->modes == 0);
    ck_assert_str_eq(made.choice->why, "no mode was found, so there is nothing to cancel");
    finish(&made);
    machine.controller.takes_shapers = false;
    quell_shaper old;
    ck_assert_int_eq(quell_shaper_parse(&old, "impulses:0.5@0,0.5@0.01", NULL), QUELL_OK);
    need = demo_need('x', &modes);
    need.old_setting = &old;
    made = choose(&need, &machine);
    ck_assert_int_eq(made.status, QUELL_OK);
    ck_assert(made.choice->chosen == 0 && made.choice->count == 4 && made.choice->old == 2 && made.choice->none == 3);
    ck_assert(strstr(made.choice->why, "acceleration ramp") != NULL);
    ck_assert_str_eq(made.choice->candidate[2].title, "old setting: impulses");
    ck_assert(!made.choice->candidate[1].accepted && !made.choice->candidate[2].accepted);
    finish(&made);
}
END_TEST

/* A box leaves |sinc(f tau)|: 0 where f tau = 1, and 10 % at 0.911 and 1.118 (check-values 1.7 has the form). Undamped, from 45 to
   50 Hz, every tau from .911 / 45 to 1.118 / 50 s keeps 10 %: the shortest is chosen, up to the controller's step. */
START_TEST(a_ramp_is_the_shortest_that_keeps_the_limit)
{
    quell_machine machine = demo_machine();
    machine.controller.takes_shapers = false;
    quell_modes modes = demo_modes('x');
    modes.count = 1;
    modes.mode[0] = (quell_mode){.frequency_hz = 47.434165, .frequency_ci95_hz = {45, 50}, .participation = 1,
                                 .participation_ci95 = {1, 1}};
    quell_need need = demo_need('x', &modes);
    need.drift = 0;
    need.residual_limit = 0.1;
    chosen made = choose(&need, &machine);
    ck_assert_int_eq(made.status, QUELL_OK);
    double wanted_s = 0.9110 / 45;
    CHECK_NEAR(1 / made.choice->candidate[made.choice->chosen].shaper.at.frequency_hz, wanted_s, 0.005 * wanted_s);
    finish(&made);
}
END_TEST

/* The list is the controller's to take, in its ticks and of its length, and is chosen where its spread is the least. */
START_TEST(a_tailored_list_is_made_as_the_controller_takes_it)
{
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    need.residual_limit = 0.1;
    machine.controller.tick_s = 2e-4;
    for (size_t impulses = 0; impulses <= 6; impulses += 3) {
        machine.controller.impulses = impulses;
        chosen made = choose(&need, &machine);
        ck_assert_int_ge(made.choice->tailored, 0);
        const quell_candidate *row = &made.choice->candidate[made.choice->tailored];
        ck_assert(row->accepted == (impulses > 0));
        ck_assert_double_le(row->residual_worst, 0.1);
        for (size_t i = 0; i < row->shaper.count && impulses > 0; i++)
            CHECK_NEAR(row->shaper.time_s[i] / 2e-4, round(row->shaper.time_s[i] / 2e-4), 1e-6);
        ck_assert(impulses == 0 || row->shaper.count <= impulses);
        finish(&made);
    }
}
END_TEST

/* One setting for both axes keeps both limits, shares what it must, and costs no less than each axis alone; the more is
   shared, the more it costs. */
START_TEST(one_setting_for_both_axes)
{
    quell_machine machine = demo_machine();
    quell_modes x = demo_modes('x'), y = demo_modes('y');
    quell_need need[2] = {demo_need('x', &x), demo_need('y', &y)};
    static const char *const shared[][3] = {{"family"}, {"frequency"}, {"frequency", "family"}, {"frequency", "family", "damping"}};
    double before_s = 0;
    for (size_t i = 0; i < 4; i++) {
        memset(machine.controller.one_setting_for, 0, sizeof machine.controller.one_setting_for);
        chosen made[2] = {choose(&need[0], &machine), choose(&need[1], &machine)};
        double alone_s = 0, sum_s = 0;
        for (size_t a = 0; a < 2; a++)
            alone_s += made[a].choice->candidate[made[a].choice->chosen].spread_s;
        for (size_t k = 0; k < 3 && shared[i][k] != NULL; k++)
            strcpy(machine.controller.one_setting_for[k], shared[i][k]);
        ck_assert_int_eq(quell_choose_joint(&need[0], &need[1], &machine, made[0].arena, made[0].choice, made[1].choice, NULL),
                         QUELL_OK);
        const quell_candidate *row[2];
        for (size_t a = 0; a < 2; a++) {
            row[a] = &made[a].choice->candidate[made[a].choice->chosen];
            ck_assert(row[a]->accepted && row[a]->residual_worst <= made[a].choice->residual_limit);
            ck_assert_ptr_nonnull(strstr(made[a].choice->why, "for both axes"));
            sum_s += row[a]->spread_s;
        }
        ck_assert(i == 1 || strcmp(row[0]->family_id, row[1]->family_id) == 0);
        ck_assert(i == 0 || row[0]->shaper.at.frequency_hz == row[1]->shaper.at.frequency_hz);
        ck_assert(i != 3 || row[0]->shaper.at.damping_ratio == row[1]->shaper.at.damping_ratio);
        ck_assert_double_ge(sum_s, 0.995 * alone_s); /* the grid of frequencies is coarser than the families' own search */
        ck_assert(i < 2 || sum_s >= before_s - 1e-9);
        before_s = i < 1 ? 0 : sum_s;
        finish(&made[0]);
        finish(&made[1]);
    }
}
END_TEST

/* 43.5 Hz natural and a damping ratio of 0.07, as three controllers were told it. */
START_TEST(old_numbers_have_their_own_meaning)
{
    quell_machine old;
    quell_shaper want, got;
    ck_assert_int_eq(quell_shaper_parse(&want, "zvd:43.5:0.07", NULL), QUELL_OK);
    const struct {
        quell_reading reading;
        const char *unit, *damping_unit, *text;
    } rows[] = {{QUELL_NATURAL, "Hz", "ratio", "zvd:43.5:0.07"},
                {QUELL_DAMPED, "rad/s", "percent", "zvd:272.6481:7"}, /* 43.5 * 2 pi * sqrt(1 - 0.07^2) */
                {QUELL_NATURAL, "s", "Q", "zvd:0.02298851:7.142857"}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_machine_unknown(&old);
        old.controller.frequency = rows[i].reading;
        strcpy(old.controller.frequency_unit, rows[i].unit);
        strcpy(old.controller.damping_unit, rows[i].damping_unit);
        ck_assert_int_eq(quell_machine_old_setting(&got, &old, rows[i].text, NULL), QUELL_OK);
        for (size_t j = 0; j < 3; j++) {
            CHECK_NEAR(got.time_s[j], want.time_s[j], 1e-6 * want.time_s[2]);
            CHECK_NEAR(got.amplitude[j], want.amplitude[j], 1e-6);
        }
    }
    static const char *const bad[] = {"", "zvd", "zvd:", "zvd:x", "zvd:-4", "zvd:0", "zvd:40:-1", "zvd:40:nan", "zvd:40:0.05:0.05:1",
                                      "zvx:40", "zvd:40:0.05:2", "zvd:inf"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        quell_machine_unknown(&old);
        ck_assert_msg(quell_machine_old_setting(&got, &old, bad[i], NULL) == QUELL_E_USAGE, "'%s' is taken", bad[i]);
    }
}
END_TEST

START_TEST(an_old_setting_is_taken_only_if_it_can_be_told)
{
    static const struct {
        const char *spec;
        bool taken;
    } rows[] = {{"zvd:43.5:0.07", true},           {"zvd:43.55:0.07", false}, {"zvd:43.5:0.0705", false},
                {"ei:50:0.05:0.05", true},         {"ei:50:0.05:0.1", false}, {"zvdd:43.5:0.07", false},
                {"impulses:0.5@0,0.5@0.01", false}};
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_need need = demo_need('x', &modes);
        quell_shaper old;
        ck_assert_int_eq(quell_shaper_parse(&old, rows[i].spec, NULL), QUELL_OK);
        need.old_setting = &old;
        chosen made = choose(&need, &machine);
        ck_assert_msg(made.choice->candidate[made.choice->old].accepted == rows[i].taken, "%s", rows[i].spec);
        finish(&made);
    }
}
END_TEST

START_TEST(the_machine_s_own_families_are_candidates)
{
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    /* the same impulses as ZVD: the same row must come out */
    machine.own_count = 1;
    machine.own[0] = (quell_own_family){
        .id = "twin", .count = 3, .time_periods = {0, 0.5, 1}, .coefficient = {{1}, {0, 2}, {0, 0, 1}}};
    memcpy(machine.controller.accepted[3], "twin", 5);
    machine.controller.accepted_count = 4;
    chosen made = choose(&need, &machine);
    const quell_candidate *twin = row_of(made.choice, "twin"), *zvd = row_of(made.choice, "zvd");
    ck_assert_str_eq(twin->title, "twin");
    ck_assert(twin->accepted && twin->shaper.family == NULL);
    CHECK_NEAR(twin->shaper.at.frequency_hz, zvd->shaper.at.frequency_hz, 1e-9);
    CHECK_NEAR(twin->residual_worst, zvd->residual_worst, 1e-10);
    CHECK_NEAR(twin->spread_s, zvd->spread_s, 1e-12);
    finish(&made);
}
END_TEST

START_TEST(limits_may_be_lengths_and_must_be_stated)
{
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    quell_axis_choice *untouched = new_choice();
    untouched->count = 7;
    quell_arena *arena = quell_arena_create(1 << 20);
    quell_error err = {0};
    machine.residual_limit = (double)NAN;
    ck_assert_int_eq(quell_choose_axis(&need, &machine, arena, untouched, &err), QUELL_E_USAGE);
    ck_assert(strstr(err.text, "the residual limit is not stated") != NULL);
    machine.ripple_limit_m = 8.022e-6; /* of 74.291 + 5.931 um: 10 % */
    chosen made = choose(&need, &machine);
    CHECK_NEAR(made.choice->residual_limit, 0.1, 1e-4);
    ck_assert_str_eq(chosen_id(made.choice), "ei");
    finish(&made);
    machine.ripple_limit_m = 90e-6; /* more than there is: nothing need be done */
    made = choose(&need, &machine);
    ck_assert_int_eq(made.status, QUELL_OK);
    ck_assert_str_eq(chosen_id(made.choice), "none");
    ck_assert_ptr_null(made.choice->setting);
    finish(&made);
    machine.corner_speed_mps = machine.axis[0].acceleration_mps2 = (double)NAN;
    ck_assert_int_eq(quell_choose_axis(&need, &machine, arena, untouched, &err), QUELL_E_USAGE);
    ck_assert(strstr(err.text, "the ripple is not known") != NULL);
    static const double bad_limit[] = {0, -0.1, 1, 2}, bad_drift[] = {-0.01, 1, (double)NAN};
    for (size_t i = 0; i < 4; i++) {
        need.residual_limit = bad_limit[i];
        ck_assert_int_eq(quell_choose_axis(&need, &machine, arena, untouched, &err), QUELL_E_USAGE);
    }
    need.residual_limit = 0.1;
    for (size_t i = 0; i < 3; i++) {
        need.drift = bad_drift[i];
        ck_assert_int_eq(quell_choose_axis(&need, &machine, arena, untouched, &err), QUELL_E_USAGE);
    }
    need.drift = 0;
    static const double bad_half_range[] = {-1, 47.3, (double)NAN};
    for (size_t i = 0; i < 3; i++) {
        need.half_range_hz[0] = bad_half_range[i];
        ck_assert_int_eq(quell_choose_axis(&need, &machine, arena, untouched, &err), QUELL_E_USAGE);
    }
    need.half_range_hz[0] = 0;
    modes.mode[1].damping_ratio = 1;
    ck_assert_int_eq(quell_choose_axis(&need, &machine, arena, untouched, &err), QUELL_E_USAGE);
    ck_assert_uint_eq(untouched->count, 7);
    free(untouched);
    quell_arena_destroy(arena);
}
END_TEST

/* ---------------------------------------------------------------- any need, any controller */

static double draw(quell_random *random, double low, double high)
{
    return low + (high - low) * quell_random_uniform(random);
}

static bool coin(quell_random *random)
{
    return quell_random_uniform(random) < 0.5;
}

/* A controller with odd steps, ranges, ticks and unknowns; modes from one to eight, some right beside each other. */
static void random_case(quell_random *random, quell_machine *machine, quell_modes *modes, quell_need *need)
{
    static const double steps_hz[] = {0, 0.1, 1, 7, 250}, ticks_s[] = {0, 5e-5, 1e-3, 0.02, 1};
    *machine = demo_machine();
    quell_controller *controller = &machine->controller;
    controller->accepted_count = coin(random) ? 3 : 0;
    controller->frequency = (quell_reading)(3 * quell_random_uniform(random));
    controller->frequency_step_hz = steps_hz[(size_t)(5 * quell_random_uniform(random))];
    controller->tick_s = ticks_s[(size_t)(5 * quell_random_uniform(random))];
    controller->damping = coin(random) ? draw(random, 0, 0.3) : (double)NAN;
    controller->damping_unknown = isnan(controller->damping) && coin(random);
    if (coin(random))
        memcpy(controller->damping_unit, "Q", 2);
    if (coin(random)) {
        controller->frequency_range_hz[0] = draw(random, 1, 200);
        controller->frequency_range_hz[1] = controller->frequency_range_hz[0] * draw(random, 1, 5);
    }
    if (coin(random))
        machine->axis[0].acceleration_mps2 = (double)NAN;
    if (coin(random))
        machine->rounding_limit_m = (double)NAN;
    *modes = (quell_modes){.count = 1 + (size_t)(8 * quell_random_uniform(random))};
    for (size_t k = 0; k < modes->count; k++) {
        double hz = draw(random, 2, 300), zeta = draw(random, 0, 0.5), participation = draw(random, -1, 1);
        modes->mode[k] = demo_mode(hz, zeta, participation);
        if (coin(random))
            modes->mode[k].frequency_ci95_hz[1] = modes->mode[k].damping_ratio_ci95[0] = (double)NAN;
    }
    *need = demo_need('x', modes);
    need->residual_limit = draw(random, 0.001, 0.9);
    need->drift = draw(random, 0, 0.5);
    need->equal = coin(random);
}

START_TEST(any_need_and_controller_give_numbers_and_words)
{
    quell_random *random = quell_random_create(99);
    size_t met = 0, missed = 0;
    for (int trial = 0; trial < (IS_SHORTENED ? 12 : 40); trial++) {
        quell_machine machine;
        quell_modes modes;
        quell_need need;
        random_case(random, &machine, &modes, &need);
        chosen made = choose(&need, &machine);
        const quell_axis_choice *choice = made.choice;
        ck_assert_msg(made.status == QUELL_OK || made.status == QUELL_E_NOT_MET, "%s", made.err.text);
        ck_assert(choice->chosen >= 0 && choice->why[0] != '\0');
        ck_assert_int_eq(made.status == QUELL_OK, choice->meets_residual);
        for (size_t i = 0; i < choice->count; i++) {
            const quell_candidate *row = &choice->candidate[i];
            ck_assert(row->reason[0] != '\0' && row->title[0] != '\0');
            if (row->shaper.count == 0)
                continue;
            ck_assert(row->residual_worst >= 0 && row->residual_worst < 10 && row->residual_nominal >= 0);
            ck_assert(isfinite(row->spread_s) && isfinite(row->delay_s) && !isinf(row->rounding_m));
            for (size_t j = 0; j < row->covers_count; j++)
                ck_assert(row->covers_hz[j][0] > 0 && row->covers_hz[j][0] <= row->covers_hz[j][1]);
            if (choice->meets_residual && row->accepted && row->residual_worst <= choice->residual_limit)
                ck_assert(choice->candidate[choice->chosen].spread_s <= row->spread_s * 1.03 + 1e-15);
        }
        met += choice->meets_residual;
        missed += !choice->meets_residual;
        finish(&made);
    }
    quell_random_destroy(random);
    ck_assert(met > (IS_SHORTENED ? 2 : 10) && missed > (IS_SHORTENED ? 2 : 10));
}
END_TEST

/* ---------------------------------------------------------------- both axes, memory */

START_TEST(the_earlier_axis_is_delayed_until_the_means_agree)
{
    quell_machine machine = demo_machine();
    quell_design_point at_x = {59.8, 0.05, 0.05}, at_y = {32.7, 0.06, 0.05};
    quell_shaper x, y;
    ck_assert_int_eq(quell_shaper_design(&x, quell_family_find("ei"), &at_x, NULL), QUELL_OK);
    ck_assert_int_eq(quell_shaper_design(&y, quell_family_find("zv"), &at_y, NULL), QUELL_OK);
    double mean_x = quell_shaper_measure(&x).mean_s, mean_y = quell_shaper_measure(&y).mean_s;
    quell_pair pair = quell_pair_judge(&machine, &x, &y), swapped = quell_pair_judge(&machine, &y, &x);
    CHECK_NEAR(mean_x + pair.axis_delay_s[0], mean_y + pair.axis_delay_s[1], 1e-15);
    ck_assert(pair.axis_delay_s[0] == 0 || pair.axis_delay_s[1] == 0);
    CHECK_NEAR(swapped.axis_delay_s[0], pair.axis_delay_s[1], 1e-18);
    CHECK_NEAR(swapped.rounding_m, pair.rounding_m, 1e-12); /* both ways round are looked at */
    CHECK_NEAR(pair.acceleration_mps2, 6, 1e-12);
    ck_assert_double_ge(pair.corner_error_m, 0);
    CHECK_NEAR(pair.rounding_m - pair.corner_error_m, fmin(pair.rounding_m, pair.rounding_aligned_m), 1e-15);
    quell_pair same = quell_pair_judge(&machine, &x, &x);
    CHECK_NEAR(same.corner_error_m, 0, 1e-15);
    quell_shaper_moments m = quell_shaper_measure(&x);
    CHECK_NEAR(same.rounding_m, 0.008 * m.mean_abs_deviation_s / 2 + 6 * m.spread_s * m.spread_s / 4, 1e-6);
    /* far apart in delay, the corner is cut by the difference: at least the corner speed times half of it over sqrt 2 */
    quell_shaper late = x;
    for (size_t i = 0; i < late.count; i++)
        late.time_s[i] += 0.05;
    quell_pair apart = quell_pair_judge(&machine, &x, &late);
    CHECK_NEAR(apart.axis_delay_s[0], 0.05, 1e-12);
    ck_assert_double_gt(apart.corner_error_m, 0.008 * 0.05 / 2 / 1.4143);
    ck_assert(isnan(quell_pair_judge(NULL, &x, &y).rounding_m));
}
END_TEST

START_TEST(failing_allocations_are_errors_and_leave_the_result_alone)
{
    quell_machine machine = demo_machine();
    quell_modes modes = demo_modes('x');
    quell_need need = demo_need('x', &modes);
    size_t failures = 0;
    for (size_t n = 1;; n++) {
        quell_arena *arena = quell_arena_create(64 << 20);
        quell_axis_choice *choice = new_choice();
        choice->count = 99;
        quell_error err = {0};
        quell_memory_fail_at(n);
        quell_status status = quell_choose_axis(&need, &machine, arena, choice, &err);
        quell_memory_fail_at(0);
        size_t count = choice->count;
        free(choice);
        quell_arena_destroy(arena);
        if (status == QUELL_OK)
            break;
        ck_assert_int_eq(status, QUELL_E_MEMORY);
        ck_assert_uint_eq(count, 99);
        failures++;
    }
    ck_assert_uint_gt(failures, 3);
    for (size_t bytes = 0; bytes < 300; bytes += 50) { /* an arena too small for the texts */
        quell_arena *arena = quell_arena_create(bytes);
        quell_axis_choice *choice = new_choice();
        ck_assert_int_eq(quell_choose_axis(&need, &machine, arena, choice, NULL), QUELL_E_MEMORY);
        free(choice);
        quell_arena_destroy(arena);
    }
}
END_TEST

Suite *suite_choose(void)
{
    Suite *suite = suite_create("choose");
    TCase *cases = tcase_create("choose");
    tcase_set_timeout(cases, 120);
    tcase_add_test(cases, what_is_covered_is_told_of_the_mode_that_rings_most);
    tcase_add_test(cases, least_spread_and_within_three_percent_the_wider);
    tcase_add_test(cases, without_any_that_meets_ripple_decides_within_the_rounding_limit);
    tcase_add_test(cases, the_demo_is_chosen_as_the_design_expects);
    tcase_add_test(cases, numbers_of_a_row_agree_with_their_definitions);
    tcase_add_test(cases, ripple_has_the_interval_of_its_mode);
    tcase_add_test(cases, a_choice_by_coverage_is_told_as_such);
    tcase_add_test(cases, coverage_ends_where_r_passes_the_limit);
    tcase_add_test(cases, a_tighter_limit_never_costs_less_spread);
    tcase_add_test(cases, both_ways_out_are_given_when_it_rounds_too_much);
    tcase_add_test(cases, what_would_change_the_choice_does);
    tcase_add_test(cases, a_change_lies_on_its_side);
    tcase_add_test(cases, negative_and_smooth_families_are_judged_where_they_are_listed);
    tcase_add_test(cases, what_is_not_known_is_said_with_its_cost);
    tcase_add_test(cases, whether_a_reading_matters_is_said_after_judging_it);
    tcase_add_test(cases, the_best_is_still_given_when_nothing_meets);
    tcase_add_test(cases, no_modes_and_no_shapers_are_results_without_a_choice);
    tcase_add_test(cases, a_ramp_is_the_shortest_that_keeps_the_limit);
    tcase_add_test(cases, a_tailored_list_is_made_as_the_controller_takes_it);
    tcase_add_test(cases, one_setting_for_both_axes);
    tcase_add_test(cases, old_numbers_have_their_own_meaning);
    tcase_add_test(cases, an_old_setting_is_taken_only_if_it_can_be_told);
    tcase_add_test(cases, the_machine_s_own_families_are_candidates);
    tcase_add_test(cases, limits_may_be_lengths_and_must_be_stated);
    tcase_add_test(cases, any_need_and_controller_give_numbers_and_words);
    tcase_add_test(cases, the_earlier_axis_is_delayed_until_the_means_agree);
    tcase_add_test(cases, failing_allocations_are_errors_and_leave_the_result_alone);
    suite_add_tcase(suite, cases);
    return suite;
}
