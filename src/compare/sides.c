/* What a fair comparison keeps the same: rate, length, share of motion, mounting. */
#include "quell/compare.h"

#include <math.h>
#include <string.h>

typedef struct sink {
    quell_findings *findings;
    quell_arena *arena;
} sink;

static double seconds(const quell_recording *recording)
{
    return (double)recording->samples / recording->rate_hz;
}

static double moving_seconds(const quell_fitness *fitness)
{
    double sum = 0;
    for (size_t i = 0; i < fitness->segments; i++)
        if (fitness->segment[i].kind != QUELL_REST && fitness->segment[i].kind != QUELL_STROKES)
            sum += fitness->segment[i].end_s - fitness->segment[i].start_s;
    return sum;
}

/* A finding when two positive values differ by more than `limit` of the larger. */
static quell_status check_value(const sink *to, const char *kind, const char *what, const char *unit,
                                double before, double after, double limit, const char *remedy)
{
    double difference = fabs(after - before) / fmax(before, after);
    if (!(difference > limit))
        return QUELL_OK;
    char was[64], is[64];
    quell_number_print_fixed(was, sizeof was, before, 1);
    quell_number_print_fixed(is, sizeof is, after, 1);
    return quell_findings_add(to->findings, to->arena, kind, QUELL_WARN, difference, limit, remedy,
                              "%s is %s%s before and %s%s after", what, was, unit, is, unit);
}

/* Angle between the directions that both sides call one machine axis, in sensor axes. Up has a sign; the others only
   where the sign of the driven axis was seen on both sides. */
static double angle_between(const quell_mounting *before, const quell_mounting *after, int row)
{
    double dot = 0;
    for (int i = 0; i < 3; i++)
        dot += before->map[row][i] * after->map[row][i];
    if (row != 2 && !(before->sign_known && after->sign_known))
        dot = fabs(dot);
    return acos(fmax(-1, fmin(1, dot)));
}

static quell_status check_mounting(const sink *to, const quell_mounting *before, const quell_mounting *after)
{
    const double limit_rad = 5 * QUELL_PI / 180;
    if (before->up_known != after->up_known || before->direction_known != after->direction_known)
        return quell_findings_add(to->findings, to->arena, "mounting", QUELL_WARN, NAN, NAN,
                                  "give --mount for both sides, or record both with rest and slow strokes",
                                  "how the sensor sits was found on the %s side only",
                                  before->up_known && before->direction_known ? "before" : "after");
    if (!before->up_known)
        return QUELL_OK;
    double turned = angle_between(before, after, 2);
    if (before->direction_known)
        turned = fmax(turned, fmax(angle_between(before, after, 0), angle_between(before, after, 1)));
    if (turned <= limit_rad)
        return QUELL_OK;
    char shown[64];
    quell_number_print_fixed(shown, sizeof shown, turned * 180 / QUELL_PI, 0);
    return quell_findings_add(
        to->findings, to->arena, "mounting", QUELL_WARN, turned, limit_rad,
        "fix it the same way on both sides: a sensor in another place sees other levels",
        "the sensor was turned by %s degrees between the sides", shown);
}

quell_status quell_sides_differ(const quell_side *before, const quell_side *after, quell_arena *arena,
                                quell_findings *findings, quell_error *err)
{
    sink to = {findings, arena};
    const quell_recording *was = before->recording, *is = after->recording;
    quell_status status = check_value(&to, "rate", "the sampling rate", " Hz", was->rate_hz, is->rate_hz,
                                      0.01, "record both sides at one rate");
    if (status == QUELL_OK)
        status = check_value(
            &to, "length", "the length", " s", seconds(was), seconds(is), 0.2,
            "record both sides for as long; levels are means over the whole recording, rest included");
    if (status == QUELL_OK && moving_seconds(before->fitness) > 0 && moving_seconds(after->fitness) > 0)
        status = check_value(&to, "excitation", "the share of time in motion", " %",
                             100 * moving_seconds(before->fitness) / seconds(was),
                             100 * moving_seconds(after->fitness) / seconds(is), 0.2,
                             "run the same motion on both sides, or cut both to it with --span");
    if (status == QUELL_OK && was->axes != is->axes)
        status =
            quell_findings_add(findings, arena, "axes", QUELL_WARN, (double)is->axes, (double)was->axes,
                               "record the same axes on both sides",
                               "the before side has %zu axes and the after side %zu", was->axes, is->axes);
    if (status == QUELL_OK)
        status = check_mounting(&to, before->mounting, after->mounting);
    return status == QUELL_OK ? QUELL_OK : quell_fail(err, status, "out of memory for findings");
}

/* "a sweep", "random motion", ... */
static const char *kind_words(quell_excitation kind)
{
    static const char *const words[] = {[QUELL_EXCITE_SWEEP] = "a sweep",
                                        [QUELL_EXCITE_RANDOM] = "random motion",
                                        [QUELL_EXCITE_STOPS] = "strokes with stops",
                                        [QUELL_EXCITE_AMBIENT] = "what is there without motion"};
    return words[kind];
}

/* What a sweep runs over; false if that is not known. */
static bool sweep_range(const quell_shaking *shaking, double range_hz[2])
{
    const quell_sweep *sweep = shaking->sweep_known ? &shaking->sweep : &shaking->seen;
    range_hz[0] = fmin(sweep->start_hz, sweep->end_hz);
    range_hz[1] = fmax(sweep->start_hz, sweep->end_hz);
    return range_hz[0] > 0;
}

quell_status quell_shaking_differ(const quell_shaking *before, const quell_shaking *after, quell_arena *arena,
                                  quell_findings *findings, quell_error *err)
{
    static const char *const remedy =
        "run the same motion on both sides: otherwise levels differ for that alone";
    const double limit = 0.1;
    double was[2], is[2];
    quell_status status = QUELL_OK;
    if (before->kind != after->kind)
        status = quell_findings_add(findings, arena, "excitation", QUELL_WARN, NAN, NAN, remedy,
                                    "the machine was shaken by %s before and by %s after",
                                    kind_words(before->kind), kind_words(after->kind));
    else if (before->kind == QUELL_EXCITE_SWEEP && sweep_range(before, was) && sweep_range(after, is)) {
        double off =
            fmax(fabs(is[0] - was[0]) / fmax(is[0], was[0]), fabs(is[1] - was[1]) / fmax(is[1], was[1]));
        if (off > limit)
            status =
                quell_findings_add(findings, arena, "excitation", QUELL_WARN, off, limit, remedy,
                                   "the sweep ran from %.0f to %.0f Hz before and from %.0f to %.0f Hz after",
                                   was[0], was[1], is[0], is[1]);
    }
    return status == QUELL_OK ? QUELL_OK : quell_fail(err, status, "out of memory for findings");
}
