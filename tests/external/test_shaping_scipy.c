/* shaping: residual curves against a simulation in time by scipy, which shares no code with quell. */
#include "python_help.h"
#include "suites.h"

#include "quell/shaping.h"

#include <math.h>

static const char script[] = "tests/external/residual_by_simulation.py";

enum { FREQUENCIES = 25, DAMPINGS = 3 };

static double frequency(int i)
{
    return 12 * pow(1.12, i);
}

static const double damping[DAMPINGS] = {0, .03, .12};

static const char *const specs[] = {"zv:47.3:0.046",
                                    "zvd:43.5:0.07",
                                    "zvdd:50:0.02",
                                    "zvddd:31.8:0.062",
                                    "ei:59.8:0.046:0.05",
                                    "ei:32.7:0.2:0.1",
                                    "ei-two-hump:60:0.1:0.05",
                                    "ei-three-hump:60:0.2:0.05",
                                    "zv:40:0.05*zv:65:0.02",
                                    "impulses:1@0,-1@0.004,1@0.008"};
enum { SPECS = sizeof specs / sizeof specs[0] };

static void write_questions(FILE *to, const quell_shaper *shaper)
{
    fputs("shaper", to);
    for (size_t i = 0; i < shaper->count; i++)
        fprintf(to, " %.17g@%.17g", shaper->amplitude[i], shaper->time_s[i]);
    fputc('\n', to);
    for (int f = 0; f < FREQUENCIES; f++)
        for (int z = 0; z < DAMPINGS; z++)
            fprintf(to, "mode %.17g %.17g\n", frequency(f), damping[z]);
}

START_TEST(residual_curves_agree_with_simulation_by_scipy)
{
    test_python python;
    if (!test_python_begin(&python, script, "residuals against scipy"))
        return;
    quell_shaper shaper[SPECS];
    for (int s = 0; s < SPECS; s++) {
        ck_assert_int_eq(quell_shaper_parse(&shaper[s], specs[s], NULL), QUELL_OK);
        write_questions(python.questions, &shaper[s]);
    }
    test_python_ask(&python);
    for (int s = 0; s < SPECS; s++)
        for (int f = 0; f < FREQUENCIES; f++)
            for (int z = 0; z < DAMPINGS; z++) {
                double want;
                ck_assert_int_eq(fscanf(python.answers, "%lf", &want), 1);
                double got = quell_residual(&shaper[s], frequency(f), damping[z]);
                ck_assert_msg(fabs(got - want) <= 1e-9, "%s at %g Hz, zeta %g: %.12f, scipy %.12f", specs[s],
                              frequency(f), damping[z], got, want);
            }
    test_python_end(&python);
}
END_TEST

Suite *suite_shaping_scipy(void)
{
    Suite *suite = suite_create("shaping_scipy");
    TCase *cases = tcase_create("shaping_scipy");
    tcase_set_timeout(cases, 120);
    tcase_add_test(cases, residual_curves_agree_with_simulation_by_scipy);
    suite_add_tcase(suite, cases);
    return suite;
}
