/* Where a decay begins and ends: from a window that lies well within it outwards, sample by sample, as long as what the
   amplitudes fitted so far foretell is what is there. The amplitudes take in every sample that passed (recursive least
   squares; e.g. A. Bjorck, Numerical Methods for Least Squares Problems, 1996, from memory), so that each is foretold
   from its neighbour. Motion that sets in makes the errors grow as the square of time: they stand out of the noise
   after a small part of a period, and outside the decay: never within. */
#include "modes/decay_private.h"

#include <math.h>
#include <string.h>

#define SURPRISE 4.5 /* standard deviations, root mean square over a block */
#define BLOCK_S 1.5e-3

enum { BLOCK_MAX = 16 };

/* Amplitudes of each axis and the inverse of the basis' normal matrix. */
typedef struct decay_state {
    const decay_data *data;
    const decay_fit *fit;
    size_t columns, origin;
    double inverse[DECAY_COLUMNS_MAX][DECAY_COLUMNS_MAX];
    double amplitude[3][DECAY_COLUMNS_MAX];
} decay_state;

/* Takes sample i in; returns its squared error over what is expected, the greatest of the axes. */
static double take_in(decay_state *state, size_t i, const double noise_mps2[3])
{
    double basis[DECAY_COLUMNS_MAX], gain[DECAY_COLUMNS_MAX], spread = 1, surprise = 0;
    size_t n = decay_basis_at(state->fit, ((double)i - (double)state->origin) / state->data->rate_hz, basis);
    for (size_t j = 0; j < n; j++) {
        gain[j] = quell_dot(state->inverse[j], basis, n);
        spread += basis[j] * gain[j];
    }
    for (size_t k = 0; k < state->data->axes; k++) {
        double error = state->data->accel_mps2[k][i] - quell_dot(basis, state->amplitude[k], n);
        for (size_t j = 0; j < n; j++)
            state->amplitude[k][j] += gain[j] / spread * error;
        surprise = fmax(surprise, error * error / (noise_mps2[k] * noise_mps2[k] * spread));
    }
    for (size_t j = 0; j < n; j++)
        for (size_t m = 0; m < n; m++)
            state->inverse[j][m] -= gain[j] * gain[m] / spread;
    return surprise;
}

/* From a window on: a wide prior, then its samples one by one. */
static void begin(decay_state *state, size_t start, size_t length, const double noise_mps2[3])
{
    memset(state->inverse, 0, sizeof state->inverse);
    memset(state->amplitude, 0, sizeof state->amplitude);
    for (size_t j = 0; j < state->columns; j++)
        state->inverse[j][j] = 1e6;
    state->origin = start;
    for (size_t i = 0; i < length; i++)
        take_in(state, start + i, noise_mps2);
}

/* Goes on from `from` by `step` (+1 or -1) up to and without `limit`; returns the first sample that is not of the decay. */
static size_t walk(decay_state *state, size_t from, size_t limit, bool forward, const double noise_mps2[3])
{
    double recent[BLOCK_MAX] = {0}, sum = 0;
    size_t block = (size_t)fmin(fmax(2, round(BLOCK_S * state->data->rate_hz)), BLOCK_MAX);
    for (size_t n = 0, i = from; i != limit; n++) {
        double surprise = fmin(take_in(state, forward ? i : i - 1, noise_mps2), 1e12);
        sum += surprise - recent[n % block];
        recent[n % block] = surprise;
        if (sum > SURPRISE * SURPRISE * (double)block) {
            size_t back = n < block - 1 ? n : block - 1; /* the samples of the block are all in doubt */
            return forward ? i - back : i + back;
        }
        i = forward ? i + 1 : i - 1;
    }
    return limit;
}

void decay_extend(const decay_data *data, const decay_fit *fit, const double noise_mps2[3], size_t start,
                  size_t length, decay_stop *stop)
{
    decay_state state = {.data = data, .fit = fit, .columns = 2 * fit->terms + 1};
    begin(&state, start, length, noise_mps2);
    stop->begin = walk(&state, start, stop->earliest < start ? stop->earliest : start, false, noise_mps2);
    begin(&state, start, length, noise_mps2);
    size_t inside = start + length, latest = stop->latest > inside ? stop->latest : inside;
    stop->end = walk(&state, inside, latest, true, noise_mps2);
    stop->end = stop->end > stop->limit ? stop->end : stop->limit; /* what is surely at rest is not doubted */
}
