/* ingest: the digest against the samples it was made from, summed here one by one. */
#include "ingest_help.h"

#include "ingest/digest_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Noise, gravity and a tone that comes and goes: n samples on three axes. The caller frees value[0]. */
static void make_samples(double *value[3], size_t n, double rate_hz, uint64_t seed)
{
    double *room = malloc(3 * n * sizeof *room);
    ck_assert_ptr_nonnull(room);
    quell_random *random = quell_random_create(seed);
    for (size_t k = 0; k < 3; k++)
        value[k] = room + k * n;
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / rate_hz, tone = fmod(t, 20) > 10 ? 2 * sin(QUELL_TAU * 23 * t) : 0;
        value[0][i] = 0.8 * tone + 0.05 * quell_random_normal(random) + 1.2;
        value[1][i] = 0.5 * tone + 0.03 * quell_random_normal(random) - 3.1;
        value[2][i] = 0.1 * tone + 0.04 * quell_random_normal(random) + 9.2;
    }
    quell_random_destroy(random);
}

static ingest_digest *digest_of(double *const value[3], size_t n, double rate_hz, size_t piece,
                                quell_arena *arena)
{
    ingest_digest *digest;
    ck_assert_int_eq(ingest_digest_create(&digest, 3, rate_hz, arena, NULL), QUELL_OK);
    for (size_t at = 0; at < n; at += piece) {
        const double *part[3] = {value[0] + at, value[1] + at, value[2] + at};
        ingest_digest_add(digest, part, n - at < piece ? n - at : piece);
    }
    return digest;
}

static void settle(ingest_digest *digest, double rate_hz)
{
    ingest_digest_settle(digest, rate_hz, (const double[]){1, 1, 1});
}

/* From a tenth of a second to eight hours: windows and blocks stay bounded, nothing is counted twice or left out. */
static const struct {
    size_t samples;
    double rate_hz;
} lengths[] = {{17, 2000},     {200, 2000},     {1024, 25},   {50001, 2000},
               {3000000, 100}, {700000, 48000}, {99999, 3200}};

START_TEST(moments_are_those_of_all_samples)
{
    size_t n = lengths[_i].samples;
    double *value[3], rate_hz = lengths[_i].rate_hz;
    make_samples(value, n, rate_hz, 1);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    ingest_digest *digest = digest_of(value, n, rate_hz, 4096, arena);
    settle(digest, rate_hz);
    ck_assert_uint_le(digest->windows, DIGEST_WINDOWS);
    size_t count = 0, slow = 0, steps = 0;
    for (size_t j = 0; j < digest->windows; j++) {
        ck_assert_uint_eq(digest->window[j].first, count);
        count += digest->window[j].count;
        slow += digest->window[j].slow_count;
        steps += digest->window[j].steps;
    }
    ck_assert_uint_eq(count, n);
    ck_assert_uint_eq(slow, steps);
    quell_recording recording = {.axes = 3, .digest = digest};
    double scatter[3][3], mean[3];
    quell_recording_scatter(&recording, scatter);
    digest_mean(digest, mean);
    for (size_t k = 0; k < 3; k++) {
        double sum = 0;
        for (size_t i = 0; i < n; i++)
            sum += value[k][i];
        CHECK_NEAR(mean[k], sum / (double)n, 1e-9);
    }
    for (size_t k = 0; k < 3; k++)
        for (size_t m = 0; m < 3; m++) {
            double sum = 0;
            for (size_t i = 0; i < n; i++)
                sum += (value[k][i] - mean[k]) * (value[m][i] - mean[m]);
            CHECK_NEAR(scatter[k][m], sum / (double)n, 1e-9);
        }
    quell_arena_destroy(arena);
    free(value[0]);
}
END_TEST

