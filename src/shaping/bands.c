/* Residual vibration over bands of natural frequency and damping ratio.

   For one damping ratio, exp((zeta (t_i - t_n) + j sqrt(1 - zeta^2) t_i) w) at evenly spaced w is a geometric sequence, so a
   row of values costs two complex exponentials an impulse and then one product each. */
#include "shaping/tailor_private.h"

#include <math.h>

enum { LEAST_POINTS = 61, MOST_POINTS = 2000, POINTS_A_TURN = 16, DAMPINGS = 3 };

/* The products are written out: the C library's complex product also minds infinities, which cannot occur here. */
typedef struct turning {
    double re, im, step_re, step_im;
} turning;

static void start_turning(turning *out, double amplitude, double rate, double phase, double w, double dw)
{
    double size = amplitude * exp(rate * w), step = exp(rate * dw);
    *out = (turning){size * cos(phase * w), size * sin(phase * w), step * cos(phase * dw), step * sin(phase * dw)};
}

size_t band_points(const quell_band *band, double duration_s)
{
    double turns = (band->hz[1] - band->hz[0]) * duration_s;
    return (size_t)fmin(fmax(POINTS_A_TURN * turns, LEAST_POINTS), MOST_POINTS);
}

/* V^2 at count frequencies from end to end of a band, at one damping ratio. */
static void residual_row(const quell_shaper *shaper, const double hz[2], double zeta, size_t count, double *squared)
{
    turning impulse[QUELL_SHAPER_MAX];
    double last_s = shaper->time_s[shaper->count - 1], turn = sqrt(1 - zeta * zeta);
    double w = QUELL_TAU * hz[0], dw = QUELL_TAU * (hz[1] - hz[0]) / (double)(count - 1);
    for (size_t i = 0; i < shaper->count; i++)
        start_turning(&impulse[i], shaper->amplitude[i], zeta * (shaper->time_s[i] - last_s), turn * shaper->time_s[i], w,
                      dw);
    for (size_t j = 0; j < count; j++) {
        double re = 0, im = 0;
        for (size_t i = 0; i < shaper->count; i++) {
            turning *at = &impulse[i];
            re += at->re;
            im += at->im;
            double next = at->re * at->step_re - at->im * at->step_im;
            at->im = at->re * at->step_im + at->im * at->step_re;
            at->re = next;
        }
        squared[j] = re * re + im * im;
    }
}

/* The top of the parabola through three evenly spaced values, the middle one the largest; *place: in steps from it. */
static double parabola_top(double before, double middle, double after, double *place)
{
    double bend = before - 2 * middle + after, slope = (after - before) / 2;
    *place = bend < 0 ? -slope / bend : 0;
    return bend < 0 ? middle - slope * slope / (2 * bend) : middle;
}

void band_scan(const quell_band *band, const quell_shaper *shaper, const quell_shaper *with,
               void (*peak)(void *, const band_peak *), void *into, double range[2])
{
    double squared[MOST_POINTS], other[MOST_POINTS], low = HUGE_VAL, high = 0;
    double more_s = with != NULL ? with->time_s[with->count - 1] : 0;
    size_t count = band_points(band, shaper->time_s[shaper->count - 1] + more_s);
    const double *ends = band->damping_ratio, zeta[DAMPINGS] = {ends[0], (ends[0] + ends[1]) / 2, ends[1]};
    double step_hz = (band->hz[1] - band->hz[0]) / (double)(count - 1);
    for (size_t z = 0; z < DAMPINGS; z++) {
        if (z > 0 && zeta[z] == zeta[z - 1])
            continue;
        residual_row(shaper, band->hz, zeta[z], count, squared);
        if (with != NULL) {
            residual_row(with, band->hz, zeta[z], count, other);
            for (size_t j = 0; j < count; j++)
                squared[j] *= other[j];
        }
        for (size_t j = 0; j < count; j++) {
            bool first = j == 0, last = j + 1 == count;
            low = fmin(low, squared[j]);
            high = fmax(high, squared[j]);
            if (!((first || squared[j] >= squared[j - 1]) && (last || squared[j] > squared[j + 1])))
                continue;
            double place = 0, top = sqrt(squared[j]);
            if (!first && !last)
                top = parabola_top(sqrt(squared[j - 1]), top, sqrt(squared[j + 1]), &place);
            high = fmax(high, top * top);
            if (peak != NULL)
                peak(into, &(band_peak){band->hz[0] + step_hz * ((double)j + place), zeta[z], top});
        }
    }
    range[0] = sqrt(low);
    range[1] = sqrt(high);
}

