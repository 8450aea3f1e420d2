/* The recordings of a row, shared by threads: each takes the next index that nobody has. */
#include "study.h"

#include <pthread.h>
#include <stdio.h>

enum { THREADS_MAX = 64 };

typedef struct work {
    study_result *result;
    size_t count, next, done;
    const study_row *row;
    uint64_t seed;
    bool progress;
    pthread_mutex_t lock;
} work;

static void *take(void *context)
{
    work *all = context;
    pthread_mutex_lock(&all->lock);
    while (all->next < all->count) {
        size_t index = all->next++;
        pthread_mutex_unlock(&all->lock);
        study_try(&all->result[index], all->row, all->seed, index);
        pthread_mutex_lock(&all->lock);
        all->done++;
        if (all->progress)
            fprintf(stderr, "\r%-24s %5zu of %zu\033[K", all->row->name, all->done, all->count);
    }
    pthread_mutex_unlock(&all->lock);
    return NULL;
}

void study_run(study_result *out, size_t count, const study_row *row, uint64_t seed, size_t threads,
               bool progress)
{
    work all = {.result = out, .count = count, .row = row, .seed = seed, .progress = progress};
    pthread_t thread[THREADS_MAX];
    size_t started = 0;
    pthread_mutex_init(&all.lock, NULL);
    while (started + 1 < threads && started < THREADS_MAX &&
           pthread_create(&thread[started], NULL, take, &all) == 0)
        started++;
    take(&all); /* this thread works, too: without any other, alone */
    for (size_t i = 0; i < started; i++)
        pthread_join(thread[i], NULL);
    pthread_mutex_destroy(&all.lock);
    if (progress)
        fprintf(stderr, "\r\033[K");
}
