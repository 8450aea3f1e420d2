/* How the fitted free decay follows the measured one after a stop, and what it leaves. */
#include "report/plot_modes.h"
#include "report/plot_private.h"

#include <math.h>
#include <stdio.h>

enum { UNKNOWNS_MAX = 2 * QUELL_MODES_MAX + 1 };

/* The stop that is shown, time in ms. Amplitude and offset are those of the driven axis at the window's start. */
typedef struct shown_stop {
    const quell_decays *decays;
    double rate_hz;
    double zero;          /* sample at which time is 0 */
    bool from_motion_end; /* else from the start of the fit */
    double amplitude_mps2[QUELL_MODES_MAX], offset_mps2;
    double *block, *time_ms, *residual_mps2, *envelope_mps2[2];
} shown_stop;

/* What each mode has at t seconds from the window's start: its decay times cosine and sine; last, the offset. */
static void basis_at(const quell_decays *decays, double t_s, double basis[UNKNOWNS_MAX])
{
    for (size_t k = 0; k < decays->count; k++) {
        const quell_decay *mode = &decays->mode[k];
        double w = QUELL_TAU * mode->frequency_hz, zeta = mode->damping_ratio;
        double wd = w * sqrt(fmax(1 - zeta * zeta, 0)), decay = exp(-zeta * w * t_s);
        basis[2 * k] = decay * cos(wd * t_s);
        basis[2 * k + 1] = decay * sin(wd * t_s);
    }
    basis[2 * decays->count] = 1;
}

/* The amplitudes that make up the fitted curve, from that curve itself by least squares: exact where it is a sum of just
   these terms; a tone or a mode beyond the band that was fitted but is not among the modes stays over. */
static void find_amplitudes(shown_stop *shown)
{
    const quell_decays *decays = shown->decays;
    size_t n = 2 * decays->count + 1;
    double matrix[UNKNOWNS_MAX * UNKNOWNS_MAX] = {0}, right[UNKNOWNS_MAX] = {0}, found[UNKNOWNS_MAX];
    for (size_t i = decays->shown_before; i < decays->shown; i++) {
        double basis[UNKNOWNS_MAX];
        basis_at(decays, (double)(i - decays->shown_before) / shown->rate_hz, basis);
        for (size_t r = 0; r < n && isfinite(decays->fitted_mps2[i]); r++) {
            right[r] += basis[r] * decays->fitted_mps2[i];
            for (size_t c = 0; c < n; c++)
                matrix[r * n + c] += basis[r] * basis[c];
        }
    }
    bool solved = quell_linear_solve(matrix, right, found, n);
    shown->offset_mps2 = solved ? found[n - 1] : 0;
    for (size_t k = 0; k < decays->count; k++)
        shown->amplitude_mps2[k] = solved ? hypot(found[2 * k], found[2 * k + 1]) : (double)NAN;
}

