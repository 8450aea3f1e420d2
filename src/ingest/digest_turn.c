/* The digest in other units and other axes. */
#include "ingest/digest_private.h"

#include <string.h>

static void turn_vector(double v[3], const double map[3][3])
{
    double in[3];
    memcpy(in, v, sizeof in);
    for (size_t k = 0; k < 3; k++)
        v[k] = ingest_dot(map[k], in);
}

/* Products P become M P M'. */
static void turn_sums(digest_sums *sums, const double map[3][3])
{
    double half[3][3];
    turn_vector(sums->sum, map);
    for (size_t k = 0; k < 3; k++)
        for (size_t m = 0; m < 3; m++) {
            half[k][m] = 0;
            for (size_t i = 0; i < 3; i++)
                half[k][m] += map[k][i] * sums->product[digest_pair(i, m)];
        }
    for (size_t k = 0; k < 3; k++)
        for (size_t m = k; m < 3; m++)
            sums->product[digest_pair(k, m)] = ingest_dot(half[k], map[m]);
}

static void turn_block(const digest_block *block, const double map[3][3])
{
    if (block->value == NULL)
        return;
    for (size_t i = 0; i < block->count; i++) {
        double v[3] = {(double)block->value[0][i], (double)block->value[1][i], (double)block->value[2][i]};
        turn_vector(v, map);
        for (size_t k = 0; k < 3; k++)
            block->value[k][i] = (float)v[k];
    }
}

static void turn_all(struct ingest_digest *digest, const double map[3][3])
{
    turn_vector(digest->origin, map);
    for (size_t i = 0; i < digest->windows; i++) {
        turn_sums(&digest->window[i].all, map);
        turn_sums(&digest->window[i].slow, map);
    }
    for (size_t i = 0; i < digest->gallery->count; i++) {
        turn_block(&digest->gallery->group[i].quiet, map);
        turn_block(&digest->gallery->group[i].loud, map);
    }
}

/* What tells the frequency of the motion is summed over the axes from here on: turning leaves that as it is. */
void digest_scale(struct ingest_digest *digest, const double scale[3])
{
    for (size_t i = 0; i < digest->windows; i++) {
        digest_window *window = &digest->window[i];
        double n = (double)window->cells, square = 0, low = 0;
        for (size_t k = 0; k < digest->axes; k++) {
            double mean = window->count > 0 ? window->all.sum[k] / (double)window->count : 0;
            square += scale[k] * scale[k] * (window->cell_square[k] - n * mean * mean);
            double low_mean = n > 0 ? window->low_sum[k] / n : 0;
            low += scale[k] * scale[k] * (window->low_square[k] - n * low_mean * low_mean);
        }
        window->cell_square[0] = square;
        window->low_square[0] = low;
    }
    double each[3] = {1, 1, 1};
    for (size_t k = 0; k < digest->axes; k++)
        each[k] = scale[k];
    const double map[3][3] = {{each[0], 0, 0}, {0, each[1], 0}, {0, 0, each[2]}};
    if (each[0] != 1 || each[1] != 1 || each[2] != 1)
        turn_all(digest, map);
}

/* A machine axis is stuck while the sensor axis that makes most of it is. */
static void turn_runs(digest_window *window, const size_t most[3])
{
    size_t run[3];
    memcpy(run, window->run, sizeof run);
    for (size_t k = 0; k < 3; k++)
        window->run[k] = run[most[k]];
}

void digest_turn(struct ingest_digest *digest, const double map[3][3])
{
    size_t most[3];
    for (size_t k = 0; k < 3; k++)
        most[k] = ingest_most_along(map[k]);
    turn_all(digest, map);
    for (size_t i = 0; i < digest->windows; i++)
        turn_runs(&digest->window[i], most);
}
