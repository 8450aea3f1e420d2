/* Ringing after stops, before and after a change: how often the 95 % intervals of the amplitudes and of their ratio hold the
   truth, how often a change is claimed where there is none, and found where there is one. With a number as argument, so many
   pairs a row instead of 60. */
#include "stops_truth.h"

#include <stdio.h>

typedef struct row {
    const char *name;
    size_t modes, recordings; /* a side */
    double ambient_mps2, line_mps2;
    const char *shaper; /* family of the after side, NULL: none */
    double detune;      /* of the shaper's frequency, 95 % */
    double moved;       /* the modes' frequencies after, relative change */
    double between;     /* standard deviation of ln c between recordings */
    double stops;
    bool short_rests;
} row;

static const row rows[] = {
    {"no change, quiet", 1, 1, 0, 0, NULL, 0, 0, 0, 10, false},
    {"no change, fan, ambient", 2, 1, 0.3, 0.1, NULL, 0, 0, 0, 10, false},
    {"no change, 6 stops", 1, 1, 0.3, 0, NULL, 0, 0, 0, 5, false},
    {"no change, 3 recordings, c +-10 %", 1, 3, 0, 0, NULL, 0, 0, 0.1, 10, false},
    {"zv off by 8 %, quiet", 1, 1, 0, 0, "zv", 0.08, 0, 0, 10, false},
    {"zv off by 8 %, two modes, fan, ambient", 2, 1, 0.3, 0.1, "zv", 0.08, 0, 0, 10, false},
    {"zv exact: nothing left", 1, 1, 0.1, 0, "zv", 0, 0, 0, 10, false},
    {"zvd off by 8 %", 1, 1, 0, 0, "zvd", 0.08, 0, 0, 10, false},
    {"modes moved by 3 %", 2, 1, 0.1, 0, NULL, 0, 0.03, 0, 10, false},
    {"zv off by 8 %, 3 recordings, c +-10 %", 1, 3, 0, 0, "zv", 0.08, 0, 0.1, 10, false},
    {"zv off by 8 %, short rests", 1, 1, 0, 0, "zv", 0.08, 0, 0, 10, true},
    {"zv off by 8 %, loud ambient", 1, 1, 0.5, 0, "zv", 0.08, 0, 0, 10, false},
};

typedef struct tally {
    size_t runs, measured, before_in, after_in, ratio_in, ratio_known, claimed, counted, seen_after;
    double bias_before, bias_after, width, true_before, true_after;
} tally;

static bool within(double value, const double ci[2])
{
    return value >= ci[0] && value <= ci[1];
}

static void draw(const row *of, quell_random *random, quell_simulation *out)
{
    out->modes = of->modes;
    out->rate_hz = 1000 + 2200 * quell_random_uniform(random);
    out->mode[0].frequency_hz = 30 + 40 * quell_random_uniform(random);
    out->mode[1].frequency_hz = out->mode[0].frequency_hz * (1.5 + quell_random_uniform(random));
    for (size_t k = 0; k < 2; k++)
        out->mode[k].damping_ratio = 0.02 + 0.07 * quell_random_uniform(random);
    double slow = QUELL_TAU * fmin(out->mode[0].frequency_hz * out->mode[0].damping_ratio,
                                   out->mode[1].frequency_hz * out->mode[1].damping_ratio);
    out->dwell_s = of->short_rests ? 0.5 : 6.5 / slow + 0.1;
    out->seconds = of->stops * (out->dwell_s + 0.6);
    out->speed_mps = 0.1 + 0.1 * quell_random_uniform(random);
    out->acceleration_mps2 = 3 + 4 * quell_random_uniform(random);
    out->lines = of->line_mps2 > 0 ? 1 : 0;
    out->line[0] = (quell_line){112, of->line_mps2, {0.3, 0.2, 0.9}};
}

