/* base: small linear systems and eigenvectors, against examples worked by hand. */
#include "suites.h"

#include "quell/base.h"

#include <math.h>

START_TEST(solves_a_system_worked_by_hand)
{
    double matrix[] = {0, 2, 1, 1, 1, 3, 2, 0, 1}, out[3]; /* the first pivot is 0: rows must change places */
    const double right[] = {7, 12, 5};
    ck_assert(quell_linear_solve(matrix, right, out, 3));
    /* 2y + z = 7, x + y + 3z = 12, 2x + z = 5: z = 5 - 2x, y = 1 + x, so x + 1 + x + 15 - 6x = 12, x = 1 */
    CHECK_NEAR(out[0], 1, 1e-14);
    CHECK_NEAR(out[1], 2, 1e-14);
    CHECK_NEAR(out[2], 3, 1e-14);
}
END_TEST

/* GSL would call its error handler, which aborts unless it was switched off. */
START_TEST(refuses_what_has_no_solution)
{
    double singular[] = {1, 2, 2, 4}, broken[] = {1, 0, 0, (double)NAN}, one[] = {1}, out[2];
    const double right[] = {1, 1}, endless[] = {(double)INFINITY};
    ck_assert(!quell_linear_solve(singular, right, out, 2));
    ck_assert(!quell_linear_solve(broken, right, out, 2));
    ck_assert(!quell_linear_solve(one, endless, out, 1));
    ck_assert(!quell_linear_solve(one, right, out, 0));
    ck_assert(!quell_linear_solve(one, right, out, QUELL_LINEAR_MAX + 1));
}
END_TEST

/* [[2 1 0] [1 2 0] [0 0 5]]: 5 along z, 3 along (1 1 0), 1 along (1 -1 0). */
START_TEST(eigenvectors_come_largest_first)
{
    double matrix[9] = {2, 1, 0, 1, 2, 0, 0, 0, 5}, value[3], vector[3][3];
    ck_assert(quell_symmetric_eigen(matrix, value, vector));
    const double want[] = {5, 3, 1};
    for (size_t k = 0; k < 3; k++)
        CHECK_NEAR(value[k], want[k], 1e-14);
    CHECK_NEAR(fabs(vector[0][2]), 1, 1e-14);
    CHECK_NEAR(vector[1][0] * vector[1][1], 0.5, 1e-14);
    CHECK_NEAR(vector[2][0] * vector[2][1], -0.5, 1e-14);
    matrix[0] = (double)NAN;
    ck_assert(!quell_symmetric_eigen(matrix, value, vector));
}
END_TEST

/* A rotation by 30 degrees about z, stretched along its own axes, is found again; a reflection is not one. */
START_TEST(the_nearest_rotation_is_found)
{
    const double c = cos(QUELL_PI / 6), s = sin(QUELL_PI / 6);
    const double stretch[][3] = {{1, 1, 1}, {3, 2, 0.5}, {2, 1, 0}, {2, 1, -0.5}};
    double out[3][3];
    for (size_t row = 0; row < 4; row++) {
        const double *k = stretch[row];
        const double matrix[9] = {c * k[0], -s * k[1], 0, s * k[0], c * k[1], 0, 0, 0, k[2]};
        ck_assert(quell_rotation_nearest(matrix, out));
        CHECK_NEAR(out[0][0], c, 1e-14);
        CHECK_NEAR(out[0][1], -s, 1e-14);
        CHECK_NEAR(out[1][0], s, 1e-14);
        CHECK_NEAR(out[1][1], c, 1e-14);
        CHECK_NEAR(out[2][2], 1, 1e-14); /* and never -1 */
        CHECK_NEAR(out[0][2], 0, 1e-14);
        CHECK_NEAR(out[2][1], 0, 1e-14);
    }
    ck_assert(!quell_rotation_nearest((const double[9]){1, 2, 3, 2, 4, 6, 3, 6, 9}, out)); /* rank 1 */
    ck_assert(!quell_rotation_nearest((const double[9]){0}, out));
    ck_assert(!quell_rotation_nearest((const double[9]){1, 0, 0, 0, (double)NAN, 0, 0, 0, 1}, out));
}
END_TEST

Suite *suite_base_linear(void)
{
    Suite *suite = suite_create("base_linear");
    TCase *cases = tcase_create("base_linear");
    tcase_add_test(cases, the_nearest_rotation_is_found);
    tcase_add_test(cases, solves_a_system_worked_by_hand);
    tcase_add_test(cases, refuses_what_has_no_solution);
    tcase_add_test(cases, eigenvectors_come_largest_first);
    suite_add_tcase(suite, cases);
    return suite;
}
