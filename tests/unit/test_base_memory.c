/* base: allocation that can be made to fail, growing arrays with a maximum, and the arena. */
#include "suites.h"

#include "shortened.h"

#include "quell/base.h"

#include <stdalign.h>
#include <stdio.h>
#include <string.h>

START_TEST(an_allocation_of_no_bytes_is_an_object_of_its_own)
{
    void *first = quell_memory_get(0), *second = quell_memory_get(0);
    ck_assert_ptr_nonnull(first);
    ck_assert_ptr_nonnull(second);
    ck_assert_ptr_ne(first, second);
    first = quell_memory_resize(first, 0);
    ck_assert_ptr_nonnull(first);
    quell_memory_free(first);
    quell_memory_free(second);
    quell_memory_free(NULL);
}
END_TEST

START_TEST(the_switch_fails_the_nth_request_and_all_after_it)
{
    quell_memory_fail_at(3);
    void *first = quell_memory_get(8);
    void *second = quell_memory_resize(NULL, 8);
    ck_assert_ptr_nonnull(first);
    ck_assert_ptr_nonnull(second);
    ck_assert_ptr_null(quell_memory_get(8));
    ck_assert_ptr_null(quell_memory_resize(second, 16)); /* second stays valid */
    ck_assert_ptr_null(quell_memory_get(8));
    ck_assert_ptr_null(quell_memory_get_cleared(8));
    quell_memory_fail_at(0);
    second = quell_memory_resize(second, 16);
    ck_assert_ptr_nonnull(second);
    quell_memory_free(first);
    quell_memory_free(second);
}
END_TEST

/* Room that others have written in comes back as zeros, whether it is small or large. */
START_TEST(objects_are_zeros_in_room_that_was_used_before)
{
    static const size_t sizes[] = {1, 100, 4096, 20000, 70000, 3000000};
    for (size_t i = 0; i < 2 * sizeof sizes / sizeof sizes[0]; i++) {
        size_t size = sizes[i / 2];
        unsigned char *dirty = quell_memory_get(size + 512), *object;
        ck_assert_ptr_nonnull(dirty);
        memset(dirty, 0xa5, size + 512);
        quell_memory_free(dirty);
        quell_arena *arena = quell_arena_create(1 << 24);
        ck_assert_ptr_nonnull(arena);
        object = i % 2 == 0 ? quell_arena_alloc(arena, size, 1) : quell_memory_get_cleared(size);
        ck_assert_ptr_nonnull(object);
        for (size_t b = 0; b < size; b++)
            if (object[b] != 0)
                ck_abort_msg("byte %zu of %zu", b, size);
        if (i % 2 != 0)
            quell_memory_free(object);
        quell_arena_destroy(arena);
    }
}
END_TEST

START_TEST(a_growing_array_keeps_its_contents_and_grows_by_half_at_least)
{
    void *items = NULL;
    size_t capacity = 0, grown = 0;
    for (size_t i = 0; i < 5000; i++) {
        size_t before = capacity;
        ck_assert_int_eq(quell_memory_grow(&items, &capacity, i + 1, sizeof(uint32_t), 1000000, NULL),
                         QUELL_OK);
        if (capacity <= i)
            ck_abort_msg("capacity %zu for entry %zu", capacity, i);
        if (capacity != before) {
            ck_assert_uint_ge(capacity, before + before / 2);
            grown++;
        }
        ((uint32_t *)items)[i] = (uint32_t)(i * 2654435761u);
    }
    for (size_t i = 0; i < 5000; i++)
        if (((uint32_t *)items)[i] != (uint32_t)(i * 2654435761u))
            ck_abort_msg("entry %zu was lost", i);
    ck_assert_uint_lt(grown, 20); /* ln(5000/16) / ln(1.5) = 14.2 */
    quell_memory_free(items);
}
END_TEST

START_TEST(a_growing_array_stops_at_its_limit)
{
    void *items = NULL;
    size_t capacity = 0;
    quell_error err = {0};
    ck_assert_int_eq(quell_memory_grow(&items, &capacity, 3, 8, 5, &err), QUELL_OK);
    ck_assert_uint_le(capacity, 5);
    ck_assert_int_eq(quell_memory_grow(&items, &capacity, 5, 8, 5, &err), QUELL_OK);
    ck_assert_uint_eq(capacity, 5);
    void *kept = items;
    ck_assert_int_eq(quell_memory_grow(&items, &capacity, 6, 8, 5, &err), QUELL_E_MEMORY);
    ck_assert_ptr_nonnull(strstr(err.text, "more than 5"));
    ck_assert_uint_eq(capacity, 5);
    ck_assert_ptr_eq(items, kept);
    quell_memory_free(items);
}
END_TEST

