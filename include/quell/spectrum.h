/** \file spectrum.h — Welch estimates of the acceleration spectral density and of the cross-spectral matrix.

    One-sided densities in (m/s2)^2/Hz = m2/s3; the area under a density is the mean square (after the segments'
    means are removed). Source: P. D. Welch, IEEE Trans. Audio Electroacoust. 15(2), 1967. */
#ifndef QUELL_SPECTRUM_H
#define QUELL_SPECTRUM_H

#include "quell/base.h"

#include <complex.h>

/** A row of the window table. Periodic (DFT-even) cosine-sum windows: w[n] = sum_k a_k cos(2 pi k n / N) with the
    signs in the coefficients. Coefficients and sources: F. J. Harris, Proc. IEEE 66(1), 1978. */
typedef struct quell_window {
    const char *id;    /**< "hann", "hamming", "blackman-harris", "flat-top", "rectangular" */
    const char *title; /**< "Hann" */
    size_t terms;
    double coefficient[6];
} quell_window;

/** The table, *count rows of it. */
const quell_window *quell_windows(size_t *count);
const quell_window *quell_window_find(const char *id); /**< NULL if there is none */

/** Fills n (> 0) samples of the window; out has room for them. */
void quell_window_fill(const quell_window *window, double *out, size_t n);

/** Equivalent noise bandwidth of a window of n (> 0) samples in bins: n sum w^2 / (sum w)^2 (F. J. Harris, 1978). */
double quell_window_enbw_bins(const double *samples, size_t n);

/** How to estimate. */
typedef struct quell_welch_options {
    const quell_window *window; /**< NULL: Hann */
    size_t segment;             /**< samples a segment, >= 8; 0: chosen, see quell_welch_segment */
    double rate_hz;             /**< for an accumulator that chooses its segment; unused otherwise */
    double overlap;             /**< 0 to 0.95 of a segment; negative: 0.75 */
    bool cross;                 /**< also the cross-spectral matrix */
    size_t threads; /**< that share the work, up to 16; 0 or 1: the caller's alone. The result is the
                                     same, to the last bit, whatever their number */
} quell_welch_options;

enum { QUELL_SPECTRUM_LAGS = 20 /**< neighbouring bins kept in bin_correlation */ };

/** An estimate. Arrays have `bins` entries, bin k at frequency k * bin_hz, and live in the arena it was made in. */
typedef struct quell_spectrum {
    size_t axes, bins;
    double rate_hz, bin_hz;
    double enbw_hz;
    const quell_window *window;
    size_t segment, hop, segments; /**< samples, samples, averaged segments K */
    double dof;                    /**< nu of an inner bin; half of it at 0 Hz and at the Nyquist bin */
    double ci95_factor[2]; /**< true density is within [P * lo, P * hi], 95 %: nu/chi2(.975), nu/chi2(.025) */
    double bin_correlation[QUELL_SPECTRUM_LAGS + 1]; /**< rho^2_m, see quell_welch_bin_correlation */
    double *asd_m2ps3[3];                            /**< per axis; NULL beyond axes */
    /** cross[i][j] for i < j: one-sided cross-spectral density E[conj(X_i) X_j]; NULL unless asked for. */
    double complex *cross_m2ps3[3][3];
} quell_spectrum;

/** The segment length used when none is given: 4 / (2 zeta f) of the narrowest mode in view where that is known
    (pass zeta_f_hz = zeta * f; 0: unknown), held to 1 to 2 s and to a sixth of the recording; the next even length with
    no prime factor above 5, up to 0.2 % more than that (a rate is seldom a round number). */
size_t quell_welch_segment(double rate_hz, size_t samples, double zeta_f_hz);

/** The density along a unit vector u of a three-axis spectrum with its cross-spectral matrix G, u^T G u, at every bin.
    density has spectrum->bins entries. */
void quell_spectrum_along(const quell_spectrum *spectrum, const double u[3], double *density);

/** Streaming accumulator: samples go in block by block in any sizes; memory does not depend on their number. */
typedef struct quell_welch quell_welch;

/** A new accumulator for `axes` (1-3) channels. Without options->segment it takes options->rate_hz and holds the first 12 s
    of samples until they, or the end before, decide (their sixth is the most that quell_welch_segment gives).
    QUELL_OK; QUELL_E_USAGE if an option is out of range; QUELL_E_MEMORY. */
quell_status quell_welch_create(quell_welch **out, size_t axes, const quell_welch_options *options,
                                quell_error *err);

/** NULL is allowed. */
void quell_welch_destroy(quell_welch *welch);

/** Adds n samples per axis (axes pointers). QUELL_OK; QUELL_E_DATA naming axis and sample if one is not finite, and
    then none of them is added. */
