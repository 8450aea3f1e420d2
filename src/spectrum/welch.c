/* Welch's estimate as a streaming accumulator: memory is one segment an axis, whatever the recording's
   length. */
#include "spectrum/spectrum_private.h"

#include <math.h>
#include <string.h>

struct quell_welch {
    size_t axes, segment, hop, bins;
    const quell_window *kind;
    bool cross;
    quell_fourier *fourier;
    double *window;       /* segment values */
    double *held[3];      /* the last `filled` samples of each axis, room for one segment */
    size_t filled, taken; /* taken: samples added so far, for messages */
    double *power[3];     /* sum over segments of |X|^2 */
    double complex *transform[3];
    double complex *product[3][3]; /* sum of conj(X_i) X_j, i < j; NULL unless asked for */
    size_t segments;
};

size_t quell_welch_segment(double rate_hz, size_t samples, double zeta_f_hz)
{
    double seconds = zeta_f_hz > 0 ? 4 / (2 * zeta_f_hz) : 2;
    seconds = fmin(fmax(seconds, 1), 2);
    double wanted = fmin(seconds * rate_hz, (double)samples / 6);
    if (!(wanted >= SEGMENT_MIN))
        return SEGMENT_MIN;
    /* the next even length below that has only the factors 2, 3 and 5: the transform is fast there */
    for (size_t length = (size_t)fmin(wanted, SEGMENT_MAX) / 2 * 2; length > SEGMENT_MIN; length -= 2) {
        size_t rest = length;
        for (size_t factor = 2; factor <= 5; factor++)
            while (rest % factor == 0)
                rest /= factor;
        if (rest == 1)
            return length;
    }
    return SEGMENT_MIN;
}

static quell_status check_options(size_t axes, const quell_welch_options *options, quell_error *err)
{
    if (axes < 1 || axes > 3)
        return quell_fail(err, QUELL_E_USAGE, "found %zu axes, want 1 to 3", axes);
    if (options->segment < SEGMENT_MIN || options->segment > SEGMENT_MAX)
        return quell_fail(err, QUELL_E_USAGE, "segment is %zu samples, want %d to %d", options->segment,
                          SEGMENT_MIN, SEGMENT_MAX);
    if (!(options->overlap <= 0.95)) {
        char number[32];
        return quell_fail(err, QUELL_E_USAGE, "overlap is %s of a segment, want 0 to 0.95",
                          quell_number_print(number, sizeof number, options->overlap, 6));
    }
    return QUELL_OK;
}

static double *cleared(size_t doubles)
{
    double *block = quell_memory_get(doubles * sizeof(double));
    if (block != NULL)
        memset(block, 0, doubles * sizeof(double));
    return block;
}

/* False if memory is out; what was got is in *welch for quell_welch_destroy. */
static bool get_buffers(quell_welch *welch)
{
    welch->fourier = quell_fourier_create(welch->segment);
    welch->window = cleared(welch->segment);
    bool got = welch->fourier != NULL && welch->window != NULL;
    for (size_t i = 0; i < welch->axes && got; i++) {
        welch->held[i] = cleared(welch->segment);
        welch->power[i] = cleared(welch->bins);
        got = welch->held[i] != NULL && welch->power[i] != NULL;
        if (got && welch->cross) {
            welch->transform[i] = (double complex *)(void *)cleared(2 * welch->bins);
            got = welch->transform[i] != NULL;
        }
        for (size_t j = i + 1; j < welch->axes && got && welch->cross; j++) {
            welch->product[i][j] = (double complex *)(void *)cleared(2 * welch->bins);
            got = welch->product[i][j] != NULL;
        }
    }
    return got;
}