START_TEST(a_growing_array_survives_failed_growth_and_overflow)
{
    void *items = NULL;
    size_t capacity = 0;
    quell_error err = {0};
    ck_assert_int_eq(quell_memory_grow(&items, &capacity, 16, 4, SIZE_MAX, &err), QUELL_OK);
    memcpy(items, "held", 4);
    quell_memory_fail_at(1);
    ck_assert_int_eq(quell_memory_grow(&items, &capacity, 17, 4, SIZE_MAX, &err), QUELL_E_MEMORY);
    quell_memory_fail_at(0);
    ck_assert_int_eq(err.status, QUELL_E_MEMORY);
    ck_assert_uint_eq(capacity, 16);
    ck_assert_int_eq(memcmp(items, "held", 4), 0);
    ck_assert_int_eq(quell_memory_grow(&items, &capacity, SIZE_MAX / 4 + 1, 4, SIZE_MAX, &err),
                     QUELL_E_MEMORY);
    ck_assert_int_eq(quell_memory_grow(&items, &capacity, SIZE_MAX / 8 + 1, 8, SIZE_MAX, NULL),
                     QUELL_E_MEMORY);
    ck_assert_uint_eq(capacity, 16);
    quell_memory_free(items);
}
END_TEST

/* ---------------------------------------------------------------- arena */

static bool all_are(const unsigned char *bytes, size_t n, unsigned char value)
{
    for (size_t i = 0; i < n; i++)
        if (bytes[i] != value)
            return false;
    return true;
}

