/* The map from sensor to machine axes: as given on the command line, and applied to a recording. */
#include "ingest/digest_private.h"

#include <math.h>
#include <string.h>

double ingest_dot(const double a[3], const double b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

void ingest_cross(double out[3], const double a[3], const double b[3])
{
    out[0] = a[1] * b[2] - a[2] * b[1];
    out[1] = a[2] * b[0] - a[0] * b[2];
    out[2] = a[0] * b[1] - a[1] * b[0];
}

size_t ingest_most_along(const double v[3])
{
    size_t most = 0;
    for (size_t k = 1; k < 3; k++)
        most = fabs(v[k]) > fabs(v[most]) ? k : most;
    return most;
}

/* "+z" or "y" into a unit vector of the sensor. */
static bool read_axis(double out[3], const char *text, size_t length)
{
    double sign = 1;
    if (length == 2 && (text[0] == '+' || text[0] == '-')) {
        sign = text[0] == '-' ? -1 : 1;
        text++;
        length--;
    }
    if (length != 1 || text[0] < 'x' || text[0] > 'z')
        return false;
    memset(out, 0, 3 * sizeof *out);
    out[text[0] - 'x'] = sign;
    return true;
}

quell_status ingest_mount_parse(quell_mounting *out, const char *text, quell_error *err)
{
    quell_mounting found = {
        .up_known = true, .direction_known = true, .sign_known = true, .words = "as given by --mount"};
    bool up = false, right = false, good = true;
    for (const char *item = text; good;) {
        size_t length = strcspn(item, ",");
        if (!up && length > 3 && memcmp(item, "up=", 3) == 0)
            good = up = read_axis(found.map[2], item + 3, length - 3);
        else if (!right && length > 6 && memcmp(item, "right=", 6) == 0)
            good = right = read_axis(found.map[0], item + 6, length - 6);
        else
            good = false;
        if (item[length] == '\0')
            break;
        item += length + 1;
    }
    if (!good || !up || !right || ingest_dot(found.map[0], found.map[2]) != 0) {
        char shown[64];
        return quell_fail(
            err, QUELL_E_USAGE,
            "--mount: found '%s', want up= and right= with two different axes of the sensor, such as "
            "up=+z,right=-y",
            quell_printable(shown, sizeof shown, text, strlen(text)));
    }
    ingest_cross(found.map[1], found.map[2], found.map[0]);
    *out = found;
    return QUELL_OK;
}

static void turn_samples(const quell_mounting *mounting, quell_recording *recording)
{
    if (recording->accel_mps2[0] == NULL)
        return;
    for (size_t i = 0; i < recording->samples; i++) {
        double sensor[3] = {recording->accel_mps2[0][i], recording->accel_mps2[1][i],
                            recording->accel_mps2[2][i]};
        for (size_t k = 0; k < 3; k++)
            recording->accel_mps2[k][i] = ingest_dot(mounting->map[k], sensor);
    }
}

/* Steps, resolution and clipping of the machine's axes: a machine axis is dead if the sensor axis that makes most of
   it is, its quantisation noise is the sum of its parts' (as powers), and it is clipped as badly as the worst sensor
   axis with a real share in it. */
static void turn_levels(const quell_mounting *mounting, quell_recording *recording)
{
    double step[3], resolution[3], clipped[3];
    memcpy(step, recording->step_mps2, sizeof step);
    memcpy(resolution, recording->resolution_mps2, sizeof resolution);
    memcpy(clipped, recording->clipped_fraction, sizeof clipped);
    for (size_t k = 0; k < 3; k++) {
        size_t most = ingest_most_along(mounting->map[k]);
        double square = 0, worst = 0;
        for (size_t m = 0; m < 3; m++) {
            double share = fabs(mounting->map[k][m]);
            square += share * resolution[m] * share * resolution[m];
            worst = share > 0.2 ? fmax(worst, clipped[m]) : worst;
        }
        recording->step_mps2[k] = step[most];
        recording->resolution_mps2[k] = sqrt(square);
        recording->clipped_fraction[k] = worst;
    }
}

void quell_mounting_apply(const quell_mounting *mounting, quell_recording *recording)
{
    static const char *const name[3] = {"x", "y", "z"};
    if (recording->axes != 3)
        return;
    turn_samples(mounting, recording);
    if (recording->digest != NULL)
        digest_turn(recording->digest, mounting->map);
    turn_levels(mounting, recording);
    for (size_t k = 0; k < 3; k++)
        recording->axis_name[k] = name[k];
}
