/* spectrum: densities against scipy.signal.welch, live. */
#include "python_help.h"
#include "suites.h"

#include "quell/spectrum.h"

#include <math.h>
#include <stdlib.h>

static const char script[] = "tests/external/spectrum_by_scipy.py";

enum { SAMPLES = 5000 };

static const struct {
    double rate_hz;
    size_t segment;
    double overlap;
} recipes[] = {{1000, 256, 0.5}, {1992.0078, 512, 0.75}, {3200, 375, 0.6},
               {1, 8, 0},        {2000, 5000, 0.75},     {800, 243, 0.9}};
enum { RECIPES = sizeof recipes / sizeof recipes[0] };

static void make(double *x, size_t recipe)
{
    quell_random *random = quell_random_create(recipe + 1);
    ck_assert_ptr_nonnull(random);
    for (size_t n = 0; n < SAMPLES; n++)
        x[n] = 9.81 + quell_random_normal(random) + 3 * sin(0.4 * (double)n) * exp(-(double)(n % 900) / 200);
    quell_random_destroy(random);
}

/* Where the density is 1e-12 of the largest, rounding in either transform is what is seen. */
static void compare(FILE *answers, const double *x, size_t recipe, const quell_window *window)
{
    quell_arena *arena = quell_arena_create(1 << 24);
    const double *axes[] = {x};
    quell_welch_options options = {
        .window = window, .segment = recipes[recipe].segment, .overlap = recipes[recipe].overlap};
    quell_spectrum spectrum;
    ck_assert_int_eq(quell_spectrum_estimate(axes, 1, SAMPLES, recipes[recipe].rate_hz, NULL, 0, &options,
                                             arena, &spectrum, NULL),
                     QUELL_OK);
    double largest = 0;
    for (size_t k = 0; k < spectrum.bins; k++)
        largest = fmax(largest, spectrum.asd_m2ps3[0][k]);
    for (size_t k = 0; k < spectrum.bins; k++) {
        char line[64];
        ck_assert_ptr_nonnull(fgets(line, sizeof line, answers));
        double want = strtod(line, NULL), got = spectrum.asd_m2ps3[0][k];
        ck_assert_msg(fabs(got - want) <= 1e-11 * want + 1e-14 * largest,
                      "recipe %zu, %s, bin %zu: %.17g, scipy %.17g", recipe, window->id, k, got, want);
    }
    quell_arena_destroy(arena);
}

START_TEST(densities_agree_with_scipy)
{
    test_python python;
    if (!test_python_begin(&python, script, "densities against scipy"))
        return;
    static double x[RECIPES][SAMPLES];
    size_t windows;
    const quell_window *table = quell_windows(&windows);
    for (size_t r = 0; r < RECIPES; r++) {
        make(x[r], r);
        for (size_t w = 0; w < windows; w++) {
            fprintf(python.questions, "spectrum %.17g %zu %.17g %s %d\n", recipes[r].rate_hz,
                    recipes[r].segment, recipes[r].overlap, table[w].id, SAMPLES);
            for (size_t n = 0; n < SAMPLES; n++)
                fprintf(python.questions, "%.17g\n", x[r][n]);
        }
    }
    test_python_ask(&python);
    for (size_t r = 0; r < RECIPES; r++)
        for (size_t w = 0; w < windows; w++)
            compare(python.answers, x[r], r, &table[w]);
    test_python_end(&python);
}
END_TEST

Suite *suite_spectrum_scipy(void)
{
    Suite *suite = suite_create("spectrum_scipy");
    TCase *cases = tcase_create("spectrum_scipy");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, densities_agree_with_scipy);
    suite_add_tcase(suite, cases);
    return suite;
}
