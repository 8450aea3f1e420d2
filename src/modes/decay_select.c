/* How many terms: one after the other, from the poles of a matrix pencil of what is left, as long as the information
   criterion (G. Schwarz, Ann. Stat. 6(2), 1978) pays for it:

       n ln(rss before / rss after) > p ln n

   n counts independent samples only: all of them over 1 + 2 sum rho^2, rho the correlation of what is left (that is twice
   bandwidth times duration where it is noise of a band), and p the pole, one complex amplitude a stop, and the direction: the axes of a mode
   move together, though the fit leaves them free. */
#include "modes/decay_private.h"

#include <math.h>

#define LINE_BELOW 2e-4 /* damping ratio */
#define ZETA_MOST 0.4
#define PENCIL_HZ 400.0 /* of the pencil's samples; and once more at PENCIL_BAND times the band's end */
#define PENCIL_BAND 4.0
#define HOPELESS 0.4 /* a start that brings less than this share of what must be paid is not tried */
#define FADES 1.5    /* a term that decays by less than exp(-this) over the window may be a line */

enum { CANDIDATES_MAX = 24, TRIES = 2, ITERATIONS = 8 };

bool decay_term_is_mode(const decay_fit *fit, size_t term, const double band_hz[2])
{
    double f = exp(fit->parameter[DECAY_PER_TERM * term + DECAY_LN_F]);
    double zeta = exp(fit->parameter[DECAY_PER_TERM * term + DECAY_LN_ZETA]);
    return !fit->line[term] && zeta >= LINE_BELOW && zeta <= ZETA_MOST && f >= band_hz[0] && f <= band_hz[1];
}

static double frequency(const decay_fit *fit, size_t term)
{
    return exp(fit->parameter[DECAY_PER_TERM * term + DECAY_LN_F]);
}

static double damping(const decay_fit *fit, size_t term)
{
    return fit->line[term] ? 0 : exp(fit->parameter[DECAY_PER_TERM * term + DECAY_LN_ZETA]);
}

/* Can a term be told from an older one? Two decays closer than their half-power widths describe one mode that is not quite
   linear, and a line within the width of a mode is noise that rings with it; but a mode may come to lie over a line. */
static bool apart(const decay_window *window, const decay_fit *fit, size_t newer, size_t older)
{
    size_t i = newer, j = older;
    double blur_hz = 0.5 * window->rate_hz / (double)window->length;
    double between = fabs(frequency(fit, i) - frequency(fit, j));
    double widths = damping(fit, i) * frequency(fit, i) + damping(fit, j) * frequency(fit, j);
    if (between < blur_hz && widths < 2 * blur_hz)
        return false;
    return between >= widths || (fit->line[older] && !fit->line[newer]);
}

/* Are the terms damped sensibly, and apart? */
static bool plausible(const decay_window *window, const decay_fit *fit)
{
    for (size_t i = 0; i < fit->terms; i++) {
        if (damping(fit, i) > ZETA_MOST)
            return false;
        for (size_t j = 0; j < i; j++)
            if (!apart(window, fit, i, j))
                return false;
    }
    return true;
}

static double independent(decay_window *window, const decay_fit *fit)
{
    decay_residuals(window, fit);
    double samples = (double)(window->stops * window->axes * window->length);
    return fmax(samples / decay_inflation(window), 3);
}

/* Does `after` pay for `parameters` more than `before`? Its coefficients are the window's. */
static bool pays(decay_window *window, const decay_fit *before, const decay_fit *after, double parameters)
{
    double n = independent(window, after);
    return after->rss < before->rss && n * log(before->rss / fmax(after->rss, 1e-300)) > parameters * log(n);
}

/* Terms that do not decay, or cannot be told from such, become lines. */
static bool settle_lines(decay_window *window, decay_fit *fit)
{
    bool solved = true;
    for (size_t k = 0; k < fit->terms && solved; k++) {
        double fall =
            damping(fit, k) * QUELL_TAU * frequency(fit, k) * (double)window->length / window->rate_hz;
        if (fit->line[k] || fall > FADES)
            continue;
        decay_fit as_line = *fit;
        as_line.line[k] = true;
        if (!decay_improve(window, &as_line, 0, window->stops, SIZE_MAX, ITERATIONS))
            continue;
        bool decays = damping(fit, k) >= LINE_BELOW &&
                      decay_improve(window, fit, 0, window->stops, SIZE_MAX, 1) &&
                      pays(window, &as_line, fit, 2);
        if (!decays)
            *fit = as_line;
        solved = decay_improve(window, fit, 0, window->stops, SIZE_MAX, 1);
    }
    return solved;
}

