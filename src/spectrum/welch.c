/* Welch's estimate as a streaming accumulator: memory is a few segments an axis, whatever the recording's length.

   Segments are added up in groups of a size that depends on the options alone, and the groups' sums in the groups'
   order: so the result is the same to the last bit however many threads work on the groups (crew.c). */
#include "spectrum/spectrum_private.h"

#include <math.h>
#include <string.h>

#define RATE_MAX_HZ 1e9
#define HOLD_S 12 /* six segments of the 2 s that a chosen one lasts at most */

struct quell_welch {
    quell_welch_options options;
    quell_samples hold; /* the first samples, while plan.segment is 0 */
    welch_plan plan;
    const quell_window *kind;
    double *window; /* plan.segment values */
    welch_crew *crew;
    welch_group *group;   /* the one being filled */
    size_t filled, taken; /* samples in it; samples added so far, for messages */
    size_t segments;      /* handed over so far */
    welch_sums total;
};

size_t quell_welch_segment(double rate_hz, size_t samples, double zeta_f_hz)
{
    double seconds = zeta_f_hz > 0 ? 4 / (2 * zeta_f_hz) : 2;
    seconds = fmin(fmax(seconds, 1), 2);
    double wanted = fmin(seconds * rate_hz, (double)samples / 6);
    if (!(wanted >= SEGMENT_MIN))
        return SEGMENT_MIN;
    /* the next even length below that has only the factors 2, 3 and 5: the transform is fast there */
    for (size_t length = (size_t)fmin(1.002 * wanted, SEGMENT_MAX) / 2 * 2; length > SEGMENT_MIN;
         length -= 2) {
        size_t rest = length;
        for (size_t factor = 2; factor <= 5; factor++)
            while (rest % factor == 0)
                rest /= factor;
        if (rest == 1)
            return length;
    }
    return SEGMENT_MIN;
}

static quell_status check_options(size_t axes, const quell_welch_options *options, quell_error *err)
{
    if (axes < 1 || axes > 3)
        return quell_fail(err, QUELL_E_USAGE, "found %zu axes, want 1 to 3", axes);
    bool chooses = options->segment == 0 && options->rate_hz > 0 && options->rate_hz <= RATE_MAX_HZ;
    if (!chooses && (options->segment < SEGMENT_MIN || options->segment > SEGMENT_MAX))
        return quell_fail(err, QUELL_E_USAGE, "segment is %zu samples, want %d to %d", options->segment,
                          SEGMENT_MIN, SEGMENT_MAX);
    if (!(options->overlap <= 0.95)) {
        char number[32];
        return quell_fail(err, QUELL_E_USAGE, "overlap is %s of a segment, want 0 to 0.95",
                          quell_number_print(number, sizeof number, options->overlap, 6));
    }
    return QUELL_OK;
}

