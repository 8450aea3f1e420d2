/* ingest: sources that fail, trickle or end early, damaged and truncated gzip, NUL bytes, and no memory: in every
   format, anything but a wrong recording. */
#include "ingest_help.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = 150, ARENA = 1 << 26 };
#define RATE_HZ 200.0

/* ---------------------------------------------------------------- one recording in every format */

typedef struct file {
    unsigned char *bytes;
    size_t size;
} file;

/* Sample i of axis k, m/s2: in eighths, so that every format holds it exactly. */
static double sample(size_t i, size_t k)
{
    static const double mean[3] = {1, -2, 9.75};
    return mean[k] + (double)((i * (3 + 4 * k) + i / 7) % 17) / 8;
}

static void add_rows(test_text *text, size_t from, size_t to)
{
    for (size_t i = from; i < to; i++)
        test_text_add(text, "%.3f,%.3f,%.3f,%.3f\n", (double)i / RATE_HZ, sample(i, 0), sample(i, 1),
                      sample(i, 2));
}

static file make_text(void)
{
    test_text text = {0};
    test_text_add(&text, "t_s,ax_mps2,ay_mps2,az_mps2\n");
    add_rows(&text, 0, ROWS);
    return (file){(unsigned char *)text.bytes, text.length};
}

static file make_gzip(void)
{
    file plain = make_text(), out;
    out.bytes = test_gzip(plain.bytes, plain.size, &out.size);
    free(plain.bytes);
    return out;
}

static file make_utf16(void)
{
    file plain = make_text();
    test_text text = {0};
    test_text_add(&text, "\xff\xfe"); /* the byte order mark: least significant byte first */
    for (size_t i = 0; i < plain.size; i++)
        test_text_add(&text, "%c%c", plain.bytes[i], 0);
    free(plain.bytes);
    return (file){(unsigned char *)text.bytes, text.length};
}

/* The eleven lines at the head of one axis' dataset 58: a time response (1) of acceleration (12) over time (17), real
   numbers in single precision (2), evenly spaced (1). Source: the dataset's description, records 1 to 11. */
static void add_uff_head(test_text *text, size_t axis)
{
    test_text_add(text, "made up\nNONE\nNONE\nNONE\nNONE\n");
    test_text_add(text, "%5d%10d%5d%10d %-10s%10d%4zu %-10s%10d%4d\n", 1, 1, 0, 0, "NONE", 1, axis + 1,
                  "NONE", 0, 0);
    test_text_add(text, "%10d%10d%10d%13.5E%13.5E%13.5E\n", 2, ROWS, 1, 0.0, 1 / RATE_HZ, 0.0);
    test_text_add(text, "%10d%5d%5d%5d %-20s %-20s\n", 17, 0, 0, 0, "Time", "s");
    test_text_add(text, "%10d%5d%5d%5d %-20s %-20s\n", 12, 0, 0, 0, "Acceleration", "m/s2");
    for (int i = 0; i < 2; i++)
        test_text_add(text, "%10d%5d%5d%5d %-20s %-20s\n", 0, 0, 0, 0, "NONE", "NONE");
}

static file make_uff_text(void)
{
    test_text text = {0};
    for (size_t k = 0; k < 3; k++) {
        test_text_add(&text, "    -1\n    58\n");
        add_uff_head(&text, k);
        for (size_t i = 0; i < ROWS; i++)
            test_text_add(&text, "%13.5E%s", sample(i, k), i % 6 == 5 || i == ROWS - 1 ? "\n" : "");
        test_text_add(&text, "    -1\n");
    }
    return (file){(unsigned char *)text.bytes, text.length};
}

/* The bytes of a number, least significant first or last. */
static void add_bytes(test_text *text, uint32_t bits, size_t count, bool most_first)
{
    for (size_t b = 0; b < count; b++)
        test_text_add(text, "%c", (int)(bits >> 8 * (most_first ? count - 1 - b : b) & 0xff));
}

