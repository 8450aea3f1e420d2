/* The digest's windows: sums over about a tenth of a second each; when all are used up, neighbours merge. */
#include "ingest/digest_private.h"

#include <string.h>

static void join_windows(digest_window *into, const digest_window *next)
{
    into->lost_inside += next->lost_inside + next->lost_before - into->lost_before - into->lost_inside;
    into->count += next->count;
    digest_sums_join(&into->all, &next->all);
    digest_sums_join(&into->slow, &next->slow);
    into->cells += next->cells;
    into->steps += next->steps;
    into->slow_count += next->slow_count;
    for (size_t k = 0; k < 3; k++) {
        into->cell_square[k] += next->cell_square[k];
        into->low_sum[k] += next->low_sum[k];
        into->low_square[k] += next->low_square[k];
        into->run[k] = into->run[k] > next->run[k] ? into->run[k] : next->run[k];
    }
}

/* Twice the length, half the number. */
static void merge_neighbours(struct ingest_digest *digest)
{
    size_t pairs = digest->windows / 2;
    for (size_t i = 0; i < pairs; i++) {
        digest->window[i] = digest->window[2 * i];
        join_windows(&digest->window[i], &digest->window[2 * i + 1]);
    }
    if (digest->windows % 2 == 1)
        digest->window[pairs] = digest->window[digest->windows - 1];
    digest->windows = pairs + digest->windows % 2;
    digest->slow.window /= 2;
    digest->window_steps *= 2;
}

static digest_window *open_window(struct ingest_digest *digest)
{
    if (digest->open)
        return &digest->window[digest->windows - 1];
    if (digest->windows == DIGEST_WINDOWS)
        merge_neighbours(digest);
    digest_window *added = &digest->window[digest->windows++];
    *added = (digest_window){.first = digest->samples, .lost_before = digest->lost};
    digest->open = true;
    return added;
}

static bool is_constant(const double *value, size_t n)
{
    if (value[0] != value[n - 1])
        return false;
    for (size_t i = 1; i < n; i++)
        if (value[i] != value[0])
            return false;
    return true;
}

/* Runs of one value, told in whole steps. */
static void follow_runs(struct ingest_digest *digest, digest_window *window, size_t from, size_t n)
{
    for (size_t k = 0; k < digest->axes; k++) {
        const double *value = digest->value[k] + from;
        if (!is_constant(value, n)) {
            digest->run[k] = 0;
            continue;
        }
        bool goes_on = digest->run[k] > 0 && value[0] == digest->run_value[k];
        digest->run[k] = goes_on ? digest->run[k] + n : n;
        digest->run_value[k] = value[0];
        if (digest->run[k] > window->run[k])
            window->run[k] = digest->run[k];
    }
}

/* Mean of a cell, given its sums, and what a low-pass of first order leaves of it. */
static void take_cell(struct ingest_digest *digest, digest_window *window, const double sum[3])
{
    double per_sample = 1 / (double)digest->cell;
    for (size_t k = 0; k < 3; k++) {
        double mean = sum[k] * per_sample;
        digest->low[k] = digest->has_low ? digest->low[k] + digest->smooth * (mean - digest->low[k]) : mean;
        window->cell_square[k] += mean * mean;
        window->low_sum[k] += digest->low[k];
        window->low_square[k] += digest->low[k] * digest->low[k];
    }
    digest->has_low = true;
    window->cells++;
}

static void take_whole_step(struct ingest_digest *digest, digest_window *window, digest_sums *step,
                            size_t from)
{
    double mean[3];
    for (size_t at = 0; at < digest->step; at += digest->cell) {
        double *const value[3] = {digest->value[0] + from + at, digest->value[1] + from + at,
                                  digest->value[2] + from + at};
        double before[3];
        memcpy(before, step->sum, sizeof before);
        digest_sums_add(step, value, digest->origin, digest->cell);
        for (size_t k = 0; k < 3; k++)
            before[k] = step->sum[k] - before[k];
        take_cell(digest, window, before);
    }
    for (size_t k = 0; k < 3; k++)
        mean[k] = step->sum[k] / (double)digest->step;
    window->steps++;
    digest_slow_take(digest, mean);
}

void digest_windows_take(struct ingest_digest *digest, size_t from, size_t n)
{
    digest_window *window = open_window(digest);
    digest_sums step = {0};
    if (n == digest->step) {
        take_whole_step(digest, window, &step, from);
    } else {
        double *const value[3] = {digest->value[0] + from, digest->value[1] + from, digest->value[2] + from};
        digest_sums_add(&step, value, digest->origin, n);
        digest->has_low = false;
    }
    digest_sums_join(&window->all, &step);
    digest_sums_join(&digest->block, &step);
    window->count += n;
    follow_runs(digest, window, from, n);
    digest->samples += n;
    if (window->steps >= digest->window_steps)
        digest->open = false;
}

void digest_windows_break(struct ingest_digest *digest, size_t lost)
{
    if (digest->open)
        digest->window[digest->windows - 1].lost_inside += lost;
    digest->lost += lost;
    digest->has_low = false;
    memset(digest->run, 0, sizeof digest->run);
}

void digest_windows_close(struct ingest_digest *digest)
{
    digest_slow_flush(digest);
    digest->open = false;
    digest->has_low = false;
    memset(digest->run, 0, sizeof digest->run);
}