static void one(const row *of, uint64_t seed, tally *sum)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 30);
    quell_random *random = quell_random_create(seed);
    stops_record *record = QUELL_NEW(arena, stops_record, 2 * of->recordings);
    quell_side side[2][8];
    quell_simulation base = stops_setup(seed);
    quell_shaper shaper;
    double truth[2] = {0, 0}, true_mean[2];
    draw(of, random, &base);
    for (size_t s = 0; s < 2; s++) {
        quell_simulation setup = base;
        for (size_t k = 0; k < 2 && s == 1; k++)
            setup.mode[k].frequency_hz *= 1 + of->moved;
        if (s == 1 && of->shaper != NULL) {
            char spec[64];
            snprintf(spec, sizeof spec, "%s:%.4f:%.4f", of->shaper,
                     base.mode[0].frequency_hz * (1 + of->detune / 2 * quell_random_normal(random)),
                     base.mode[0].damping_ratio);
            if (quell_shaper_parse(&shaper, spec, NULL) != QUELL_OK)
                abort();
            setup.shaper = &shaper;
        }
        stops_truth mean = stops_find_truth(&setup);
        true_mean[s] = sqrt(mean.mean_power_m2 * exp(2 * of->between * of->between));
        for (size_t r = 0; r < of->recordings; r++) {
            quell_simulation own = setup;
            double factor = exp(of->between * quell_random_normal(random));
            for (size_t k = 0; k < 2; k++)
                own.mode[k].participation[0] *= factor;
            own.seed = seed * 100 + s * 10 + r;
            stops_record_make(&record[s * of->recordings + r], &own, of->ambient_mps2, arena);
            side[s][r] = stops_side_of(&record[s * of->recordings + r]);
            truth[s] += record[s * of->recordings + r].truth.mean_power_m2 / (double)of->recordings;
        }
        truth[s] = of->between > 0 ? true_mean[s] : sqrt(truth[s]);
    }
    quell_stops_comparison made = {0};
    const double band[2] = {0, 0};
    if (quell_stops_compare(side[0], of->recordings, side[1], of->recordings, 0, NULL, band, NULL, arena, &made,
                            NULL) != QUELL_OK)
        abort();
    sum->runs++;
    if (made.measured) {
        const quell_stops_change *all = &made.all;
        sum->measured++;
        sum->before_in += within(truth[0], all->before.ci95_m);
        sum->after_in += all->after.seen ? within(truth[1], all->after.ci95_m) : truth[1] <= all->after.ci95_m[1];
        sum->seen_after += all->after.seen;
        if (!isnan(all->ratio_ci95[1])) {
            sum->ratio_known++;
            sum->ratio_in += within(truth[1] / truth[0], all->ratio_ci95);
            sum->width += log(fmax(all->ratio_ci95[1], 1e-3) / fmax(all->ratio_ci95[0], 1e-3)) / 2;
        }
        sum->bias_before += all->before.amplitude_m / truth[0] - 1;
        sum->bias_after += truth[1] > 1e-7 ? all->after.amplitude_m / truth[1] - 1 : 0;
        sum->claimed += all->p_value < 0.05;
        sum->counted += all->counts;
        sum->true_before += truth[0];
        sum->true_after += truth[1];
    }
    if (getenv("SAY") != NULL)
        printf("%d %s | %.3f [%.3f %.3f] true %.3f | %.3f [%.3f %.3f] true %.3f | %.3f [%.3f %.3f] true %.3f p %.3g groups %zu alike %d modes %zu\n", (int)seed,
               made.measured ? "" : made.text, made.all.before.amplitude_m * 1e6, made.all.before.ci95_m[0] * 1e6,
               made.all.before.ci95_m[1] * 1e6, truth[0] * 1e6, made.all.after.amplitude_m * 1e6, made.all.after.ci95_m[0] * 1e6,
               made.all.after.ci95_m[1] * 1e6, truth[1] * 1e6, made.all.ratio, made.all.ratio_ci95[0], made.all.ratio_ci95[1], truth[1] / truth[0],
               made.all.p_value, made.groups, made.alike, made.modes);
    quell_random_destroy(random);
    quell_arena_destroy(arena);
}

int main(int argc, char **argv)
{
    long runs = argc > 1 ? strtol(argv[1], NULL, 10) : 60, only = argc > 2 ? strtol(argv[2], NULL, 10) : -1;
    printf("ringing after stops: share of 95 %% intervals that hold the truth (goal 90 to 98 %%), and of changes claimed\n");
    printf("(p < 0.05; goal 3 to 8 %% without a change, of those that count 0)\n");
    printf("%-40s %8s %8s %8s %8s %8s %8s %8s %8s %8s %8s %8s\n", "row", "measured", "um", "um after", "before", "after",
           "ratio", "+-ratio", "bias", "bias aft", "claimed", "count");
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        tally sum = {0};
        if (only >= 0 && (size_t)only != i)
            continue;
        for (long run = 0; run < runs; run++)
            one(&rows[i], 1000 + (uint64_t)run, &sum);
        double n = (double)(sum.measured > 0 ? sum.measured : 1), known = (double)(sum.ratio_known > 0 ? sum.ratio_known : 1);
        printf("%-40s %7.1f%% %8.1f %8.2f %7.1f%% %7.1f%% %7.1f%% %7.1f%% %7.2f%% %7.2f%% %7.1f%% %7.1f%%\n", rows[i].name,
               100 * (double)sum.measured / (double)sum.runs, 1e6 * sum.true_before / n, 1e6 * sum.true_after / n,
               100 * (double)sum.before_in / n, 100 * (double)sum.after_in / n, 100 * (double)sum.ratio_in / known,
               100 * sum.width / known, 100 * sum.bias_before / n, 100 * sum.bias_after / n,
               100 * (double)sum.claimed / n, 100 * (double)sum.counted / n);
        fflush(stdout);
    }
    return 0;
}