static file make_uff_binary(bool most_first)
{
    test_text text = {0};
    for (size_t k = 0; k < 3; k++) {
        test_text_add(&text, "    -1\n    58b%6d%6d%12d%12d%6d%6d%12d%12d\n", most_first ? 2 : 1, 2, 11,
                      4 * ROWS, 0, 0, 0, 0);
        add_uff_head(&text, k);
        for (size_t i = 0; i < ROWS; i++) {
            float value = (float)sample(i, k);
            uint32_t bits;
            memcpy(&bits, &value, sizeof bits);
            add_bytes(&text, bits, 4, most_first);
        }
        test_text_add(&text, "\n    -1\n");
    }
    return (file){(unsigned char *)text.bytes, text.length};
}

static file make_uff_little(void)
{
    return make_uff_binary(false);
}

static file make_uff_big(void)
{
    return make_uff_binary(true);
}

/* 16-bit samples of three channels; a full scale of 16 m/s2 makes one step 1/2048. Source: the RIFF WAVE layout of
   IBM and Microsoft, 1991. */
static file make_sound(void)
{
    enum { CHANNELS = 3, BYTES = ROWS * CHANNELS * 2 };
    test_text text = {0};
    test_text_add(&text, "RIFF");
    add_bytes(&text, 36 + BYTES, 4, false);
    test_text_add(&text, "WAVEfmt ");
    add_bytes(&text, 16, 4, false);
    add_bytes(&text, 1, 2, false);
    add_bytes(&text, CHANNELS, 2, false);
    add_bytes(&text, (uint32_t)RATE_HZ, 4, false);
    add_bytes(&text, (uint32_t)RATE_HZ * CHANNELS * 2, 4, false);
    add_bytes(&text, CHANNELS * 2, 2, false);
    add_bytes(&text, 16, 2, false);
    test_text_add(&text, "data");
    add_bytes(&text, BYTES, 4, false);
    for (size_t i = 0; i < ROWS; i++)
        for (size_t k = 0; k < CHANNELS; k++)
            add_bytes(&text, (uint32_t)(int32_t)(sample(i, k) * 2048), 2, false);
    return (file){(unsigned char *)text.bytes, text.length};
}

static const struct {
    const char *name;
    file (*make)(void);
    const char *unit;
    bool
        by_dataset; /* one axis after the other: what is cut may be an axis, and the others are shortened to it */
} formats[] = {
    {"text", make_text, NULL, false},
    {"gzip", make_gzip, NULL, false},
    {"text in UTF-16", make_utf16, NULL, false},
    {"universal file", make_uff_text, NULL, true},
    {"binary universal file, least significant byte first", make_uff_little, NULL, true},
    {"binary universal file, most significant byte first", make_uff_big, NULL, true},
    {"sound", make_sound, "m/s2:16", false},
};

enum { FORMATS = sizeof formats / sizeof formats[0] };

/* ---------------------------------------------------------------- a source with faults */

typedef struct faulty {
    const unsigned char *bytes;
    size_t size, at;
    size_t piece; /* bytes at a time; 0: as asked for */
    bool fails;
    size_t fail_after; /* bytes that come before the failure */
    bool failed;
} faulty;

static quell_status read_faulty(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    faulty *state = context;
    ck_assert(!state->failed); /* nobody asks again after a failure */
    size_t most = state->size - state->at;
    most = most < size ? most : size;
    if (state->piece > 0 && most > state->piece)
        most = state->piece;
    if (state->fails && state->at + most >= state->fail_after)
        most = state->fail_after - state->at;
    if (state->fails && most == 0) {
        state->failed = true;
        return quell_fail(err, QUELL_E_IO, "the cable was pulled at byte %zu", state->at);
    }
    memcpy(into, state->bytes + state->at, most);
    state->at += most;
    *got = most;
    return QUELL_OK;
}

/* A test in every format runs twice: alone, and with a thread that reads ahead. */
enum { RUNS = 2 * FORMATS };

static quell_status read_run(quell_recording *out, faulty *state, int run, quell_arena *arena,
                             quell_error *err)
{
    const quell_source source = {"log", read_faulty, state};
    const quell_read_options options = {.unit = formats[run / 2].unit, .threads = run % 2 == 0 ? 0 : 2};
    return quell_recording_read(out, &source, &options, arena, err);
}

static quell_arena *new_arena(void)
{
    quell_arena *arena = quell_arena_create(ARENA);
    ck_assert_ptr_nonnull(arena);
    return arena;
}

