/* The best of the textbook shapers, and of products of two or three of them, that keeps bands within a residual limit.

   On a grid of the logarithm of frequency the residual of a family at one design is the same row of numbers shifted, and what a
   product leaves of a mode is the product of what its parts leave. So all designs are tried by sums over rows, from the best
   measure on, and what is best on the grid is then improved off it. */
#include "shaping/tailor_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STEP_MOST 0.008       /* of ln f */
#define POINTS_A_BAND 40.0    /* at least */
#define BELOW 0.45            /* design frequencies: from this times the lowest of all bands ... */
#define ABOVE 1.7             /* ... to this times the highest */
#define PAIR_STEP 0.012       /* of ln of design frequencies of a product of two ... */
#define TRIPLE_STEP 0.05      /* ... and of three */
#define ALLOWED 1.03          /* of the limit, on the grid: finer designs may be better ... */
#define PAIR_ALLOWED 1.2      /* ... the more the coarser it is */
#define TRIPLE_ALLOWED 1.5
#define ALIKE 0.04            /* of ln f: closer designs are one start */

enum { COMPONENTS_MOST = 96, FREQUENCIES_MOST = 2600, KEPT = 8, FINALS = 2, STEPS_FIRST = 20, STEPS_FINALLY = 150, PARTS_MOST = TEXTBOOK_PARTS, DAMPINGS = 3 };

/* A family with all but its design frequency. */
typedef struct component {
    const quell_family *family;
    double zeta, tolerance;
    quell_shaper unit; /* at 1 Hz */
    double measure;    /* of that: duration, or the square of its spread */
    float *row;        /* V at a mode of ratio exp(step (i - offset)) to the design frequency, for each damping ratio */
} component;

/* Points of a band on the grid at one damping ratio, none outside: a design between two places may just keep the limit. */
typedef struct strip {
    size_t band, zeta, first, last;
} strip;

typedef struct found {
    size_t parts, component[PARTS_MOST], frequency[PARTS_MOST];
    double measure;
} found;

typedef struct hunt {
    const quell_bands *bands;
    const quell_textbook_limits *limits;
    double step, first_hz;    /* of the grid of modes and of designs */
    size_t modes, designs;    /* places on it */
    size_t offset, row_length;
    double zeta[QUELL_TAILOR_BANDS_MAX * DAMPINGS];
    size_t zetas, strips;
    strip strip[QUELL_TAILOR_BANDS_MAX * DAMPINGS];
    size_t components;
    component component[COMPONENTS_MOST];
    size_t kept;
    found best[KEPT];   /* of what is being hunted: families, products of two, of three */
    double bettered;    /* a measure that is reached already */
    double allowed;     /* R on the grid */
    size_t coarser;     /* steps of the grid from design to design */
    float *rows;
    bool no_memory;
} hunt;

/* ---------------------------------------------------------------- components */

double textbook_measure(const quell_textbook_limits *limits, const quell_shaper *shaper)
{
    quell_shaper_moments moments = quell_shaper_measure(shaper);
    return limits->by_spread ? moments.spread_s * moments.spread_s : moments.duration_s;
}

static bool allowed(const hunt *in, const quell_family *family)
{
    const quell_textbook_limits *limits = in->limits;
    for (size_t i = 0; i < limits->families; i++)
        if (limits->family[i] == family)
            return true;
    return limits->families == 0 && (family->flags & (QUELL_FAMILY_NEGATIVE | QUELL_FAMILY_SMOOTH)) == 0;
}

static void add_component(hunt *in, const quell_family *family, double zeta, double tolerance)
{
    component *made = &in->component[in->components];
    quell_design_point at = {1, zeta, tolerance};
    if (in->components == COMPONENTS_MOST || quell_shaper_design(&made->unit, family, &at, NULL) != QUELL_OK)
        return;
    made->family = family;
    made->zeta = zeta;
    made->tolerance = tolerance;
    made->measure = textbook_measure(in->limits, &made->unit);
    in->components++;
}

