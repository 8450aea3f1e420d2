/* How the sensor sits on the machine: up from gravity, the driven axis from slow motion along it. */
#include "ingest/digest_private.h"

#include <math.h>
#include <string.h>

#define SKEW_WARN_DEG 2.0
#define SKEW_REFUSE_DEG 8.0
#define MOUNT_TILT_DEG 20.0
#define SECOND_SHARE 0.3 /* of the largest motion across it: beyond this there is no one direction */

static const double degree = QUELL_PI / 180;

/* Takes off v what lies along the unit vector `along`, and scales v to 1. */
static void make_perpendicular(double v[3], const double along[3])
{
    double part = ingest_dot(v, along);
    for (size_t k = 0; k < 3; k++)
        v[k] -= part * along[k];
    double length = sqrt(ingest_dot(v, v));
    for (size_t k = 0; k < 3; k++)
        v[k] /= length;
}

/* The sensor axis that lies least along v. */
static void least_along(double out[3], const double v[3])
{
    size_t least = 0;
    for (size_t k = 1; k < 3; k++)
        if (fabs(v[k]) < fabs(v[least]))
            least = k;
    memset(out, 0, 3 * sizeof *out);
    out[least] = 1;
}

static void build_map(quell_mounting *out, const ingest_sighting *seen, const double mean_mps2[3],
                      char driven_axis)
{
    double *x = out->map[0], *y = out->map[1], *z = out->map[2];
    double driven[3];
    memcpy(driven, seen->direction, sizeof driven);
    if (out->up_known) {
        for (size_t k = 0; k < 3; k++)
            z[k] = mean_mps2[k] / out->gravity_mps2;
    } else if (seen->known) {
        least_along(z, driven);
        make_perpendicular(z, driven);
    } else {
        z[2] = 1;
    }
    if (!seen->known)
        least_along(driven, z);
    double across[3];
    ingest_cross(across, driven, z);
    if (ingest_dot(across, across) < 1e-6) /* motion straight up: any level direction serves */
        least_along(driven, z);
    make_perpendicular(driven, z);
    if (driven_axis == 'y') {
        memcpy(y, driven, sizeof driven);
        ingest_cross(x, y, z);
    } else {
        memcpy(x, driven, sizeof driven);
        ingest_cross(y, z, x);
    }
}

static const char *describe(const quell_mounting *mounting, const ingest_sighting *seen)
{
    if (seen->strokes)
        return mounting->up_known ? "gravity and the slow strokes" : "the slow strokes";
    if (seen->slow)
        return mounting->up_known ? "gravity and slow motion" : "slow motion";
    if (seen->known)
        return mounting->up_known ? "gravity and the largest motion" : "the largest motion";
    return mounting->up_known ? "gravity alone" : "nothing: the sensor's own axes";
}

static quell_status add_findings(const quell_mounting *mounting, const ingest_sighting *seen,
                                 quell_recording *recording, quell_arena *arena)
{
    quell_findings *findings = &recording->findings;
    quell_status status = QUELL_OK;
    if (!mounting->up_known)
        status = quell_findings_add(
            findings, arena, "gravity", QUELL_WARN, mounting->gravity_mps2, INGEST_GRAVITY_LEAST_MPS2,
            "say --mount, or record with gravity (not AC-coupled)",
            "the static mean is %.2f m/s2, which is no gravity: up is not known", mounting->gravity_mps2);
    if (status == QUELL_OK && !seen->known)
        status = quell_findings_add(findings, arena, "mounting", QUELL_WARN, NAN, NAN,
                                    "say --mount, or record motion",
                                    "nothing moves in the recording: the driven axis is not known");
    else if (status == QUELL_OK && seen->second > SECOND_SHARE)
        status = quell_findings_add(
            findings, arena, "mounting", QUELL_WARN, seen->second, SECOND_SHARE,
            "say --mount, or begin with slow strokes along one axis",
            "the motion has no one direction: %.0f %% of its power lies across the largest",
            100 * seen->second);
    else if (status == QUELL_OK && !seen->strokes)
        status = quell_findings_add(
            findings, arena, "mounting", QUELL_WARN, NAN, NAN,
            "begin a recording with rest and two slow strokes towards +, or say --mount",
            "no slow strokes: the driven axis is the direction of the %s motion, a few degrees off, "
            "and which way is + is not known",
            seen->slow ? "slow" : "largest");
    if (status != QUELL_OK || !mounting->up_known || !mounting->direction_known || !seen->slow)
        return status;
    double skew_deg = asin(fmin(fabs(ingest_dot(seen->direction, mounting->map[2])), 1)) / degree;
    if (skew_deg <= SKEW_WARN_DEG)
        return QUELL_OK;
    bool refuse = seen->strokes && skew_deg > SKEW_REFUSE_DEG;
    return quell_findings_add(findings, arena, "skew", refuse ? QUELL_REFUSE : QUELL_WARN, skew_deg,
                              refuse ? SKEW_REFUSE_DEG : SKEW_WARN_DEG,
                              "check that the sensor is fixed to what moves and the machine stands level",
                              "motion and gravity are %.1f deg from a right angle", skew_deg);
}

