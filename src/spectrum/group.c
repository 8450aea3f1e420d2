/* A group of successive segments: their transforms, powers and products, added up. */
#include "spectrum/spectrum_private.h"

#include <string.h>

enum { GROUP_SEGMENTS = 8, GROUP_SAMPLES = 1 << 15 };

size_t welch_group_size(size_t segment, size_t hop)
{
    size_t most = segment < GROUP_SAMPLES ? (GROUP_SAMPLES - segment) / hop + 1 : 1;
    return most < GROUP_SEGMENTS ? most : GROUP_SEGMENTS;
}

static double *cleared(size_t doubles)
{
    double *block = quell_memory_get(doubles * sizeof(double));
    if (block != NULL)
        memset(block, 0, doubles * sizeof(double));
    return block;
}

static double complex *cleared_complex(size_t count)
{
    return (double complex *)(void *)cleared(2 * count);
}

bool welch_sums_get(welch_sums *out, const welch_plan *plan)
{
    bool got = true;
    for (size_t i = 0; i < plan->axes && got; i++) {
        got = (out->power[i] = cleared(plan->bins)) != NULL;
        for (size_t j = i + 1; j < plan->axes && got && plan->cross; j++)
            got = (out->product[i][j] = cleared_complex(plan->bins)) != NULL;
    }
    return got;
}

void welch_sums_free(welch_sums *sums)
{
    for (size_t i = 0; i < 3; i++) {
        quell_memory_free(sums->power[i]);
        for (size_t j = i + 1; j < 3; j++)
            quell_memory_free(sums->product[i][j]);
    }
}

bool welch_group_get(welch_group *out, const welch_plan *plan)
{
    bool got = welch_sums_get(&out->sums, plan);
    for (size_t i = 0; i < plan->axes && got; i++)
        got = (out->sample[i] = cleared(plan->segment + (plan->most - 1) * plan->hop)) != NULL;
    return got;
}

void welch_group_free(welch_group *group)
{
    welch_sums_free(&group->sums);
    for (size_t i = 0; i < 3; i++)
        quell_memory_free(group->sample[i]);
}

bool welch_bench_get(welch_bench *out, const welch_plan *plan)
{
    bool got = (out->fourier = quell_fourier_create(plan->segment)) != NULL;
    for (size_t i = 0; i < plan->axes && got && plan->cross; i++)
        got = (out->transform[i] = cleared_complex(plan->bins)) != NULL;
    return got;
}

void welch_bench_free(welch_bench *bench)
{
    quell_fourier_destroy(bench->fourier);
    for (size_t i = 0; i < 3; i++)
        quell_memory_free(bench->transform[i]);
}

/* Sums are kept as real and imaginary parts in turn, as the C standard lays complex numbers out: complex arithmetic in
   C also looks after infinities, which cannot occur. */

static void add_power(double *restrict power, const double complex *x, size_t bins)
{
    const double *part = (const double *)x;
    for (size_t k = 0; k < bins; k++)
        power[k] += part[2 * k] * part[2 * k] + part[2 * k + 1] * part[2 * k + 1];
}

/* sum += conj(x) y */
static void add_product(double complex *sum, const double complex *x, const double complex *y, size_t bins)
{
    double *restrict out = (double *)sum;
    const double *a = (const double *)x, *b = (const double *)y;
    for (size_t k = 0; k < 2 * bins; k += 2) {
        out[k] += a[k] * b[k] + a[k + 1] * b[k + 1];
        out[k + 1] += a[k] * b[k + 1] - a[k + 1] * b[k];
    }
}

static void clear(welch_sums *sums, const welch_plan *plan)
{
    for (size_t i = 0; i < plan->axes; i++) {
        memset(sums->power[i], 0, plan->bins * sizeof *sums->power[i]);
        for (size_t j = i + 1; j < plan->axes && plan->cross; j++)
            memset(sums->product[i][j], 0, plan->bins * sizeof *sums->product[i][j]);
    }
}

void welch_group_compute(welch_group *group, const welch_plan *plan, welch_bench *bench)
{
    clear(&group->sums, plan);
    for (size_t s = 0; s < group->segments; s++) {
        for (size_t i = 0; i < plan->axes; i++) {
            const double complex *x =
                quell_segment_transform(bench->fourier, group->sample[i] + s * plan->hop, plan->window,
                                        plan->segment, QUELL_DETREND_MEAN);
            add_power(group->sums.power[i], x, plan->bins);
            if (plan->cross)
                memcpy(bench->transform[i], x, plan->bins * sizeof *x);
        }
        for (size_t i = 0; i < plan->axes && plan->cross; i++)
            for (size_t j = i + 1; j < plan->axes; j++)
                add_product(group->sums.product[i][j], bench->transform[i], bench->transform[j], plan->bins);
    }
    group->sums.segments = group->segments;
}

void welch_sums_add(welch_sums *total, const welch_sums *part, const welch_plan *plan)
{
    for (size_t i = 0; i < plan->axes; i++) {
        for (size_t k = 0; k < plan->bins; k++)
            total->power[i][k] += part->power[i][k];
        for (size_t j = i + 1; j < plan->axes && plan->cross; j++)
            for (size_t k = 0; k < plan->bins; k++)
                total->product[i][j][k] += part->product[i][j][k];
    }
    total->segments += part->segments;
}
