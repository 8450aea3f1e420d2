/* Before and after: pairs of sides recorded with quell_simulate on machines drawn by chance, without a change and with one. Told:
   how often any of all that is tested is significant after Holm's correction, how often any counts, how often 95 % intervals
   hold the truth, and how often a frequency that moved by 5 % is found.
   Usage: compare_study [SHARE [SEED]]: so many times the pairs of the table (default 1, about a minute; ten tell false alarms to half a per cent) */
#include "quell/compare.h"
#include "quell/simulate.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { SIDE_MAX = 5, RATE_HZ = 500 };

typedef struct row {
    const char *name;
    quell_excitation excitation;
    size_t modes, before, after; /* recordings a side */
    bool run_to_run;             /* every recording differs by chance in level, f and zeta */
    double shift;                /* of all frequencies after, relative */
    size_t pairs;
    double any_low, any_high; /* % of pairs with anything significant that is wanted; NaN: no limit */
    double found_least;       /* % of pairs whose first mode's shift counts */
} row;

#define NONE (double)NAN

static const row rows[] = {
    {"one mode, random motion, 30 s", QUELL_EXCITE_RANDOM, 1, 1, 1, false, 0, 160, 3, 8, NONE},
    {"two modes, random motion, 30 s", QUELL_EXCITE_RANDOM, 2, 1, 1, false, 0, 40, 3, 8, NONE},
    {"one mode, runs differ", QUELL_EXCITE_RANDOM, 1, 1, 1, true, 0, 30, NONE, NONE, NONE},
    {"the same, two a side", QUELL_EXCITE_RANDOM, 1, 2, 2, true, 0, 30, NONE, 8, NONE},
    {"the same, three a side", QUELL_EXCITE_RANDOM, 1, 3, 3, true, 0, 30, NONE, 8, NONE},
    {"the same, five a side", QUELL_EXCITE_RANDOM, 1, 5, 5, true, 0, 12, NONE, 8, NONE},
    {"three against one, runs differ", QUELL_EXCITE_RANDOM, 1, 3, 1, true, 0, 24, NONE, 8, NONE},
    {"three a side, runs do not differ", QUELL_EXCITE_RANDOM, 1, 3, 3, false, 0, 16, NONE, 8, NONE},
    {"sweep of 41 s", QUELL_EXCITE_SWEEP, 2, 1, 1, false, 0, 20, NONE, 8, NONE},
    {"stops, 30 s", QUELL_EXCITE_STOPS, 1, 1, 1, false, 0, 30, NONE, 8, NONE},
    {"one mode + 5 %, random, 30 s", QUELL_EXCITE_RANDOM, 1, 1, 1, false, 0.05, 60, NONE, NONE, 95},
    {"two modes + 5 %, random, 30 s", QUELL_EXCITE_RANDOM, 2, 1, 1, false, 0.05, 25, NONE, NONE, 95},
    {"+ 5 %, runs differ, two a side", QUELL_EXCITE_RANDOM, 1, 2, 2, true, 0.05, 20, NONE, NONE, NONE},
    {"+ 5 %, runs differ, three a side", QUELL_EXCITE_RANDOM, 1, 3, 3, true, 0.05, 20, NONE, NONE, 95},
    {"+ 5 %, sweep of 41 s", QUELL_EXCITE_SWEEP, 1, 1, 1, false, 0.05, 20, NONE, NONE, 95},
    {"+ 5 %, stops, 30 s", QUELL_EXCITE_STOPS, 1, 1, 1, false, 0.05, 30, NONE, NONE, 95},
};
enum { ROWS = sizeof rows / sizeof rows[0] };

static void stop(const char *what, const quell_error *err)
{
    fprintf(stderr, "compare_study: %s: %s\n", what, err->text);
    exit(1);
}

/* ---------------------------------------------------------------- one recording */

typedef struct machine {
    size_t modes;
    double f_hz[2], zeta[2], c[2];
} machine;

static double between(quell_random *random, double low, double high)
{
    return low + (high - low) * quell_random_uniform(random);
}

static machine draw_machine(const row *what, quell_random *random)
{
    machine out = {.modes = what->modes};
    out.f_hz[0] = between(random, 25, 50);
    out.f_hz[1] = out.f_hz[0] * between(random, 1.5, 1.9);
    for (size_t k = 0; k < 2; k++) {
        out.zeta[k] = between(random, 0.02, 0.08);
        out.c[k] = k == 0 ? between(random, 0.7, 1) : between(random, 0.2, 0.5);
    }
    return out;
}

/* How runs differ where they do: as a sensor that is clipped on anew and a machine as warm as it happens to be might. */
#define RUN_LEVEL 0.06 /* 0.5 dB */
#define RUN_F 0.003
#define RUN_ZETA 0.05

