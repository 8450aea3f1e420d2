/* Starts for the poles: a matrix pencil. The rows' Hankel matrices, one below the other, have as many large singular values
   as there are poles; their right vectors, shifted by one sample, turn by the poles.
   Source: Y. Hua and T. K. Sarkar, IEEE Trans. Acoust. Speech Signal Process. 38(5), 1990, in the form with truncated right
   vectors of T. K. Sarkar and O. Pereira, IEEE Antennas Propag. Mag. 37(1), 1995 (from memory). Several rows at once:
   the sum of their H'H. */
#include "modes/decay_private.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_eigen.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <string.h>

enum { PENCIL = 40, SIDE = PENCIL + 1, ORDER_MAX = 2 * DECAY_TERMS_MAX + 2 };

/* H'H of one sequence z of m values: entry (j, k) is sum over i < m - PENCIL of z[i + j] z[i + k], and one along a
   diagonal follows from the last. */
static void add_gram(double *gram, const double *z, size_t m)
{
    size_t rows = m - PENCIL;
    for (size_t k = 0; k < SIDE; k++) {
        double value = quell_dot(z, z + k, rows);
        for (size_t j = 0; j + k < SIDE; j++) {
            gram[j * SIDE + j + k] += value;
            if (j + k + 1 < SIDE)
                value += z[rows + j] * z[rows + j + k] - z[j] * z[j + k];
        }
    }
}

static bool sum_grams(const decay_window *window, const double *rows, size_t stride, double *gram)
{
    size_t m = window->length / stride;
    double *z = quell_memory_get(m * sizeof *z);
    if (z == NULL)
        return false;
    memset(gram, 0, SIDE * SIDE * sizeof *gram);
    for (size_t r = 0; r < window->stops * window->axes; r++) {
        const double *row = rows + r * window->length;
        for (size_t i = 0; i < m; i++) {
            z[i] = 0;
            for (size_t k = 0; k < stride; k++)
                z[i] += row[i * stride + k] / (double)stride;
        }
        add_gram(gram, z, m);
    }
    for (size_t j = 0; j < SIDE; j++)
        for (size_t k = 0; k < j; k++)
            gram[j * SIDE + k] = gram[k * SIDE + j];
    quell_memory_free(z);
    return true;
}

/* What GSL needs, all of it or none. */
typedef struct work {
    gsl_eigen_symmv_workspace *symmetric;
    gsl_eigen_nonsymm_workspace *general;
    gsl_matrix *gram, *vectors, *shifted, *normal;
    gsl_vector *values;
    gsl_vector_complex *poles;
} work;

static void work_free(work *w)
{
    gsl_eigen_symmv_free(w->symmetric);
    gsl_eigen_nonsymm_free(w->general);
    gsl_matrix_free(w->gram);
    gsl_matrix_free(w->vectors);
    gsl_matrix_free(w->shifted);
    gsl_matrix_free(w->normal);
    gsl_vector_free(w->values);
    gsl_vector_complex_free(w->poles);
}

static bool work_alloc(work *w, size_t order)
{
    *w = (work){gsl_eigen_symmv_alloc(SIDE),  gsl_eigen_nonsymm_alloc(order), gsl_matrix_alloc(SIDE, SIDE),
                gsl_matrix_alloc(SIDE, SIDE), gsl_matrix_alloc(order, order), gsl_matrix_alloc(order, order),
                gsl_vector_alloc(SIDE),       gsl_vector_complex_alloc(order)};
    return w->symmetric != NULL && w->general != NULL && w->gram != NULL && w->vectors != NULL &&
           w->shifted != NULL && w->normal != NULL && w->values != NULL && w->poles != NULL;
}

/* Eigenvalues of pinv(V1) V2: V the leading vectors, V1 without its last row, V2 without its first. */
static bool pencil_poles(work *w, size_t order)
{
    gsl_eigen_symmv(w->gram, w->values, w->vectors, w->symmetric);
    gsl_eigen_symmv_sort(w->values, w->vectors, GSL_EIGEN_SORT_VAL_DESC);
    gsl_matrix_const_view upper = gsl_matrix_const_submatrix(w->vectors, 0, 0, PENCIL, order);
    gsl_matrix_const_view lower = gsl_matrix_const_submatrix(w->vectors, 1, 0, PENCIL, order);
    gsl_blas_dgemm(CblasTrans, CblasNoTrans, 1, &upper.matrix, &upper.matrix, 0, w->normal);
    gsl_blas_dgemm(CblasTrans, CblasNoTrans, 1, &upper.matrix, &lower.matrix, 0, w->shifted);
    double a[ORDER_MAX * ORDER_MAX], right[ORDER_MAX], column[ORDER_MAX];
    for (size_t j = 0; j < order; j++) {
        for (size_t i = 0; i < order; i++) {
            right[i] = gsl_matrix_get(w->shifted, i, j);
            for (size_t k = 0; k < order; k++)
                a[i * order + k] = gsl_matrix_get(w->normal, i, k);
        }
        if (!quell_linear_solve(a, right, column, order))
            return false;
        for (size_t i = 0; i < order; i++)
            gsl_matrix_set(w->shifted, i, j, column[i]);
    }
    return gsl_eigen_nonsymm(w->shifted, w->poles, w->general) == 0;
}

static void keep_pole(double re, double im, double rate_hz, decay_pole *out, size_t max, size_t *count)
{
    double decay = -log(hypot(re, im)) * rate_hz, damped = atan2(im, re) * rate_hz, w = hypot(decay, damped);
    if (!(im > 0) || !(w > 0) || *count == max)
        return;
    double zeta = fmin(fmax(decay / w, 5e-4), 0.35); /* a line may seem to grow */
    out[(*count)++] = (decay_pole){w / QUELL_TAU, zeta};
}

quell_status decay_pencil(const decay_window *window, const double *rows, size_t stride, size_t order,
                          decay_pole *out, size_t max, size_t *count, quell_error *err)
{
    work w;
    *count = 0;
    if (window->length / stride < PENCIL + order || order > ORDER_MAX)
        return QUELL_OK;
    bool complete = work_alloc(&w, order) && sum_grams(window, rows, stride, w.gram->data);
    bool finite = complete;
    for (size_t i = 0; finite && i < SIDE * SIDE; i++)
        finite = isfinite(w.gram->data[i]);
    if (finite && pencil_poles(&w, order))
        for (size_t i = 0; i < order; i++) {
            gsl_complex z = gsl_vector_complex_get(w.poles, i);
            keep_pole(GSL_REAL(z), GSL_IMAG(z), window->rate_hz / (double)stride, out, max, count);
        }
    work_free(&w);
    return complete ? QUELL_OK : quell_fail(err, QUELL_E_MEMORY, "out of memory for a matrix pencil");
}
