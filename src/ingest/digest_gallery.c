/* Raw blocks kept for densities: an even choice over the whole recording. It is divided into groups of as many blocks
   as needed; of each the quietest and the loudest block are kept, so that the rests of a long log still show the
   sensor's noise, and its motion where most of it is. */
#include "ingest/digest_private.h"

enum { ROOMS = 2 * DIGEST_GROUPS };

digest_gallery *digest_gallery_create(quell_arena *arena)
{
    digest_gallery *out = QUELL_NEW(arena, digest_gallery, 1);
    float(*room)[DIGEST_BLOCK] = quell_arena_alloc(arena, (size_t)ROOMS * 3, sizeof *room);
    if (out == NULL || room == NULL)
        return NULL;
    out->stride = 1;
    for (size_t i = 0; i < ROOMS; i++)
        out->free_room[out->free_count++] = room + 3 * i;
    return out;
}

/* A whole block is worth more than one that a gap cut short, whatever their levels. */
static bool quieter(const digest_block *a, const digest_block *b)
{
    return a->count != b->count ? a->count > b->count : a->level < b->level;
}

static bool louder(const digest_block *a, const digest_block *b)
{
    return a->count != b->count ? a->count > b->count : a->level > b->level;
}

static void give_back(digest_gallery *gallery, const digest_block *block)
{
    if (block->value != NULL)
        gallery->free_room[gallery->free_count++] = block->value;
}

static digest_group join_groups(digest_gallery *gallery, const digest_group *a, const digest_group *b)
{
    bool first = quieter(&a->quiet, &b->quiet);
    digest_block rest[3] = {first ? b->quiet : a->quiet, a->loud, b->loud};
    size_t most = 0;
    for (size_t i = 1; i < 3; i++)
        most = rest[i].value != NULL && louder(&rest[i], &rest[most]) ? i : most;
    for (size_t i = 0; i < 3; i++)
        if (i != most)
            give_back(gallery, &rest[i]);
    return (digest_group){a->blocks + b->blocks, first ? a->quiet : b->quiet, rest[most]};
}

static void merge_neighbours(digest_gallery *gallery)
{
    gallery->count /= 2; /* an even number: all are in use */
    for (size_t i = 0; i < gallery->count; i++)
        gallery->group[i] = join_groups(gallery, &gallery->group[2 * i], &gallery->group[2 * i + 1]);
    gallery->stride *= 2;
}

/* The place of a further block in its group; NULL if it is neither its quietest nor its loudest. */
static digest_block *find_place(digest_gallery *gallery, digest_group *group, const digest_block *fresh)
{
    group->blocks++;
    if (group->quiet.value == NULL) {
        group->quiet.value = gallery->free_room[--gallery->free_count];
        return &group->quiet;
    }
    if (group->loud.value != NULL)
        return quieter(fresh, &group->quiet) ? &group->quiet
               : louder(fresh, &group->loud) ? &group->loud
                                             : NULL;
    bool swap = quieter(fresh, &group->quiet);
    if (swap) {
        group->loud = group->quiet;
        group->quiet.value = gallery->free_room[--gallery->free_count];
        return &group->quiet;
    }
    group->loud.value = gallery->free_room[--gallery->free_count];
    return &group->loud;
}

static double level(const digest_sums *sums, size_t n)
{
    double out = 0;
    for (size_t k = 0; k < 3; k++) {
        double mean = sums->sum[k] / (double)n;
        out += sums->product[digest_pair(k, k)] / (double)n - mean * mean;
    }
    return out;
}

void digest_gallery_take(struct ingest_digest *digest, size_t first, size_t count)
{
    digest_gallery *gallery = digest->gallery;
    digest_block fresh = {.first = first, .count = count, .level = level(&digest->block, count)};
    digest->block = (digest_sums){0};
    if (count < DIGEST_SHORT)
        return;
    if (gallery->count == 0 || gallery->group[gallery->count - 1].blocks >= gallery->stride) {
        if (gallery->count == DIGEST_GROUPS)
            merge_neighbours(gallery);
        gallery->group[gallery->count++] = (digest_group){0};
    }
    digest_block *place = find_place(gallery, &gallery->group[gallery->count - 1], &fresh);
    if (place == NULL)
        return;
    fresh.value = place->value;
    *place = fresh;
    for (size_t k = 0; k < 3; k++)
        for (size_t i = 0; i < count; i++)
            fresh.value[k][i] = (float)(digest->value[k][i] - digest->origin[k]);
}
