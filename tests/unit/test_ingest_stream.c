/* ingest: one pass over a recording gives the samples that were written, in whatever pieces the bytes come, whether or
   not a thread reads ahead, and wherever samples are missing: at the ends of batches (4096 rows), where the first rows
   have been looked at (8192), at the edges of a span.

   Expected values: each test writes samples of known index and leaves some out; which come back, and where the gaps are,
   follows from that list alone. Lost samples are filled by the cubic through two neighbours on either side that lie on
   the same stretch (parabola or line where there are fewer); the test evaluates it in Newton's form. */
#include "ingest_help.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 24000, GAPS = 6 };
#define RATE_HZ 2000.0

/* ---------------------------------------------------------------- bytes in pieces */

typedef struct pieces {
    const char *bytes;
    size_t size, at, piece;
} pieces;

static quell_status read_piece(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    (void)err;
    pieces *source = context;
    size_t left = source->size - source->at, want = source->piece > 0 ? source->piece : size;
    *got = left < want ? left : want;
    *got = *got < size ? *got : size;
    memcpy(into, source->bytes + source->at, *got);
    source->at += *got;
    return QUELL_OK;
}

/* ---------------------------------------------------------------- a sink that collects */

typedef struct collected {
    size_t axes, samples, gaps, gap_at[64], gap_lost[64];
    double *value[3];
} collected;

static quell_status collect_begin(void *context, size_t axes, double rate_hz, quell_error *err)
{
    (void)err;
    ck_assert_double_gt(rate_hz, 0);
    ((collected *)context)->axes = axes;
    return QUELL_OK;
}

static quell_status collect_take(void *context, const double *const *value, size_t n, quell_error *err)
{
    (void)err;
    collected *out = context;
    ck_assert_uint_le(out->samples + n, 4 * MOST);
    for (size_t k = 0; k < out->axes; k++)
        memcpy(out->value[k] + out->samples, value[k], n * sizeof(double));
    out->samples += n;
    return QUELL_OK;
}

static quell_status collect_gap(void *context, size_t lost, quell_error *err)
{
    (void)err;
    collected *out = context;
    ck_assert_uint_lt(out->gaps, 64);
    out->gap_at[out->gaps] = out->samples;
    out->gap_lost[out->gaps++] = lost;
    return QUELL_OK;
}

/* ---------------------------------------------------------------- what is written */

typedef enum form { STAMPS, STAMPS_COUNTER, COUNTER, PLACES, EMPTY_CELLS } form;

typedef struct log_plan {
    form form;
    size_t rows; /* samples taken, lost ones included */
    struct {
        size_t at, lost;
    } gap[GAPS]; /* lost 0: none */
    const char *span;
    size_t from, to;  /* samples [from, to) that the span holds */
    size_t modulus;   /* at which the counter starts anew; 0: never */
    size_t uncounted; /* every so many rows, the first one too, have no count; 0: all have */
} log_plan;

static bool is_lost(const log_plan *plan, size_t i)
{
    for (size_t g = 0; g < GAPS; g++)
        if (i >= plan->gap[g].at && i - plan->gap[g].at < plan->gap[g].lost)
            return true;
    return false;
}

/* Whole thousandths, so that the text gives them to the last bit. */
static double value_of(size_t i, size_t k)
{
    return round(1e3 * (3 * sin(0.19 * (double)i + (double)k) + sin(0.05 * (double)(i * (k + 1))) +
                        (k == 2 ? 9.80665 : 0))) /
           1e3;
}

static void write_count(test_text *text, const log_plan *plan, size_t i)
{
    if (plan->uncounted > 0 && i % plan->uncounted == 0)
        test_text_add(text, ",");
    else
        test_text_add(text, "%zu,", plan->modulus > 0 ? (5 + i) % plan->modulus : 5 + i);
}

static void write_log(test_text *text, const log_plan *plan)
{
    static const char *const head[] = {"time_s,", "time_s,n,", "n,", "", "time_s,"};
    test_text_add(text, "%sax_mps2,ay_mps2,az_mps2\n", head[plan->form]);
    for (size_t i = 0; i < plan->rows; i++) {
        bool lost = is_lost(plan, i);
        if (lost && plan->form != PLACES && plan->form != EMPTY_CELLS)
            continue;
        if (plan->form == STAMPS || plan->form == STAMPS_COUNTER || plan->form == EMPTY_CELLS)
            test_text_add(text, "%.6f,", 100 + (double)i / RATE_HZ + 1e-6 * (double)(i * 7919 % 31));
        if (plan->form == STAMPS_COUNTER || plan->form == COUNTER)
            write_count(text, plan, i);
        if (lost)
            test_text_add(text, ",nan,\n");
        else
            test_text_add(text, "%.3f,%.3f,%.3f\n", value_of(i, 0), value_of(i, 1), value_of(i, 2));
    }
}

