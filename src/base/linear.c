/* Small dense linear algebra: GSL's, called so that it cannot reach its error handler, which may abort the process. */
#include "quell/base.h"

#include <gsl/gsl_eigen.h>
#include <gsl/gsl_linalg.h>
#include <math.h>

static bool all_finite(const double *values, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (!isfinite(values[i]))
            return false;
    return true;
}

double quell_dot(const double *a, const double *b, size_t n)
{
    double part[8] = {0};
    size_t i = 0;
    for (; i + 8 <= n; i += 8)
        for (size_t k = 0; k < 8; k++)
            part[k] += a[i + k] * b[i + k];
    for (; i < n; i++)
        part[0] += a[i] * b[i];
    return ((part[0] + part[1]) + (part[2] + part[3])) + ((part[4] + part[5]) + (part[6] + part[7]));
}

bool quell_linear_solve(double *matrix, const double *right, double *out, size_t n)
{
    if (n == 0 || n > QUELL_LINEAR_MAX || !all_finite(matrix, n * n) || !all_finite(right, n))
        return false;
    gsl_matrix_view a = gsl_matrix_view_array(matrix, n, n);
    size_t order[QUELL_LINEAR_MAX];
    gsl_permutation permutation = {n, order};
    int sign;
    gsl_linalg_LU_decomp(&a.matrix, &permutation, &sign);
    for (size_t i = 0; i < n; i++)
        if (!isfinite(matrix[i * n + i]) || matrix[i * n + i] == 0.0)
            return false; /* singular: the back substitution would call the handler */
    gsl_vector_const_view b = gsl_vector_const_view_array(right, n);
    gsl_vector_view x = gsl_vector_view_array(out, n);
    gsl_linalg_LU_solve(&a.matrix, &permutation, &b.vector, &x.vector);
    return all_finite(out, n);
}

bool quell_symmetric_eigen(const double matrix[9], double value[3], double vector[3][3])
{
    double copy[9], columns[9];
    for (size_t i = 0; i < 9; i++)
        copy[i] = matrix[i];
    gsl_eigen_symmv_workspace *work = all_finite(copy, 9) ? gsl_eigen_symmv_alloc(3) : NULL;
    if (work == NULL)
        return false;
    gsl_matrix_view m = gsl_matrix_view_array(copy, 3, 3), v = gsl_matrix_view_array(columns, 3, 3);
    gsl_vector_view e = gsl_vector_view_array(value, 3);
    gsl_eigen_symmv(&m.matrix, &e.vector, &v.matrix, work);
    gsl_eigen_symmv_free(work);
    gsl_eigen_symmv_sort(&e.vector, &v.matrix, GSL_EIGEN_SORT_VAL_DESC);
    for (size_t i = 0; i < 9; i++)
        vector[i % 3][i / 3] = columns[i]; /* GSL's vectors are columns */
    return true;
}

static double determinant(const double m[9])
{
    return m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) +
           m[2] * (m[3] * m[7] - m[4] * m[6]);
}

bool quell_rotation_nearest(const double matrix[9], double out[3][3])
{
    double left[9], right[9], size[3];
    for (size_t i = 0; i < 9; i++)
        left[i] = matrix[i];
    gsl_matrix_view u = gsl_matrix_view_array(left, 3, 3), v = gsl_matrix_view_array(right, 3, 3);
    gsl_vector_view s = gsl_vector_view_array(size, 3);
    if (!all_finite(left, 9) || gsl_linalg_SV_decomp_jacobi(&u.matrix, &v.matrix, &s.vector) != 0)
        return false;
    if (!(size[1] > 1e-9 * size[0]))
        return false;
    for (size_t i = 0; i < 3; i++) /* the last column is 0 where the rank is 2: it completes the others */
        left[3 * i + 2] = left[3 * ((i + 1) % 3)] * left[3 * ((i + 2) % 3) + 1] -
                          left[3 * ((i + 2) % 3)] * left[3 * ((i + 1) % 3) + 1];
    double sign = determinant(left) * determinant(right) < 0 ? -1 : 1;
    for (size_t i = 0; i < 3; i++)
        for (size_t j = 0; j < 3; j++)
            out[i][j] = left[3 * i] * right[3 * j] + left[3 * i + 1] * right[3 * j + 1] +
                        sign * left[3 * i + 2] * right[3 * j + 2];
    return true;
}
