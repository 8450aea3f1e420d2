/* The models' response and its derivatives on a grid of frequencies.

   g = r^2 / D, D = 1 - r^2 + 2 j zeta r, r = x / f;  dg/dln f = -2 r^2 (1 + j zeta r) / D^2,
   dg/dln zeta = -2 j zeta r^3 / D^2,  d|H|^2/dp = 2 Re(conj(H) dH/dp): exact mathematics.

   What is done at every grid point is done here row by row in plain loops over real parts and imaginary parts, without
   branches, which compilers turn into vector instructions. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

double complex quell_response(const quell_mode *mode, size_t count, double x_hz)
{
    double real = 1, imaginary = 0;
    for (size_t k = 0; k < count; k++) {
        double r = x_hz / mode[k].frequency_hz, dr = 1 - r * r, di = 2 * mode[k].damping_ratio * r;
        double share = mode[k].participation * r * r / (dr * dr + di * di);
        real += share * dr;
        imaginary -= share * di;
    }
    double parts[2] = {real, imaginary};
    double complex h;
    memcpy(&h, parts, sizeof h); /* C lays a complex out as real, imaginary */
    return h;
}

/* A mode at the n points x_hz. */
typedef struct points {
    const double *x_hz;
    size_t n;
    double f_hz, zeta;
} points;

/* 1 / D. */
static void inverse(const points *at, double *restrict re, double *restrict im)
{
    const double *restrict x_hz = at->x_hz;
    double scale = 1 / at->f_hz, zeta2 = 2 * at->zeta;
    for (size_t i = 0; i < at->n; i++) {
        double r = x_hz[i] * scale, dr = 1 - r * r, di = zeta2 * r, size = 1 / (dr * dr + di * di);
        re[i] = dr * size;
        im[i] = -di * size;
    }
}

/* H += c g. */
static void add_mode(const points *at, double c, const double *restrict re, const double *restrict im, double *restrict h_re,
                     double *restrict h_im)
{
    const double *restrict x_hz = at->x_hz;
    double scale = 1 / at->f_hz;
    for (size_t i = 0; i < at->n; i++) {
        double r = x_hz[i] * scale, share = c * r * r;
        h_re[i] += share * re[i];
        h_im[i] += share * im[i];
    }
}

/* level |H|^2. */
static void square(size_t n, const double *restrict level, const double *restrict h_re, const double *restrict h_im,
                   double *restrict out)
{
    for (size_t i = 0; i < n; i++)
        out[i] = level[i] * (h_re[i] * h_re[i] + h_im[i] * h_im[i]);
}

/* Derivatives of level |H|^2 where H holds c g. first: Re 1/D, becomes that by ln f; second: Im 1/D, becomes that by ln zeta;
   third becomes that by c. */
static void slopes(const points *at, double c, const double *restrict level, const double *restrict h_re,
                   const double *restrict h_im, double *restrict first, double *restrict second, double *restrict third)
{
    const double *restrict x_hz = at->x_hz;
    double scale = 1 / at->f_hz, zeta = at->zeta;
    for (size_t i = 0; i < at->n; i++) {
        double r = x_hz[i] * scale, r2 = r * r, re = first[i], im = second[i];
        double re2 = re * re - im * im, im2 = 2 * re * im; /* 1 / D^2 */
        double by_h_re = 2 * level[i] * h_re[i], by_h_im = 2 * level[i] * h_im[i];
        double f = -2 * c * r2, z = f * zeta * r;
        first[i] = f * (by_h_re * (re2 - zeta * r * im2) + by_h_im * (im2 + zeta * r * re2));
        second[i] = z * (by_h_im * re2 - by_h_re * im2);
        third[i] = r2 * (by_h_re * re + by_h_im * im);
    }
}

static points points_of(const quell_model_grid *grid, const double *mode)
{
    return (points){.x_hz = grid->x_hz + (grid->first - grid->origin),
                    .n = grid->points,
                    .f_hz = exp(mode[FIT_LN_F]),
                    .zeta = exp(mode[FIT_LN_ZETA])};
}

/* Where the rows lie in the model's work, each `room` long. */
typedef struct layout {
    double *value, *by_mode, *by_common; /* FIT_PER_MODE a mode; FIT_COMMON */
    double *level, *h_re, *h_im;         /* scratch */
    size_t room;
} layout;

