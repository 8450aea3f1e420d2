/* Arena: a chain of blocks, each handing out objects from its start to its end.
   Under AddressSanitizer every object gets a block of its own, so that overruns are seen. */
#include "base/base_private.h"

#include <stdint.h>
#include <string.h>

#if defined(__SANITIZE_ADDRESS__)
#define ONE_OBJECT_A_BLOCK 1
#elif defined(__has_feature)
#if __has_feature(address_sanitizer)
#define ONE_OBJECT_A_BLOCK 1
#endif
#endif
#ifndef ONE_OBJECT_A_BLOCK
#define ONE_OBJECT_A_BLOCK 0
#endif

enum { BLOCK_BYTES = 64 * 1024, SMALL_ALIGN = 16, LARGE_ALIGN = 64, LARGE_FROM = 4096 };

typedef struct block {
    struct block *next;
    size_t used, size; /* bytes of the payload that follows */
} block;

struct quell_arena {
    block *first;
    size_t held, limit; /* bytes handed out, and the most that may be */
};

quell_arena *quell_arena_create(size_t limit_bytes)
{
    quell_arena *arena = quell_memory_get(sizeof *arena);
    if (arena != NULL)
        *arena = (quell_arena){.limit = limit_bytes};
    return arena;
}

void quell_arena_destroy(quell_arena *arena)
{
    if (arena == NULL)
        return;
    for (block *next, *at = arena->first; at != NULL; at = next) {
        next = at->next;
        quell_memory_free(at);
    }
    quell_memory_free(arena);
}

/* A new block: at the head of the chain, from which small objects come, or behind it for one large object alone, so
   that the room left in the head is not lost; cleared already, which is cheaper while it is new. */
static block *add_block(quell_arena *arena, size_t size, bool alone)
{
    size_t bytes = sizeof(block) + size;
    block *added = alone ? quell_memory_get_cleared(bytes) : quell_memory_get(bytes);
    if (added == NULL)
        return NULL;
    block **link = alone && arena->first != NULL ? &arena->first->next : &arena->first;
    *added = (block){.next = *link, .size = size};
    return *link = added;
}

/* The offset at or after `used` whose address in the block is a multiple of align. */
static size_t aligned_offset(const block *in, size_t align)
{
    uintptr_t address = (uintptr_t)(in + 1) + in->used;
    return in->used + (size_t)((align - address % align) % align);
}

void *quell_arena_alloc(quell_arena *arena, size_t count, size_t size)
{
    if (size != 0 && count > (SIZE_MAX / 2) / size)
        return NULL;
    size_t bytes = count * size > 0 ? count * size : 1;
    if (bytes > arena->limit - arena->held)
        return NULL;
    size_t align = bytes >= LARGE_FROM ? LARGE_ALIGN : SMALL_ALIGN;
    block *in = arena->first;
    bool cleared = false;
    if (ONE_OBJECT_A_BLOCK || in == NULL || aligned_offset(in, align) + bytes > in->size) {
        size_t room = bytes + align;
        bool alone = ONE_OBJECT_A_BLOCK || room > BLOCK_BYTES / 4;
        in = add_block(arena, alone ? room : BLOCK_BYTES, alone);
        cleared = alone;
        if (in == NULL)
            return NULL;
    }
    size_t at = aligned_offset(in, align);
    if (ONE_OBJECT_A_BLOCK)
        at += in->size - bytes - at - (in->size - bytes - at) % align; /* end the object at the block's end */
    in->used = at + bytes;
    arena->held += bytes;
    char *object = (char *)(in + 1) + at;
    return cleared ? object : memset(object, 0, bytes);
}

char *quell_arena_copy(quell_arena *arena, const char *text, size_t length)
{
    char *copy = length < SIZE_MAX ? quell_arena_alloc(arena, length + 1, 1) : NULL;
    if (copy != NULL && length > 0)
        memcpy(copy, text, length);
    return copy;
}

char *quell_arena_print_list(quell_arena *arena, const char *format, va_list arguments)
{
    va_list again;
    va_copy(again, arguments);
    int length = quell_print_plain(NULL, 0, format, arguments);
    char *text = length < 0 ? NULL : quell_arena_alloc(arena, (size_t)length + 1, 1);
    if (text != NULL)
        quell_print_plain(text, (size_t)length + 1, format, again);
    va_end(again);
    return text;
}

char *quell_arena_print(quell_arena *arena, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char *text = quell_arena_print_list(arena, format, arguments);
    va_end(arguments);
    return text;
}
