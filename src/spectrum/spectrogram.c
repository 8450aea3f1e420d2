/* Density over time: one slice a segment, evenly spread over the recording. */
#include "spectrum/spectrum_private.h"

#include <math.h>

static quell_status check(const double *accel_mps2, size_t n, double rate_hz, size_t segment, size_t slices,
                          quell_error *err)
{
    char number[32];
    if (segment < SEGMENT_MIN || segment > SEGMENT_MAX)
        return quell_fail(err, QUELL_E_USAGE, "segment is %zu samples, want %d to %d", segment, SEGMENT_MIN,
                          SEGMENT_MAX);
    if (!(rate_hz > 0 && isfinite(rate_hz)))
        return quell_fail(err, QUELL_E_USAGE, "rate is %s Hz, want > 0",
                          quell_number_print(number, sizeof number, rate_hz, 6));
    if (slices == 0)
        return quell_fail(err, QUELL_E_USAGE, "found 0 slices, want at least 1");
    if (n < segment)
        return quell_fail(err, QUELL_E_DATA, "found %zu samples, want at least one segment of %zu", n,
                          segment);
    for (size_t i = 0; i < n; i++)
        if (!isfinite(accel_mps2[i]))
            return quell_fail(err, QUELL_E_DATA, "sample %zu is not a finite number", i + 1);
    return QUELL_OK;
}

static bool straddles(size_t at, size_t segment, const size_t *break_at, size_t break_count)
{
    for (size_t b = 0; b < break_count; b++)
        if (break_at[b] > at && break_at[b] < at + segment)
            return true;
    return false;
}

static void fill_slice(quell_fourier *fourier, const double *samples, const double *window, size_t segment,
                       double scale, double *out)
{
    const double complex *x = quell_segment_transform(fourier, samples, window, segment, QUELL_DETREND_MEAN);
    for (size_t k = 0; k <= segment / 2; k++)
        out[k] =
            (creal(x[k]) * creal(x[k]) + cimag(x[k]) * cimag(x[k])) * scale * quell_bin_sides(k, segment);
}

quell_status quell_spectrogram_estimate(const double *accel_mps2, size_t n, double rate_hz,
                                        const size_t *break_at, size_t break_count,
                                        const quell_welch_options *options, size_t slices, quell_arena *arena,
                                        quell_spectrogram *out, quell_error *err)
{
    size_t segment = options->segment;
    quell_status status = check(accel_mps2, n, rate_hz, segment, slices, err);
    if (status != QUELL_OK)
        return status;
    size_t hop = slices > 1 ? (n - segment) / (slices - 1) : n;
    hop = hop > 0 ? hop : 1;
    quell_spectrogram made = {.slices = (n - segment) / hop + 1, .bins = segment / 2 + 1};
    made.slices = made.slices < slices ? made.slices : slices;
    made.bin_hz = rate_hz / (double)segment;
    made.start_s = (double)segment / 2 / rate_hz;
    made.step_s = (double)hop / rate_hz;
    made.asd_m2ps3 = QUELL_NEW(arena, double, made.slices *made.bins);
    quell_fourier *fourier = quell_fourier_create(segment);
    double *window = quell_memory_get(segment * sizeof *window), squares = 0;
    if (made.asd_m2ps3 == NULL || fourier == NULL || window == NULL) {
        status =
            quell_fail(err, QUELL_E_MEMORY, "out of memory for a spectrogram of %zu slices", made.slices);
        goto done;
    }
    quell_window_fill(options->window != NULL ? options->window : quell_window_find("hann"), window, segment);
    for (size_t i = 0; i < segment; i++)
        squares += window[i] * window[i];
    for (size_t s = 0; s < made.slices; s++) {
        double *slice = made.asd_m2ps3 + s * made.bins;
        if (!straddles(s * hop, segment, break_at, break_count))
            fill_slice(fourier, accel_mps2 + s * hop, window, segment, 1 / (rate_hz * squares), slice);
        else
            for (size_t k = 0; k < made.bins; k++)
                slice[k] = (double)NAN;
    }
    *out = made;
done:
    quell_memory_free(window);
    quell_fourier_destroy(fourier);
    return status;
}
