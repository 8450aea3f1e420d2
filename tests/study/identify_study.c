/* Which shaper runs? Every family of the table, one of a machine file, lists of impulses and none, in effect in simulated sweeps,
   stops and random motion (not repeated: another seed) of machines whose modes are drawn at random and fall by 0.2 % from one side
   to the other. Told: how often the answer is right, "cannot tell", or wrong; how often the intervals hold the truth; whether
   natural and damped readings and a fixed damping ratio are told; time. Usage: identify_study [SEEDS [SEED]] */
#include "identify_truth.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define WARMING 0.002 /* of the modes' frequencies from one side to the other */

enum { KINDS = 3 };

static const char *const kind_name[KINDS] = {"sweep", "stops", "random"};
static const quell_excitation kinds[KINDS] = {QUELL_EXCITE_SWEEP, QUELL_EXCITE_STOPS, QUELL_EXCITE_RANDOM};

typedef struct tally {
    size_t right, cannot, wrong, held_f, held_zeta, intervals;
    size_t reading_right, reading_cannot, reading_wrong, damping_right, damping_cannot, damping_wrong;
    double seconds, longest_s;
} tally;

static double between(quell_random *random, double low, double high)
{
    return low + (high - low) * quell_random_uniform(random);
}

static bool list_is_right(const quell_shaper *found, const quell_shaper *truth)
{
    if (found->count != truth->count)
        return false;
    for (int backwards = 0; backwards < 2; backwards++) {
        bool same = true;
        for (size_t i = 0; i < truth->count; i++) {
            size_t k = backwards ? truth->count - 1 - i : i;
            double time_s = backwards ? truth->time_s[truth->count - 1] - truth->time_s[k] : truth->time_s[k];
            same = same && fabs(found->amplitude[i] - truth->amplitude[k]) < 0.03 && fabs(found->time_s[i] - time_s) < 3e-4;
        }
        if (same)
            return true;
    }
    return false;
}

/* What is entered, of which the truth is a reading. */
typedef struct entered {
    const char *family_id;
    quell_shaper truth;
    double hz, zeta, used_zeta;
    bool damped;
} entered;

static void judge(const quell_identification *id, const entered *of, tally *to, char *what)
{
    const quell_identified *best = &id->candidate[0];
    bool none = strcmp(of->family_id, "none") == 0, family = strcmp(best->family_id, of->family_id) == 0, among = false;
    size_t others = 0; /* families that are not told from it */
    for (size_t i = 1; i < id->alike; i++)
        others += strcmp(id->candidate[i].family_id, "impulses") != 0;
    for (size_t i = 0; i < id->alike; i++)
        among = among || strcmp(id->candidate[i].family_id, of->family_id) == 0;
    strcpy(what, "");
    if (id->in_effect == QUELL_TELLS_NOT)
        to->cannot++;
    else if (none ? id->in_effect == QUELL_TELLS_NO
                  : id->in_effect == QUELL_TELLS_YES && family && others == 0 &&
                        (strcmp(of->family_id, "impulses") != 0 || list_is_right(&best->shaper, &of->truth)))
        to->right++;
    else if (among && id->in_effect == QUELL_TELLS_YES)
        to->cannot++;
    else {
        to->wrong++;
        snprintf(what, 40, "wrong: %.30s", best->family_id);
    }
    if (none || !family || !best->has_point)
        return;
    double f = of->truth.at.frequency_hz, z = of->truth.at.damping_ratio;
    to->intervals++;
    bool held_f = f >= best->frequency_ci95_hz[0] && f <= best->frequency_ci95_hz[1];
    bool held_zeta = z >= best->damping_ratio_ci95[0] - 1e-9 && z <= best->damping_ratio_ci95[1] + 1e-9;
    to->held_f += held_f;
    to->held_zeta += held_zeta;
    if (!id->reading_known)
        to->reading_cannot++;
    else if ((id->reading == QUELL_DAMPED) == of->damped)
        to->reading_right++;
    else
        to->reading_wrong++;
    if (id->uses_damping == QUELL_TELLS_NOT)
        to->damping_cannot++;
    else if (id->uses_damping == QUELL_TELLS_YES ? held_zeta : of->zeta != of->used_zeta) /* "agrees" is no more than that */
        to->damping_right++;
    else
        to->damping_wrong++;
    if (!held_f && what[0] == '\0')
        snprintf(what, 40, "f not held");
}

