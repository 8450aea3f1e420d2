/* Threads that work on groups of segments. The caller fills groups and lends a hand while it waits; what is done is
   added up by the caller, in the groups' order, so the number of threads changes nothing in the result. */
#include "spectrum/spectrum_private.h"

#include <pthread.h>
#include <string.h>

enum { THREADS_MAX = 16, GROUPS_MAX = 2 * THREADS_MAX };

struct welch_crew {
    welch_plan plan;
    size_t size; /* groups in the ring */
    welch_group ring[GROUPS_MAX];
    bool done[GROUPS_MAX];
    /* Groups count from 0 on: [added, taken) are worked on or done, [taken, filled) wait, `filled` is being filled. */
    size_t added, taken, filled;
    bool over;
    size_t workers;
    pthread_t thread[THREADS_MAX];
    welch_bench bench[THREADS_MAX]; /* the caller's is 0 */
    size_t benches_given;
    pthread_mutex_t mutex;
    pthread_cond_t work, result;
};

/* Takes the next group that waits and works on it; the mutex is held, but for the work. */
static void work_on_next(welch_crew *crew, welch_bench *bench)
{
    size_t at = crew->taken++ % crew->size;
    pthread_mutex_unlock(&crew->mutex);
    welch_group_compute(&crew->ring[at], &crew->plan, bench);
    pthread_mutex_lock(&crew->mutex);
    crew->done[at] = true;
    pthread_cond_signal(&crew->result);
}

static void *run_worker(void *context)
{
    welch_crew *crew = context;
    pthread_mutex_lock(&crew->mutex);
    welch_bench *bench = &crew->bench[++crew->benches_given];
    while (!crew->over) {
        if (crew->taken < crew->filled)
            work_on_next(crew, bench);
        else
            pthread_cond_wait(&crew->work, &crew->mutex);
    }
    pthread_mutex_unlock(&crew->mutex);
    return NULL;
}

/* Adds up what is done and has nothing undone before it. The mutex is held. */
static void collect(welch_crew *crew, welch_sums *total)
{
    while (crew->added < crew->taken && crew->done[crew->added % crew->size]) {
        size_t at = crew->added % crew->size;
        crew->done[at] = false;
        pthread_mutex_unlock(&crew->mutex); /* a done group is the caller's alone */
        welch_sums_add(total, &crew->ring[at].sums, &crew->plan);
        pthread_mutex_lock(&crew->mutex);
        crew->added++;
    }
}

/* Lends a hand until at most `most` groups are not added up. */
static void wait_for(welch_crew *crew, size_t most, welch_sums *total)
{
    pthread_mutex_lock(&crew->mutex);
    for (collect(crew, total); crew->filled - crew->added > most; collect(crew, total)) {
        if (crew->taken < crew->filled)
            work_on_next(crew, &crew->bench[0]);
        else if (!crew->done[crew->added % crew->size])
            pthread_cond_wait(&crew->result, &crew->mutex);
    }
    pthread_mutex_unlock(&crew->mutex);
}

welch_group *welch_crew_free_group(welch_crew *crew, welch_sums *total)
{
    wait_for(crew, crew->size - 1, total);
    return &crew->ring[crew->filled % crew->size]; /* only the caller changes `filled` */
}

void welch_crew_submit(welch_crew *crew)
{
    pthread_mutex_lock(&crew->mutex);
    crew->filled++;
    pthread_cond_signal(&crew->work);
    pthread_mutex_unlock(&crew->mutex);
}

void welch_crew_finish(welch_crew *crew, welch_sums *total)
{
    wait_for(crew, 0, total);
}

static void start_workers(welch_crew *crew, size_t threads)
{
    for (size_t i = 1; i < threads; i++) {
        if (pthread_create(&crew->thread[crew->workers], NULL, run_worker, crew) != 0)
            return;
        crew->workers++;
    }
}

welch_crew *welch_crew_create(const welch_plan *plan, size_t threads)
{
    threads = threads < 1 ? 1 : threads;
    threads = threads > THREADS_MAX ? THREADS_MAX : threads;
    welch_crew *crew = quell_memory_get(sizeof *crew);
    if (crew == NULL)
        return NULL;
    memset(crew, 0, sizeof *crew);
    crew->plan = *plan;
    crew->size = threads > 1 ? 2 * threads : 2;
    pthread_mutex_init(&crew->mutex, NULL);
    pthread_cond_init(&crew->work, NULL);
    pthread_cond_init(&crew->result, NULL);
    bool got = true;
    for (size_t i = 0; i < crew->size && got; i++)
        got = welch_group_get(&crew->ring[i], plan);
    for (size_t i = 0; i < threads && got; i++)
        got = welch_bench_get(&crew->bench[i], plan);
    if (!got) {
        welch_crew_destroy(crew);
        return NULL;
    }
    start_workers(crew, threads);
    return crew;
}

void welch_crew_destroy(welch_crew *crew)
{
    if (crew == NULL)
        return;
    pthread_mutex_lock(&crew->mutex);
    crew->over = true;
    pthread_cond_broadcast(&crew->work);
    pthread_mutex_unlock(&crew->mutex);
    for (size_t i = 0; i < crew->workers; i++)
        pthread_join(crew->thread[i], NULL);
    for (size_t i = 0; i < GROUPS_MAX; i++)
        welch_group_free(&crew->ring[i]);
    for (size_t i = 0; i < THREADS_MAX; i++)
        welch_bench_free(&crew->bench[i]);
    pthread_mutex_destroy(&crew->mutex);
    pthread_cond_destroy(&crew->work);
    pthread_cond_destroy(&crew->result);
    quell_memory_free(crew);
}