START_TEST(pieces_make_no_difference)
{
    static const size_t piece[] = {1, 7, 1000, 1024, 1025, 30000};
    const size_t n = 30000;
    double *value[3];
    make_samples(value, n, 2000, 2);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    ingest_digest *whole = digest_of(value, n, 2000, n, arena);
    ingest_digest *pieced = digest_of(value, n, 2000, piece[_i], arena);
    settle(whole, 2000);
    settle(pieced, 2000);
    ck_assert_uint_eq(whole->windows, pieced->windows);
    ck_assert_mem_eq(whole->window, pieced->window, whole->windows * sizeof *whole->window);
    ck_assert_uint_eq(whole->gallery->count, pieced->gallery->count);
    for (size_t g = 0; g < whole->gallery->count; g++) {
        const digest_block *a = &whole->gallery->group[g].quiet, *b = &pieced->gallery->group[g].quiet;
        ck_assert_uint_eq(a->first, b->first);
        ck_assert_mem_eq(a->value, b->value, sizeof *a->value * 3);
    }
    quell_arena_destroy(arena);
    free(value[0]);
}
END_TEST

/* 2000 blocks: of every group, the quietest and the loudest of the blocks it stands for are kept, as they were. */
START_TEST(the_gallery_keeps_the_quietest_and_the_loudest)
{
    const size_t blocks = 2000, n = blocks * DIGEST_BLOCK;
    double *value[3], *level = malloc(blocks * sizeof *level);
    make_samples(value, n, 2000, 3);
    ck_assert_ptr_nonnull(level);
    for (size_t b = 0; b < blocks; b++) {
        level[b] = 0;
        for (size_t k = 0; k < 3; k++) {
            double sum = 0, square = 0;
            for (size_t i = b * DIGEST_BLOCK; i < (b + 1) * DIGEST_BLOCK; i++)
                sum += value[k][i] / DIGEST_BLOCK;
            for (size_t i = b * DIGEST_BLOCK; i < (b + 1) * DIGEST_BLOCK; i++)
                square += (value[k][i] - sum) * (value[k][i] - sum);
            level[b] += square / DIGEST_BLOCK;
        }
    }
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    ingest_digest *digest = digest_of(value, n, 2000, 4096, arena);
    settle(digest, 2000);
    const digest_gallery *gallery = digest->gallery;
    ck_assert_uint_gt(gallery->count, DIGEST_GROUPS / 2);
    ck_assert_uint_le(gallery->count, DIGEST_GROUPS);
    for (size_t g = 0, from = 0; g < gallery->count; from += gallery->group[g++].blocks) {
        const digest_group *group = &gallery->group[g];
        size_t quiet = from, loud = from;
        for (size_t b = from; b < from + group->blocks; b++) {
            quiet = level[b] < level[quiet] ? b : quiet;
            loud = level[b] > level[loud] ? b : loud;
        }
        ck_assert_uint_eq(group->quiet.first, quiet * DIGEST_BLOCK);
        ck_assert_uint_eq(group->loud.first, loud * DIGEST_BLOCK);
        for (size_t k = 0; k < 3; k++) /* kept as float about the first sample */
            CHECK_NEAR((double)group->loud.value[k][77] + digest->origin[k],
                       value[k][loud * DIGEST_BLOCK + 77], 1e-6);
    }
    quell_arena_destroy(arena);
    free(value[0]);
    free(level);
}
END_TEST

/* Times count what is missing: sample i of the log comes after all gaps before it. */
START_TEST(gaps_move_what_comes_after_them)
{
    const size_t n = 20000;
    double *value[3];
    make_samples(value, n, 2000, 4);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    ingest_digest *digest;
    ck_assert_int_eq(ingest_digest_create(&digest, 3, 2000, arena, NULL), QUELL_OK);
    static const size_t lost[] = {3, 5000, 150};
    for (size_t g = 0; g < 4; g++) {
        const double *part[3] = {value[0] + 5000 * g, value[1] + 5000 * g, value[2] + 5000 * g};
        ingest_digest_add(digest, part, 5000);
        if (g < 3)
            ingest_digest_gap(digest, lost[g]);
    }
    settle(digest, 2000);
    for (size_t j = 0; j < digest->windows; j++) {
        const digest_window *window = &digest->window[j];
        size_t last = window->first + window->count - 1, missing = 0;
        for (size_t g = 0; g < 3 && window->first >= 5000 * (g + 1); g++)
            missing += lost[g];
        CHECK_NEAR(digest_start_s(digest, window), (double)(window->first + missing) / 2000, 1e-12);
        for (size_t g = 0; g < 3; g++)
            missing += window->first < 5000 * (g + 1) && last >= 5000 * (g + 1) ? lost[g] : 0;
        CHECK_NEAR(digest_end_s(digest, window), (double)(last + missing) / 2000, 1e-12);
        /* a gap as long as a window ends it */
        ck_assert(!(window->first < 10000 && last >= 10000));
    }
    CHECK_NEAR(digest_seconds(digest, 0, digest->windows), (20000.0 + 3 + 5000 + 150) / 2000, 1e-12);
    quell_arena_destroy(arena);
    free(value[0]);
}
END_TEST

