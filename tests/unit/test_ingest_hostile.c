/* ingest: any bytes give a result, a finding or a refusal: never a crash, a hang, or a number that is not finite. */
#include "ingest_help.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MUTATIONS = 6000 };

/* Seeds of the mutations: small files of several dialects. */
static size_t make_seed(char *out, size_t size, size_t which)
{
    static const char *const heads[] = {"t,ax,ay,az\n", "", "# logger\nt_s;a1_mps2;a2_mps2;a3_mps2\n",
                                        "time (ms)\tx [g]\ty [g]\tz [g]\r\n",
                                        "\xef\xbb\xbf\"t\" \"x\" \"y\" \"z\"\n"};
    static const char delimiters[] = {',', ',', ';', '\t', ' '};
    size_t kind = which % 5;
    test_text text = {0};
    test_text_add(&text, "%s", heads[kind]);
    for (size_t i = 0; i < 60; i++)
        test_text_add(&text, "%.3f%c%.3f%c%.2f%c0.98\n", (double)i * (kind == 3 ? 10 : 0.01),
                      delimiters[kind], sin((double)i), delimiters[kind], 0.1 * (double)(i % 7),
                      delimiters[kind]);
    size_t length = text.length < size ? text.length : size;
    memcpy(out, text.bytes, length);
    test_text_free(&text);
    return length;
}

static size_t below(quell_random *random, size_t n)
{
    size_t pick = (size_t)(quell_random_uniform(random) * (double)n);
    return pick < n ? pick : n - 1;
}

/* One change: a byte, a stretch dropped, doubled, or a piece that hurts put in. */
static size_t mutate(char *bytes, size_t length, size_t size, quell_random *random)
{
    static const char *const pieces[] = {"\n",
                                         "\r",
                                         "\r\n",
                                         ",",
                                         ";",
                                         "\t",
                                         "\"",
                                         "1e308",
                                         "-1e308",
                                         "1e-320",
                                         "nan",
                                         "inf",
                                         "999999999999999999999999",
                                         "-",
                                         "+",
                                         ".",
                                         "e",
                                         "#",
                                         "//",
                                         "x,y",
                                         "\xff\xfe",
                                         "0x10",
                                         "1e18",
                                         "--",
                                         "(",
                                         ")",
                                         "[",
                                         "_g",
                                         "\x1f\x8b",
                                         "    "};
    size_t at = below(random, length + 1), span = below(random, 40);
    switch (below(random, 5)) {
    case 0:
        if (at < length)
            bytes[at] = (char)below(random, 256);
        return length;
    case 1:
        span = at + span > length ? length - at : span;
        memmove(bytes + at, bytes + at + span, length - at - span);
        return length - span;
    case 2:
        span = at + span > length ? length - at : span;
        if (length + span > size)
            return length;
        memmove(bytes + at + span, bytes + at, length - at);
        return length + span;
    case 3:
        return at;
    default: {
        const char *piece = pieces[below(random, sizeof pieces / sizeof pieces[0])];
        span = strlen(piece);
        if (length + span > size)
            return length;
        memmove(bytes + at + span, bytes + at, length - at);
        memcpy(bytes + at, piece, span);
        return length + span;
    }
    }
}

static void check_finite(const quell_recording *recording, const quell_fitness *fitness)
{
    ck_assert(recording->axes >= 1 && recording->axes <= 3 && recording->samples >= 1);
    ck_assert(isfinite(recording->rate_hz) && recording->rate_hz > 0);
    ck_assert(isfinite(recording->rate_ci95_hz[0]) && isfinite(recording->rate_ci95_hz[1]));
    ck_assert(isfinite(recording->jitter_fraction) && isfinite(recording->start_s) &&
              isfinite(recording->offset_s));
    ck_assert(isfinite(fitness->duration_s));
    for (size_t k = 0; k < recording->axes; k++) {
        ck_assert(isfinite(fitness->mean_mps2[k]) && isfinite(recording->step_mps2[k]));
        ck_assert(isfinite(recording->resolution_mps2[k]) && isfinite(recording->clipped_fraction[k]));
        for (size_t i = 0; i < recording->samples; i++)
            ck_assert(isfinite(recording->accel_mps2[k][i]));
    }
}

