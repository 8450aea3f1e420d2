/* The shortest non-negative shaper for a set of bands: bisection of the duration between what cannot meet the limit and what
   does, a few impulses in place of many, and the proof. */
#include "shaping/tailor_private.h"

#include <math.h>
#include <string.h>

#define LOWEST 0.8        /* of acos(V) / (pi f): the shortest for one undamped mode that is known exactly */
#define HIGHEST 1.06      /* of acosh(1/V) / (pi f): the shortest for all undamped modes from f on */
#define WIDEN 1.4         /* an end that fails its test */
#define BRACKET 1e-4      /* of the duration: within this it is known */
#define PROVED 0.99901    /* of the duration is proved to be too short */
#define LONGER 1.0001     /* where a few impulses leave a little more than many */
#define CLOSE 0.012       /* of the duration: impulses closer than this are one */
#define GIVEN_AWAY 2e-4   /* of the limit */
#define MARGIN 1e-6       /* of the limit, by which R may exceed it: rounding */

enum { WIDENINGS = 40, LENGTHENINGS = 4, PROOFS = 2 };

double tailor_lowest_hz(const quell_bands *bands)
{
    double low_hz = HUGE_VAL;
    for (size_t k = 0; k < bands->count; k++)
        low_hz = fmin(low_hz, bands->band[k].hz[0]);
    return low_hz;
}

/* Solves at a duration; anew where what was held before stands in the way. */
static tailor_answer ask(tailor_program *program, double duration_s, double limit)
{
    tailor_answer answer = tailor_program_solve(program, duration_s, limit);
    if (answer != TAILOR_FAILED)
        return answer;
    tailor_program_forget(program);
    return tailor_program_solve(program, duration_s, limit);
}

/* A duration that meets the limit, and one that is proved not to. False if the programs cannot be solved. */
static bool bracket(tailor_program *program, double limit, double range_s[2])
{
    double low_hz = tailor_lowest_hz(program->bands);
    range_s[0] = LOWEST * acos(limit) / (QUELL_PI * low_hz);
    range_s[1] = HIGHEST * acosh(1 / limit) / (QUELL_PI * low_hz);
    tailor_answer answer = TAILOR_UNSURE;
    for (size_t i = 0; i < WIDENINGS && (answer = ask(program, range_s[1], limit)) != TAILOR_MEETS; i++) {
        if (answer == TAILOR_CANNOT)
            range_s[0] = range_s[1];
        range_s[1] *= WIDEN;
    }
    if (answer != TAILOR_MEETS)
        return false;
    for (size_t i = 0; i < WIDENINGS && (answer = ask(program, range_s[0], limit)) != TAILOR_CANNOT; i++) {
        if (answer == TAILOR_MEETS)
            range_s[1] = range_s[0];
        range_s[0] /= WIDEN;
    }
    return answer == TAILOR_CANNOT;
}

/* Narrows it down; the upper end meets the limit, and *best is its shaper. */
static bool narrow(tailor_program *program, double limit, double range_s[2], quell_shaper *best, size_t *programs)
{
    bool any = false;
    while (range_s[1] - range_s[0] > BRACKET * range_s[1]) {
        double middle_s = (range_s[0] + range_s[1]) / 2;
        tailor_answer answer = ask(program, middle_s, limit);
        ++*programs;
        if (answer == TAILOR_FAILED)
            return false;
        range_s[answer == TAILOR_MEETS] = middle_s;
        if (answer == TAILOR_MEETS)
            tailor_program_shaper(program, best);
        any = any || answer == TAILOR_MEETS;
    }
    for (size_t i = 0; i < WIDENINGS && !any; i++, range_s[1] *= 1 + BRACKET) {
        any = ask(program, range_s[1], limit) == TAILOR_MEETS;
        if (any)
            tailor_program_shaper(program, best);
    }
    return any;
}

bool tailor_shortest(tailor_program *program, double limit, double range_s[2], quell_shaper *best, size_t *programs)
{
    return bracket(program, limit, range_s) && narrow(program, limit, range_s, best, programs);
}

