/* Two shapers one after the other: every impulse of one starts the whole of the other. */
#include "shaping/shaping_private.h"

static const double merged_within_s = 1e-12;

static bool is_identity(const quell_shaper *shaper)
{
    return shaper->family == NULL && shaper->count == 1;
}

/* Appends in order of time; an impulse that falls on the last one is added to it. False when full. */
static bool append(quell_shaper *out, double amplitude, double time_s)
{
    if (out->count > 0 && time_s - out->time_s[out->count - 1] < merged_within_s) {
        out->amplitude[out->count - 1] += amplitude;
        return true;
    }
    if (out->count == QUELL_SHAPER_MAX)
        return false;
    out->amplitude[out->count] = amplitude;
    out->time_s[out->count++] = time_s;
    return true;
}

quell_status quell_shaper_convolve(quell_shaper *out, const quell_shaper *a, const quell_shaper *b,
                                   quell_error *err)
{
    if (is_identity(a) || is_identity(b)) {
        *out = is_identity(a) ? *b : *a;
        return QUELL_OK;
    }
    quell_shaper product;
    product.family = NULL;
    product.at = (quell_design_point){0};
    product.count = 0;
    size_t next[QUELL_SHAPER_MAX] = {0}; /* for each impulse of a, the impulse of b whose turn it is */
    for (size_t left = a->count * b->count; left > 0; left--) {
        size_t first = QUELL_SHAPER_MAX;
        double first_s = 0;
        for (size_t i = 0; i < a->count; i++) {
            if (next[i] == b->count)
                continue;
            const double time_s = a->time_s[i] + b->time_s[next[i]];
            if (first == QUELL_SHAPER_MAX || time_s < first_s) {
                first = i;
                first_s = time_s;
            }
        }
        if (!append(&product, a->amplitude[first] * b->amplitude[next[first]], first_s))
            return quell_fail(err, QUELL_E_USAGE,
                              "the product of %zu and %zu impulses has more than %d, which is the most taken",
                              a->count, b->count, QUELL_SHAPER_MAX);
        next[first]++;
    }
    *out = product;
    return QUELL_OK;
}
