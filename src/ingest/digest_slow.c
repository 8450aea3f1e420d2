/* Motion below about 10 Hz: the path of the carriage, without the ringing on top. Three running means of 30 ms in a
   row, taken over the digest's steps: flat to a few hertz, -3 dB near 8 Hz, and 36 dB or more down from 33 Hz on. */
#include "ingest/digest_private.h"

#include <math.h>
#include <string.h>

#define MEAN_S 0.030

/* The three means as one symmetric filter of 3 (width - 1) + 1 taps. */
void digest_slow_plan(digest_slow *slow, double step_s)
{
    size_t width = (size_t)fmin(fmax(floor(MEAN_S / step_s + 0.5), 1), (DIGEST_TAPS - 1) / 3);
    double weight[DIGEST_TAPS] = {1};
    size_t taps = 1;
    for (int pass = 0; pass < 3; pass++) {
        double wider[DIGEST_TAPS] = {0};
        for (size_t i = 0; i < taps; i++)
            for (size_t j = 0; j < width; j++)
                wider[i + j] += weight[i] / (double)width;
        taps += width - 1;
        memcpy(weight, wider, sizeof weight);
    }
    memcpy(slow->weight, weight, sizeof weight);
    slow->taps = taps;
    slow->delay = taps / 2; /* an odd number of taps where the width is odd; else half a step late */
}

/* The window that the next output belongs to: the first that has more steps than outputs. */
static digest_window *next_window(struct ingest_digest *digest)
{
    digest_slow *slow = &digest->slow;
    while (slow->window + 1 < digest->windows &&
           digest->window[slow->window].slow_count >= digest->window[slow->window].steps)
        slow->window++;
    return &digest->window[slow->window];
}

static void put_out(struct ingest_digest *digest)
{
    const digest_slow *slow = &digest->slow;
    double out[3];
    for (size_t k = 0; k < 3; k++) {
        const double *last =
            slow->mean[k] + slow->next + DIGEST_TAPS - slow->taps; /* the filter is symmetric */
        double sum = 0;
        for (size_t i = 0; i < slow->taps; i++)
            sum += slow->weight[i] * last[i];
        out[k] = sum;
    }
    digest_window *window = next_window(digest);
    window->slow_count++;
    const double product[DIGEST_PRODUCTS] = {out[0] * out[0], out[0] * out[1], out[0] * out[2],
                                             out[1] * out[1], out[1] * out[2], out[2] * out[2]};
    for (size_t k = 0; k < 3; k++)
        window->slow.sum[k] += out[k];
    for (size_t p = 0; p < DIGEST_PRODUCTS; p++)
        window->slow.product[p] += product[p];
}

static void push(digest_slow *slow, const double mean[3])
{
    for (size_t k = 0; k < 3; k++)
        slow->mean[k][slow->next] = slow->mean[k][slow->next + DIGEST_TAPS] = mean[k];
    slow->next = (slow->next + 1) % DIGEST_TAPS;
}

/* Before the first step it was as at the first step. */
void digest_slow_take(struct ingest_digest *digest, const double mean[3])
{
    digest_slow *slow = &digest->slow;
    if (slow->steps == 0)
        for (size_t i = 0; i < DIGEST_TAPS; i++)
            push(slow, mean);
    push(slow, mean);
    if (slow->steps++ >= slow->delay)
        put_out(digest);
}

/* After the last step it is as at the last step. */
void digest_slow_flush(struct ingest_digest *digest)
{
    digest_slow *slow = &digest->slow;
    size_t left = slow->steps < slow->delay ? slow->steps : slow->delay;
    if (left == 0) {
        slow->steps = 0;
        return;
    }
    size_t early = slow->delay - left; /* fewer steps than the delay: no output was put out yet */
    double last[3];
    for (size_t k = 0; k < 3; k++)
        last[k] = slow->mean[k][slow->next + DIGEST_TAPS - 1];
    for (size_t i = 0; i < early; i++)
        push(slow, last);
    for (size_t i = 0; i < left; i++) {
        push(slow, last);
        put_out(digest);
    }
    slow->steps = 0;
}