static void check_samples(const quell_recording *recording, size_t least, size_t most)
{
    ck_assert_uint_ge(recording->samples, least);
    ck_assert_uint_le(recording->samples, most);
    for (size_t k = 0; k < recording->axes; k++)
        for (size_t i = 0; i < recording->samples; i++)
            ck_assert_double_eq(recording->accel_mps2[k][i], sample(i, k));
}

START_TEST(a_sound_file_of_each_format_is_read)
{
    file in = formats[_i / 2].make();
    quell_arena *arena = new_arena();
    quell_recording recording;
    quell_error err = {0};
    faulty state = {.bytes = in.bytes, .size = in.size};
    ck_assert_msg(read_run(&recording, &state, _i, arena, &err) == QUELL_OK, "%s: %s", formats[_i / 2].name,
                  err.text);
    ck_assert_uint_eq(recording.axes, 3);
    check_samples(&recording, ROWS, ROWS);
    CHECK_NEAR(recording.rate_hz, RATE_HZ, 1e-4 * RATE_HZ);
    quell_arena_destroy(arena);
    free(in.bytes);
}
END_TEST

/* Bytes may come as slowly as they like. */
START_TEST(pieces_of_any_size_give_the_same)
{
    file in = formats[_i / 2].make();
    quell_recording whole, other;
    quell_arena *first = new_arena();
    faulty state = {.bytes = in.bytes, .size = in.size};
    ck_assert_int_eq(read_run(&whole, &state, _i, first, NULL), QUELL_OK);
    static const size_t pieces[] = {1, 2, 3, 5, 7, 11, 13, 64, 79, 1000, 4096};
    for (size_t p = 0; p < sizeof pieces / sizeof pieces[0]; p++) {
        quell_arena *arena = new_arena();
        state = (faulty){.bytes = in.bytes, .size = in.size, .piece = pieces[p]};
        ck_assert_int_eq(read_run(&other, &state, _i, arena, NULL), QUELL_OK);
        check_samples(&other, ROWS, ROWS);
        ck_assert_double_eq(other.rate_hz, whole.rate_hz);
        ck_assert_uint_eq(other.findings.count, whole.findings.count);
        for (size_t f = 0; f < whole.findings.count; f++)
            ck_assert_str_eq(other.findings.item[f].text, whole.findings.item[f].text);
        quell_arena_destroy(arena);
    }
    quell_arena_destroy(first);
    free(in.bytes);
}
END_TEST

/* A failure anywhere is told with the source's own words, wherever it happens, and leaves nothing behind. */
START_TEST(a_source_that_fails_at_any_byte_is_told)
{
    file in = formats[_i / 2].make();
    size_t told = 0, tried = 0;
    for (size_t n = 0; n <= in.size; n += in.size / (_i % 2 == 0 ? 200 : 50) + 1, tried++) {
        quell_arena *arena = new_arena();
        quell_recording recording = {.samples = 4711};
        quell_error err = {0};
        faulty state = {
            .bytes = in.bytes, .size = in.size, .fails = true, .fail_after = n, .piece = n % 3 == 0 ? 61 : 0};
        quell_status status = read_run(&recording, &state, _i, arena, &err);
        if (state.failed) {
            char want[64];
            snprintf(want, sizeof want, "the cable was pulled at byte %zu", n);
            ck_assert_msg(status == QUELL_E_IO, "%s, byte %zu: status %d, %s", formats[_i / 2].name, n,
                          (int)status, err.text);
            ck_assert_str_eq(err.text, want);
            ck_assert_str_eq(err.file, "log");
            ck_assert_uint_eq(recording.samples, 4711);
            told++;
        } else { /* what lies behind the last sample need not be read */
            ck_assert_int_eq(status, QUELL_OK);
            check_samples(&recording, ROWS, ROWS);
        }
        quell_arena_destroy(arena);
    }
    ck_assert_uint_ge(told, tried - tried / 20);
    free(in.bytes);
}
END_TEST