double quell_band_residual(const quell_band *band, const quell_shaper *shaper, double *least)
{
    double range[2];
    band_scan(band, shaper, NULL, NULL, NULL, range);
    if (least != NULL)
        *least = range[0];
    return range[1];
}

double quell_bands_residual(const quell_bands *bands, const quell_shaper *shaper)
{
    double total = 0;
    for (size_t k = 0; k < bands->count; k++) {
        double worst = quell_band_residual(&bands->band[k], shaper, NULL);
        total = bands->weighted ? total + bands->band[k].weight * worst : fmax(total, worst);
    }
    return total;
}

/* ---------------------------------------------------------------- are they fit to be designed for? */

static quell_status refuse(quell_error *err, size_t k, const char *what, double found, const char *wanted)
{
    char text[32];
    return quell_fail(err, QUELL_E_USAGE, "band %zu: %s is %s, want %s", k + 1, what,
                      isnan(found) ? "not a number" : quell_number_print(text, sizeof text, found, 6), wanted);
}

static quell_status check_band(const quell_band *band, size_t k, bool weighted, quell_error *err)
{
    const double *hz = band->hz, *zeta = band->damping_ratio;
    if (!(hz[0] >= QUELL_BAND_HZ_MIN && hz[0] <= QUELL_BAND_HZ_MAX))
        return refuse(err, k, "its low end in Hz", hz[0], "0.01 to 10000");
    if (!(hz[1] >= QUELL_BAND_HZ_MIN && hz[1] <= QUELL_BAND_HZ_MAX))
        return refuse(err, k, "its high end in Hz", hz[1], "0.01 to 10000");
    if (hz[1] < hz[0])
        return refuse(err, k, "its high end in Hz", hz[1], "no less than its low end");
    if (!(zeta[0] >= 0 && zeta[0] <= QUELL_DAMPING_RATIO_MAX))
        return refuse(err, k, "its low damping ratio", zeta[0], "0 to 0.3");
    if (!(zeta[1] >= 0 && zeta[1] <= QUELL_DAMPING_RATIO_MAX))
        return refuse(err, k, "its high damping ratio", zeta[1], "0 to 0.3");
    if (zeta[1] < zeta[0])
        return refuse(err, k, "its high damping ratio", zeta[1], "no less than its low one");
    if (weighted && !(band->weight >= 0 && band->weight <= 1))
        return refuse(err, k, "its weight", band->weight, "0 to 1");
    return QUELL_OK;
}

quell_status quell_bands_check(const quell_bands *bands, quell_error *err)
{
    double sum = 0, low_hz = HUGE_VAL, high_hz = 0;
    if (bands->count < 1 || bands->count > QUELL_TAILOR_BANDS_MAX)
        return quell_fail(err, QUELL_E_USAGE, "%zu bands, want 1 to %d", bands->count, QUELL_TAILOR_BANDS_MAX);
    for (size_t k = 0; k < bands->count; k++) {
        quell_status status = check_band(&bands->band[k], k, bands->weighted, err);
        if (status != QUELL_OK)
            return status;
        sum += bands->band[k].weight;
        low_hz = fmin(low_hz, bands->band[k].hz[0]);
        high_hz = fmax(high_hz, bands->band[k].hz[1]);
    }
    if (bands->weighted && !(fabs(sum - 1) <= 1e-6))
        return quell_fail(err, QUELL_E_USAGE, "the bands' weights sum to %g, want 1", sum);
    if (high_hz > QUELL_BAND_RATIO_MAX * low_hz)
        return quell_fail(err, QUELL_E_USAGE, "the bands reach from %g to %g Hz, want at most %g times the lowest", low_hz,
                          high_hz, QUELL_BAND_RATIO_MAX);
    return QUELL_OK;
}