static bool try_one(size_t kind, const entered *of, const quell_machine *machine, uint64_t seed, quell_random *random, tally *to)
{
    static quell_identification id;
    quell_arena *arena = quell_arena_create((size_t)1 << 29);
    quell_error err = {0};
    quell_side off, on;
    quell_ratio ratio;
    quell_simulation setup = identify_setup(kinds[kind], 2000);
    setup.mode[0].frequency_hz = between(random, 30, 70);
    setup.mode[0].damping_ratio = between(random, 0.02, 0.08);
    setup.mode[1].frequency_hz = between(random, 75, 110);
    setup.seed = 2 * seed;
    bool done = arena != NULL && identify_record(&setup, arena, &off, &err);
    setup.seed = 2 * seed + 1;
    for (size_t k = 0; k < setup.modes; k++) /* warmer by then */
        setup.mode[k].frequency_hz *= 1 - WARMING;
    setup.shaper = &of->truth;
    static quell_expected expected;
    expected = (quell_expected){.shaper = of->truth, .told_hz = of->hz, .damping_ratio = of->zeta};
    snprintf(expected.family_id, sizeof expected.family_id, "%s", of->family_id);
    const quell_identify_options options = {.machine = machine, .expected = &expected};
    done = done && identify_record(&setup, arena, &on, &err) &&
           quell_ratio_measure(&off, 1, &on, 1, 0, 0, NULL, arena, &ratio, &err) == QUELL_OK;
    clock_t start = clock();
    done = done && quell_identify(&ratio, NULL, &options, arena, &id, &err) == QUELL_OK;
    double seconds = (double)(clock() - start) / CLOCKS_PER_SEC;
    to->seconds += seconds;
    to->longest_s = fmax(to->longest_s, seconds);
    char what[40], spec[128];
    if (done)
        judge(&id, of, to, what);
    else
        fprintf(stderr, "%s\n", err.text);
    if (done && what[0] != '\0')
        printf("  %s, %s: %s\n", kind_name[kind], quell_shaper_format(&of->truth, spec, sizeof spec), what);
    quell_arena_destroy(arena);
    return done;
}

/* Draws what is entered, and how the controller reads it. */
static bool draw(entered *out, const char *id, const quell_own_family *own, quell_random *random)
{
    *out = (entered){
        .family_id = id, .hz = round(10 * between(random, 30, 75)) / 10, .zeta = round(1e3 * between(random, 0.02, 0.09)) / 1e3};
    out->damped = quell_random_uniform(random) < 0.5;
    out->used_zeta = quell_random_uniform(random) < 0.3 ? 0.1 : out->zeta;
    static const double tolerances[] = {0.05, 0.03, 0.08};
    quell_design_point at = {out->hz, out->used_zeta, tolerances[(size_t)(3 * quell_random_uniform(random))]};
    if (out->damped)
        at.frequency_hz /= sqrt(1 - out->used_zeta * out->used_zeta);
    if (strcmp(id, "none") == 0) {
        quell_shaper_identity(&out->truth);
        return true;
    }
    if (own != NULL)
        return quell_own_family_design(&out->truth, own, &at, NULL) == QUELL_OK;
    if (strcmp(id, "impulses") != 0)
        return quell_shaper_design(&out->truth, quell_family_find(id), &at, NULL) == QUELL_OK;
    double a = between(random, 0.3, 0.5), b = between(random, 0.2, 0.35), t = between(random, 0.005, 0.009);
    out->truth = (quell_shaper){.count = 3, .amplitude = {a, b, 1 - a - b}, .time_s = {0, t, t * between(random, 2.2, 2.7)}};
    return true;
}

static void print(const char *name, const tally *of)
{
    printf("%-16s %5zu %6zu %5zu", name, of->right, of->cannot, of->wrong);
    if (of->intervals > 0)
        printf("   %3zu/%-3zu %3zu/%-3zu   %3zu %3zu %3zu   %3zu %3zu %3zu", of->held_f, of->intervals, of->held_zeta,
               of->intervals, of->reading_right, of->reading_cannot, of->reading_wrong, of->damping_right, of->damping_cannot,
               of->damping_wrong);
    printf("\n");
    fflush(stdout);
}

static void add(tally *to, const tally *of)
{
    const size_t *from = &of->right;
    size_t *into = &to->right;
    for (size_t i = 0; i < offsetof(tally, seconds) / sizeof(size_t); i++)
        into[i] += from[i];
    to->seconds += of->seconds;
    to->longest_s = fmax(to->longest_s, of->longest_s);
}

int main(int argc, char **argv)
{
    size_t seeds = argc > 1 ? strtoul(argv[1], NULL, 10) : 2, count, tried = 0;
    uint64_t seed = argc > 2 ? strtoul(argv[2], NULL, 10) : 1;
    const quell_family *table = quell_families(&count);
    const quell_machine machine = identify_own_machine();
    quell_random *random = quell_random_create(seed);
    tally all = {0};
    if (random == NULL || seeds == 0 || seeds > 1000)
        return fprintf(stderr, "identify_study: want 1 to 1000 seeds\n"), 2;
    printf("%-16s %5s %6s %5s   f held  z held    reading       damping used\n%47s right/cannot tell/wrong\n", "in effect",
           "right", "cannot", "wrong", "");
    for (size_t i = 0; i < count + 3; i++) {
        tally one = {0};
        const char *id = i < count ? table[i].id : i == count ? "twin" : i == count + 1 ? "impulses" : "none";
        for (size_t n = 0; n < seeds * KINDS; n++) {
            entered of;
            if (draw(&of, id, i == count ? &machine.own[0] : NULL, random))
                tried += try_one(n % KINDS, &of, &machine, seed + 1000 * i + n, random, &one);
        }
        print(id, &one);
        add(&all, &one);
    }
    print("all", &all);
    printf("wrong %zu of %zu (goal 0): %s; one identification %.2f s, at most %.2f s (goal 2)\n", all.wrong, tried,
           all.wrong == 0 ? "met" : "NOT MET", all.seconds / (double)tried, all.longest_s);
    quell_random_destroy(random);
    return 0;
}