/* Families at damping ratios and tolerances that are apart enough to tell where the best may be. */
static void list_components(hunt *in)
{
    size_t count;
    const quell_family *family = quell_families(&count);
    double low = 1, high = 0, limit = in->limits->residual_limit;
    for (size_t k = 0; k < in->bands->count; k++) {
        low = fmin(low, in->bands->band[k].damping_ratio[0]);
        high = fmax(high, in->bands->band[k].damping_ratio[1]);
    }
    const double zetas[] = {(low + high) / 2, low, high}, tolerances[] = {1, 0.7, 1.25, 0.4};
    size_t ways = high > low ? 3 : 1;
    for (size_t z = 0; z < ways; z++)
        for (size_t v = 0; v < 4; v++)
            for (size_t i = 0; i < count; i++) {
                bool humps = (family[i].flags & QUELL_FAMILY_TOLERANCE) != 0;
                double fixed = in->limits->tolerance, tolerance = fixed > 0 ? fixed : fmin(tolerances[v] * limit, QUELL_TOLERANCE_MAX);
                bool again = (!humps || fixed > 0) && v > 0;
                if (allowed(in, &family[i]) && !again)
                    add_component(in, &family[i], zetas[z], humps ? tolerance : QUELL_TOLERANCE_DEFAULT);
            }
}

/* ---------------------------------------------------------------- rows */

static bool make_rows(hunt *in)
{
    in->rows = quell_memory_get(in->components * in->zetas * in->row_length * sizeof *in->rows);
    for (size_t c = 0; c < in->components && in->rows != NULL; c++) {
        component *of = &in->component[c];
        of->row = in->rows + c * in->zetas * in->row_length;
        for (size_t z = 0; z < in->zetas; z++)
            for (size_t i = 0; i < in->row_length; i++) {
                double ratio = exp(in->step * ((double)i - (double)in->offset));
                of->row[z * in->row_length + i] = (float)quell_residual(&of->unit, ratio, in->zeta[z]);
            }
    }
    return in->rows != NULL;
}

static void lay_grid(hunt *in)
{
    double low_hz = HUGE_VAL, high_hz = 0;
    const quell_bands *bands = in->bands;
    in->step = STEP_MOST;
    for (size_t k = 0; k < bands->count; k++) {
        const double *hz = bands->band[k].hz;
        low_hz = fmin(low_hz, hz[0]);
        high_hz = fmax(high_hz, hz[1]);
        in->step = fmin(in->step, fmax(log(hz[1] / hz[0]) / POINTS_A_BAND, 1e-6));
    }
    double octaves = log(high_hz / low_hz * ABOVE / BELOW);
    in->step = fmax(in->step, octaves / (FREQUENCIES_MOST - 2));
    in->first_hz = BELOW * low_hz;
    in->designs = (size_t)ceil(octaves / in->step) + 1;
    in->offset = in->designs;
    in->row_length = 2 * in->designs + 2;
    for (size_t k = 0; k < bands->count; k++)
        for (size_t z = 0; z < DAMPINGS; z++) {
            const quell_band *band = &bands->band[k];
            double share = (double)z / (DAMPINGS - 1);
            if (z > 0 && band->damping_ratio[0] == band->damping_ratio[1])
                break;
            in->zeta[in->zetas] = band->damping_ratio[0] + share * (band->damping_ratio[1] - band->damping_ratio[0]);
            in->strip[in->strips++] = (strip){k, in->zetas++, (size_t)ceil(log(band->hz[0] / in->first_hz) / in->step),
                                              (size_t)floor(log(band->hz[1] / in->first_hz) / in->step)};
        }
}

/* R of a product on the grid; given up above a value. */
static double residual_on_grid(const hunt *in, const found *of, double give_up)
{
    double worst[QUELL_TAILOR_BANDS_MAX] = {0}, total = 0;
    for (size_t s = 0; s < in->strips; s++) {
        const strip *at = &in->strip[s];
        const float *row[PARTS_MOST];
        float most = 0;
        for (size_t p = 0; p < of->parts; p++)
            row[p] = in->component[of->component[p]].row + at->zeta * in->row_length + in->offset - of->frequency[p];
        if (of->parts == 1)
            for (size_t i = at->first; i <= at->last; i++)
                most = row[0][i] > most ? row[0][i] : most;
        else if (of->parts == 2)
            for (size_t i = at->first; i <= at->last; i++) {
                float left = row[0][i] * row[1][i];
                most = left > most ? left : most;
            }
        else
            for (size_t i = at->first; i <= at->last; i++) {
                float left = row[0][i] * row[1][i] * row[2][i];
                most = left > most ? left : most;
            }
        double *kept = &worst[at->band], more = fmax(0, (double)most - *kept);
        *kept += more;
        total = in->bands->weighted ? total + in->bands->band[at->band].weight * more : fmax(total, *kept);
        if (total > give_up)
            return total;
    }
    return total;
}

/* ---------------------------------------------------------------- the hunt on the grid */

static double hz_at(const hunt *in, size_t frequency)
{
    return in->first_hz * exp(in->step * (double)frequency);
}