/* Everything that takes the length of a segment. */
static quell_status prepare(quell_welch *welch, size_t segment, quell_error *err)
{
    const quell_welch_options *options = &welch->options;
    double overlap = options->overlap < 0 ? 0.75 : options->overlap;
    size_t kept = (size_t)(overlap * (double)segment + 0.5);
    welch->window = quell_memory_get(segment * sizeof(double));
    welch->plan.segment = segment;
    welch->plan.hop = segment - kept;
    welch->plan.bins = segment / 2 + 1;
    welch->plan.window = welch->window;
    welch->plan.most = welch_group_size(segment, welch->plan.hop);
    bool got = welch->window != NULL && welch_sums_get(&welch->total, &welch->plan);
    if (got) {
        quell_window_fill(welch->kind, welch->window, segment);
        welch->crew = welch_crew_create(&welch->plan, options->threads);
    }
    if (!got || welch->crew == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for segments of %zu samples", segment);
    welch->group = welch_crew_free_group(welch->crew, &welch->total);
    return QUELL_OK;
}

quell_status quell_welch_create(quell_welch **out, size_t axes, const quell_welch_options *options,
                                quell_error *err)
{
    quell_status status = check_options(axes, options, err);
    if (status != QUELL_OK)
        return status;
    quell_welch *welch = quell_memory_get(sizeof *welch);
    if (welch == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a spectrum");
    *welch = (quell_welch){.options = *options, .plan = {.axes = axes, .cross = options->cross && axes > 1}};
    welch->kind = options->window != NULL ? options->window : quell_window_find("hann");
    if (options->segment > 0)
        status = prepare(welch, options->segment, err);
    if (status == QUELL_OK)
        *out = welch;
    else
        quell_welch_destroy(welch);
    return status;
}

void quell_welch_destroy(quell_welch *welch)
{
    if (welch == NULL)
        return;
    welch_crew_destroy(welch->crew);
    quell_samples_free(&welch->hold);
    welch_sums_free(&welch->total);
    quell_memory_free(welch->window);
    quell_memory_free(welch);
}

static quell_status check_samples(const quell_welch *welch, const double *const *accel_mps2, size_t n,
                                  quell_error *err)
{
    for (size_t i = 0; i < welch->plan.axes; i++) {
        /* 0 times anything finite is 0: one sum tells whether there is a need to look */
        double odd = 0;
        for (size_t k = 0; k < n; k++)
            odd += 0 * accel_mps2[i][k];
        for (size_t k = 0; k < n && odd != 0; k++)
            if (!isfinite(accel_mps2[i][k])) {
                quell_fail(err, QUELL_E_DATA, "sample %zu is not a finite number", welch->taken + k + 1);
                if (err != NULL)
                    err->axis = "xyz"[i];
                return QUELL_E_DATA;
            }
    }
    return QUELL_OK;
}

/* Hands the group over, and begins the next one with the samples that its segments share with those before. */
static void next_group(quell_welch *welch)
{
    const welch_plan *plan = &welch->plan;
    welch_group *full = welch->group;
    size_t used = full->segments * plan->hop, kept = welch->filled - used;
    welch->segments += full->segments;
    welch_crew_submit(welch->crew);
    welch->group = welch_crew_free_group(welch->crew, &welch->total);
    for (size_t i = 0; i < plan->axes; i++) /* nobody writes to the samples of a group that was handed over */
        memcpy(welch->group->sample[i], full->sample[i] + used, kept * sizeof(double));
    welch->filled = kept;
}

static void add(quell_welch *welch, const double *const *accel_mps2, size_t n)
{
    const welch_plan *plan = &welch->plan;
    size_t whole = plan->segment + (plan->most - 1) * plan->hop;
    for (size_t at = 0; at < n;) {
        size_t room = whole - welch->filled;
        size_t part = n - at < room ? n - at : room;
        for (size_t i = 0; i < plan->axes; i++)
            memcpy(welch->group->sample[i] + welch->filled, accel_mps2[i] + at, part * sizeof(double));
        welch->filled += part;
        at += part;
        if (welch->filled == whole) {
            welch->group->segments = plan->most;
            next_group(welch);
        }
    }
}

/* The whole segments in the group that is being filled. */
static void hand_over_part(quell_welch *welch)
{
    const welch_plan *plan = &welch->plan;
    if (welch->filled < plan->segment)
        return;
    welch->group->segments = (welch->filled - plan->segment) / plan->hop + 1;
    next_group(welch);
}

static void end_stretch(quell_welch *welch)
{
    hand_over_part(welch);
    welch->filled = 0;
}

/* Chooses the segment by the samples held, and takes them in. */
static quell_status decide(quell_welch *welch, quell_error *err)
{
    quell_samples *hold = &welch->hold;
    size_t segment = quell_welch_segment(welch->options.rate_hz, hold->count, 0);
    quell_status status = prepare(welch, segment, err);
    if (status != QUELL_OK)
        return status;
    for (size_t b = 0, at = 0; b <= hold->gaps; b++) {
        size_t end = b < hold->gaps ? hold->gap_at[b] : hold->count;
        const double *part[3] = {NULL};
        for (size_t i = 0; i < welch->plan.axes && hold->count > 0; i++)
            part[i] = hold->value[i] + at;
        add(welch, part, end - at);
        if (b < hold->gaps)
            end_stretch(welch);
        at = end;
    }
    quell_samples_free(hold);
    return QUELL_OK;
}

quell_status quell_welch_add(quell_welch *welch, const double *const *accel_mps2, size_t n, quell_error *err)
{
    quell_status status = check_samples(welch, accel_mps2, n, err);
    if (status != QUELL_OK)
        return status;
    if (welch->plan.segment > 0) {
        add(welch, accel_mps2, n);
    } else {
        status = quell_samples_add(&welch->hold, accel_mps2, welch->plan.axes, n, err);
        if (status == QUELL_OK && (double)welch->hold.count >= HOLD_S * welch->options.rate_hz)
            status = decide(welch, err);
        if (status != QUELL_OK)
            return status;
    }
    welch->taken += n;
    return QUELL_OK;
}

quell_status quell_welch_break(quell_welch *welch, quell_error *err)
{
    if (welch->plan.segment == 0)
        return quell_samples_gap(&welch->hold, 0, err);
    end_stretch(welch);
    return QUELL_OK;
}

static double power_sum(const double *window, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += window[i] * window[i];
    return sum;
}

static bool get_arrays(const welch_plan *plan, quell_arena *arena, quell_spectrum *out)
{
    bool got = true;
    for (size_t i = 0; i < plan->axes && got; i++) {
        got = (out->asd_m2ps3[i] = QUELL_NEW(arena, double, plan->bins)) != NULL;
        for (size_t j = i + 1; j < plan->axes && got && plan->cross; j++)
            got = (out->cross_m2ps3[i][j] = QUELL_NEW(arena, double complex, plan->bins)) != NULL;
    }
    return got;
}

quell_status quell_welch_finish(quell_welch *welch, double rate_hz, quell_arena *arena, quell_spectrum *out,
                                quell_error *err)
{
    if (!(rate_hz > 0) || !isfinite(rate_hz)) {
        char number[32];
        return quell_fail(err, QUELL_E_USAGE, "rate is %s Hz, want > 0",
                          quell_number_print(number, sizeof number, rate_hz, 6));
    }
    if (welch->plan.segment == 0) {
        quell_status status = decide(welch, err);
        if (status != QUELL_OK)
            return status;
    }
    hand_over_part(welch);
    welch_crew_finish(welch->crew, &welch->total);
    const welch_plan *plan = &welch->plan;
    const welch_sums *total = &welch->total;
    if (total->segments == 0)
        return quell_fail(err, QUELL_E_DATA, "found %zu samples, want at least one unbroken segment of %zu",
                          welch->taken, plan->segment);
    quell_spectrum made = {.axes = plan->axes, .bins = plan->bins, .rate_hz = rate_hz, .window = welch->kind};
    if (!get_arrays(plan, arena, &made))
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a spectrum of %zu bins", plan->bins);
    made.bin_hz = rate_hz / (double)plan->segment;
    made.enbw_hz = quell_window_enbw_bins(welch->window, plan->segment) * made.bin_hz;
    made.segment = plan->segment;
    made.hop = plan->hop;
    made.segments = total->segments;
    made.dof = quell_welch_dof(welch->window, plan->segment, plan->hop, total->segments);
    quell_chi2_factors(made.dof, made.ci95_factor);
    quell_welch_bin_correlation(welch->window, plan->segment, plan->hop, total->segments,
                                made.bin_correlation);
    double scale = 1 / (rate_hz * power_sum(welch->window, plan->segment) * (double)total->segments);
    for (size_t k = 0; k < plan->bins; k++) {
        double factor = scale * quell_bin_sides(k, plan->segment);
        for (size_t i = 0; i < plan->axes; i++) {
            made.asd_m2ps3[i][k] = total->power[i][k] * factor;
            for (size_t j = i + 1; j < plan->axes && plan->cross; j++)
                made.cross_m2ps3[i][j][k] = total->product[i][j][k] * factor;
        }
    }
    *out = made;
    return QUELL_OK;
}

quell_status quell_spectrum_estimate(const double *const *accel_mps2, size_t axes, size_t n, double rate_hz,
                                     const size_t *break_at, size_t break_count,
                                     const quell_welch_options *options, quell_arena *arena,
                                     quell_spectrum *out, quell_error *err)
{
    quell_welch_options chosen = *options;
    if (chosen.segment == 0)
        chosen.segment = quell_welch_segment(rate_hz, n, 0);
    quell_welch *welch = NULL;
    quell_status status = quell_welch_create(&welch, axes, &chosen, err);
    for (size_t b = 0, at = 0; b <= break_count && status == QUELL_OK; b++) {
        size_t end = b < break_count && break_at[b] < n ? break_at[b] : n;
        if (end < at)
            continue;
        const double *part[3] = {0};
        for (size_t i = 0; i < axes; i++)
            part[i] = accel_mps2[i] + at;
        status = quell_welch_add(welch, part, end - at, err);
        if (status == QUELL_OK)
            status = quell_welch_break(welch, err);
        at = end;
    }
    if (status == QUELL_OK && welch->segments == 0)
        status = quell_fail(err, QUELL_E_DATA, "found %zu samples, want at least one unbroken segment of %zu",
                            n, chosen.segment);
    if (status == QUELL_OK)
        status = quell_welch_finish(welch, rate_hz, arena, out, err);
    quell_welch_destroy(welch);
    return status;
}
