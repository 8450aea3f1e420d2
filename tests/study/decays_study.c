/* Free decays after stops: errors of damping ratio and frequency, coverage of the intervals, and how far the windows begin
   after the true ends of motion. Prints tables beside the goals; with a number as argument, so many recordings a row
   instead of 200. */
#include "decay_truth.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static const decay_row rows[] = {
    {"one mode, quiet (goal 1 %)", 1, 0, 0, USUAL},
    {"two modes, quiet (goal 1 %)", 2, 0, 0, USUAL},
    {"one mode, fan (goal 4 %)", 1, 0.1, 0, USUAL},
    {"one mode, fan, ambient (goal 4 %)", 1, 0.1, 5e-3 * G, USUAL},
    {"two modes, fan, ambient (goal 4 %)", 2, 0.1, 5e-3 * G, USUAL},
    {"one mode, any strokes, quiet", 1, 0, 0, ANY},
    {"two modes, any strokes, quiet", 2, 0, 0, ANY},
    {"one mode, any strokes, fan, ambient", 1, 0.1, 5e-3 * G, ANY},
};

typedef struct tally {
    size_t runs, right_count, stops, stops_found, early, modes, covered_zeta, covered_f;
    double zeta[2000], f[2000], late[20000], seconds;
    size_t late_count;
} tally;

static void one(const decay_row *of, uint64_t seed, tally *sum, bool say)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    quell_simulation setup = decay_draw(of, seed);
    quell_simulated made;
    double truth_s[TRUE_STOPS_MAX];
    if (quell_simulate(&setup, arena, &made, NULL) != QUELL_OK)
        abort();
    if (of->ambient_mps2 > 0)
        decay_add_ambient(of, &setup, &made, arena);
    quell_recording recording = {.axes = 3, .samples = made.count, .rate_hz = made.rate_hz};
    for (size_t k = 0; k < 3; k++)
        recording.accel_mps2[k] = made.accel_mps2[k];
    quell_decays decays = {0};
    const double band[2] = {0, 0};
    clock_t start = clock();
    if (quell_decays_find(&recording, 0, 0, made.count, band, arena, &decays, NULL) != QUELL_OK)
        abort();
    double took = (double)(clock() - start) / CLOCKS_PER_SEC;
    sum->seconds += took;
    sum->runs++;
    size_t stops = decay_true_stops(&setup, truth_s);
    sum->stops += stops;
    sum->stops_found += decays.stops;
    for (size_t s = 0; s < decays.stops; s++) {
        double nearest = 1e9,
               at = (double)decays.stop[s] / made.rate_hz; /* sample i is the mean over i / rate.. */
        for (size_t i = 0; i < stops; i++)
            if (fabs(at - truth_s[i]) < fabs(nearest))
                nearest = at - truth_s[i];
        sum->late[sum->late_count++] = nearest;
        sum->early += nearest < 0;
    }
    sum->right_count += decays.count == of->modes;
    for (size_t m = 0; m < of->modes; m++) {
        const quell_decay *best = NULL;
        for (size_t k = 0; k < decays.count; k++)
            if (fabs(decays.mode[k].frequency_hz / setup.mode[m].frequency_hz - 1) < 0.1 &&
                (best == NULL || fabs(decays.mode[k].frequency_hz - setup.mode[m].frequency_hz) <
                                     fabs(best->frequency_hz - setup.mode[m].frequency_hz)))
                best = &decays.mode[k];
        double zeta = setup.mode[m].damping_ratio, f = setup.mode[m].frequency_hz;
        sum->zeta[sum->modes] = best != NULL ? fabs(best->damping_ratio / zeta - 1) : 1;
        sum->f[sum->modes++] = best != NULL ? fabs(best->frequency_hz / f - 1) : 1;
        sum->covered_zeta +=
            best != NULL && best->damping_ratio_ci95[0] <= zeta && zeta <= best->damping_ratio_ci95[1];
        sum->covered_f += best != NULL && best->frequency_ci95_hz[0] <= f && f <= best->frequency_ci95_hz[1];
    }
    if (say) {
        printf("seed %d rate %.0f f %.1f z %.3f | %.1f %.3f c %.2f stroke %.3f v %.2f a %.1f dwell %.2f: %zu "
               "stops, window %.3f s, "
               "misfit %.3f noise %.3f, %.0f ms:",
               (int)seed, made.rate_hz, setup.mode[0].frequency_hz, setup.mode[0].damping_ratio,
               setup.mode[1].frequency_hz, setup.mode[1].damping_ratio, setup.mode[1].participation[0],
               setup.stroke_m, setup.speed_mps, setup.acceleration_mps2, setup.dwell_s, decays.stops,
               (double)decays.window / made.rate_hz, decays.rms_misfit_mps2, decays.noise_mps2, took * 1e3);
        for (size_t k = 0; k < decays.count; k++)
            printf(" [%.3f %.4f +-%.4f A %.2f]", decays.mode[k].frequency_hz, decays.mode[k].damping_ratio,
                   decays.mode[k].log_damping_se * decays.mode[k].damping_ratio,
                   decays.mode[k].amplitude_mps2);
        for (size_t s = 0; s < decays.stops && s < 8; s++)
            printf(" %.1f", sum->late[sum->late_count - decays.stops + s] * 1e3);
        printf("\n");
    }
    quell_arena_destroy(arena);
}

static int order(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double share(double *values, size_t count, double at)
{
    if (count == 0)
        return (double)NAN;
    qsort(values, count, sizeof *values, order);
    return values[(size_t)(at * (double)(count - 1))];
}

int main(int argc, char **argv)
{
    static tally sums[sizeof rows / sizeof rows[0]];
    long runs = argc > 1 ? strtol(argv[1], NULL, 10) : 200, only = argc > 2 ? strtol(argv[2], NULL, 10) : -1;
    printf("%-38s %9s %9s %9s %8s %8s %7s %7s %6s %22s %6s\n", "row", "zeta med", "zeta 95%", "f med",
           "cover z", "cover f", "count", "stops", "early", "window after stop, ms", "ms");
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        tally *sum = &sums[i];
        if (only >= 0 && (long)i != only)
            continue;
        for (long run = 0; run < runs && run < 1000; run++)
            one(&rows[i], (argc > 3 ? strtoull(argv[3], NULL, 10) : 1000) + (uint64_t)run, sum, argc > 2);
        double m = (double)sum->modes, n = (double)sum->runs;
        printf(
            "%-38s %8.2f%% %8.2f%% %8.3f%% %7.1f%% %7.1f%% %6.1f%% %6.1f%% %6zu %6.1f %6.1f %6.1f  %6.1f\n",
            rows[i].name, share(sum->zeta, sum->modes, 0.5) * 100, share(sum->zeta, sum->modes, 0.95) * 100,
            share(sum->f, sum->modes, 0.5) * 100, (double)sum->covered_zeta / m * 100,
            (double)sum->covered_f / m * 100, (double)sum->right_count / n * 100,
            (double)sum->stops_found / (double)sum->stops * 100, sum->early,
            share(sum->late, sum->late_count, 0) * 1e3, share(sum->late, sum->late_count, 0.5) * 1e3,
            share(sum->late, sum->late_count, 1) * 1e3, sum->seconds / n * 1e3);
    }
    return 0;
}