quell_status quell_welch_add(quell_welch *welch, const double *const *accel_mps2, size_t n, quell_error *err);

/** No segment may straddle this point: a gap in the recording. QUELL_OK; QUELL_E_MEMORY (only while the segment is not
    chosen). */
quell_status quell_welch_break(quell_welch *welch, quell_error *err);

/** The estimate so far; rate_hz only scales its axes. out lives in arena and is untouched on failure.
    QUELL_OK; QUELL_E_DATA if no segment was completed; QUELL_E_USAGE if the rate is not above 0; QUELL_E_MEMORY. */
quell_status quell_welch_finish(quell_welch *welch, double rate_hz, quell_arena *arena, quell_spectrum *out,
                                quell_error *err);

/** All at once: axes pointers to n samples each at rate_hz. break_at: break_count sample indices that no segment
    may straddle (NULL: none). out lives in arena and is untouched on failure.
    QUELL_OK; QUELL_E_DATA if no segment of unbroken samples fits or one is not finite; QUELL_E_USAGE if axes (1-3),
    rate, segment or overlap is out of range; QUELL_E_MEMORY. */
quell_status quell_spectrum_estimate(const double *const *accel_mps2, size_t axes, size_t n, double rate_hz,
                                     const size_t *break_at, size_t break_count,
                                     const quell_welch_options *options, quell_arena *arena,
                                     quell_spectrum *out, quell_error *err);

/** What was estimated in other units: axis i times scale[i], so its density times the square. */
void quell_spectrum_scale(quell_spectrum *spectrum, const double scale[3]);

/** Turns a three-axis spectrum with its cross-spectral matrix S into the axes that the rows of map are: M S M^T, as if the
    samples had been turned before (M real). False, nothing done, without three axes and the matrix. */
bool quell_spectrum_turn(quell_spectrum *spectrum, const double map[3][3]);

/** Degrees of freedom nu = 2K / (1 + 2 sum_m (1 - m/K) rho_w(m hop)^2), rho_w the window's own autocorrelation
    normalised to 1 at 0. window: segment samples; hop and segments > 0. Source: Welch 1967; Percival and Walden,
    Spectral Analysis for Physical Applications, 1993 (from memory). */
double quell_welch_dof(const double *window, size_t segment, size_t hop, size_t segments);

/** Correlation rho^2_m (m = 0..QUELL_SPECTRUM_LAGS) between bins m apart, from window and hop exactly:
    derived: F_k(m) = |FFT(w[n] w[n + k hop])(m)|^2, rho^2_m = sum_k (1 - |k|/K) F_k(m) / the same at 0. For band powers and
    for the likelihood fit. */
void quell_welch_bin_correlation(const double *window, size_t segment, size_t hop, size_t segments,
                                 double rho2[QUELL_SPECTRUM_LAGS + 1]);

/** The 95 % factors [nu/chi2(.975), nu/chi2(.025)] for nu > 0. */
void quell_chi2_factors(double dof, double factor[2]);

/** Power and its degrees of freedom over the bins whose centres are in [low_hz, high_hz):
    dof = nu (sum P)^2 / [sum P^2 + 2 sum_m rho2_m sum P_i P_{i+m}] (1 + 2/nu), derived; nu if all P are 0.
    axis: below spectrum->axes. Returns false, both outputs untouched, if no bin lies inside. */
bool quell_spectrum_band(const quell_spectrum *spectrum, size_t axis, double low_hz, double high_hz,
                         double *mean_square_mps2, double *dof);

/** Density over time, for pictures. Slice s covers the segment centred on start_s + s * step_s; its density is
    asd_m2ps3[s * bins + k] at k * bin_hz. Lives in the arena it was made in. */
typedef struct quell_spectrogram {
    size_t slices, bins;
    double bin_hz, start_s, step_s;
    double *asd_m2ps3;
} quell_spectrogram;

/** The spectrogram of n samples at rate_hz: one slice a segment, about `slices` of them (at least 1) evenly over the
    recording; options->overlap and options->cross have no say. A slice that straddles one of the break_count sample
    indices break_at is NaN. QUELL_OK; QUELL_E_DATA if there are fewer samples than one segment, or one is not finite;
    QUELL_E_USAGE; QUELL_E_MEMORY. out is untouched on failure. */
quell_status quell_spectrogram_estimate(const double *accel_mps2, size_t n, double rate_hz,
                                        const size_t *break_at, size_t break_count,
                                        const quell_welch_options *options, size_t slices, quell_arena *arena,
                                        quell_spectrogram *out, quell_error *err);

#endif
