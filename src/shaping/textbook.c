/* The best of the textbook shapers, and of products of two or three of them, that keeps bands within a residual limit.

   On a grid of the logarithm of frequency the residual of a family at one design is the same row of numbers shifted, and what a
   product leaves of a mode is the product of what its parts leave. So all designs are tried by sums over rows, from the best
   measure on, and what is best on the grid is then improved off it. */
#include "shaping/textbook_private.h"

#include <math.h>

#define PAIR_STEP 0.012       /* of ln of design frequencies of a product of two ... */
#define TRIPLE_STEP 0.05      /* ... and of three */
#define ALLOWED 1.03          /* of the limit, on the grid: finer designs may be better ... */
#define PAIR_ALLOWED 1.2      /* ... the more the coarser it is */
#define TRIPLE_ALLOWED 1.5
#define ALIKE 0.04            /* of ln f: closer designs are one start */

enum { FINALS = 2, STEPS_FIRST = 20, STEPS_FINALLY = 150 };

static double hz_at(const textbook_hunt *in, size_t frequency)
{
    return in->first_hz * exp(in->step * (double)frequency);
}

/* A component's measure at a design frequency; measures of parts add up to that of their product. */
static double part_measure(const textbook_hunt *in, size_t which, size_t frequency)
{
    double hz = hz_at(in, frequency), measure = in->component[which].measure;
    return in->limits->by_spread ? measure / (hz * hz) : measure / hz;
}

/* The measure that a new one must better. */
static double bar(const textbook_hunt *in)
{
    return in->kept < TEXTBOOK_KEPT ? in->bettered : fmin(in->bettered, in->best[TEXTBOOK_KEPT - 1].measure);
}

/* Parts in one order, whichever way they were tried. */
static textbook_found sorted(const textbook_found *one)
{
    textbook_found out = *one;
    for (size_t i = 1; i < out.parts; i++)
        for (size_t k = i; k > 0; k--) {
            bool later = out.component[k] < out.component[k - 1] ||
                         (out.component[k] == out.component[k - 1] && out.frequency[k] < out.frequency[k - 1]);
            if (!later)
                break;
            size_t component_of = out.component[k], frequency = out.frequency[k];
            out.component[k] = out.component[k - 1];
            out.frequency[k] = out.frequency[k - 1];
            out.component[k - 1] = component_of;
            out.frequency[k - 1] = frequency;
        }
    return out;
}

/* Would improvement lead from one to the other? */
static bool same_make(const textbook_hunt *in, const textbook_found *a, const textbook_found *b)
{
    bool same = a->parts == b->parts;
    for (size_t p = 0; p < a->parts && same; p++)
        same = a->component[p] == b->component[p] &&
               in->step * fabs((double)a->frequency[p] - (double)b->frequency[p]) < ALIKE;
    return same;
}

static void keep(textbook_hunt *in, const textbook_found *made)
{
    const textbook_found ordered = sorted(made), *one = &ordered;
    size_t at = in->kept;
    for (size_t i = 0; i < in->kept; i++)
        if (same_make(in, &in->best[i], one)) {
            if (in->best[i].measure <= one->measure)
                return;
            at = i;
            break;
        }
    if (at == in->kept) {
        if (in->kept == TEXTBOOK_KEPT)
            at = TEXTBOOK_KEPT - 1;
        else
            in->kept++;
    }
    for (; at > 0 && in->best[at - 1].measure > one->measure; at--)
        in->best[at] = in->best[at - 1];
    in->best[at] = *one;
}

/* For the parts before the last as they are: designs of the last from the highest frequency, which has the least measure. */
static void try_last(textbook_hunt *in, textbook_found *one, double before)
{
    size_t last = one->parts - 1;
    for (size_t f = in->designs; f-- > 0;) {
        if (f % in->coarser != 0)
            continue;
        one->frequency[last] = f;
        one->measure = before + part_measure(in, one->component[last], f);
        if (one->measure >= bar(in))
            return;
        if (textbook_grid_residual(in, one, in->allowed) <= in->allowed) {
            keep(in, one);
            return;
        }
    }
}

static void try_parts(textbook_hunt *in, textbook_found *one, size_t part, double before)
{
    if (part + 1 >= one->parts || part + 1 >= TEXTBOOK_PARTS) {
        try_last(in, one, before);
        return;
    }
    for (size_t f = in->designs; f-- > 0;) {
        if (f % in->coarser != 0)
            continue;
        one->frequency[part] = f;
        double measure = before + part_measure(in, one->component[part], f);
        if (measure >= bar(in))
            return;
        try_parts(in, one, part + 1, measure);
    }
}