/* Cut anywhere: the samples that are there, and no wrong one; or a refusal. */
START_TEST(a_file_cut_anywhere_gives_what_is_there)
{
    file in = formats[_i / 2].make();
    size_t most = 0, most_axes = 0;
    size_t places = _i % 2 == 0 ? 250 : 50;
    if (_i % 2 == 0 && formats[_i / 2].make == make_gzip) /* at every length */
        places = in.size;
    for (size_t n = 0; n < in.size; n += (in.size - 1) / places + 1) {
        quell_arena *arena = new_arena();
        quell_recording recording;
        quell_error err = {0};
        faulty state = {.bytes = in.bytes, .size = n};
        quell_status status = read_run(&recording, &state, _i, arena, &err);
        if (status == QUELL_OK) {
            /* a last number cut in two reads as a shorter one where nothing marks a line's end as missing */
            bool is_text = formats[_i / 2].make == make_text || formats[_i / 2].make == make_utf16;
            bool may_be_cut = is_text && in.bytes[n - 1] != '\n' && in.bytes[n - 2] != '\n';
            recording.samples -= may_be_cut;
            ck_assert_uint_le(recording.axes, 3);
            ck_assert_uint_ge(recording.axes, formats[_i / 2].by_dataset ? most_axes : 3);
            check_samples(&recording, most > 0 && !formats[_i / 2].by_dataset ? most - 1 : 0, ROWS);
            most = recording.samples > most ? recording.samples : most;
            most_axes = recording.axes;
        } else if (status ==
                   QUELL_E_USAGE) { /* before it shows that it is a sound file, its option is wrong */
            ck_assert(formats[_i / 2].unit != NULL && n < 12);
        } else {
            ck_assert_msg(status == QUELL_E_DATA, "%s, %zu bytes: %s", formats[_i / 2].name, n, err.text);
            ck_assert_msg(most == 0, "%s, %zu bytes: %s, but fewer could be read", formats[_i / 2].name, n,
                          err.text);
            ck_assert_str_eq(err.file, "log");
        }
        quell_arena_destroy(arena);
    }
    ck_assert_uint_eq(most_axes, 3);
    ck_assert_uint_ge(most, ROWS - ROWS / places - 2);
    free(in.bytes);
}
END_TEST

START_TEST(every_allocation_may_fail_in_every_format)
{
    file in = formats[_i / 2].make();
    quell_status status = QUELL_E_MEMORY;
    size_t n = 0;
    while (status != QUELL_OK) {
        ck_assert_uint_lt(++n, 2000);
        quell_arena *arena = new_arena();
        quell_recording recording = {.samples = 4711};
        quell_mounting mounting;
        quell_fitness fitness;
        quell_error err = {0};
        faulty state = {.bytes = in.bytes, .size = in.size};
        quell_memory_fail_at(n);
        status = read_run(&recording, &state, _i, arena, &err);
        bool read = status == QUELL_OK;
        if (read)
            status = quell_mounting_find(&mounting, &recording, 'x', &(quell_read_options){0}, arena, &err);
        if (status == QUELL_OK)
            status = quell_recording_judge(&fitness, &recording, 0, arena, &err);
        quell_memory_fail_at(0);
        if (status != QUELL_OK) {
            ck_assert_msg(status == QUELL_E_MEMORY, "%s, allocation %zu: %s", formats[_i / 2].name, n,
                          err.text);
            ck_assert_ptr_nonnull(strstr(err.text, "out of memory"));
            ck_assert(read || recording.samples == 4711);
        }
        quell_arena_destroy(arena);
    }
    ck_assert_uint_gt(n, 10);
    free(in.bytes);
}
END_TEST

/* What the reader notices at the end, and what is known from the beginning on, of a file that ends before the clock
   begins and of one that does not. */
