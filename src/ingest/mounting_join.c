/* The mounting of a sensor that stayed where it was while first one axis was driven, then the other. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

#define GRAVITY_APART_DEG 2.0 /* a sensor that was not moved shows gravity in one place */
#define SKEW_DEG 8.0
#define WEIGHT_OF_UP 2.0 /* gravity is seen better than motion */

static const double degree = QUELL_PI / 180;

static double angle_deg(const double a[3], const double b[3])
{
    return acos(fmin(fmax(ingest_dot(a, b), -1), 1)) / degree;
}

static bool is_seen(const quell_mounting *of, char axis)
{
    return of->driven_axis == axis && of->up_known && of->direction_known &&
           ingest_dot(of->up, of->up) > 0.5 && ingest_dot(of->driven, of->driven) > 0.5;
}

/* Makes y point to the left of x, seen from above: a direction whose sign was not seen is turned round. False if both
   signs were seen and do not agree. */
static bool agree_on_signs(const quell_mounting *x, const quell_mounting *y, const double up[3], double vx[3],
                           double vy[3])
{
    double left[3];
    memcpy(vx, x->driven, 3 * sizeof *vx);
    memcpy(vy, y->driven, 3 * sizeof *vy);
    ingest_cross(left, up, vx);
    if (ingest_dot(left, vy) >= 0)
        return true;
    double *turned = y->sign_known ? vx : vy;
    for (size_t k = 0; k < 3; k++)
        turned[k] = -turned[k];
    return !(x->sign_known && y->sign_known);
}

static void take_over(quell_mounting *out, double map[3][3], bool sign_known, const char *words)
{
    memcpy(out->map, map, sizeof out->map);
    out->sign_known = sign_known;
    out->words = words;
}

quell_join quell_mounting_join(quell_mounting *x, quell_mounting *y, double *off_deg)
{
    double ignored, *off = off_deg != NULL ? off_deg : &ignored;
    *off = NAN;
    if (!is_seen(x, 'x') || !is_seen(y, 'y'))
        return QUELL_JOIN_NOTHING;
    *off = angle_deg(x->up, y->up);
    if (*off > GRAVITY_APART_DEG)
        return QUELL_JOIN_MOVED;
    double up[3], vx[3], vy[3], sum[9], turn[3][3], map[3][3];
    for (size_t k = 0; k < 3; k++)
        up[k] = 0.5 * (x->up[k] + y->up[k]);
    if (!agree_on_signs(x, y, up, vx, vy))
        return QUELL_JOIN_MIRRORED;
    *off = fabs(angle_deg(vx, vy) - 90);
    if (*off > SKEW_DEG)
        return QUELL_JOIN_SKEWED;
    for (size_t k = 0; k < 3; k++) {
        sum[3 * k] = vx[k];
        sum[3 * k + 1] = vy[k];
        sum[3 * k + 2] = WEIGHT_OF_UP * up[k];
    }
    if (!quell_rotation_nearest(sum, turn))
        return QUELL_JOIN_NOTHING;
    for (size_t k = 0; k < 3; k++)
        for (size_t m = 0; m < 3; m++)
            map[k][m] = turn[m][k];
    bool sign_known = x->sign_known || y->sign_known;
    take_over(x, map, sign_known, "gravity and the motion along x and along y");
    take_over(y, map, sign_known, "gravity and the motion along x and along y");
    return QUELL_JOIN_DONE;
}