static layout lay_out(const quell_model *model, const quell_model_grid *grid, size_t modes)
{
    double *scratch = model->work + (FIT_PARAMETERS_MAX + 1) * grid->room;
    return (layout){.value = model->work,
                    .by_mode = model->work + grid->room,
                    .by_common = model->work + (FIT_PER_MODE * modes + 1) * grid->room,
                    .level = scratch,
                    .h_re = scratch + grid->room,
                    .h_im = scratch + 2 * grid->room,
                    .room = grid->room};
}

/* One common input. */
static void driven(const quell_model_grid *grid, const double *parameter, size_t modes, bool derivatives, const layout *rows)
{
    size_t n = grid->points;
    double direct = parameter[FIT_PER_MODE * modes + FIT_DIRECT];
    for (size_t i = 0; i < n; i++) {
        rows->h_re[i] = direct;
        rows->h_im[i] = 0;
    }
    for (size_t k = 0; k < modes; k++) {
        const double *mode = parameter + FIT_PER_MODE * k;
        double *row = rows->by_mode + FIT_PER_MODE * k * rows->room;
        points at = points_of(grid, mode);
        inverse(&at, row, row + rows->room);
        add_mode(&at, mode[FIT_C], row, row + rows->room, rows->h_re, rows->h_im);
    }
    square(n, rows->level, rows->h_re, rows->h_im, rows->value);
    if (!derivatives)
        return;
    for (size_t k = 0; k < modes; k++) {
        const double *mode = parameter + FIT_PER_MODE * k;
        double *row = rows->by_mode + FIT_PER_MODE * k * rows->room;
        points at = points_of(grid, mode);
        slopes(&at, mode[FIT_C], rows->level, rows->h_re, rows->h_im, row, row + rows->room, row + 2 * rows->room);
    }
    double *by_direct = rows->by_common + FIT_DIRECT * rows->room;
    for (size_t i = 0; i < n; i++)
        by_direct[i] = 2 * rows->level[i] * rows->h_re[i];
}

/* Every mode has an input of its own, e^c, and H = 1 + g. */
static void ambient(const quell_model_grid *grid, const double *parameter, size_t modes, bool derivatives, const layout *rows)
{
    size_t n = grid->points;
    memset(rows->value, 0, n * sizeof(double));
    for (size_t k = 0; k < modes; k++) {
        const double *mode = parameter + FIT_PER_MODE * k;
        double *row = rows->by_mode + FIT_PER_MODE * k * rows->room, *own = row + 2 * rows->room, input = exp(mode[FIT_C]);
        points at = points_of(grid, mode);
        inverse(&at, row, row + rows->room);
        for (size_t i = 0; i < n; i++) {
            rows->h_re[i] = 1;
            rows->h_im[i] = 0;
        }
        add_mode(&at, 1, row, row + rows->room, rows->h_re, rows->h_im);
        if (derivatives)
            slopes(&at, input, rows->level, rows->h_re, rows->h_im, row, row + rows->room, own);
        square(n, rows->level, rows->h_re, rows->h_im, own);
        for (size_t i = 0; i < n; i++) {
            own[i] *= input; /* the derivative by c, too */
            rows->value[i] += own[i];
        }
    }
    if (derivatives)
        memset(rows->by_common + FIT_DIRECT * rows->room, 0, n * sizeof(double));
}

void quell_response_rows(const quell_model *model, const quell_model_grid *grid, const double *parameter, size_t modes,
                         bool derivatives)
{
    layout rows = lay_out(model, grid, modes);
    const double *common = parameter + FIT_PER_MODE * modes, *log_x = grid->log_x + (grid->first - grid->origin);
    const double *input = grid->input + (grid->first - grid->origin);
    double level = exp(common[FIT_B0]), slope = common[FIT_B1];
    for (size_t i = 0; i < grid->points; i++)
        rows.level[i] = level * input[i];
    for (size_t i = 0; i < grid->points && slope != 0; i++)
        rows.level[i] *= exp(slope * log_x[i]);
    if (model->form == MODEL_AMBIENT)
        ambient(grid, parameter, modes, derivatives, &rows);
    else
        driven(grid, parameter, modes, derivatives, &rows);
    if (!derivatives)
        return;
    double *by_b0 = rows.by_common + FIT_B0 * rows.room, *by_b1 = rows.by_common + FIT_B1 * rows.room;
    for (size_t i = 0; i < grid->points; i++) {
        by_b0[i] = rows.value[i];
        by_b1[i] = rows.value[i] * log_x[i];
    }
}