/* Poles to try: pencils of what is left and, in the beginning, of all there is. */
static quell_status gather(const decay_window *window, const decay_fit *fit, const double band_hz[2],
                           decay_pole *out, size_t *count, quell_error *err)
{
    const double rates[] = {PENCIL_HZ, PENCIL_BAND * band_hz[1]};
    size_t last = 0;
    *count = 0;
    for (size_t i = 0; i < 2; i++) {
        size_t stride = (size_t)fmax(1, round(window->rate_hz / rates[i])), got;
        if (stride == last)
            continue;
        last = stride;
        size_t order = fit->terms == 0 ? 8 : 6;
        quell_status status = decay_pencil(window, window->residual, stride, order, out + *count,
                                           CANDIDATES_MAX - *count, &got, err);
        if (status != QUELL_OK)
            return status;
        *count += got;
    }
    return QUELL_OK;
}

static decay_fit with_term(const decay_fit *fit, const decay_pole *pole)
{
    decay_fit out = *fit;
    out.parameter[DECAY_PER_TERM * out.terms + DECAY_LN_F] = log(pole->frequency_hz);
    out.parameter[DECAY_PER_TERM * out.terms + DECAY_LN_ZETA] = log(pole->damping_ratio);
    out.line[out.terms] = false;
    out.terms++;
    return out;
}

/* The candidates that leave least, without moving their poles; best first. Returns how many. */
static size_t best_starts(decay_window *window, const decay_fit *fit, const decay_pole *pole, size_t count,
                          decay_fit best[TRIES])
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        decay_normal normal;
        decay_fit trial = with_term(fit, &pole[i]);
        if (pole[i].frequency_hz > 0.48 * window->rate_hz ||
            !decay_evaluate(window, &trial, 0, window->stops, false, &normal, NULL))
            continue;
        trial.rss = normal.rss;
        size_t place = kept < TRIES ? kept++ : TRIES;
        while (place > 0 && trial.rss < best[place - 1].rss) {
            if (place < TRIES)
                best[place] = best[place - 1];
            place--;
        }
        if (place < TRIES)
            best[place] = trial;
    }
    return kept;
}

/* Adds the term that pays most; false if none does. */
static bool add_term(decay_window *window, decay_fit *fit, const decay_pole *pole, size_t count, double n)
{
    decay_fit start[TRIES];
    size_t starts = best_starts(window, fit, pole, count, start);
    double price = 2 * (double)window->stops + (double)window->axes + 1;
    for (size_t i = 0; i < starts; i++) {
        if (n * log(fit->rss / fmax(start[i].rss, 1e-300)) < HOPELESS * price * log(n))
            continue;
        if (decay_improve(window, &start[i], 0, window->stops, SIZE_MAX, ITERATIONS) &&
            settle_lines(window, &start[i]) && plausible(window, &start[i]) &&
            pays(window, fit, &start[i], price)) {
            *fit = start[i];
            return true;
        }
    }
    return false;
}

/* Sum of squares without any term. */
static bool begin(decay_window *window, decay_fit *fit)
{
    decay_normal normal;
    if (fit->terms > 0 && decay_improve(window, fit, 0, window->stops, SIZE_MAX, ITERATIONS) &&
        settle_lines(window, fit) && plausible(window, fit))
        return true;
    *fit = (decay_fit){0};
    if (!decay_evaluate(window, fit, 0, window->stops, false, &normal, NULL))
        return false;
    fit->rss = normal.rss;
    return true;
}

quell_status decay_select(decay_window *window, const double band_hz[2], decay_fit *fit, quell_error *err)
{
    decay_normal normal;
    bool going = begin(window, fit) && fit->rss > 0;
    while (going && fit->terms < DECAY_TERMS_MAX) {
        decay_pole pole[CANDIDATES_MAX];
        size_t count;
        double n = independent(window, fit);
        quell_status status = gather(window, fit, band_hz, pole, &count, err);
        if (status != QUELL_OK)
            return status;
        going = add_term(window, fit, pole, count, n);
        decay_evaluate(window, fit, 0, window->stops, false, &normal, NULL);
    }
    decay_residuals(window, fit);
    return QUELL_OK;
}