static bool try_bytes(const char *bytes, size_t length, const quell_read_options *options)
{
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    quell_recording recording;
    quell_mounting mounting;
    quell_fitness fitness;
    quell_error err = {0};
    quell_status status = test_read_bytes(&recording, bytes, length, options, arena, &err);
    if (status == QUELL_OK) {
        ck_assert_int_eq(quell_mounting_find(&mounting, &recording, 'x', options, arena, &err), QUELL_OK);
        quell_mounting_apply(&mounting, &recording);
        ck_assert_int_eq(quell_recording_judge(&fitness, &recording, 0, arena, &err), QUELL_OK);
        for (size_t k = 0; k < 3; k++)
            for (size_t m = 0; m < 3; m++)
                ck_assert(isfinite(mounting.map[k][m]));
        check_finite(&recording, &fitness);
    } else {
        ck_assert_msg(status == QUELL_E_DATA || status == QUELL_E_USAGE, "status %d: %s", (int)status,
                      err.text);
        ck_assert_uint_gt(strlen(err.text), 8);
    }
    quell_arena_destroy(arena);
    return status == QUELL_OK;
}

START_TEST(mutated_files_give_a_result_or_a_refusal)
{
    static const quell_read_options options[] = {{0},
                                                 {.rate = "100"},
                                                 {.unit = "mg", .time_unit = "us"},
                                                 {.columns = "t=1,x=2"},
                                                 {.span = "0.1:0.4", .mount = "up=+z,right=-y"}};
    enum { ROOM = 8192 };
    char *bytes = malloc(ROOM), *exact;
    ck_assert_ptr_nonnull(bytes);
    quell_random *random = quell_random_create(20240 + (uint64_t)_i); /* the seed of this run */
    size_t read = 0;
    for (size_t n = 0; n < MUTATIONS; n++) {
        size_t length = make_seed(bytes, ROOM / 2, n), changes = 1 + below(random, 6);
        for (size_t c = 0; c < changes; c++)
            length = mutate(bytes, length, ROOM, random);
        exact = malloc(
            length > 0 ? length : 1); /* a block of its own, so that the sanitizer sees a step past its end */
        ck_assert_ptr_nonnull(exact);
        memcpy(exact, bytes, length);
        read += try_bytes(exact, length, &options[n % 5]);
        free(exact);
    }
    ck_assert_uint_gt(read, MUTATIONS / 20); /* the mutations are not so wild that nothing is ever read */
    quell_random_destroy(random);
    free(bytes);
}
END_TEST

START_TEST(mutated_gzip_gives_a_result_or_a_refusal)
{
    char seed[4096];
    size_t length = make_seed(seed, sizeof seed, 0), packed;
    quell_random *random = quell_random_create(31);
    for (size_t n = 0; n < 1500; n++) {
        unsigned char *bytes = test_gzip(seed, length, &packed);
        size_t changes = 1 + below(random, 4);
        for (size_t c = 0; c < changes; c++)
            bytes[2 + below(random, packed - 2)] = (unsigned char)below(random, 256);
        try_bytes((const char *)bytes, n % 3 == 0 ? below(random, packed) : packed, &(quell_read_options){0});
        free(bytes);
    }
    quell_random_destroy(random);
}
END_TEST

START_TEST(noise_is_refused)
{
    char bytes[3000];
    quell_random *random = quell_random_create(32);
    for (size_t n = 0; n < 400; n++) {
        size_t length = below(random, sizeof bytes);
        for (size_t i = 0; i < length; i++)
            bytes[i] = n % 2 == 0 ? (char)below(random, 256) : "0123456789.,;-+ \t\n\"e"[below(random, 20)];
        try_bytes(bytes, length, &(quell_read_options){.rate = n % 4 == 1 ? "100" : NULL});
    }
    quell_random_destroy(random);
}
END_TEST

Suite *suite_ingest_hostile(void)
{
    Suite *suite = suite_create("ingest hostile");
    TCase *cases = tcase_create("hostile");
    tcase_set_timeout(cases, 300);
    tcase_add_loop_test(cases, mutated_files_give_a_result_or_a_refusal, 0, 2);
    tcase_add_test(cases, mutated_gzip_gives_a_result_or_a_refusal);
    tcase_add_test(cases, noise_is_refused);
    suite_add_tcase(suite, cases);
    return suite;
}
