/* spectrum: published input and expected output of other programs' own tests, through quell's segment
   transform; and series with spectra that Octave and R computed. The files stay outside the project; without
   them this passes over. */
#include "suites.h"

#include "spectrum/spectrum_private.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LONGEST = 1024 };

/* A spectrum by quell's building blocks, with what the public interface does not offer: short segments, any
   window samples, padding, no or linear detrending, two sides. */
typedef struct recipe {
    size_t segment, hop, length;
    double window[LONGEST];
    double rate_hz;
    quell_detrend detrend;
    bool two_sides, power_not_density;
} recipe;

static size_t compute(const recipe *how, const double *x, size_t n, double *out)
{
    quell_fourier *fourier = quell_fourier_create(how->length);
    ck_assert_ptr_nonnull(fourier);
    size_t bins = how->two_sides ? how->length : how->length / 2 + 1, segments = 0;
    double squares = 0, sum = 0;
    for (size_t k = 0; k < how->segment; k++) {
        squares += how->window[k] * how->window[k];
        sum += how->window[k];
    }
    memset(out, 0, bins * sizeof *out);
    for (size_t at = 0; at + how->segment <= n; at += how->hop, segments++) {
        const double complex *transform =
            quell_segment_transform(fourier, x + at, how->window, how->segment, how->detrend);
        for (size_t k = 0; k < bins; k++) {
            size_t bin = 2 * k > how->length ? how->length - k : k;
            double power =
                creal(transform[bin]) * creal(transform[bin]) + cimag(transform[bin]) * cimag(transform[bin]);
            out[k] += power * (how->two_sides ? 1 : quell_bin_sides(bin, how->length));
        }
    }
    for (size_t k = 0; k < bins; k++)
        out[k] /= (double)segments * (how->power_not_density ? sum * sum : how->rate_hz * squares);
    quell_fourier_destroy(fourier);
    return bins;
}

/* Window samples by the file's name for them; "symmetric" ones have one sample more than they use. */
static void fill_window(const char *name, double *out, size_t n)
{
    static const struct {
        const char *name, *id;
        bool symmetric;
    } rows[] = {{"hann_periodic", "hann", false},
                {"hamming_symmetric", "hamming", true},
                {"boxcar", "rectangular", false}};
    if (strcmp(name, "bartlett_symmetric") == 0) {
        for (size_t k = 0; k < n; k++)
            out[k] = 1 - fabs(2 * (double)k / (double)(n - 1) - 1);
        return;
    }
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (strcmp(name, rows[i].name) == 0) {
            quell_window_fill(quell_window_find(rows[i].id), out, rows[i].symmetric ? n - 1 : n);
            if (rows[i].symmetric)
                out[n - 1] = out[0];
            return;
        }
    ck_abort_msg("window %s", name);
}

static const char *text(json_t *row, const char *key)
{
    const char *value = json_string_value(json_object_get(row, key));
    ck_assert_msg(value != NULL, "no text %s", key);
    return value;
}

static size_t count(json_t *row, const char *key)
{
    json_t *value = json_object_get(row, key);
    ck_assert_msg(json_is_number(value), "no number %s", key);
    return (size_t)json_number_value(value);
}

static size_t series(json_t *row, const char *key, double *out)
{
    json_t *list = json_object_get(row, key);
    size_t n = json_array_size(list);
    ck_assert_msg(n > 0 && n <= LONGEST, "%s has %zu values", key, n);
    for (size_t i = 0; i < n; i++)
        out[i] = json_number_value(json_array_get(list, i));
    return n;
}

static void check_row(json_t *row)
{
    static double x[LONGEST], expected[LONGEST], got[LONGEST];
    static const struct {
        const char *name;
        quell_detrend detrend;
    } detrends[] = {
        {"none", QUELL_DETREND_NONE}, {"constant", QUELL_DETREND_MEAN}, {"linear", QUELL_DETREND_LINE}};
    recipe how = {.segment = count(row, "nperseg"), .length = count(row, "nfft")};
    how.hop = how.segment - count(row, "noverlap");
    how.rate_hz = json_number_value(json_object_get(row, "fs"));
    how.two_sides = strcmp(text(row, "sides"), "two") == 0;
    how.power_not_density = strcmp(text(row, "scaling"), "spectrum") == 0;
    bool known = false;
    for (size_t i = 0; i < 3; i++)
        if (strcmp(text(row, "detrend"), detrends[i].name) == 0) {
            how.detrend = detrends[i].detrend;
            known = true;
        }
    ck_assert_msg(known, "detrend %s", text(row, "detrend"));
    fill_window(text(row, "window"), how.window, how.segment);
    size_t n = series(row, "x", x), wanted = series(row, "expected", expected);
    ck_assert_uint_eq(compute(&how, x, n, got), wanted);
    double rtol = json_number_value(json_object_get(row, "rtol")), largest = 0, mean_square = 0;
    for (size_t k = 0; k < wanted; k++)
        largest = fmax(largest, fabs(expected[k]));
    for (size_t k = 0; k < n; k++)
        mean_square += x[k] * x[k] / (double)n;
    /* SciPy's values are printed to 8 decimals; a wanted 0 is met to the rounding of what was taken off */
    double printed = strncmp(text(row, "id"), "scipy", 5) == 0 ? 5e-9 : 0;
    double zero = fmax(1e-14 * largest, 1e-28 * mean_square);
    for (size_t k = 0; k < wanted; k++) {
        double tolerance = expected[k] == 0 ? zero : rtol * fabs(expected[k]) + printed;
        ck_assert_msg(fabs(got[k] - expected[k]) <= tolerance, "%s, bin %zu: got %.17g, want %.17g",
                      text(row, "id"), k, got[k], expected[k]);
    }
}