quell_status quell_welch_create(quell_welch **out, size_t axes, const quell_welch_options *options,
                                quell_error *err)
{
    quell_status status = check_options(axes, options, err);
    if (status != QUELL_OK)
        return status;
    quell_welch *welch = quell_memory_get(sizeof *welch);
    if (welch == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a spectrum");
    double overlap = options->overlap < 0 ? 0.75 : options->overlap;
    size_t kept = (size_t)(overlap * (double)options->segment + 0.5);
    *welch = (quell_welch){.axes = axes, .segment = options->segment, .bins = options->segment / 2 + 1};
    welch->hop = options->segment - kept;
    welch->kind = options->window != NULL ? options->window : quell_window_find("hann");
    welch->cross = options->cross && axes > 1;
    if (!get_buffers(welch)) {
        quell_welch_destroy(welch);
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for segments of %zu samples", options->segment);
    }
    quell_window_fill(welch->kind, welch->window, welch->segment);
    *out = welch;
    return QUELL_OK;
}

void quell_welch_destroy(quell_welch *welch)
{
    if (welch == NULL)
        return;
    for (size_t i = 0; i < 3; i++) {
        quell_memory_free(welch->held[i]);
        quell_memory_free(welch->power[i]);
        quell_memory_free(welch->transform[i]);
        for (size_t j = i + 1; j < 3; j++)
            quell_memory_free(welch->product[i][j]);
    }
    quell_memory_free(welch->window);
    quell_fourier_destroy(welch->fourier);
    quell_memory_free(welch);
}

static void add_power(double *power, const double complex *x, size_t bins)
{
    for (size_t k = 0; k < bins; k++)
        power[k] += creal(x[k]) * creal(x[k]) + cimag(x[k]) * cimag(x[k]);
}

/* sum += conj(x) y, written out: complex multiplication in C also looks after infinities, which cannot
   occur. */
static void add_product(double complex *sum, const double complex *x, const double complex *y, size_t bins)
{
    double *part = (double *)sum; /* real and imaginary parts in turn, as the C standard lays them out */
    for (size_t k = 0; k < bins; k++) {
        double a = creal(x[k]), b = cimag(x[k]), c = creal(y[k]), d = cimag(y[k]);
        part[2 * k] += a * c + b * d;
        part[2 * k + 1] += a * d - b * c;
    }
}

/* The held samples make one segment: transform, add up, keep what the next segment shares with it. */
static void take_segment(quell_welch *welch)
{
    for (size_t i = 0; i < welch->axes; i++) {
        const double complex *x = quell_segment_transform(welch->fourier, welch->held[i], welch->window,
                                                          welch->segment, QUELL_DETREND_MEAN);
        add_power(welch->power[i], x, welch->bins);
        if (welch->cross)
            memcpy(welch->transform[i], x, welch->bins * sizeof *x);
        memmove(welch->held[i], welch->held[i] + welch->hop, (welch->segment - welch->hop) * sizeof(double));
    }
    for (size_t i = 0; i < welch->axes && welch->cross; i++)
        for (size_t j = i + 1; j < welch->axes; j++)
            add_product(welch->product[i][j], welch->transform[i], welch->transform[j], welch->bins);
    welch->filled -= welch->hop;
    welch->segments++;
}

static quell_status check_samples(const quell_welch *welch, const double *const *accel_mps2, size_t n,
                                  quell_error *err)
{
    for (size_t i = 0; i < welch->axes; i++)
        for (size_t k = 0; k < n; k++)
            if (!isfinite(accel_mps2[i][k])) {
                quell_fail(err, QUELL_E_DATA, "sample %zu is not a finite number", welch->taken + k + 1);
                if (err != NULL)
                    err->axis = "xyz"[i];
                return QUELL_E_DATA;
            }
    return QUELL_OK;
}

quell_status quell_welch_add(quell_welch *welch, const double *const *accel_mps2, size_t n, quell_error *err)
{
    quell_status status = check_samples(welch, accel_mps2, n, err);
    if (status != QUELL_OK)
        return status;
    for (size_t at = 0; at < n;) {
        size_t room = welch->segment - welch->filled;
        size_t part = n - at < room ? n - at : room;
        for (size_t i = 0; i < welch->axes; i++)
            memcpy(welch->held[i] + welch->filled, accel_mps2[i] + at, part * sizeof(double));
        welch->filled += part;
        at += part;
        if (welch->filled == welch->segment)
            take_segment(welch);
    }
    welch->taken += n;
    return QUELL_OK;
}

void quell_welch_break(quell_welch *welch)
{
    welch->filled = 0;
}

static double power_sum(const double *window, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += window[i] * window[i];
    return sum;
}

static bool get_arrays(const quell_welch *welch, quell_arena *arena, quell_spectrum *out)
{
    bool got = true;
    for (size_t i = 0; i < welch->axes && got; i++) {
        got = (out->asd_m2ps3[i] = QUELL_NEW(arena, double, welch->bins)) != NULL;
        for (size_t j = i + 1; j < welch->axes && got && welch->cross; j++)
            got = (out->cross_m2ps3[i][j] = QUELL_NEW(arena, double complex, welch->bins)) != NULL;
    }
    return got;
}

quell_status quell_welch_finish(const quell_welch *welch, double rate_hz, quell_arena *arena,
                                quell_spectrum *out, quell_error *err)
{
    if (!(rate_hz > 0) || !isfinite(rate_hz)) {
        char number[32];
        return quell_fail(err, QUELL_E_USAGE, "rate is %s Hz, want > 0",
                          quell_number_print(number, sizeof number, rate_hz, 6));
    }
    if (welch->segments == 0)
        return quell_fail(err, QUELL_E_DATA,
                          "found %zu samples without a gap, want at least one segment of %zu", welch->filled,
                          welch->segment);
    quell_spectrum made = {
        .axes = welch->axes, .bins = welch->bins, .rate_hz = rate_hz, .window = welch->kind};
    if (!get_arrays(welch, arena, &made))
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a spectrum of %zu bins", welch->bins);
    made.bin_hz = rate_hz / (double)welch->segment;
    made.enbw_hz = quell_window_enbw_bins(welch->window, welch->segment) * made.bin_hz;
    made.segment = welch->segment;
    made.hop = welch->hop;
    made.segments = welch->segments;
    made.dof = quell_welch_dof(welch->window, welch->segment, welch->hop, welch->segments);
    quell_chi2_factors(made.dof, made.ci95_factor);
    quell_welch_bin_correlation(welch->window, welch->segment, welch->hop, welch->segments,
                                made.bin_correlation);
    double scale = 1 / (rate_hz * power_sum(welch->window, welch->segment) * (double)welch->segments);
    for (size_t k = 0; k < welch->bins; k++) {
        double factor = scale * quell_bin_sides(k, welch->segment);
        for (size_t i = 0; i < welch->axes; i++) {
            made.asd_m2ps3[i][k] = welch->power[i][k] * factor;
            for (size_t j = i + 1; j < welch->axes && welch->cross; j++)
                made.cross_m2ps3[i][j][k] = welch->product[i][j][k] * factor;
        }
    }
    *out = made;
    return QUELL_OK;
}

quell_status quell_spectrum_estimate(const double *const *accel_mps2, size_t axes, size_t n, double rate_hz,
                                     const size_t *break_at, size_t break_count,
                                     const quell_welch_options *options, quell_arena *arena,
                                     quell_spectrum *out, quell_error *err)
{
    quell_welch_options chosen = *options;
    if (chosen.segment == 0)
        chosen.segment = quell_welch_segment(rate_hz, n, 0);
    quell_welch *welch = NULL;
    quell_status status = quell_welch_create(&welch, axes, &chosen, err);
    for (size_t b = 0, at = 0; b <= break_count && status == QUELL_OK; b++) {
        size_t end = b < break_count && break_at[b] < n ? break_at[b] : n;
        if (end < at)
            continue;
        const double *part[3] = {0};
        for (size_t i = 0; i < axes; i++)
            part[i] = accel_mps2[i] + at;
        status = quell_welch_add(welch, part, end - at, err);
        quell_welch_break(welch);
        at = end;
    }
    if (status == QUELL_OK && welch->segments == 0)
        status = quell_fail(err, QUELL_E_DATA, "found %zu samples, want at least one unbroken segment of %zu",
                            n, chosen.segment);
    if (status == QUELL_OK)
        status = quell_welch_finish(welch, rate_hz, arena, out, err);
    quell_welch_destroy(welch);
    return status;
}
