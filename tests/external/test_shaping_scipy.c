/* shaping: residual curves against a simulation in time by scipy, which shares no code with quell. */
#include "suites.h"

#include "quell/shaping.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

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
    const char *python = getenv("PYTHON");
    if (python == NULL || python[0] == '\0' || access(script, R_OK) != 0) {
        fprintf(
            stderr,
            "skipped: residuals against scipy (wants PYTHON with scipy, and the project's root as folder)\n");
        return;
    }
    char questions[] = "/tmp/quell-test-XXXXXX", command[512];
    int descriptor = mkstemp(questions);
    ck_assert_int_ge(descriptor, 0);
    FILE *file = fdopen(descriptor, "w");
    ck_assert_ptr_nonnull(file);
    quell_shaper shaper[SPECS];
    for (int s = 0; s < SPECS; s++) {
        ck_assert_int_eq(quell_shaper_parse(&shaper[s], specs[s], NULL), QUELL_OK);
        write_questions(file, &shaper[s]);
    }
    ck_assert_int_eq(fclose(file), 0);
    /* python takes no part in the sanitizer's preloading */
    snprintf(command, sizeof command, "LD_PRELOAD= '%s' %s <%s", python, script, questions);
    FILE *answers = popen(command, "r");
    ck_assert_ptr_nonnull(answers);
    for (int s = 0; s < SPECS; s++)
        for (int f = 0; f < FREQUENCIES; f++)
            for (int z = 0; z < DAMPINGS; z++) {
                double want;
                ck_assert_int_eq(fscanf(answers, "%lf", &want), 1);
                double got = quell_residual(&shaper[s], frequency(f), damping[z]);
                ck_assert_msg(fabs(got - want) <= 1e-9, "%s at %g Hz, zeta %g: %.12f, scipy %.12f", specs[s],
                              frequency(f), damping[z], got, want);
            }
    ck_assert_int_eq(pclose(answers), 0);
    unlink(questions);
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