/* ---------------------------------------------------------------- what is expected */

typedef struct expected {
    size_t samples, gaps, filled, lost, breaks, break_at[GAPS], break_lost[GAPS];
    double value[3][MOST];
    bool guess[MOST]; /* filled: equal to rounding only */
} expected;

/* Newton's divided differences. */
static double interpolate(const double *x, const double *y, size_t n, double at)
{
    double c[4], sum = 0;
    memcpy(c, y, n * sizeof *c);
    for (size_t j = 1; j < n; j++)
        for (size_t i = n - 1; i >= j; i--)
            c[i] = (c[i] - c[i - 1]) / (x[i] - x[i - j]);
    for (size_t i = n; i-- > 0;)
        sum = sum * (at - x[i]) + c[i];
    return sum;
}

/* The next sample there is above (step 1) or below (step -1) i, if no more than two are missing in between; else none:
   i itself. */
static size_t neighbour(const log_plan *plan, size_t i, int step)
{
    size_t j = i;
    for (int passed = 0; passed < 3; passed++) {
        if (step < 0 ? j == plan->from : j + 1 >= plan->to)
            return i;
        j = step < 0 ? j - 1 : j + 1;
        if (!is_lost(plan, j))
            return j;
    }
    return i;
}

static void fill(expected *out, const log_plan *plan, size_t before, size_t after)
{
    size_t node[4], n = 0, first = neighbour(plan, before, -1), last = neighbour(plan, after, 1);
    if (first != before)
        node[n++] = first;
    node[n++] = before;
    node[n++] = after;
    if (last != after)
        node[n++] = last;
    for (size_t i = before + 1; i < after; i++, out->samples++) {
        for (size_t k = 0; k < 3; k++) {
            double x[4], y[4];
            for (size_t m = 0; m < n; m++) {
                x[m] = (double)node[m];
                y[m] = value_of(node[m], k);
            }
            out->value[k][out->samples] = interpolate(x, y, n, (double)i);
        }
        out->guess[out->samples] = true;
        out->filled++;
    }
}

static void expect(expected *out, const log_plan *plan)
{
    memset(out, 0, sizeof *out);
    size_t before = SIZE_MAX;
    for (size_t i = plan->from; i < plan->to; i++) {
        if (is_lost(plan, i))
            continue;
        size_t lost = before == SIZE_MAX ? 0 : i - before - 1;
        out->lost += lost;
        out->gaps += lost > 0;
        if (lost > 2) { /* 1/(8 * 100 Hz) at 2 kHz are two samples and a half */
            out->break_at[out->breaks] = out->samples;
            out->break_lost[out->breaks++] = lost;
        } else if (lost > 0) {
            fill(out, plan, before, i);
        }
        for (size_t k = 0; k < 3; k++)
            out->value[k][out->samples] = value_of(i, k);
        out->samples++;
        before = i;
    }
}

/* ---------------------------------------------------------------- compared */

static void check_samples(const expected *want, const quell_recording *got)
{
    ck_assert_uint_eq(got->samples, want->samples);
    ck_assert_uint_eq(got->lost_samples, want->lost);
    ck_assert_uint_eq(got->gaps, want->gaps);
    ck_assert_uint_eq(got->filled_samples, want->filled);
    ck_assert_uint_eq(got->break_count, want->breaks);
    for (size_t b = 0; b < want->breaks; b++) {
        ck_assert_uint_eq(got->break_at[b], want->break_at[b]);
        ck_assert_uint_eq(got->break_lost[b], want->break_lost[b]);
    }
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < want->samples; i++)
            if (!(fabs(got->accel_mps2[k][i] - want->value[k][i]) <= (want->guess[i] ? 1e-9 : 0)))
                ck_abort_msg("axis %zu sample %zu: %.17g, want %.17g", k, i, got->accel_mps2[k][i],
                             want->value[k][i]);
}

