/* How far a shaper rounds a corner. Between the instants at which an impulse passes the corner or a leg reaches its
   cruising speed, both coordinates of the shaped point are quadratics in time, so the distance from the programmed
   path is the lesser of two quadratics (or a distance from the corner itself) and its maximum is found exactly. */
#include "quell/predict.h"

#include <gsl/gsl_poly.h>
#include <gsl/gsl_sort.h>
#include <math.h>

/* value + rate t + curve t^2 */
typedef struct quadratic {
    double value, rate, curve;
} quadratic;

/* A corner at the origin at time 0: come along (1, 0), go along (cosine, sine). */
typedef struct turning {
    const quell_corner *corner;
    const quell_shaper *shaper[2];
    double cosine, sine;
    double ramp_s; /* from corner speed to cruising speed; infinite if never */
} turning;

static double at(quadratic q, double t)
{
    return q.value + t * (q.rate + t * q.curve);
}

static quadratic combined(double a, quadratic p, double b, quadratic q)
{
    return (quadratic){a * p.value + b * q.value, a * p.rate + b * q.rate, a * p.curve + b * q.curve};
}

/* Distance from the corner `since` seconds after leaving it, as a quadratic about that instant. */
static quadratic leg(const turning *turn, double since)
{
    double v = turn->corner->speed_mps, a = turn->corner->acceleration_mps2, ramp = turn->ramp_s;
    if (since <= ramp)
        return (quadratic){since * (v + since * a / 2), v + a * since, a / 2};
    double cruise = turn->corner->cruise_mps;
    return (quadratic){ramp * (v + cruise) / 2 + (since - ramp) * cruise, cruise, 0};
}

/* One shaped coordinate about time t, which is no breakpoint: impulses still before the corner see the first leg
   (mirrored in time), the others the second. */
static quadratic shaped(const turning *turn, const quell_shaper *shaper, double before, double after,
                        double t)
{
    quadratic sum = {0};
    for (size_t i = 0; i < shaper->count; i++) {
        double since = t - shaper->time_s[i], a = shaper->amplitude[i];
        quadratic piece = leg(turn, fabs(since));
        if (since < 0)
            piece.rate = -piece.rate;
        sum = combined(1, sum, a * (since < 0 ? before : after), piece);
    }
    return sum;
}

/* Distance of (x, y) from a half line that starts at the origin along the unit vector (along_x, along_y). */
static double from_half_line(double x, double y, double along_x, double along_y)
{
    double along = x * along_x + y * along_y;
    return along > 0 ? fabs(x * along_y - y * along_x) : hypot(x, y);
}

static double deviation(const turning *turn, quadratic x, quadratic y, double t)
{
    double px = at(x, t), py = at(y, t);
    return fmin(from_half_line(px, py, -1, 0), from_half_line(px, py, turn->cosine, turn->sine));
}

static size_t add_roots(double *time, size_t count, quadratic q)
{
    return count + (size_t)gsl_poly_solve_quadratic(q.curve, q.rate, q.value, &time[count], &time[count + 1]);
}

static size_t add_vertex(double *time, size_t count, quadratic q)
{
    if (q.curve != 0)
        time[count++] = -q.rate / (2 * q.curve);
    return count;
}

/* Where the distance from the origin is stationary: half the derivative of x^2 + y^2 is a cubic. */
static size_t add_origin_extremes(double *time, size_t count, quadratic x, quadratic y)
{
    double c3 = 2 * (x.curve * x.curve + y.curve * y.curve);
    double c2 = 3 * (x.curve * x.rate + y.curve * y.rate);
    double c1 = x.rate * x.rate + y.rate * y.rate + 2 * (x.curve * x.value + y.curve * y.value);
    double c0 = x.rate * x.value + y.rate * y.value;
    if (c3 > 0)
        return count + (size_t)gsl_poly_solve_cubic(c2 / c3, c1 / c3, c0 / c3, &time[count], &time[count + 1],
                                                    &time[count + 2]);
    return add_roots(time, count, (quadratic){c0, c1, c2});
}

