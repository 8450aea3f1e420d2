/* Tailored shapers of a controller that takes only so many impulses, or only times that are multiples of a tick. With ticks
   alone the exchange runs over ticks. With a count, the nearest impulses are made one until there are no more, and the duration
   is lengthened until the polished result meets the limit: that is not proved to be the shortest. */
#include "shaping/tailor_private.h"

#include <math.h>

#define LONGEST 2.5    /* of the shortest duration without such limits */
#define STEP 0.005     /* of it, for a count without ticks */
#define MARGIN 1e-6

enum { TICKS_LATER = 400, SHIFTS = 60 };

/* Makes the two impulses that are closest, heavy ones farther off, one, until there are so many. */
static void cluster(quell_shaper *shaper, size_t most)
{
    while (shaper->count > most && shaper->count > 2) {
        size_t at = 0;
        double least = HUGE_VAL;
        for (size_t i = 0; i + 1 < shaper->count; i++) {
            double a = shaper->amplitude[i], b = shaper->amplitude[i + 1], apart = shaper->time_s[i + 1] - shaper->time_s[i];
            double cost = a + b > 0 ? a * b / (a + b) * apart * apart : 0;
            if (cost < least) {
                least = cost;
                at = i;
            }
        }
        double a = shaper->amplitude[at], b = shaper->amplitude[at + 1];
        double middle = a + b > 0 ? (a * shaper->time_s[at] + b * shaper->time_s[at + 1]) / (a + b) : shaper->time_s[at];
        bool first = at == 0, last = at + 2 == shaper->count;
        shaper->time_s[at] = first ? 0 : last ? shaper->time_s[at + 1] : middle;
        shaper->amplitude[at] = a + b;
        for (size_t i = at + 1; i + 1 < shaper->count; i++) {
            shaper->time_s[i] = shaper->time_s[i + 1];
            shaper->amplitude[i] = shaper->amplitude[i + 1];
        }
        shaper->count--;
    }
}

/* The best amplitudes for times as they are; false if they do not meet the limit. Impulses of no amplitude are left out. */
static bool fit_amplitudes(tailor_program *program, quell_shaper *shaper, double limit)
{
    program->held = true;
    program->columns = shaper->count;
    program->duration_s = shaper->time_s[shaper->count - 1];
    for (size_t i = 0; i < shaper->count; i++)
        program->time_s[i] = shaper->time_s[i];
    tailor_answer answer = tailor_program_solve(program, program->duration_s, limit);
    program->held = false;
    if (answer != TAILOR_FAILED)
        tailor_program_shaper(program, shaper);
    return answer == TAILOR_MEETS;
}

static void snap(quell_shaper *shaper, double tick_s)
{
    double end_s = tick_s * round(shaper->time_s[shaper->count - 1] / tick_s);
    for (size_t i = 0; i < shaper->count; i++)
        shaper->time_s[i] = tick_s * round(shaper->time_s[i] / tick_s);
    for (size_t i = 1; i < shaper->count; i++)
        if (shaper->time_s[i] < shaper->time_s[i - 1] + tick_s / 2)
            shaper->time_s[i] = shaper->time_s[i - 1] + tick_s;
    shaper->time_s[shaper->count - 1] = fmax(end_s, shaper->time_s[shaper->count - 1]);
}

/* Snapped to ticks, and inner impulses moved by a tick as long as that helps. */
static bool settle_on_ticks(tailor_program *program, quell_shaper *shaper, double tick_s, double limit)
{
    snap(shaper, tick_s);
    quell_shaper best = *shaper;
    if (fit_amplitudes(program, &best, limit)) {
        *shaper = best;
        return true;
    }
    double least = quell_bands_residual(program->bands, &best);
    bool better = true;
    for (size_t tries = 0; better && tries < SHIFTS;) {
        better = false;
        for (size_t i = 1; i + 1 < shaper->count && tries < SHIFTS; i++)
            for (int way = -1; way <= 1; way += 2, tries++) {
                quell_shaper moved = *shaper;
                moved.time_s[i] += way * tick_s;
                if (moved.time_s[i] < moved.time_s[i - 1] + tick_s / 2 || moved.time_s[i] > moved.time_s[i + 1] - tick_s / 2)
                    continue;
                quell_shaper fitted = moved;
                bool meets = fit_amplitudes(program, &fitted, limit);
                double residual = quell_bands_residual(program->bands, &fitted);
                if (meets) {
                    *shaper = fitted;
                    return true;
                }
                if (residual < least) {
                    least = residual;
                    *shaper = moved;
                    better = true;
                }
            }
    }
    return false;
}

/* At one duration. */
static bool try_few(quell_shaper *out, tailor_program *program, const quell_tailor_limits *limits, double duration_s)
{
    double limit = limits->residual_limit;
    if (tailor_program_solve(program, duration_s, limit) != TAILOR_MEETS)
        return false;
    quell_shaper few;
    tailor_program_shaper(program, &few);
    if (limits->impulses == 0 || few.count <= limits->impulses) {
        *out = few;
        return true;
    }
    cluster(&few, limits->impulses);
    double residual = tailor_polish(&few, program->bands);
    program->no_memory = program->no_memory || isnan(residual);
    bool meets = residual <= limit * (1 + MARGIN);
    if (meets && limits->tick_s > 0)
        meets = settle_on_ticks(program, &few, limits->tick_s, limit);
    if (meets)
        *out = few;
    return meets;
}

bool tailor_few(quell_shaper *out, tailor_program *program, const quell_tailor_limits *limits, double duration_s)
{
    double tick_s = limits->tick_s, ticks = tick_s > 0 ? ceil(duration_s / tick_s - 1e-9) : 0;
    if (limits->impulses == 1)
        return false;
    program->tick_s = tick_s;
    for (size_t i = 0; i < TICKS_LATER; i++) {
        double step_s = fmax(STEP * duration_s, tick_s);
        double longer = tick_s > 0 ? tick_s * (ticks + (double)i * (limits->impulses > 0 ? floor(step_s / tick_s) : 1))
                                   : duration_s * (1 + STEP * (double)i);
        if (longer > LONGEST * duration_s + 2 * tick_s)
            break;
        if (try_few(out, program, limits, longer))
            return true;
    }
    return false;
}