START_TEST(findings_stand_in_the_same_order_whoever_reads)
{
    test_text text = {0};
    test_text_add(&text, "ax_mps2,ay_mps2,az_mps2\n");
    for (size_t i = 0; i < (_i == 0 ? 3000 : 20000); i++)
        test_text_add(&text, "%.3f,%.3f,%.3f\n", sample(i, 0), sample(i, 1), sample(i, 2));
    test_text_add(&text, "1.0,2.");
    quell_arena *arena = new_arena();
    quell_recording recording[2];
    for (size_t r = 0; r < 2; r++) {
        const quell_read_options options = {.rate = "2000", .threads = 2 * r};
        ck_assert_int_eq(test_read(&recording[r], &text, &options, arena, NULL), QUELL_OK);
        ck_assert_ptr_nonnull(test_finding(&recording[r].findings, "rate"));
        ck_assert_ptr_nonnull(test_finding(&recording[r].findings, "cut-short"));
    }
    ck_assert_uint_eq(recording[0].findings.count, recording[1].findings.count);
    for (size_t i = 0; i < recording[0].findings.count; i++)
        ck_assert_str_eq(recording[0].findings.item[i].text, recording[1].findings.item[i].text);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* ---------------------------------------------------------------- gaps, streamed and in memory */

static void judge_file(const test_text *text, bool streamed, quell_arena *arena, quell_recording *recording,
                       quell_fitness *fitness)
{
    faulty state = {.bytes = (const unsigned char *)text->bytes, .size = text->length};
    const quell_source source = {"log", read_faulty, &state};
    const quell_read_options options = {0};
    quell_error err = {0};
    quell_status status = streamed ? quell_recording_stream(recording, &source, &options, NULL, arena, &err)
                                   : quell_recording_read(recording, &source, &options, arena, &err);
    ck_assert_msg(status == QUELL_OK, "%s", err.text);
    ck_assert_int_eq(quell_recording_judge(fitness, recording, -1, arena, &err), QUELL_OK);
}

/* 13 s in stretches between gaps of 5 samples: those below 0.5 s (100 samples) are of no use to any segment. Whoever
   streams is told the same as who keeps the samples. */
START_TEST(gaps_are_judged_alike_streamed_and_in_memory)
{
    static const struct {
        size_t stretch;
        const char *verdict;
        double usable_s; /* NaN: enough */
    } rows[] = {{60, "unfit", 0}, {200, "care", NAN}, {99, "unfit", 0}, {101, "care", NAN}};
    test_text text = {0};
    test_text_add(&text, "t_s,ax_mps2,ay_mps2,az_mps2\n");
    for (size_t i = 0, stretch = rows[_i].stretch; i < 2600; i += stretch + 5)
        add_rows(&text, i, i + stretch);
    quell_arena *arena = new_arena();
    quell_recording kept, streamed;
    quell_fitness fitness[2];
    judge_file(&text, false, arena, &kept, &fitness[0]);
    judge_file(&text, true, arena, &streamed, &fitness[1]);
    ck_assert_str_eq(fitness[0].verdict, rows[_i].verdict);
    ck_assert_str_eq(fitness[1].verdict, rows[_i].verdict);
    ck_assert_uint_eq(kept.findings.count, streamed.findings.count);
    for (size_t i = 0; i < kept.findings.count; i++)
        ck_assert_str_eq(kept.findings.item[i].text, streamed.findings.item[i].text);
    const quell_finding *breaks = test_finding(&streamed.findings, "breaks");
    const quell_finding *brief = test_finding(&streamed.findings, "short");
    ck_assert_ptr_nonnull(breaks);
    ck_assert_double_eq(breaks->value, (double)kept.break_count);
    ck_assert(isnan(rows[_i].usable_s) ? brief == NULL || brief->severity != QUELL_REFUSE
                                       : brief->value == rows[_i].usable_s);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

/* ---------------------------------------------------------------- damaged gzip */

/* Every byte of the packed data changed in turn: refused, or what was meant. (The check sum of RFC 1952 finds every
   change of one byte: CRC-32 detects all bursts of up to 32 bits.) */
START_TEST(a_damaged_byte_of_gzip_is_found)
{
    file in = make_gzip();
    size_t refused = 0;
    for (size_t n = 0; n < in.size; n++) {
        quell_arena *arena = new_arena();
        quell_recording recording;
        quell_error err = {0};
        faulty state = {.bytes = in.bytes, .size = in.size};
        unsigned char was = in.bytes[n];
        in.bytes[n] ^= (unsigned char)(1u << n % 8);
        quell_status status = read_run(&recording, &state, 0, arena, &err);
        in.bytes[n] = was;
        if (status == QUELL_OK) {
            ck_assert_uint_lt(n, 10); /* flags, time, system: RFC 1952, 2.3 */
            check_samples(&recording, ROWS, ROWS);
        } else {
            ck_assert_msg(status == QUELL_E_DATA, "byte %zu: %s", n, err.text);
            refused++;
        }
        quell_arena_destroy(arena);
    }
    ck_assert_uint_ge(refused, in.size - 10);
    free(in.bytes);
}
END_TEST

/* ---------------------------------------------------------------- NUL bytes */

static quell_status read_text(quell_recording *out, const test_text *text, quell_arena *arena,
                              quell_error *err)
{
    faulty state = {.bytes = (const unsigned char *)text->bytes, .size = text->length};
    return read_run(out, &state, 0, arena, err);
}

/* Loggers that lose power leave NUL bytes: at the end they cost nothing, elsewhere their place is told. */
START_TEST(nul_bytes_at_the_end_cost_nothing)
{
    static const struct {
        const char *before;
        size_t nuls;
    } ends[] = {{"", 1}, {"", 7}, {"0.75", 3}, {"", 70000}};
    test_text text = {0};
    test_text_add(&text, "t_s,ax_mps2,ay_mps2,az_mps2\n");
    add_rows(&text, 0, ROWS);
    test_text_add(&text, "%s", ends[_i].before);
    for (size_t i = 0; i < ends[_i].nuls; i++)
        test_text_add(&text, "%c", 0);
    quell_arena *arena = new_arena();
    quell_recording recording;
    quell_error err = {0};
    quell_status status = read_text(&recording, &text, arena, &err);
    ck_assert_msg(status == QUELL_OK, "%zu:%zu: %s", err.line, err.column, err.text);
    check_samples(&recording, ROWS, ROWS);
    const quell_finding *finding = test_finding(&recording.findings, "cut-short");
    ck_assert_ptr_nonnull(finding);
    ck_assert_double_eq(finding->value, ROWS + 2); /* its line */
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(nul_bytes_elsewhere_are_refused_with_their_place)
{
    static const struct {
        size_t row, column; /* where it goes: after so many rows, at this byte of the row from 0 */
        size_t line;        /* told */
    } places[] = {{17, 0, 19}, {17, 5, 19}, {100, 8, 102}, {ROWS - 1, 9, ROWS + 1}};
    test_text text = {0};
    test_text_add(&text, "t_s,ax_mps2,ay_mps2,az_mps2\n");
    add_rows(&text, 0, places[_i].row);
    size_t at = text.length + places[_i].column;
    add_rows(&text, places[_i].row, ROWS);
    text.bytes[at] = '\0';
    quell_arena *arena = new_arena();
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(read_text(&recording, &text, arena, &err), QUELL_E_DATA);
    ck_assert_msg(strstr(err.text, "NUL byte") != NULL, "%s", err.text);
    ck_assert_uint_eq(err.line, places[_i].line);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

START_TEST(nul_bytes_in_the_head_are_refused)
{
    test_text text = {0};
    test_text_add(&text, "t_s,ax_m%cs2,ay_mps2,az_mps2\n", 0);
    add_rows(&text, 0, ROWS);
    quell_arena *arena = new_arena();
    quell_recording recording;
    quell_error err = {0};
    ck_assert_int_eq(read_text(&recording, &text, arena, &err), QUELL_E_DATA);
    ck_assert_msg(strstr(err.text, "found binary data (a NUL byte after 8 bytes), want") == err.text, "%s",
                  err.text);
    quell_arena_destroy(arena);
    test_text_free(&text);
}
END_TEST

Suite *suite_ingest_faults(void)
{
    Suite *suite = suite_create("ingest faults");
    TCase *cases = tcase_create("faults");
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, a_sound_file_of_each_format_is_read, 0, RUNS);
    tcase_add_loop_test(cases, pieces_of_any_size_give_the_same, 0, RUNS);
    tcase_add_loop_test(cases, a_source_that_fails_at_any_byte_is_told, 0, RUNS);
    tcase_add_loop_test(cases, a_file_cut_anywhere_gives_what_is_there, 0, RUNS);
    tcase_add_loop_test(cases, every_allocation_may_fail_in_every_format, 0, RUNS);
    tcase_add_loop_test(cases, findings_stand_in_the_same_order_whoever_reads, 0, 2);
    tcase_add_loop_test(cases, gaps_are_judged_alike_streamed_and_in_memory, 0, 4);
    tcase_add_test(cases, a_damaged_byte_of_gzip_is_found);
    tcase_add_loop_test(cases, nul_bytes_at_the_end_cost_nothing, 0, 4);
    tcase_add_loop_test(cases, nul_bytes_elsewhere_are_refused_with_their_place, 0, 4);
    tcase_add_test(cases, nul_bytes_in_the_head_are_refused);
    suite_add_tcase(suite, cases);
    return suite;
}