/* A few impulses that meet the limit; a little longer if need be. */
static void simplify(quell_shaper *shaper, tailor_program *program, double limit)
{
    const quell_bands *bands = program->bands;
    static const double aparts[] = {3 * CLOSE, CLOSE, CLOSE / 3, CLOSE / 10, 0};
    for (size_t a = 0; a < sizeof aparts / sizeof aparts[0]; a++) {
        quell_shaper few = *shaper;
        tailor_merge(&few, aparts[a]);
        tailor_polish(&few, bands);
        tailor_merge(&few, 0);
        double residual = tailor_polish(&few, bands);
        for (size_t i = 0; i < LENGTHENINGS && residual > limit * (1 + MARGIN) && residual < limit * 1.01; i++) {
            for (size_t j = 0; j < few.count; j++)
                few.time_s[j] *= LONGER;
            residual = tailor_polish(&few, bands);
        }
        program->no_memory = program->no_memory || isnan(residual);
        if (residual <= limit * (1 + MARGIN)) {
            *shaper = few;
            return;
        }
    }
}

/* The atoms of a program that cannot meet the limit. */
static void take_proof(const tailor_program *program, double limit, quell_certificate *out)
{
    *out = (quell_certificate){.duration_s = program->duration_s, .residual_limit = limit};
    for (size_t j = 0; j < program->rows && out->count < QUELL_ATOMS_MAX; j++) {
        const tailor_row *row = &program->row[j];
        if (program->dual[j] > 0)
            out->atom[out->count++] = (quell_atom){row->band, row->hz, row->zeta, remainder(row->angle, QUELL_TAU),
                                                   program->dual[j]};
    }
}

/* Asks for a little more than the limit, which is what the check gives away between its samples. */
static bool prove(tailor_program *program, double duration_s, double limit, quell_certificate *out)
{
    for (size_t i = 0; i < PROOFS; i++) {
        quell_certificate proof = {0};
        if (i > 0)
            tailor_program_forget(program);
        ask(program, duration_s, limit * (1 + GIVEN_AWAY));
        take_proof(program, limit, &proof);
        if (quell_certificate_verify(&proof, program->bands, &proof.bound, NULL) == QUELL_OK) {
            *out = proof;
            return true;
        }
    }
    return false;
}

quell_status tailor_check_limits(const quell_tailor_limits *limits, quell_error *err)
{
    char text[32];
    if (!(limits->residual_limit >= QUELL_RESIDUAL_LIMIT_MIN && limits->residual_limit < 1))
        return quell_fail(err, QUELL_E_USAGE, "the residual limit is %s, want %g or more, and below 1",
                          quell_number_print(text, sizeof text, limits->residual_limit, 6), QUELL_RESIDUAL_LIMIT_MIN);
    if (!(limits->tick_s >= 0 && limits->tick_s <= 1))
        return quell_fail(err, QUELL_E_USAGE, "the tick is %s s, want 0 to 1",
                          quell_number_print(text, sizeof text, limits->tick_s, 6));
    return QUELL_OK;
}

static quell_status design(tailor_program *program, const quell_tailor_limits *limits, quell_tailored *out, quell_error *err)
{
    const quell_bands *bands = program->bands;
    double limit = limits->residual_limit, range_s[2];
    if (!tailor_shortest(program, limit, range_s, &out->shaper, &out->programs))
        return quell_fail(err, QUELL_E_NO_SHAPER, "no shaper was found for these bands: the linear programs cannot be solved");
    double shortest_s = range_s[1];
    simplify(&out->shaper, program, limit);
    out->proved = prove(program, PROVED * out->shaper.time_s[out->shaper.count - 1], limit, &out->certificate);
    bool restricted = limits->tick_s > 0 || (limits->impulses > 0 && out->shaper.count > limits->impulses);
    if (restricted && !tailor_few(&out->shaper, program, limits, shortest_s))
        return quell_fail(err, QUELL_E_NO_SHAPER, "no shaper on these ticks and of so few impulses meets the residual limit");
    out->residual_worst = quell_bands_residual(bands, &out->shaper);
    out->exchanges = program->exchanges;
    return QUELL_OK;
}

quell_status quell_tailor(quell_tailored *out, const quell_bands *bands, const quell_tailor_limits *limits, quell_error *err)
{
    quell_status status = quell_bands_check(bands, err);
    if (status == QUELL_OK)
        status = tailor_check_limits(limits, err);
    if (status != QUELL_OK)
        return status;
    tailor_program *program = quell_memory_get(sizeof *program);
    quell_tailored *made = quell_memory_get(sizeof *made);
    if (program == NULL || made == NULL) {
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a tailored design");
    } else {
        *made = (quell_tailored){.proved = false};
        tailor_program_start(program, bands, 1 / tailor_lowest_hz(bands), 0);
        status = design(program, limits, made, err);
        if (program->no_memory)
            status = quell_fail(err, QUELL_E_MEMORY, "out of memory for a tailored design");
    }
    if (status == QUELL_OK)
        *out = *made;
    quell_memory_free(program);
    quell_memory_free(made);
    return status;
}
