/* The shortest smooth kernel for a set of bands: non-negative, and made of B-splines of one order and knot width.

   A B-spline of order m is m boxes convolved, so such a kernel is a shaper convolved with one, and leaves what the two
   leave, multiplied: by [sinh(s d / 2) / (s d / 2)]^m for knots of width d, s = -zeta w + j wd. The linear program is
   therefore that of impulses, its demands multiplied by what the B-spline leaves. It is solved for the list that is handed
   out, not for the kernel behind it: knots are a whole number of steps of the list, boxes are lists of so many equal
   impulses, and the impulses of the program lie on the same steps. So nothing is lost in sampling, and the limit holds for
   the list itself.

   Sources: semi-infinite linear programs as in shaping.h; B-splines as repeated boxes, I. J. Schoenberg, Quart. Appl. Math. 4,
   1946. The combination is our own. */
#include "shaping/tailor_private.h"

#include <math.h>

enum { IMPULSES_LEAST = 16, IMPULSES_USUAL = 121, ORDER_MOST = 4, KNOT_STEPS_LEAST = 2 };

#define KNOTS_MOST 0.8  /* of the list, taken by the support of one B-spline */
#define LEEWAY 1e-3     /* of the limit, on the check of the list */
#define CARRIES 1e-12   /* amplitude below which an impulse is none */

/* What is asked for, in steps of the list. */
typedef struct smooth_plan {
    size_t impulses, order, knot; /* of the list; steps to a knot */
} smooth_plan;

/* Steps of the B-spline's list from its first impulse to its last. */
static size_t support(const smooth_plan *plan)
{
    return plan->order * (plan->knot - 1);
}

static quell_status make_plan(smooth_plan *out, const quell_tailor_limits *limits, size_t order, double knot_share,
                              quell_error *err)
{
    char text[32];
    out->impulses = limits->impulses == 0 ? IMPULSES_USUAL : limits->impulses;
    out->order = order;
    if (limits->tick_s > 0)
        return quell_fail(err, QUELL_E_USAGE, "a tick of %s s is stated, want none: the steps of a smooth kernel's list follow "
                                              "from its length",
                          quell_number_print(text, sizeof text, limits->tick_s, 6));
    if (out->impulses < IMPULSES_LEAST || out->impulses > QUELL_SHAPER_MAX)
        return quell_fail(err, QUELL_E_USAGE, "a smooth kernel of %zu impulses, want %d to %d", out->impulses, IMPULSES_LEAST,
                          QUELL_SHAPER_MAX);
    if (order < 1 || order > ORDER_MOST)
        return quell_fail(err, QUELL_E_USAGE, "the order of the B-splines is %zu, want 1 to %d", order, ORDER_MOST);
    if (!(knot_share > 0 && knot_share * (double)order <= KNOTS_MOST))
        return quell_fail(err, QUELL_E_USAGE, "the share of a knot is %s, want more than 0 and at most %g for order %zu",
                          isnan(knot_share) ? "not a number" : quell_number_print(text, sizeof text, knot_share, 6),
                          KNOTS_MOST / (double)order, order);
    out->knot = (size_t)fmax(round(knot_share * (double)out->impulses), KNOT_STEPS_LEAST);
    return QUELL_OK;
}

/* The B-spline's list, its impulses `step_s` apart: boxes of equal impulses, convolved. */
static void make_spline(const smooth_plan *plan, double step_s, quell_shaper *out)
{
    *out = (quell_shaper){.count = 1, .amplitude = {1}};
    for (size_t m = 0; m < plan->order; m++) {
        const size_t before = out->count;
        out->count += plan->knot - 1;
        for (size_t i = out->count; i-- > 0;) {
            double sum = 0;
            for (size_t k = 0; k < plan->knot; k++)
                if (i >= k && i - k < before)
                    sum += out->amplitude[i - k];
            out->amplitude[i] = sum / (double)plan->knot;
        }
    }
    for (size_t i = 0; i < out->count; i++)
        out->time_s[i] = step_s * (double)i;
}

/* The list: impulses of the program and B-spline convolved, all on the same steps. */
static void convolve_on_steps(const quell_shaper *impulses, const quell_shaper *spline, double step_s, quell_shaper *out)
{
    double sum[QUELL_SHAPER_MAX] = {0}, total = 0, first_s = 0;
    for (size_t i = 0; i < impulses->count; i++) {
        const size_t place = (size_t)lround(impulses->time_s[i] / step_s);
        for (size_t k = 0; k < spline->count && place + k < QUELL_SHAPER_MAX; k++)
            sum[place + k] += impulses->amplitude[i] * spline->amplitude[k];
    }
    *out = (quell_shaper){.count = 0};
    for (size_t i = 0; i < QUELL_SHAPER_MAX; i++) {
        if (!(sum[i] > CARRIES))
            continue;
        if (out->count == 0)
            first_s = step_s * (double)i;
        total += out->amplitude[out->count] = sum[i];
        out->time_s[out->count++] = step_s * (double)i - first_s;
    }
    for (size_t i = 0; i < out->count; i++)
        out->amplitude[i] /= total;
}

static quell_status design(tailor_program *program, const smooth_plan *plan, double limit, quell_tailored *out,
                           quell_error *err)
{
    quell_shaper impulses;
    double range_s[2];
    char found[32];
    if (!tailor_shortest(program, limit, range_s, &impulses, &out->programs))
        return quell_fail(err, QUELL_E_NO_SHAPER,
                          "no smooth kernel of %zu impulses with such knots was found to keep these bands within the limit",
                          plan->impulses);
    const double step_s = impulses.time_s[impulses.count - 1] / (double)program->even_ticks;
    quell_shaper spline;
    make_spline(plan, step_s, &spline);
    convolve_on_steps(&impulses, &spline, step_s, &out->shaper);
    out->exchanges = program->exchanges;
    out->residual_worst = quell_bands_residual(program->bands, &out->shaper);
    if (out->residual_worst > limit * (1 + LEEWAY))
        return quell_fail(err, QUELL_E_NO_SHAPER, "the smooth kernel found leaves %s, above the limit",
                          quell_number_print(found, sizeof found, out->residual_worst, 4));
    return QUELL_OK;
}

quell_status quell_tailor_smooth(quell_tailored *out, const quell_bands *bands, const quell_tailor_limits *limits,
                                 size_t order, double knot_share, quell_error *err)
{
    smooth_plan plan;
    quell_status status = quell_bands_check(bands, err);
    if (status == QUELL_OK)
        status = tailor_check_limits(limits, err);
    if (status == QUELL_OK)
        status = make_plan(&plan, limits, order, knot_share, err);
    if (status != QUELL_OK)
        return status;
    tailor_program *program = quell_memory_get(sizeof *program);
    quell_tailored *made = quell_memory_get(sizeof *made);
    if (program == NULL || made == NULL) {
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a smooth kernel");
    } else {
        *made = (quell_tailored){.proved = false};
        const double duration_s = 1 / tailor_lowest_hz(bands);
        quell_shaper spline;
        tailor_program_start(program, bands, duration_s, 0);
        program->even_ticks = plan.impulses - 1 - support(&plan);
        make_spline(&plan, duration_s / (double)program->even_ticks, &spline);
        program->with = &spline;
        status = design(program, &plan, limits->residual_limit, made, err);
        if (program->no_memory)
            status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a smooth kernel");
    }
    if (status == QUELL_OK)
        *out = *made;
    quell_memory_free(program);
    quell_memory_free(made);
    return status;
}