static void check_same(const quell_recording *one, const quell_recording *other)
{
    ck_assert_uint_eq(one->samples, other->samples);
    ck_assert_uint_eq(one->lost_samples, other->lost_samples);
    ck_assert_uint_eq(one->filled_samples, other->filled_samples);
    ck_assert(one->rate_hz == other->rate_hz);
    ck_assert(one->start_s == other->start_s);
    ck_assert(one->offset_s == other->offset_s);
    ck_assert(one->jitter_fraction == other->jitter_fraction);
    ck_assert_mem_eq(one->step_mps2, other->step_mps2, sizeof one->step_mps2);
    ck_assert_mem_eq(one->clipped_fraction, other->clipped_fraction, sizeof one->clipped_fraction);
    ck_assert_uint_eq(one->findings.count, other->findings.count);
    for (size_t i = 0; i < one->findings.count; i++)
        ck_assert_str_eq(one->findings.item[i].text, other->findings.item[i].text);
    double scatter[2][3][3];
    quell_recording_scatter(one, scatter[0]);
    quell_recording_scatter(other, scatter[1]);
    ck_assert_mem_eq(scatter[0], scatter[1], sizeof scatter[0]);
}

static void check_collected(const collected *got, const quell_recording *want)
{
    ck_assert_uint_eq(got->axes, want->axes);
    ck_assert_uint_eq(got->samples, want->samples);
    ck_assert_uint_eq(got->gaps, want->break_count);
    for (size_t b = 0; b < got->gaps; b++) {
        ck_assert_uint_eq(got->gap_at[b], want->break_at[b]);
        ck_assert_uint_eq(got->gap_lost[b], want->break_lost[b]);
    }
    bool same = true;
    for (size_t k = 0; k < got->axes; k++)
        for (size_t i = 0; i < got->samples; i++)
            same = same && got->value[k][i] * want->scale_mps2[k] == want->accel_mps2[k][i];
    ck_assert(same);
}

/* Reads it as a whole, and through a sink: with and without a thread that reads ahead, in pieces of changing sizes. */
static void check_plan(const log_plan *plan)
{
    static const size_t piece[] = {0, 4093, 65536, 97, 4096, 100003, 13};
    static size_t turn;
    static expected want;
    test_text text = {0};
    collected got = {0};
    quell_error err = {0};
    write_log(&text, plan);
    expect(&want, plan);
    for (size_t k = 0; k < 3; k++)
        ck_assert_ptr_nonnull(got.value[k] = malloc(4 * MOST * sizeof(double)));
    quell_arena *arena = quell_arena_create((size_t)1 << 30);
    quell_read_options options = {.span = plan->span};
    if (plan->form == COUNTER || plan->form == PLACES)
        options.rate = "2000";
    quell_recording whole;
    ck_assert_msg(test_read(&whole, &text, &options, arena, &err) == QUELL_OK, "%s", err.text);
    check_samples(&want, &whole);
    for (size_t t = 0; t < 2; t++) {
        size_t one_byte = text.length < 20000; /* more would be slow */
        pieces state = {text.bytes, text.length, 0,
                        one_byte ? 1 : piece[turn++ % (sizeof piece / sizeof piece[0])]};
        const quell_source source = {"log.csv", read_piece, &state};
        const quell_sink sink = {&got, collect_begin, collect_take, collect_gap};
        options.threads = t % 2 == 0 ? 0 : 2;
        got.samples = got.gaps = 0;
        quell_recording passed;
        ck_assert(quell_recording_stream(&passed, &source, &options, &sink, arena, &err) == QUELL_OK);
        check_collected(&got, &whole);
        check_same(&passed, &whole);
    }
    for (size_t k = 0; k < 3; k++)
        free(got.value[k]);
    quell_arena_destroy(arena);
    test_text_free(&text);
}

/* ---------------------------------------------------------------- lengths */

START_TEST(test_lengths)
{
    static const size_t rows[] = {17,   63,   64,   65,   500,  4095,  4096, 4097,
                                  8191, 8192, 8193, 8703, 8704, 12288, 12289};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        log_plan plan = {.form = (form)_i, .rows = rows[i], .to = rows[i]};
        check_plan(&plan);
    }
}
END_TEST

/* ---------------------------------------------------------------- losses */

