/* Where a commanded motion ends, to a part of a sample. A mode that moves with all its mass follows the command softly: what sets
   the samples apart from the decay sets in as the square of time, and is long in the noise. Its shape is known, though. */
#include "modes/decay_known.h"

#include <math.h>

#define LOOK_BACK_S 5e-3 /* motion that the end is found from ... */
#define LOOK_BACK_PERIODS 0.3 /* ... before which a shaper's next impulse may lie */
#define END_STEP 0.25 /* samples */

static void find_loudest(known_decays *of)
{
    double most = -1;
    for (size_t k = 0; k < of->solution.fit.terms; k++) {
        double sum = 0;
        for (size_t s = 0; s < of->solution.window.stops; s++)
            sum += known_squared(of, s, k);
        if (sum > most) {
            most = sum;
            of->loudest = k;
        }
    }
}

/* What is there before the window, less the decay as it is foretold backwards: samples first..start - 1. */
static void foretell_back(const known_decays *of, size_t s, size_t first, double *out)
{
    const decay_window *window = &of->solution.window;
    const double *a = of->data.accel_mps2[0], *c = window->coefficient + s * DECAY_COLUMNS_MAX;
    size_t start = of->solution.start[s];
    double mean = a[start] - window->row[s * window->length];
    for (size_t i = first; i < start; i++) {
        double basis[DECAY_COLUMNS_MAX];
        size_t n = decay_basis_at(&of->solution.fit, ((double)i - (double)start) / of->data.rate_hz, basis);
        out[i - first] = a[i] - mean - quell_dot(basis, c, n);
    }
}

/* Sum of squares left where the motion, at an acceleration A until `end` (samples from first), sets the samples apart from the
   decay by b0 + b1 g, t s before the end: b0 is what does not ring of A, and b1 what rings with the mode, whose
   g = 1 - exp(z w t) (cos wd t + z w / wd sin wd t) follows from its equation of motion. */
static double left_with_end(const known_decays *of, const double *off, size_t n, double end)
{
    double rate_hz = of->data.rate_hz, alpha = known_decay_rate(&of->solution.fit, of->loudest);
    double w = QUELL_TAU * exp(of->solution.fit.parameter[DECAY_PER_TERM * of->loudest + DECAY_LN_F]),
           wd = sqrt(fmax(w * w - alpha * alpha, 0)) + 1e-9;
    double ff = 0, fg = 0, gg = 0, fe = 0, ge = 0, ee = 0;
    for (size_t i = 0; i < n; i++) {
        double ahead = end - (double)i, t = fmax(ahead, 0) / rate_hz;
        double f = fmin(fmax(ahead + 0.5, 0), 1),
               g = 1 - exp(alpha * t) * (cos(wd * t) + alpha / wd * sin(wd * t)), e = off[i];
        ff += f * f;
        fg += f * g;
        gg += g * g;
        fe += f * e;
        ge += g * e;
        ee += e * e;
    }
    double det = ff * gg - fg * fg;
    if (!(det > 1e-9 * ff * gg))
        return ff > 0 ? ee - fe * fe / ff : ee;
    return ee - (gg * fe * fe - 2 * fg * fe * ge + ff * ge * ge) / det;
}

/* The end that leaves least. */
static double best_end(const known_decays *of, const double *off, size_t n)
{
    double best = 0, least = (double)INFINITY;
    for (double end = 2; end < (double)n; end += END_STEP) {
        double left = left_with_end(of, off, n, end);
        if (left < least) {
            least = left;
            best = end;
        }
    }
    return best;
}

/* The end of each motion to a part of a sample, from windows that are just behind. */
quell_status known_find_ends(known_decays *of, quell_error *err)
{
    decay_solution *solution = &of->solution;
    find_loudest(of);
    double f = exp(solution->fit.parameter[DECAY_PER_TERM * of->loudest + DECAY_LN_F]);
    size_t back = (size_t)(fmin(LOOK_BACK_S, LOOK_BACK_PERIODS / f) * of->data.rate_hz) + 4, most = 0;
    for (size_t s = 0; s < solution->stops.count; s++) {
        size_t room = solution->start[s] - (size_t)solution->stops.stop[s].motion_end + back;
        most = room > most ? room : most;
    }
    double *off = quell_memory_get(most * sizeof *off);
    if (off == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu samples", most);
    for (size_t s = 0; s < solution->stops.count; s++) {
        decay_stop *stop = &solution->stops.stop[s];
        size_t guess = (size_t)stop->motion_end, first = guess > back ? guess - back : 0;
        foretell_back(of, s, first, off);
        stop->motion_end = (double)first + best_end(of, off, solution->start[s] - first);
    }
    quell_memory_free(off);
    return QUELL_OK;
}