static quell_status shown_get(shown_stop *out, const quell_decays *decays, double rate_hz, quell_error *err)
{
    size_t n = decays->shown;
    *out = (shown_stop){.decays = decays, .rate_hz = rate_hz};
    out->from_motion_end = decays->shown_motion_end > 0;
    out->zero = (double)(out->from_motion_end ? decays->shown_motion_end : decays->shown_before);
    out->block = quell_memory_get(4 * (n + 1) * sizeof *out->block);
    if (out->block == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a plot of %zu samples", n);
    out->time_ms = out->block;
    out->residual_mps2 = out->block + n;
    out->envelope_mps2[0] = out->block + 2 * n;
    out->envelope_mps2[1] = out->block + 3 * n;
    for (size_t i = 0; i < n; i++) {
        out->time_ms[i] = 1e3 * ((double)i - out->zero) / rate_hz;
        out->residual_mps2[i] = decays->shown_mps2[i] - decays->fitted_mps2[i]; /* NaN before the window */
    }
    find_amplitudes(out);
    return QUELL_OK;
}

static void range_and_window(quell_plot *plot, const shown_stop *shown, bool named)
{
    size_t n = shown->decays->shown;
    double fit_ms = shown->time_ms[shown->decays->shown_before];
    quell_plot_x_range(plot, shown->time_ms[0], shown->time_ms[n - 1], false);
    if (shown->from_motion_end)
        quell_plot_stretch(plot, 0, 0, named ? "motion ends" : "");
    quell_plot_stretch(plot, fit_ms, fit_ms, named ? "fit begins" : "");
}

/* A mode's envelope, its lower side only where it stands alone, named in its own ink some way down: many stand apart. */
static void add_envelope(quell_plot *plot, const shown_stop *shown, size_t k)
{
    static const quell_ink inks[] = {QUELL_INK_SECOND, QUELL_INK_THIRD, QUELL_INK_FIFTH, QUELL_INK_GREY};
    const quell_decays *decays = shown->decays;
    const quell_decay *mode = &decays->mode[k];
    size_t first = decays->shown_before, n = decays->shown - first;
    quell_ink ink = inks[k % (sizeof inks / sizeof inks[0])];
    char text[160];
    if (!isfinite(shown->amplitude_mps2[k]) || n == 0)
        return;
    for (size_t i = 0; i < n; i++) {
        double t_s = (double)i / shown->rate_hz;
        double reach =
            shown->amplitude_mps2[k] * exp(-mode->damping_ratio * QUELL_TAU * mode->frequency_hz * t_s);
        shown->envelope_mps2[0][i] = shown->offset_mps2 + reach;
        shown->envelope_mps2[1][i] = shown->offset_mps2 - reach;
    }
    snprintf(text, sizeof text, "%s Hz, \xce\xb6 %s", quell_number_fixed(mode->frequency_hz, 1).text,
             quell_number_fixed(mode->damping_ratio, 3).text);
    const double *time_ms = shown->time_ms + first;
    quell_plot_curve(plot, QUELL_MARK_DASHED, ink, 1.2, time_ms, shown->envelope_mps2[0], NULL, n, text,
                     time_ms[(k + 1) * n / (decays->count + 4)]);
    if (decays->count == 1)
        quell_plot_curve(plot, QUELL_MARK_DASHED, ink, 1.2, time_ms, shown->envelope_mps2[1], NULL, n, "",
                         (double)NAN);
}

static void decay_panel(quell_plot *plot, const shown_stop *shown)
{
    const quell_decays *decays = shown->decays;
    quell_plot_panel(plot, "measured (thin), fitted (broad), the envelope of each mode (dashed)", "",
                     "acceleration (m/s\xc2\xb2)");
    quell_plot_height(plot, 1.7);
    range_and_window(plot, shown, true);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_FOURTH, 5, shown->time_ms, decays->fitted_mps2, NULL,
                     decays->shown, "", (double)NAN);
    for (size_t k = 0; k < decays->count; k++)
        add_envelope(plot, shown, k);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 1, shown->time_ms, decays->shown_mps2, NULL,
                     decays->shown, "", (double)NAN);
}

/* Within twice what a perfect model would leave, where that is known. */
static void residual_panel(quell_plot *plot, const shown_stop *shown)
{
    const quell_decays *decays = shown->decays;
    bool known = isfinite(decays->noise_mps2) && decays->noise_mps2 > 0;
    quell_plot_panel(
        plot, known ? "what the fit leaves; dashed: twice what noise alone leaves" : "what the fit leaves",
        shown->from_motion_end ? "time since the motion ended (ms)" : "time since the start of the fit (ms)",
        "m/s\xc2\xb2");
    quell_plot_height(plot, 0.8);
    range_and_window(plot, shown, false);
    for (int side = -2; side <= 2; side += 2)
        if (known || side == 0)
            quell_plot_level(plot, side == 0 ? 0 : side * decays->noise_mps2, "");
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 1, shown->time_ms, shown->residual_mps2, NULL,
                     decays->shown, "", (double)NAN);
}

quell_status quell_plot_decay(const quell_decays *decays, double rate_hz, const char *name, char axis_letter,
                              const char *path, const char *keep_dir, quell_error *err)
{
    shown_stop shown;
    quell_status status = shown_get(&shown, decays, rate_hz, err);
    if (status != QUELL_OK)
        return status;
    char title[200];
    snprintf(title, sizeof title, "%s: %s, free decay after the strongest of %zu stops", name,
             plot_axis_words(axis_letter), decays->stops);
    quell_plot *plot = quell_plot_create(title);
    if (plot == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a plot");
    if (status == QUELL_OK) {
        decay_panel(plot, &shown);
        residual_panel(plot, &shown);
        status = quell_plot_draw(plot, path, keep_dir, err);
    }
    quell_plot_destroy(plot);
    quell_memory_free(shown.block);
    return status;
}