START_TEST(test_losses)
{
    static const size_t at[] = {1, 2, 3, 4094, 4095, 4096, 8190, 8191, 8192, 8193, 12297};
    static const size_t lost[] = {1, 2, 3, 700};
    for (size_t i = 0; i < sizeof at / sizeof at[0]; i++)
        for (size_t j = (i + (size_t)_i) % 2; j < sizeof lost / sizeof lost[0]; j += 2) {
            /* and a single one close by, on either side */
            log_plan plan = {.form = (form)_i, .rows = 12300 + lost[j], .to = 12300 + lost[j]};
            plan.gap[0].at = at[i];
            plan.gap[0].lost = lost[j];
            plan.gap[1].at = at[i] + lost[j] + 1 + i % 2;
            plan.gap[1].lost = i % 3;
            if (plan.gap[1].at + 2 >= plan.rows)
                plan.gap[1].lost = 0;
            check_plan(&plan);
        }
}
END_TEST

/* Rows that hold a stamp only, or nothing, at both ends, and for longer than a batch or than the rows that are looked at
   before the first is placed. */
START_TEST(test_empty_rows)
{
    static const struct {
        size_t at, lost;
    } row[] = {{0, 1}, {0, 200}, {3000, 5191}, {3000, 5192}, {3000, 9000}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        log_plan plan = {.form = (form)_i, .rows = 14000, .to = 14000};
        plan.gap[0].at = row[i].at;
        plan.gap[0].lost = row[i].lost;
        plan.gap[1].at = 13500;
        plan.gap[1].lost = 500;
        plan.from = row[i].at == 0 ? row[i].lost : 0;
        check_plan(&plan);
    }
}
END_TEST

/* Every 50th row ends too soon, in stamps of whole milliseconds: alone, the other rows would look like 980 Hz. Where the
   stamp itself may have been cut, it does not count. */
START_TEST(test_short_rows)
{
    static const struct {
        const char *head, *cut; /* cut: what follows the stamp in a short row */
        char delimiter;
    } row[] = {{"time_ms,ax_mps2,ay_mps2,az_mps2", ",0.5", ','},
               {"time_ms;ax_mps2;ay_mps2;az_mps2", ";", ';'},
               {"time_ms ax_mps2 ay_mps2 az_mps2", " 0.5", ' '},
               {"\"time_ms\",\"ax_mps2\",\"ay_mps2\",\"az_mps2\"", ",0.5", ','}};
    for (size_t r = 0; r < sizeof row / sizeof row[0]; r++) {
        test_text text = {0};
        test_text_add(&text, "%s\n", row[r].head);
        for (size_t i = 0; i < 20000; i++) {
            const char d = row[r].delimiter;
            if (i == 10001)
                test_text_add(&text, "10\n"); /* was 10001 */
            else if (i % 50 == 3)
                test_text_add(&text, "%zu%s\n", i, row[r].cut);
            else
                test_text_add(&text, "%zu%c%.3f%c%.3f%c%.3f\n", i, d, value_of(i, 0), d, value_of(i, 1), d,
                              value_of(i, 2));
        }
        quell_arena *arena = quell_arena_create((size_t)1 << 30);
        quell_recording recording;
        quell_error err = {0};
        ck_assert_msg(test_read(&recording, &text, NULL, arena, &err) == QUELL_OK, "%s", err.text);
        CHECK_NEAR(recording.rate_hz, 1000, 1e-3);
        ck_assert_uint_eq(recording.lost_samples, 401);
        ck_assert_uint_eq(recording.samples, 20000);
        ck_assert(!recording.coarse_stamps);
        quell_arena_destroy(arena);
        test_text_free(&text);
    }
}
END_TEST

/* ---------------------------------------------------------------- counters */

/* One byte, two bytes, and counts that are missing, the first one too: with stamps and without. */
START_TEST(test_counters)
{
    static const size_t modulus[] = {0, 256, 65536};
    for (size_t m = 0; m < 3; m++)
        for (size_t uncounted = 0; uncounted < 300; uncounted = 8 * uncounted + 4) {
            log_plan plan = {.form = (form)_i, .rows = 14000, .to = 14000};
            plan.modulus = modulus[m];
            plan.uncounted = uncounted;
            plan.gap[0].at =
                8192; /* the row behind has a count: without stamps, one without would go before */
            plan.gap[0].lost = 1;
            plan.gap[1].at = 5001;
            plan.gap[1].lost = 90;
            check_plan(&plan);
        }
}
END_TEST