static void check_alike(const ingest_digest *a, const ingest_digest *b)
{
    ck_assert_uint_eq(a->windows, b->windows);
    for (size_t j = 0; j < a->windows; j++) {
        const digest_window *u = &a->window[j], *v = &b->window[j];
        const double none[3] = {0, 0, 0};
        double p[3][3], q[3][3];
        digest_sums_about(&u->all, u->count, a->origin, none, p);
        digest_sums_about(&v->all, v->count, b->origin, none, q);
        for (size_t i = 0; i < 9; i++)
            CHECK_NEAR(p[i / 3][i % 3], q[i / 3][i % 3], 1e-6);
        digest_sums_about(&u->slow, u->slow_count, a->origin, none, p);
        digest_sums_about(&v->slow, v->slow_count, b->origin, none, q);
        for (size_t i = 0; i < 9; i++)
            CHECK_NEAR(p[i / 3][i % 3], q[i / 3][i % 3], 1e-6);
        CHECK_NEAR(u->cell_square[0], v->cell_square[0], 1e-6);
        CHECK_NEAR(u->low_square[0], v->low_square[0], 1e-6);
    }
    for (size_t g = 0; g < a->gallery->count; g++)
        for (size_t k = 0; k < 3; k++)
            CHECK_NEAR((double)a->gallery->group[g].quiet.value[k][50],
                       (double)b->gallery->group[g].quiet.value[k][50], 1e-4);
}

/* Scaling and turning the digest is the same as scaling and turning the samples. */
START_TEST(scale_and_turn_as_the_samples_do)
{
    static const double scale[3] = {9.80665, 0.5, -2};
    /* a rotation by 120 degrees about (1 1 1), and one by acos(0.6) about z after it */
    static const double map[3][3] = {{-0.8, 0, 0.6}, {0.6, 0, 0.8}, {0, 1, 0}};
    const size_t n = 20000;
    double *value[3];
    make_samples(value, n, 1000, 5);
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    ingest_digest *digest = digest_of(value, n, 1000, 4096, arena);
    ingest_digest_settle(digest, 1000, scale);
    digest_turn(digest, map);
    for (size_t i = 0; i < n; i++) {
        double in[3] = {scale[0] * value[0][i], scale[1] * value[1][i], scale[2] * value[2][i]};
        for (size_t k = 0; k < 3; k++)
            value[k][i] = map[k][0] * in[0] + map[k][1] * in[1] + map[k][2] * in[2];
    }
    ingest_digest *direct = digest_of(value, n, 1000, 4096, arena);
    settle(direct, 1000);
    check_alike(digest, direct);
    quell_arena_destroy(arena);
    free(value[0]);
}
END_TEST

/* The slow motion: a tone of 1 Hz passes, one of 45 Hz does not. Three running means of T seconds pass
   (sin(pi f T) / (pi f T))^3 of the amplitude; steps are near 8 ms, so T is 24 to 40 ms. */
