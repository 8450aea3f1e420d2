/* Did the machine run the sweep that was planned? Density times the segments that it is the mean of is energy: that of the
   recording, with what the modes make of it taken off, is held against the plan's. */
#include "modes_private.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#define BELOW 0.6    /* of the lowest mode's frequency: the machine moves as one there */
#define FROM 1.1     /* of the sweep's start ... */
#define TO 0.9       /* ... and of its end: within, the input is flat */
#define REACHED 0.25 /* of the energy: 6 dB */
#define OFF_MOST 0.1 /* 10 % */

#define STANDS_OUT 2.0 /* of the energy: 3 dB, a mode that was not found */

enum { LEAST_BINS = 5, LINE_BINS = 10, SMOOTHED = 2 /* bins to either side */ };

typedef struct comparison {
    double bin_hz;
    size_t low, high; /* bins of the plan's range, both inclusive */
    double *ratio;    /* recorded energy over what 1 m/s2 would leave, by bin */
    double *work;
} comparison;

/* The modes that the driven axis itself shows; those that were found and left out are there all the same. */
static size_t modes_along(const quell_modes *modes, size_t axis, quell_mode out[2 * QUELL_MODES_MAX])
{
    size_t count = 0;
    for (size_t k = 0; k < modes->count + modes->left_out; k++) {
        const quell_mode *mode = k < modes->count ? &modes->mode[k] : &modes->left_out_mode[k - modes->count];
        if (isfinite(mode->participation) && mode->seen_on == axis)
            out[count++] = *mode;
    }
    return count;
}

static double median(const comparison *of, size_t from, size_t to)
{
    size_t count = 0;
    for (size_t k = from; k <= to; k++)
        of->work[count++] = of->ratio[k];
    gsl_sort(of->work, 1, count);
    return of->work[count / 2];
}

static size_t bin_at(const comparison *of, double hz, double (*rounded)(double))
{
    return (size_t)fmax(fmin(rounded(hz / of->bin_hz), (double)of->high), (double)of->low);
}

/* A mode that is not fitted, near the sweep's end or above it, has all of the sweep on its flank: the acceleration that it
   shows is that at r = 0, as 1/|H| = 1 - r^2 below it falls from there. A straight line in f^2; 0 where nothing falls, or part
   of the range was not swept. */
static double energy_at_rest(const comparison *of, size_t from, size_t to)
{
    double mean_x = 0, mean_y = 0, xy = 0, xx = 0, count = (double)(to - from + 1), typical = median(of, from, to);
    for (int pass = 0; pass < 2; pass++)
        for (size_t k = from; k <= to; k++) {
            size_t low = k > from + SMOOTHED ? k - SMOOTHED : from, high = k + SMOOTHED < to ? k + SMOOTHED : to;
            double x = (double)k * (double)k, y = median(of, low, high);
            if (!(y > REACHED * typical))
                return 0;
            y = 1 / sqrt(y);
            if (pass == 0) {
                mean_x += x / count;
                mean_y += y / count;
            } else {
                xy += (x - mean_x) * (y - mean_y);
                xx += (x - mean_x) * (x - mean_x);
            }
        }
    double at_rest = mean_y - xy / xx * mean_x;
    return xy < 0 ? 1 / (at_rest * at_rest) : 0;
}

/* Energy per (m/s2)^2 of planned acceleration, far below the lowest mode, fitted or not; or, if hardly anything lies there,
   all over. */
static double energy(const comparison *of, const quell_sweep *plan, const quell_mode *mode, size_t modes)
{
    double lowest_hz = HUGE_VAL, most = 0;
    size_t from = bin_at(of, FROM * plan->start_hz, ceil), all = bin_at(of, TO * plan->end_hz, floor), top = of->high;
    if (from > all)
        return median(of, of->low, of->high);
    for (size_t k = 0; k < modes; k++)
        lowest_hz = fmin(lowest_hz, mode[k].frequency_hz);
    double typical = median(of, from, all);
    for (size_t k = from; k + SMOOTHED <= of->high; k++) {
        double here = median(of, k > from + SMOOTHED ? k - SMOOTHED : from, k + SMOOTHED);
        if (here > most) {
            most = here;
            top = k;
        }
    }
    if (most > STANDS_OUT * typical)
        lowest_hz = fmin(lowest_hz, (double)top * of->bin_hz);
    size_t below = (size_t)fmin(floor(BELOW * lowest_hz / of->bin_hz), (double)all);
    if (below < from + LEAST_BINS - 1)
        return typical;
    double at_rest = below >= from + LINE_BINS - 1 ? energy_at_rest(of, from, below) : 0;
    return at_rest > 0 ? at_rest : median(of, from, below);
}

