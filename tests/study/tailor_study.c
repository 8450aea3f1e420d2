/* Tailored designs: 200 random sets of one to three modes, each limit in turn, weighted and not. Told: what is left, by marching an
   oscillator through the impulses; whether the proof holds; how many impulses; time; and the gain over the best textbook
   shaper, or product of up to three, under the same guarantee. Usage: tailor_study [DESIGNS [SEED]] */
#include "tailor_truth.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { DESIGNS_MAX = 10000, KINDS = 6 };

typedef struct row {
    double over, seconds, gain, short_of; /* R over the limit - 1; gain of duration; duration the proof falls short by */
    size_t impulses;
    bool proved, textbook;
} row;

static double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static double worst(const quell_bands *bands, const quell_shaper *shaper)
{
    double total = 0;
    for (size_t k = 0; k < bands->count; k++) {
        const double *hz = bands->band[k].hz, *zeta = bands->band[k].damping_ratio;
        double most = 0;
        for (size_t i = 0; i <= 800; i++)
            for (size_t z = 0; z <= 8; z++)
                most = fmax(most, left_by_marching(shaper, hz[0] + (hz[1] - hz[0]) * (double)i / 800,
                                                   zeta[0] + (zeta[1] - zeta[0]) * (double)z / 8));
        total = bands->weighted ? total + bands->band[k].weight * most : fmax(total, most);
    }
    return total;
}

static bool run(row *out, const quell_bands *bands, double limit)
{
    static quell_tailored made;
    static quell_textbook best;
    const quell_tailor_limits how = {limit, 0, 0};
    const quell_textbook_limits textbook = {.residual_limit = limit, .parts = bands->count};
    double bound, start = seconds_now();
    if (quell_tailor(&made, bands, &how, NULL) != QUELL_OK)
        return false;
    out->seconds = seconds_now() - start;
    double duration_s = made.shaper.time_s[made.shaper.count - 1];
    out->over = worst(bands, &made.shaper) / limit - 1;
    out->proved = made.proved && quell_certificate_verify(&made.certificate, bands, &bound, NULL) == QUELL_OK;
    out->short_of = 1 - made.certificate.duration_s / duration_s;
    out->impulses = made.shaper.count;
    out->textbook = quell_textbook_best(&best, bands, &textbook, NULL) == QUELL_OK;
    out->gain = out->textbook ? 1 - duration_s / best.shaper.time_s[best.shaper.count - 1] : (double)NAN;
    return true;
}

static void print_gains(const row *rows, size_t count)
{
    static double gain[DESIGNS_MAX];
    puts("gain over the best textbook shaper under the same guarantee, % of duration: least, median, nine tenths, most");
    for (size_t kind = 0; kind < KINDS; kind++) {
        size_t n = 0;
        for (size_t i = kind; i < count; i += KINDS)
            if (rows[i].textbook)
                gain[n++] = 100 * rows[i].gain;
        if (n == 0)
            continue;
        gsl_sort(gain, 1, n);
        printf("  %zu mode%s, %-12s %6.2f %6.2f %6.2f %6.2f\n", 1 + kind % 3, kind % 3 > 0 ? "s" : " ",
               kind / 3 == 1 ? "weighted" : "the largest", gain[0], gain[n / 2], gain[n * 9 / 10], gain[n - 1]);
    }
}

static int print(const row *rows, size_t count, size_t failed)
{
    double over = -1, longest_s = 0, mean_s = 0, least_gain = HUGE_VAL, short_of = 0;
    size_t many = 0, unproved = 0;
    for (size_t i = 0; i < count; i++) {
        over = fmax(over, rows[i].over);
        longest_s = fmax(longest_s, rows[i].seconds);
        mean_s += rows[i].seconds / (double)count;
        short_of = rows[i].proved ? fmax(short_of, rows[i].short_of) : short_of;
        unproved += !rows[i].proved;
        many += rows[i].impulses > 8;
        least_gain = rows[i].textbook ? fmin(least_gain, rows[i].gain) : least_gain;
    }
    const struct {
        const char *what;
        double value, wanted;
        const char *unit;
    } figure[] = {{"designs that failed", (double)failed, 0, ""},
                  {"without a proof that holds", (double)unproved, 0, ""},
                  {"proof short of the duration", 100 * short_of, 0.101, "%"},
                  {"R beyond the limit, by marching", 1e3 * over, 1, "per mille"},
                  {"more than 8 impulses", (double)many, 0, ""},
                  {"longer than the best textbook", -100 * least_gain, 0.1, "%"},
                  {"one design, longest", 1e3 * longest_s, 100, "ms"},
                  {"one design, mean", 1e3 * mean_s, 100, "ms"}};
    size_t missed = 0;
    for (size_t i = 0; i < sizeof figure / sizeof figure[0]; i++) {
        bool met = figure[i].value <= figure[i].wanted;
        missed += !met;
        printf("%-34s %9.3f %-9s <= %-7g %s\n", figure[i].what, figure[i].value, figure[i].unit, figure[i].wanted,
               met ? "met" : "NOT MET");
    }
    print_gains(rows, count);
    printf("%zu goals missed\n", missed);
    return 0;
}

int main(int argc, char **argv)
{
    static row rows[DESIGNS_MAX];
    size_t wanted = argc > 1 ? strtoul(argv[1], NULL, 10) : 200, count = 0, failed = 0;
    quell_random *random = quell_random_create(argc > 2 ? strtoul(argv[2], NULL, 10) : 1);
    if (random == NULL || wanted == 0 || wanted > DESIGNS_MAX)
        return fprintf(stderr, "tailor_study: want 1 to %d designs\n", DESIGNS_MAX), 2;
    printf("tailored designs: %zu\n", wanted);
    for (size_t i = 0; i < wanted; i++) {
        quell_bands bands;
        draw(&bands, random, i);
        if (run(&rows[count], &bands, tailor_limits[i % 4]))
            count++;
        else
            failed++;
        if (i % 20 == 19)
            fprintf(stderr, "\rtailored designs: %zu of %zu ", i + 1, wanted);
    }
    fputc('\r', stderr);
    quell_random_destroy(random);
    return print(rows, count, failed);
}