/* A component's measure at a design frequency; measures of parts add up to that of their product. */
static double part_measure(const hunt *in, size_t which, size_t frequency)
{
    double hz = hz_at(in, frequency), measure = in->component[which].measure;
    return in->limits->by_spread ? measure / (hz * hz) : measure / hz;
}

/* The measure that a new one must better. */
static double bar(const hunt *in)
{
    return in->kept < KEPT ? in->bettered : fmin(in->bettered, in->best[KEPT - 1].measure);
}

/* Parts in one order, whichever way they were tried. */
static found sorted(const found *one)
{
    found out = *one;
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
static bool same_make(const hunt *in, const found *a, const found *b)
{
    bool same = a->parts == b->parts;
    for (size_t p = 0; p < a->parts && same; p++)
        same = a->component[p] == b->component[p] &&
               in->step * fabs((double)a->frequency[p] - (double)b->frequency[p]) < ALIKE;
    return same;
}

static void keep(hunt *in, const found *made)
{
    const found ordered = sorted(made), *one = &ordered;
    size_t at = in->kept;
    for (size_t i = 0; i < in->kept; i++)
        if (same_make(in, &in->best[i], one)) {
            if (in->best[i].measure <= one->measure)
                return;
            at = i;
            break;
        }
    if (at == in->kept) {
        if (in->kept == KEPT)
            at = KEPT - 1;
        else
            in->kept++;
    }
    for (; at > 0 && in->best[at - 1].measure > one->measure; at--)
        in->best[at] = in->best[at - 1];
    in->best[at] = *one;
}

/* For the parts before the last as they are: designs of the last from the highest frequency, which has the least measure. */
static void try_last(hunt *in, found *one, double before)
{
    size_t last = one->parts - 1;
    for (size_t f = in->designs; f-- > 0;) {
        if (f % in->coarser != 0)
            continue;
        one->frequency[last] = f;
        one->measure = before + part_measure(in, one->component[last], f);
        if (one->measure >= bar(in))
            return;
        if (residual_on_grid(in, one, in->allowed) <= in->allowed) {
            keep(in, one);
            return;
        }
    }
}

static void try_parts(hunt *in, found *one, size_t part, double before)
{
    if (part + 1 >= one->parts || part + 1 >= PARTS_MOST) {
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
static size_t product_components(const hunt *in, size_t list[COMPONENTS_MOST])
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
static void hunt_on_grid(hunt *in, size_t parts)
{
    static const double steps[] = {0, PAIR_STEP, TRIPLE_STEP}, allowed[] = {ALLOWED, PAIR_ALLOWED, TRIPLE_ALLOWED};
    size_t list[COMPONENTS_MOST], count = product_components(in, list);
    in->kept = 0;
    in->allowed = allowed[parts - 1] * in->limits->residual_limit;
    in->coarser = (size_t)fmax(1, round(steps[parts - 1] / in->step));
    for (size_t c = 0; c < in->components && parts == 1; c++)
        try_parts(in, &(found){.parts = 1, .component = {c}}, 0, 0);
    for (size_t a = 0; a < count && parts == 2; a++)
        for (size_t b = a; b < count; b++)
            try_parts(in, &(found){.parts = 2, .component = {list[a], list[b]}}, 0, 0);
    for (size_t a = 0; a < count && parts == 3; a++)
        for (size_t b = a; b < count; b++)
            for (size_t c = b; c < count; c++)
                try_parts(in, &(found){.parts = 3, .component = {list[a], list[b], list[c]}}, 0, 0);
}

/* The best of the grid's as starts for textbook_improve. */
static void begin(const hunt *in, const found *one, textbook_candidate *out)
{
    *out = (textbook_candidate){.parts = one->parts};
    for (size_t p = 0; p < one->parts; p++) {
        const component *of = &in->component[one->component[p]];
        out->family[p] = of->family;
        out->at[p] = (quell_design_point){hz_at(in, one->frequency[p]), of->zeta, of->tolerance};
    }
}

/* Improves all a little and the two best among them to the end. */
static void improve_kept(hunt *in, textbook_candidate *best)
{
    textbook_candidate first[KEPT];
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
    hunt *in = quell_memory_get(sizeof *in);
    if (in == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a search of shapers");
    *in = (hunt){.bands = bands, .limits = limits, .bettered = HUGE_VAL};
    lay_grid(in);
    list_components(in);
    textbook_candidate best = {.keeps = false};
    if (!make_rows(in)) {
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a search of shapers");
    } else {
        for (size_t parts = 1; parts <= limits->parts && parts <= PARTS_MOST; parts++) {
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
