/* Monte Carlo of the clock repair against known truths (clock_truth.h): share of runs whose count of samples
   is exact, share of samples misplaced, error of the rate, beside the goals of the design.

   clock_study [RUNS [ROWS]]: 20 runs of 50000 rows a line; run k of every line has seed k. */
#include "clock_truth.h"

#include "ingest/ingest_private.h"

#include <stdio.h>

/* What is asked of a line; 0: nothing. */
typedef struct goal {
    double exact, misplaced, off_ppm;
} goal;

typedef struct line {
    const char *kind;
    clock_truth truth;
    bool counter;
    goal wanted;
} line;

/* What came of the runs of a line. */
typedef struct tally {
    size_t runs, refused, exact;
    double rows, misplaced, worst, square_ppm, jitter;
} tally;

static quell_status place(clock_stamps *s, const double *counter, ingest_clock *clock)
{
    ingest_timeline *timeline = NULL;
    size_t prefix = s->rows < INGEST_PREFIX ? s->rows : INGEST_PREFIX, placed;
    quell_status status =
        ingest_timeline_begin(&timeline, s->stamp, counter, prefix, prefix == s->rows, NULL);
    if (status != QUELL_OK)
        return status;
    status = ingest_timeline_place(timeline, s->stamp, counter, s->rows, true, s->found, &placed, NULL);
    if (status == QUELL_OK)
        status = ingest_timeline_finish(timeline, clock, NULL);
    ingest_timeline_end(timeline);
    return status;
}

/* An eight-bit counter, every 50th value of it missing. */
static double *count_samples(const clock_stamps *s)
{
    double *counter = malloc(s->rows * sizeof *counter);
    for (size_t i = 0; counter != NULL && i < s->rows; i++)
        counter[i] = i % 50 == 20 ? (double)NAN : (double)((s->index[i] + 99) % 256);
    return counter;
}

static tally run(const line *of, size_t runs, size_t rows)
{
    tally out = {.runs = runs};
    for (size_t k = 1; k <= runs; k++) {
        clock_truth truth = of->truth;
        truth.rows = rows;
        truth.skip = 37 * k % 1000; /* the log begins in the middle of anything */
        truth.seed = k;
        clock_stamps s = clock_truth_make(&truth);
        double *counter = of->counter ? count_samples(&s) : NULL;
        ingest_clock clock;
        if (place(&s, counter, &clock) == QUELL_OK) {
            double misplaced = (double)clock_stamps_misplaced(&s), off = 1e6 * (clock.step / s.mean_step - 1);
            out.exact += s.found[rows - 1] == s.index[rows - 1];
            out.rows += (double)rows;
            out.misplaced += misplaced;
            out.worst = fmax(out.worst, misplaced / (double)rows);
            out.square_ppm += off * off / (double)runs;
            out.jitter += clock.jitter / (double)runs;
        } else {
            out.refused++;
        }
        free(counter);
        clock_stamps_free(&s);
    }
    return out;
}

/* Prints a line; true if it meets its goals. */
static bool report(const line *of, const tally *got)
{
    const clock_truth *t = &of->truth;
    double runs = (double)got->runs, misplaced = got->rows > 0 ? got->misplaced / got->rows : 1;
    double exact = (double)got->exact / runs, ppm = sqrt(got->square_ppm);
    bool met = exact >= of->wanted.exact && got->refused == 0 &&
               (!(of->wanted.misplaced > 0) || misplaced <= of->wanted.misplaced) &&
               (!(of->wanted.off_ppm > 0) || ppm <= of->wanted.off_ppm);
    char drift[16];
    snprintf(drift, sizeof drift, t->wander != 0 ? "wander %.0f" : "%.0f",
             1e6 * (t->wander != 0 ? t->wander : t->drift));
    printf("%-26s %4.0f%s %5.1f %5zu %-10s | %5.0f %8.4f %8.4f %9.3f %8.3f %3zu | ", of->kind,
           100 * t->jitter, t->uniform ? "u" : " ", 100 * t->lost, t->burst, drift, 100 * exact,
           100 * misplaced, 100 * got->worst, ppm, got->jitter, got->refused);
    if (of->wanted.misplaced > 0)
        printf("exact %.0f %%, <= %.4g %%: ", 100 * of->wanted.exact, 100 * of->wanted.misplaced);
    if (of->wanted.off_ppm > 0)
        printf("rate <= %.4g ppm: ", of->wanted.off_ppm);
    bool any = of->wanted.misplaced > 0 || of->wanted.off_ppm > 0;
    printf("%s\n", !any ? "no goal" : met ? "met" : "NOT MET");
    return met || !any;
}

static const struct {
    double jitter;
    bool uniform;
} jitters[] = {{0.02, false}, {0.1, false}, {0.15, false}, {0.2, false}, {0.2, true}};

static const struct {
    double lost;
    size_t burst;
} losses[] = {{0, 0}, {0.01, 0}, {0.05, 0}, {0.05, 5}, {0.05, 50}};

static const struct {
    double drift, wander;
} drifts[] = {{0, 0}, {3e-4, 0}, {0, 3e-4}};

static size_t study_fine(size_t runs, size_t rows)
{
    size_t missed = 0;
    for (size_t j = 0; j < INGEST_COUNT(jitters); j++)
        for (size_t l = 0; l < INGEST_COUNT(losses); l++)
            for (size_t d = 0; d < INGEST_COUNT(drifts); d++) {
                line of = {
                    "fine", {.step = 5e-4, .wander_samples = 20000, .start = 1.6e9}, false, {1, 0.001, 0}};
                of.truth.jitter = jitters[j].jitter;
                of.truth.uniform = jitters[j].uniform;
                of.truth.lost = losses[l].lost;
                of.truth.burst = losses[l].burst;
                of.truth.drift = drifts[d].drift;
                of.truth.wander = drifts[d].wander;
                tally got = run(&of, runs, rows);
                missed += !report(&of, &got);
            }
    return missed;
}