/* The longest run of bins that have what they should, up to what was left out by a mode not found. */
static void find_reach(const comparison *of, double level, const quell_sweep *plan, double reached_hz[2])
{
    size_t best_from = 0, best_count = 0, count = 0;
    for (size_t k = of->low; k <= of->high; k++) {
        size_t from = k > of->low + SMOOTHED ? k - SMOOTHED : of->low;
        size_t to = k + SMOOTHED < of->high ? k + SMOOTHED : of->high;
        count = median(of, from, to) >= REACHED * level ? count + 1 : 0;
        if (count > best_count) {
            best_count = count;
            best_from = k + 1 - count;
        }
    }
    if (best_count == 0)
        return;
    size_t last = best_from + best_count - 1;
    reached_hz[0] = best_from == of->low ? plan->start_hz : (double)best_from * of->bin_hz;
    reached_hz[1] = last == of->high ? plan->end_hz : (double)last * of->bin_hz;
}

/* Ratios of the energies; a plan of 1 m/s2. */
static quell_status compare(comparison *of, const quell_spectrum *spectrum, size_t axis,
                            const quell_mode *mode, size_t modes, const quell_shaking *shaking,
                            quell_error *err)
{
    quell_shaking unit = *shaking;
    unit.sweep.acceleration_mps2 = 1;
    double samples = quell_sweep_samples(shaking, spectrum->rate_hz), hop = (double)spectrum->hop;
    double segments = floor((samples - (double)spectrum->segment) / hop) + 1;
    quell_status status = quell_sweep_density(&unit, spectrum, of->ratio, err);
    for (size_t k = of->low; status == QUELL_OK && k <= of->high; k++) {
        double h = cabs(quell_response(mode, modes, (double)k * spectrum->bin_hz));
        double planned = of->ratio[k] * segments * h * h;
        double recorded = spectrum->asd_m2ps3[axis][k] * (double)spectrum->segments;
        of->ratio[k] = planned > 0 ? recorded / planned : 0;
    }
    return status;
}

quell_status quell_sweep_verify(quell_sweep_check *out, const quell_spectrum *spectrum, size_t axis,
                                const quell_modes *modes, const quell_shaking *shaking, quell_error *err)
{
    const double unknown = (double)NAN;
    const quell_sweep *plan = &shaking->sweep;
    quell_sweep_check made = {unknown, unknown, {unknown, unknown}, unknown, false};
    quell_mode mode[2 * QUELL_MODES_MAX];
    size_t count = modes_along(modes, axis, mode);
    double top_hz = (double)(spectrum->bins - 1) * spectrum->bin_hz;
    if (!shaking->sweep_known || axis >= spectrum->axes || !(plan->start_hz < top_hz))
        return quell_fail(err, QUELL_E_USAGE, "the sweep is not known, or beyond the spectrum's %s Hz",
                          quell_number_short(top_hz, 4).text);
    double *room = quell_memory_get(2 * spectrum->bins * sizeof *room);
    if (room == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for checking the sweep");
    comparison of = {.bin_hz = spectrum->bin_hz,
                     .low = (size_t)ceil(plan->start_hz / spectrum->bin_hz),
                     .high = (size_t)fmin(floor(plan->end_hz / spectrum->bin_hz), (double)spectrum->bins - 1),
                     .ratio = room,
                     .work = room + spectrum->bins};
    quell_status status = compare(&of, spectrum, axis, mode, count, shaking, err);
    if (status == QUELL_OK && of.low <= of.high) {
        double level = energy(&of, plan, mode, count);
        made.recorded_mps2 = sqrt(level);
        made.planned_mps2 = shaking->acceleration_known ? plan->acceleration_mps2 : unknown;
        made.rise = sqrt(median(&of, bin_at(&of, TO * plan->end_hz, ceil), of.high) / level);
        find_reach(&of, level, plan, made.reached_hz);
        made.ran = made.reached_hz[0] <= (1 + OFF_MOST) * plan->start_hz &&
                   made.reached_hz[1] >= (1 - OFF_MOST) * plan->end_hz &&
                   !(fabs(made.recorded_mps2 / made.planned_mps2 - 1) > OFF_MOST);
    }
    quell_memory_free(room);
    if (status == QUELL_OK)
        *out = made;
    return status;
}