/* Many objects of mixed sizes: each aligned, cleared when it is handed out, and untouched by its neighbours. */
START_TEST(objects_are_aligned_cleared_and_apart)
{
    enum { COUNT = 3000 };
    static struct {
        unsigned char *at;
        size_t bytes;
    } object[COUNT];
    quell_arena *arena = quell_arena_create((size_t)1 << 30);
    quell_random *random = quell_random_create(7);
    ck_assert_ptr_nonnull(arena);
    ck_assert_ptr_nonnull(random);
    for (size_t i = 0; i < COUNT; i++) {
        double u = quell_random_uniform(random);
        size_t bytes = i % 50 == 0 ? 100000 + i : i % 7 == 0 ? (size_t)(4000 + u * 200) : (size_t)(u * 300);
        object[i].at = quell_arena_alloc(arena, bytes, 1);
        object[i].bytes = bytes;
        ck_assert_ptr_nonnull(object[i].at);
        ck_assert_uint_eq((uintptr_t)object[i].at % (bytes > 4096 ? 64 : alignof(max_align_t)), 0);
        ck_assert(all_are(object[i].at, bytes, 0));
        memset(object[i].at, (int)(i % 255 + 1), bytes);
    }
    for (size_t i = 0; i < COUNT; i++)
        ck_assert(all_are(object[i].at, object[i].bytes, (unsigned char)(i % 255 + 1)));
    quell_random_destroy(random);
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(the_arena_keeps_its_limit)
{
    quell_arena *arena = quell_arena_create(1000);
    ck_assert_ptr_nonnull(quell_arena_alloc(arena, 600, 1));
    ck_assert_ptr_null(quell_arena_alloc(arena, 401, 1));
    ck_assert_ptr_nonnull(quell_arena_alloc(arena, 50, 8));
    ck_assert_ptr_null(quell_arena_alloc(arena, 1, 1));
    ck_assert_ptr_null(quell_arena_alloc(arena, 0, 1)); /* an object of no bytes takes one */
    ck_assert_ptr_null(quell_arena_copy(arena, "", 0));
    ck_assert_ptr_null(quell_arena_print(arena, "%d", 5));
    quell_arena_destroy(arena);
    quell_arena_destroy(NULL);
}
END_TEST

START_TEST(an_overflowing_product_is_refused)
{
    quell_arena *arena = quell_arena_create(SIZE_MAX);
    ck_assert_ptr_null(quell_arena_alloc(arena, SIZE_MAX / 8 + 2, 8)); /* wraps to 8 */
    ck_assert_ptr_null(quell_arena_alloc(arena, SIZE_MAX, SIZE_MAX));  /* wraps to 1 */
    ck_assert_ptr_null(quell_arena_alloc(arena, (SIZE_MAX >> 1) + 1, 2));
    ck_assert_ptr_null(quell_arena_alloc(arena, SIZE_MAX, 1));
    ck_assert_ptr_nonnull(quell_arena_alloc(arena, SIZE_MAX, 0));
    ck_assert_ptr_nonnull(quell_arena_alloc(arena, 0, SIZE_MAX));
    ck_assert_ptr_null(quell_arena_copy(arena, "", SIZE_MAX));
    ck_assert_ptr_nonnull(QUELL_NEW(arena, double, 3));
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(the_arena_says_when_memory_is_out)
{
    quell_memory_fail_at(1);
    ck_assert_ptr_null(quell_arena_create(1000000));
    quell_memory_fail_at(2);
    quell_arena *arena = quell_arena_create(1000000);
    ck_assert_ptr_nonnull(arena);
    ck_assert_ptr_null(quell_arena_alloc(arena, 1, 10));
    ck_assert_ptr_null(quell_arena_alloc(arena, 1, 100000));
    ck_assert_ptr_null(quell_arena_copy(arena, "x", 1));
    ck_assert_ptr_null(quell_arena_print(arena, "x"));
    quell_memory_fail_at(0);
    ck_assert_ptr_nonnull(
        quell_arena_alloc(arena, 1, 1000000)); /* failed requests took nothing of the limit */
    quell_arena_destroy(arena);
}
END_TEST

/* A large object must not throw away the room left for small ones: blocks are counted through the failure switch. */
START_TEST(small_objects_between_large_ones_share_blocks)
{
#if IS_SANITIZED
    fprintf(stderr, "skipped: under AddressSanitizer every object has a block of its own\n");
#else
    quell_arena *arena = quell_arena_create((size_t)1 << 30);
    enum { PAIRS = 100 };
    /* 100 large blocks, and 100 * 160 bytes of small objects in one block or two */
    quell_memory_fail_at(1 + PAIRS + 4);
    for (size_t i = 0; i < PAIRS; i++) {
        ck_assert_ptr_nonnull(quell_arena_alloc(arena, 160, 1));
        ck_assert_ptr_nonnull(quell_arena_alloc(arena, 70000, 1));
    }
    quell_memory_fail_at(0);
    quell_arena_destroy(arena);
#endif
}
END_TEST

START_TEST(copied_text_is_terminated_and_may_hold_any_bytes)
{
    quell_arena *arena = quell_arena_create(100000);
    char *copy = quell_arena_copy(arena, "a\0bc", 4);
    ck_assert_int_eq(memcmp(copy, "a\0bc", 5), 0);
    ck_assert_str_eq(quell_arena_copy(arena, "longer", 4), "long");
    ck_assert_str_eq(quell_arena_copy(arena, NULL, 0), "");
    quell_arena_destroy(arena);
}
END_TEST

START_TEST(printed_text_is_whole_whatever_its_length)
{
    quell_arena *arena = quell_arena_create(10000000);
    ck_assert_str_eq(quell_arena_print(arena, "%s %d%%", "axis x", 95), "axis x 95%");
    ck_assert_str_eq(quell_arena_print(arena, "%s", ""), "");
    char *wide = quell_arena_print(arena, "%*d", 300000, 7);
    ck_assert_uint_eq(strlen(wide), 300000);
    ck_assert_str_eq(wide + 299998, " 7");
    quell_arena_destroy(arena);
}
END_TEST

Suite *suite_base_memory(void)
{
    Suite *suite = suite_create("base_memory");
    TCase *memory = tcase_create("memory");
    tcase_add_test(memory, an_allocation_of_no_bytes_is_an_object_of_its_own);
    tcase_add_test(memory, objects_are_zeros_in_room_that_was_used_before);
    tcase_add_test(memory, the_switch_fails_the_nth_request_and_all_after_it);
    tcase_add_test(memory, a_growing_array_keeps_its_contents_and_grows_by_half_at_least);
    tcase_add_test(memory, a_growing_array_stops_at_its_limit);
    tcase_add_test(memory, a_growing_array_survives_failed_growth_and_overflow);
    suite_add_tcase(suite, memory);
    TCase *arena = tcase_create("arena");
    tcase_add_test(arena, objects_are_aligned_cleared_and_apart);
    tcase_add_test(arena, the_arena_keeps_its_limit);
    tcase_add_test(arena, an_overflowing_product_is_refused);
    tcase_add_test(arena, the_arena_says_when_memory_is_out);
    tcase_add_test(arena, small_objects_between_large_ones_share_blocks);
    tcase_add_test(arena, copied_text_is_terminated_and_may_hold_any_bytes);
    tcase_add_test(arena, printed_text_is_whole_whatever_its_length);
    suite_add_tcase(suite, arena);
    return suite;
}