static FILE *open_published(const char *name)
{
    const char *folder = test_recordings_folder();
    if (folder == NULL)
        return NULL;
    char path[1024];
    snprintf(path, sizeof path, "%s/published/%s", folder, name);
    FILE *file = fopen(path, "r");
    if (file == NULL)
        fprintf(stderr, "skipped: no %s\n", path);
    return file;
}

/* SciPy (BSD-3) and DSP.jl (MIT; values from MATLAB): each row names its source. */
START_TEST(seventeen_published_vectors)
{
    FILE *file = open_published("psd_vectors.json");
    if (file == NULL)
        return;
    json_t *rows = json_loadf(file, 0, NULL);
    fclose(file);
    ck_assert_uint_eq(json_array_size(rows), 17);
    for (size_t i = 0; i < json_array_size(rows); i++)
        check_row(json_array_get(rows, i));
    json_decref(rows);
}
END_TEST

/* Numbers of a text file from the line after `after` on, the columns of a line split by commas; per line,
   the last. */
static size_t last_column(FILE *file, const char *after, double *out)
{
    char line[256];
    size_t n = 0;
    bool started = after == NULL;
    while (fgets(line, sizeof line, file) != NULL && n < LONGEST) {
        if (!started) {
            started = strncmp(line, after, strlen(after)) == 0;
            continue;
        }
        char *comma = strrchr(line, ',');
        char *at = comma != NULL ? comma + 1 : line, *end;
        double value = strtod(at, &end);
        if (end != at)
            out[n++] = value;
    }
    fclose(file);
    return n;
}

static void check_series(const char *name, const char *after, const char *reference,
                         const char *reference_after, recipe *how, double factor, size_t first_bin)
{
    static double x[LONGEST], expected[LONGEST], got[LONGEST];
    FILE *file = open_published(name), *other = file != NULL ? open_published(reference) : NULL;
    if (file == NULL || other == NULL) {
        if (file != NULL)
            fclose(file);
        return;
    }
    size_t n = last_column(file, after, x), wanted = last_column(other, reference_after, expected);
    double mean = 0;
    for (size_t i = 0; i < n; i++)
        mean += x[i] / (double)n;
    for (size_t i = 0; i < n; i++)
        x[i] -= mean; /* both programs took off the mean of the whole series */
    if (how->segment == 0) {
        how->segment = how->length = how->hop = n;
        fill_window("boxcar", how->window, n);
    }
    size_t bins = compute(how, x, n, got);
    ck_assert_uint_eq(bins - first_bin, wanted);
    for (size_t k = 0; k < wanted; k++)
        ck_assert_msg(fabs(factor * got[k + first_bin] / expected[k] - 1) < 1e-12, "%s, row %zu", reference,
                      k);
}

/* NIST's beam deflections by Octave 7.3 (Hann, periodic, 64, half overlapping). */
START_TEST(beam_deflections_as_octave_has_them)
{
    recipe how = {.segment = 64, .hop = 32, .length = 64, .rate_hz = 1};
    fill_window("hann_periodic", how.window, 64);
    check_series("NIST_LEW.DAT", "----------", "xref_octave_pwelch_LEW_hannper64_ov50_mean0.csv", NULL, &how,
                 1, 0);
}
END_TEST

/* Yearly sunspots by Octave 7.3 (Hamming, symmetric, 128, half overlapping) and by R 4.2 (whole series, no
   window; R's value is half the one-sided density and has no 0 Hz). */
START_TEST(sunspots_as_octave_and_r_have_them)
{
    recipe how = {.segment = 128, .hop = 64, .length = 128, .rate_hz = 1};
    fill_window("hamming_symmetric", how.window, 128);
    check_series("series_R_sunspot_year.txt", NULL,
                 "xref_octave_pwelch_sunspotyear_hamming128_ov50_mean0.csv", NULL, &how, 1, 0);
    recipe whole = {.rate_hz = 1};
    check_series("series_R_sunspot_year.txt", NULL, "xref_R_specpgram_sunspotyear_demean_taper0_fastF.csv",
                 "freq", &whole, 0.5, 1);
}
END_TEST

Suite *suite_spectrum_vectors(void)
{
    Suite *suite = suite_create("spectrum_vectors");
    TCase *cases = tcase_create("spectrum_vectors");
    tcase_add_test(cases, seventeen_published_vectors);
    tcase_add_test(cases, beam_deflections_as_octave_has_them);
    tcase_add_test(cases, sunspots_as_octave_and_r_have_them);
    suite_add_tcase(suite, cases);
    return suite;
}