static void record(quell_recording *out, const row *what, const machine *is, quell_random *random,
                   quell_arena *arena)
{
    double spread = what->run_to_run ? 1 : 0, gain = exp(spread * RUN_LEVEL * quell_random_normal(random));
    double f_gain = exp(spread * RUN_F * quell_random_normal(random));
    quell_simulation setup = {.modes = is->modes,
                              .axis = 'x',
                              .excitation = what->excitation,
                              .sweep = {12, 115, 2.5, 4},
                              .random_rms_mps2 = 2,
                              .seconds = 30,
                              .preamble = {.rest_s = 2},
                              .stroke_m = 0.05,
                              .speed_mps = 0.15,
                              .acceleration_mps2 = 4,
                              .dwell_s = 0.7,
                              .rate_hz = RATE_HZ,
                              .noise_mps2_per_rthz = 1.2e-3,
                              .step_mps2 = 0.04,
                              .seed = (uint64_t)(quell_random_uniform(random) * 1e9)};
    for (size_t k = 0; k < is->modes; k++)
        setup.mode[k] =
            (quell_simulated_mode){is->f_hz[k] * f_gain,
                                   is->zeta[k] * exp(spread * RUN_ZETA * quell_random_normal(random)),
                                   {is->c[k], 0, 0}};
    quell_simulated made;
    quell_error err = {0};
    if (quell_simulate(&setup, arena, &made, &err) != QUELL_OK)
        stop("simulate", &err);
    *out = (quell_recording){.file = "made",
                             .format = "made",
                             .unit = "m/s2",
                             .axes = 1,
                             .axis_name = {"a"},
                             .scale_mps2 = {1},
                             .step_mps2 = {setup.step_mps2},
                             .resolution_mps2 = {setup.step_mps2},
                             .samples = made.count,
                             .rate_hz = RATE_HZ,
                             .rate_ci95_hz = {RATE_HZ, RATE_HZ},
                             .has_time = true};
    out->accel_mps2[0] = made.accel_mps2[0];
    for (size_t i = 0; i < made.count; i++)
        out->accel_mps2[0][i] *= gain;
}

/* ---------------------------------------------------------------- one pair */

typedef struct side {
    quell_spectrum spectrum[SIDE_MAX];
    quell_modes modes[SIDE_MAX];
    double dof[SIDE_MAX];
} side;

static void measure(side *out, size_t count, const row *what, const machine *is, quell_random *random,
                    quell_arena *arena)
{
    for (size_t i = 0; i < count; i++) {
        quell_recording recording;
        quell_error err = {0};
        record(&recording, what, is, random, arena);
        const double *axis[1] = {recording.accel_mps2[0]};
        const quell_welch_options welch = {.overlap = -1,
                                           .segment = quell_welch_segment(RATE_HZ, recording.samples, 0)};
        if (quell_spectrum_estimate(axis, 1, recording.samples, RATE_HZ, NULL, 0, &welch, arena,
                                    &out->spectrum[i], &err) != QUELL_OK)
            stop("spectrum", &err);
        quell_fitness fitness;
        quell_spectrum stretch;
        quell_measured how = {0};
        const quell_welch_options chosen = {.overlap = -1, .rate_hz = RATE_HZ};
        const quell_shaking stated = {.kind = what->excitation, .stated = true};
        const quell_modes_options options = {.shaking = &stated};
        if (quell_recording_judge(&fitness, &recording, 0, arena, &err) != QUELL_OK)
            stop("judge", &err);
        if (quell_modes_measure(&recording, 0, &fitness, &chosen, &options, arena, &stretch, &out->modes[i],
                                &how, &err) != QUELL_OK)
            stop("modes", &err);
        out->dof[i] = out->modes[i].kind == QUELL_EXCITE_STOPS && how.decays.stops >= 3
                          ? (double)how.decays.stops - 1
                          : (double)INFINITY;
    }
}

typedef struct tally {
    size_t pairs, any, counted,
        moved; /* pairs with anything significant, that counts, with the first mode's shift */
    size_t levels, levels_held, at_modes, at_modes_held, f, f_held, zeta, zeta_held,
        found; /* tests, and 95 % intervals that hold the truth */
    double level_error,
        level_width; /* sums, dB: of the bands' squared errors, of their intervals' half widths */
} tally;

static void add_level(tally *to, const quell_level_change *change)
{
    to->levels++;
    to->levels_held += change->ci95_db[0] <= 0 && change->ci95_db[1] >= 0;
    to->level_error += change->change_db * change->change_db;
    to->level_width += (change->ci95_db[1] - change->ci95_db[0]) / 2;
}

static void add_pair(tally *to, const row *what, const quell_comparison *found)
{
    bool any = false, counted = false;
    for (size_t i = 0; i < found->bands; i++) {
        any = any || found->band[i].p_holm < 0.05;
        counted = counted || found->band[i].counts;
        add_level(to, &found->band[i]);
    }
    for (size_t k = 0; k < found->modes; k++) {
        const quell_mode_change *mode = &found->mode[k];
        any =
            any || mode->level.p_holm < 0.05 || mode->frequency.p_holm < 0.05 || mode->damping.p_holm < 0.05;
        counted = counted || mode->counts;
        to->at_modes++;
        to->at_modes_held += mode->level.ci95_db[0] <= 0 && mode->level.ci95_db[1] >= 0;
        if (isnan(mode->frequency.p_value))
            continue;
        to->f++;
        to->f_held += mode->frequency.ci95[0] <= what->shift && mode->frequency.ci95[1] >= what->shift;
        to->zeta++;
        to->zeta_held += mode->damping.ci95[0] <= 0 && mode->damping.ci95[1] >= 0;
    }
    to->pairs++;
    to->any += any;
    to->counted += counted;
    to->moved += found->modes > 0 && found->mode[0].frequency.counts;
    to->found += found->modes == what->modes;
}