/* The greatest deviation between two neighbouring breakpoints. The distance from a half line has no kink off the line
   itself, so the lesser of two is greatest at an end, where one of them is stationary (either as a distance from the
   line, or from the corner), or where both are equal, which off the corner happens inside of it only. */
static double greatest_between(const turning *turn, double from, double to)
{
    double middle = (from + to) / 2, half = (to - from) / 2;
    quadratic x = shaped(turn, turn->shaper[0], -1, turn->cosine, middle);
    quadratic y = shaped(turn, turn->shaper[1], 0, turn->sine, middle);
    quadratic from_first = y;
    quadratic from_second = combined(turn->sine, x, -turn->cosine, y);
    double time[9] = {-half, half};
    size_t count = 2;
    count = add_vertex(time, count, from_first);
    count = add_vertex(time, count, from_second);
    count = add_roots(time, count, combined(1, from_first, 1, from_second));
    count = add_origin_extremes(time, count, x, y);
    double greatest = 0;
    for (size_t i = 0; i < count; i++)
        if (time[i] >= -half && time[i] <= half)
            greatest = fmax(greatest, deviation(turn, x, y, time[i]));
    return greatest;
}

/* The instants in [low, high] at which a coordinate changes from one quadratic to another, in order, both ends
   included. Each impulse has three: start of braking, the corner, end of speeding up. */
static size_t breakpoints(const turning *turn, double low, double high, double *time)
{
    size_t count = 0;
    time[count++] = low;
    time[count++] = high;
    for (size_t k = 0; k < 2; k++)
        for (size_t i = 0; i < turn->shaper[k]->count; i++) {
            double corner = turn->shaper[k]->time_s[i];
            const double instant[] = {corner - turn->ramp_s, corner, corner + turn->ramp_s};
            for (size_t j = 0; j < 3; j++)
                if (instant[j] > low && instant[j] < high)
                    time[count++] = instant[j];
        }
    gsl_sort(time, 1, count);
    return count;
}

static double duration(const quell_shaper *shaper)
{
    return shaper->time_s[shaper->count - 1];
}

static bool has_negative(const quell_shaper *shaper)
{
    for (size_t i = 0; i < shaper->count; i++)
        if (shaper->amplitude[i] < 0)
            return true;
    return false;
}

/* Seconds from the corner speed to the cruising speed. */
static double ramp_time(const quell_corner *corner)
{
    if (corner->cruise_mps <= 0)
        return HUGE_VAL;
    if (corner->cruise_mps <= corner->speed_mps)
        return 0;
    return corner->acceleration_mps2 > 0
               ? (corner->cruise_mps - corner->speed_mps) / corner->acceleration_mps2
               : HUGE_VAL;
}

double quell_rounding(const quell_corner *corner, const quell_shaper *first, const quell_shaper *second)
{
    static const quell_shaper none = {.count = 1, .amplitude = {1}};
    first = first != NULL ? first : &none;
    second = second != NULL ? second : &none;
    /* cos and sin of pi/2 itself are not exactly 0 and 1; a right angle is the usual case and deserves to be exact */
    bool right = fabs(corner->angle_rad - QUELL_PI / 2) < 1e-12;
    turning turn = {corner,
                    {first, second},
                    right ? 0 : cos(corner->angle_rad),
                    right ? 1 : sin(corner->angle_rad),
                    ramp_time(corner)};
    double high = fmax(duration(first), duration(second));
    /* Only negative impulses can push the point past the corner before the corner is commanded. */
    double low = has_negative(first) || has_negative(second) ? -high : 0;
    double time[2 + 6 * QUELL_SHAPER_MAX];
    size_t count = breakpoints(&turn, low, high, time);
    double greatest = 0;
    for (size_t i = 0; i + 1 < count; i++)
        if (time[i + 1] > time[i])
            greatest = fmax(greatest, greatest_between(&turn, time[i], time[i + 1]));
    return greatest;
}