static void read_counted(quell_recording *out, quell_arena *arena, const char *const count[3])
{
    test_text text = {0};
    test_text_add(&text, "n,ax_mps2,ay_mps2,az_mps2\n");
    for (size_t i = 0; i < 9000; i++)
        test_text_add(&text, "%zu%s,%.3f,%.3f,%.3f\n", i % (size_t)atoi(count[0]),
                      i % 2 == 0 ? count[1] : count[2], value_of(i, 0), value_of(i, 1), value_of(i, 2));
    const quell_read_options options = {.rate = "2000"};
    ck_assert_int_eq(test_read(out, &text, &options, arena, NULL), QUELL_OK);
    test_text_free(&text);
}

/* A counter that cannot be one, or was set back: said, and the rows are taken as they stand. */
START_TEST(test_odd_counters)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 30);
    quell_recording recording;
    read_counted(&recording, arena, (const char *const[]){"9000", ".25", ".75"});
    const quell_finding *finding = test_finding(&recording.findings, "counter");
    ck_assert_ptr_nonnull(finding);
    ck_assert_int_eq(finding->severity, QUELL_WARN);
    ck_assert(!recording.has_counter);
    ck_assert_uint_eq(recording.samples, 9000);
    ck_assert_uint_eq(recording.lost_samples, 0);

    read_counted(&recording, arena,
                 (const char *const[]){"3000", "", ""}); /* set back at rows 3000 and 6000 */
    ck_assert(recording.has_counter);
    ck_assert_uint_eq(recording.samples, 9000);
    ck_assert_uint_eq(recording.lost_samples, 0);
    double resets = 0;
    for (size_t i = 0; i < recording.findings.count; i++)
        if (recording.findings.item[i].severity == QUELL_WARN && recording.findings.item[i].kind[0] == 'c')
            resets = recording.findings.item[i].value;
    ck_assert(resets == 2);
    quell_arena_destroy(arena);
}
END_TEST

/* ---------------------------------------------------------------- spans */

START_TEST(test_spans)
{
    static const struct {
        const char *span;
        size_t from, to;
    } row[] = {
        {"0:", 0, 12300},         {":6", 0, 12001},
        {"0.5:1", 1000, 2001},    {"2.0475:4.0955", 4095, 8192},
        {"4.096:", 8192, 12300},  {"1:1.0075", 2000, 2016},
        {"6:1000", 12000, 12300}, {"5.9:6.1", 11800, 12201},
    };
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++)
        for (size_t lost = 0; lost < 50; lost = 4 * lost + 1) {
            log_plan plan = {
                .form = (form)_i, .rows = 12300, .span = row[i].span, .from = row[i].from, .to = row[i].to};
            /* gaps that lie across both edges of the span, and one just within */
            size_t edge[] = {row[i].from, row[i].to};
            for (size_t g = 0; g < 2; g++)
                if (edge[g] > 0 && edge[g] < plan.rows && row[i].to - row[i].from > 200) {
                    plan.gap[g].at = edge[g] - lost / 2;
                    plan.gap[g].lost = lost;
                }
            if (row[i].to - row[i].from > 200 && row[i].from > 0) {
                plan.gap[2].at = row[i].from + lost + 1;
                plan.gap[2].lost = 1;
            }
            check_plan(&plan);
        }
}
END_TEST

Suite *suite_ingest_stream(void)
{
    Suite *suite = suite_create("ingest_stream");
    TCase *cases = tcase_create("pass");
    tcase_set_timeout(cases, 300);
    tcase_add_loop_test(cases, test_lengths, STAMPS, EMPTY_CELLS + 1);
    tcase_add_loop_test(cases, test_losses, STAMPS, EMPTY_CELLS + 1);
    tcase_add_loop_test(cases, test_empty_rows, PLACES, EMPTY_CELLS + 1);
    tcase_add_test(cases, test_short_rows);
    tcase_add_loop_test(cases, test_counters, STAMPS_COUNTER, COUNTER + 1);
    tcase_add_test(cases, test_odd_counters);
    tcase_add_loop_test(cases, test_spans, STAMPS, EMPTY_CELLS + 1);
    suite_add_tcase(suite, cases);
    return suite;
}