static void run_pair(tally *to, const row *what, quell_random *random)
{
    static side before, after;
    quell_arena *arena = quell_arena_create((size_t)1 << 30);
    quell_error err = {0};
    quell_comparison found;
    machine was = draw_machine(what, random), is = was;
    if (arena == NULL)
        exit(1);
    for (size_t k = 0; k < is.modes; k++)
        is.f_hz[k] *= 1 + what->shift;
    measure(&before, what->before, what, &was, random, arena);
    measure(&after, what->after, what, &is, random, arena);
    const quell_measured_side sides[2] = {{what->before, before.spectrum, before.modes, before.dof, true},
                                          {what->after, after.spectrum, after.modes, after.dof, true}};
    const double band_hz[2] = {10, 0.4 * RATE_HZ};
    if (quell_compare(&sides[0], &sides[1], 0, band_hz, arena, &found, &err) != QUELL_OK)
        stop("compare", &err);
    add_pair(to, what, &found);
    quell_arena_destroy(arena);
}

/* ---------------------------------------------------------------- told */

static double percent(size_t part, size_t whole)
{
    return whole > 0 ? 100 * (double)part / (double)whole : NONE;
}

static void print_value(double value, int decimals)
{
    if (isnan(value))
        printf(" %6s", "-");
    else
        printf(" %6.*f", decimals, value);
}

static int print(const row *what, const tally *of, double seconds)
{
    double any = percent(of->any, of->pairs), moved = percent(of->moved, of->pairs);
    bool missed = any < what->any_low || any > what->any_high || moved < what->found_least;
    bool goal = !isnan(what->any_high) || !isnan(what->found_least);
    double error = sqrt(of->level_error / (double)of->levels), width = of->level_width / (double)of->levels;
    bool same = !(what->shift > 0); /* levels change by what the modes' shift makes of them, else by 0 dB */
    printf("%-34s %5zu", what->name, of->pairs);
    print_value(any, 1);
    print_value(percent(of->counted, of->pairs), 1);
    print_value(moved, 1);
    print_value(same ? percent(of->levels_held, of->levels) : NONE, 1);
    print_value(same ? error : NONE, 2);
    print_value(width, 2);
    print_value(same ? percent(of->at_modes_held, of->at_modes) : NONE, 1);
    print_value(percent(of->f_held, of->f), 1);
    print_value(percent(of->zeta_held, of->zeta), 1);
    print_value(percent(of->found, of->pairs), 1);
    printf("  ");
    if (!isnan(what->any_low))
        printf("any: %.0f to %.0f %% ", what->any_low, what->any_high);
    else if (!isnan(what->any_high))
        printf("any: <= %.0f %% ", what->any_high);
    if (!isnan(what->found_least))
        printf("moved: >= %.0f %% ", what->found_least);
    printf("%s  %.1f s\n", !goal ? "" : missed ? "NOT MET" : "met", seconds);
    fflush(stdout);
    return missed;
}

int main(int argc, char **argv)
{
    double share = argc > 1 ? strtod(argv[1], NULL) : 1;
    unsigned long seed = argc > 2 ? strtoul(argv[2], NULL, 10) : 1;
    int missed = 0;
    if (!(share > 0) || share > 100)
        return fprintf(stderr, "compare_study: want a share above 0, up to 100\n"), 2;
    printf("Pairs, %% of them with anything significant, with anything that counts, whose first mode moved; "
           "bands: %% of 95 %%\n"
           "intervals that hold 0 dB, rms error and mean half width (dB); of levels at modes; of intervals "
           "of f and zeta, the truth;\n"
           "%% of pairs with as many modes as there are\n");
    printf("%-34s %5s %6s %6s %6s %6s %6s %6s %6s %6s %6s %6s\n", "", "pairs", "any", "counts", "moved",
           "levels", "error", "width", "mode", "f", "zeta", "modes");
    for (size_t r = 0; r < ROWS; r++) {
        quell_random *random = quell_random_create(1000 * seed + r);
        tally of = {0};
        clock_t start = clock();
        if (random == NULL)
            return 1;
        for (size_t i = 0; (double)i < share * (double)rows[r].pairs; i++)
            run_pair(&of, &rows[r], random);
        missed += print(&rows[r], &of, (double)(clock() - start) / CLOCKS_PER_SEC);
        quell_random_destroy(random);
    }
    printf("%d goals missed\n", missed);
    return 0;
}