START_TEST(slow_motion_is_below_10_hz)
{
    static const struct {
        double hz, least, most;
    } tones[] = {{1, 0.97, 1.02},
                 {45, 0, 0.02}}; /* what is left out at the ends is no whole number of cycles */
    const double rate_hz = 2000;
    const size_t n = 8000;
    double *room = malloc(3 * n * sizeof *room), *value[3] = {room, room + n, room + 2 * n};
    ck_assert_ptr_nonnull(room);
    for (size_t i = 0; i < n; i++) {
        value[0][i] = value[1][i] = 0;
        value[2][i] = 9.8 + sin(QUELL_TAU * tones[_i].hz * (double)i / rate_hz);
    }
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    ingest_digest *digest = digest_of(value, n, rate_hz, 4096, arena);
    settle(digest, rate_hz);
    double square = 0, count = 0;
    for (size_t j = 2; j + 2 < digest->windows; j++) { /* at the ends the filter sees less */
        const double mean[3] = {0, 0, 9.8};
        const digest_window *window = &digest->window[j];
        square +=
            digest_square_about(digest, &window->slow, window->slow_count, mean) * (double)window->slow_count;
        count += (double)window->slow_count;
    }
    double share = sqrt(square / count / 0.5);
    ck_assert_double_ge(share, tones[_i].least);
    ck_assert_double_le(share, tones[_i].most);
    quell_arena_destroy(arena);
    free(room);
}
END_TEST

/* Ten minutes of motion in an hour's rest, at 200 samples a second: windows have merged, the stretches are there. */
START_TEST(an_hours_log_keeps_its_stretches)
{
    const double rate_hz = 200;
    const size_t n = 3600 * 200;
    double *room = malloc(3 * n * sizeof *room), *value[3] = {room, room + n, room + 2 * n};
    ck_assert_ptr_nonnull(room);
    quell_random *random = quell_random_create(6);
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / rate_hz, tone = t > 1000 && t < 1600 ? 2 * sin(QUELL_TAU * 23 * t) : 0;
        for (size_t k = 0; k < 3; k++)
            value[k][i] = 0.02 * quell_random_normal(random) + (k == 1 ? tone : k == 2 ? 9.8 : 0);
    }
    quell_arena *arena = quell_arena_create((size_t)1 << 26);
    ingest_digest *digest = digest_of(value, n, rate_hz, 4096, arena);
    settle(digest, rate_hz);
    quell_recording recording = {.axes = 3, .samples = n, .rate_hz = rate_hz, .digest = digest};
    quell_fitness fitness;
    for (size_t k = 0; k < 3; k++) {
        recording.axis_name[k] = "a";
        recording.step_mps2[k] = 1e-6;
    }
    ck_assert_int_eq(quell_recording_judge(&fitness, &recording, -1, arena, NULL), QUELL_OK);
    ck_assert_uint_eq(fitness.segments, 3);
    ck_assert_int_eq(fitness.segment[1].kind, QUELL_MOTION);
    CHECK_NEAR(fitness.segment[1].start_s, 1000, 2); /* windows of 0.8 s by then, and one more on either side */
    CHECK_NEAR(fitness.segment[1].end_s, 1600, 2);
    CHECK_NEAR(fitness.dominant_hz, 23, 0.2);
    for (size_t k = 0; k < 3; k++) /* white: density = variance over half the rate */
        CHECK_NEAR(fitness.noise_mps2_per_rthz[k], 0.02 / sqrt(100), 0.05 * 0.002);
    quell_random_destroy(random);
    quell_arena_destroy(arena);
    free(room);
}
END_TEST

Suite *suite_ingest_digest(void)
{
    Suite *suite = suite_create("ingest digest");
    TCase *cases = tcase_create("digest");
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, moments_are_those_of_all_samples, 0, (int)INGEST_COUNT(lengths));
    tcase_add_loop_test(cases, pieces_make_no_difference, 0, 6);
    tcase_add_test(cases, the_gallery_keeps_the_quietest_and_the_loudest);
    tcase_add_test(cases, gaps_move_what_comes_after_them);
    tcase_add_test(cases, scale_and_turn_as_the_samples_do);
    tcase_add_loop_test(cases, slow_motion_is_below_10_hz, 0, 2);
    tcase_add_test(cases, an_hours_log_keeps_its_stretches);
    suite_add_tcase(suite, cases);
    return suite;
}