/* Components of products: each family once, at the middle of the damping ratios and the first tolerance. */
static size_t product_components(const textbook_hunt *in, size_t list[TEXTBOOK_COMPONENTS])
{
    size_t count = 0;
    for (size_t c = 0; c < in->components; c++) {
        bool again = false;
        for (size_t i = 0; i < count; i++)
            again = again || in->component[list[i]].family == in->component[c].family;
        if (!again)
            list[count++] = c;
    }
    return count;
}

/* Hunts among products of so many parts. */
static void hunt_on_grid(textbook_hunt *in, size_t parts)
{
    static const double steps[] = {0, PAIR_STEP, TRIPLE_STEP}, allowed[] = {ALLOWED, PAIR_ALLOWED, TRIPLE_ALLOWED};
    size_t list[TEXTBOOK_COMPONENTS], count = product_components(in, list);
    in->kept = 0;
    in->allowed = allowed[parts - 1] * in->limits->residual_limit;
    in->coarser = (size_t)fmax(1, round(steps[parts - 1] / in->step));
    for (size_t c = 0; c < in->components && parts == 1; c++)
        try_parts(in, &(textbook_found){.parts = 1, .component = {c}}, 0, 0);
    for (size_t a = 0; a < count && parts == 2; a++)
        for (size_t b = a; b < count; b++)
            try_parts(in, &(textbook_found){.parts = 2, .component = {list[a], list[b]}}, 0, 0);
    for (size_t a = 0; a < count && parts == 3; a++)
        for (size_t b = a; b < count; b++)
            for (size_t c = b; c < count; c++)
                try_parts(in, &(textbook_found){.parts = 3, .component = {list[a], list[b], list[c]}}, 0, 0);
}

/* The best of the grid's as starts for textbook_improve. */
static void begin(const textbook_hunt *in, const textbook_found *one, textbook_candidate *out)
{
    *out = (textbook_candidate){.parts = one->parts};
    for (size_t p = 0; p < one->parts; p++) {
        const textbook_component *of = &in->component[one->component[p]];
        out->family[p] = of->family;
        out->at[p] = (quell_design_point){hz_at(in, one->frequency[p]), of->zeta, of->tolerance};
    }
}

/* Improves all a little and the two best among them to the end. */
static void improve_kept(textbook_hunt *in, textbook_candidate *best)
{
    textbook_candidate first[TEXTBOOK_KEPT];
    for (size_t i = 0; i < in->kept; i++) {
        begin(in, &in->best[i], &first[i]);
        textbook_improve(&first[i], in->bands, in->limits, STEPS_FIRST);
        in->no_memory = in->no_memory || isnan(first[i].merit);
    }
    for (size_t round = 0; round < FINALS && round < in->kept; round++) {
        size_t at = 0;
        for (size_t i = 1; i < in->kept; i++)
            at = first[i].merit < first[at].merit ? i : at;
        textbook_candidate one = first[at];
        first[at].merit = HUGE_VAL;
        textbook_improve(&one, in->bands, in->limits, STEPS_FINALLY);
        in->no_memory = in->no_memory || isnan(one.merit);
        if (one.keeps && (!best->keeps || one.measure < best->measure))
            *best = one;
    }
}

quell_status quell_textbook_best(quell_textbook *out, const quell_bands *bands, const quell_textbook_limits *limits,
                                 quell_error *err)
{
    quell_status status = quell_bands_check(bands, err);
    if (status != QUELL_OK)
        return status;
    textbook_hunt *in = quell_memory_get(sizeof *in);
    if (in == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a search of shapers");
    *in = (textbook_hunt){.bands = bands, .limits = limits, .bettered = HUGE_VAL};
    textbook_grid_lay(in);
    textbook_list_components(in);
    textbook_candidate best = {.keeps = false};
    if (!textbook_grid_fill(in)) {
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a search of shapers");
    } else {
        for (size_t parts = 1; parts <= limits->parts && parts <= TEXTBOOK_PARTS; parts++) {
            hunt_on_grid(in, parts);
            improve_kept(in, &best);
            in->bettered = best.keeps ? best.measure : HUGE_VAL;
        }
        if (in->no_memory)
            status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a search of shapers");
        else if (!best.keeps)
            status = quell_fail(err, QUELL_E_NO_SHAPER, "no textbook shaper keeps these bands within the residual limit");
    }
    if (status == QUELL_OK)
        *out = best.made;
    quell_memory_free(in->rows);
    quell_memory_free(in);
    return status;
}