#define MS .resolution = 1e-3

/* Beyond the goal; whole milliseconds; batches; an eight-bit counter. A batch's latency is in steps. */
static const line others[] = {
    {"fine, jitter 25 %", {.step = 5e-4, .jitter = 0.25, .lost = 0.05}, false, {0, 0, 0}},
    {"fine, jitter 30 %", {.step = 5e-4, .jitter = 0.30, .lost = 0.01}, false, {0, 0, 0}},
    {"ms at 300 Hz", {.step = 1 / 300.0, .jitter = 0.05, .lost = 0.05, MS}, false, {1, 0.001, 0}},
    {"ms at 613 Hz", {.step = 1 / 613.0, .jitter = 0.05, .lost = 0.05, MS}, false, {1, 0.001, 0}},
    {"ms at 800 Hz", {.step = 1 / 800.0, MS}, false, {1, 0.001, 10}},
    {"ms at 1344 Hz", {.step = 1 / 1344.0, MS, .drift = 3e-4}, false, {1, 0.001, 10}},
    {"ms at 3200 Hz", {.step = 1 / 3200.0, MS, .jitter = 0.1}, false, {1, 0.001, 10}},
    {"ms at 3200 Hz", {.step = 1 / 3200.0, MS, .lost = 0.001}, false, {0, 0, 0}},
    {"ms at 3200 Hz", {.step = 1 / 3200.0, MS, .lost = 0.01}, false, {0, 0, 0}},
    {"ms at 3200 Hz", {.step = 1 / 3200.0, MS, .lost = 0.01, .burst = 50}, false, {0, 0, 10}},
    {"ms at 3200 Hz", {.step = 1 / 3200.0, MS, .lost = 0.05, .burst = 50}, false, {0, 0, 0}},
    {"batch 4, latency 1", {.step = 1 / 3200.0, .batch = 4, .latency = 1}, false, {1, 0.001, 10}},
    {"batch 32, latency 2", {.step = 1 / 3200.0, .batch = 32, .latency = 2}, false, {1, 0.001, 10}},
    {"batch 32, latency 2, drift",
     {.step = 1 / 3200.0, .batch = 32, .latency = 2, .drift = 3e-4},
     false,
     {1, 0.001, 10}},
    {"ragged 32, latency 2",
     {.step = 1 / 3200.0, .batch = 32, .ragged = true, .latency = 2},
     false,
     {1, 0.001, 10}},
    {"batch 32, latency 2, ms", {.step = 1 / 3200.0, .batch = 32, .latency = 2, MS}, false, {1, 0.001, 10}},
    {"batch 32, latency 10", {.step = 1 / 3200.0, .batch = 32, .latency = 10}, false, {1, 0.001, 50}},
    {"batch 512, latency 5", {.step = 1 / 6400.0, .batch = 512, .latency = 5}, false, {1, 0.001, 50}},
    {"batch 32, latency 0.2",
     {.step = 1 / 3200.0, .batch = 32, .latency = 0.2, .lost = 0.01, .burst = 50},
     false,
     {0, 0, 0}},
    {"batch 32, latency 2",
     {.step = 1 / 3200.0, .batch = 32, .latency = 2, .lost = 0.01, .burst = 50},
     false,
     {0, 0, 0}},
    {"batch 32, latency 10",
     {.step = 1 / 3200.0, .batch = 32, .latency = 10, .lost = 0.01, .burst = 50},
     false,
     {0, 0, 0}},
    {"counter, fine", {.step = 5e-4, .jitter = 0.2, .lost = 0.05}, true, {1, 0.001, 10}},
    {"counter, jitter 40 %", {.step = 5e-4, .jitter = 0.4, .lost = 0.05, .burst = 50}, true, {1, 0.001, 10}},
    {"counter, ms at 3200 Hz", {.step = 1 / 3200.0, MS, .lost = 0.05}, true, {1, 0.001, 10}},
    {"counter, batch 32",
     {.step = 1 / 3200.0, .batch = 32, .latency = 2, .lost = 0.05, .burst = 50},
     true,
     {1, 0.001, 50}},
};

int main(int count, char **word)
{
    size_t runs = count > 1 ? (size_t)strtoul(word[1], NULL, 10) : 20;
    size_t rows = count > 2 ? (size_t)strtoul(word[2], NULL, 10) : 50000, missed = 0;
    if (runs < 1 || rows < 1000) {
        fprintf(stderr, "clock_study [RUNS [ROWS]]: want 1 run and 1000 rows at least\n");
        return 2;
    }
    printf("clock repair: %zu runs of %zu rows a line, seeds 1 to %zu\n", runs, rows, runs);
    printf("%-26s %5s %5s %5s %-10s | %5s %8s %8s %9s %8s %3s | goal\n", "stamps", "jit %", "lost%", "burst",
           "drift ppm", "exact", "mispl. %", "worst %", "rate ppm", "jitter", "ref");
    missed += study_fine(runs, rows);
    for (size_t i = 0; i < INGEST_COUNT(others); i++) {
        tally got = run(&others[i], runs, rows);
        missed += !report(&others[i], &got);
    }
    printf("%zu lines miss their goals\n", missed);
    return 0;
}
