/* UM-EI: impulses of 1, -1, 1, -1, 1 that leave V at the design mode, where the residual is greatest between two exact zeros.

   Four times and the places of the zeros, for as many equations: two zeros, the hump's height, and that it is flat.
   Source: Singhose, Singer and Seering, ASME J. Dyn. Syst. Meas. Control 119(2):198-205, 1997. */
#include "shaping/shaping_private.h"

#include <math.h>

enum { IMPULSES = 5, ITERATIONS = 20 };

static const double amplitudes[IMPULSES] = {1, -1, 1, -1, 1};

/* Undamped the times are symmetric, +-a and +-b round one in the middle, and the residual is |F(r)| of
   F(r) = 1 + 2 cos(r a) - 2 cos(r b), r = frequency / design frequency. */
static double response(double a, double b, double r)
{
    return 1 + 2 * cos(r * a) - 2 * cos(r * b);
}

/* F(1) = -V and F'(1) = 0, by Newton's method from UM-ZVD's a and b, which are those of V = 0. */
static void solve_undamped(double tolerance, double *a, double *b)
{
    *a = 2.3011;
    *b = 1.7387;
    for (int i = 0; i < ITERATIONS; i++) {
        const double height = response(*a, *b, 1) + tolerance, slope = *a * sin(*a) - *b * sin(*b);
        const double height_a = -2 * sin(*a), height_b = 2 * sin(*b);
        const double slope_a = sin(*a) + *a * cos(*a), slope_b = -sin(*b) - *b * cos(*b);
        const double determinant = height_a * slope_b - height_b * slope_a;
        *a -= (height * slope_b - slope * height_b) / determinant;
        *b -= (height_a * slope - slope_a * height) / determinant;
    }
}

/* The zero of F on one side of the hump: it is within a root's error of where the parabola has it. Newton's method, in
   units of the parabola's distance; F + V is taken as differences so that a small V does not drown in it. */
static double find_zero(double a, double b, double tolerance, double distance, double side)
{
    double x = side;
    for (int i = 0; i < ITERATIONS; i++) {
        const double d = distance * x;
        /* cos((1 + d) a) - cos(a) = -2 sin(a + d a / 2) sin(d a / 2) */
        const double rise = -4 * sin(a + d * a / 2) * sin(d * a / 2) + 4 * sin(b + d * b / 2) * sin(d * b / 2);
        const double slope = -2 * a * sin((1 + d) * a) + 2 * b * sin((1 + d) * b);
        x -= (rise - tolerance) / (slope * distance);
    }
    return x;
}

static void start(hump_problem *problem, double *x)
{
    double a, b;
    solve_undamped(problem->tolerance, &a, &b);
    const double bend = 2 * b * b * cos(b) - 2 * a * a * cos(a); /* F''(1) */
    problem->spacing = sqrt(2 * problem->tolerance / bend);
    problem->middle = a;
    x[hump_time_at(problem, 1)] = a - b;
    x[hump_time_at(problem, 2)] = a;
    x[hump_time_at(problem, 3)] = a + b;
    x[hump_time_at(problem, 4)] = 2 * a;
    x[hump_zero_at(problem, 0)] = find_zero(a, b, problem->tolerance, problem->spacing, -1);
    x[hump_zero_at(problem, 1)] = find_zero(a, b, problem->tolerance, problem->spacing, 1);
    x[hump_peak_at(problem, 0)] = 0;
}

quell_status quell_design_um_ei(quell_shaper *out, const quell_design_point *at, quell_error *err)
{
    hump_problem problem = {.zeros = 2,
                            .impulses = IMPULSES,
                            .fixed = amplitudes,
                            .tolerance = fmax(at->tolerance, HUMP_TOLERANCE_LEAST)};
    double x[NEWTON_MAX];
    start(&problem, x);
    return quell_hump_continue(out, &problem, x, "UM-EI", at, err);
}