static quell_status find(quell_mounting *out, quell_recording *recording, char driven_axis,
                         quell_arena *arena, quell_error *err)
{
    ingest_activity activity;
    ingest_sighting seen;
    quell_status status = ingest_activity_find(&activity, recording, arena, err);
    if (status == QUELL_OK)
        status = ingest_direction_find(&seen, recording->digest, &activity, err);
    if (status != QUELL_OK)
        return status;
    quell_mounting found = {.gravity_mps2 = sqrt(ingest_dot(activity.mean_mps2, activity.mean_mps2)),
                            .driven_axis = driven_axis};
    found.up_known = found.gravity_mps2 > INGEST_GRAVITY_LEAST_MPS2;
    found.direction_known = seen.known && seen.second <= SECOND_SHARE;
    found.sign_known = seen.strokes;
    build_map(&found, &seen, activity.mean_mps2, driven_axis);
    const double *z = found.map[2];
    if (found.up_known)
        memcpy(found.up, z, sizeof found.up);
    if (found.direction_known)
        memcpy(found.driven, seen.direction, sizeof found.driven);
    found.tilt_rad = acos(fmin(fmax(fabs(z[0]), fmax(fabs(z[1]), fabs(z[2]))), 1));
    found.words = describe(&found, &seen);
    status = add_findings(&found, &seen, recording, arena);
    if (status != QUELL_OK)
        return quell_fail(err, status, "out of memory for findings");
    *out = found;
    return QUELL_OK;
}

/* The columns as they are, or as --mount maps them. */
static quell_status fix(quell_mounting *out, quell_recording *recording, const char *mount,
                        quell_arena *arena, quell_error *err)
{
    quell_mounting fixed = {.map = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, .words = "the columns as they are"};
    quell_status status = QUELL_OK;
    if (mount != NULL && recording->axes == 3)
        status = ingest_mount_parse(&fixed, mount, err);
    double mean_mps2[3];
    if (status == QUELL_OK)
        status = ingest_digest_make(recording, arena, err);
    if (status != QUELL_OK)
        return status;
    digest_mean(recording->digest, mean_mps2);
    fixed.gravity_mps2 = sqrt(ingest_dot(mean_mps2, mean_mps2));
    if (fixed.up_known && fixed.gravity_mps2 > INGEST_GRAVITY_LEAST_MPS2)
        fixed.tilt_rad = acos(fmin(fmax(ingest_dot(mean_mps2, fixed.map[2]) / fixed.gravity_mps2, -1), 1));
    if (recording->axes < 3)
        status =
            quell_findings_add(&recording->findings, arena, "mounting", QUELL_NOTE, (double)recording->axes,
                               3, "record three axes to have the sensor's tilt taken out",
                               "with %zu of three axes the columns are used as they are%s", recording->axes,
                               mount != NULL ? ", whatever --mount says" : "");
    else if (fixed.tilt_rad > MOUNT_TILT_DEG * degree)
        status = quell_findings_add(&recording->findings, arena, "mounting", QUELL_WARN,
                                    fixed.tilt_rad / degree, MOUNT_TILT_DEG, "check --mount",
                                    "gravity lies %.0f deg from the direction that --mount calls up",
                                    fixed.tilt_rad / degree);
    if (status != QUELL_OK)
        return quell_fail(err, status, "out of memory for findings");
    *out = fixed;
    return QUELL_OK;
}

quell_status quell_mounting_find(quell_mounting *out, quell_recording *recording, char driven_axis,
                                 const quell_read_options *options, quell_arena *arena, quell_error *err)
{
    if (recording->axes == 3 && options->mount == NULL)
        return find(out, recording, driven_axis, arena, err);
    return fix(out, recording, options->mount, arena, err);
}
