/* Does a term stand out of what is left around it? Noise that comes through a mode is louder near it than the residuals are
   on the whole, which is what the number of terms is decided by, and a term fits its loudest moments. */
#include "modes/decay_private.h"

#define CLEAR                                                                                                \
    5.0 /* times the density around: noise through a mode comes to 1 to 4, in one of 800 recordings to 8 */

static decay_fit without(const decay_fit *fit, size_t term)
{
    decay_fit out = *fit;
    out.terms--;
    for (size_t k = term; k < out.terms; k++) {
        out.line[k] = fit->line[k + 1];
        for (size_t i = 0; i < DECAY_PER_TERM; i++)
            out.parameter[DECAY_PER_TERM * k + i] = fit->parameter[DECAY_PER_TERM * (k + 1) + i];
    }
    return out;
}

bool decay_term_stands_out(decay_window *window, const decay_fit *fit, size_t term, double f_hz)
{
    decay_normal with, less;
    const decay_fit others = without(fit, term);
    double dof = 1e6, amplitudes = 2.0 * (double)(window->stops * window->axes);
    bool solved = decay_evaluate(window, &others, 0, window->stops, false, &less, NULL) &&
                  decay_evaluate(window, fit, 0, window->stops, false, &with, NULL);
    decay_residuals(window, fit);
    return solved && less.rss - with.rss > CLEAR * amplitudes * decay_local_variance(window, f_hz, &dof);
}
